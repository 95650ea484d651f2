"""The surface on which loose grains come to rest, on a grid with stones standing in it.

Steady state of the sand-pile model of Prigozhin (1996, from memory): the largest s with
s = P(min(target, G(s))), G the upwind (Godunov) solution of |∇s| = slope and P the move out
of solids. Both are monotone, so sweeping down from above reaches it. The panes of the glass
are walls without friction: no neighbour there.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Columns, Grid
from plumbstone.meshes.piece import Floats, Indices

ROUNDS = 100_000  # sweeps; a handful is usual, mazes need more
FAR = 1e6  # [m]
TOUCHING = 1e-6  # [m], a gap so thin is none
UNBENT = 0.9  # least slope of a distance that has one nearest place
CORNER = 5  # cells that both sides of a corner of a free edge run straight
FREE, PLAIN, ODD, WALL = 0, 1, 2, 3  # states of a cell


class SurfaceError(PlumbstoneError, ValueError):
    """A height field that cannot be solved."""


def stable_surface(
    target: Floats,
    ground: Floats,
    slope: float,
    spacing: float | tuple[float, float],
    *,
    columns: Columns | None = None,
    edge: Floats | None = None,
    walls: NDArray[np.bool_] | None = None,
    beyond: Floats | None = None,
    seeded: bool = True,
) -> Floats:
    """Largest surface below a target that is nowhere steeper than its angle of repose.

    Parameters
    ----------
    target, ground : (rows, columns) float arrays
        Wanted surface, and what lies below it: floor, stone tops or an earlier layer [m]; rows
        run along y. A cell whose target lies on the ground carries no grains: a free edge.
    slope : float
        Tangent of the angle of repose.
    spacing : float or (float, float)
        Width of a cell [m], or along x and along y.
    columns : Columns, optional
        Solids over the cells; grains may run into free gaps under flanks and overhangs.
    edge : (rows, columns) float array, optional
        Signed distance to the free edge of the zone [m], positive where grains may lie;
        judged from the cells around if not given.
    walls : (rows, columns) bool array, optional
        Cells without grains that hold their neighbours up as a pane does: beyond a strip.
    beyond : (rows, columns) float array, optional
        Height up to which cells without grains hold their neighbours: beyond a low wall [m].
    seeded : bool
        Whether fans from the ends of free edges (gaps, corners) start from exact distances;
        without it they converge with an order of about 0.8.

    Returns
    -------
    (rows, columns) float array
        The surface [m], at least `ground`.

    Raises
    ------
    SurfaceError
        If shapes differ, a value is not finite, or slope or spacing is not positive.

    Examples
    --------
    A row of cells against a wall, free on the right:

    >>> target = np.array([[9.0, 9.0, 9.0, 0.0]])
    >>> stable_surface(target, np.zeros((1, 4)), 1.0, 1.0)
    array([[2.5, 1.5, 0.5, 0. ]])
    """
    _check(target, ground, slope, spacing)
    dx, dy = spacing if isinstance(spacing, tuple) else (spacing, spacing)
    ground = np.ascontiguousarray(ground, dtype=float)
    surface = np.maximum(target, ground)
    bottoms = tops = np.empty((0, 1, 1))
    if columns is not None and len(columns.tops):
        bottoms, tops = columns.bottoms, columns.tops
    distance = np.empty((0, 0)) if edge is None else np.ascontiguousarray(edge, dtype=float)
    barred = np.zeros((0, 0), dtype=np.bool_) if walls is None else walls
    state = _states(surface, ground, bottoms, tops, barred)
    if beyond is not None:
        free = state == FREE
        lying = surface[free]
        surface[free] = np.maximum(lying, beyond[free])
    if seeded:
        _seed_edges(surface, ground, state, bottoms, distance, slope, dx, dy)
        _seed_fans(surface, ground, state, bottoms, distance, float(surface.max()), slope, dx, dy)
    if not _settle(surface, ground, state, bottoms, tops, distance, slope, dx, dy):
        message = "The surface did not settle; use a wider --grid."
        raise SurfaceError(message)
    if beyond is not None:
        surface[free] = lying
    return surface


def lifted_out(surface: Floats, columns: Columns) -> Floats:
    """Return a surface whose cells that lie inside a solid are moved up to its top [m]."""
    lifted = surface.astype(float)
    for low, high in zip(columns.bottoms, columns.tops, strict=True):
        lifted = np.where((low - TOUCHING <= lifted) & (lifted < high), high, lifted)
    return lifted


def empty_below(surface: Floats, columns: Columns, slope: float, grid: Grid) -> float:
    """Space under stones that stays empty below a surface [m³].

    Grains run in from the sides only, and fall at repose on the way; they do not rise again
    behind a low place of the roof.
    """
    if len(columns.bottoms) == 0:
        return 0.0
    roof = columns.bottoms[0]
    covered = (roof > TOUCHING) & (roof < surface)
    if not covered.any():
        return 0.0
    inner = np.where(roof > TOUCHING, surface, -np.inf)  # no grains where a solid stands on it
    level = np.where(covered, -np.inf, inner)
    _run_under(level, roof, np.argwhere(covered), slope, *grid.spacing)
    void = np.where(covered, roof - np.clip(level, 0, roof), 0.0)
    return float(void.sum()) * grid.cell_area


@njit(cache=True)
def _run_under(
    level: Floats, roof: Floats, cells: Indices, slope: float, dx: float, dy: float
) -> None:  # pragma: no cover
    """Raise the level in covered cells, in place, to what runs in from beside them."""
    rows, columns = level.shape
    moved, turn = True, 0
    while moved:
        moved = False
        for kk in range(len(cells)):
            j, i = cells[kk if turn % 2 == 0 else len(cells) - 1 - kk]
            a = c = np.inf
            for n in range(4):
                jn, i_n = j + (0, 0, 1, -1)[n], i + (1, -1, 0, 0)[n]
                if 0 <= jn < rows and 0 <= i_n < columns:
                    depth = -min(level[jn, i_n], roof[jn, i_n])
                    if n < 2:
                        a = min(a, depth)
                    else:
                        c = min(c, depth)
            if a == np.inf and c == np.inf:
                continue
            here = min(-_upwind(min(a, FAR), dx, min(c, FAR), dy, slope), roof[j, i])
            if here > level[j, i] + 1e-9:
                level[j, i], moved = here, True
        turn += 1


def _check(
    target: Floats, ground: Floats, slope: float, spacing: float | tuple[float, float]
) -> None:
    """Refuse what cannot be solved, and say why."""
    if target.ndim != 2 or target.shape != ground.shape:
        message = f"Target {target.shape} and ground {ground.shape} must be equal 2-D arrays."
        raise SurfaceError(message)
    if not (np.isfinite(target).all() and np.isfinite(ground).all()):
        message = "Target and ground must be finite everywhere; drop NaN and infinity."
        raise SurfaceError(message)
    if not slope > 0 or not np.all(np.asarray(spacing) > 0):
        message = f"Slope {slope} and spacing {spacing} must be above zero."
        raise SurfaceError(message)


@njit(cache=True)
def _out_of_solids(
    u: float, bottoms: Floats, tops: Floats, j: int, i: int
) -> float:  # pragma: no cover
    """Height u, or the top of the solid that holds it."""
    for k in range(bottoms.shape[0]):
        if u <= bottoms[k, j, i]:
            break
        if u < tops[k, j, i]:
            return float(tops[k, j, i])
    return u


@njit(cache=True)
def _states(
    surface: Floats, ground: Floats, bottoms: Floats, tops: Floats, walls: NDArray[np.bool_]
) -> NDArray[np.uint8]:  # pragma: no cover
    """Sort the cells: FREE carries no grains, PLAIN lies among cells that do, ODD is the rest.

    Surfaces that lie inside a solid are moved out of it.
    """
    rows, columns = surface.shape
    solids = bottoms.shape[0]
    state = np.full((rows, columns), FREE, dtype=np.uint8)
    for j in range(rows):
        for i in range(columns):
            if surface[j, i] > ground[j, i]:
                state[j, i] = ODD
                if solids and bottoms[0, j, i] < np.inf:
                    surface[j, i] = _out_of_solids(surface[j, i], bottoms, tops, j, i)
            elif walls.shape[0] and walls[j, i]:
                state[j, i] = WALL
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            if (
                _busy(state[j, i])
                and _busy(state[j, i - 1])
                and _busy(state[j, i + 1])
                and _busy(state[j - 1, i])
                and _busy(state[j + 1, i])
                and (solids == 0 or bottoms[0, j, i] == np.inf)
            ):
                state[j, i] = PLAIN
    return state


@njit(cache=True)
def _busy(state: int) -> bool:  # pragma: no cover
    """Tell whether a cell carries grains."""
    return state in (PLAIN, ODD)


@njit(cache=True)
def _share_busy(state: NDArray[np.uint8], j: int, i: int) -> float:  # pragma: no cover
    """Share of the nine cells around one that carry grains."""
    rows, columns = state.shape
    busy = 0
    for dj in range(-1, 2):
        for di in range(-1, 2):
            jn, i_n = min(max(j + dj, 0), rows - 1), min(max(i + di, 0), columns - 1)
            busy += _busy(state[jn, i_n])
    return busy / 9


@njit(cache=True)
def _reach(
    edge: Floats, state: NDArray[np.uint8], j: int, i: int, jn: int, i_n: int
) -> float:  # pragma: no cover
    """Distance to a neighbour in cells: 1, or less where the free edge lies between.

    Without a signed distance, the mean of the nine cells around tells where it passes.
    """
    if state[jn, i_n] != FREE:
        return 1.0
    if edge.shape[0]:
        here, there = edge[j, i], edge[jn, i_n]
    else:
        here, there = _share_busy(state, j, i) - 0.5, _share_busy(state, jn, i_n) - 0.5
    if here > 0 and there <= 0:
        return float(max(here / (here - there), 1e-3))
    return 0.5


@njit(cache=True)
def _blocks(state: NDArray[np.uint8], bottoms: Floats, j: int, i: int) -> bool:  # pragma: no cover
    """Tell whether a cell stops a fan: a wall, or a solid that stands there."""
    if state[j, i] == WALL:
        return True
    return bool(bottoms.shape[0] > 0 and bottoms[0, j, i] < np.inf)


@njit(cache=True)
def _seed_edges(
    surface: Floats,
    ground: Floats,
    state: NDArray[np.uint8],
    bottoms: Floats,
    edge: Floats,
    slope: float,
    dx: float,
    dy: float,
) -> None:  # pragma: no cover
    """Lower the surface to what rises from the nearest place of a free edge, where it is seen.

    As with fans, this takes away only what the sweeps would, but with the true distance.
    """
    rows, columns = edge.shape
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            far = edge[j, i]
            if far <= 0 or not _busy(state[j, i]) or _blocks(state, bottoms, j, i):
                continue
            if surface[j, i] <= slope * far:
                continue
            right = (edge[j, i + 1] - edge[j, i - 1]) / (2 * dx)
            up = (edge[j + 1, i] - edge[j - 1, i]) / (2 * dy)
            size = np.sqrt(right * right + up * up)
            if size < UNBENT:
                continue
            x, y = i * dx - far * right / size, j * dy - far * up / size
            height = _beyond(surface, state, bottoms, int(np.round(y / dy)), int(np.round(x / dx)))
            if height + slope * far < surface[j, i]:
                allowed = _seen(
                    ground, state, bottoms, j, i, x, y, height + slope * far, slope, dx, dy
                )
                surface[j, i] = min(surface[j, i], allowed)


@njit(cache=True)
def _beyond(
    surface: Floats, state: NDArray[np.uint8], bottoms: Floats, j: int, i: int
) -> float:  # pragma: no cover
    """Greatest height of the cells without grains around one; infinite beside a wall or pane."""
    found, height = False, -np.inf
    for jn in range(j - 1, j + 2):
        for i_n in range(i - 1, i + 2):
            if not (0 <= jn < surface.shape[0] and 0 <= i_n < surface.shape[1]):
                return np.inf
            if _blocks(state, bottoms, jn, i_n):
                return np.inf
            if state[jn, i_n] == FREE:
                found, height = True, max(height, surface[jn, i_n])
    return float(height) if found else np.inf


@njit(cache=True)
def _seed_fans(
    surface: Floats,
    ground: Floats,
    state: NDArray[np.uint8],
    bottoms: Floats,
    edge: Floats,
    top: float,
    slope: float,
    dx: float,
    dy: float,
) -> None:  # pragma: no cover
    """Lower the surface to exact cones around the ends of free edges, where nothing is between.

    No grain that sees a point of the free edge may lie higher than that point, or the ground
    on the way, plus slope times distance, so this only takes away what the sweeps would take
    away too; higher ground only ever raises it.
    """
    rows, columns = surface.shape
    for j in range(rows):
        for i in range(columns):
            if not _busy(state[j, i]) or _blocks(state, bottoms, j, i):
                continue
            for way in range(4):
                dj, di = ((0, 1), (0, -1), (1, 0), (-1, 0))[way]
                jn, i_n = j + dj, i + di
                if not (0 <= jn < rows and 0 <= i_n < columns):
                    continue
                if state[jn, i_n] != FREE or _blocks(state, bottoms, jn, i_n):
                    continue
                reach = _reach(edge, state, j, i, jn, i_n)
                for side in (-1, 1):
                    if _ends(state, bottoms, edge, j, i, jn, i_n, side * abs(di), side * abs(dj)):
                        x = (i + di * reach + 0.5 * side * abs(dj)) * dx
                        y = (j + dj * reach + 0.5 * side * abs(di)) * dy
                        _lower_fan(
                            surface, ground, state, bottoms, (j, i), x, y, surface[jn, i_n],
                            top, slope, dx, dy,
                        )  # fmt: skip


@njit(cache=True)
def _ends(
    state: NDArray[np.uint8],
    bottoms: Floats,
    edge: Floats,
    j: int,
    i: int,
    jn: int,
    i_n: int,
    tj: int,
    ti: int,
) -> bool:  # pragma: no cover
    """Tell whether the free edge between two cells ends beside them, so that soil fans out."""
    jb, ib, jf, i_f = j + tj, i + ti, jn + tj, i_n + ti
    rows, columns = state.shape
    if not (0 <= jb < rows and 0 <= ib < columns and 0 <= jf < rows and 0 <= i_f < columns):
        return False
    if _blocks(state, bottoms, jf, i_f):
        return bool(_busy(state[jb, ib]))
    if edge.shape[0] or not _busy(state[jf, i_f]) or not _busy(state[jb, ib]):
        return False
    # A corner of the free edge; those of stairs along a slanted edge have no straight sides.
    for k in range(1, CORNER):
        back, out = (j - k * tj, i - k * ti), (k * (jn - j), k * (i_n - i))
        if not (0 <= back[0] < rows and 0 <= back[1] < columns):
            break
        if not _busy(state[back]) or state[jn - k * tj, i_n - k * ti] != FREE:
            return False
        if not (0 <= jn + out[0] < rows and 0 <= i_n + out[1] < columns):
            break
        if state[jn + out[0], i_n + out[1]] != FREE or not _busy(state[jf + out[0], i_f + out[1]]):
            return False
    return True


@njit(cache=True)
def _lower_fan(
    surface: Floats,
    ground: Floats,
    state: NDArray[np.uint8],
    bottoms: Floats,
    start: tuple[int, int],
    x: float,
    y: float,
    height: float,
    top: float,
    slope: float,
    dx: float,
    dy: float,
) -> None:  # pragma: no cover
    """Lower all cells that see a point (x, y) to the cone that rises from it, up to a height."""
    rows, columns = surface.shape
    for ring in range(max(rows, columns)):
        if height + slope * (ring - 1) * min(dx, dy) >= top:
            return
        for j in range(max(0, start[0] - ring), min(rows, start[0] + ring + 1)):
            rim = abs(j - start[0]) == ring
            step = 1 if rim else max(1, 2 * ring)
            for i in range(start[1] - ring, start[1] + ring + 1, step):
                if not 0 <= i < columns or not _busy(state[j, i]):
                    continue
                if _blocks(state, bottoms, j, i):
                    continue
                far = np.sqrt((i * dx - x) ** 2 + (j * dy - y) ** 2)
                if height + slope * far >= surface[j, i]:
                    continue
                allowed = _seen(
                    ground, state, bottoms, j, i, x, y, height + slope * far, slope, dx, dy
                )
                surface[j, i] = min(surface[j, i], allowed)


@njit(cache=True)
def _seen(
    ground: Floats,
    state: NDArray[np.uint8],
    bottoms: Floats,
    j: int,
    i: int,
    x: float,
    y: float,
    allowed: float,
    slope: float,
    dx: float,
    dy: float,
) -> float:  # pragma: no cover
    """Height that a point of the edge, or the ground on the way to it, allows at a cell.

    Infinite where grains do not lie all along the line between them.
    """
    right, up = x / dx - i, y / dy - j
    count = int(2 * max(abs(right), abs(up))) + 1
    length = np.sqrt((right * dx) ** 2 + (up * dy) ** 2)
    allowed = max(allowed, ground[j, i])
    for k in range(1, count):
        share = k / count
        jn, i_n = round(j + share * up), round(i + share * right)
        if not (0 <= jn < ground.shape[0] and 0 <= i_n < ground.shape[1]):
            return np.inf
        inner = (1 - share) * length > max(dx, dy)  # the last cell may be the free one itself
        if _blocks(state, bottoms, jn, i_n) or (inner and not _busy(state[jn, i_n])):
            return np.inf
        if _busy(state[jn, i_n]):
            way = np.sqrt(((i_n - i) * dx) ** 2 + ((jn - j) * dy) ** 2)
            allowed = max(allowed, ground[jn, i_n] + slope * way)
    return float(allowed)


@njit(cache=True)
def _upwind(a: float, ha: float, c: float, hc: float, slope: float) -> float:  # pragma: no cover
    """Solve ((u - a)⁺ / ha)² + ((u - c)⁺ / hc)² = slope²."""
    one_a, one_c = a + slope * ha, c + slope * hc
    if one_a <= c:
        return one_a
    if one_c <= a:
        return one_c
    wa, wc = 1 / (ha * ha), 1 / (hc * hc)
    total = wa + wc
    rest = slope * slope * total - wa * wc * (a - c) ** 2
    return float((wa * a + wc * c + np.sqrt(max(rest, 0.0))) / total)


@njit(cache=True)
def _beside(
    surface: Floats,
    edge: Floats,
    state: NDArray[np.uint8],
    j: int,
    i: int,
    jn: int,
    i_n: int,
    step: float,
) -> tuple[float, float]:  # pragma: no cover
    """Height and distance of a neighbour; infinitely high at a pane or a wall."""
    inside = 0 <= jn < surface.shape[0] and 0 <= i_n < surface.shape[1]
    if not inside or state[jn, i_n] == WALL:
        return np.inf, step
    return surface[jn, i_n], step * _reach(edge, state, j, i, jn, i_n)


@njit(cache=True)
def _allowed(
    surface: Floats,
    edge: Floats,
    state: NDArray[np.uint8],
    j: int,
    i: int,
    slope: float,
    dx: float,
    dy: float,
) -> float:  # pragma: no cover
    """Upwind height of a cell whose neighbours lie at distances of their own.

    The steeper of the two sides along each axis counts: the least of the four quadrants.
    """
    left = _beside(surface, edge, state, j, i, j, i - 1, dx)
    right = _beside(surface, edge, state, j, i, j, i + 1, dx)
    before = _beside(surface, edge, state, j, i, j - 1, i, dy)
    behind = _beside(surface, edge, state, j, i, j + 1, i, dy)
    least = np.inf
    for a, ha in (left, right):
        for c, hc in (before, behind):
            least = min(least, _upwind(a, ha, c, hc, slope))
    return least


@njit(cache=True)
def _settle(
    surface: Floats,
    ground: Floats,
    state: NDArray[np.uint8],
    bottoms: Floats,
    tops: Floats,
    edge: Floats,
    slope: float,
    dx: float,
    dy: float,
) -> bool:  # pragma: no cover
    """Lower the surface in place by sweeps up and down the rows until nothing moves."""
    rows, columns = surface.shape
    least = slope / np.sqrt(1 / dx**2 + 1 / dy**2)
    active = np.ones(rows + 2, dtype=np.bool_)
    for turn in range(ROUNDS):
        if not active[1:-1].any():
            return True
        for jj in range(rows):
            j = jj if turn % 2 == 0 else rows - 1 - jj
            if not active[j + 1]:
                continue
            active[j + 1] = False
            moved = False
            for way in range(2):
                for ii in range(columns):
                    i = ii if way == 0 else columns - 1 - ii
                    here = surface[j, i]
                    if state[j, i] == PLAIN:
                        a = min(surface[j, i - 1], surface[j, i + 1])
                        c = min(surface[j - 1, i], surface[j + 1, i])
                        if here <= min(a, c) + least:
                            continue
                        u = max(_upwind(a, dx, c, dy, slope), ground[j, i])
                    elif state[j, i] == ODD:
                        u = _allowed(surface, edge, state, j, i, slope, dx, dy)
                        u = max(min(u, here), ground[j, i])
                        u = _out_of_solids(u, bottoms, tops, j, i)
                    else:
                        continue
                    if u < here - 1e-12:
                        surface[j, i] = u
                        moved = True
            if moved:
                active[j : j + 3] = True
    return False
