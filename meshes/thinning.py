"""Fewer faces for pictures; never for measuring."""

import numpy as np

from plumbstone.meshes.mending import compacted, distinct
from plumbstone.meshes.piece import Floats, Indices


def thinned(vertices: Floats, faces: Indices, cells: int = 16) -> tuple[Floats, Indices]:
    """Merge all corners in one cell of a coarse lattice into their mean.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
    cells : int
        Cells along the longest side.

    Returns
    -------
    vertices : (k, 3) float array
    faces : (l, 3) int array
        For display only: the result need not be closed.
    """
    low = vertices.min(axis=0)
    size = float((vertices.max(axis=0) - low).max()) / cells
    lattice = np.floor((vertices - low) / size).astype(np.int64)
    keys = (lattice[:, 0] * 1000 + lattice[:, 1]) * 1000 + lattice[:, 2]
    _, inverse = np.unique(keys, return_inverse=True)
    counts = np.bincount(inverse)
    merged = np.column_stack([np.bincount(inverse, vertices[:, k]) / counts for k in range(3)])
    return compacted(merged, distinct(inverse[faces]))


def layer_solid(x: Floats, y: Floats, low: Floats, high: Floats) -> tuple[Floats, Indices]:
    """Build a closed solid between two surfaces on a grid, where the upper lies above the lower.

    Parameters
    ----------
    x : (columns,) float array
        Edges of the cells along x [m].
    y : (rows,) float array
        Edges along y [m].
    low, high : (rows - 1, columns - 1) float arrays
        Heights over each cell [m].

    Returns
    -------
    vertices : (n, 3) float array
    faces : (m, 3) int array
        Boxes over the cells, closed each for itself; empty where nothing lies.
    """
    rows, columns = np.nonzero(high > low + 1e-4)
    count = len(rows)
    corners = np.empty((count, 8, 3))
    for k in range(8):
        corners[:, k, 0] = x[columns + (k & 1)]
        corners[:, k, 1] = y[rows + (k >> 1 & 1)]
        corners[:, k, 2] = (high if k >> 2 else low)[rows, columns]
    box = np.array(
        [
            [0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4],
            [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5],
        ]
    )  # fmt: skip
    faces = (np.arange(count)[:, None, None] * 8 + box).reshape(-1, 3)
    return corners.reshape(-1, 3), faces.astype(np.int64)
