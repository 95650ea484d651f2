# cython: boundscheck=False, wraparound=False, cdivision=True, cpow=True
"""Loops over the cells of a bed, compiled: each depends on its neighbours.

First the sweeps that bring a surface to rest, then the ways of grains around stones. No index is
checked: each lies on the grid by its loop, or by a test beside it.
"""

from libc.math cimport INFINITY, exp, fabs, llrint, sqrt
from libc.stdint cimport int64_t, uint8_t

import numpy as np

ctypedef double[:, ::1] Field
ctypedef const double[:, ::1] Known
ctypedef const double[:, :, ::1] Solids  # bottoms or tops, (layers, rows, columns) [m]
ctypedef const uint8_t[:, ::1] Mask

cdef enum:
    ROUNDS = 100_000  # sweeps; a handful is usual, mazes need more
    AROUND = 5  # cells around the corner of a stone that tell its height
    CORNER = 5  # cells that both sides of a corner of a free edge run straight

cpdef enum:  # states of a cell
    FREE, PLAIN, ODD, WALL

cdef double FAR = 1e6  # [m]
cdef double UNBENT = 0.9  # least slope of a distance that has one nearest place
cdef double ALIKE = 1e-4  # [m]: heights that differ by no more are as good as one
cdef double NEAR = 1.0  # cells around an opening that are open, whatever stands in their middle
cdef double GRAZES = 0.35  # of a cell from its middle
cdef double NOWHERE = 1e9


def rises_of(const double[:, :] field, double dx, double dy):
    """Give the rise of a field along y and along x in each cell, as `numpy.gradient` does."""
    cdef Py_ssize_t rows = field.shape[0], columns = field.shape[1], j, i, a, b
    along_y, along_x = np.empty((rows, columns)), np.empty((rows, columns))
    cdef double[:, ::1] y = along_y, x = along_x
    for j in range(rows):
        a, b = max(j - 1, 0), min(j + 1, rows - 1)
        for i in range(columns):
            y[j, i] = (field[b, i] - field[a, i]) / ((b - a) * dy)
            x[j, i] = (
                field[j, min(i + 1, columns - 1)] - field[j, max(i - 1, 0)]
            ) / ((min(i + 1, columns - 1) - max(i - 1, 0)) * dx)
    return along_y, along_x


def steep_cells(Known field, Mask inside, double dx, double dy, double least, double most):
    """Find the cells, of those inside, in which a field rises by more than `least`, below `most`."""
    cdef Py_ssize_t rows = field.shape[0], columns = field.shape[1], j, i, a, b, c, d
    cdef double deep, wide = 1 / (2 * dx), side = 1 / dx, y, x, rise
    found = np.zeros((rows, columns), dtype=np.bool_)
    cdef uint8_t[:, ::1] steep = found
    for j in range(rows):
        a, b = max(j - 1, 0), min(j + 1, rows - 1)
        deep = 1 / ((b - a) * dy)
        for i in range(columns):
            if not inside[j, i]:
                continue
            c, d = max(i - 1, 0), min(i + 1, columns - 1)
            y = (field[b, i] - field[a, i]) * deep
            x = (field[j, d] - field[j, c]) * (wide if d - c == 2 else side)
            rise = x * x + y * y
            steep[j, i] = least * least < rise < most * most
    return found


def lower_at_wall(
    Field limit, const double[:, :] full, const double[:, :] away, double near, double slope,
    double steepest, double dx, double dy, Py_ssize_t row, Py_ssize_t column,
):
    """Lower a limit, in place, beside a wall to what lies at repose from its very foot.

    `away` is the distance from the wall and `full` the height drawn on the part of the grid that
    begins at a row and a column; cells up to `near` a wall count, and rises up to `steepest`.
    """
    cdef Py_ssize_t rows = full.shape[0], columns = full.shape[1], j, i, a, b, c, d
    cdef double rise, wide, deep
    for j in range(rows):
        a, b = max(j - 1, 0), min(j + 1, rows - 1)
        deep = (b - a) * dy
        for i in range(columns):
            if not fabs(away[j, i]) < near:
                continue
            c, d = max(i - 1, 0), min(i + 1, columns - 1)
            wide = (d - c) * dx
            rise = (
                (full[b, i] - full[a, i]) * (away[b, i] - away[a, i]) / deep**2
                + (full[j, d] - full[j, c]) * (away[j, d] - away[j, c]) / wide**2
            )
            if slope < rise < steepest:
                limit[row + j, column + i] -= (rise - slope) * away[j, i]


