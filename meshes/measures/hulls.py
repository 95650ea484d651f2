"""Hulls of points, wherever there is one."""

from typing import Any

from plumbstone.meshes.piece import Floats


def hull_of(points: Floats) -> Any:
    """Give SciPy's hull of points (n, 2) or (n, 3) [m]; None where they are too few, or flat."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return ConvexHull(points)
    except (QhullError, ValueError):
        return None
