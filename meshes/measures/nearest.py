"""What is nearest: the point of a surface to a place, the known cell of a grid to another."""

import numpy as np

from plumbstone.meshes.piece import Flags, Floats


def nearest_on(triangles: Floats, place: Floats) -> Floats:
    """Point of triangles (n, 3, 3) that is nearest to a place (3,), as (3,) [m].

    Notes
    -----
    Over the inside of a triangle it is the foot of the perpendicular; else it lies on one of
    its edges.
    """
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    points = [_on_edges(a, b, place), _on_edges(b, c, place), _on_edges(c, a, place)]
    normal = np.cross(b - a, c - a)
    size = np.einsum("ij,ij->i", normal, normal)
    with np.errstate(divide="ignore", invalid="ignore"):
        foot = place - normal * (np.einsum("ij,ij->i", place - a, normal) / size)[:, None]
        v = np.einsum("ij,ij->i", np.cross(foot - a, c - a), normal) / size
        w = np.einsum("ij,ij->i", np.cross(b - a, foot - a), normal) / size
        inside = (v >= 0) & (w >= 0) & (v + w <= 1)
    points.append(np.where(inside[:, None], foot, np.inf))
    every = np.concatenate(points)
    return every[int(np.linalg.norm(every - place, axis=1).argmin())]


def distance_to(triangles: Floats, place: Floats) -> float:
    """Distance of a place (3,) to the nearest of triangles (n, 3, 3) [m]."""
    return float(np.linalg.norm(nearest_on(triangles, place) - place))


def carried_on(values: Floats, unknown: Flags) -> Floats:
    """Give a grid whose unknown cells take what the nearest known one has."""
    from scipy.ndimage import distance_transform_edt

    nearest = distance_transform_edt(unknown, return_distances=False, return_indices=True)
    return values[tuple(nearest)]


def _on_edges(start: Floats, end: Floats, place: Floats) -> Floats:
    """Nearest points on edges, (n, 3)."""
    along = end - start
    length = np.maximum(np.einsum("ij,ij->i", along, along), 1e-30)
    share = np.clip(np.einsum("ij,ij->i", place - start, along) / length, 0, 1)
    return start + share[:, None] * along