def nearest_cell(
    const uint8_t[:, :] where, double x, double y, double within, double searched, double dx, double dy
):
    """Find the cell, of some, nearest to a place: row and column; -1 where none is `within`.

    In a square that grows from `searched` until it holds the nearest cell for certain.
    """
    cdef Py_ssize_t rows = where.shape[0], columns = where.shape[1], j, i, row = -1, column = -1
    cdef double far = min(within, searched), away, least, up
    while True:
        least = INFINITY
        for j in range(cell_over(y - far, dy, rows), cell_over(y + far, dy, rows) + 1):
            up = ((j + 0.5) * dy - y) ** 2
            for i in range(cell_over(x - far, dx, columns), cell_over(x + far, dx, columns) + 1):
                if where[j, i]:
                    away = ((i + 0.5) * dx - x) ** 2 + up
                    if away < least:
                        least, row, column = away, j, i
        if sqrt(least) < far:
            return row, column
        if far >= within or far >= rows * dy + columns * dx:
            return -1, -1
        far = min(within, 4 * far)


cdef inline Py_ssize_t cell_over(double place, double width, Py_ssize_t count) noexcept:
    """Give the cell of one axis over a place, the nearest where it is beyond a pane."""
    return min(max(<Py_ssize_t>(place / width), 0), count - 1)


def run_under(Field level, Known roof, Mask covered, double slope, double dx, double dy):
    """Raise the level in covered cells, in place, to what runs in from beside them.

    By sweeps up and down the rows, each forth and back, until nothing moves.
    """
    cdef Py_ssize_t rows = level.shape[0], turn = 0, jj, j
    cdef uint8_t[::1] active = np.ones(rows + 2, dtype=np.uint8)
    cdef bint any_left = True
    while any_left:
        any_left = False
        for jj in range(rows):
            j = jj if turn % 2 == 0 else rows - 1 - jj
            if not active[j + 1]:
                continue
            any_left, active[j + 1] = True, False
            if run_along(level, roof, covered, j, slope, dx, dy):
                active[j] = active[j + 1] = active[j + 2] = True
        turn += 1


cdef bint run_along(
    Field level, Known roof, Mask covered, Py_ssize_t j, double slope, double dx, double dy
) noexcept:
    """Sweep one row forth and back, and tell whether anything rose."""
    cdef Py_ssize_t rows = level.shape[0], columns = level.shape[1], ii, i
    cdef double a, c, here
    cdef bint moved = False
    cdef int way
    for way in range(2):
        for ii in range(columns):
            i = ii if way == 0 else columns - 1 - ii
            if not covered[j, i]:
                continue
            a = c = FAR
            if i > 0:
                a = min(a, -min(level[j, i - 1], roof[j, i - 1]))
            if i < columns - 1:
                a = min(a, -min(level[j, i + 1], roof[j, i + 1]))
            if j > 0:
                c = min(c, -min(level[j - 1, i], roof[j - 1, i]))
            if j < rows - 1:
                c = min(c, -min(level[j + 1, i], roof[j + 1, i]))
            here = min(-upwind(a, dx, c, dy, slope), roof[j, i])
            if here > level[j, i] + 1e-9:
                level[j, i] = here
                moved = True
    return moved


cdef inline double out_of_solids(
    double u, Solids bottoms, Solids tops, Py_ssize_t j, Py_ssize_t i
) noexcept:
    """Height u, or the top of the solid that holds it."""
    cdef Py_ssize_t k
    for k in range(bottoms.shape[0]):
        if u <= bottoms[k, j, i]:
            break
        if u < tops[k, j, i]:
            return tops[k, j, i]
    return u


def lifted(Known surface, Solids bottoms, Solids tops, double touching):
    """Give a surface whose cells that lie inside a solid, or that near its bottom, are on it."""
    cdef Py_ssize_t rows = surface.shape[0], columns = surface.shape[1], j, i, k
    out = np.array(surface)
    cdef Field field = out
    for k in range(bottoms.shape[0]):
        for j in range(rows):
            for i in range(columns):
                if bottoms[k, j, i] - touching <= field[j, i] < tops[k, j, i]:
                    field[j, i] = tops[k, j, i]
    return out


