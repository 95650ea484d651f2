"""Which places of a border are open to a layer, and what passes them."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.volumes.bed.loops import nearest_cell
from plumbstone.volumes.bed.results import LayerResult, Passed
from plumbstone.volumes.bed.row import SLICE, Gap, Row, Stretch, row_for, standing_out
from plumbstone.volumes.bed.slump import LEAST, Opening, Run, run_through
from plumbstone.volumes.bed.taut import Strings, string_around
from plumbstone.volumes.bed.zones import line_distance, polygon_distance
from plumbstone.volumes.figures import RestFigures
from plumbstone.volumes.scape.materials import Material

HOLDS, RUNS = 0.7, 5.0  # gap over d15 and d50; 4.9 sphere diameters, from memory
FILTER_RATIO = 4.0  # D15 of the filter over D85 of the soil; Terzaghi, read on secondary pages
STAYS_RATIO = 1.2  # D85 of the filter over the gap; from memory
PART = 0.02  # [m]: what is open beside the gaps is parted, as the soil is not level in it
SEARCHED = 0.03  # [m]: first half width of the square that is searched for a nearest cell
BESIDE = 0.03  # [m]: so near to an opening lies the soil that presses on it

Filler = tuple[Material, Floats, Floats]  # from one surface (rows, columns) up to another [m]


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of a border, and what stands there."""

    row: Row
    cells: Flags  # (rows, columns) on this side
    fillers: Sequence[Filler]  # pressed into the gaps
    tops: Floats  # (rows, columns) of the stones [m]
    grid: Grid


def rests_of(passed: Sequence[Passed]) -> tuple[RestFigures, ...]:
    """Sum up what passes the borders, layer by layer."""
    found: dict[str, RestFigures] = {}
    for p in passed:
        pulled = p.row.border.divider and not p.row.border.strip
        before = found.get(p.layer, RestFigures(p.layer, 0.0, 0.0, pulled))
        volume, reach = before.outside_m3 + p.volume, max(before.reach_m, p.reach)
        found[p.layer] = RestFigures(p.layer, volume, reach, pulled)
    return tuple(found.values())


def let_pass(
    stack: Sequence[LayerResult], side: Side, surface: Floats
) -> tuple[Floats, list[Passed]]:
    """Let layers run through the open places of their border.

    Parameters
    ----------
    stack : sequence of LayerResult
        Layers on their side of the border, from below. At an open place those move as one that
        follow each other and pass it, at the slope of the uppermost; what leaves is taken from
        above. A layer below that is held there is the sill over which they run; one above sinks.
    side : Side
    surface : (rows, columns) float array
        Of the whole bed [m].

    Returns
    -------
    surface : (rows, columns) float array
        Of the whole bed at rest [m].
    passed : list of Passed
        One for each gap and each layer of which something passes.
    """
    bounds = [stack[0].below, *(np.where(side.cells, result.surface, 0.0) for result in stack)]
    highest = float(bounds[-1][side.cells].max(initial=0.0))
    low = [stretch for stretch in side.row.stretches if stretch.stays < highest - LEAST]
    groups: dict[tuple[int, int], list[Stretch]] = {(0, 0): low} if len(stack) == 1 else {}
    before = ~side.cells & (side.tops <= np.maximum(surface - 1e-9, 0.0))
    for stretch in low if len(stack) > 1 else ():
        lower = _level(surface, before, stretch, side) or 0.0
        for group in _moving(stack, bounds, stretch, lower, side):
            groups.setdefault(group, []).append(stretch)
    passed: list[Passed] = []
    for (first, last), stretches in sorted(groups.items()):
        moving, within = stack[first : last + 1], bounds[first : last + 2]
        found = _run(moving, within, first > 0, stretches, surface, side)
        if found is None:
            continue
        surface, behind, more = found
        passed += more
        lost = bounds[last + 1] - behind
        for k in range(first + 1, len(bounds)):
            left = np.minimum(bounds[k], np.maximum(behind, bounds[first]))
            bounds[k] = left if k <= last + 1 else bounds[k] - lost
    return surface, passed


def _level(field: Floats, where: Flags, stretch: Stretch, side: Side) -> float | None:
    """Height of a surface beside the middle of a stretch [m]; None where it ends there."""
    near = BESIDE + math.dist(stretch.start, stretch.end) / 2
    return nearest_level(field, where, stretch.middle, side.grid, near)


def _moving(
    stack: Sequence[LayerResult],
    bounds: Sequence[Floats],
    stretch: Stretch,
    lower: float,
    side: Side,
) -> list[tuple[int, int]]:
    """First and last of the layers that move as one through a stretch, group by group."""
    found: list[tuple[int, int]] = []
    for k, (result, top) in enumerate(zip(stack, bounds[1:], strict=True)):
        height = _level(top, top > 0, stretch, side)
        if height is None or not _passes(result.layer.material, height, stretch, lower, side):
            continue
        if found and found[-1][1] == k - 1:
            found[-1] = found[-1][0], k
        else:
            found.append((k, k))
    return found


