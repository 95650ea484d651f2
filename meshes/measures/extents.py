"""How a body can be turned: its lowest lie, and the openings it passes."""

import numpy as np

from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.measures.openings import Extents
from plumbstone.meshes.piece import Floats

WAYS = 200  # directions a body is pushed through an opening, besides its own faces
TURNS = 45  # angles of the opening around each way, over a quarter turn
SEARCHED = 300  # directions in which outermost corners are looked for
TOGETHER = 16  # ways that are looked along at once
TRIED = 10_000  # corners among which they are looked for
AXES = np.eye(3)


def extents_of(vertices: Floats) -> Extents:
    """Measure the lowest turn of a body and the openings it passes.

    Parameters
    ----------
    vertices : (n, 3) float array
        Corners of the body [m].

    Returns
    -------
    Extents
        By the hull of its outermost corners, so up to 1 % too small for a finely meshed stone.
    """
    ways = even_directions(WAYS)
    corners = _outermost(vertices)
    hull = hull_of(corners)
    if hull is not None:
        ways = np.concatenate([hull.equations[:, :3], ways])
    heights = np.ptp(corners @ ways.T, axis=0)
    parts = np.array_split(ways, 1 + len(ways) // TOGETHER)
    each = np.concatenate([_sides_along(corners, part) for part in parts])
    boxes = each.prod(axis=2).min(axis=1) * heights
    around = smallest_box(corners, ways[boxes.argmin()])
    sides = each.reshape(-1, 2)
    sides = sides[np.lexsort((sides[:, 1], sides[:, 0]))]
    best = np.minimum.accumulate(np.concatenate([[np.inf], sides[:-1, 1]]))
    front = sides[sides[:, 1] < best - 1e-4]
    return Extents(float(heights.min()), tuple((float(a), float(b)) for a, b in front), around)


def even_directions(count: int) -> Floats:
    """Directions of unit length [-] spread evenly over half a sphere, (count, 3)."""
    k = np.arange(count) + 0.5
    z = k / count
    around = np.pi * (1 + 5**0.5) * k
    ring = np.sqrt(1 - z * z)
    return np.column_stack([ring * np.cos(around), ring * np.sin(around), z])


def _outermost(vertices: Floats) -> Floats:
    """Corners that lie farthest out in some direction, (k, 3); of large meshes a part is tried."""
    step = max(1, len(vertices) // TRIED)
    vertices = np.concatenate([vertices[::step], vertices[vertices.argmin(axis=0)],
                               vertices[vertices.argmax(axis=0)]])  # fmt: skip
    reach = even_directions(SEARCHED) @ vertices.T
    return vertices[np.unique(np.concatenate([reach.argmin(1), reach.argmax(1)]))]


def smallest_box(corners: Floats, way: Floats) -> tuple[float, float, float]:
    """Sides of the smallest box that stands along a way, longest first [m]."""
    flat = corners @ across(way).T
    hull = hull_of(flat)
    ring = flat if hull is None else flat[hull.vertices]
    steps = np.roll(ring, -1, axis=0) - ring
    steps /= np.linalg.norm(steps, axis=1)[:, None] + 1e-300
    along = np.ptp(ring @ steps.T, axis=0)
    aside = np.ptp(ring @ np.stack([-steps[:, 1], steps[:, 0]]), axis=0)
    best = int((along * aside).argmin())
    found = sorted((float(along[best]), float(aside[best]), float(np.ptp(corners @ way))))
    return found[2], found[1], found[0]


def across(way: Floats) -> Floats:
    """Two unit directions [-] at right angles to a way and each other, (2, 3)."""
    side = _product(AXES[np.abs(way).argmin()], way)
    side /= np.sqrt(side @ side)
    return np.array([side, _product(way, side)])


def _product(one: Floats, other: Floats) -> Floats:
    """Cross product of two vectors (3,), which numpy takes far longer to begin than to do."""
    (a, b, c), (x, y, z) = one.tolist(), other.tolist()
    return np.array([b * z - c * y, c * x - a * z, a * y - b * x])


def _sides_along(corners: Floats, ways: Floats) -> Floats:
    """Sides of rectangles around a body seen along some ways, short and long, (k, turns, 2)."""
    turns = np.arange(2 * TURNS) * np.pi / 2 / TURNS  # the second half is at right angles
    sides = np.array([across(way) for way in ways])
    seen = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ sides
    widths = np.ptp(corners @ seen.reshape(-1, 3).T, axis=0).reshape(-1, 2, TURNS)
    return np.stack([widths.min(axis=1), widths.max(axis=1)], axis=2)
