"""A second estimate of a volume that neither flux nor closing can fool: counting points inside."""

import numpy as np

from plumbstone.meshes.measures.faults import enclosed_volume, face_areas, winding_number
from plumbstone.meshes.mending.thinning import thinned
from plumbstone.meshes.piece import Floats, Indices

INNER_POINTS = 500  # wanted inside the body
MOST_POINTS = 4000
FACES = 2000  # that the surface is thinned out to


def occupied_volume(vertices: Floats, faces: Indices, caps: slice, expected: float) -> float:
    """Estimate the volume of a surface from its skin alone, holes left open [m³].

    The mesh (n, 3) [m], (m, 3) is closed; the faces `caps` close holes and are left out. The volume
    that is expected [m³] sets how many points are tried.

    Notes
    -----
    A point counts as inside where the generalised winding number exceeds 1/2; one random point
    in each cell of a lattice over the box, seeded. About 3 % at 90 %. Large meshes are thinned
    out, and the volume that this takes off the closed mesh is added again.
    """
    bare = np.delete(faces, caps, axis=0)
    lost = 1.0
    if len(faces) > FACES:
        area = float(face_areas(vertices, faces).sum())
        extent = float(np.ptp(vertices, axis=0).max())
        cells = int(np.clip(extent / np.sqrt(2 * area / FACES), 8, 200))
        thin = enclosed_volume(*thinned(vertices, faces, cells))
        lost = abs(expected / thin) if abs(thin) > 0.5 * expected else 1.0
        vertices, bare = thinned(vertices, bare, cells)
    low, size = vertices.min(axis=0), np.ptp(vertices, axis=0)
    box = float(size.prod())
    count = int(np.clip(INNER_POINTS * box / max(expected, 1e-12), INNER_POINTS, MOST_POINTS))
    cells_along = np.maximum((size / (box / count) ** (1 / 3)).round(), 1).astype(int)
    lattice = np.stack(np.meshgrid(*map(np.arange, cells_along), indexing="ij"), axis=-1)
    places = lattice.reshape(-1, 3) + np.random.default_rng(6).uniform(size=(lattice.size // 3, 3))
    inside = winding_number(vertices, bare, low + places / cells_along * size) > 0.5
    return float(inside.mean() * box * lost)
