"""Layers in zones of any edge against closed forms."""

from collections.abc import Sequence
from dataclasses import replace
from math import pi, radians, tan

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import Polygon
from shapely.affinity import rotate, translate

from plumbstone.meshes.piece import Piece
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.shapes.placing import stood_at
from plumbstone.meshes.shapes.primitives import box
from plumbstone.volumes.bed.pouring import solve_bed
from plumbstone.volumes.scape.layers import Border, Layer, Mound, Profile, Trail, Zone
from plumbstone.volumes.scape.materials import find_material


def bed_litres(
    floor: tuple[float, float],
    zone: Zone,
    height: float,
    border: Border | None = None,
    bodies: Sequence[tuple[Piece, float]] = (),
) -> float:
    """Settled volume of one layer of soil at 34°, drawn level in a zone [m³]."""
    soil = find_material("baked-clay soil")
    layer = Layer("Soil", soil, zone, Profile(True, (height,) * 4), 0.0, (), 0.0)
    return solve_bed(floor, [layer], (border,) if border else (), bodies).settled


SOIL_SLOPE = tan(radians(34))


def ramp(width: float, height: float) -> float:
    """Cross-section of a heap from a free edge up to a height, or to the end of its width [m²]."""
    foot = height / SOIL_SLOPE
    return width * height - foot * height / 2 if foot < width else width**2 * SOIL_SLOPE / 2


LENGTHS = st.floats(0.05, 0.25)


@pytest.mark.parametrize(
    ("floor", "side", "width", "along"),
    [((0.6, 0.3), "back", 0.15, 0.6), ((1.2, 0.5), "back", 0.07, 1.2), ((0.6, 0.3), "left", 0.095, 0.3)],
)  # fmt: skip
def test_strips_with_their_edge_on_the_middle_of_cells(
    floor: tuple[float, float], side: str, width: float, along: float
) -> None:
    # The ramp at repose over the length of the strip; 0.6 m: 4.552 L. Derived.
    found = bed_litres(floor, Zone(f"{side} strip", width), 0.10)
    assert found == pytest.approx(along * ramp(width, 0.10), rel=2e-3)


@settings(max_examples=12, deadline=None)
@given(
    width=LENGTHS,
    side=st.sampled_from(["front", "back", "left", "right"]),
    level=st.floats(0.03, 0.12),
)
def test_strips_with_any_edge(width: float, side: str, level: float) -> None:
    found = bed_litres((0.45, 0.31), Zone(f"{side} strip", width), level)
    along = 0.45 if side in ("front", "back") else 0.31
    assert found == pytest.approx(along * ramp(width, level), rel=2e-3)


@settings(max_examples=8, deadline=None)
@given(
    at=st.tuples(st.floats(0.2, 0.25), st.floats(0.14, 0.17)),
    size=st.tuples(st.floats(0.06, 0.2), st.floats(0.06, 0.15)),
    notch=st.tuples(st.floats(0.1, 0.6), st.floats(0.2, 0.9)),
    turn=st.one_of(st.just(0.0), st.floats(0, 90)),
    level=st.floats(0.02, 0.08),
)
@example((0.25, 0.14), (0.125, 0.125), (0.5, 0.5), 0.0, 0.0625)
@example((0.25, 0.14), (0.09375, 0.15), (0.5, 0.5), 0.0, 0.0625)
def test_polygons_with_any_edge(
    at: tuple[float, float],
    size: tuple[float, float],
    notch: tuple[float, float],
    turn: float,
    level: float,
) -> None:
    # A rectangle with a corner cut out: at each height the heap is the polygon moved
    # inwards by height / tan, whose area shapely gives; summed by the trapezoidal rule.
    (a, b), (c, d) = size, (size[0] * (1 - notch[0]), size[1] * notch[1])
    ring = [(0.0, 0.0), (a, 0.0), (a, d), (c, d), (c, b), (0.0, b)]
    turned = rotate(translate(Polygon(ring), at[0] - a / 2, at[1] - b / 2), turn)
    heights = np.linspace(0, level, 401)
    areas = [turned.buffer(-z / SOIL_SLOPE, quad_segs=32).area for z in heights]
    exact = float(np.trapezoid(areas, heights))
    zone = Zone("polygon", polygon=tuple(turned.exterior.coords)[:-1])
    # Where an edge runs through the middles of cells, up to 0.3 mL are too much.
    assert bed_litres((0.45, 0.31), zone, level) == pytest.approx(exact, rel=2e-3, abs=3e-7)


@pytest.mark.parametrize("tries", [3, pytest.param(30, marks=pytest.mark.slow)])
def test_boxes_with_any_face(tries: int) -> None:
    @settings(max_examples=tries, deadline=None)
    @given(y=st.floats(0.08, 0.2), thick=st.floats(0.03, 0.09))
    @example(y=0.14, thick=0.07)
    def held(y: float, thick: float) -> None:
        # Soil 8.5 cm deep behind a row of boxes of 14 cm across the tank.
        stones = [stood_at(box((0.225, thick, 0.14)), 0.1125 + 0.225 * k, y) for k in range(4)]
        bodies = [(stone, 0.225 * thick * 0.14) for stone in stones]
        line = Border(((0.0, y), (0.9, y)), (), strip=False)
        found = bed_litres((0.9, 0.45), Zone("behind border"), 0.085, line, bodies)
        assert found == pytest.approx(0.9 * (0.45 - y - thick / 2) * 0.085, rel=2e-3)

    held()