def states(Field surface, Known ground, Solids bottoms, Solids tops, const uint8_t[:, :] walls):
    """Sort the cells: FREE carries no grains, PLAIN lies among cells that do, ODD is the rest.

    Surfaces that lie inside a solid are moved out of it.
    """
    cdef Py_ssize_t rows = surface.shape[0], columns = surface.shape[1], j, i
    cdef bint solids = bottoms.shape[0] > 0, walled = walls.shape[0] > 0
    sorted_cells = np.full((rows, columns), FREE, dtype=np.uint8)
    cdef uint8_t[:, ::1] state = sorted_cells
    for j in range(rows):
        for i in range(columns):
            if surface[j, i] > ground[j, i]:
                state[j, i] = ODD
                if solids and bottoms[0, j, i] < INFINITY:
                    surface[j, i] = out_of_solids(surface[j, i], bottoms, tops, j, i)
            elif walled and walls[j, i]:
                state[j, i] = WALL
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            if (
                busy(state[j, i])
                and busy(state[j, i - 1])
                and busy(state[j, i + 1])
                and busy(state[j - 1, i])
                and busy(state[j + 1, i])
                and (not solids or bottoms[0, j, i] == INFINITY)
            ):
                state[j, i] = PLAIN
    return sorted_cells


cdef inline bint busy(uint8_t state) noexcept:
    """Tell whether a cell carries grains."""
    return state == PLAIN or state == ODD


cdef double share_busy(Mask state, Py_ssize_t j, Py_ssize_t i) noexcept:
    """Share of the nine cells around one that carry grains."""
    cdef Py_ssize_t rows = state.shape[0], columns = state.shape[1], jn, i_n
    cdef int dj, di, count = 0
    for dj in range(-1, 2):
        for di in range(-1, 2):
            jn, i_n = min(max(j + dj, 0), rows - 1), min(max(i + di, 0), columns - 1)
            count += busy(state[jn, i_n])
    return count / 9.0


cdef inline double reach_of(
    Known edge, Mask state, Py_ssize_t j, Py_ssize_t i, Py_ssize_t jn, Py_ssize_t i_n
) noexcept:
    """Distance to a neighbour in cells: 1, or less where the free edge lies between.

    Without a signed distance, the mean of the nine cells around tells where it passes.
    """
    cdef double here, there
    if state[jn, i_n] != FREE:
        return 1.0
    if edge.shape[0]:
        here, there = edge[j, i], edge[jn, i_n]
    else:
        here, there = share_busy(state, j, i) - 0.5, share_busy(state, jn, i_n) - 0.5
    if here > 0 and there <= 0:
        return max(here / (here - there), 1e-3)
    return 0.5


cdef inline bint blocks(Mask state, Solids bottoms, Py_ssize_t j, Py_ssize_t i) noexcept:
    """Tell whether a cell stops a fan: a wall, or a solid that stands there."""
    return state[j, i] == WALL or (bottoms.shape[0] > 0 and bottoms[0, j, i] < INFINITY)


def seed_edges(
    Field surface, Known ground, Mask state, Solids bottoms, Known edge, double slope,
    double dx, double dy,
):
    """Lower the surface to what rises from the nearest place of a free edge, where it is seen.

    As with fans, this takes away only what the sweeps would, but with the true distance.
    """
    cdef Py_ssize_t j, i
    cdef double far, right, up, size, x, y, height, allowed
    for j in range(1, edge.shape[0] - 1):
        for i in range(1, edge.shape[1] - 1):
            far = edge[j, i]
            if far <= 0 or not busy(state[j, i]) or blocks(state, bottoms, j, i):
                continue
            if surface[j, i] <= slope * far:
                continue
            right = (edge[j, i + 1] - edge[j, i - 1]) / (2 * dx)
            up = (edge[j + 1, i] - edge[j - 1, i]) / (2 * dy)
            size = sqrt(right * right + up * up)
            if size < UNBENT:
                continue
            x, y = i * dx - far * right / size, j * dy - far * up / size
            height = beyond(
                surface, state, bottoms, llrint(y / dy), llrint(x / dx)
            )
            if height + slope * far < surface[j, i]:
                allowed = seen(
                    ground, state, bottoms, j, i, x, y, height + slope * far, slope, dx, dy
                )
                surface[j, i] = min(surface[j, i], allowed)


