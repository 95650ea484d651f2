"""Nearest points, hulls and smallest boxes against trimesh, shapely and closed forms."""

import numpy as np
import pytest
import shapely
import trimesh
from scipy.spatial.transform import Rotation

from plumbstone.meshes.measures.extents import extents_of, smallest_box
from plumbstone.meshes.measures.nearest import nearest_on
from plumbstone.meshes.shapes.primitives import boulder, box
from plumbstone.volumes.bodies.contacts import hull_numbers, inside_hull, off_hull, rest_plane


@pytest.mark.parametrize("seed", range(5))
def test_the_nearest_point_is_that_of_a_general_library(seed: int) -> None:
    # trimesh.triangles.closest_point: after Ericson, Real-Time Collision Detection.
    rng = np.random.default_rng(seed)
    triangles = rng.normal(size=(40, 3, 3)) * rng.uniform(0.05, 1, (40, 1, 1))
    for place in rng.normal(size=(20, 3)) * 1.5:
        others = trimesh.triangles.closest_point(triangles, np.tile(place, (40, 1)))
        away = np.linalg.norm(others - place, axis=1)
        found = nearest_on(triangles, place)
        assert np.linalg.norm(found - place) == pytest.approx(away.min(), abs=1e-12)
        assert found == pytest.approx(others[away.argmin()], abs=1e-9)


def test_triangles_without_an_area_are_their_edge_or_corner() -> None:
    # The foot on a line and the distance of two points, by Pythagoras.
    edge = np.array([[[0.0, 0, 0], [2, 0, 0], [1, 0, 0]]])
    assert nearest_on(edge, np.array([0.5, 3.0, 4.0])) == pytest.approx([0.5, 0, 0])
    assert nearest_on(edge, np.array([5.0, 4.0, 0.0])) == pytest.approx([2, 0, 0])
    corner = np.full((1, 3, 3), 1.0)
    assert nearest_on(corner, np.zeros(3)) == pytest.approx([1, 1, 1])


@pytest.mark.parametrize("seed", range(4))
def test_ways_off_a_hull_are_those_of_shapely(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places, points = rng.normal(size=(15, 2)), rng.normal(size=(60, 2)) * 2
    hull = shapely.MultiPoint(places).convex_hull
    away = shapely.distance(hull, shapely.points(points))
    assert (away == 0).any()
    assert off_hull(points, places) == pytest.approx(away, abs=1e-12)
    assert (inside_hull(places, points) == (away == 0)).all()
    ring = places[hull_numbers(places)]
    assert shapely.Polygon(ring).area == pytest.approx(hull.area)


def test_places_in_a_row_are_a_line() -> None:
    row = np.array([[0.0, 0], [1, 1], [3, 3], [2, 2]])
    assert sorted(hull_numbers(row).tolist()) == [0, 2]
    points = np.array([[1.5, 1.5], [4.0, 4.0], [0.0, 2.0]])
    away = shapely.distance(shapely.LineString(row[[0, 2]]), shapely.points(points))
    assert off_hull(points, row) == pytest.approx(away)
    assert not inside_hull(row, points[:1])


@pytest.mark.parametrize("seed", range(4))
def test_a_body_sinks_to_the_highest_plane_below_its_gaps(seed: int) -> None:
    # The same program, maximise the height at the centre below all gaps, by SciPy's solver.
    from scipy.optimize import linprog

    rng = np.random.default_rng(seed)
    places, gaps = rng.uniform(-1, 1, (40, 2)), rng.uniform(0, 0.1, 40)
    terms = np.column_stack([np.ones(40), places])
    best = linprog([-1.0, 0, 0], A_ub=terms, b_ub=gaps, bounds=[(None, None)] * 3)
    found = rest_plane(places, gaps, np.zeros(2))
    assert found[0] == pytest.approx(-best.fun, abs=1e-9)
    assert (gaps - terms @ found).min() >= -1e-9
    # Beside all that is below there is no such plane: it rests as drawn.
    assert rest_plane(places, gaps, np.array([5.0, 0.0])) == pytest.approx([gaps.min(), 0, 0])


SIDES = (0.23, 0.11, 0.05)


@pytest.mark.parametrize("seed", range(3))
def test_a_turned_box_has_its_own_sides(seed: int) -> None:
    turn = Rotation.random(rng=seed).as_matrix()
    vertices = box(SIDES).vertices @ turn.T
    found = extents_of(vertices)
    assert found.lowest == pytest.approx(SIDES[2])
    assert found.sides == pytest.approx(SIDES)
    # It passes an opening of its two shorter sides, and none shorter than its shortest. Openings
    # are tried each 2°, so they are wide by up to 11 cm × sin 1° = 2 mm.
    assert found.passes(0.052, 0.112)
    assert not found.passes(0.0499, 0.4)
    assert found.smallest == pytest.approx((0.05, 0.11), abs=2e-3)
    assert smallest_box(vertices, turn[:, 2]) == pytest.approx(SIDES)


def test_a_flat_face_is_boxed_by_its_least_rectangle() -> None:
    # Freeman and Shapira (1975), from memory: one side of the least rectangle lies on the hull.
    # It is least by area: shapely has the same rule.
    rng = np.random.default_rng(8)
    for _ in range(5):
        outline = rng.normal(size=(9, 2)) * [0.1, 0.03]
        corners = np.column_stack([np.repeat(outline, 2, axis=0), np.tile([0.0, 0.2], 9)])
        least = shapely.minimum_rotated_rectangle(shapely.MultiPoint(outline))
        ring = np.array(least.exterior.coords)
        sides = np.linalg.norm(np.diff(ring[:3], axis=0), axis=1)
        found = smallest_box(corners, np.array([0.0, 0, 1]))
        assert found == pytest.approx(sorted([*sides, 0.2], reverse=True))


def test_openings_are_a_front_of_ever_longer_ones() -> None:
    found = extents_of(boulder((0.2, 0.15, 0.1), 3).vertices)
    shorts, longs = np.array(found.openings).T
    assert (np.diff(shorts) >= 0).all()
    assert (np.diff(longs) < 0).all()
    assert (shorts <= longs + 1e-12).all()
    larger = found.times(2.0)
    assert larger.passes(2 * shorts[0] + 1e-9, 2 * longs[0] + 1e-9)
    assert larger.lowest == pytest.approx(2 * found.lowest)
    assert larger.sides == pytest.approx([2 * side for side in found.sides])
    assert min(shorts) >= found.lowest - 1e-9  # nothing passes a slit lower than it can lie