def _passes(soil: Material, top: float, stretch: Stretch, lower: float, side: Side) -> bool:
    """Tell whether grains up to a height pass a stretch, or lie no higher than what is before."""
    if top <= lower:
        return True
    if stretch.gap < 0:
        return math.dist(stretch.start, stretch.end) > least_open(soil)
    gap = side.row.gaps[stretch.gap]
    above = _filled(gap, soil, lower, top, side)
    open_ = (gap.heights < top) & (gap.heights > above) & (gap.openings > least_open(soil))
    return bool(open_.any())


def _run(
    stack: Sequence[LayerResult],
    bounds: Sequence[Floats],
    on_held: bool,
    stretches: Sequence[Stretch],
    surface: Floats,
    side: Side,
) -> tuple[Floats, Floats, list[Passed]] | None:
    """Let some layers run as one: the whole surface, theirs behind, and what passes."""
    layer, upper, cells, tops = stack[-1].layer, bounds[-1], side.cells, side.tops
    barred = np.where(cells, tops >= upper - 1e-9, tops > surface - 1e-9) & (tops > 0)
    found: list[tuple[Stretch, float, float, float, list[Opening]]] = []
    for stretch in stretches:
        high = _level(upper, cells & ~barred, stretch, side)
        low = _level(surface, ~cells & ~barred, stretch, side)
        if high is None or low is None or high - low < LEAST:
            continue
        held = _level(bounds[0], cells & ~barred, stretch, side) if on_held else None
        open_ = _openings(stretch, layer.material, high, low, held or 0.0, side)
        if open_ is not None:
            found.append((stretch, high, low, *open_))
    openings = [opening for *_, parts in found for opening in parts]
    if not openings:
        return None
    below = np.maximum(bounds[0], np.where(barred, 0.0, tops))  # soil leaves a stone bare
    run = run_through(openings, upper, below, surface, cells, barred, layer.slope, side.grid)
    passed, number = [], 0
    for stretch, high, low, width, parts in found:
        numbers = range(number, number + len(parts))
        number += len(parts)
        rests = max(run.levels[k] for k in numbers)
        volume, reach = _shown(run, numbers, stretch, surface, layer.slope, side)
        for result, share in zip(stack, _shares(bounds, run, numbers, cells), strict=True):
            if share > 0:
                passed.append(
                    Passed(
                        result.layer.name, side.row, stretch.gap, stretch.middle, width, high,
                        low, volume * share, reach, high - max(rests, parts[0].sill),
                    )
                )  # fmt: skip
    return np.where(cells, surface - (upper - run.behind), run.before), run.behind, passed


def _shares(
    bounds: Sequence[Floats], run: Run, numbers: Sequence[int], cells: Flags
) -> list[float]:
    """Share that each layer of a stack has in what passes some openings."""
    if len(bounds) == 2:
        return [1.0]
    mine = np.isin(run.from_opening, numbers) & cells
    behind = run.behind[mine]
    lost = [
        float(np.clip(top[mine] - np.maximum(bottom[mine], behind), 0, None).sum())
        for bottom, top in itertools.pairwise(bounds)
    ]
    return [part / max(sum(lost), 1e-12) for part in lost]


def state_of(width: float, soil: Material) -> str:
    """Tell whether grains pass a gap of a width [m]: "holds", "may arch" or "runs"."""
    if width <= least_open(soil):
        return "holds"
    return "runs" if soil.d50 is None or width > RUNS * soil.d50 else "may arch"


def is_filter(filler: Material, soil: Material) -> bool:
    """Tell whether grains hold finer ones that lie behind them."""
    if filler.d15 is None or soil.d85 is None:
        return False
    return filler.d15 <= FILTER_RATIO * soil.d85


def stays_in(filler: Material, width: float) -> bool:
    """Tell whether grains stay in a gap [m] that nothing closes."""
    return filler.d85 is not None and filler.d85 >= STAYS_RATIO * width


def closes(fillers: Sequence[Material], soil: Material, width: float) -> bool:
    """Tell whether grains in a gap [m] hold the soil behind them, and stay in it themselves.

    Several lie behind each other, the coarsest foremost: it stays in the gap, and each holds
    the next.
    """
    held: list[Material] = []
    for filler in sorted(fillers, key=lambda filler: -(filler.d85 or 0.0)):
        if stays_in(filler, width) or any(is_filter(before, filler) for before in held):
            held.append(filler)
    return any(is_filter(filler, soil) for filler in held)


def lying_in(
    zone: str, row: Row, layers: Sequence[LayerResult], rows: Sequence[Row]
) -> list[LayerResult]:
    """List what of some layers lies in a zone of one of the rows, in their order."""
    named = (r for r in layers if r.layer.zone.name == zone)
    return [r for r in named if row_for(r.layer.zone, rows) is row]


def fillers_of(pressed: Sequence[LayerResult]) -> list[Filler]:
    """Give the grains of pressed layers, and from where up to where they lie."""
    return [(result.layer.material, result.below, result.surface) for result in pressed]