cdef double beyond(
    Field surface, Mask state, Solids bottoms, Py_ssize_t j, Py_ssize_t i
) noexcept:
    """Greatest height of the cells without grains around one; infinite beside a wall or pane."""
    cdef Py_ssize_t jn, i_n
    cdef double height = -INFINITY
    cdef bint found = False
    for jn in range(j - 1, j + 2):
        for i_n in range(i - 1, i + 2):
            if not (0 <= jn < surface.shape[0] and 0 <= i_n < surface.shape[1]):
                return INFINITY
            if blocks(state, bottoms, jn, i_n):
                return INFINITY
            if state[jn, i_n] == FREE:
                found, height = True, max(height, surface[jn, i_n])
    return height if found else INFINITY


def seed_fans(
    Field surface, Known ground, Mask state, Solids bottoms, Known edge, double top,
    double slope, double dx, double dy,
):
    """Lower the surface to exact cones around the ends of free edges, where nothing is between.

    No grain that sees a point of the free edge may lie higher than that point, or the ground
    on the way, plus slope times distance, so this only takes away what the sweeps would take
    away too; higher ground only ever raises it.
    """
    cdef Py_ssize_t rows = surface.shape[0], columns = surface.shape[1], j, i, jn, i_n
    cdef int way, dj, di, side
    cdef double reach, x, y
    for j in range(rows):
        for i in range(columns):
            if not busy(state[j, i]) or blocks(state, bottoms, j, i):
                continue
            for way in range(4):
                dj, di = (way == 2) - (way == 3), (way == 0) - (way == 1)
                jn, i_n = j + dj, i + di
                if not (0 <= jn < rows and 0 <= i_n < columns):
                    continue
                if state[jn, i_n] != FREE or blocks(state, bottoms, jn, i_n):
                    continue
                reach = reach_of(edge, state, j, i, jn, i_n)
                for side in range(-1, 2, 2):
                    if ends(state, bottoms, edge, j, i, jn, i_n, side * abs(di), side * abs(dj)):
                        x = (i + di * reach + 0.5 * side * abs(dj)) * dx
                        y = (j + dj * reach + 0.5 * side * abs(di)) * dy
                        lower_fan(
                            surface, ground, state, bottoms, j, i, x, y, surface[jn, i_n], top,
                            slope, dx, dy,
                        )


cdef bint ends(
    Mask state, Solids bottoms, Known edge, Py_ssize_t j, Py_ssize_t i, Py_ssize_t jn,
    Py_ssize_t i_n, int tj, int ti,
) noexcept:
    """Tell whether the free edge between two cells ends beside them, so that soil fans out."""
    cdef Py_ssize_t jb = j + tj, ib = i + ti, jf = jn + tj, i_f = i_n + ti
    cdef Py_ssize_t rows = state.shape[0], columns = state.shape[1], back_j, back_i, out_j, out_i
    cdef int k
    if not (0 <= jb < rows and 0 <= ib < columns and 0 <= jf < rows and 0 <= i_f < columns):
        return False
    if blocks(state, bottoms, jf, i_f):
        return busy(state[jb, ib])
    if edge.shape[0] or not busy(state[jf, i_f]) or not busy(state[jb, ib]):
        return False
    # A corner of the free edge; those of stairs along a slanted edge have no straight sides.
    for k in range(1, CORNER):
        back_j, back_i, out_j, out_i = j - k * tj, i - k * ti, k * (jn - j), k * (i_n - i)
        if not (0 <= back_j < rows and 0 <= back_i < columns):
            break
        if not busy(state[back_j, back_i]) or state[jn - k * tj, i_n - k * ti] != FREE:
            return False
        if not (0 <= jn + out_j < rows and 0 <= i_n + out_i < columns):
            break
        if state[jn + out_j, i_n + out_i] != FREE or not busy(state[jf + out_j, i_f + out_i]):
            return False
    return True


