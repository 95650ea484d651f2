"""Fewer faces: for pictures, and for scans that are far finer than what is asked of them."""

import numpy as np

from plumbstone.meshes.faces import places
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.mending.solids import mesh_of, solid_of
from plumbstone.meshes.mending.welding import compacted, distinct
from plumbstone.meshes.piece import Floats, Indices, longest_side

FINEST_ERROR = 0.001  # of the longest side: by so much a face may be off at first
HEAVY = 60_000  # faces: with fewer a closed mesh is light enough
LIGHT_CELL, LIGHT_LOSS = 0.002, 0.003  # [m] within which corners become one, and the share of the
# volume that this may cost: thin limbs lose more and stay as they are


def thinned(vertices: Floats, faces: Indices, cells: int = 16) -> tuple[Floats, Indices]:
    """Merge all corners in one cell of a coarse lattice into their mean.

    Of corners (n, 3) [m] and faces (m, 3), with so many cells along the longest side; for display
    only, as the result need not be closed.
    """
    size = float(np.ptp(vertices, axis=0).max()) / cells
    merged, found = _merged(vertices, faces, size)
    return compacted(merged, distinct(found))


def lightened(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """Merge the corners of a fine closed mesh within millimetres; it keeps its volume.

    Of corners (n, 3) [m] and closed faces (m, 3), as merging corners leaves each edge walked as
    often one way as the other; the very same mesh where it is light, or too thin for this.
    """
    if len(faces) <= HEAVY:
        return vertices, faces
    volume = enclosed_volume(vertices, faces)
    merged, found = _merged(vertices, faces, LIGHT_CELL)
    a, b, c = found.T
    merged, found = compacted(merged, found[(a != b) & (b != c) & (c != a)])
    left = enclosed_volume(merged, found) / volume
    if abs(left - 1) > LIGHT_LOSS:
        return vertices, faces
    middle = merged.mean(axis=0)
    return middle + (merged - middle) * left ** (-1 / 3), found


def _merged(vertices: Floats, faces: Indices, size: float) -> tuple[Floats, Indices]:
    """Move all corners in one cell of a lattice to their mean; faces may have lost corners."""
    lattice = np.floor((vertices - vertices.min(axis=0)) / size).astype(np.int64)
    keys = (lattice[:, 0] << 40) + (lattice[:, 1] << 20) + lattice[:, 2]
    _, number = places(keys.view(np.uint64))
    counts = np.bincount(number)
    merged = np.column_stack([np.bincount(number, vertices[:, k]) / counts for k in range(3)])
    return merged, number[faces]


def simplified(vertices: Floats, faces: Indices, most: int) -> tuple[Floats, Indices]:
    """Leave out edges that show least, until few faces are left.

    Of corners (n, 3) [m] and faces (m, 3), at most so many; still closed where the mesh was. A mesh
    that is not is thinned by a lattice instead.
    """
    if len(faces) <= most:
        return vertices, faces
    size = longest_side(vertices)
    solid = solid_of(vertices, faces)
    if solid.is_empty():  # so is what is no solid
        return thinned(vertices, faces, max(8, round((most / 3) ** 0.5)))
    for error in FINEST_ERROR * size * 2.0 ** np.arange(7):
        solid = solid.simplify(float(error))
        if solid.num_tri() <= most:
            break
    return mesh_of(solid)


def layer_solid(x: Floats, y: Floats, low: Floats, high: Floats) -> tuple[Floats, Indices]:
    """Build a solid between two surfaces given at the nodes of a grid.

    Nodes lie at rising x (columns,) and y (rows,), low and high at heights (rows, columns) [m]. The
    corners (n, 3) [m] and faces (m, 3), wound outwards and closed, lie over the cells with a node
    where the upper surface lies higher; empty where nothing lies.
    """
    columns = len(x)
    thick = high > low + 1e-4
    cells = thick[:-1, :-1] | thick[1:, :-1] | thick[:-1, 1:] | thick[1:, 1:]
    row, column = np.nonzero(cells)
    if not len(row):
        return np.empty((0, 3)), np.empty((0, 3), dtype=np.int64)
    first = row * columns + column
    around = np.stack([first, first + 1, first + columns + 1, first + columns], axis=1)
    across, back = np.meshgrid(x, y)
    flat = [np.stack([across, back, level], axis=-1).reshape(-1, 3) for level in (low, high)]
    count = len(flat[0])
    upper = np.concatenate([around[:, [0, 1, 2]], around[:, [0, 2, 3]]]) + count
    lower = np.concatenate([around[:, [0, 2, 1]], around[:, [0, 3, 2]]])
    edges = np.concatenate([around[:, [k, (k + 1) % 4]] for k in range(4)])
    # An edge that two cells share runs both ways; the rim runs one way only.
    keys = edges[:, 0] * count + edges[:, 1]
    rim = edges[~np.isin(keys, edges[:, 1] * count + edges[:, 0])]
    a, b = rim.T
    sides = np.concatenate(
        [np.stack([a, b, b + count], axis=1), np.stack([a, b + count, a + count], axis=1)]
    )
    faces = np.concatenate([upper, lower, sides])
    return compacted(np.concatenate(flat), faces.astype(np.int64))
