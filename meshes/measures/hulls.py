"""Hulls of points, wherever there is one."""

import scipy

from plumbstone.meshes.piece import Floats


def hull_of(points: Floats) -> "scipy.spatial.ConvexHull | None":
    """Give the hull of points (n, 2) or (n, 3) [m]; None where they are too few, or flat."""
    try:
        return scipy.spatial.ConvexHull(points)
    except (scipy.spatial.QhullError, ValueError):
        return None
