"""The bed: litres and kilograms of every layer around the stones that stand in it."""

import itertools
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.limits import MOST_CELLS, raised
from plumbstone.meshes.measures.columns import Columns, Grid, Window, columns_of, merged_columns
from plumbstone.meshes.piece import Floats, Piece
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.bags import settling_range
from plumbstone.volumes.bed.heightfield import empty_below, lifted_out, stable_surface
from plumbstone.volumes.bed.loops import lower_at_wall, rises_of
from plumbstone.volumes.bed.passing import (
    Passed,
    Side,
    is_filter,
    least_open,
    let_pass,
    nearest_level,
    strings_of,
)
from plumbstone.volumes.bed.row import ENDLESS, WIDEST, Crack, Row, row_of, standing_out
from plumbstone.volumes.bed.slump import ways_around
from plumbstone.volumes.bed.taut import corners_of
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.layers import (
    Border,
    Layer,
    Profile,
    Spot,
    Zone,
    drawn_level,
    line_distance,
    polygon_distance,
    share_along,
    zone_distance,
)

FINEST, COMMON = 0.001, 0.002  # [m]
ACROSS = 10  # cells across the narrowest piece
CELLS = 200_000
PARTS = 6  # of a cell at the edge of a zone, each way
STRAIGHT = 0.98  # less slope of a distance shows a ridge
AS_MEANT = 1e-5  # [m]
NONE = Range.exact(0.0)
ALIKE = 1e-3  # [m]: heights that differ by less are one
TERRACE = 3.0  # times the slope of repose: steeper is a step that is drawn
AROUND = 30  # cells around a gap in which what rises from it is exact
MEASURED, MOST = 50, 0.8  # cells for a slope; share of them that are no steeper


class BedError(PlumbstoneError, ValueError):
    """A bed that cannot be laid as drawn."""


@dataclass(frozen=True, slots=True)
class Slide:
    """What does not stay where it is drawn."""

    volume: float  # [m³]
    drop: float  # how much lower the surface ends at the worst place [m]
    where: str  # in words, such as "back right"
    at: tuple[float, float]  # that place [m]
    crest_drawn: float = 0.0  # greatest drawn height beside stones [m]
    crest_stays: float = 0.0  # what stays of it there [m]
    crest_where: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class LayerResult:
    """One layer as it comes to lie."""

    layer: Layer
    surface: Floats  # (rows, columns), above the glass, stones showing through [m]
    below: Floats  # the surface it lies on [m]
    drawn: Floats  # the wanted surface, stones left out [m]
    edge: Floats | None  # signed distance to the edge of its zone [m]; None: it has none
    settled: float = 0.0  # [m³], extrapolated from two grids
    error: float = 0.0  # difference of the two grids [m³]
    poured: float = 0.0  # [m³]
    mass: Range = NONE  # dry [kg]
    slide: Slide = Slide(0.0, 0.0, "", (0.0, 0.0))
    slope_degrees: float = 0.0  # drawn, from front to back in the middle of its zone
    thickness: float = 0.0  # greatest [m]
    passed: float = 0.0  # what comes to rest beyond its border [m³]
    void: float = 0.0  # space below stones that is empty once it lies [m³]
    gaps: float = 0.0  # space between its sacks that nothing fills [m³]
    settled_range: Range = NONE  # by its repose [m³]
    steepest_degrees: float = 0.0  # slope that most of its open surface does not exceed
    steepest_towards: str = ""  # the way in which it rises, such as "front to back"

    @property
    def wanted(self) -> float:
        """Volume as it is drawn [m³]."""
        return self.settled + self.slide.volume

    @property
    def stays(self) -> float:
        """Volume that stays where it is poured [m³]."""
        return self.settled - self.passed

    @property
    def poured_range(self) -> Range:
        """What to pour by its repose and how much it settles [m³]."""
        settles = settling_range(self.layer.settling)
        by_repose = self.settled_range.plus(-self.gaps).times(1 / (1 - settles.mid))
        laid = self.settled - self.gaps
        low, high = laid / (1 - settles.low), laid / (1 - settles.high)
        less = math.hypot(by_repose.mid - by_repose.low, by_repose.mid - low)
        more = math.hypot(by_repose.high - by_repose.mid, high - by_repose.mid)
        return Range(max(self.poured - less, 0.0), self.poured, self.poured + more)

    @property
    def sacks(self) -> int:
        """How many sacks of filler are laid; 0 where it is poured loose."""
        sacks = self.layer.sacks
        return 0 if sacks is None else math.ceil(self.poured / sacks.holds - 1e-9)


