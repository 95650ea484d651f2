"""Surfaces as they are drawn, at every cell, against closed forms and SciPy."""

import numpy as np
import pytest
import shapely
from scipy.interpolate import RBFInterpolator, RegularGridInterpolator

from plumbstone.meshes.measures.columns import Grid
from plumbstone.volumes.bed.zones import (
    drawn_level,
    line_distance,
    nearest_along,
    polygon_distance,
    zone_distance,
)
from plumbstone.volumes.scape.layers import Border, Mound, Profile, Trail, Zone

GRID = Grid.of_spacing(0.6, 0.4, 0.01)
X, Y = np.meshgrid(GRID.x, GRID.y)
U, V = X / 0.6, Y / 0.4


def test_between_four_corners_it_is_bilinear() -> None:
    corners = np.array([[0.02, 0.05], [0.08, 0.11]])  # front, back; left, right
    found = drawn_level(Profile(True, tuple(corners.ravel())), None, GRID)
    between = RegularGridInterpolator(([0, 0.4], [0, 0.6]), corners)  # SciPy
    assert found == pytest.approx(between((Y, X)))


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_level_in_the_middle_of_a_side_bends_that_half_alone(side: str) -> None:
    flat = Profile(True, (0.04,) * 4, **{side: 0.09})
    found = drawn_level(flat, None, GRID)
    away = U if side == "left" else 1 - U
    # Along the pane a parabola through both corners and the middle: 4 v (1 - v) of the rise.
    wanted = 0.04 + 0.05 * np.clip(1 - 2 * away, 0, 1) * 4 * V * (1 - V)
    assert found == pytest.approx(wanted)
    assert found[away > 0.5] == pytest.approx(0.04)


def test_terraces_step_and_rise_from_their_feet() -> None:
    steps = Profile(True, terraces=((0.0, 0.02), (0.1, 0.05), (0.3, 0.03)))
    sharp = drawn_level(steps, None, GRID)
    assert sharp == pytest.approx(np.select([Y < 0.1, Y < 0.3], [0.02, 0.05], 0.03))
    # With a slope of 1 each rises from the foot of the lower one, on whichever side that lies.
    found = drawn_level(steps, None, GRID, slope=1.0)
    middle = np.min([np.full_like(Y, 0.05), 0.02 + (Y - 0.1), 0.03 + (0.3 - Y)], axis=0)
    assert found == pytest.approx(np.select([Y < 0.1, Y < 0.3], [0.02, middle], 0.03))


def test_points_make_a_thin_plate_that_does_not_overshoot() -> None:
    rng = np.random.default_rng(4)
    points = np.column_stack([rng.uniform([0, 0], [0.6, 0.4], (7, 2)), rng.uniform(0.02, 0.1, 7)])
    found = drawn_level(Profile(True, points=tuple(map(tuple, points))), None, GRID)
    plate = RBFInterpolator(points[:, :2], points[:, 2])(np.column_stack([X.ravel(), Y.ravel()]))
    beyond = (plate < points[:, 2].min()) | (plate > points[:, 2].max())
    assert beyond.any()
    assert found.ravel()[~beyond] == pytest.approx(plate[~beyond])
    assert found.min() == pytest.approx(points[:, 2].min())
    assert found.max() == pytest.approx(points[:, 2].max())


@pytest.mark.parametrize("count", [1, 2, 3])
def test_few_points_and_points_in_a_row_weigh_by_distance(count: int) -> None:
    # Shepard (1968), inverse squares of the distance; from memory. At a point it is that level.
    row = [(0.105, 0.105, 0.03), (0.205, 0.205, 0.06), (0.305, 0.305, 0.09)][:count]
    found = drawn_level(Profile(True, points=tuple(row)), None, GRID)
    for x, y, level in row:
        cell = np.hypot(X - x, Y - y).argmin()
        assert found.flat[cell] == pytest.approx(level, abs=1e-5)
    away = np.stack([np.maximum(np.hypot(X - x, Y - y), 1e-9) ** -2.0 for x, y, _ in row])
    share = away / away.sum(axis=0)
    wanted = sum(s * level for s, (_, _, level) in zip(share, row, strict=True))
    far = np.all([np.hypot(X - x, Y - y) > 0.02 for x, y, _ in row], axis=0)
    assert found[far] == pytest.approx(wanted[far], rel=1e-4)


def test_a_map_begins_at_the_back() -> None:
    values = np.array([[0.10, 0.12, 0.08], [0.06, 0.05, 0.07], [0.02, 0.03, 0.01]])
    found = drawn_level(Profile(True, heightmap=values), None, GRID)
    between = RegularGridInterpolator(([0, 0.2, 0.4], [0, 0.3, 0.6]), values[::-1])
    assert found == pytest.approx(between((Y, X)))


def test_a_mound_holds_its_closed_volume_and_a_hollow_digs_as_much() -> None:
    # ∫ rise (1 + cos πr/R) / 2 over the circle = π R² rise (1/2 - 2/π²).
    for rise, sign in ((0.03, 1), (-0.03, -1)):
        mound = Profile(True, (0.05,) * 4, mounds=(Mound((0.3, 0.2), rise, 0.12),))
        found = drawn_level(mound, None, GRID)
        volume = np.pi * 0.12**2 * 0.03 * (0.5 - 2 / np.pi**2)
        assert (found - 0.05).sum() * GRID.cell_area == pytest.approx(sign * volume, rel=2e-3)
    deep = Profile(True, (0.01,) * 4, mounds=(Mound((0.3, 0.2), -0.03, 0.12),))
    assert drawn_level(deep, None, GRID).min() == 0