cdef void lower_fan(
    Field surface, Known ground, Mask state, Solids bottoms, Py_ssize_t j0, Py_ssize_t i0,
    double x, double y, double height, double top, double slope, double dx, double dy,
) noexcept:
    """Lower all cells that see a point (x, y) to the cone that rises from it, up to a height."""
    cdef Py_ssize_t rows = surface.shape[0], columns = surface.shape[1], ring, j, i, step
    cdef double far, allowed
    for ring in range(max(rows, columns) + 1):
        if height + slope * (ring - 1) * min(dx, dy) >= top:
            return
        for j in range(max(0, j0 - ring), min(rows, j0 + ring + 1)):
            step = 1 if j == j0 - ring or j == j0 + ring else max(1, 2 * ring)
            for i from i0 - ring <= i <= i0 + ring by step:
                if not 0 <= i < columns or not busy(state[j, i]):
                    continue
                if blocks(state, bottoms, j, i):
                    continue
                far = sqrt((i * dx - x) ** 2 + (j * dy - y) ** 2)
                if height + slope * far >= surface[j, i]:
                    continue
                allowed = seen(
                    ground, state, bottoms, j, i, x, y, height + slope * far, slope, dx, dy
                )
                surface[j, i] = min(surface[j, i], allowed)


def seed_shadows(
    Field surface, Known limit, Known ground, const uint8_t[:, ::1] sorted_cells, Solids bottoms,
    Solids tops, double slope, double dx, double dy,
):
    """Lower what lies in the shadow of stones to cones around their corners, lowest first.

    A way of grains that does not run straight bends around the corner of a stone, or begins where
    an edge of the zone meets one or a pane. As with fans, this takes away only what the sweeps
    would on a finer grid. `limit` is what is wanted, stones left out.
    """
    cdef Py_ssize_t rows = surface.shape[0], columns = surface.shape[1], j, i
    cdef double height, top = 0.0
    cdef uint8_t[:, ::1] state = np.array(sorted_cells)
    cdef Solids none = np.empty((0, 1, 1))  # stones that stand out are walls, others no hindrance
    found = []
    for j in range(rows):
        for i in range(columns):
            if stands_out(surface, bottoms, tops, j, i):
                state[j, i] = WALL
            elif busy(state[j, i]):
                top = max(top, surface[j, i])
    for j in range(-1, rows):
        for i in range(-1, columns):
            if turns(state, j, i):
                height = corner_height(surface, limit, ground, state, none, j, i, slope, dx, dy)
                found.append((height, j, i))
    for _, j, i in sorted(found):
        height = corner_height(surface, limit, ground, state, none, j, i, slope, dx, dy)
        if walled(surface, state, j, i, height):
            lower_fan(
                surface, ground, state, none, j, i, (i + 0.5) * dx, (j + 0.5) * dy, height, top,
                slope, dx, dy,
            )
    for j in range(rows):
        for i in range(columns):
            if busy(state[j, i]):
                surface[j, i] = out_of_solids(surface[j, i], bottoms, tops, j, i)


cdef bint stands_out(
    Field surface, Solids bottoms, Solids tops, Py_ssize_t j, Py_ssize_t i
) noexcept:
    """Tell whether a solid stands out of the surface."""
    cdef Py_ssize_t k
    for k in range(bottoms.shape[0]):
        if bottoms[k, j, i] < surface[j, i] <= tops[k, j, i]:
            return True
    return False


cdef bint turns(Mask state, Py_ssize_t j, Py_ssize_t i) noexcept:
    """Tell whether the edge of the grains turns at the upper right corner of a cell."""
    cdef int grains = 0
    cdef Py_ssize_t jn, i_n
    for jn in range(j, j + 2):
        for i_n in range(i, i + 2):
            if 0 <= jn < state.shape[0] and 0 <= i_n < state.shape[1]:
                grains += busy(state[jn, i_n])
    return grains == 1 or grains == 3


cdef bint walled(
    Field surface, Mask state, Py_ssize_t j, Py_ssize_t i, double height
) noexcept:
    """Tell whether a stone that stands out over a height, or a pane, stands at that corner."""
    cdef Py_ssize_t jn, i_n
    for jn in range(j, j + 2):
        for i_n in range(i, i + 2):
            if not (0 <= jn < surface.shape[0] and 0 <= i_n < surface.shape[1]):
                return True
            if state[jn, i_n] == WALL and surface[jn, i_n] > height:
                return True
    return False