@dataclass(frozen=True, eq=False)
class BedResult:
    """The whole bed."""

    grid: Grid
    columns: Columns
    layers: tuple[LayerResult, ...]
    surface: Floats  # at rest, above the glass, stones showing through [m]
    depths: tuple[tuple[str, float], ...]  # front, middle, back: mean beside stones [m]
    rows: tuple[Row, ...] = ()
    passed: tuple[Passed, ...] = ()  # what comes through the borders
    poured: Floats = field(default_factory=lambda: np.zeros((0, 0)))  # the surface before that [m]

    @property
    def settled(self) -> float:
        """Volume of all layers, voids counted [m³]."""
        return sum(result.settled for result in self.layers)

    @cached_property
    def soil_line(self) -> Floats:
        """Surface as it lies beside the pieces, carried on below them, above the glass [m].

        Cells in which a piece stands out take the height of the nearest cell in which none does.
        """
        from scipy.ndimage import distance_transform_edt

        taken = _bare(self) & (self.columns.solid > 0)
        if taken.all():
            return self.surface
        nearest = distance_transform_edt(taken, return_distances=False, return_indices=True)
        line: Floats = self.surface[tuple(nearest)]
        return line


def cut_piece(piece: Piece, volume: float, grid: Grid) -> Window:
    """Cut a piece into columns that hold its exact volume [m³]."""
    return columns_of(piece.vertices, piece.faces, grid, volume, scattered=True)


def chosen_spacing(length: float, depth: float, smallest: float = math.inf) -> float:
    """Choose the width of a cell [m] for a floor and the narrowest piece that stands on it.

    2 mm, wider where that is over 200 000 cells, finer (to 1 mm) where a piece would be less
    than ten cells wide, or a zone less than forty.
    """
    by_floor = max(COMMON, math.sqrt(length * depth / CELLS))
    return max(FINEST, min(by_floor, smallest / ACROSS))


def narrowest_zone(layers: Sequence[Layer]) -> float:
    """Give a quarter of the width of the narrowest zone with free edges all around [m]."""
    widths = [math.inf]
    for zone in (layer.zone for layer in layers if layer.profile):
        if zone.name == "along line":
            widths.append(zone.width)
        elif zone.polygon:
            corners = np.array(zone.polygon)
            x, y = (corners - corners[0]).T
            area = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
            around = float(np.hypot(*(corners - np.roll(corners, -1, axis=0)).T).sum())
            widths.append(4 * area / max(around, 1e-9))
    return min(widths) / 4


