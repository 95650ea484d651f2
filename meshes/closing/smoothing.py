"""Whether a skin is so smooth that its edges were rounded off while it was fused."""

import numpy as np

from plumbstone.meshes.piece import Floats, Indices

SPACING = 0.0013  # of the points spread over the skin [m]
MOST_POINTS, LOOKED_AT, NEIGHBOURS = 80_000, 1500, 20
CALM, FLAT = 0.016e-3, 0.045e-3  # roughness of a skin that was smoothed: of its calmest tenth,
# and on the median [m]; phones leave 0.02 and 0.05 mm or more, fusion over 3-5 mm 0.013 and 0.035


def roughness(vertices: Floats, faces: Indices) -> Floats:
    """How far a skin lies off small planes through it, at 10 % and 50 % of its places [m].

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array

    Returns
    -------
    (2,) float array
        Root mean square over about 3 mm around each place.
    """
    from scipy.spatial import cKDTree

    a, b, c = (vertices[faces[:, i]] for i in range(3))
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    count = int(np.clip(areas.sum() / SPACING**2, 2000, MOST_POINTS))
    rng = np.random.default_rng(8)
    pick = rng.choice(len(faces), count, p=areas / areas.sum())
    u, v = rng.uniform(size=(2, count, 1))
    u, v = np.where(u + v > 1, 1 - u, u), np.where(u + v > 1, 1 - v, v)
    points = a[pick] + u * (b - a)[pick] + v * (c - a)[pick]
    _, near = cKDTree(points).query(points[:LOOKED_AT], k=NEIGHBOURS)
    local = points[near] - points[near].mean(axis=1, keepdims=True)
    off = np.linalg.svd(local, compute_uv=False)[:, 2] / np.sqrt(NEIGHBOURS)
    found: Floats = np.quantile(off, [0.1, 0.5])
    return found


def is_smoothed(vertices: Floats, faces: Indices) -> bool:
    """Tell whether a scanned skin lacks the roughness that a phone's pictures leave."""
    calm, middle = roughness(vertices, faces)
    return bool(calm < CALM and middle < FLAT)