@settings(max_examples=8, deadline=None)
@given(y=st.floats(0.05, 0.2))
def test_a_divider_anywhere(y: float) -> None:
    line = Border(((0.0, y), (0.6, y)), (), strip=False, divider=True)
    found = bed_litres((0.6, 0.3), Zone("behind border"), 0.05, line)
    assert found == pytest.approx(0.6 * (0.3 - y) * 0.05, rel=2e-3)


@pytest.mark.parametrize("side", ["left", "right", "front", "back"])
def test_corners_and_sides_scale_over_the_zone(side: str) -> None:
    # A strip 20 cm wide: its own corners and the middles of its own sides, as far as its free
    # edge at repose allows; the integral of the lesser of both.
    corners, left, right, wide, floor = (0.03, 0.05, 0.04, 0.06), 0.055, 0.035, 0.2, (0.6, 0.4)
    profile = Profile(True, corners, left, right)
    soil = Layer("Soil", find_material("baked-clay soil"), Zone(f"{side} strip", wide), profile,
                 0.0, (), 0.0)  # fmt: skip
    u, v = np.meshgrid(*[(np.arange(500) + 0.5) / 500] * 2)
    fl, fr, bl, br = corners
    level = (1 - v) * ((1 - u) * fl + u * fr) + v * ((1 - u) * bl + u * br)
    bend = 4 * v * (1 - v)  # full in the middle of a side, none in its corners
    level += (left - (fl + bl) / 2) * np.clip(1 - 2 * u, 0, 1) * bend
    level += (right - (fr + br) / 2) * np.clip(2 * u - 1, 0, 1) * bend
    away = {"left": 1 - u, "right": u, "front": 1 - v, "back": v}[side] * wide
    area = wide * (floor[1] if side in ("left", "right") else floor[0])
    exact = float(np.minimum(level, SOIL_SLOPE * away).mean()) * area
    assert solve_bed(floor, [soil]).settled == pytest.approx(exact, rel=2e-3)


def test_corners_of_a_narrow_zone() -> None:
    # 8 cm on the left and 2 cm on the right of a left strip of 20 cm in 60 × 30 cm: the lesser of
    # 8 - 0.3 x and (20 - x) tan 33°, 2.828 L; scaled over the whole tank it would be 3.217; derived.
    profile = Profile(True, (0.08, 0.02, 0.08, 0.02))
    material = replace(find_material("baked-clay soil"), repose=Range.exact(33))
    soil = Layer("Soil", material, Zone("left strip", 0.2), profile, 0.0, (), 0.0)
    assert solve_bed((0.6, 0.3), [soil]).settled == pytest.approx(2.828e-3, rel=1e-3)


@pytest.mark.parametrize("seed", range(3))
def test_steps_and_paths_wherever_their_feet_lie(seed: int) -> None:
    # A step of height d keeps d² / (2 tan) less a width, on either side of a path too; derived.
    rng = np.random.default_rng(seed)
    floor = length, depth = rng.uniform(0.4, 0.6), rng.uniform(0.3, 0.4)
    start, low, step = rng.uniform(0.12, 0.2), rng.uniform(0.03, 0.05), rng.uniform(0.01, 0.03)
    steps = Profile(True, terraces=((0.0, low), (start, low + step)))
    less = step**2 / (2 * SOIL_SLOPE)
    exact = length * (depth * low + (depth - start) * step - less)
    soil = Layer("Soil", find_material("baked-clay soil"), Zone(), steps, 0.0, (), 0.0)
    assert solve_bed(floor, [soil]).settled == pytest.approx(exact, rel=5e-4)
    x, wide = rng.uniform(0.15, 0.25), rng.uniform(0.04, 0.08)
    path = Trail(((x, -0.1), (x, depth + 0.1)), wide, low)
    soil = replace(soil, profile=Profile(True, (low + step,) * 4, paths=(path,)))
    exact = depth * (length * (low + step) - wide * step - 2 * less)
    assert solve_bed(floor, [soil]).settled == pytest.approx(exact, rel=5e-4)


def test_paths_round_heaps_and_mounds() -> None:
    # A ridge with half cones at its ends, a cone on a disc, a mound of (1 + cos) / 2; derived.
    ends = ((0.1, 0.05), (0.5, 0.35))
    ridge = SOIL_SLOPE * (0.03**2 * 0.5 + pi * 0.03**3 / 3)
    found = bed_litres((0.6, 0.4), Zone("along line", 0.06, line=ends), 0.1)
    assert found == pytest.approx(ridge, rel=5e-4)
    turn = np.linspace(0, 2 * pi, 201)[:-1]
    disc = tuple((0.3 + 0.1 * np.cos(a), 0.2 + 0.1 * np.sin(a)) for a in turn)
    found = bed_litres((0.6, 0.4), Zone("polygon", polygon=disc), 0.3)
    assert found == pytest.approx(pi * 0.1**3 * SOIL_SLOPE / 3, rel=1e-3)
    mound = Profile(False, (0.05,) * 4, mounds=(Mound((0.3, 0.2), 0.03, 0.12),))
    soil = Layer("Soil", find_material("baked-clay soil"), Zone(), mound, 0.0, (), 0.0)
    exact = 0.6 * 0.4 * 0.05 + 0.03 * pi * 0.12**2 * (0.5 - 2 / pi**2)
    assert solve_bed((0.6, 0.4), [soil]).settled == pytest.approx(exact, rel=5e-4)
