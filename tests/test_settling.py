"""What comes through a border, against closed forms and an independent cone program."""

import itertools
from dataclasses import dataclass, replace
from math import atan, degrees, pi, radians, tan
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_matrix, identity, vstack
from shapely import MultiPoint, contains_xy

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.shapes.placing import renamed, stood_at
from plumbstone.meshes.shapes.primitives import box
from plumbstone.volumes.bed.pouring import solve_bed
from plumbstone.volumes.bed.results import BedResult
from plumbstone.volumes.bed.slump import Opening, Run, run_through
from plumbstone.volumes.scape.layers import Border, Layer, Profile, Zone
from plumbstone.volumes.scape.materials import find_material


def through_wall(
    width: float, retained: float, phi: float, thick: float = 0.0, step: float = 0.002
) -> tuple[Run, float, float]:
    """A level bed behind a gap in a wall: what rests, what passes, and what shows beyond [m³]."""
    grid = Grid.of_spacing(0.5, 0.5, step)
    x, y = grid.centres
    side = y > 0.25
    barred = (np.abs(y - 0.25) < thick / 2) & (np.abs(x - 0.25) > width / 2)
    upper, floor = np.where(side, retained, 0.0), np.zeros(x.shape)
    gap = Opening((0.25 - width / 2, 0.25), (0.25 + width / 2, 0.25), 0.0)
    run = run_through([gap], upper, floor, floor, side, barred, tan(radians(phi)), grid)
    gained = float((run.before - floor)[~side].sum()) * grid.cell_area
    shown = float(run.before[y < 0.25 - thick / 2].sum()) * grid.cell_area
    assert gained == pytest.approx(run.lost.sum(), rel=1e-9)
    return run, gained, shown


def fan(width: float, half: float, slope: float) -> float:
    """Volume of the form that a level edge of a height and a width feeds: a ridge between two
    quarters of a cone, w h² / (2 tan) + π h³ / (6 tan²); derived [m³]."""
    return width * half**2 / (2 * slope) + pi * half**3 / (6 * slope**2)


@pytest.mark.parametrize(
    ("width", "retained"), [(0.014, 0.06), (0.014, 0.10), (0.006, 0.05), (0.03, 0.08)]
)
def test_a_gap_in_a_thin_wall(width: float, retained: float) -> None:
    # The same form is lost behind as is gained in front, so the soil in it stands at half.
    slope = tan(radians(33))
    run, gained, _ = through_wall(width, retained, 33)
    assert gained == pytest.approx(fan(width, retained / 2, slope), rel=2e-3)
    assert run.levels[0] == pytest.approx(retained / 2, rel=1e-3)


def thin_wall_by_program(width: float, retained: float, phi: float, step: float) -> float:
    """What passes a gap in a thin wall, by a cone program on one half of it [m³].

    Cells on both sides of the wall know of each other in the gap alone.
    """
    slope = tan(radians(phi))
    across = round((retained / 2 / slope + 0.012) / step)
    number = np.arange(2 * across * across).reshape(2 * across, across)
    parts = []
    for rows, columns in (
        (slice(0, across), slice(None)), (slice(across, None), slice(None)),
        (slice(across - 1, across + 1), slice(0, round(width / 2 / step))),
    ):  # fmt: skip
        joined = np.full(number.shape, -1)
        joined[rows, columns] = number[rows, columns]
        parts.append(steepness(joined, step))
        for part in parts[-1]:
            part.resize((part.shape[0], number.size))
    start = np.where(number >= across * across, retained, 0.0)
    slopes = (vstack([part[k] for part in parts]) for k in (0, 1))
    surface = nearest_within(start.ravel(), *slopes, slope)
    return 2 * float(surface[: across * across].sum()) * step**2


def nearest_within(start: np.ndarray, along: Any, across: Any, slope: float) -> np.ndarray:
    """Give what lies nearest to a surface, nowhere below 0 or steeper than a slope."""
    clarabel = pytest.importorskip("clarabel", reason="clarabel is not installed here")
    count, faces = len(start), along.shape[0]
    # Each face gives a cone of (slope, slope along x, slope along y), each cell a half line.
    order = np.arange(3 * faces).reshape(3, faces).T.ravel()
    cones = vstack([csr_matrix((faces, count)), along, across]).tocsr()[order]
    bound = np.concatenate([np.tile([slope, 0.0, 0.0], faces), np.zeros(count)])
    kinds = [clarabel.SecondOrderConeT(3)] * faces + [clarabel.NonnegativeConeT(count)]
    told = clarabel.DefaultSettings()
    told.verbose = False
    even = identity(count, format="csc")
    rows = vstack([cones, -even]).tocsc()
    found = clarabel.DefaultSolver(even, -start, rows, bound, kinds, told).solve()
    assert found.status == clarabel.SolverStatus.Solved
    return np.array(found.x)