def solve_bed(
    floor: tuple[float, float],
    layers: Sequence[Layer],
    borders: Sequence[Border] = (),
    bodies: Sequence[tuple[Piece, float]] = (),
    spacing: float | None = None,
    buried_lumps: float = 0.0,
    exact: bool = True,
    set_later: Collection[str] = (),
    memo: Memo | None = None,
    measured: bool = True,
) -> BedResult:
    """Lay all layers in order around the bodies.

    Parameters
    ----------
    floor : (float, float)
        Inside length and depth of the tank [m].
    layers : sequence of Layer
        In pouring order.
    borders : sequence of Border
        The lines that some zones refer to.
    bodies : sequence of (Piece, float)
        Everything that stands in the bed, placed, each with its exact volume [m³].
    spacing : float, optional
        Width of a cell [m]; chosen from the floor if not given.
    buried_lumps : float
        Volume of stones without a place that lies in the bed [m³]; taken from the
        layers in proportion to their volume.
    exact : bool
        Whether two wider grids are solved too and litres are extrapolated.
    set_later : collection of str
        Names of pieces that are set on the bed once it lies, so no void is left below them.
    memo : Memo, optional
        Remembers what hangs on a part of all this alone, from one bed to the next.
    measured : bool
        Without it only surfaces are found: no litres, slides and slopes.

    Returns
    -------
    BedResult
        Litres by Richardson extrapolation of this grid and two wider ones.

    Raises
    ------
    BedError
        If a layer has no thickness anywhere, a zone needs a border that is not given,
        the border does not cross the floor, or the grid would be too large.
    """
    spacing = chosen_spacing(*floor, narrowest_zone(layers)) if spacing is None else spacing
    check_spacing(floor, spacing)
    _check(floor, layers, borders)
    pieces = tuple(piece for piece, _ in bodies)
    memo = Memo() if memo is None else memo
    rows = tuple(
        memo(row_of, b, tuple(p for p in pieces if p.name in b.stones), floor) for b in borders
    )
    _check_gaps(layers, rows)
    grids = (
        Grid.of_spacing(*floor, times * spacing)
        for times in ((1, 2, 4) if exact and measured else (1,))
    )
    fine, *wider = (_pour(g, layers, rows, bodies, set_later, memo, measured) for g in grids)
    firm = tuple(_firm(row, fine) for row in rows)
    lying = fine  # what is pressed into a gap and does not close it holds nothing
    if any(one is not other for one, other in zip(firm, rows, strict=True)):
        lying = _pour(fine.grid, layers, firm, bodies, set_later, memo, measured=False)
    if not measured:
        return _at_rest(fine, lying, memo)
    gain, wide = 0.0, fine
    if exact:
        gain, wide = _gain(fine.settled, *(bed.settled for bed in wider)), wider[0]
    pairs = zip(fine.layers, wide.layers, strict=True)
    results = [_extrapolated(one, other, gain) for one, other in pairs]
    if exact:
        coarse = wider[-1]
        ends = [
            _pour(coarse.grid, _at_repose(layers, end), rows, bodies, set_later, memo, measured)
            for end in (-1, 1)
        ]
        results = _with_range(results, coarse, ends)
    results = _sacks_filled(_less_lumps(results, buried_lumps))
    return _at_rest(replace(fine, layers=tuple(results)), lying, memo)


def bed_heights(result: BedResult) -> Floats:
    """Surface of the bed above the glass, stones left out where they are higher [m]."""
    return np.where(_bare(result), np.nan, result.surface)


@dataclass(frozen=True, slots=True)
class SpotDepth:
    """The bed at one named place."""

    spot: Spot
    height: float  # of the surface above the glass [m]
    depth: float  # of substrate below it, down to glass or stone [m]

    @property
    def lacking(self) -> float:
        """How much deeper a plant there would need it [m], 0 where it is deep enough."""
        needed = self.spot.root_depth
        return 0.0 if needed is None else max(0.0, needed - self.depth)


def depths_at(spots: Sequence[Spot], result: BedResult) -> tuple[SpotDepth, ...]:
    """Height and depth of the bed at named places; beside a stone where one stands there."""
    if not spots:
        return ()
    line = result.soil_line
    grid, columns = result.grid, result.columns
    found = []
    for spot in spots:
        row, column = grid.cell_at(*spot.at)
        height = float(line[row, column])
        tops = columns.tops[:, row, column]
        buried = tops[tops < height]
        found.append(SpotDepth(spot, height, height - float(buried.max(initial=0.0))))
    return tuple(found)


def covered_share(window: Window, line: Floats) -> float:
    """Share of a piece that lies below the bed beside it.

    Parameters
    ----------
    window : Window
        Its columns.
    line : (rows, columns) float array
        The bed on that grid, as of `BedResult.soil_line` [m].
    """
    solid = np.isfinite(window.bottoms)
    bottoms, tops = (np.where(solid, ends, 0.0) for ends in (window.bottoms, window.tops))
    whole = float((tops - bottoms).sum())
    below = float(np.clip(np.minimum(tops, line[window.place]) - bottoms, 0, None).sum())
    return below / whole if whole > 0 else 0.0


