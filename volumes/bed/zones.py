"""How layers are drawn on a grid: where each zone lies, and the surface that is asked for there."""

import itertools

import numpy as np

from plumbstone.meshes.loops import signed_distances
from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.scape.layers import Border, Profile, Zone

ON_EDGE = 1e-9  # [m]: places on the edge that two zones share are of both
FAR = 100.0  # [m], beyond any pane


def zone_distance(
    zone: Zone, border: Border | None, grid: Grid, points: tuple[Floats, Floats] | None = None
) -> Floats | None:
    """Signed distance to the edge of a zone [m], positive inside.

    At the middle of each cell, or at points (x, y) of its own if given. Returns None for a
    zone without an edge (the whole floor). The panes are walls, not edges, so zones that
    reach a pane are drawn on beyond it.
    """
    if zone.name == "all":
        return None
    x, y = grid.centres if points is None else points
    if zone.polygon:
        found = polygon_distance(np.array(zone.polygon), x, y)
        return np.where(np.abs(found) < ON_EDGE, ON_EDGE, found)
    if zone.name == "along line":
        return zone.width / 2 - line_distance(np.array(zone.line), x, y)
    if zone.by_border:
        assert border is not None
        behind = _border_distance(border, x, y)
        if zone.name == "along border":
            return zone.width / 2 - np.abs(behind)
        return behind if zone.name == "behind border" else -behind
    gap = {"front": y, "back": grid.depth - y, "left": x, "right": grid.length - x}
    return zone.width - gap[zone.name.split()[0]]


def drawn_level(profile: Profile, edge: Floats | None, grid: Grid, slope: float = np.inf) -> Floats:
    """Depth or height that a profile asks for at each cell [m].

    The edge is the signed distance to that of the zone [m], (rows, columns), as of `zone_distance`;
    the front and back of the profile are those of the zone. No step of terraces and paths rises
    faster than the slope [-] from its foot, wherever in a cell that lies. Never below zero.
    """
    first, last = _extent(edge, grid)
    v = np.clip((grid.y[:, None] - first) / (last - first), 0, 1)
    left, right = _extent(edge, grid, across=True)
    u = np.clip((grid.x - left.T) / (right - left).T, 0, 1)
    x, y = np.meshgrid(grid.x, grid.y)
    if profile.heightmap is not None:
        level = _heightmap_level(profile.heightmap, u, v)
    elif profile.points:
        level = _through_points(profile.points, x, y)
    elif profile.terraces:
        level = _terraced(profile.terraces, v * (last - first), slope)
    else:
        level = _between_sides(profile, u, v)
    for mound in profile.mounds:
        reach = np.hypot(x - mound.at[0], y - mound.at[1]) / mound.radius
        level = level + np.where(reach < 1, mound.rise * (1 + np.cos(np.pi * reach)) / 2, 0.0)
    for path in profile.paths:
        beyond = line_distance(np.array(path.line), x, y) - path.width / 2
        ramp = slope * np.maximum(np.abs(beyond), 1e-12)
        inside, outside = np.minimum(path.level, level + ramp), np.minimum(level, path.level + ramp)
        level = np.where(beyond <= 0, inside, outside)
    return np.maximum(level, 0.0)


def _border_distance(border: Border, x: Floats, y: Floats) -> Floats:
    """Signed distance to the border line [m], positive behind it."""
    line = [(-FAR, border.line[0][1]), *border.line, (FAR, border.line[-1][1])]
    around = np.array([*line, (FAR, FAR), (-FAR, FAR)])
    return polygon_distance(around, x, y)


def polygon_distance(polygon: Floats, x: Floats, y: Floats) -> Floats:
    """Signed distance to a polygon [m], positive inside."""
    corners = np.ascontiguousarray(polygon, dtype=np.float64)
    return signed_distances(corners, x.ravel(), y.ravel()).reshape(x.shape)


