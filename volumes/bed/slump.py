"""What comes through a border, and where it comes to rest: volume is kept.

The surface at rest is the nearest one that is nowhere steeper than repose and keeps the volume
(Prigozhin 1996, from memory). Grains pass a border only in its open places, each no wider than
a few cells, in which the surface is level. Behind, the surface is then the lower of what lay
there and the cone that rises from that level; in front, the higher of the ground and the cone
that falls from it; and the level is the one at which as much is gained as is lost.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.piece import Floats, Indices

TURNS = 60  # of Newton's method
HALVINGS = 8  # of one step
FARTHEST = 0.01  # [m]: no level moves more in one step
ALIKE = 1e-4  # [m]: heights that differ by no more are as good as one
NEAR = 1.0  # cells around an opening that are taken as open, whatever stands in their middle
LEAST = 1e-3  # [m]: a step so small does not run
GRAZES = 0.35  # of a cell from its middle
NOWHERE = 1e9


@dataclass(frozen=True, slots=True)
class Opening:
    """An open place of a border."""

    start: tuple[float, float]  # its ends on the line [m]
    end: tuple[float, float]
    sill: float  # height below which it is closed [m]


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
    side: NDArray[np.bool_],
    barred: NDArray[np.bool_],
    slope: float,
    grid: Grid,
) -> Run:
    """Let grains run through the openings of a border until they rest.

    Parameters
    ----------
    openings : sequence of Opening
    upper, below : (rows, columns) float arrays
        Surface of the layer that moves, stable but for the openings, and what it lies on [m].
    lower : (rows, columns) float array
        Surface on the other side [m].
    side : (rows, columns) bool array
        True on the side of the layer.
    barred : (rows, columns) bool array
        Cells in which stones stand out.
    slope : float
        Tangent of the angle of repose of the layer.
    grid : Grid
    """
    open_upper, open_lower = side & ~barred, ~side & ~barred
    highest = float(upper[open_upper].max(initial=0.0))
    lowest = float(lower[open_lower].min(initial=highest))
    ends = np.array([(*o.start, *o.end) for o in openings]).reshape(-1, 4)
    sills = np.array([o.sill for o in openings], dtype=float)
    windows = [
        _window(e, _far(e, np.where(open_upper, upper, -np.inf), lowest, slope, grid), barred, side,
                grid)
        for e in ends
    ]  # fmt: skip
    starts = np.array([(w[0], w[1]) for w in windows], dtype=np.int64).reshape(-1, 2)
    shapes = np.array([w[2].shape for w in windows], dtype=np.int64).reshape(-1, 2)
    ways = np.concatenate([w[2].ravel() for w in windows] or [np.zeros(0)])
    levels = np.full(len(openings), (highest + lowest) / 2)
    rested, source = np.empty(upper.shape), np.empty(upper.shape, dtype=np.int64)
    upper, below, lower = (np.ascontiguousarray(field) for field in (upper, below, lower))

    def lay(levels: Floats, flows: Floats, stiff: Floats) -> None:
        _lay(
            ways, starts, shapes, sills, upper, below, lower, side, slope, rested, source, levels,
            flows, stiff,
        )  # fmt: skip

    lost, gained = _balanced(lay, levels, lowest)
    moved = source >= 0
    behind = np.where(side & moved, np.maximum(rested, below), upper)
    before = np.where(~side & moved, rested, lower)
    if gained.sum() > 0:  # to the last digit
        before = lower + (before - lower) * (lost.sum() / gained.sum())
    return Run(behind, before, levels, lost * grid.cell_area, source)


def _far(ends: Floats, upper: Floats, lowest: float, slope: float, grid: Grid) -> float:
    """How far from an opening the surface may change, on either side [m]."""
    half = np.hypot(*(ends[2:] - ends[:2])) / 2
    x, y = (ends[:2] + ends[2:]) / 2
    away = np.hypot(grid.x - x, (grid.y - y)[:, None]) - half
    spare = upper - slope * away
    falls = float(away[spare > lowest].max(initial=0.0))
    return max(falls, (float(spare.max()) - lowest) / slope, 0.0) + 3 * max(grid.spacing)


def _window(
    ends: Floats, far: float, barred: NDArray[np.bool_], side: NDArray[np.bool_], grid: Grid
) -> tuple[int, int, Floats]:
    """Ways from an opening to the cells around it [m]; first row and column of that part."""
    dx, dy = grid.spacing
    low = np.minimum(ends[:2], ends[2:]) - far
    high = np.maximum(ends[:2], ends[2:]) + far
    column0, row0 = max(0, int(low[0] / dx)), max(0, int(low[1] / dy))
    column1, row1 = min(grid.nx, int(high[0] / dx) + 1), min(grid.ny, int(high[1] / dy) + 1)
    part = (slice(row0, row1), slice(column0, column1))
    ways = _ways(
        np.ascontiguousarray(barred[part]), np.ascontiguousarray(side[part]),
        ends - np.array([column0 * dx, row0 * dy] * 2), far, dx, dy,
    )  # fmt: skip
    return row0, column0, ways


@njit(cache=True)
def _nearest(ends: Floats, x: float, y: float) -> tuple[float, float]:  # pragma: no cover
    """Place on a straight opening that lies nearest to a point."""
    ux, uy = ends[2] - ends[0], ends[3] - ends[1]
    length = ux * ux + uy * uy
    share = 0.0
    if length > 0:
        share = min(max(((x - ends[0]) * ux + (y - ends[1]) * uy) / length, 0.0), 1.0)
    return ends[0] + share * ux, ends[1] + share * uy


@njit(cache=True)
def _sees(
    barred: NDArray[np.bool_],
    side: NDArray[np.bool_],
    j: int,
    i: int,
    x: float,
    y: float,
    dx: float,
    dy: float,
) -> bool:  # pragma: no cover
    """Tell whether nothing stands between a cell and a place on its own side."""
    right, up = x / dx - 0.5 - i, y / dy - 0.5 - j
    count = int(4 * max(abs(right), abs(up))) + 1
    for k in range(1, count):
        share = k / count
        left = (1 - share) * np.sqrt(right * right + up * up)
        if left <= NEAR:
            return True
        row, column = j + share * up, i + share * right
        jn, i_n = int(np.round(row)), int(np.round(column))
        # A corner that only grazes the middle of a cell does not stand in the way.
        met = max(abs(row - jn), abs(column - i_n)) < GRAZES
        if met and (barred[jn, i_n] or side[jn, i_n] != side[j, i]):
            return False
    return True


@njit(cache=True)
def _ways(
    barred: NDArray[np.bool_],
    side: NDArray[np.bool_],
    ends: Floats,
    far: float,
    dx: float,
    dy: float,
) -> Floats:  # pragma: no cover
    """Length of the shortest way around the stones from an opening to each cell [m].

    Straight where the opening is seen, else around the corners of the stones.
    """
    rows, columns = barred.shape
    ways = np.full((rows, columns), NOWHERE)
    bends = np.zeros((rows, columns, 3))  # last corner on the way (x, y), and the way to it
    reached = np.zeros(2, dtype=np.bool_)
    close = np.full(2, NOWHERE)
    for j in range(rows):
        for i in range(columns):
            if barred[j, i]:
                continue
            cx, cy = (i + 0.5) * dx, (j + 0.5) * dy
            x, y = _nearest(ends, cx, cy)
            straight = np.sqrt((cx - x) ** 2 + (cy - y) ** 2)
            own = int(side[j, i])
            close[own] = min(close[own], straight)
            if straight <= far and _sees(barred, side, j, i, x, y, dx, dy):
                ways[j, i], bends[j, i, 0], bends[j, i, 1] = straight, x, y
                reached[own] = True
    for own in range(2):
        if reached[own]:
            continue
        for j in range(rows):  # a gap narrower than a cell: begin where the grid opens
            for i in range(columns):
                if barred[j, i] or int(side[j, i]) != own:
                    continue
                x, y = _nearest(ends, (i + 0.5) * dx, (j + 0.5) * dy)
                straight = np.sqrt(((i + 0.5) * dx - x) ** 2 + ((j + 0.5) * dy - y) ** 2)
                if straight <= close[own] + dx:
                    ways[j, i], bends[j, i, 0], bends[j, i, 1] = straight, x, y
    _around(ways, bends, barred, side, far, dx, dy)
    return ways


@njit(cache=True)
def _corner(
    barred: NDArray[np.bool_], j: int, i: int, dx: float, dy: float
) -> tuple[float, float]:  # pragma: no cover
    """Corner of a stone that a cell touches, around which a way bends; else its middle."""
    for n in range(4):
        right, up = n % 2, n // 2
        met = 0
        for jn in range(j + up - 1, j + up + 1):
            for i_n in range(i + right - 1, i + right + 1):
                if 0 <= jn < barred.shape[0] and 0 <= i_n < barred.shape[1]:
                    met += barred[jn, i_n]
        if met == 1:
            return (i + right) * dx, (j + up) * dy
    return (i + 0.5) * dx, (j + 0.5) * dy


@njit(cache=True)
def _around(
    ways: Floats,
    bends: Floats,
    barred: NDArray[np.bool_],
    side: NDArray[np.bool_],
    far: float,
    dx: float,
    dy: float,
) -> None:  # pragma: no cover
    """Carry ways on into cells that do not see the opening, in place: straight from bend to bend.

    A cell takes over the last corner of a neighbour if it sees it; else the neighbour is one.
    """
    rows, columns = ways.shape
    moved = True
    while moved:
        moved = False
        for turn in range(2):
            for jj in range(rows):
                j = jj if turn == 0 else rows - 1 - jj
                for ii in range(columns):
                    i = ii if turn == 0 else columns - 1 - ii
                    if barred[j, i]:
                        continue
                    cx, cy = (i + 0.5) * dx, (j + 0.5) * dy
                    for n in range(9):
                        jn, i_n = j + n // 3 - 1, i + n % 3 - 1
                        if not (0 <= jn < rows and 0 <= i_n < columns):
                            continue
                        if ways[jn, i_n] >= ways[j, i] or side[jn, i_n] != side[j, i]:
                            continue
                        x, y, done = bends[jn, i_n]
                        way = done + np.sqrt((cx - x) ** 2 + (cy - y) ** 2)
                        if way > far or way >= ways[j, i] - 1e-9:
                            continue
                        if not _sees(barred, side, j, i, x, y, dx, dy):
                            bx, by = _corner(barred, jn, i_n, dx, dy)
                            done += np.sqrt((bx - x) ** 2 + (by - y) ** 2)
                            x, y = bx, by
                            way = done + np.sqrt((cx - x) ** 2 + (cy - y) ** 2)
                            if way >= ways[j, i] - 1e-9:
                                continue
                        ways[j, i] = way
                        bends[j, i, 0], bends[j, i, 1], bends[j, i, 2] = x, y, done
                        moved = True


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


@njit(cache=True)
def _lay(
    ways: Floats,
    starts: Indices,
    shapes: Indices,
    sills: Floats,
    upper: Floats,
    below: Floats,
    lower: Floats,
    side: NDArray[np.bool_],
    slope: float,
    rested: Floats,
    source: Indices,
    levels: Floats,
    flows: Floats,
    stiff: Floats,
) -> None:  # pragma: no cover
    """Lay the surface that given levels in the openings make, in place.

    `flows` gets what each opening loses and gains, in metres times cells, `stiff` how that
    changes with the levels. A cell that two openings reach about alike is parted between them.
    """
    source[:], flows[:], stiff[:] = -1, 0.0, 0.0
    whole = np.zeros(upper.shape)
    for j in range(upper.shape[0]):
        for i in range(upper.shape[1]):
            rested[j, i] = upper[j, i] if side[j, i] else lower[j, i]
    for turn in range(3):
        at = 0
        for k in range(len(levels)):
            top = max(levels[k], sills[k])
            for jj in range(shapes[k, 0]):
                for ii in range(shapes[k, 1]):
                    way = ways[at]
                    at += 1
                    if way >= NOWHERE:
                        continue
                    j, i = starts[k, 0] + jj, starts[k, 1] + ii
                    back = side[j, i]
                    height = top + slope * way if back else levels[k] - slope * way
                    behind = rested[j, i] - height if back else height - rested[j, i]
                    if turn == 0:
                        if behind > 0:
                            rested[j, i], source[j, i] = height, k
                        continue
                    if source[j, i] < 0 or behind < -9 * ALIKE:
                        continue
                    if turn == 1:
                        whole[j, i] += np.exp(behind / ALIKE)
                        continue
                    part = np.exp(behind / ALIKE) / whole[j, i]
                    if back:
                        moved = upper[j, i] - max(rested[j, i], below[j, i])
                        gives = rested[j, i] > below[j, i] and levels[k] > sills[k]
                    else:
                        moved, gives = rested[j, i] - lower[j, i], True
                    flows[0 if back else 1, k] += moved * part
                    stiff[k, k] += part * gives + moved * part * (1 - part) / ALIKE
                    first = source[j, i]
                    if k != first:
                        shared = moved * part / whole[j, i] / ALIKE
                        stiff[k, first] -= shared
                        stiff[first, k] -= shared