def check_spacing(floor: tuple[float, float], spacing: float) -> None:
    """Refuse a width of grid cells [m] that no bed can be solved with.

    Raises
    ------
    BedError
        If it doesn't fit the floor or makes too many cells.
    """
    if not 1e-4 <= spacing <= min(floor) / 8:
        message = f"A grid of {spacing * 1e3:g} mm does not fit the floor; choose 1 to 10 mm."
        raise BedError(message)
    most = raised(MOST_CELLS)
    if floor[0] * floor[1] / spacing**2 > most:
        message = (
            f"A grid of {spacing * 1e3:g} mm has over {most} cells; choose a wider one, or raise "
            "--limits."
        )
        raise BedError(message)


def _check(floor: tuple[float, float], layers: Sequence[Layer], borders: Sequence[Border]) -> None:
    """Refuse what cannot be solved."""
    for layer in layers:
        if layer.zone.by_border and not borders:
            message = f'Layer "{layer.name}" lies {layer.zone.name}, but there is no [border] line.'
            raise BedError(message)
    for border in borders:
        inside = [0 <= y <= floor[1] for _, y in border.line]
        if border.line[0][0] > 0.02 or border.line[-1][0] < floor[0] - 0.02 or not all(inside):
            message = (
                f"The border line must cross the tank from the left pane (x = 0) to the right "
                f"one (x = {floor[0] * 1e2:g} cm) on the floor; move its points."
            )
            raise BedError(message)


def _check_gaps(layers: Sequence[Layer], rows: Sequence[Row]) -> None:
    """Refuse to press a layer into the gaps of a row that has no stones."""
    for layer in layers:
        row = row_for(layer.zone, rows)
        if not layer.zone.pressed or row is None or row.cracks:
            continue
        why = "its border names no stones; name them: stones = [...]."
        if row.missed:
            why = "the line of its border passes beside all of the stones; draw it over them."
        raise BedError(f'Layer "{layer.name}" lies in the gaps of a border, but {why}')


def _pour(
    grid: Grid,
    layers: Sequence[Layer],
    rows: Sequence[Row],
    bodies: Sequence[tuple[Piece, float]],
    set_later: Collection[str],
    memo: Memo,
    measured: bool,
) -> BedResult:
    """Lay all layers on one grid."""
    windows = tuple(memo(cut_piece, piece, volume, grid) for piece, volume in bodies)
    columns, pieces = memo(merged_columns, windows, grid), [piece for piece, _ in bodies]
    standing = columns  # what stands while the layers are poured
    if set_later:
        pairs = zip(pieces, windows, strict=True)
        firm = tuple(window for piece, window in pairs if piece.name not in set_later)
        standing = memo(merged_columns, firm, grid)
    level = np.zeros((grid.ny, grid.nx))  # what a depth counts from: the surface without stones
    surface = lifted_out(level, columns)
    results = {}
    empty = 0.0  # space below stones that was left so far
    first = [k for k, layer in enumerate(layers) if layer.zone.pressed]  # fills gaps from the glass
    for k in [*first, *(k for k in range(len(layers)) if k not in first)]:
        layer = layers[k]
        if layer.profile is None:
            continue
        edge, inside, holds = memo(_bounds, layer.zone, row_for(layer.zone, rows), grid)
        drawn = memo(_drawn, layer.profile, layer.profile.heightmap, edge, grid)
        full = np.maximum(drawn if layer.profile.above_glass else level + drawn, level)
        target = np.where(inside, full, level)
        below = surface
        limit = full.copy()
        if layer.profile.terraces or layer.profile.paths:
            risen = drawn_level(layer.profile, edge, grid, layer.slope)
            limit = np.maximum(risen if layer.profile.above_glass else level + risen, level)
        if holds.any() and edge is not None:
            _from_wall(limit, full, edge, layer.slope, grid)
        rises = np.hypot(*rises_of(full, *grid.spacing))
        steep = inside & (rises > layer.slope * (1 + 1e-9)) & (rises < TERRACE * layer.slope)
        if steep.any():
            _from_stones(
                limit,
                full,
                inside,
                row_for(layer.zone, rows),
                pieces,
                columns,
                layer,
                grid,
                memo,
            )
        wanted = np.where(inside, np.maximum(limit, below), below)
        walls = ~inside & (holds >= wanted.max())
        surface = stable_surface(
            wanted,
            below,
            layer.slope,
            grid.spacing,
            columns=columns,
            edge=edge,
            walls=walls if walls.any() else None,
            beyond=np.where(inside, 0.0, holds) if holds.any() else None,
            shadows=limit if steep.any() else None,
        )
        result = LayerResult(layer, surface, below, target, edge)
        if measured:
            result = _measured(result, columns, grid)
            if edge is not None and not layer.zone.by_border:
                result = _within_cells(result, full - below, columns, grid)
        if not layer.zone.pressed:
            if measured:
                void = empty_below(surface, standing, layer.slope, grid)
                result = replace(result, settled=result.settled - void + empty, void=void)
                empty = void
            level = np.where(inside, np.minimum(np.maximum(surface, level), target), level)
        results[k] = result
    poured = tuple(results[k] for k in sorted(results))
    if not measured:
        return BedResult(grid, columns, poured, surface, (), tuple(rows))
    depths = _depths(surface, columns, grid)
    sloped = tuple(_with_slope(result, surface, columns, grid) for result in poured)
    return BedResult(grid, columns, sloped, surface, depths, tuple(rows))


