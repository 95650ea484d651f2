"""The shortest way around two stones, from the gap between them to anywhere beyond it.

Between two convex outlines that lie nearest to each other at the ends of a gap, the way to a
place is straight where it lies before the gap, and else a string drawn taut around one of them.
"""

import itertools
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.piece import Floats, Indices
from plumbstone.volumes.bed.zones import nearest_along

TOUCHES = 1e-3  # [m]: the end of a gap may lie so far within the outline


@dataclass(frozen=True, slots=True, eq=False)
class Strings:
    """Corners that a string from each end of a gap is drawn around, (k, 2) each [m].

    The first is the end itself; they follow each other around the stone beside it.
    """

    left: Floats
    right: Floats


def corners_of(points: Floats) -> Indices:
    """Numbers of the points (n, 2) [m] that are corners of their hull, anticlockwise, (k,).

    None where all lie on one line.
    """
    hull = hull_of(points)
    return np.asarray([] if hull is None else hull.vertices, dtype=np.int64)


def string_around(end: Floats, outline: Floats, clockwise: bool) -> Floats | None:
    """Corners that a string passes as it is drawn from a place around a stone, (k, 2) [m].

    Parameters
    ----------
    end : (2,) float array
        The place [m].
    outline : (n, 2) float array
        Points of the stone [m]; it is taken as convex.
    clockwise : bool
        Which way around, seen from above.

    Returns
    -------
    (k, 2) float array or None
        The place first; None where it lies within the stone.

    Examples
    --------
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> string_around(np.array([1.5, 0.5]), square, clockwise=True)[:3].tolist()
    [[1.5, 0.5], [1.0, 0.0], [0.0, 0.0]]
    """
    if len(outline) == 0:
        return end[None]
    middle = outline.mean(axis=0)
    out = end + (end - middle) * (TOUCHES / max(float(np.hypot(*(end - middle))), 1e-9))
    corners = np.vstack([outline, out])
    around = corners_of(corners)
    if len(around) == 0:
        return end[None]
    first = np.flatnonzero(around == len(outline))
    if len(first) == 0:
        return None
    around = np.roll(around, -first[0])
    if clockwise:
        around = np.roll(around[::-1], 1)
    corners[-1] = end
    return corners[around]


def taut_ways(ends: Floats, strings: Strings, x: Floats, y: Floats) -> Floats:
    """Length of the shortest ways from a gap to places on one side of it, (n,) [m].

    The ends of the gap are x and y of the left and of the right one, (4,) [m], the places x, y,
    (n,) [m].
    """
    share, ways = nearest_along(ends[:2], ends[2:], x, y)
    for string, beside in ((strings.left, share < 0), (strings.right, share > 1)):
        ways[beside] = _around(string, x[beside], y[beside])
    return ways


def _around(string: Floats, x: Floats, y: Floats) -> Floats:
    """Length of a string to places, (n,) [m]: it leaves the stone where it runs on straight."""
    ways: Floats = np.hypot(x - string[0, 0], y - string[0, 1])
    if len(string) < 3:
        return ways
    (x0, y0), (x1, y1), (x2, y2) = string[:3]
    turn = np.sign((x1 - x0) * (y2 - y1) - (y1 - y0) * (x2 - x1))
    behind, done = np.arange(len(x)), 0.0
    for (x0, y0), (x1, y1) in itertools.pairwise(string):
        done += float(np.hypot(x1 - x0, y1 - y0))
        bent = (x1 - x0) * (y[behind] - y0) - (y1 - y0) * (x[behind] - x0)
        behind = behind[bent * turn > 0]
        if len(behind) == 0:
            break
        ways[behind] = done + np.hypot(x[behind] - x1, y[behind] - y1)
    return ways
