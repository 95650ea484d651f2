"""What is seen of a plan from above and from the front: shaded pictures and outlines."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from contourpy import contour_generator
from numpy.typing import NDArray

from plumbstone.cli.pictures.colours import colour_of, rgb
from plumbstone.meshes.measures.columns import Grid, Window, columns_of
from plumbstone.meshes.measures.nearest import carried_on
from plumbstone.meshes.piece import Floats, Indices
from plumbstone.volumes.bed.results import BedResult, bare_cells
from plumbstone.volumes.bodies.findings import MOSTLY
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.plan import Plan

ACROSS = 640  # pixels along the length
OUTLINE_GRID = 0.001  # fine enough for a template at full size [m]
BARE_GRID = 0.003  # of a tank without a bed [m]
FROM_ABOVE_LIGHT = np.array([-0.50, 0.55, 0.67])  # left, back, up
FROM_FRONT_LIGHT = np.array([-0.45, -0.55, 0.70])  # left, front, up
DARKEST, SPREAD = 0.50, 0.72  # of a colour in shade, and what full light adds
NEAR = 0.02  # over which a stone darkens the bed beside it [m]
GRAIN = 0.05  # how much one grain differs from the next, of its colour
NOTHING = -1  # no piece is seen there
SKIN = 0.003  # by which the bed stays below the top of a piece [m]
GLASS_FLOOR = (0.86, 0.90, 0.90)
Outline = list[Floats]  # rings of (n, 2) places [m]


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """One piece as it is seen."""

    number: int
    body: Body
    window: Window  # its columns on the grid of the bed
    above: Outline  # whole, as if nothing lay over it
    seen: Outline  # the part of it that is seen from above
    front: Outline
    buried: bool  # wholly or mostly below the bed
    middle: tuple[float, float]  # of its outline from above [m]
    face: tuple[float, float] | None  # inside of what is seen of it from the front, (x, z) [m]


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """A plan with all that its pictures share."""

    plan: Plan
    forms: tuple[Form, ...]  # in the order of work
    from_above: Floats  # (rows, columns, 3) colours, front row first
    from_front: Floats  # (rows, columns, 4) colours, lowest row first
    line: Floats  # the bed as it lies beside the pieces [m], zeros without one
    grid: Grid
    height: float  # of what is drawn [m]


def look_at(plan: Plan) -> Sight:
    """Compute what the pictures of a plan share."""
    tank = plan.scape.tank
    grid = plan.bed.grid if plan.bed else Grid.of_spacing(tank.length, tank.depth, BARE_GRID)
    line = np.zeros((grid.ny, grid.nx))
    beside = plan.bed.soil_line if plan.bed else None
    if plan.bed is not None and beside is not None:
        # Below a piece that stands out, the bed must not show through it.
        tops = plan.bed.columns.highest
        line = np.where(bare_cells(plan.bed) & (tops > 0), np.clip(tops - SKIN, 0, beside), beside)
    peaks = [float(body.piece.high[2]) for body in plan.bodies]
    height = tank.height or max([*peaks, tank.water_line or 0.0, float(line.max()), 0.05]) + 0.02
    windows = [columns_of(b.piece.vertices, b.piece.faces, grid) for b in plan.bodies]
    picture, owner = _picture_from_above(plan, windows, line, grid)
    front, faces = picture_from_front(plan, line, grid, height)
    forms = _forms(plan, windows, owner, faces, grid, height)
    return Sight(plan, forms, picture, front, line, grid, height)


def picture_from_front(
    plan: Plan, line: Floats, grid: Grid, height: float, rise: float = 0.0
) -> tuple[Floats, NDArray[np.int64]]:
    """Draw what one sees through the front pane, without perspective.

    `line` is the surface of the bed beside the pieces [m] on a grid; the picture is of a height
    [m], and a place is drawn higher by `rise` for each metre that it lies farther back.

    Returns
    -------
    colours : (rows, columns, 4) float array
        Colours and opacity, the lowest row first.
    owner : (rows, columns) int array
        Place in the plan of the piece that is seen, `NOTHING` beside them.
    """
    top = height + rise * grid.depth
    view = Grid.of_spacing(grid.length, top, grid.length / ACROSS)
    colours = np.zeros((view.ny, view.nx, 4))
    depth = np.full((view.ny, view.nx), np.inf)
    owner = np.full((view.ny, view.nx), NOTHING)
    if plan.bed is not None:
        _bed_from_front(plan.bed, line, grid, view, rise, colours, depth)
    for place, body in enumerate(plan.bodies):
        part, seen = _body_from_front(body, view, rise, colours, depth)
        owner[part][seen] = place
    return colours, owner


def top_layers(bed: BedResult) -> NDArray[np.int64]:
    """Place in pouring order of the layer that lies on top of each cell, -1 where none does."""
    top = np.full(bed.surface.shape, -1)
    for index, result in enumerate(bed.layers):
        top[result.lies] = index
    hidden = bare_cells(bed) & (bed.columns.solid > 0)
    if hidden.any() and not hidden.all():
        top = carried_on(top, hidden)
    return top


def outline_of(covered: Any, x: Floats, y: Floats) -> Outline:
    """Trace the rings around the covered cells, smoothed over a cell [m]."""
    if min(covered.shape) < 2 or not covered.any():
        return []
    dx, dy = float(x[1] - x[0]), float(y[1] - y[0])
    padded = np.pad(np.asarray(covered, dtype=float), 3)
    right = x[0] + dx * (np.arange(padded.shape[1]) - 3)
    up = y[0] + dy * (np.arange(padded.shape[0]) - 3)
    tracer: Any = contour_generator(right, up, scipy.ndimage.gaussian_filter(padded, 0.9))
    return [_fewer(ring) for ring in tracer.lines(0.5) if len(ring) > 6]


def _fewer(ring: Floats) -> Floats:
    """Leave out places of a ring that are no finer than any picture shows."""
    step = max(1, len(ring) // 70)
    return np.concatenate([ring[:-1:step], ring[-1:]])


def _forms(
    plan: Plan,
    windows: Sequence[Window],
    owner: NDArray[np.int64],
    fronts: NDArray[np.int64],
    grid: Grid,
    height: float,
) -> tuple[Form, ...]:
    """Give the pieces their numbers by the order of work, and trace them."""
    floor = Grid.of_spacing(grid.length, grid.depth, OUTLINE_GRID)
    pane = Grid.of_spacing(grid.length, height, OUTLINE_GRID)
    found = []
    for place, (body, window) in enumerate(zip(plan.bodies, windows, strict=True)):
        vertices, faces = body.piece.vertices, body.piece.faces
        low, high = body.piece.low, body.piece.high
        found.append(
            Form(
                number=place + 1,
                body=body,
                window=window,
                above=_whole_outline(vertices, faces, floor),
                seen=_outline(owner[window.place] == place, window, grid),
                front=_whole_outline(_seen_along(vertices, 0.0), faces, pane),
                buried=plan.covered[body.entry.name] >= MOSTLY,
                middle=(float(low[0] + high[0]) / 2, float(low[1] + high[1]) / 2),
                face=_deep_inside(fronts == place, grid.length, height),
            )
        )
    return tuple(found)


def _whole_outline(vertices: Floats, faces: Indices, grid: Grid) -> Outline:
    """Trace a mesh on a grid, as if nothing lay before it [m]."""
    window = columns_of(vertices, faces, grid)
    return _outline(np.isfinite(window.lowest()), window, grid)


def _outline(covered: Any, window: Window, grid: Grid) -> Outline:
    """Trace the covered cells of a window [m]."""
    rows, columns = window.place
    return outline_of(covered, grid.x[columns], grid.y[rows])


def _deep_inside(seen: Any, length: float, height: float) -> tuple[float, float] | None:
    """Find the place farthest from the rim of what is seen [m]; None where nothing is."""
    rows, columns = (np.flatnonzero(seen.any(axis=axis)) for axis in (1, 0))
    if len(rows) == 0:
        return None
    part = seen[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    depth = scipy.ndimage.distance_transform_edt(np.pad(part, 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(depth.argmax()), part.shape)
    x, z = float(columns[0] + column) + 0.5, float(rows[0] + row) + 0.5
    return x * length / seen.shape[1], z * height / seen.shape[0]


def _seen_along(vertices: Floats, rise: float) -> Floats:
    """Turn corners so that looking from the front becomes looking from below."""
    x, y, z = vertices.T
    return np.column_stack([x, z + rise * y, y])


def _shaded(colour: Any, normals: Floats, light: Floats, *, grainy: float) -> Floats:
    """Light a colour by the direction in which a surface looks, (…, 3) each."""
    length = np.linalg.norm(normals, axis=-1, keepdims=True)
    facing = np.clip((normals / (length + 1e-12)) @ light, 0, 1)[..., None]
    lit = np.asarray(colour) * (DARKEST + SPREAD * facing)
    noise = np.random.default_rng(7).normal(0.0, grainy, lit.shape[:-1])
    return np.clip(lit * (1 + noise[..., None]), 0, 1)


def bed_colours(bed: BedResult) -> Floats:
    """Colour of the layer that lies on top of each cell."""
    return _palette(bed)[top_layers(bed)]


def _palette(bed: BedResult) -> Floats:
    """Give the colour of each layer, and last that of bare glass."""
    return np.array([rgb(colour_of(r.layer.material)) for r in bed.layers] + [GLASS_FLOOR])


def _slopes(height: Floats, dx: float, dy: float) -> Floats:
    """Direction in which a surface over a grid looks, not of unit length, (…, 3)."""
    rise_y, rise_x = np.gradient(height, dy, dx)
    return np.stack([-rise_x, -rise_y, np.ones_like(rise_x)], axis=-1)


def _picture_from_above(
    plan: Plan, windows: Sequence[Window], line: Floats, grid: Grid
) -> tuple[Floats, NDArray[np.int64]]:
    """Draw bed and pieces from above, lit from the back left; tell which piece is seen where."""
    dx, dy = grid.spacing
    colours: Floats = np.broadcast_to(np.array(GLASS_FLOOR), (*line.shape, 3)).copy()
    if plan.bed is not None:
        base = bed_colours(plan.bed)
        normals = _slopes(scipy.ndimage.gaussian_filter(line, 1.5) * 2, dx, dy)
        colours = _shaded(base, normals, FROM_ABOVE_LIGHT, grainy=GRAIN)
    height, owner = line.copy(), np.full(line.shape, NOTHING)
    for place, (body, window) in enumerate(zip(plan.bodies, windows, strict=True)):
        part, top = window.place, window.highest()
        seen = np.isfinite(window.lowest()) & (top > height[part] + 1e-4)
        if not seen.any() or min(top.shape) < 2:
            continue
        normals = _slopes(np.where(np.isfinite(window.lowest()), top, line[part]), dx, dy)
        own = rgb(colour_of(body.entry.material))
        colours[part][seen] = _shaded(own, normals, FROM_ABOVE_LIGHT, grainy=0.02)[seen]
        height[part][seen] = top[seen]
        owner[part][seen] = place
    around = scipy.ndimage.gaussian_filter(height, NEAR / dx) - height
    colours *= (1 - 0.45 * np.clip(around / NEAR, 0, 1))[..., None]
    return colours, owner


def _bed_from_front(
    bed: BedResult,
    line: Floats,
    grid: Grid,
    view: Grid,
    rise: float,
    colours: Floats,
    depth: Floats,
) -> None:
    """Draw the bed as a heightfield that is looked at along its rows, and its cut at the glass."""
    column = grid.cell_at(view.x, np.zeros(view.nx))[1]
    heights = line[:, column]
    reach = np.maximum.accumulate(heights + rise * grid.y[:, None], axis=0)
    slopes = _slopes(line, *grid.spacing)
    lit = _shaded(bed_colours(bed), slopes, FROM_FRONT_LIGHT, grainy=GRAIN)
    # At the glass the bed is seen in its layers, as one sees them through the pane.
    pane = np.stack([result.surface[0, column] for result in bed.layers])
    table = _palette(bed)
    noise = np.random.default_rng(3).normal(1.0, GRAIN, (view.ny, view.nx, 1))
    across = np.arange(view.nx)
    for row, z in enumerate(view.y):
        first = (reach < z).sum(axis=0)
        hit = first < grid.ny
        at = np.minimum(first, grid.ny - 1)
        colours[row, hit, :3] = lit[at[hit], column[hit]]
        cut = hit & (z <= heights[0])
        layer = np.minimum((pane < z).sum(axis=0), len(bed.layers) - 1)
        colours[row, cut, :3] = np.clip(0.92 * table[layer[cut]] * noise[row, across[cut]], 0, 1)
        colours[row, hit, 3] = 1.0
        depth[row, hit] = np.where(cut, 0.0, grid.y[at])[hit]


def _body_from_front(
    body: Body, view: Grid, rise: float, colours: Floats, depth: Floats
) -> tuple[tuple[slice, slice], Any]:
    """Draw one piece where nothing stands before it; give where that is."""
    faces: Indices = body.piece.faces
    window = columns_of(_seen_along(body.piece.vertices, rise), faces, view)
    near, part = window.lowest(), window.place
    covered = np.isfinite(near)
    seen = covered & (near < depth[part])
    if not seen.any() or min(near.shape) < 2:
        return part, np.zeros(near.shape, dtype=bool)
    up, right = np.gradient(carried_on(near, ~covered), *reversed(view.spacing))
    normals = np.stack([right, rise * up - 1, up], axis=-1)
    lit = _shaded(rgb(colour_of(body.entry.material)), normals, FROM_FRONT_LIGHT, grainy=0.02)
    colours[part][seen, :3] = lit[seen]
    colours[part][seen, 3] = 1.0
    depth[part][seen] = near[seen]
    return part, seen


def longest_side(outline: Outline) -> tuple[float, float]:
    """Direction of the long axis of an outline [degrees from +x, 0 to 180] and how long it is."""
    points = np.concatenate(outline)
    spread = np.cov((points - points.mean(axis=0)).T)
    values, axes = np.linalg.eigh(spread)
    right, up = axes[:, 1]
    ratio = float(np.sqrt(values[1] / max(values[0], 1e-12)))
    return float(np.degrees(np.arctan2(up, right)) % 180), ratio
