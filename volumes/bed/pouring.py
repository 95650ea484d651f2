"""The bed: litres and kilograms of every layer around the stones that stand in it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.columns import Columns, Grid, Window, columns_of, merged_columns
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.limits import MOST_CELLS, raised
from plumbstone.meshes.piece import Floats, Piece
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.heightfield import lifted_out, stable_surface
from plumbstone.volumes.scape.layers import Border, Layer, Spot, drawn_level, zone_distance

FINEST, COMMON = 0.001, 0.002  # [m]
ACROSS = 10  # cells across the narrowest piece
CELLS = 200_000


class BedError(PlumbstoneError, ValueError):
    """A bed that cannot be laid as drawn."""


@dataclass(frozen=True, slots=True)
class Slide:
    """What does not stay where it is drawn."""

    volume: float  # [m³]
    drop: float  # how much lower the surface ends at the worst place [m]
    where: str  # in words, such as "back right"
    at: tuple[float, float]  # that place [m]


@dataclass(frozen=True, slots=True, eq=False)
class LayerResult:
    """One layer as it comes to lie."""

    layer: Layer
    surface: Floats  # (rows, columns), above the glass, stones showing through [m]
    below: Floats  # the surface it lies on [m]
    settled: float  # [m³], extrapolated from two grids
    error: float  # difference of the two grids [m³]
    poured: float  # [m³]
    mass: Range  # dry [kg]
    slide: Slide
    slope_degrees: float  # drawn, from front to back in the middle of its zone
    thickness: float  # greatest [m]
    drawn: Floats  # the wanted surface, stones left out [m]

    @property
    def sacks(self) -> int:
        """How many sacks of filler are laid; 0 where it is poured loose."""
        sacks = self.layer.sacks
        return 0 if sacks is None else math.ceil(self.poured / sacks.holds - 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class BedResult:
    """The whole bed."""

    grid: Grid
    columns: Columns
    layers: tuple[LayerResult, ...]
    surface: Floats  # final, above the glass, stones showing through [m]
    depths: tuple[tuple[str, float], ...]  # front, middle, back: mean beside stones [m]

    @property
    def settled(self) -> float:
        """Volume of all layers, voids counted [m³]."""
        return sum(result.settled for result in self.layers)


def cut_piece(piece: Piece, volume: float, grid: Grid) -> Window:
    """Cut a piece into columns that hold its exact volume [m³]."""
    return columns_of(piece.vertices, piece.faces, grid, volume, scattered=True)


Cut = Callable[[Piece, float, Grid], Window]


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
    border: Border | None,
    bodies: Sequence[tuple[Piece, float]] = (),
    spacing: float | None = None,
    buried_lumps: float = 0.0,
    exact: bool = True,
    cut: Cut = cut_piece,
) -> BedResult:
    """Lay all layers in order around the bodies.

    Parameters
    ----------
    floor : (float, float)
        Inside length and depth of the tank [m].
    layers : sequence of Layer
        In pouring order.
    border : Border, optional
        The line that some zones refer to.
    bodies : sequence of (Piece, float)
        Everything that stands in the bed, placed, each with its exact volume [m³].
    spacing : float, optional
        Width of a cell [m]; chosen from the floor if not given.
    buried_lumps : float
        Volume of stones without a place that lies in the bed [m³]; taken from the
        layers in proportion to their volume.
    exact : bool
        Whether two wider grids are solved too and litres are extrapolated.
    cut : callable
        Gives the columns of a piece of a volume [m³] on a grid.

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
    _check(floor, layers, border)
    fine, *wider = (
        _pour(Grid.of_spacing(*floor, times * spacing), layers, border, bodies, cut)
        for times in ((1, 2, 4) if exact else (1,))
    )
    gain, wide = 0.0, fine
    if exact:
        gain, wide = _gain(fine.settled, *(bed.settled for bed in wider)), wider[0]
    pairs = zip(fine.layers, wide.layers, strict=True)
    results = [_extrapolated(one, other, gain) for one, other in pairs]
    return replace(fine, layers=tuple(_less_lumps(results, buried_lumps)))


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
    line = soil_line(result)
    grid, columns = result.grid, result.columns
    found = []
    for spot in spots:
        row, column = grid.cell_at(*spot.at)
        height = float(line[row, column])
        tops = columns.tops[:, row, column]
        buried = tops[tops < height]
        found.append(SpotDepth(spot, height, height - float(buried.max(initial=0.0))))
    return tuple(found)


def soil_line(result: BedResult) -> Floats:
    """Surface of the bed above the glass as it lies beside the pieces, carried on below them [m].

    Cells in which a piece stands out take the height of the nearest cell in which none does.
    """
    from scipy.ndimage import distance_transform_edt

    taken = _bare(result) & (result.columns.solid_below(np.inf) > 0)
    if taken.all():
        return result.surface
    nearest = distance_transform_edt(taken, return_distances=False, return_indices=True)
    line: Floats = result.surface[tuple(nearest)]
    return line


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


