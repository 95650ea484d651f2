"""What comes through a border, and where it comes to rest: volume is kept.

The surface at rest is the nearest one that is nowhere steeper than repose and keeps the volume
(Prigozhin 1996, from memory). Grains pass a border only in its open places, each no wider than
a few cells, in which the surface is level. Behind, the surface is then the lower of what lay
there and the cone that rises from that level; in front, the higher of the ground and the cone
that falls from it; and the level is the one at which as much is gained as is lost.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.piece import Flags, Floats, Indices
from plumbstone.volumes.bed.loops import lay_surface, ways_from
from plumbstone.volumes.bed.taut import Strings, taut_ways

TURNS = 60  # of Newton's method
HALVINGS = 8  # of one step
FARTHEST = 0.01  # [m]: no level moves more in one step
LEAST = 1e-3  # [m]: a step so small does not run
WIDER = 1.15  # times the distance to which a surface changes at a guessed level
AGREE = 2.0  # cells by which a way on the grid and a taut one may differ


@dataclass(frozen=True, slots=True)
class Opening:
    """An open place of a border."""

    start: tuple[float, float]  # its ends on the line [m]
    end: tuple[float, float]
    sill: float  # height below which it is closed [m]
    strings: tuple[Strings, Strings] | None = None  # around its stones: before them, behind them


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """What runs through the openings of a border until it rests."""

    behind: Floats  # (rows, columns) surface at rest on the side that it leaves [m]
    before: Floats  # (rows, columns) on the side that it runs to [m]
    levels: Floats  # (k,) height in each opening [m]
    lost: Floats  # (k,) volume that passes each opening [m³]
    from_opening: Indices  # (rows, columns) the opening a cell got its grains from; -1 for none


def run_through(
    openings: Sequence[Opening],
    upper: Floats,
    below: Floats,
    lower: Floats,
    side: Flags,
    barred: Flags,
    slope: float,
    grid: Grid,
) -> Run:
    """Let grains run through the openings of a border until they rest.

    Surfaces are (rows, columns) [m]: `upper` is that of the layer that moves, stable but for the
    openings, `below` what it lies on, `lower` the one on the other side. `side` is true on the side
    of the layer, `barred` where stones stand out, `slope` the tangent of its angle of repose.
    """
    open_upper, open_lower = side & ~barred, ~side & ~barred
    highest = float(upper[open_upper].max(initial=0.0))
    lowest = float(lower[open_lower].min(initial=highest))
    ends = np.array([(*o.start, *o.end) for o in openings]).reshape(-1, 4)
    sills = np.array([o.sill for o in openings], dtype=float)
    moving = np.where(open_upper, upper, -np.inf)
    levels = np.array([(_height(e, moving, slope, grid) + lowest) / 2 for e in ends])
    rested, source = np.empty(upper.shape), np.empty(upper.shape, dtype=np.int64)
    upper, below, lower = (np.ascontiguousarray(field) for field in (upper, below, lower))
    far, windows = np.zeros(len(ends)), [(0, 0, np.empty((0, 0)))] * len(ends)
    lost = gained = np.zeros(len(ends))
    while True:
        needed = np.array(
            [_far(e, moving, h, lowest, slope, grid) for e, h in zip(ends, levels, strict=True)]
        )
        wider = np.flatnonzero(needed > far)
        if len(wider) == 0:
            break
        far[wider] = WIDER * needed[wider]
        for k in wider.tolist():
            windows[k] = ways_around(ends[k], openings[k].strings, far[k], barred, side, grid)
        starts = np.array([w[:2] for w in windows], dtype=np.int64)
        shapes = np.array([w[2].shape for w in windows], dtype=np.int64)
        ways = np.concatenate([w[2].ravel() for w in windows])
        fixed = (ways, starts, shapes, sills, upper, below, lower, side, slope, rested, source)
        lost, gained = _balanced(partial(lay_surface, *fixed), levels, lowest)
    moved = source >= 0
    behind = np.where(side & moved, np.maximum(rested, below), upper)
    before = np.where(~side & moved, rested, lower)
    if gained.sum() > 0:  # to the last digit
        before = lower + (before - lower) * (lost.sum() / gained.sum())
    return Run(behind, before, levels, lost * grid.cell_area, source)


def _height(ends: Floats, upper: Floats, slope: float, grid: Grid) -> float:
    """Height from which the soil around an opening presses on it [m]."""
    highest = float(upper.max())
    part, away = _around_it(ends, highest / slope, grid)
    return max(float((upper[part] - slope * away).max(initial=-np.inf)), 0.0)


def _far(
    ends: Floats, upper: Floats, level: float, lowest: float, slope: float, grid: Grid
) -> float:
    """How far from an opening the surface changes on either side, at a level in it [m]."""
    part, away = _around_it(ends, (float(upper.max()) - level) / slope, grid)
    falls = float(away[upper[part] - slope * away > level].max(initial=0.0))
    return max(falls, (level - lowest) / slope) + 3 * max(grid.spacing)


def _around_it(ends: Floats, far: float, grid: Grid) -> tuple[tuple[slice, slice], Floats]:
    """Cells around an opening, and how far from it they lie at least [m]."""
    part = grid.around(ends.reshape(2, 2), max(far, 0.0) + 2 * max(grid.spacing))
    x, y = (ends[:2] + ends[2:]) / 2
    away: Floats = np.hypot(grid.x[part[1]] - x, (grid.y[part[0]] - y)[:, None])
    return part, away - np.hypot(*(ends[2:] - ends[:2])) / 2


def ways_around(
    ends: Floats,
    strings: tuple[Strings, Strings] | None,
    far: float,
    barred: Flags,
    side: Flags,
    grid: Grid,
) -> tuple[int, int, Floats]:
    """Ways from an opening to the cells around it [m]; first row and column of that part.

    Exact where a string around its two stones is as long as the way on the grid, about.
    """
    dx, dy = grid.spacing
    part = grid.around(ends.reshape(2, 2), far)
    row0, column0 = part[0].start, part[1].start
    ways = ways_from(
        np.ascontiguousarray(barred[part]), np.ascontiguousarray(side[part]),
        ends - np.array([column0 * dx, row0 * dy] * 2), far, dx, dy,
    )  # fmt: skip
    for own, around in zip((False, True), strings or (), strict=False):
        rows, columns = np.nonzero((side[part] == own) & (ways <= far))
        taut = taut_ways(ends, around, grid.x[column0 + columns], grid.y[row0 + rows])
        alike = np.abs(taut - ways[rows, columns]) < AGREE * max(dx, dy)
        ways[rows[alike], columns[alike]] = taut[alike]
    return row0, column0, ways


def _balanced(
    lay: Callable[[Floats, Floats, Floats], None], levels: Floats, lowest: float
) -> tuple[Floats, Floats]:
    """Find the levels at which each opening gains what it loses, and these two, in place.

    Newton's method; what an opening lacks falls as its level rises and grows with those of the
    others, so a shorter step always helps.
    """
    count = len(levels)
    flows, stiff = np.zeros((2, count)), np.zeros((count, count))
    lay(levels, flows, stiff)
    off = flows[0] - flows[1]
    for _ in range(TURNS):
        if np.abs(off).sum() <= 1e-10 * max(float(flows.sum()), 1e-9):
            break
        step = np.linalg.solve(stiff + np.eye(count), off)
        step *= min(1.0, FARTHEST / max(float(np.abs(step).max()), 1e-12))
        before, was = levels.copy(), float(np.abs(off).sum())
        for _ in range(HALVINGS):
            levels[:] = np.maximum(before + step, lowest)
            lay(levels, flows, stiff)
            off = flows[0] - flows[1]
            if float(np.abs(off).sum()) < was:
                break
            step /= 2
    return flows[0], flows[1]