def _from_wall(
    limit: Floats,
    full: Floats,
    away: Floats,
    slope: float,
    grid: Grid,
    row: int = 0,
    column: int = 0,
) -> None:
    """Bring what rises too steeply from a wall down to what lies at repose from its very foot.

    The foot lies between the middles of cells; from these alone, all behind would be too high.
    `limit` is changed in place in the cells beside a wall that lies `away` from them [m], given
    on the part of the grid that begins at a row and a column.
    """
    near, steepest = max(grid.spacing), TERRACE * slope
    lower_at_wall(limit, full, away, near, slope, steepest, *grid.spacing, row, column)


def _from_stones(
    limit: Floats,
    full: Floats,
    inside: NDArray[np.bool_],
    row: Row | None,
    pieces: Sequence[Piece],
    columns: Columns,
    layer: Layer,
    grid: Grid,
    memo: Memo,
) -> None:
    """Lower what is drawn too steep, in place, to what rises from stones and gaps before it."""
    for piece in pieces:
        _from_stone(limit, full, piece, layer.slope, grid, memo)
    barred = columns.highest >= full
    for crack in row.cracks if row else ():
        if least_open(layer.material) < crack.openings.min() <= WIDEST:
            _from_gap(limit, full, crack, inside, barred, layer.slope, grid)


def _from_stone(
    limit: Floats, full: Floats, piece: Piece, slope: float, grid: Grid, memo: Memo
) -> None:
    """Do the same beside a stone that stands out, in place."""
    height = float(full[grid.cell_at(*memo(_middle_of, piece))])
    part, away = memo(_away_from, piece, height, grid)
    if min(away.shape) >= 2:
        _from_wall(limit, full[part], away, slope, grid, part[0].start, part[1].start)


def _middle_of(piece: Piece) -> Floats:
    """Mean of the corners of a stone from above, (2,) [m]."""
    return np.asarray(piece.vertices[:, :2].mean(axis=0), dtype=float)


def _away_from(piece: Piece, height: float, grid: Grid) -> tuple[tuple[slice, slice], Floats]:
    """Cells around what a stone shows over a height, and how far from it they lie [m]."""
    points = standing_out(piece, height)
    corners = points[corners_of(points)] if len(points) > 2 else points
    if len(corners) < 3:
        return (slice(0), slice(0)), np.empty((0, 0))
    part = grid.around(corners, 3 * max(grid.spacing))
    x, y = (place[part] for place in grid.centres)
    return part, -polygon_distance(corners, x, y)


def _from_gap(
    limit: Floats,
    full: Floats,
    crack: Crack,
    inside: NDArray[np.bool_],
    barred: NDArray[np.bool_],
    slope: float,
    grid: Grid,
) -> None:
    """Lower what is drawn behind a gap, in place, to what rises from the gap around its stones."""
    from scipy.ndimage import map_coordinates

    ends = crack.ends[int(crack.openings.argmin())]
    places = (ends / grid.spacing - 0.5).T[::-1]
    heights = map_coordinates(full, places, order=1, mode="nearest")
    far = AROUND * max(grid.spacing)
    if not _rises_past(full, inside, ends, heights, slope, far, grid):
        return
    strings = strings_of(crack, ends, *heights)
    if strings is None:
        return
    row, column, ways = ways_around(ends.ravel(), strings, far, barred, inside, grid)
    part = slice(row, row + ways.shape[0]), slice(column, column + ways.shape[1])
    x, y = (place[part] for place in grid.centres)
    foot = heights[0] + share_along(ends[0], ends[1], x, y) * (heights[1] - heights[0])
    limit[part] = np.where(inside[part], np.minimum(limit[part], foot + slope * ways), limit[part])


