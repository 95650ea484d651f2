"""Shaded views of meshes along an axis, for pictures of scans and of forces."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from plumbstone.meshes.mending.thinning import thinned
from plumbstone.meshes.piece import Floats, Indices

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_FACES = 12_000  # drawn of one mesh; more are thinned out
FINE = 48  # cells along a thinned mesh


@dataclass(frozen=True, slots=True)
class View:
    """One direction of sight: which axes run right and up, and which one is looked along."""

    title: str
    right: int
    up: int
    along: int
    far: int  # 1 where larger values lie nearer, -1 where farther


FROM_ABOVE = View("from above", 0, 1, 2, 1)
FROM_BELOW = View("from below", 0, 1, 2, -1)
FROM_FRONT = View("from the front", 0, 2, 1, -1)
FROM_SIDE = View("from the side", 1, 2, 0, 1)


def draw_solids(
    axes: "Axes", solids: Sequence[tuple[Floats, Indices, str]], view: View, *, alpha: float = 1.0
) -> None:
    """Draw meshes (vertices [m], faces, colour) in centimetres, the farthest faces first."""
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import to_rgb

    patches, shades, order = [], [], []
    for vertices, faces, colour in solids:
        points, drawn = vertices, faces
        if len(faces) > MOST_FACES:
            points, drawn = thinned(vertices, faces, FINE)
        corners = points[drawn]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        facing = np.abs(normal[:, view.along]) / (np.linalg.norm(normal, axis=1) + 1e-300)
        patches.append(corners[:, :, [view.right, view.up]] * 1e2)
        shades.append(np.array(to_rgb(colour)) * (0.45 + 0.55 * facing[:, None]))
        order.append(corners[:, :, view.along].mean(axis=1) * view.far)
    if not patches:
        return
    far_first = np.argsort(np.concatenate(order))
    triangles: Any = np.concatenate(patches)[far_first]  # as one array, which is drawn sooner
    axes.add_collection(
        PolyCollection(
            triangles,
            facecolors=np.concatenate(shades)[far_first],
            edgecolors="none",
            antialiaseds=False,
            alpha=alpha,
        )
    )
    axes.autoscale_view()
    axes.set_aspect("equal")
