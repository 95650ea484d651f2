"""Where layers end, and how high they can lie there: edges of zones, walls, stones and gaps."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.columns import Columns, Grid
from plumbstone.meshes.piece import Flags, Floats, Piece
from plumbstone.volumes.bed import zones
from plumbstone.volumes.bed.loops import lower_at_wall, steep_cells
from plumbstone.volumes.bed.passing import least_open, strings_of
from plumbstone.volumes.bed.row import ENDLESS, WIDEST, Gap, Row, standing_out
from plumbstone.volumes.bed.slump import ways_around
from plumbstone.volumes.bed.taut import corners_of
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.layers import Layer, Profile, Zone

Bounds = tuple[Floats | None, Flags, Floats]  # of `bounds_of`

TERRACE = 3.0  # times the slope of repose: steeper is a step that is drawn
AROUND = 30  # cells around a gap in which what rises from it is exact


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """What is the same for all layers of one bed on one grid."""

    grid: Grid
    pieces: Sequence[Piece]  # all that stands in the bed
    columns: Columns  # of these
    standing: Columns  # of those that stand while the layers are poured
    rows: Sequence[Row]
    memo: Memo


def zone_edge(zone: Zone, row: Row | None, grid: Grid, scattered: bool = False) -> Floats | None:
    """Signed distance to the edge of a zone as its border stands [m]; see `zone_distance`.

    In the middle of each cell, or at `Grid.scattered`.
    """
    points = grid.scattered if scattered else grid.centres
    if row is None or not zone.pressed:
        return zones.zone_distance(zone, row.border if row else None, grid, points)
    edge = np.full((grid.ny, grid.nx), -max(grid.length, grid.depth))
    for hull in (gap.hull for gap in row.gaps):
        part = grid.around(hull, 4 * max(grid.spacing))
        edge[part] = np.maximum(
            edge[part], zones.polygon_distance(hull, points[0][part], points[1][part])
        )
    return edge


def bounds_of(zone: Zone, row: Row | None, grid: Grid) -> Bounds:
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


def lying_on(level: Floats, drawn: Floats, profile: Profile) -> Floats:
    """Give the heights of a layer as it is drawn over the level that it counts from [m]."""
    return np.maximum(drawn if profile.above_glass else level + drawn, level)


def limit_of(
    full: Floats, level: Floats, layer: Layer, row: Row | None, bounds: Bounds, site: Site
) -> tuple[Floats, bool]:
    """Find how high a layer can lie beside what ends it, and whether stones bar its grains.

    Parameters
    ----------
    full : (rows, columns) float array
        As it is drawn [m].
    level : (rows, columns) float array
        The surface without stones that it lies on [m].
    layer : Layer
    row : Row or None
        The border that its zone refers to.
    bounds : Bounds
        Of its zone, as of `bounds_of`.
    site : Site

    Returns
    -------
    limit : (rows, columns) float array
        At most as drawn, or as its steps and paths need to stand [m].
    steep : bool
        Whether it is drawn too steep to stay anywhere, so that it runs around stones.
    """
    (edge, inside, holds), profile, grid = bounds, layer.profile, site.grid
    assert profile is not None
    limit = full.copy()
    if profile.terraces or profile.paths:
        limit = lying_on(level, zones.drawn_level(profile, edge, grid, layer.slope), profile)
    if holds.any() and edge is not None:
        _from_wall(limit, full, edge, layer.slope, grid)
    least, most = layer.slope * (1 + 1e-9), layer.slope * TERRACE
    steep = steep_cells(full, inside, *grid.spacing, least, most)
    if steep.any():
        _from_stones(limit, full, inside, row, layer, site)
        return limit, True
    return limit, False


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
    limit: Floats, full: Floats, inside: Flags, row: Row | None, layer: Layer, site: Site
) -> None:
    """Lower what is drawn too steep, in place, to what rises from stones and gaps before it."""
    for piece in site.pieces:
        _from_stone(limit, full, piece, layer.slope, site.grid, site.memo)
    barred = site.columns.highest >= full
    for gap in row.gaps if row else ():
        if least_open(layer.material) < gap.openings.min() <= WIDEST:
            _from_gap(limit, full, gap, inside, barred, layer.slope, site.grid)


def _from_stone(
    limit: Floats, full: Floats, piece: Piece, slope: float, grid: Grid, memo: Memo
) -> None:
    """Do the same beside a stone that stands out, in place."""
    height = float(full[grid.cell_at(*piece.vertices[:, :2].mean(axis=0))])
    part, away = memo(_away_from, piece, height, grid)
    if min(away.shape) >= 2:
        _from_wall(limit, full[part], away, slope, grid, part[0].start, part[1].start)


def _away_from(piece: Piece, height: float, grid: Grid) -> tuple[tuple[slice, slice], Floats]:
    """Cells around what a stone shows over a height, and how far from it they lie [m]."""
    points = standing_out(piece, height)
    corners = points[corners_of(points)]
    if len(corners) < 3:
        return (slice(0), slice(0)), np.empty((0, 0))
    part = grid.around(corners, 3 * max(grid.spacing))
    x, y = (place[part] for place in grid.centres)
    return part, -zones.polygon_distance(corners, x, y)


def _from_gap(
    limit: Floats,
    full: Floats,
    gap: Gap,
    inside: Flags,
    barred: Flags,
    slope: float,
    grid: Grid,
) -> None:
    """Lower what is drawn behind a gap, in place, to what rises from the gap around its stones."""
    from scipy.ndimage import map_coordinates

    ends = gap.ends[int(gap.openings.argmin())]
    places = (ends / grid.spacing - 0.5).T[::-1]
    heights = map_coordinates(full, places, order=1, mode="nearest")
    far = AROUND * max(grid.spacing)
    part = grid.around(ends, far)
    x, y = (place[part] for place in grid.centres)
    share, away = zones.nearest_along(ends[0], ends[1], x, y)
    foot = heights[0] + np.clip(share, 0, 1) * (heights[1] - heights[0])
    straight = foot + slope * away
    if not (inside[part] & (full[part] > straight)).any():
        return
    strings = strings_of(gap, ends, *heights)
    if strings is None:
        return
    ways = ways_around(ends.ravel(), strings, far, barred, inside, grid)[2]
    limit[part] = np.where(inside[part], np.minimum(limit[part], foot + slope * ways), limit[part])
