"""A picture of one scan: what was seen, cut away and closed, in four views with a scale."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from plumbstone.cli.pictures import shaded
from plumbstone.cli.pictures.colours import AWAY, CLOSED, OTHER, STONE, WOOD
from plumbstone.cli.pictures.drawing import must_be_png, new_figure, png_bytes
from plumbstone.cli.pictures.scene import add_to
from plumbstone.cli.pictures.shaded import View
from plumbstone.meshes.errors import PlumbstoneError, shown
from plumbstone.meshes.mending.thinning import simplified
from plumbstone.meshes.piece import Floats, Indices
from plumbstone.volumes.bodies.weighing import Weighed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_FACES = 20_000  # of each part of a view that turns
AROUND = 0.15  # of the longest side: what is shown beside the piece


def picture_of(found: list[Weighed], path: Path) -> bytes:
    """Draw the one piece that was weighed, as PNG, or as GLB for a view that turns."""
    if len(found) != 1 or found[0].piece is None or found[0].seen is None:
        raise PlumbstoneError("--picture draws one scan; weigh one with it.")
    if path.suffix.lower() == ".glb":
        return _turning(found[0])
    must_be_png(path)
    low, mid, high = (volume * 1e3 for volume in found[0].volume)
    figure = new_figure(10, 7.6)
    views = (shaded.FROM_ABOVE, shaded.FROM_FRONT, shaded.FROM_BELOW, shaded.FROM_SIDE)
    for axes, view in zip(figure.subplots(2, 2).flat, views, strict=True):
        _draw(axes, found[0], view)
    figure.suptitle(
        f"{shown(found[0].name)}: {mid:.2f} L ({low:.2f}-{high:.2f})", x=0.02, ha="left"
    )
    _legend(figure, found[0])
    return png_bytes(figure)


def _draw(axes: "Axes", weighed: Weighed, view: View) -> None:
    """Draw one view, what was cut away faint."""
    assert weighed.piece is not None
    corner = weighed.piece.vertices.min(axis=0)  # so that the axes count from the piece
    vertices = weighed.piece.vertices - corner
    solids = [(vertices, faces, colour) for _, faces, colour in _painted(weighed)]
    away = _near(weighed)
    if len(away):
        corners = away.reshape(-1, 3) - corner
        faces = np.arange(len(corners)).reshape(-1, 3)
        shaded.draw_solids(axes, [(corners, faces, AWAY)], view, alpha=0.35)
    shaded.draw_solids(axes, solids, view)
    low, high = vertices.min(axis=0) * 1e2, vertices.max(axis=0) * 1e2
    margin = AROUND * float((high - low).max())
    sides = (low[view.right] - margin, high[view.right] + margin)
    turned = view is shaded.FROM_BELOW  # as one sees it lying on its back
    axes.set_xlim(sides[::-1] if turned else sides)
    axes.set_ylim(low[view.up] - margin, high[view.up] + margin)
    axes.set_title(view.title)
    axes.set_xlabel("cm")


def _turning(weighed: Weighed) -> bytes:
    """Give what was seen, closed and cut away as parts of a scene, from its own corner."""
    import trimesh

    assert weighed.piece is not None
    corner = weighed.piece.vertices.min(axis=0)
    vertices, away = weighed.piece.vertices - corner, _near(weighed)
    parts = (
        *((name, vertices, faces, colour) for name, faces, colour in _painted(weighed)),
        ("cut away", away.reshape(-1, 3) - corner, np.arange(3 * len(away)).reshape(-1, 3), AWAY),
    )
    scene = trimesh.Scene()
    for name, corners, faces, fill in parts:
        if len(faces):
            add_to(scene, name, *simplified(corners, faces, MOST_FACES), fill)
    return scene.export(file_type="glb")


def _painted(weighed: Weighed) -> list[tuple[str, Indices, str]]:
    """Give the faces of a piece by what is known of them, with a name and a colour."""
    assert weighed.piece is not None
    assert weighed.seen is not None
    faces = weighed.piece.faces
    guessed = np.arange(len(faces)) >= len(weighed.seen)
    other = np.zeros(len(faces), dtype=bool) if weighed.other is None else weighed.other
    parts = [
        ("seen", faces[~guessed & ~other], WOOD if weighed.material.kind == "wood" else STONE),
        ("perhaps another thing", faces[~guessed & other], OTHER),
        ("closed, guessed", faces[guessed], CLOSED),
    ]
    return [part for part in parts if len(part[1])]


def _near(weighed: Weighed) -> Floats:
    """Give what was cut away near the piece; a wide table would dwarf it."""
    assert weighed.piece is not None
    away = weighed.away
    if away is None or not len(away):
        return np.empty((0, 3, 3))
    low, high = weighed.piece.vertices.min(axis=0), weighed.piece.vertices.max(axis=0)
    margin = 2 * AROUND * float((high - low).max())
    inside = ((away > low - margin) & (away < high + margin)).all(axis=2).any(axis=1)
    return away[inside]


def _legend(figure: "Figure", weighed: Weighed) -> None:
    """Name the colours that occur."""
    from matplotlib.patches import Patch

    patches = [Patch(color=colour, label=name) for name, _, colour in _painted(weighed)]
    if len(_near(weighed)):
        patches.append(Patch(color=AWAY, label="cut away"))
    figure.legend(handles=patches, loc="upper right", ncols=len(patches), frameon=False)