def _rises_past(
    full: Floats,
    inside: NDArray[np.bool_],
    ends: Floats,
    heights: Floats,
    slope: float,
    far: float,
    grid: Grid,
) -> bool:
    """Tell whether something near a gap is drawn higher than what rises straight from it."""
    part = grid.around(ends, far)
    x, y = (place[part] for place in grid.centres)
    foot = heights[0] + share_along(ends[0], ends[1], x, y) * (heights[1] - heights[0])
    most = foot + slope * line_distance(ends, x, y)
    return bool((inside[part] & (full[part] > most)).any())


def _with_slope(result: LayerResult, surface: Floats, columns: Columns, grid: Grid) -> LayerResult:
    """Find the slope of the open surface of a layer, whichever way it falls; not of strips."""
    if result.layer.zone.name not in ("all", "behind border", "before border", "polygon"):
        return result
    rise_y, rise_x = rises_of(result.surface, *grid.spacing)
    open_ = (result.surface > result.below + 1e-4) & (result.surface >= surface - 1e-9)
    open_ &= (columns.solid == 0) & (result.surface >= result.drawn - 1e-6)
    if open_.sum() < MEASURED:
        return result
    place, share = divmod(MOST * (int(open_.sum()) - 1), 1)  # np.percentile would load numpy.ma
    k = int(place)
    lower, upper = np.partition(np.hypot(rise_x, rise_y)[open_], (k, k + 1))[k : k + 2]
    steep = float(lower + share * (upper - lower))
    x, y = (float(np.asarray(rise)[open_].mean()) for rise in (rise_x, rise_y))
    across = ("left to right" if x > 0 else "right to left") if abs(x) > abs(y) else ""
    towards = across or ("front to back" if y > 0 else "back to front")
    degrees = math.degrees(math.atan(steep))
    return replace(result, steepest_degrees=degrees, steepest_towards=towards)


def row_for(zone: Zone, rows: Sequence[Row]) -> Row | None:
    """Find the row that a zone refers to; None where it refers to none."""
    if not zone.by_border:
        return None
    return next((row for row in rows if row.border.name == zone.border), rows[0])


def zone_edge(zone: Zone, row: Row | None, grid: Grid, scattered: bool = False) -> Floats | None:
    """Signed distance to the edge of a zone as its border stands [m]; see `zone_distance`.

    In the middle of each cell, or at `Grid.scattered`.
    """
    points = grid.scattered if scattered else grid.centres
    if row is None or not zone.pressed:
        return zone_distance(zone, row.border if row else None, grid, points)
    edge = np.full((grid.ny, grid.nx), -max(grid.length, grid.depth))
    for hull in (crack.hull for crack in row.cracks):
        part = grid.around(hull, 4 * max(grid.spacing))
        edge[part] = np.maximum(
            edge[part], polygon_distance(hull, points[0][part], points[1][part])
        )
    return edge


def _drawn(profile: Profile, _map: Floats | None, edge: Floats | None, grid: Grid) -> Floats:
    """Give `drawn_level`; a height map is told apart as an object, so it is an input of its own."""
    return drawn_level(profile, edge, grid)