def _check(floor: tuple[float, float], layers: Sequence[Layer], border: Border | None) -> None:
    """Refuse what cannot be solved."""
    for layer in layers:
        if layer.zone.name.endswith("border") and border is None:
            message = f'Layer "{layer.name}" lies {layer.zone.name}, but there is no [border] line.'
            raise BedError(message)
    if border is not None:
        inside = [0 <= y <= floor[1] for _, y in border.line]
        if border.line[0][0] > 0.02 or border.line[-1][0] < floor[0] - 0.02 or not all(inside):
            message = (
                f"The border line must cross the tank from the left pane (x = 0) to the right "
                f"one (x = {floor[0] * 1e2:g} cm) on the floor; move its points."
            )
            raise BedError(message)


def _pour(
    grid: Grid,
    layers: Sequence[Layer],
    border: Border | None,
    bodies: Sequence[tuple[Piece, float]],
    cut: Cut,
) -> BedResult:
    """Lay all layers on one grid."""
    windows = [cut(piece, volume, grid) for piece, volume in bodies]
    columns = merged_columns(windows, grid)
    level = np.zeros((grid.ny, grid.nx))  # what a depth counts from: the surface without stones
    surface = lifted_out(level, columns)
    results = []
    for layer in layers:
        if layer.profile is None:
            continue
        edge = zone_distance(layer.zone, border, grid)
        held = border is not None and border.held and layer.zone.name == "behind border"
        shape = zone_distance(layer.zone, border, grid, grid.scattered) if held else edge
        inside = np.ones(level.shape, dtype=bool) if shape is None else shape > 0
        drawn = drawn_level(layer.profile, edge, grid)
        target = drawn if layer.profile.above_glass else level + drawn
        target = np.where(inside, np.maximum(target, level), level)
        below = surface
        wanted = np.where(inside, np.maximum(target, below), below)
        surface = stable_surface(
            wanted,
            below,
            layer.slope,
            grid.spacing,
            columns=columns,
            edge=edge,
            walls=~inside if held else None,
        )
        results.append(_measured(layer, target, surface, below, columns, grid))
        level = np.where(inside, np.minimum(np.maximum(surface, level), target), level)
    return BedResult(grid, columns, tuple(results), surface, _depths(surface, columns, grid))


def _measured(
    layer: Layer, target: Floats, surface: Floats, below: Floats, columns: Columns, grid: Grid
) -> LayerResult:
    """Litres of one layer on one grid, and what of it slides."""
    lower = columns.free_below(below)
    volume = float((columns.free_below(surface) - lower).sum()) * grid.cell_area
    wanted = lifted_out(np.maximum(target, below), columns)
    missing = columns.free_below(wanted) - columns.free_below(surface)
    lying = surface - below
    return LayerResult(
        layer=layer,
        surface=surface,
        below=below,
        settled=volume,
        error=0.0,
        poured=0.0,
        mass=Range.exact(0.0),
        slide=_slide(missing, grid),
        slope_degrees=_slope_along(target, lying > 1e-9, grid),
        thickness=float(lying.max()),
        drawn=target,
    )


def _slide(missing: Floats, grid: Grid) -> Slide:
    """Sum up what slides, (rows, columns) [m], and where it ends lowest."""
    row, column = np.unravel_index(int(missing.argmax()), missing.shape)
    x, y = grid.x[column], grid.y[row]
    side = ("left", "middle", "right")[min(2, int(3 * x / grid.length))]
    rank = ("front", "middle", "back")[min(2, int(3 * y / grid.depth))]
    where = rank if side == "middle" else side if rank == "middle" else f"{rank} {side}"
    volume = float(missing.sum()) * grid.cell_area
    return Slide(volume, float(missing[row, column]), where, (float(x), float(y)))


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
    heaps) and 2 (straight edges).
    """
    step = fine - wide
    times = (wide - wider) / step if step else 4.0
    return 1 / (min(max(times, 2.0), 4.0) - 1)


def _extrapolated(fine: LayerResult, wide: LayerResult, gain: float) -> LayerResult:
    """Richardson value of two grids, and what follows from it."""
    layer, step = fine.layer, fine.settled - wide.settled
    settled = max(0.0, fine.settled + gain * step)
    if settled < 1e-9:
        message = (
            f'Layer "{layer.name}" has no thickness anywhere: it lies below what was poured '
            "before, or its zone is empty. Raise it or remove it."
        )
        raise BedError(message)
    slides = fine.slide.volume + gain * (fine.slide.volume - wide.slide.volume)
    slide = replace(fine.slide, volume=max(0.0, slides))
    return _with_volume(replace(fine, error=abs(step), slide=slide), settled)


def _with_volume(result: LayerResult, settled: float) -> LayerResult:
    """Set the settled volume [m³] and with it what is poured and its mass."""
    sacks = result.layer.sacks
    filled = settled if sacks is None else settled * (1 - sacks.gaps)
    poured = filled / (1 - result.layer.settling)
    bulk = result.layer.material.bulk_density
    assert bulk is not None
    return replace(result, settled=settled, poured=poured, mass=bulk.times(poured))


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
    free = columns.solid_below(np.inf) == 0
    found = []
    for name, row in (("front", 0), ("middle", grid.ny // 2), ("back", grid.ny - 1)):
        cells = surface[row][free[row]]
        if len(cells):
            found.append((name, float(cells.mean())))
    return tuple(found)


def _bare(result: BedResult) -> NDArray[np.bool_]:
    """Cells where a stone stands out of the bed."""
    bare: NDArray[np.bool_] = result.columns.highest() > result.surface - 1e-9
    return bare
