"""The bed: litres and kilograms of every layer around the stones that stand in it."""

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from plumbstone.meshes.limits import MOST_CELLS, raised
from plumbstone.meshes.measures.columns import Grid, Window, columns_of, merged_columns
from plumbstone.meshes.piece import Flags, Floats, Piece
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed import litres, passing
from plumbstone.volumes.bed.edges import Site, bounds_of, limit_of, lying_on
from plumbstone.volumes.bed.heightfield import empty_below, lifted_out, stable_surface
from plumbstone.volumes.bed.results import BedError, BedResult, LayerResult
from plumbstone.volumes.bed.row import Row, row_for, row_of
from plumbstone.volumes.bed.zones import ON_EDGE, drawn_level
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.layers import Border, Layer, Profile

FINEST, COMMON = 0.001, 0.002  # [m]
HELD = 0.005  # [m]: a layer beside another that is lower holds nothing of it
ACROSS = 10  # cells across the narrowest piece
CELLS = 200_000


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
    pour = partial(_pour, bodies=bodies, set_later=set_later, memo=memo)
    times = (1, 2, 4) if exact and measured else (1,)
    grids = (Grid.of_spacing(*floor, wider * spacing) for wider in times)
    beds = [pour(grid, layers, rows, measured=measured) for grid in grids]
    fine, firm = beds[0], tuple(_firm(row, beds[0]) for row in rows)
    lying = fine  # what is pressed into a gap and does not close it holds nothing
    if any(one is not other for one, other in zip(firm, rows, strict=True)):
        lying = pour(fine.grid, layers, firm, measured=False)
    if measured:
        ends = [
            pour(beds[-1].grid, _at_repose(layers, end), rows, measured=True)
            for end in ((-1, 1) if exact else ())
        ]
        results = litres.sacks_filled(
            litres.less_lumps(litres.gaps_shared(_in_litres(beds, ends)), buried_lumps)
        )
        fine = replace(fine, layers=tuple(results))
    return _at_rest(fine, lying, memo)


def _in_litres(beds: Sequence[BedResult], ends: Sequence[BedResult]) -> list[LayerResult]:
    """Litres of the layers by one grid, or by three; with their ranges by both ends of repose."""
    gain, (fine, wide) = 0.0, (beds[0], beds[0])
    if len(beds) > 1:
        gain, wide = litres.gain_of(*(bed.settled for bed in beds)), beds[1]
    pairs = zip(fine.layers, wide.layers, strict=True)
    results = [litres.extrapolated(one, other, gain) for one, other in pairs]
    return litres.with_range(results, beds[-1], ends) if ends else results


def check_spacing(floor: tuple[float, float], spacing: float) -> None:
    """Refuse a width of grid cells [m] that no bed can be solved with.

    Raises
    ------
    BedError
        If it doesn't fit the floor or makes too many cells.
    """
    if not 1e-4 <= spacing <= min(floor) / 8:
        raise BedError(f"A grid of {spacing * 1e3:g} mm does not fit the floor; choose 1 to 10 mm.")
    most = raised(MOST_CELLS)
    if floor[0] * floor[1] / spacing**2 > most:
        raise BedError(
            f"A grid of {spacing * 1e3:g} mm has over {most} cells; choose a wider one, or raise "
            "<limits>."
        )


def _check(floor: tuple[float, float], layers: Sequence[Layer], borders: Sequence[Border]) -> None:
    """Refuse what cannot be solved."""
    for layer in layers:
        if layer.zone.by_border and not borders:
            message = f'Layer "{layer.name}" lies {layer.zone.name}, but there is no [border] line.'
            raise BedError(message)
    for border in borders:
        inside = [0 <= y <= floor[1] for _, y in border.line]
        if border.line[0][0] > 0.02 or border.line[-1][0] < floor[0] - 0.02 or not all(inside):
            raise BedError(
                f"The border line must cross the tank from the left pane (x = 0) to the right "
                f"one (x = <{floor[0] * 1e2:g} cm>) on the floor; move its points."
            )