def _bounds(
    zone: Zone, row: Row | None, grid: Grid
) -> tuple[Floats | None, NDArray[np.bool_], Floats]:
    """Signed distance to the edge of a zone, its cells, and the height held beyond the edge [m]."""
    edge = zone_edge(zone, row, grid)
    holds = np.zeros((grid.ny, grid.nx))
    if edge is None:
        return None, np.ones(holds.shape, dtype=bool), holds
    if zone.pressed:  # by hand, so it stands as steep as it is pressed
        holds[:] = ENDLESS
    elif row is not None and zone.name != "along border":
        near = np.abs(edge) < 3 * max(grid.spacing)
        x, y = grid.centres
        holds[near] = row.holds(x[near], y[near])
    if zone.pressed or (row is not None and row.closed and zone.name != "along border"):
        shape = zone_edge(zone, row, grid, scattered=True)
        assert shape is not None
        return edge, shape > 0, holds
    return edge, edge > 0, holds


def _firm(row: Row, bed: BedResult) -> Row:
    """Leave out the gaps of a row in which what is pressed into them does not hold the soil."""
    beside = {
        name: [
            r for r in bed.layers if r.layer.zone.name == name
            and row_for(r.layer.zone, bed.rows) is row
        ]
        for name in ("border gaps", "behind border", "before border")
    }  # fmt: skip
    pressed, soils, sands = beside.values()
    if not pressed or not soils or row.border.strip:
        return row
    edge, soil = soils[-1].edge, soils[-1].layer.material
    assert edge is not None
    drawn = [np.max([r.drawn for r in some] or [0 * edge], axis=0) for some in (soils, sands)]
    fillers = [r.layer.material for r in pressed]
    firm = []
    for crack in row.cracks:
        upper = nearest_level(drawn[0], edge > 0, crack.at, bed.grid) or 0.0
        lower = nearest_level(drawn[1], edge <= 0, crack.at, bed.grid) or 0.0
        width = float(crack.between(min(lower, upper), upper).max())
        closes = any(all(is_filter(filler, soil, width)) for filler in fillers)
        if closes or width <= least_open(soil):
            firm.append(crack)
    return row if len(firm) == len(row.cracks) else replace(row, cracks=tuple(firm))


def _at_rest(bed: BedResult, lying: BedResult, memo: Memo) -> BedResult:
    """Let layers run through the border that they lie behind, from how they are `lying`."""
    surface, found = lying.surface, []
    for row, stack in _stacks(lying, bed.rows):
        cells = memo(_bounds, stack[0].layer.zone, row, bed.grid)[1]
        fillers = [
            (other.layer.material, other.surface) for other in lying.layers
            if other.layer.zone.pressed and row_for(other.layer.zone, bed.rows) is row
        ]  # fmt: skip
        beside = Side(row, cells, fillers, bed.columns.highest, bed.grid)
        surface, passed = let_pass(stack, beside, surface)
        found += passed
    layers = tuple(
        replace(r, passed=sum(p.volume for p in found if p.layer == r.layer.name))
        for r in bed.layers
    )
    depths = _depths(surface, bed.columns, bed.grid)
    return replace(
        bed, layers=layers, surface=surface, depths=depths, passed=tuple(found),
        poured=lying.surface,
    )  # fmt: skip


def _stacks(bed: BedResult, rows: Sequence[Row]) -> list[tuple[Row, list[LayerResult]]]:
    """Layers on either side of each border, from below."""
    found: dict[tuple[int, str], tuple[Row, list[LayerResult]]] = {}
    for result in bed.layers:
        zone, row = result.layer.zone, row_for(result.layer.zone, rows)
        if row is not None and zone.name in ("behind border", "before border"):
            found.setdefault((id(row), zone.name), (row, []))[1].append(result)
    return list(found.values())


def _measured(result: LayerResult, columns: Columns, grid: Grid) -> LayerResult:
    """Litres of one layer on one grid, and what of it slides."""
    surface, below, target = result.surface, result.below, result.drawn
    upper = columns.free_below(surface)
    volume = float((upper - columns.free_below(below)).sum()) * grid.cell_area
    wanted = lifted_out(np.maximum(target, below), columns)
    missing = columns.free_below(wanted) - upper
    lying = surface - below
    return replace(
        result,
        settled=volume,
        slide=_slide(missing, target, surface, below, columns, grid),
        slope_degrees=_slope_along(target, lying > 1e-9, grid),
        thickness=float(lying.max()),
    )


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


def _distance_at(
    zone: Zone, grid: Grid, cells: NDArray[np.bool_], right: float, up: float
) -> Floats:
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
        return Slide(
            volume, drop, *_place(*np.unravel_index(missing.argmax(), missing.shape), grid)
        )
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


