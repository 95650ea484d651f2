"""Mending a mesh without guessing its form: welding, winding, inner shells, debris."""

import numpy as np

from plumbstone.meshes.faces import (
    cells_of,
    contrary,
    corners_of,
    places,
    repeated,
    sharing,
    shell_volumes,
)
from plumbstone.meshes.measures.faults import face_areas, is_closed, shells, winding_number
from plumbstone.meshes.piece import Floats, Indices, longest_side

WELD = 1e-6  # of the largest extent: corners nearer than this are one
DEBRIS_AREA = 0.05  # of the largest shell's area: smaller shells beside it are debris
INNER_CORNERS = 12  # of a shell that are looked at to tell whether it lies inside another
MOST_SHELLS = 100  # looked at one by one; all smaller ones are debris


def welded(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """Merge corners at the same place; drop faces without area and doubled faces.

    Gives corners (k, 3) [m] and faces (l, 3).
    """
    low, extent = np.array([side.min() for side in vertices.T]), longest_side(vertices)
    if extent <= 0:
        return vertices[:1], np.empty((0, 3), dtype=np.int64)
    first, number = places(cells_of(vertices, low, extent * WELD))
    return vertices[first], distinct(number[faces])


def distinct(faces: Indices) -> Indices:
    """Drop faces with two equal corners, and all but one of faces on the same corners."""
    return faces[~repeated(faces, int(faces.max(initial=-1)) + 1)]


def compacted(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """Drop corners (n, 3) [m] that no face uses."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces] = True
    return vertices[used], (np.cumsum(used) - 1)[faces]


def wound(vertices: Floats, faces: Indices) -> tuple[Indices, int]:
    """Turn faces until neighbours agree and each shell encloses a positive volume [m³].

    Gives faces (m, 3), consistently wound where the mesh allows it, and how many were turned.
    """
    flip = contrary(faces, len(vertices))
    faces = np.where(flip[:, None], faces[:, ::-1], faces)
    number = shells(faces, len(vertices))
    inward = shell_volumes(vertices, faces, number) < 0
    turn = inward[number]
    faces = np.where(turn[:, None], faces[:, ::-1], faces)
    return faces, int((flip ^ turn).sum())


def outer_shell(
    vertices: Floats, faces: Indices
) -> tuple[Indices, tuple[str, ...], tuple[Indices, ...]]:
    """Keep the largest shell; tell apart what lies inside it, debris and further bodies.

    Gives its faces (k, 3), what was taken away, and shells (l, 3) outside of it that are too large
    for debris, largest first.
    """
    number = shells(faces, len(vertices))
    count = int(number.max(initial=-1)) + 1
    if count <= 1:
        return faces, (), ()
    areas = np.bincount(number, weights=face_areas(vertices, faces), minlength=count)
    order = np.argsort(-areas)
    main = faces[number == order[0]]
    inner, debris, others = 0, max(count - 1 - MOST_SHELLS, 0), []
    closed = is_closed(main, len(vertices))
    for shell in order[1 : MOST_SHELLS + 1]:
        mine = faces[number == shell]
        if closed and _lies_inside(vertices, mine, main):
            inner += 1
        elif areas[shell] < DEBRIS_AREA * areas[order[0]]:
            debris += 1
        else:
            others.append(mine)
    changes = []
    if inner:
        changes.append(f"removed {inner} shell(s) inside the surface (no real holes)")
    if debris:
        changes.append(f"removed {debris} loose bit(s)")
    return main, tuple(changes), tuple(others)


def _lies_inside(vertices: Floats, shell: Indices, main: Indices) -> bool:
    """Tell whether a shell lies wholly inside a closed one, by some of its corners."""
    corners = corners_of(shell)
    some = corners[np.linspace(0, len(corners) - 1, min(INNER_CORNERS, len(corners))).astype(int)]
    turns = (winding_number(vertices, main, vertices[[corner]])[0] for corner in some)
    return all(abs(turn) > 0.5 for turn in turns)


def without_crowded(faces: Indices) -> Indices:
    """Drop all faces at edges that belong to three faces or more."""
    shared = sharing(faces, int(faces.max(initial=-1)) + 1)
    return faces[(shared <= 2).all(axis=1)]
