# cython: boundscheck=False, wraparound=False, cdivision=True, cpow=True
"""Loops that array operations cannot do, compiled.

No index is checked: each lies within its array by its loop, or by what its docstring asks.
"""

from libc.math cimport INFINITY, ceil, fabs, floor, sqrt
from libc.stdint cimport int64_t, uint8_t

import numpy as np


def united(double[:, :, ::1] bottoms, double[:, :, ::1] tops, const int64_t[:, ::1] counts):
    """Sort the intervals of each column and merge overlaps, in place; give the most left."""
    cdef Py_ssize_t j, i, n, k, at, kept, most = 0
    cdef double low, high
    for j in range(counts.shape[0]):
        for i in range(counts.shape[1]):
            n = counts[j, i]
            for k in range(1, n):  # few each, so they are put in one by one
                low, high, at = bottoms[k, j, i], tops[k, j, i], k
                while at > 0 and bottoms[at - 1, j, i] > low:
                    bottoms[at, j, i], tops[at, j, i] = bottoms[at - 1, j, i], tops[at - 1, j, i]
                    at -= 1
                bottoms[at, j, i], tops[at, j, i] = low, high
            kept = 0
            for k in range(n):
                low, high = bottoms[k, j, i], tops[k, j, i]
                if kept and low <= tops[kept - 1, j, i]:
                    tops[kept - 1, j, i] = max(tops[kept - 1, j, i], high)
                else:
                    bottoms[kept, j, i], tops[kept, j, i] = low, high
                    kept += 1
            for k in range(kept, n):
                bottoms[k, j, i] = tops[k, j, i] = INFINITY
            most = max(most, kept)
    return most


def put_in(
    double[:, :, ::1] bottoms, double[:, :, ::1] tops, int64_t[:, ::1] counts,
    const double[:, :, :] lows, const double[:, :, :] highs, Py_ssize_t row, Py_ssize_t column,
):
    """Add the intervals of a body, whose part begins at a cell, to those of the columns."""
    cdef Py_ssize_t j, i, k, n
    for k in range(lows.shape[0]):
        for j in range(lows.shape[1]):
            for i in range(lows.shape[2]):
                if lows[k, j, i] < INFINITY:
                    n = counts[row + j, column + i]
                    bottoms[n, row + j, column + i] = lows[k, j, i]
                    tops[n, row + j, column + i] = highs[k, j, i]
                    counts[row + j, column + i] = n + 1


def lengths_below(
    const int64_t[::1] cells, const double[:, ::1] bottoms, const double[:, ::1] tops,
    const double[::1] levels, double[::1] lengths,
):
    """Sum what intervals, (layers, n), hold below a level, into the flat cells they stand over.

    `levels` are of all cells, or one for all of them.
    """
    cdef Py_ssize_t k, n, cell
    cdef bint one = levels.shape[0] == 1
    cdef double level, high, length
    for n in range(cells.shape[0]):
        cell, length = cells[n], 0.0
        level = levels[0] if one else levels[cell]
        for k in range(bottoms.shape[0]):
            high = min(tops[k, n], level)
            if high > bottoms[k, n]:
                length += high - bottoms[k, n]
        lengths[cell] = length