@pytest.mark.parametrize(
    ("retained", "millilitres", "point"),
    [(0.06, 43.2, 34), pytest.param(0.10, 182.1, 155, marks=pytest.mark.slow)],
)
def test_a_gap_of_14_mm_in_a_thin_wall(retained: float, millilitres: float, point: float) -> None:
    # A gap of no width passes π h³ / (6 tan²) alone, 34 and 155 mL; its 14 mm add the ridge
    # w h² / (2 tan). On cells of 1.75, 1, 0.7 and 0.5 mm the program finds 42.7, 43.1, 43.2 and
    # 43.2 mL at 6 cm, and 181.3, 181.9 and 182.1 mL at 10 cm.
    exact = fan(0.014, retained / 2, tan(radians(33)))
    assert exact * 1e6 == pytest.approx(millilitres, abs=0.05)
    assert fan(0.0, retained / 2, tan(radians(33))) * 1e6 == pytest.approx(point, abs=0.6)
    assert thin_wall_by_program(0.014, retained, 33, 0.00175) == pytest.approx(exact, rel=0.015)


@pytest.mark.parametrize(("thick", "part"), [(0.008, 0.04), (0.02, 0.06)])
def test_a_gap_through_the_depth_of_its_stones(thick: float, part: float) -> None:
    # On the way through, the surface falls by the slope; what is left feeds the fan.
    slope = tan(radians(33))
    _, _, shown = through_wall(0.014, 0.06, 33, thick)
    assert shown == pytest.approx(fan(0.014, 0.03 - thick / 2 * slope, slope), rel=part)


def test_a_pulled_divider() -> None:
    # A step comes to rest as a straight slope through its middle: (h / 2)² / (2 tan) per width.
    grid = Grid.of_spacing(0.6, 0.3, 0.002)
    side = grid.centres[1] > 0.12
    ends = np.linspace(0, 0.6, 31)
    openings = [Opening((a, 0.12), (b, 0.12), 0.0) for a, b in itertools.pairwise(ends)]
    upper, floor = np.where(side, 0.06, 0.0), np.zeros(side.shape)
    run = run_through(openings, upper, floor, floor, side, floor > 0, 0.6745, grid)
    assert run.lost.sum() == pytest.approx(0.6 * 0.03**2 / (2 * 0.6745), rel=2e-3)
    assert (run.behind - upper)[side].sum() == pytest.approx(-run.before[~side].sum(), rel=1e-9)


def test_soil_over_a_sill_falls_to_it() -> None:
    # A sill above the fan stops nothing of what lies above it at repose: π h³ / (3 tan²) / 2.
    grid = Grid.of_spacing(0.4, 0.4, 0.002)
    side = grid.centres[1] > 0.2
    upper, floor, slope = np.where(side, 0.08, 0.0), np.zeros(side.shape), tan(radians(34))
    gap = Opening((0.2, 0.2), (0.2, 0.2), 0.05)
    run = run_through([gap], upper, floor, floor, side, floor > 0, slope, grid)
    assert run.lost[0] == pytest.approx(pi * 0.03**3 / (6 * slope**2), rel=5e-3)
    assert run.before[~side].sum() * grid.cell_area == pytest.approx(run.lost[0], rel=1e-9)


FLOOR, MIDDLE, UNIT = (0.32, 0.24), 0.108, 0.004  # all faces of stones lie on whole units [m]
Box = tuple[float, float, float, float, float]  # left, right, front, back, height


