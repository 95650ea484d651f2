"""Litres of layers on their grids, and what follows from several grids."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from plumbstone.meshes.measures.columns import Columns, Grid
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.heightfield import lifted_out
from plumbstone.volumes.bed.interfaces import lasting_slope
from plumbstone.volumes.bed.loops import rises_of
from plumbstone.volumes.bed.results import BedError, BedResult, LayerResult, Slide
from plumbstone.volumes.bed.zones import zone_distance
from plumbstone.volumes.scape.layers import Zone

NO_LAYER = 1e-5  # [m³]: what is less is below what was poured before, but for gaps filled by hand
PARTS = 6  # of a cell at the edge of a zone, each way
STRAIGHT = 0.98  # less slope of a distance shows a ridge
AS_MEANT = 1e-5  # [m]
ALIKE = 1e-3  # [m]: heights that differ by less are one
BARE = 0.01  # of a steep place [m²] that is told of on a bed that is flat elsewhere
MEASURED, MOST = 50, 0.8  # cells for a slope; share of them that are no steeper


def measured_on(result: LayerResult, full: Floats, columns: Columns, grid: Grid) -> LayerResult:
    """Measure the litres of one layer, drawn as `full` [m], on one grid, and what of it slides."""
    surface, below, target = result.surface, result.below, result.drawn
    upper = columns.free_below(surface)
    volume = float((upper - columns.free_below(below)).sum()) * grid.cell_area
    wanted = lifted_out(np.maximum(target, below), columns)
    missing = columns.free_below(wanted) - upper
    lying = surface - below
    found = replace(
        result,
        settled=volume,
        slide=_slide(missing, target, surface, below, columns, grid),
        slope_degrees=_slope_along(target, lying > 1e-9, grid),
    )
    if result.edge is None or result.layer.zone.by_border:
        return found
    return _within_cells(found, full - below, columns, grid)


def _within_cells(result: LayerResult, full: Floats, columns: Columns, grid: Grid) -> LayerResult:
    """Lay a heap by its true distance from its edge, within the cells that it bends in too.

    It is the lesser of its drawn thickness `full`, (rows, columns) [m], and its slope times that
    distance, which is exact anywhere in a cell, while the sweeps end up to a third of a cell too
    low on ridges and at round edges. Where it lies otherwise, on a slope or beside stones, it
    stays as it is.
    """
    slope, step, edge = result.layer.slope, max(grid.spacing), result.edge
    assert edge is not None
    lying = np.where(edge > 0, np.minimum(full, slope * edge), 0.0)
    lower = lying - (result.surface - result.below)
    alike = (lower > -AS_MEANT) & (lower < slope * step / 3) & (columns.solid == 0)
    ridge = np.hypot(*rises_of(edge, *grid.spacing)) < STRAIGHT
    bends = (edge < step) | (full < slope * (edge + step)) | ridge
    bends &= alike & (edge > -step) & (slope * edge < full + slope * step)
    drawn = (np.abs(edge) < step) & (full > 0)
    rises = rises_of(full, *grid.spacing)
    more, wider = float(lower[alike].sum()), 0.0
    for j, i in itertools.product((np.arange(PARTS) + 0.5) / PARTS - 0.5, repeat=2):
        right, up = i * grid.spacing[0], j * grid.spacing[1]
        here = full[bends] + rises[1][bends] * right + rises[0][bends] * up
        away = _distance_at(result.layer.zone, grid, bends, right, up)
        thick = np.minimum(here, slope * np.maximum(away, 0.0)) - lying[bends]
        more += float(thick.sum()) / PARTS**2
        away = _distance_at(result.layer.zone, grid, drawn, right, up)
        covered = np.clip(0.5 + away * PARTS / step, 0, 1) - (edge[drawn] > 0)
        wider += float((full[drawn] * covered).sum()) / PARTS**2
    volume = max(0.0, result.slide.volume + (wider - more) * grid.cell_area)
    slide = replace(result.slide, volume=volume)
    return replace(result, settled=result.settled + more * grid.cell_area, slide=slide)


def _distance_at(zone: Zone, grid: Grid, cells: Flags, right: float, up: float) -> Floats:
    """Signed distance to the edge of a zone beside the middles of some cells, (n,) [m]."""
    x, y = grid.centres
    found = zone_distance(zone, None, grid, (x[cells] + right, y[cells] + up))
    assert found is not None
    return found


def _slide(
    missing: Floats, target: Floats, surface: Floats, below: Floats, columns: Columns, grid: Grid
) -> Slide:
    """Sum up what slides, (rows, columns) [m], where it ends lowest, and what its crest keeps."""
    volume, drop = float(missing.sum()) * grid.cell_area, float(missing.max())
    if drop < ALIKE:
        row, column = divmod(int(missing.argmax()), grid.nx)
        return Slide(volume, drop, *_place(row, column, grid))
    low_rows, low_columns = np.nonzero(missing > drop - ALIKE)
    slide = Slide(volume, drop, *_place(int(low_rows.mean()), int(low_columns.mean()), grid))
    free = (columns.solid == 0) & (target > below + 1e-6)
    if not free.any():
        return slide
    crest = float(target[free].max())
    highest = np.where(free & (target > crest - ALIKE), surface, -np.inf)
    high_rows, high_columns = np.nonzero(highest > highest.max() - ALIKE)
    where, _ = _place(int(high_rows.mean()), int(high_columns.mean()), grid)
    return replace(slide, crest_drawn=crest, crest_stays=float(highest.max()), crest_where=where)


def _place(row: Any, column: Any, grid: Grid) -> tuple[str, tuple[float, float]]:
    """Name a place on the floor, such as "back right", and where it is [m]."""
    x, y = grid.x[column], grid.y[row]
    side = ("left", "middle", "right")[min(2, int(3 * x / grid.length))]
    rank = ("front", "middle", "back")[min(2, int(3 * y / grid.depth))]
    where = rank if side == "middle" else side if rank == "middle" else f"{rank} {side}"
    return where, (float(x), float(y))


def _slope_along(target: Floats, lying: Flags, grid: Grid) -> float:
    """Mean drawn slope from front to back in the middle column of the layer [degrees]."""
    columns = np.flatnonzero(lying.any(axis=0))
    if len(columns) == 0:
        return 0.0
    middle = columns[len(columns) // 2]
    rows = np.flatnonzero(lying[:, middle])
    if len(rows) < 2:
        return 0.0
    rise = target[rows[-1], middle] - target[rows[0], middle]
    return math.degrees(math.atan2(rise, (rows[-1] - rows[0]) * grid.spacing[1]))


def with_slope(result: LayerResult, surface: Floats, columns: Columns, grid: Grid) -> LayerResult:
    """Find the slope [degrees] of the open surface [m] of a layer, any way it falls."""
    if result.layer.zone.name not in ("all", "behind border", "before border", "polygon"):
        return result
    rise_y, rise_x = rises_of(result.surface, *grid.spacing)
    open_ = result.lies & (result.surface >= surface - 1e-9)
    open_ &= (columns.solid == 0) & (result.surface >= result.drawn - 1e-6)
    beside = np.pad(open_, 1, constant_values=True)  # a stone beside a cell is no slope
    open_ &= beside[:-2, 1:-1] & beside[2:, 1:-1] & beside[1:-1, :-2] & beside[1:-1, 2:]
    if open_.sum() < MEASURED:
        return result
    slopes, lasting = (
        np.hypot(rise_x, rise_y),
        math.tan(math.radians(lasting_slope(result.layer.repose))),
    )
    bare = open_ & (slopes > lasting)
    if _most_of(slopes[open_]) <= lasting and bare.sum() * grid.cell_area > BARE:
        open_ = bare  # a heap on a flat bed
    x, y = (float(np.asarray(rise)[open_].mean()) for rise in (rise_x, rise_y))
    across = ("left to right" if x > 0 else "right to left") if abs(x) > abs(y) else ""
    towards = across or ("front to back" if y > 0 else "back to front")
    if math.hypot(x, y) < float(slopes[open_].mean()) / 2:
        towards = ""  # it falls to all sides
    degrees = math.degrees(math.atan(_most_of(slopes[open_])))
    return replace(result, steepest_degrees=degrees, steepest_towards=towards)


def _most_of(slopes: Floats) -> float:
    """Slope that most of some cells (n,) do not exceed [-]."""
    place, share = divmod(MOST * (len(slopes) - 1), 1)  # np.percentile would load numpy.ma
    k = int(place)
    lower, upper = np.partition(slopes, (k, k + 1))[k : k + 2]
    return float(lower + share * (upper - lower))


def gain_of(fine: float, wide: float, wider: float) -> float:
    """Share [-] of the step from a wide to a fine grid [m³] that leads on to the exact value.

    Richardson's for the order that grids of one, two and four spacings show, between 1 (round
    heaps) and 2 (straight edges); none where their steps do not shrink, so show no order.
    """
    step = fine - wide
    times = (wide - wider) / step if step else 4.0
    return 1 / (min(max(times, 2.0), 4.0) - 1) if times > 1 else 0.0


def extrapolated(fine: LayerResult, wide: LayerResult, gain: float) -> LayerResult:
    """Richardson value [m³] of two grids by a gain [-], and what follows from it."""
    layer, step = fine.layer, fine.settled - wide.settled
    settled = max(0.0, fine.settled + gain * step)
    if settled < (1e-9 if layer.zone.pressed else NO_LAYER):
        why = "it lies below what was poured before, or its zone is empty. Raise it or remove it."
        if layer.zone.pressed:
            why = "no gap of its border is open up to its height. Remove it."
        raise BedError(f'Layer "{layer.name}" has no thickness anywhere: {why}')
    slides = fine.slide.volume + gain * (fine.slide.volume - wide.slide.volume)
    slide = replace(fine.slide, volume=max(0.0, slides))
    gaps = settled * layer.sacks.gaps if layer.sacks else 0.0
    return _with_volume(replace(fine, error=abs(step), slide=slide, gaps=gaps), settled)


def with_range(
    results: Sequence[LayerResult], usual: BedResult, ends: Sequence[BedResult]
) -> list[LayerResult]:
    """Give litres the range that the ends of their repose make on one coarse grid."""
    found = []
    for i, result in enumerate(results):
        gains = [0.0, *(end.layers[i].settled - usual.layers[i].settled for end in ends)]
        spread = Range(min(gains), 0.0, max(gains)).plus(result.settled)
        found.append(replace(result, settled_range=spread))
    return found


def gaps_shared(results: Sequence[LayerResult]) -> list[LayerResult]:
    """Share gaps out among what is pressed into them to one height, in equal parts."""
    found = list(results)
    for j, behind in enumerate(results):
        if not behind.layer.zone.pressed:
            continue
        before = [
            i for i, other in enumerate(results[:j])
            if other.layer.zone == behind.layer.zone
            and ((other.surface > behind.below + 1e-6) & (behind.surface > behind.below)).any()
        ]  # fmt: skip
        if before:
            part = behind.settled / (len(before) + 1)
            there = sum(found[i].settled for i in before)
            found[j] = _with_volume(behind, part)
            for i in before:
                found[i] = _with_volume(found[i], found[i].settled * (1 - part / there))
    return found


def sacks_filled(results: Sequence[LayerResult]) -> list[LayerResult]:
    """Let the next layer above run into the gaps between the sacks of a filler."""
    found = list(results)
    for i, lower in enumerate(results):
        laid = lower.surface > lower.below + 1e-6
        for j in range(i + 1, len(results)) if lower.layer.sacks else ():
            covered = laid & (results[j].surface > results[j].below + 1e-6)
            share = float(covered.sum()) / max(float(laid.sum()), 1.0)
            if share > 0:
                runs_in = found[i].gaps * share
                kept = 1 - runs_in / found[i].settled
                slide = replace(found[i].slide, volume=found[i].slide.volume * kept)
                left = replace(found[i], gaps=found[i].gaps - runs_in, slide=slide)
                found[i] = _with_volume(left, left.settled - runs_in)
                found[j] = _with_volume(found[j], found[j].settled + runs_in)
                break
    return found


def _with_volume(result: LayerResult, settled: float) -> LayerResult:
    """Set the settled volume [m³] and with it what is poured."""
    poured = (settled - result.gaps) / (1 - result.layer.settling)
    spread = result.settled_range.plus(settled - result.settled_range.mid)
    return replace(result, settled=settled, settled_range=spread, poured=poured)


def less_lumps(results: list[LayerResult], lumps: float) -> list[LayerResult]:
    """Take the volume of stones without a place out of the layers [m³]."""
    whole = sum(result.settled for result in results)
    if lumps <= 0 or not results:
        return results
    if lumps >= whole:
        raise BedError(
            f"Stones without a place fill <{lumps * 1e3:.1f} L> of the bed, which holds only "
            f"<{whole * 1e3:.1f} L>; lower below_soil."
        )
    return [_with_volume(r, r.settled * (1 - lumps / whole)) for r in results]