def crossings(
    const double[:, ::1] vertices, const int64_t[:, :] faces, const double[::1] shift_x,
    const double[::1] shift_y, double aside, Py_ssize_t room,
):
    """Find where the vertical lines through all samples cross the faces.

    The sample of a cell lies in its middle, `shift_x` of its row and `shift_y` of its column
    aside, at most `aside` each. Returns the flat cells (rows × columns), the heights, whether the
    face looks up, and how many there are; more than `room` are counted but not kept.
    """
    cdef Py_ssize_t rows = shift_x.shape[0], columns = shift_y.shape[0], count = 0
    cells, upward = np.empty(room, dtype=np.int64), np.empty(room, dtype=np.bool_)
    heights = np.empty(room)
    cdef int64_t[::1] cell = cells
    cdef uint8_t[::1] up = upward
    cdef double[::1] height = heights
    cdef Py_ssize_t f, a, b, c, i, j, i0, i1, j0, j1
    cdef double x, y, xa, ya, za, xb, yb, zb, xc, yc, zc, wa, wb, wc
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        xa, xb, xc = vertices[a, 0], vertices[b, 0], vertices[c, 0]
        i0 = max(0, <Py_ssize_t>ceil(min(xa, xb, xc) - aside))
        i1 = min(columns - 1, <Py_ssize_t>floor(max(xa, xb, xc) + aside))
        if i0 > i1:
            continue
        ya, yb, yc = vertices[a, 1], vertices[b, 1], vertices[c, 1]
        j0 = max(0, <Py_ssize_t>ceil(min(ya, yb, yc) - aside))
        j1 = min(rows - 1, <Py_ssize_t>floor(max(ya, yb, yc) + aside))
        if j0 > j1:
            continue
        za, zb, zc = vertices[a, 2], vertices[b, 2], vertices[c, 2]
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                x, y = i + shift_x[j], j + shift_y[i]
                wa = (xb - x) * (yc - y) - (xc - x) * (yb - y)
                wb = (xc - x) * (ya - y) - (xa - x) * (yc - y)
                wc = (xa - x) * (yb - y) - (xb - x) * (ya - y)
                if (wa > 0 and wb > 0 and wc > 0) or (wa < 0 and wb < 0 and wc < 0):
                    if count < room:
                        cell[count] = j * columns + i
                        up[count] = wa > 0
                        height[count] = (wa * za + wb * zb + wc * zc) / (wa + wb + wc)
                    count += 1
    return cells, heights, upward, count


def put_by_cell(
    const int64_t[::1] cells, const double[::1] heights, Py_ssize_t count, int64_t[::1] fill,
    double[::1] ordered,
):
    """Put hits of one cell side by side and rising; `fill` is where each cell starts."""
    cdef const int64_t[::1] first = fill.copy()
    cdef Py_ssize_t k, cell, at
    cdef double height
    for k in range(count):
        cell, height = cells[k], heights[k]
        at = fill[cell]
        while at > first[cell] and ordered[at - 1] > height:
            ordered[at] = ordered[at - 1]
            at -= 1
        ordered[at] = height
        fill[cell] += 1


def basins_of(
    const double[::1] depth, const int64_t[::1] order, const int64_t[::1] strides, double neck,
    double least_part,
):
    """Flood basins from the deepest cell down, and join those whose ridge is no neck.

    A cell between two basins goes to that of its deepest neighbour. No cell of `order` lies at the
    rim of the lattice. Returns the basin of each cell, -1 beside them all, and the narrowest neck;
    `least_part` is the share of the cells that counts as a part.
    """
    labels = np.full(depth.shape[0], -1, dtype=np.int64)
    cdef int64_t[::1] label = labels, parent = np.arange(order.shape[0], dtype=np.int64)
    cdef double[::1] peak = np.zeros(order.shape[0])
    cdef int64_t[::1] size = np.zeros(order.shape[0], dtype=np.int64)
    cdef int64_t[26] around
    cdef int64_t cell, mine, other, lower, higher, count = 0
    cdef double narrowest = 1.0, enough = least_part * order.shape[0], ratio, deepest
    cdef Py_ssize_t n = 0, at
    cdef int i, j, k
    for i in range(-1, 2):
        for j in range(-1, 2):
            for k in range(-1, 2):
                if i != 0 or j != 0 or k != 0:
                    around[n] = i * strides[0] + j * strides[1] + k * strides[2]
                    n += 1
    for at in range(order.shape[0]):
        cell, mine, deepest = order[at], -1, 0.0
        for n in range(26):
            other = label[cell + around[n]]
            if other < 0:
                continue
            other = root_of(parent, other)
            if mine >= 0 and other != mine:
                lower, higher = (other, mine) if peak[other] < peak[mine] else (mine, other)
                ratio = depth[cell] / peak[lower]
                if ratio < neck and size[lower] >= enough:
                    narrowest = min(narrowest, ratio)
                else:
                    parent[lower] = higher
                    size[higher] += size[lower]
                    mine = other = higher
            if depth[cell + around[n]] > deepest:
                deepest, mine = depth[cell + around[n]], other
        if mine < 0:
            mine = count
            peak[mine] = depth[cell]
            count += 1
        label[cell] = mine
        size[mine] += 1
    for at in range(order.shape[0]):
        label[order[at]] = root_of(parent, label[order[at]])
    return labels, narrowest


