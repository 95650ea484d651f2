"""Holes in a border that lie under its stones: below a bridge, an arch, or one of two courses."""

import itertools
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.piece import Flags, Floats, Indices
from plumbstone.volumes.bed.passing import least_open, lying_in, nearest_level
from plumbstone.volumes.bed.results import BedResult, LayerResult
from plumbstone.volumes.bed.row import SLICE, Row, Stretch

NARROWEST = 2  # cells: a narrower hole is not seen
POCKET = 0.2  # of the widest space on a side: a smaller one is a pocket of a stone
APART = 1.6  # cells between places that do not follow each other


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole under the stones of a row through which a layer runs out."""

    layer: str
    at: tuple[float, float]  # its middle [m]
    width: float  # [m]
    height: float  # over what lies before it [m]


@dataclass(frozen=True, slots=True)
class _Bridge:
    """A part of the line of a row, from gap to gap, along which stones stand."""

    start: float  # x of its ends [m]
    end: float
    foot: float  # below this none of its stones is [m]
    top: float  # [m]


def holes_under(bed: BedResult) -> tuple[Hole, ...]:
    """Find the holes under the stones of all borders that no strip closes.

    Where, at some height, open space leads from the soil across the line and a stone, not a gap,
    is said to stand, something is open below that stone. Soil that runs in below the back of the
    stone falls at repose on its way, so through low holes of deep stones none comes out. What
    passes is not computed, as the gaps of a row are open to the sky.
    """
    found = []
    for row in bed.rows:
        soils = lying_in("behind border", row, bed.layers, bed.rows)
        if soils and row.gaps and not row.border.strip:
            found += _holes(row, soils[-1], bed)
    return tuple(found)


def _holes(row: Row, soil: LayerResult, bed: BedResult) -> list[Hole]:
    """Find the holes under the stones of one row."""
    assert soil.edge is not None
    side, grid = soil.edge > 0, bed.grid
    pairs, bridges = _crossings(side), _bridges(row)
    (x, y), highest = grid.centres, float(soil.surface[side].max(initial=0.0))
    x, y = (place.ravel()[pairs].mean(axis=0) for place in (x, y))
    solids = [
        ends.reshape(len(ends), -1)[:, pairs] for ends in (bed.columns.bottoms, bed.columns.tops)
    ]
    found: list[Hole] = []
    for bridge in bridges:
        seen: list[tuple[float, float, float, float]] = []
        for height in np.arange(SLICE / 2, min(bridge.top, highest), SLICE):
            open_ = ~((solids[0] <= height) & (solids[1] >= height)).any(axis=(0, 1))
            if not _runs(x[open_], bridge, height, grid.spacing[0]):
                continue
            above = (solids[0] > height) & (solids[0] < np.inf)
            roofed = np.atleast_1d(above.any(axis=(0, 1)))
            solid = (bed.columns.bottoms <= height) & (bed.columns.tops >= height)
            free = ~solid.any(axis=0)
            spaces = _wide(side & free), _wide(~side & free)
            open_ &= (spaces[0] | spaces[1]).ravel()[pairs].all(axis=0)
            behind, before = (space & (bed.columns.solid == 0) for space in spaces)
            away = _away(behind, grid) + _away(before, grid)
            length = away.ravel()[pairs].mean(axis=0)[open_]
            for part in _runs(x[open_], bridge, height, grid.spacing[0]):
                if not roofed[open_][part].all() or _of_gap(row, x[open_][part], height):
                    continue
                at = float(x[open_][part].mean()), float(y[open_][part].mean())
                upper = nearest_level(soil.surface, behind, at, grid) or 0.0
                lower = nearest_level(bed.poured, before, at, grid) or 0.0
                falls = soil.layer.slope * float(length[part].min())
                if lower + falls < height < upper:
                    width = float(np.ptp(x[open_][part])) + grid.spacing[0]
                    seen.append((width, *at, float(height) + SLICE / 2 - lower))
        width, x_at, y_at, _ = max(seen, default=(0.0, 0.0, 0.0, 0.0))
        if width >= max(NARROWEST * max(grid.spacing), least_open(soil.layer.material)):
            found.append(Hole(soil.layer.name, (x_at, y_at), width, max(h for *_, h in seen)))
    return found


def _of_gap(row: Row, x: Floats, height: float) -> bool:
    """Tell whether what is open between places belongs to a gap, wider below than at its neck."""
    for gap in row.gaps:
        left, right = gap.ends[int(np.abs(gap.heights - height).argmin()), :, 0]
        if left <= x.max() and x.min() <= right:
            return True
    return False


def _bridges(row: Row) -> list[_Bridge]:
    """Join what lies between two gaps of a row."""

    def bears(stretch: Stretch) -> bool:
        return stretch.gap < 0 and min(stretch.holds) > 0

    found = []
    for stands, group in itertools.groupby(row.stretches, bears):
        parts = list(group)
        if not stands:
            continue
        start, end = parts[0].start[0], parts[-1].end[0]
        near = [
            stone for gap in row.gaps for stone in gap.stones
            if stone is not None and start < (stone.low[0] + stone.high[0]) / 2 < end
        ]  # fmt: skip
        foot = min((float(stone.low[2]) for stone in near), default=0.0)
        found.append(_Bridge(start, end, foot, max(max(part.holds) for part in parts)))
    return found


def _crossings(side: Flags) -> Indices:
    """Pairs of neighbouring cells on either side of the line, from left to right, (2, n)."""
    columns = side.shape[1]
    number = np.arange(side.size).reshape(side.shape)
    across, along = side[:-1] != side[1:], side[:, :-1] != side[:, 1:]
    one = np.concatenate([number[:-1][across], number[:, :-1][along]])
    other = np.concatenate([number[1:][across], number[:, 1:][along]])
    order = np.argsort(one % columns + other % columns, kind="stable")
    return np.array([one[order], other[order]])


def _wide(space: Flags) -> Flags:
    """Leave out pockets, that lead nowhere."""
    from scipy.ndimage import label

    parts, _ = label(space)
    sizes = np.bincount(parts.ravel())
    sizes[0] = 0
    return (sizes > POCKET * sizes.max())[parts]


def _away(space: Flags, grid: Grid) -> Floats:
    """How far every cell lies from some space [m]."""
    from scipy.ndimage import distance_transform_edt

    return distance_transform_edt(~space, sampling=grid.spacing[::-1])


def _runs(x: Floats, bridge: _Bridge, height: float, step: float) -> list[slice]:
    """Part places that are open into runs that follow each other; those under the bridge.

    What is open right to an end is of the gap there, unless no stone reaches down so far.
    """
    breaks = np.flatnonzero(np.diff(x) > APART * step) + 1
    found = []
    for first, last in itertools.pairwise([0, *breaks.tolist(), len(x)] if len(x) else []):
        left, right = x[first], x[last - 1]
        within = left > bridge.start + step and right < bridge.end - step
        over = left <= bridge.start + step and right >= bridge.end - step
        if within or (over and height < bridge.foot):
            found.append(slice(first, last))
    return found