@dataclass(frozen=True)
class Small:
    """A row of stones with gaps, stones beside it, sloped soil behind and sand before it."""

    slope: float
    row: list[Box]
    free: list[Box]
    soil: tuple[float, float, float]  # height in the middle of the row, and its slopes
    sand: float
    strip: bool

    def drawn(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Drawn height of the soil."""
        height, across, back = self.soil
        return np.maximum(height + across * (x - FLOOR[0] / 2) + back * (y - MIDDLE), 0.0)


def small_scape(seed: int, deep: bool = False) -> Small:
    """A random scape; `deep` stones, as they are in tanks, make channels of their gaps."""
    rng = np.random.default_rng(seed)
    depths = [0.02, 0.024, 0.032, 0.04, 0.052] if deep else [0.008, 0.016, 0.024, 0.032]
    slope = tan(radians(rng.uniform(28, 38)))
    row: list[Box] = []
    x, end = rng.choice([0.0, 0.0, 0.008, 0.016]), 0.0
    while end < FLOOR[0] - 0.02:
        thick = rng.choice(depths)
        front = round((MIDDLE - thick / 2) / UNIT + rng.integers(-1, 2)) * UNIT
        end = x + rng.choice([0.048, 0.064, 0.08, 0.1])
        gap = rng.choice([0, 0.008, 0.012, 0.016, 0.02])
        if end + gap > FLOOR[0] - 0.04:
            end = FLOOR[0] - rng.choice([0.0, 0.0, 0.008, 0.016])
        row.append((x, end, front, front + thick, 0.16))
        x = end + gap
    free: list[Box] = []
    for _ in range(rng.integers(0, 4)):
        x, y = rng.integers(8, 72) * UNIT, rng.choice([0.032, 0.048, 0.164, 0.18, 0.2])
        wide, deep = rng.choice([0.016, 0.024], 2)
        if all(
            abs(x - (o[0] + o[1]) / 2) > 0.03 or abs(y - (o[2] + o[3]) / 2) > 0.03 for o in free
        ):
            free.append((x - wide / 2, x + wide / 2, y - deep / 2, y + deep / 2, 0.2))
    back = rng.uniform(1.0, 1.3) if rng.random() < 0.4 else rng.uniform(-0.1, 0.5)
    soil = (rng.uniform(0.05, 0.09) + 0.03 * deep, rng.uniform(-0.3, 0.3) * slope, back * slope)
    return Small(slope, row, free, soil, rng.uniform(0.008, 0.025), rng.random() < 0.15)


def laid(small: Small, step: float) -> BedResult:
    """The scape as the program lays it."""
    bodies = []
    for name, boxes in (("row", small.row), ("free", small.free)):
        for i, (x0, x1, y0, y1, high) in enumerate(boxes):
            size = (x1 - x0, y1 - y0, high)
            piece = stood_at(box(size), (x0 + x1) / 2, (y0 + y1) / 2)
            bodies.append((renamed(piece, f"{name} {i}", "granite"), float(np.prod(size))))
    repose = Range.exact(degrees(atan(small.slope)))
    soil = replace(find_material("baked-clay soil"), repose=repose)
    corners = [(x, y) for x in (0.0, FLOOR[0]) for y in (MIDDLE - 0.03, FLOOR[1])]
    points = tuple((x, y, float(small.drawn(np.array(x), np.array(y)))) for x, y in corners)
    sand = Profile(True, (small.sand,) * 4)
    layers = [
        Layer("Soil", soil, Zone("behind border"), Profile(True, points=points), 0.0, (), 0.0),
        Layer("Sand", find_material("sand"), Zone("before border"), sand, 0.0, (), 0.0),
    ]
    names = tuple(f"row {i}" for i in range(len(small.row)))
    border = Border(((0.0, MIDDLE), (FLOOR[0], MIDDLE)), names, small.strip)
    return solve_bed(FLOOR, layers, [border], bodies, step)


def barriers(small: Small) -> np.ndarray:
    """What the soil behind the row does not enter: left, right, front and back each, (n, 4) [m]."""
    found = [stone[:4] for stone in small.free]
    found += [(*stone[:2], -1.0, stone[3]) for stone in small.row]
    for left, right in itertools.pairwise([None, *small.row, None]):
        start, end = left[1] if left else 0.0, right[0] if right else FLOOR[0]
        beside = [stone for stone in (left, right) if stone]
        back = min(stone[3] for stone in beside)
        if end > start:
            back = (back + max(stone[2] for stone in beside)) / 2
        found.append((start - 0.001, end + 0.001, -1.0, back))  # a little into its stones
    panes = [(-1.0, 0.0, -1.0, 1.0), (FLOOR[0], 1.0, -1.0, 1.0), (-1.0, 1.0, FLOOR[1], 1.0)]
    return np.array([*found, *panes])


def hidden(places: np.ndarray, seen: np.ndarray, walls: np.ndarray) -> np.ndarray:
    """Whether a barrier stands between places and what is to be seen from them, (n,)."""
    found = np.zeros(len(places), dtype=bool)
    ways = (seen - places)[:, :, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        for wall in walls:
            shares = (wall.reshape(2, 2) + [1e-7, -1e-7] - places[:, :, None]) / ways
            enters, leaves = shares.min(axis=2).max(axis=1), shares.max(axis=2).min(axis=1)
            found |= np.minimum(leaves, 1) - np.maximum(enters, 0) > 1e-9
    return found


def stays(small: Small, places: np.ndarray) -> np.ndarray:
    """Height to which the soil stays at places behind the row, (n,) [m]; in closed form.

    It is the least of what is drawn anywhere plus the slope times the shortest way from there.
    That way begins on an edge, at the angle at which what is drawn rises along it as the way
    grows, and bends around corners alone.
    """
    walls, slope = barriers(small), small.slope
    ends = walls[:, [[0, 2], [1, 2], [1, 3], [0, 3], [0, 2]]]
    edges = np.stack([ends[:, :-1], ends[:, 1:]], axis=2).reshape(-1, 2, 2)
    crossings = [
        (x, y) for one, other in itertools.product(walls, repeat=2)
        for x, y in itertools.product(one[:2], other[2:])
        if other[0] <= x <= other[1] and one[2] <= y <= one[3] and max(abs(x), abs(y)) < 1
    ]  # fmt: skip
    corners = np.unique(crossings, axis=0)

    def least(places: np.ndarray, heights: np.ndarray) -> np.ndarray:
        found = small.drawn(*places.T)
        tried = [
            (np.broadcast_to(c, places.shape), h) for c, h in zip(corners, heights, strict=True)
        ]
        for start, end in edges:
            length = float(np.hypot(*(end - start)))
            way = (end - start) / length
            rise = float(way @ small.soil[1:])
            if abs(rise) < slope:
                off = np.abs((places - start) @ [-way[1], way[0]])
                along = (places - start) @ way - off * rise / np.sqrt(slope**2 - rise**2)
                foot = start + np.clip(along, 0, length)[:, None] * way
                tried.append((foot, small.drawn(*foot.T)))
        for foot, height in tried:
            allowed = height + slope * np.hypot(*(places - foot).T)
            lower = np.flatnonzero(allowed < found)
            lower = lower[~hidden(places[lower], foot[lower], walls)]
            found[lower] = allowed[lower]
        return found

    heights = small.drawn(*corners.T)
    for _ in range(6):  # a way bends less often
        heights = least(corners, heights)
    return least(places, heights)


@dataclass(frozen=True)
class Rested:
    """What rests: soil, what slides, sand, and what the cone program finds beyond the stones."""

    volumes: np.ndarray  # [m³]
    beyond: np.ndarray  # where it lies [m]
    surface: np.ndarray
    open_: np.ndarray  # cells without stones


def steepness(number: np.ndarray, step: float) -> tuple[csr_matrix, csr_matrix]:
    """Slopes along x and y on the triangles between the middles of cells, cut crosswise."""
    parts: list[list[np.ndarray]] = [[], [], []]
    south_west, south_east = number[:-1, :-1], number[:-1, 1:]
    north_west, north_east = number[1:, :-1], number[1:, 1:]
    even = np.indices(south_west.shape).sum(axis=0) % 2 == 0
    for at, beside, along, cut in (
        (south_west, south_east, north_west, even), (north_east, north_west, south_east, even),
        (south_east, south_west, north_east, ~even), (north_west, north_east, south_west, ~even),
    ):  # fmt: skip
        whole = (at >= 0) & (beside >= 0) & (along >= 0) & cut
        for part, corner in zip(parts, (at, beside, along), strict=True):
            part.append(corner[whole])
    at, beside, along = (np.concatenate(part) for part in parts)
    rows, count = np.arange(len(at)), int(number.max()) + 1
    values = np.r_[np.full(len(at), -1 / step), np.full(len(at), 1 / step)]
    shape = (len(at), count)
    return tuple(  # type: ignore[return-value]
        csr_matrix((values, (np.r_[rows, rows], np.r_[at, other])), shape)
        for other in (beside, along)
    )


def by_program(small: Small, step: float) -> Rested:
    """Find the nearest surface to the soil as high as it stays that holds in the gaps, too."""
    shape = (round(FLOOR[1] / step), round(FLOOR[0] / step))
    x, y = np.meshgrid((np.arange(shape[1]) + 0.5) * step, (np.arange(shape[0]) + 0.5) * step)
    open_, behind, away = np.ones(shape, bool), y > MIDDLE, np.ones(shape)
    for x0, x1, y0, y1, _ in small.row + small.free:
        open_ &= ~((x > x0) & (x < x1) & (y > y0) & (y < y1))
    for left, right in itertools.pairwise([None, *small.row, None]):
        start, end = left[1] if left else 0.0, right[0] if right else FLOOR[0]
        beside = [stone for stone in (left, right) if stone]
        middle = (max(s[2] for s in beside) + min(s[3] for s in beside)) / 2
        behind = np.where((x > start) & (x < end), y > middle, behind)
        # Beyond is what lies outside of the hulls of all neighbours, drawn on to the panes.
        corners = [(px, py) for s in beside for px in s[:2] for py in s[2:4]]
        panes = ([0.0] if left is None else []) + ([FLOOR[0]] if right is None else [])
        corners += [(pane, py) for pane in panes for s in beside for py in s[2:4]]
        hull = MultiPoint(corners).convex_hull
        parts = itertools.product((np.arange(6) - 2.5) / 6 * step, repeat=2)
        inside = np.mean([contains_xy(hull, x + right, y + up) for right, up in parts], axis=0)
        away = np.minimum(away, 1 - inside)

    drawn, soil = small.drawn(x, y), behind & open_
    poured = drawn.copy()
    poured[soil] = stays(small, np.array([x[soil], y[soil]]).T)
    start = np.where(open_, np.where(behind, poured, small.sand), 0.0)
    rested = start.copy()
    if not small.strip:
        number = np.full(shape, -1)
        number[open_] = np.arange(open_.sum())
        rested[open_] = nearest_within(start[open_], *steepness(number, step), small.slope)
    beyond = np.where(~behind & open_, away * (rested - start), 0.0)
    volumes = [
        poured[soil].sum(), (drawn - poured)[soil].sum(),
        small.sand * (~behind & open_).sum(), beyond.sum(),
    ]  # fmt: skip
    return Rested(np.array(volumes) * step**2, beyond, rested, open_)


def centre(thick: np.ndarray) -> np.ndarray:
    """Middle of what lies on the floor, as shares of its length and depth."""
    rows, columns = (np.arange(n) + 0.5 for n in thick.shape)
    across, back = thick.sum(axis=0) @ columns / len(columns), thick.sum(axis=1) @ rows / len(rows)
    return np.array([across, back]) / thick.sum()


SCAPES = [
    pytest.param(100 * deep + seed, deep, marks=pytest.mark.slow if seed or not deep else [])
    for deep in (False, True) for seed in range(30)
]  # fmt: skip


@pytest.mark.parametrize(("seed", "deep"), SCAPES)
def test_small_scapes_against_a_cone_program(seed: int, deep: bool) -> None:
    """Litres poured, slid and beyond the stones, and where these lie, within 2 %.

    The program converges with the square of its cells (a fan behind a gap, whose form is known,
    is 3.1 and 0.8 % low at 4 and 2 mm), so two grids lead on to its limit.
    """
    small = small_scape(seed, deep)
    coarse, fine = (by_program(small, step) for step in (0.004, 0.002))
    exact = fine.volumes + (fine.volumes - coarse.volumes) / 3
    bed = laid(small, 0.002)
    soil, sand = bed.layers
    beyond = sum(p.volume for p in bed.passed)
    mine = np.array([soil.settled, soil.slide.volume, sand.settled, beyond])
    assert mine == pytest.approx(exact, rel=0.02, abs=5e-7)
    assert np.abs(bed.surface - fine.surface)[fine.open_].sum() < 0.02 * fine.surface.sum()
    moved = (bed.surface - bed.poured)[fine.open_]
    assert abs(moved.sum()) <= 1e-9 * bed.poured[fine.open_].sum()
    assert (bed.passed == ()) == (exact[3] < 5e-7)
    if bed.passed:
        shown = np.where(fine.beyond > 0, bed.surface - bed.poured, 0.0)
        assert centre(shown) == pytest.approx(centre(fine.beyond), abs=0.02)


@settings(max_examples=15, deadline=None)
@given(
    width=st.floats(0.002, 0.04), retained=st.floats(0.01, 0.12), phi=st.floats(25, 40),
    thick=st.sampled_from([0.0, 0.004, 0.02]),
)  # fmt: skip
def test_never_more_than_the_thin_wall_lets_through(
    width: float, retained: float, phi: float, thick: float
) -> None:
    run, gained, _ = through_wall(width, retained, phi, thick, 0.004)
    assert 0 <= gained <= fan(width, retained / 2, tan(radians(phi))) * 1.03
    assert 0 <= run.levels[0] <= retained
