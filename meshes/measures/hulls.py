"""Hulls of points, wherever there is one."""

from typing import TYPE_CHECKING

from plumbstone.meshes.piece import Floats

if TYPE_CHECKING:
    from scipy.spatial import ConvexHull


def hull_of(points: Floats) -> "ConvexHull | None":
    """Give the hull of points (n, 2) or (n, 3) [m]; None where they are too few, or flat."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return ConvexHull(points)
    except (QhullError, ValueError):
        return None