cdef inline int64_t root_of(const int64_t[::1] parent, int64_t label) noexcept:
    """Basin into which one was joined, and that again, to the last."""
    while parent[label] != label:
        label = parent[label]
    return label


def paint(
    uint8_t[:, ::1] picture, const double[:, :, ::1] where, const double[:, :, ::1] uv,
    const uint8_t[:, ::1] texture,
):
    """Draw textured triangles, corners (m, 3, 2) as column and row of picture and texture."""
    cdef Py_ssize_t rows = picture.shape[0], columns = picture.shape[1]
    cdef Py_ssize_t high = texture.shape[0], wide = texture.shape[1], k, row, column, i, j
    cdef Py_ssize_t right, below
    cdef double ax, ay, bx, by, cx, cy, area, a, b, c, x, y, u, v, upper, lower
    if not (wide and high):
        return
    for k in range(where.shape[0]):
        ax, ay, bx, by = where[k, 0, 0], where[k, 0, 1], where[k, 1, 0], where[k, 1, 1]
        cx, cy = where[k, 2, 0], where[k, 2, 1]
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if fabs(area) < 1e-12:
            continue
        for row in range(
            max(0, <Py_ssize_t>min(ay, by, cy)), min(rows, <Py_ssize_t>max(ay, by, cy) + 2)
        ):
            for column in range(
                max(0, <Py_ssize_t>min(ax, bx, cx)), min(columns, <Py_ssize_t>max(ax, bx, cx) + 2)
            ):
                b = ((column - ax) * (cy - ay) - (cx - ax) * (row - ay)) / area
                c = ((bx - ax) * (row - ay) - (column - ax) * (by - ay)) / area
                a = 1 - b - c
                if a < -1e-6 or b < -1e-6 or c < -1e-6:
                    continue
                x = a * uv[k, 0, 0] + b * uv[k, 1, 0] + c * uv[k, 2, 0] - 0.5
                y = a * uv[k, 0, 1] + b * uv[k, 1, 1] + c * uv[k, 2, 1] - 0.5
                i = max(min(<Py_ssize_t>floor(x), wide - 2), 0)
                j = max(min(<Py_ssize_t>floor(y), high - 2), 0)
                u, v = min(max(x - i, 0.0), 1.0), min(max(y - j, 0.0), 1.0)
                right, below = min(i + 1, wide - 1), min(j + 1, high - 1)
                upper = texture[j, i] * (1 - u) + texture[j, right] * u
                lower = texture[below, i] * (1 - u) + texture[below, right] * u
                picture[row, column] = <uint8_t>(upper * (1 - v) + lower * v + 0.5)


def signed_distances(
    const double[:, ::1] polygon, const double[::1] x, const double[::1] y
):
    """Signed distance of points (n,) to a polygon [m], positive inside."""
    distances = np.empty(x.shape[0])
    cdef double[::1] found = distances
    cdef Py_ssize_t corners = polygon.shape[0], k, i, before
    cdef double x0, y0, sx, sy, rx, ry, along, nearest
    cdef bint inside
    for k in range(x.shape[0]):
        inside, nearest, before = False, INFINITY, corners - 1
        for i in range(corners):
            x0, y0 = polygon[before, 0], polygon[before, 1]
            sx, sy = polygon[i, 0] - x0, polygon[i, 1] - y0
            rx, ry = x[k] - x0, y[k] - y0
            if (ry < 0) != (ry < sy) and rx < ry * sx / sy:
                inside = not inside
            along = min(max((rx * sx + ry * sy) / max(sx * sx + sy * sy, 1e-18), 0.0), 1.0)
            nearest = min(nearest, (rx - along * sx) ** 2 + (ry - along * sy) ** 2)
            before = i
        found[k] = sqrt(nearest) if inside else -sqrt(nearest)
    return distances