def test_a_path_lies_at_its_level_and_climbs_no_faster_than_it_may() -> None:
    line = ((0.1, 0.05), (0.3, 0.2), (0.3, 0.35))
    path = Profile(True, (0.08,) * 4, paths=(Trail(line, 0.06, 0.03),))
    away = shapely.distance(shapely.LineString(line), shapely.points(X, Y)) - 0.03
    sharp = drawn_level(path, None, GRID)
    assert sharp == pytest.approx(np.where(away <= 0, 0.03, 0.08))
    found = drawn_level(path, None, GRID, slope=0.7)
    assert found == pytest.approx(np.minimum(0.08, 0.03 + 0.7 * np.maximum(away, 0)), abs=1e-9)


def test_a_slope_runs_from_end_to_end_of_its_zone() -> None:
    # A strip between y = 10.3 and 30.7 cm: its profile begins at its own edges, not at panes,
    # to a part of a cell; before and behind it lie the levels of its edges.
    edge = np.minimum(Y - 0.103, 0.307 - Y)
    found = drawn_level(Profile(True, (0.02, 0.02, 0.10, 0.10)), edge, GRID)
    wanted = 0.02 + 0.08 * np.clip((Y - 0.103) / 0.204, 0, 1)
    assert found == pytest.approx(wanted, abs=1e-9)
    aside = np.minimum(X - 0.152, 0.449 - X)
    found = drawn_level(Profile(True, (0.02, 0.10, 0.02, 0.10)), aside, GRID)
    assert found == pytest.approx(0.02 + 0.08 * np.clip((X - 0.152) / 0.297, 0, 1), abs=1e-9)


def test_distances_to_lines_and_outlines_are_those_of_shapely() -> None:
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-0.5, 1.5, (2, 200))
    line = rng.uniform(0, 1, (5, 2))
    away = shapely.distance(shapely.LineString(line), shapely.points(x, y))
    assert line_distance(line, x, y) == pytest.approx(away, abs=1e-12)
    share = shapely.line_locate_point(
        shapely.LineString(line[:2]), shapely.points(x, y), normalized=True
    )
    found, _ = nearest_along(line[0], line[1], x, y)
    assert found.clip(0, 1) == pytest.approx(share, abs=1e-12)
    outline = np.array([[0.0, 0], [1, 0], [1, 1], [0.5, 0.3], [0, 1]])  # with a notch
    shape = shapely.Polygon(outline)
    far = shapely.distance(shape.exterior, shapely.points(x, y))
    signed = np.where(shapely.contains_xy(shape, x, y), far, -far)
    assert polygon_distance(outline, x, y) == pytest.approx(signed, abs=1e-12)


def inward(shape: shapely.Geometry) -> np.ndarray:
    """Distance of each cell to the edge of a shape, positive inside (shapely)."""
    away = shapely.distance(shapely.boundary(shape), shapely.points(X, Y))
    return np.where(shapely.contains_xy(shape, X, Y), away, -away)


def test_zones_without_a_border_end_where_their_outlines_do() -> None:
    assert zone_distance(Zone(), None, GRID) is None
    ring = ((0.1, 0.1), (0.4, 0.05), (0.5, 0.3), (0.3, 0.2))
    found = zone_distance(Zone("own", polygon=ring), None, GRID)
    assert found == pytest.approx(inward(shapely.Polygon(ring)), abs=1e-12)
    line = ((0.1, 0.1), (0.3, 0.3), (0.5, 0.1))
    found = zone_distance(Zone("along line", width=0.06, line=line), None, GRID)
    away = shapely.distance(shapely.LineString(line), shapely.points(X, Y))
    assert found == pytest.approx(0.03 - away, abs=1e-12)


@pytest.mark.parametrize(
    ("name", "ends"),
    [
        ("front strip", (-9, -9, 9, 0.07)),
        ("back strip", (-9, 0.33, 9, 9)),
        ("left strip", (-9, -9, 0.07, 9)),
        ("right strip", (0.53, -9, 9, 9)),
    ],
)
def test_strips_have_one_edge_as_panes_are_none(name: str, ends: tuple[float, ...]) -> None:
    found = zone_distance(Zone(name, width=0.07), None, GRID)
    assert found == pytest.approx(inward(shapely.box(*ends)), abs=1e-12)


def test_zones_by_a_border_share_its_line() -> None:
    # The line runs on level beyond both panes, so that no edge bends there.
    line = ((0.0, 0.12), (0.25, 0.2), (0.6, 0.1))
    border = Border(line, (), strip=False)
    behind = zone_distance(Zone("behind border"), border, GRID)
    around = [(-99, 0.12), *line, (99, 0.1), (99, 99), (-99, 99)]
    assert behind == pytest.approx(inward(shapely.Polygon(around)), abs=1e-9)
    assert behind is not None
    before = zone_distance(Zone("before border"), border, GRID)
    assert before == pytest.approx(-behind)
    along = zone_distance(Zone("along border", width=0.05), border, GRID)
    assert along == pytest.approx(0.025 - np.abs(behind))
    own = zone_distance(Zone("behind border"), border, GRID, (np.array([0.25]), np.array([0.3])))
    assert own is not None
    assert own.shape == (1,)
    assert 0 < own[0] <= 0.1
