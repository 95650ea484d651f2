"""What comes through a border, against closed forms and an independent cone program."""

import itertools
from math import pi, radians, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plumbstone.meshes.columns import Grid
from plumbstone.volumes.bed.slump import Opening, Run, run_through


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


def small_scape(seed: int, step: float):  # type: ignore[no-untyped-def]
    """A row with gaps, stones beside it, sloped soil behind and sand before it, 24 × 16 cm."""
    rng = np.random.default_rng(seed)
    grid = Grid.of_spacing(0.24, 0.16, step)
    x, y = grid.centres
    thick, slope = rng.choice([0.01, 0.02]), tan(radians(rng.uniform(28, 38)))
    gaps, at = [], 0.03
    while at < 0.21:
        width = rng.choice([0.01, 0.015, 0.02])
        gaps.append((at, at + width))
        at += width + rng.choice([0.04, 0.05, 0.06, 0.08])
    barred = np.abs(y - 0.08) < thick / 2
    for a, b in gaps:
        barred &= ~((x > a) & (x < b))
    for _ in range(rng.integers(0, 3)):
        cx, cy = rng.integers(2, 20) * 0.01, rng.choice([0.02, 0.03, 0.12, 0.13])
        barred |= (np.abs(x - cx) < 0.01) & (np.abs(y - cy) < 0.01)
    rises = rng.uniform(-0.2, 0.4) * slope, rng.uniform(-0.2, 0.2) * slope
    soil = rng.uniform(0.025, 0.05) + rises[0] * (y - 0.08) + rises[1] * (x - 0.12)
    side = y > 0.08
    sand = np.full(x.shape, rng.uniform(0, 0.012))
    openings = [Opening((a, 0.08), (b, 0.08), 0.0) for a, b in gaps]
    return grid, side, barred, np.where(side, soil, 0.0), sand, openings, slope


def nearest_stable(start: np.ndarray, barred: np.ndarray, slope: float, step: float) -> np.ndarray:
    """The nearest surface that is nowhere steeper, as a cone program; no flux into stones."""
    cp = pytest.importorskip("cvxpy", reason="cvxpy is not installed here")
    number = np.full(start.shape, -1)
    number[~barred] = np.arange((~barred).sum())
    surface = cp.Variable(int((~barred).sum()))
    parts = []
    for a, b in ((number[:, :-1], number[:, 1:]), (number[:-1], number[1:])):
        from scipy.sparse import csr_matrix

        a, b = a[(a >= 0) & (b >= 0)], b[(a >= 0) & (b >= 0)]
        values = np.r_[np.full(len(a), -1 / step), np.full(len(a), 1 / step)]
        shape = (surface.size, surface.size)
        parts.append(csr_matrix((values, (np.r_[a, a], np.r_[a, b])), shape) @ surface)
    steep = cp.norm(cp.vstack(parts), 2, axis=0)
    problem = cp.Problem(cp.Minimize(cp.sum_squares(surface - start[~barred])), [steep <= slope])
    problem.solve(solver="CLARABEL")
    found = start.copy()
    found[~barred] = surface.value
    return found


SEEDS = [pytest.param(seed, marks=pytest.mark.slow if seed > 2 else []) for seed in range(30)]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_nearest_stable_surface(seed: int) -> None:
    """What passes and where it rests, against the program on two grids, extrapolated."""
    theirs = []
    for step in (0.005, 0.0025):
        grid, side, barred, upper, sand, openings, slope = small_scape(seed, step)
        start = np.where(barred, 0.0, np.where(side, upper, sand))
        rested = nearest_stable(start, barred, slope, step)
        theirs.append(float((rested - start)[~side & ~barred].sum()) * grid.cell_area)
    run = run_through(openings, upper, np.zeros(side.shape), sand, side, barred, slope, grid)
    exact = 2 * theirs[1] - theirs[0]
    assert run.lost.sum() == pytest.approx(exact, rel=0.04)  # corners of stones are cells
    poured = float(upper[side & ~barred].sum()) * grid.cell_area
    assert abs(run.lost.sum() - exact) < 0.002 * poured
    mine = np.where(side, run.behind, run.before)
    assert np.abs(mine - rested)[~barred].sum() * grid.cell_area < 0.01 * poured
    kept = np.where(side, upper - run.behind, sand - run.before)
    assert abs(kept[~barred].sum()) * grid.cell_area < 1e-9 * poured


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