def closed_up_to(
    fillers: Sequence[Filler], soil: Material, width: float, at: tuple[float, float], grid: Grid
) -> float:
    """Height up to which fillers close a gap of a width at a place [m].

    A narrow gap may have stone in the very cell over that place; they are asked where they lie.
    """
    lying = []
    for material, *ends in fillers:
        low, high = (nearest_level(end, ends[1] > ends[0], at, grid, BESIDE) for end in ends)
        lying.append((material, low or 0.0, high or 0.0))
    closed = 0.0
    for level in sorted({high for _, _, high in lying if high > 0}):
        here = [m for m, low, high in lying if low <= closed + 1e-6 and high >= level]
        if not closes(here, soil, width):
            break
        closed = level
    return closed


def least_open(soil: Material) -> float:
    """Width up to which a gap holds grains [m], by `HOLDS`, from memory."""
    return HOLDS * (soil.d15 or 0.0)


def nearest_level(
    field: Floats, where: Flags, at: tuple[float, float], grid: Grid, within: float = math.inf
) -> float | None:
    """Height of a surface at the nearest of some cells to a place [m]; None where none is near.

    Of the surface `field` [m], only cells of `where` count, and nearer to the place `at` [m] than
    `within` [m].
    """
    row, column = nearest_cell(where, *at, within, SEARCHED, *grid.spacing)
    return float(field[row, column]) if row >= 0 else None


def _openings(
    stretch: Stretch, soil: Material, upper: float, lower: float, held: float, side: Side
) -> tuple[float, list[Opening]] | None:
    """Part a stretch into openings; its width [m]; None where it holds."""
    start, end = np.array(stretch.start), np.array(stretch.end)
    sill, width = max(stretch.stays, held), float(np.hypot(*(end - start)))
    if stretch.gap >= 0:
        gap = side.row.gaps[stretch.gap]
        wide = (gap.openings > least_open(soil)) & (gap.heights < upper)
        wide &= gap.heights > min(lower, float(gap.heights.min()))
        if not wide.any():
            return None
        lowest = float(gap.heights[wide].min()) - SLICE / 2
        sill = max(sill, lowest, _filled(gap, soil, lower, upper, side))
        width = float(gap.between(lower, upper).max())
        used = wide & (gap.heights > max(sill, lower))
        if not used.any():
            return None
        k = int(np.where(used, gap.openings, -1).argmax())
        middle, across = gap.ends[k].mean(axis=0), gap.ends[k][1] - gap.ends[k][0]
        across *= gap.openings[used].mean() / max(float(np.hypot(*across)), 1e-9)
        start, end = middle - across / 2, middle + across / 2
    elif sill > upper - 2 * max(side.grid.spacing):
        return None  # it lies at repose from the top of its wall
    if sill > upper - LEAST or width <= least_open(soil):
        return None
    length = float(np.hypot(*(end - start)))
    count = math.ceil(length / PART) if stretch.gap < 0 and length > 0 else 1
    points = start + np.linspace(0, 1, count + 1)[:, None] * (end - start)
    strings = (
        strings_of(side.row.gaps[stretch.gap], points, lower, upper) if stretch.gap >= 0 else None
    )
    parts = [
        Opening((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), sill, strings)
        for a, b in itertools.pairwise(points)
    ]
    return width, parts


def strings_of(
    gap: Gap, ends: Floats, lower: float, upper: float
) -> tuple[Strings, Strings] | None:
    """Draw strings from the ends of a gap [m] around its stones, before and behind them."""
    found = []
    for height, behind in ((lower, False), (upper, True)):
        left, right = (
            string_around(end, standing_out(stone, height), clockwise=is_left is not behind)
            for end, stone, is_left in zip(ends, gap.stones, (True, False), strict=True)
        )
        if left is None or right is None:
            return None
        found.append(Strings(left, right))
    return found[0], found[1]


def _filled(gap: Gap, soil: Material, lower: float, upper: float, side: Side) -> float:
    """Height to which what is pressed into a gap closes it [m]."""
    width = float(gap.between(lower, upper).max())
    return closed_up_to(side.fillers, soil, width, gap.at, side.grid)


def _shown(
    run: Run, numbers: Sequence[int], stretch: Stretch, lower: Floats, slope: float, side: Side
) -> tuple[float, float]:
    """Volume that lies beyond the faces of all stones [m³], and how far beyond [m]."""
    mine = np.isin(run.from_opening, numbers) & ~side.cells & (run.before > lower + 1e-9)
    if not mine.any():
        return 0.0, 0.0
    grid = side.grid  # stones are cut into cells by scattered points
    x, y = (p[mine] for p in (grid.scattered if stretch.gap >= 0 else grid.centres))
    if stretch.gap >= 0:
        out = np.min([-polygon_distance(gap.hull, x, y) for gap in side.row.gaps], axis=0)
    else:
        out = line_distance(np.array([stretch.start, stretch.end]), x, y)
    risen = (run.before - lower)[mine]
    shown = out > 0
    volume = float(risen[shown].sum()) * grid.cell_area
    toe = out + np.minimum(risen / slope, max(grid.spacing))
    return volume, float(toe[shown].max(initial=0.0))