cdef double corner_height(
    Field surface, Known limit, Known ground, Mask state, Solids bottoms, Py_ssize_t j,
    Py_ssize_t i, double slope, double dx, double dy,
) noexcept:
    """Height of the surface at the upper right corner of a cell: what is wanted there, or what
    the cells around that see it allow."""
    cdef Py_ssize_t rows = surface.shape[0], columns = surface.shape[1], jn, i_n
    cdef double x = (i + 0.5) * dx, y = (j + 0.5) * dy, allowed
    cdef Py_ssize_t j0 = min(max(j, 0), rows - 2), i0 = min(max(i, 0), columns - 2)
    cdef double up = j + 0.5 - j0, right = i + 0.5 - i0  # between the middles of four cells
    cdef double height = (1 - up) * ((1 - right) * limit[j0, i0] + right * limit[j0, i0 + 1])
    height += up * ((1 - right) * limit[j0 + 1, i0] + right * limit[j0 + 1, i0 + 1])
    for jn in range(max(0, j - AROUND), min(rows, j + AROUND + 2)):
        for i_n in range(max(0, i - AROUND), min(columns, i + AROUND + 2)):
            if not busy(state[jn, i_n]) or blocks(state, bottoms, jn, i_n):
                continue
            allowed = surface[jn, i_n] + slope * sqrt((i_n * dx - x) ** 2 + (jn * dy - y) ** 2)
            if allowed < height:
                if seen(ground, state, bottoms, jn, i_n, x, y, 0.0, slope, dx, dy) < INFINITY:
                    height = allowed
    return height


cdef double seen(
    Known ground, Mask state, Solids bottoms, Py_ssize_t j, Py_ssize_t i, double x, double y,
    double allowed, double slope, double dx, double dy,
) noexcept:
    """Height that a point of the edge, or the ground on the way to it, allows at a cell.

    Infinite where grains do not lie all along the line between them.
    """
    cdef double right = x / dx - i, up = y / dy - j, share, way
    cdef Py_ssize_t count = <Py_ssize_t>(2 * max(fabs(right), fabs(up))) + 1, k, jn, i_n
    cdef double length = sqrt((right * dx) ** 2 + (up * dy) ** 2)
    cdef bint inner
    allowed = max(allowed, ground[j, i])
    for k in range(1, count):
        share = k / <double>count
        jn, i_n = llrint(j + share * up), llrint(i + share * right)
        if not (0 <= jn < ground.shape[0] and 0 <= i_n < ground.shape[1]):
            return INFINITY
        inner = (1 - share) * length > max(dx, dy)  # the last cell may be the free one itself
        if blocks(state, bottoms, jn, i_n) or (inner and not busy(state[jn, i_n])):
            return INFINITY
        if busy(state[jn, i_n]):
            way = sqrt(((i_n - i) * dx) ** 2 + ((jn - j) * dy) ** 2)
            allowed = max(allowed, ground[jn, i_n] + slope * way)
    return allowed


cdef inline double upwind(double a, double ha, double c, double hc, double slope) noexcept:
    """Solve ((u - a)⁺ / ha)² + ((u - c)⁺ / hc)² = slope²."""
    cdef double one_a = a + slope * ha, one_c = c + slope * hc, wa, wc, total, rest
    if one_a <= c:
        return one_a
    if one_c <= a:
        return one_c
    wa, wc = 1 / (ha * ha), 1 / (hc * hc)
    total = wa + wc
    rest = slope * slope * total - wa * wc * (a - c) ** 2
    return (wa * a + wc * c + sqrt(max(rest, 0.0))) / total


cdef inline (double, double) beside(
    Field surface, Known edge, Mask state, Py_ssize_t j, Py_ssize_t i, Py_ssize_t jn,
    Py_ssize_t i_n, double step,
) noexcept:
    """Height and distance of a neighbour; infinitely high at a pane or a wall."""
    cdef bint inside = 0 <= jn < surface.shape[0] and 0 <= i_n < surface.shape[1]
    if not inside or state[jn, i_n] == WALL:
        return INFINITY, step
    return surface[jn, i_n], step * reach_of(edge, state, j, i, jn, i_n)


cdef double allowed_at(
    Field surface, Known edge, Mask state, Py_ssize_t j, Py_ssize_t i, double slope,
    double dx, double dy,
) noexcept:
    """Upwind height of a cell whose neighbours lie at distances of their own.

    The steeper of the two sides along each axis counts: the least of the four quadrants.
    """
    cdef (double, double) left = beside(surface, edge, state, j, i, j, i - 1, dx)
    cdef (double, double) right = beside(surface, edge, state, j, i, j, i + 1, dx)
    cdef (double, double) before = beside(surface, edge, state, j, i, j - 1, i, dy)
    cdef (double, double) behind = beside(surface, edge, state, j, i, j + 1, i, dy)
    return min(
        upwind(left[0], left[1], before[0], before[1], slope),
        upwind(left[0], left[1], behind[0], behind[1], slope),
        upwind(right[0], right[1], before[0], before[1], slope),
        upwind(right[0], right[1], behind[0], behind[1], slope),
    )