def nearest_along(start: Floats, end: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Share of the way from a start to an end (2,) [m], any, that is nearest to places.

    And how far off the places are [m], from the start or the end where that is not 0 to 1.
    """
    step = end - start
    share = ((x - start[0]) * step[0] + (y - start[1]) * step[1]) / max(float(step @ step), 1e-18)
    along = np.clip(share, 0, 1)
    return share, np.hypot(x - start[0] - along * step[0], y - start[1] - along * step[1])


def line_distance(line: Floats, x: Floats, y: Floats) -> Floats:
    """Distance to a polyline [m]."""
    nearest = np.full(x.shape, np.inf)
    for start, end in itertools.pairwise(line):
        nearest = np.minimum(nearest, nearest_along(start, end, x, y)[1])
    return nearest


def _extent(edge: Floats | None, grid: Grid, *, across: bool = False) -> tuple[Floats, Floats]:
    """Where the zone begins and ends in each column of cells [m], (1, nx).

    Across, in each row instead, (1, ny). Columns without it take the ends of their neighbours.
    """
    size, step = (grid.length, grid.spacing[0]) if across else (grid.depth, grid.spacing[1])
    if edge is None:
        ends = np.zeros((1, grid.ny if across else grid.nx))
        return ends, ends + size
    inner = edge.T if across else edge
    has = (inner > 0).any(axis=0)
    lines = np.arange(inner.shape[1])
    if not has.any():
        return np.zeros((1, len(lines))), np.full((1, len(lines)), size)
    first = np.interp(lines, lines[has], _first_inside(inner[:, has], step))
    last = size - np.interp(lines, lines[has], _first_inside(inner[::-1, has], step))
    return first[None], last[None]


def _first_inside(inner: Floats, step: float) -> Floats:
    """Place along the first axis where a signed distance turns positive [m]; 0 at a pane."""
    row = (inner > 0).argmax(axis=0)
    here = np.take_along_axis(inner, row[None], axis=0)[0]
    before = np.take_along_axis(inner, np.maximum(row - 1, 0)[None], axis=0)[0]
    share = np.where(row > 0, here / np.maximum(here - before, 1e-12), 0.5)
    return np.asarray((row + 0.5 - share) * step, dtype=float)


def _between_sides(profile: Profile, u: Floats, v: Floats) -> Floats:
    """Bilinear between the corners, bent to the levels in the middle of left and right."""
    fl, fr, bl, br = profile.corners
    level = (1 - v) * ((1 - u) * fl + u * fr) + v * ((1 - u) * bl + u * br)
    middles = ((profile.left, (fl + bl) / 2, 1 - 2 * u), (profile.right, (fr + br) / 2, 2 * u - 1))
    for wanted, bilinear, weight in middles:
        if wanted is not None:
            # Full at the middle of the side, nothing at the corners and in the middle of the tank.
            level = level + (wanted - bilinear) * np.clip(weight, 0, 1) * 4 * v * (1 - v)
    return level


def _terraced(
    terraces: tuple[tuple[float, float], ...], behind_front: Floats, slope: float
) -> Floats:
    """Level of the last terrace that begins at or before each place; steps rise from their feet."""
    starts = np.array([start for start, _ in terraces])
    levels = np.array([level for _, level in terraces])
    which = np.searchsorted(starts, behind_front, side="right") - 1
    level = levels[np.clip(which, 0, None)]
    for (_, one), (start, other) in itertools.pairwise(terraces):
        away = behind_front - start if other > one else start - behind_front
        ramp = min(one, other) + slope * np.maximum(away, 1e-12)
        level = np.where(away > 0, np.minimum(level, ramp), level)
    return level


def _through_points(points: tuple[tuple[float, float, float], ...], x: Floats, y: Floats) -> Floats:
    """Smooth surface through points, kept between the lowest and the highest of them."""
    from scipy.interpolate import RBFInterpolator

    known = np.array(points)
    if len(known) < 4 or np.linalg.matrix_rank(known[:, :2] - known[0, :2], tol=1e-9) < 2:
        weights = 1 / (np.hypot(x[..., None] - known[:, 0], y[..., None] - known[:, 1]) ** 2 + 1e-9)
        return (weights * known[:, 2]).sum(axis=-1) / weights.sum(axis=-1)
    fit = RBFInterpolator(known[:, :2], known[:, 2])
    level = fit(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)
    return np.clip(level, known[:, 2].min(), known[:, 2].max())


def _heightmap_level(values: Floats, u: Floats, v: Floats) -> Floats:
    """Bilinear reading of a map whose first row lies at the back."""
    from scipy.ndimage import map_coordinates

    rows = (1 - v) * (values.shape[0] - 1)
    columns = u * (values.shape[1] - 1)
    return map_coordinates(values, [rows, columns], order=1, mode="nearest")
