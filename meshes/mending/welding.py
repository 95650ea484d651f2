"""Mending a mesh without guessing its form: welding, winding, inner shells, debris."""

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.measures.faults import (
    _edge_counts,
    face_areas,
    is_closed,
    shells,
    winding_number,
)
from plumbstone.meshes.piece import Floats, Indices

WELD = 1e-6  # of the largest extent: corners nearer than this are one
DEBRIS_AREA = 0.05  # of the largest shell's area: smaller shells beside it are debris
INNER_CORNERS = 12  # of a shell that are looked at to tell whether it lies inside another
MOST_SHELLS = 100  # looked at one by one; all smaller ones are debris


def welded(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """Merge corners at the same place; drop faces without area and doubled faces.

    Returns
    -------
    vertices : (k, 3) float array
    faces : (l, 3) int array
    """
    low = vertices.min(axis=0)
    extent = float((vertices.max(axis=0) - low).max())
    if extent <= 0:
        return vertices[:1], np.empty((0, 3), dtype=np.int64)
    cells = np.round((vertices - low) / (extent * WELD)).astype(np.int64)
    keys = (cells[:, 0] << 42) | (cells[:, 1] << 21) | cells[:, 2]
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    faces = inverse[faces]
    return vertices[first], distinct(faces)


def distinct(faces: Indices) -> Indices:
    """Drop faces with two equal corners, and all but one of faces on the same corners."""
    a, b, c = faces.T
    faces = faces[(a != b) & (b != c) & (c != a)]
    if len(faces) == 0:
        return faces
    ordered = np.sort(faces, axis=1)
    size = int(faces.max()) + 1
    if size < 2_000_000:
        keys = (ordered[:, 0] * size + ordered[:, 1]) * size + ordered[:, 2]
        _, first = np.unique(keys, return_index=True)
    else:
        _, first = np.unique(ordered, axis=0, return_index=True)
    kept: Indices = faces[np.sort(first)]
    return kept


def compacted(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """Drop corners that no face uses."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces] = True
    return vertices[used], (np.cumsum(used) - 1)[faces]


def wound(vertices: Floats, faces: Indices) -> tuple[Indices, int]:
    """Turn faces until neighbours agree and each shell encloses a positive volume.

    Returns
    -------
    faces : (m, 3) int array
        Consistently wound where the mesh allows it.
    turned : int
        How many faces were turned.
    """
    flip = _parity(faces)
    faces = np.where(flip[:, None], faces[:, ::-1], faces)
    number = shells(faces, len(vertices))
    inward = _shell_volumes(vertices, faces, number) < 0
    turn = inward[number]
    faces = np.where(turn[:, None], faces[:, ::-1], faces)
    return faces, int((flip ^ turn).sum())


def outer_shell(
    vertices: Floats, faces: Indices
) -> tuple[Indices, tuple[str, ...], tuple[Indices, ...]]:
    """Keep the largest shell; tell apart what lies inside it, debris and further bodies.

    Returns
    -------
    faces : (k, 3) int array
        The largest shell.
    changes : tuple of str
        What was taken away.
    others : tuple of (l, 3) int arrays
        Shells outside of it that are too large for debris, largest first.
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
    corners = np.unique(shell)
    some = corners[np.linspace(0, len(corners) - 1, min(INNER_CORNERS, len(corners))).astype(int)]
    turns = (winding_number(vertices, main, vertices[[corner]])[0] for corner in some)
    return all(abs(turn) > 0.5 for turn in turns)


def without_crowded(faces: Indices) -> Indices:
    """Drop all faces at edges that belong to three faces or more."""
    directed = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    _, inverse, counts = _edge_counts(directed)
    bad = (counts > 2)[inverse].reshape(-1, 3).any(axis=1)
    return faces[~bad]


def _shell_volumes(vertices: Floats, faces: Indices, number: NDArray[np.int64]) -> Floats:
    """Signed volume of each shell around its own middle, (shells,)."""
    corners = vertices[faces]
    middle = corners.mean(axis=1)
    size = np.maximum(np.bincount(number), 1)
    centre = np.column_stack([np.bincount(number, middle[:, k]) / size for k in range(3)])
    a, b, c = (corners[:, k] - centre[number] for k in range(3))
    volume: Floats = np.bincount(number, np.einsum("ij,ij->i", a, np.cross(b, c))) / 6
    return volume


def _parity(faces: Indices) -> NDArray[np.bool_]:
    """Which faces to turn so that neighbours across plain edges run against each other.

    Every face stands twice in a graph, as it is and turned; neighbours that agree link alike
    copies, others unlike ones. Of the two halves that a patch falls into, the smaller is turned.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    directed = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    _, inverse, counts = _edge_counts(directed)
    order = np.argsort(inverse, kind="stable")
    plain = order[(counts == 2)[inverse[order]]].reshape(-1, 2)
    left, right = plain.T // 3
    clash = (directed[plain[:, 0]] == directed[plain[:, 1]]).all(axis=1)
    count = len(faces)
    if not clash.any():
        return np.zeros(count, dtype=bool)
    other = right + count * clash
    ends = (
        np.concatenate([left, left + count]),
        np.concatenate([other, (other + count) % (2 * count)]),
    )
    graph = coo_array((np.ones(2 * len(left), dtype=np.int8), ends), shape=(2 * count, 2 * count))
    _, label = connected_components(graph, directed=False)
    as_is, turned = label[:count], label[count:]
    sizes = np.bincount(as_is, minlength=int(label.max()) + 1)
    smaller = sizes[as_is] < sizes[turned]
    tie = (sizes[as_is] == sizes[turned]) & (as_is > turned)
    return np.asarray(smaller | tie, dtype=bool)