def _check_gaps(layers: Sequence[Layer], rows: Sequence[Row]) -> None:
    """Refuse to press a layer into the gaps of a row that has no stones."""
    for layer in layers:
        row = row_for(layer.zone, rows)
        if not layer.zone.pressed or row is None or row.gaps:
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
    site = _site_of(grid, rows, bodies, set_later, memo)
    level = np.zeros((grid.ny, grid.nx))  # what a depth counts from: the surface without stones
    ground = surface = lifted_out(level, site.columns)
    results = {}
    empty = 0.0  # space below stones that was left so far
    drawn = [k for k, layer in enumerate(layers) if layer.profile is not None]
    order = sorted(drawn, key=lambda k: not layers[k].zone.pressed)  # gaps are filled first
    for number, k in enumerate(order, 1):
        later = [layers[j] for j in order[number:]]
        result = _lay(layers[k], level, surface, site, measured, later)
        if layers[k].zone.pressed and not (result.surface > surface + 1e-6).any():
            result = _lay(layers[k], level, ground, site, measured)  # behind what is in there
        surface = np.maximum(surface, result.surface)
        if not result.layer.zone.pressed:
            if measured:
                void = empty_below(surface, site.standing, result.layer.slope, grid)
                result = replace(result, settled=result.settled - void + empty, void=void)
                empty = void
            level = np.minimum(np.maximum(surface, level), result.drawn)
        results[k] = result
    poured = [results[k] for k in sorted(results)]
    if measured:
        poured = [litres.with_slope(result, surface, site.columns, grid) for result in poured]
    return BedResult(grid, site.columns, tuple(poured), surface, tuple(rows))


def _site_of(
    grid: Grid,
    rows: Sequence[Row],
    bodies: Sequence[tuple[Piece, float]],
    set_later: Collection[str],
    memo: Memo,
) -> Site:
    """Cut all bodies into columns, and those apart that stand while the layers are poured."""
    cut = {piece: memo(cut_piece, piece, volume, grid) for piece, volume in bodies}
    firm = tuple(window for piece, window in cut.items() if piece.name not in set_later)
    columns, standing = (memo(merged_columns, some, grid) for some in (tuple(cut.values()), firm))
    return Site(grid, tuple(cut), columns, standing, rows, memo)


def _lay(
    layer: Layer,
    level: Floats,
    below: Floats,
    site: Site,
    measured: bool,
    later: Sequence[Layer] = (),
) -> LayerResult:
    """Lay one layer on what lies `below` [m], drawn from a level without stones [m].

    Of what is poured `later`, layers beside it hold it at their common edge.
    """
    profile, row, grid = layer.profile, row_for(layer.zone, site.rows), site.grid
    assert profile is not None
    bounds = edge, inside, holds = site.memo(bounds_of, layer.zone, row, grid)
    drawn = site.memo(_drawn, profile, profile.heightmap, edge, grid)
    full = lying_on(level, drawn, profile)
    limit, steep = limit_of(full, level, layer, row, bounds, site)
    wanted = np.where(inside, np.maximum(limit, below), below)
    walls = ~inside & (holds >= wanted.max())
    beside, names = _beside(layer, wanted, later, level, below, site)
    if names:
        holds = np.maximum(holds, beside)
    surface = stable_surface(
        wanted,
        below,
        layer.slope,
        grid.spacing,
        columns=site.columns,
        edge=edge,
        walls=walls if walls.any() else None,
        beyond=np.where(inside, 0.0, holds) if holds.any() else None,
        shadows=limit if steep else None,
    )
    result = LayerResult(layer, surface, below, np.where(inside, full, level), edge, beside=names)
    return litres.measured_on(result, full, site.columns, grid) if measured else result


