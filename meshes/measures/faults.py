"""What is wrong with a triangle mesh: open, mixed up, in several shells."""

import numpy as np

from plumbstone.meshes.faces import balance, sharing, sixfold, winding
from plumbstone.meshes.faces import face_areas as face_areas
from plumbstone.meshes.faces import shells as shells
from plumbstone.meshes.piece import Floats, Indices


def is_closed(faces: Indices, count: int) -> bool:
    """Tell whether every edge is walked as often one way as the other.

    Parameters
    ----------
    faces : (m, 3) int array
        Rows of a vertex array.
    count : int
        Number of vertices.

    Returns
    -------
    bool
        True for a closed, consistently wound mesh: only such a mesh has a volume.

    Notes
    -----
    Compares the multisets of edges (a, b) and (b, a) by a sum of 64-bit hashes; two different
    multisets agree with a chance of about 1e-19.
    """
    if len(faces) == 0:
        return False
    return balance(faces, count) == 0


def picked_by_area(
    vertices: Floats, faces: Indices, count: int, rng: np.random.Generator
) -> Indices:
    """Pick faces by chance, as often as they are large, (count, 3)."""
    areas = face_areas(vertices, faces)
    return faces[rng.choice(len(faces), count, p=areas / areas.sum())]


def open_edges(faces: Indices) -> Indices:
    """Edges that belong to one face only, (k, 2), in the direction of that face."""
    face, edge = np.nonzero(sharing(faces, int(faces.max(initial=-1)) + 1) == 1)
    return np.column_stack([faces[face, edge], faces[face, (edge + 1) % 3]])


def enclosed_volume(vertices: Floats, faces: Indices) -> float:
    """Signed volume of a closed mesh [cubed unit of the vertices]."""
    if len(faces) == 0:
        return 0.0
    corners = np.asarray(vertices, dtype=float)
    return float(sixfold(corners, faces, corners.mean(axis=0)).sum() / 6)


def winding_number(vertices: Floats, faces: Indices, points: Floats) -> Floats:
    """How often a mesh [m] winds around each point [m], (k,); 1 inside, 0 outside.

    References
    ----------
    Solid angles by Van Oosterom and Strackee (1983), IEEE Trans. Biomed. Eng. 30, 125
    (from memory); generalised winding number by Jacobson et al. (2013), ACM TOG 32, 33
    (from memory).
    """
    return winding(vertices, faces, np.asarray(points, dtype=float))
