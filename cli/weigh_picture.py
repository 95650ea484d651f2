"""A picture of one scan: what was seen, what was closed, in three views with a scale."""

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.weighing import Weighed

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_FACES = 12_000  # drawn; more are thinned out
VIEWS = (("from above", 0, 1, 2), ("from the front", 0, 2, 1), ("from the side", 1, 2, 0))
CLOSED = "#c0562f"


def write_picture(found: list[Weighed], path: Path) -> None:
    """Draw the one piece that was weighed."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from plumbstone.cli.drawing import STONE
    from plumbstone.cli.files import write_whole

    if len(found) != 1 or found[0].piece is None or found[0].seen is None:
        raise PlumbstoneError("--picture draws one scan; weigh one with it.")
    if path.suffix.lower() != ".png":
        raise PlumbstoneError(f"{path}: --picture draws PNG; end its name in .png.")
    figure = Figure(figsize=(10, 4.2), dpi=120, layout="constrained")
    FigureCanvasAgg(figure)
    for axes, view in zip(figure.subplots(1, 3), VIEWS, strict=True):
        _draw(axes, found[0], view, STONE)
    low, mid, high = (
        v * 1e3 for v in (found[0].volume.low, found[0].volume.mid, found[0].volume.high)
    )
    figure.suptitle(f"{found[0].name}: {mid:.2f} L ({low:.2f}-{high:.2f}); closed parts in red")
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": None})
    write_whole(path, stream.getvalue())


def _draw(axes: "Axes", weighed: Weighed, view: tuple[str, int, int, int], colour: str) -> None:
    """Draw one view: seen faces shaded, closed ones in red, farthest first."""
    import numpy as np
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import to_rgb

    from plumbstone.meshes.thinning import thinned

    title, right, up, depth = view
    assert weighed.piece is not None
    assert weighed.seen is not None
    vertices = weighed.piece.vertices
    closed = weighed.piece.faces[len(weighed.seen) :]
    layers: list[tuple[Any, Any, str]] = [(vertices, weighed.seen, colour)]
    if len(weighed.seen) > MOST_FACES:
        layers = [(*thinned(vertices, weighed.seen, 48), colour)]
    if len(closed):
        layers.append((vertices, closed, CLOSED))
    patches, shades, order = [], [], []
    for points, faces, base in layers:
        corners = points[faces]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        facing = np.abs(normal[:, depth]) / (np.linalg.norm(normal, axis=1) + 1e-300)
        patches.append(corners[:, :, [right, up]] * 1e2)
        shades.append(np.array(to_rgb(base)) * (0.45 + 0.55 * facing[:, None]))
        order.append(corners[:, :, depth].mean(axis=1) * (-1 if depth == 1 else 1))
    far_first = np.argsort(np.concatenate(order))
    axes.add_collection(
        PolyCollection(
            list(np.concatenate(patches)[far_first]),
            facecolors=np.concatenate(shades)[far_first],
            edgecolors="none",
            antialiaseds=False,
        )
    )
    axes.autoscale_view()
    axes.set_aspect("equal")
    axes.set_title(title)
    axes.set_xlabel("cm")