def _beside(
    layer: Layer, wanted: Floats, later: Sequence[Layer], level: Floats, below: Floats, site: Site
) -> tuple[Floats, tuple[str, ...]]:
    """Find which layers, poured in turn with one, hold it, and how high they lie beside it [m].

    Layers whose zones share an edge, and no border, lie as one at the flattest of their slopes.
    """
    edge = site.memo(bounds_of, layer.zone, row_for(layer.zone, site.rows), site.grid)[0]
    if edge is None or layer.zone.by_border:
        return wanted, ()
    edges, together, near = [edge], wanted, 2 * max(site.grid.spacing)
    touching: list[tuple[Layer, Flags]] = []
    for other in later:
        if other.profile is None or other.zone.by_border:
            continue
        theirs, cells, _ = site.memo(bounds_of, other.zone, None, site.grid)
        along = cells & (edge <= 0) & (edge > -near)
        if theirs is None or (cells & (edge > ON_EDGE)).any() or not along.any():
            continue
        drawn = site.memo(_drawn, other.profile, other.profile.heightmap, theirs, site.grid)
        full = np.where(cells, lying_on(level, drawn, other.profile), below)
        together, edges = np.maximum(together, full), [*edges, theirs]
        touching.append((other, along))
    if not touching:
        return wanted, ()
    slope = min(one.slope for one in (layer, *(other for other, _ in touching)))
    lies = stable_surface(
        together, below, slope, site.grid.spacing, columns=site.columns,
        edge=np.maximum.reduce(edges),
    )  # fmt: skip
    names = (other.name for other, along in touching if (lies > below + HELD)[along].any())
    return lies, tuple(names)


def _drawn(profile: Profile, _map: Floats | None, edge: Floats | None, grid: Grid) -> Floats:
    """Give `drawn_level`; a height map is told apart as an object, so it is an input of its own."""
    return drawn_level(profile, edge, grid)


def _firm(row: Row, bed: BedResult) -> Row:
    """Leave out the gaps of a row in which what is pressed into them does not hold the soil."""
    pressed, soils, sands = (
        passing.lying_in(zone, row, bed.layers, bed.rows)
        for zone in ("border gaps", "behind border", "before border")
    )
    if not pressed or not soils or row.border.strip:
        return row
    edge, soil = soils[-1].edge, soils[-1].layer.material
    assert edge is not None
    drawn = [np.max([r.drawn for r in some] or [0 * edge], axis=0) for some in (soils, sands)]
    fillers = passing.fillers_of(pressed)
    firm = []
    for gap in row.gaps:
        upper = passing.nearest_level(drawn[0], edge > 0, gap.at, bed.grid) or 0.0
        lower = passing.nearest_level(drawn[1], edge <= 0, gap.at, bed.grid) or 0.0
        width = float(gap.between(min(lower, upper), upper).max())
        closed = passing.closed_up_to(fillers, soil, width, gap.at, bed.grid)
        if closed > 0 or width <= passing.least_open(soil):
            firm.append(gap)
    return row if len(firm) == len(row.gaps) else replace(row, gaps=tuple(firm))


def _at_rest(bed: BedResult, lying: BedResult, memo: Memo) -> BedResult:
    """Let layers run through the border that they lie behind, from how they are `lying`."""
    surface, found = lying.surface, []
    for row, stack in _stacks(lying, bed.rows):
        cells = memo(bounds_of, stack[0].layer.zone, row, bed.grid)[1]
        fillers = passing.fillers_of(passing.lying_in("border gaps", row, lying.layers, bed.rows))
        beside = passing.Side(row, cells, fillers, bed.columns.highest, bed.grid)
        surface, passed = passing.let_pass(stack, beside, surface)
        found += passed
    layers = tuple(
        replace(r, passed=sum(p.volume for p in found if p.layer == r.layer.name))
        for r in bed.layers
    )
    return replace(bed, layers=layers, surface=surface, passed=tuple(found), poured=lying.surface)


def _stacks(bed: BedResult, rows: Sequence[Row]) -> list[tuple[Row, list[LayerResult]]]:
    """Layers on either side of each border, from below."""
    found: dict[tuple[int, str], tuple[Row, list[LayerResult]]] = {}
    for result in bed.layers:
        zone, row = result.layer.zone, row_for(result.layer.zone, rows)
        if row is not None and zone.name in ("behind border", "before border"):
            found.setdefault((id(row), zone.name), (row, []))[1].append(result)
    return list(found.values())


def _at_repose(layers: Sequence[Layer], end: float) -> list[Layer]:
    """Layers at the low (-1) or the high (1) end of their angles of repose."""
    found = []
    for layer in layers:
        repose = layer.material.repose
        ended = None if repose is None else Range.exact(repose.at(end))
        found.append(replace(layer, material=replace(layer.material, repose=ended)))
    return found