def settle(
    Field surface, Known ground, Mask state, Solids bottoms, Solids tops, Known edge,
    double slope, double dx, double dy,
):
    """Lower the surface in place by sweeps up and down the rows until nothing moves.

    Gives whether it came to rest.
    """
    cdef Py_ssize_t rows = surface.shape[0], jj, j
    cdef uint8_t[::1] active = np.ones(rows + 2, dtype=np.uint8)
    cdef int turn
    cdef bint any_left
    for turn in range(ROUNDS):
        any_left = False
        for jj in range(rows):
            j = jj if turn % 2 == 0 else rows - 1 - jj
            if not active[j + 1]:
                continue
            any_left, active[j + 1] = True, False
            if swept(surface, ground, state, bottoms, tops, edge, j, slope, dx, dy):
                active[j] = active[j + 1] = active[j + 2] = True
        if not any_left:
            return True
    return False


cdef bint swept(
    Field surface, Known ground, Mask state, Solids bottoms, Solids tops, Known edge,
    Py_ssize_t j, double slope, double dx, double dy,
) noexcept:
    """Sweep one row forth and back, and tell whether anything moved."""
    cdef Py_ssize_t columns = surface.shape[1], ii, i
    cdef double least = slope / sqrt(1 / dx**2 + 1 / dy**2), here, a, c, u
    cdef bint moved = False
    cdef int way
    for way in range(2):
        for ii in range(columns):
            i = ii if way == 0 else columns - 1 - ii
            here = surface[j, i]
            if state[j, i] == PLAIN:
                a = min(surface[j, i - 1], surface[j, i + 1])
                c = min(surface[j - 1, i], surface[j + 1, i])
                if here <= min(a, c) + least:
                    continue
                u = max(upwind(a, dx, c, dy, slope), ground[j, i])
            elif state[j, i] == ODD:
                u = allowed_at(surface, edge, state, j, i, slope, dx, dy)
                u = max(min(u, here), ground[j, i])
                u = out_of_solids(u, bottoms, tops, j, i)
            else:
                continue
            if u < here - 1e-12:
                surface[j, i] = u
                moved = True
    return moved


cdef (double, double) nearest(const double[::1] ends, double x, double y) noexcept:
    """Place on a straight opening that lies nearest to a point."""
    cdef double ux = ends[2] - ends[0], uy = ends[3] - ends[1], share = 0.0
    cdef double length = ux * ux + uy * uy
    if length > 0:
        share = min(max(((x - ends[0]) * ux + (y - ends[1]) * uy) / length, 0.0), 1.0)
    return ends[0] + share * ux, ends[1] + share * uy


cdef bint sees(
    Mask barred, Mask side, Py_ssize_t j, Py_ssize_t i, double x, double y, double dx, double dy
) noexcept:
    """Tell whether nothing stands between a cell and a place on its own side."""
    cdef double right = x / dx - 0.5 - i, up = y / dy - 0.5 - j, share, left, row, column
    cdef Py_ssize_t count = <Py_ssize_t>(4 * max(fabs(right), fabs(up))) + 1, k, jn, i_n
    for k in range(1, count):
        share = k / <double>count
        left = (1 - share) * sqrt(right * right + up * up)
        if left <= NEAR:
            return True
        row, column = j + share * up, i + share * right
        jn, i_n = llrint(row), llrint(column)
        # A corner that only grazes the middle of a cell does not stand in the way.
        if max(fabs(row - jn), fabs(column - i_n)) >= GRAZES:
            continue
        if barred[jn, i_n] or side[jn, i_n] != side[j, i]:
            return False
    return True


