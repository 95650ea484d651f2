"""Ways around the stones of a gap, by the shortest path through a graph of what sees what."""

import itertools

import numpy as np
import pytest
import shapely
from scipy.sparse.csgraph import dijkstra

from plumbstone.volumes.bed.taut import Strings, corners_of, string_around, taut_ways

HALF = 0.02  # of the width of the gap [m]


def stone(rng: np.random.Generator, left: bool) -> np.ndarray:
    """A convex stone beside the gap, with one corner at its end; it lies behind y = 0.02."""
    points = rng.uniform([HALF, -0.09], [0.15, 0.02], (12, 2))
    points = np.vstack([points, [HALF, 0.0]])
    return points * ([-1, 1] if left else [1, 1])


def shortest(wall: shapely.Polygon, start: np.ndarray, end: np.ndarray) -> float:
    """Length of the shortest way beside an obstacle: Dijkstra over corners that see each other."""
    nodes = [start, end, *np.array(wall.exterior.coords)[:-1]]
    core = wall.buffer(-1e-7)
    ways = np.zeros((len(nodes), len(nodes)))
    for i, j in itertools.combinations(range(len(nodes)), 2):
        line = shapely.LineString([nodes[i], nodes[j]])
        if not line.intersects(core):
            ways[i, j] = max(line.length, 1e-12)
    return float(dijkstra(ways, directed=False, indices=0)[1])


@pytest.mark.parametrize("seed", range(6))
def test_ways_from_a_gap_are_taut(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stones = [stone(rng, True), stone(rng, False)]
    ends = np.array([-HALF, 0.0, HALF, 0.0])
    # Drawn in front of the stones: the left one is passed anticlockwise, the right one clockwise.
    strings = []
    for outline, end, clockwise in zip(stones, (ends[:2], ends[2:]), (False, True), strict=True):
        string = string_around(end, outline, clockwise=clockwise)
        assert string is not None
        assert string[0] == pytest.approx(end)
        strings.append(string)
    places = rng.uniform([-0.25, 0.021], [0.25, 0.2], (40, 2))
    found = taut_ways(ends, Strings(*strings), *places.T)
    for (x, y), way in zip(places, found, strict=True):
        if abs(x) <= HALF:
            assert way == pytest.approx(y)
            continue
        side = int(x > 0)
        hull = shapely.MultiPoint(stones[side]).convex_hull
        wanted = shortest(hull, ends[2 * side : 2 * side + 2], np.array([x, y]))
        assert way == pytest.approx(wanted, abs=1e-6)


def test_a_string_bends_around_a_square() -> None:
    # Half around a square of 1 m and 0.5 m on, behind it: by Pythagoras.
    square = np.array([[1.0, -0.5], [2, -0.5], [2, 0.5], [1, 0.5]])
    end = np.array([1.0, 0.0])
    for clockwise, sign in ((True, 1.0), (False, -1.0)):
        string = string_around(end, square, clockwise=clockwise)
        assert string is not None
        assert string[1:4] == pytest.approx(
            np.array([[1, 0.5 * sign], [2, 0.5 * sign], [2, -0.5 * sign]])
        )
        strings = Strings(np.array([[0.0, 0.0]]), string)
        x, y = np.array([3.0, 2.5, 1.5]), np.array([0.0, 0.0, sign])
        ways = taut_ways(np.array([0.0, 0, 1, 0]), strings, x, y)
        assert ways == pytest.approx([1.5 + 1.25**0.5, 1.5 + 0.5**0.5, 0.5 + 0.5**0.5])


def test_a_place_within_a_stone_has_no_string() -> None:
    square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    assert string_around(np.array([0.5, 0.4]), square, clockwise=True) is None
    assert string_around(np.zeros(2), np.empty((0, 2)), clockwise=True) == pytest.approx(
        np.zeros((1, 2))
    )
    assert len(corners_of(np.array([[0.0, 0], [1, 1], [2, 2]]))) == 0