def _slope_along(target: Floats, lying: NDArray[np.bool_], grid: Grid) -> float:
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


def _gain(fine: float, wide: float, wider: float) -> float:
    """Share of the step from a wide to a fine grid that leads on to the exact value.

    Richardson's for the order that grids of one, two and four spacings show, between 1 (round
    heaps) and 2 (straight edges); none where their steps do not shrink, so show no order.
    """
    step = fine - wide
    times = (wide - wider) / step if step else 4.0
    return 1 / (min(max(times, 2.0), 4.0) - 1) if times > 1 else 0.0


def _extrapolated(fine: LayerResult, wide: LayerResult, gain: float) -> LayerResult:
    """Richardson value of two grids, and what follows from it."""
    layer, step = fine.layer, fine.settled - wide.settled
    settled = max(0.0, fine.settled + gain * step)
    if settled < 1e-9:
        why = "it lies below what was poured before, or its zone is empty. Raise it or remove it."
        if layer.zone.pressed:
            why = "no gap of its border is open up to its height. Remove it."
        raise BedError(f'Layer "{layer.name}" has no thickness anywhere: {why}')
    slides = fine.slide.volume + gain * (fine.slide.volume - wide.slide.volume)
    slide = replace(fine.slide, volume=max(0.0, slides))
    gaps = settled * layer.sacks.gaps if layer.sacks else 0.0
    return _with_volume(replace(fine, error=abs(step), slide=slide, gaps=gaps), settled)


def _at_repose(layers: Sequence[Layer], end: float) -> list[Layer]:
    """Layers at the low (-1) or the high (1) end of their angles of repose."""
    found = []
    for layer in layers:
        repose = layer.material.repose
        ended = None if repose is None else Range.exact(repose.at(end))
        found.append(replace(layer, material=replace(layer.material, repose=ended)))
    return found


def _with_range(
    results: Sequence[LayerResult], usual: BedResult, ends: Sequence[BedResult]
) -> list[LayerResult]:
    """Give litres the range that the ends of their repose make on one coarse grid."""
    found = []
    for i, result in enumerate(results):
        gains = [0.0, *(end.layers[i].settled - usual.layers[i].settled for end in ends)]
        spread = Range(min(gains), 0.0, max(gains)).plus(result.settled)
        found.append(replace(result, settled_range=spread))
    return found


def _sacks_filled(results: Sequence[LayerResult]) -> list[LayerResult]:
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
    """Set the settled volume [m³] and with it what is poured and its mass."""
    poured = (settled - result.gaps) / (1 - result.layer.settling)
    bulk = result.layer.material.bulk_density
    assert bulk is not None
    spread = result.settled_range.plus(settled - result.settled_range.mid)
    return replace(
        result, settled=settled, settled_range=spread, poured=poured, mass=bulk.times(poured)
    )


def _less_lumps(results: list[LayerResult], lumps: float) -> list[LayerResult]:
    """Take the volume of stones without a place out of the layers [m³]."""
    whole = sum(result.settled for result in results)
    if lumps <= 0 or not results:
        return results
    if lumps >= whole:
        message = (
            f"Stones without a place fill {lumps * 1e3:.1f} L of the bed, which holds only "
            f"{whole * 1e3:.1f} L; lower below_soil."
        )
        raise BedError(message)
    return [_with_volume(r, r.settled * (1 - lumps / whole)) for r in results]


def _depths(surface: Floats, columns: Columns, grid: Grid) -> tuple[tuple[str, float], ...]:
    """Mean height of the bed at front, middle and back, beside the stones [m]."""
    free = columns.solid == 0
    found = []
    for name, row in (("front", 0), ("middle", grid.ny // 2), ("back", grid.ny - 1)):
        cells = surface[row][free[row]]
        if len(cells):
            found.append((name, float(cells.mean())))
    return tuple(found)


def _bare(result: BedResult) -> NDArray[np.bool_]:
    """Cells where a stone stands out of the bed."""
    bare: NDArray[np.bool_] = result.columns.highest > result.surface - 1e-9
    return bare