def ways_from(Mask barred, Mask side, const double[::1] ends, double far, double dx, double dy):
    """Length of the shortest way around the stones from an opening to each cell [m].

    Straight where the opening is seen, else around the corners of the stones.
    """
    cdef Py_ssize_t rows = barred.shape[0], columns = barred.shape[1], j, i
    lengths = np.full((rows, columns), NOWHERE)
    cdef Field ways = lengths
    # Last corner on the way (x, y), and the way to it.
    cdef double[:, :, ::1] bends = np.zeros((rows, columns, 3))
    cdef bint[2] reached = [False, False]
    cdef double[2] close = [NOWHERE, NOWHERE]
    cdef double cx, cy, x, y, straight
    cdef int own
    for j in range(rows):
        for i in range(columns):
            if barred[j, i]:
                continue
            cx, cy = (i + 0.5) * dx, (j + 0.5) * dy
            x, y = nearest(ends, cx, cy)
            straight = sqrt((cx - x) ** 2 + (cy - y) ** 2)
            own = side[j, i]
            close[own] = min(close[own], straight)
            if straight <= far and sees(barred, side, j, i, x, y, dx, dy):
                ways[j, i], bends[j, i, 0], bends[j, i, 1] = straight, x, y
                reached[own] = True
    for own in range(2):
        if reached[own]:
            continue
        for j in range(rows):  # a gap narrower than a cell: begin where the grid opens
            for i in range(columns):
                if barred[j, i] or side[j, i] != own:
                    continue
                x, y = nearest(ends, (i + 0.5) * dx, (j + 0.5) * dy)
                straight = sqrt(((i + 0.5) * dx - x) ** 2 + ((j + 0.5) * dy - y) ** 2)
                if straight <= close[own] + dx:
                    ways[j, i], bends[j, i, 0], bends[j, i, 1] = straight, x, y
    while carried_on(ways, bends, barred, side, far, dx, dy):
        pass
    return lengths


cdef (double, double) corner(
    Mask barred, Py_ssize_t j, Py_ssize_t i, double dx, double dy
) noexcept:
    """Corner of a stone that a cell touches, around which a way bends; else its middle."""
    cdef Py_ssize_t jn, i_n
    cdef int n, right, up, met
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


cdef bint carried_on(
    Field ways, double[:, :, ::1] bends, Mask barred, Mask side, double far, double dx, double dy
) noexcept:
    """Carry ways on into cells that do not see the opening, in place: straight from bend to bend.

    A cell takes over the last corner of a neighbour if it sees it; else the neighbour is one.
    Tells whether any way became shorter.
    """
    cdef Py_ssize_t rows = ways.shape[0], columns = ways.shape[1], jj, j, ii, i, jn, i_n
    cdef double cx, cy, x, y, bx, by, done, way
    cdef int turn, n
    cdef bint moved = False
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
                    x, y, done = bends[jn, i_n, 0], bends[jn, i_n, 1], bends[jn, i_n, 2]
                    way = done + sqrt((cx - x) ** 2 + (cy - y) ** 2)
                    if way > far or way >= ways[j, i] - 1e-9:
                        continue
                    if not sees(barred, side, j, i, x, y, dx, dy):
                        bx, by = corner(barred, jn, i_n, dx, dy)
                        done += sqrt((bx - x) ** 2 + (by - y) ** 2)
                        x, y = bx, by
                        way = done + sqrt((cx - x) ** 2 + (cy - y) ** 2)
                        if way >= ways[j, i] - 1e-9:
                            continue
                    ways[j, i] = way
                    bends[j, i, 0], bends[j, i, 1], bends[j, i, 2] = x, y, done
                    moved = True
    return moved


def lay_surface(
    const double[::1] ways, const int64_t[:, ::1] starts, const int64_t[:, ::1] shapes,
    const double[::1] sills, Known upper, Known below, Known lower, Mask side, double slope,
    Field rested, int64_t[:, ::1] source, const double[::1] levels, Field flows, Field stiff,
):
    """Lay the surface that given levels in the openings make, in place.

    `flows` gets what each opening loses and gains, in metres times cells, `stiff` how that
    changes with the levels. A cell that two openings reach about alike is parted between them.
    """
    cdef Field whole = np.zeros((upper.shape[0], upper.shape[1]))
    cdef Py_ssize_t j, i, k, jj, ii, at, first
    cdef double top, way, height, behind, part, moved, shared
    cdef bint back, gives
    cdef int turn
    source[:, :], flows[:, :], stiff[:, :] = -1, 0.0, 0.0
    for j in range(upper.shape[0]):
        for i in range(upper.shape[1]):
            rested[j, i] = upper[j, i] if side[j, i] else lower[j, i]
    for turn in range(3):
        at = 0
        for k in range(levels.shape[0]):
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
                        whole[j, i] += exp(behind / ALIKE)
                        continue
                    part = exp(behind / ALIKE) / whole[j, i]
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
