# cython: boundscheck=False, wraparound=False, cdivision=True
"""What the faces of a mesh measure and how they hang together, in one walk each.

Faces are rows of corners below `count`, or below the number of vertices. No index is checked: what
reads a file does that.
"""

from libc.math cimport M_PI, atan2, fabs, rint, sqrt
from libc.stdint cimport int32_t, int64_t, uint8_t, uint32_t, uint64_t

import numpy as np

cdef enum:
    DIGIT = 11  # bits that are sorted by at a time


def face_areas(const double[:, :] vertices, const int64_t[:, :] faces):
    """Area of each face [square of the unit of the mesh], (m,)."""
    found = np.empty(faces.shape[0])
    cdef double[::1] area = found
    cdef double[3] n
    cdef Py_ssize_t f
    for f in range(faces.shape[0]):
        normal(vertices, faces, f, n)
        area[f] = sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]) / 2
    return found


def corner_sums(const double[:, :] vertices, const int64_t[:, :] faces):
    """Sum of the vectors at right angles to the faces of each corner, twice their areas, (n, 3)."""
    found = np.zeros((vertices.shape[0], 3))
    cdef double[:, ::1] sums = found
    cdef double[3] n
    cdef Py_ssize_t f, k, i
    for k in range(3):
        for f in range(faces.shape[0]):
            normal(vertices, faces, f, n)
            for i in range(3):
                sums[faces[f, k], i] += n[i]
    return found


def turned_areas(
    const double[:, :] vertices, const int64_t[:, :] faces, const double[:, :] ways
):
    """Area of each face times the square by which it looks aside of the `ways` of its corners, (m,).

    `ways` (n, 3) are of length 1; the square is that of their mean from its normal.
    """
    found = np.zeros(faces.shape[0])
    cdef double[::1] turned = found
    cdef double[3] n
    cdef double size, aside
    cdef Py_ssize_t f, i
    for f in range(faces.shape[0]):
        normal(vertices, faces, f, n)
        size = sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2])
        if size == 0:
            continue
        for i in range(3):
            aside = ways[faces[f, 0], i] + ways[faces[f, 1], i] + ways[faces[f, 2], i]
            aside = n[i] / size - aside / 3
            turned[f] += aside * aside * size / 2
    return found


def ring_sums(const int64_t[:, :] faces, const double[:] values, Py_ssize_t count):
    """Sum what faces hold (m,) over those at each corner of a face, its own three times, (m,)."""
    found, corners = np.empty(faces.shape[0]), np.zeros(count)
    cdef double[::1] ring = found, held = corners
    cdef Py_ssize_t f, k
    for f in range(faces.shape[0]):
        for k in range(3):
            held[faces[f, k]] += values[f]
    for f in range(faces.shape[0]):
        ring[f] = held[faces[f, 0]] + held[faces[f, 1]] + held[faces[f, 2]]
    return found


cdef inline void normal(
    const double[:, :] vertices, const int64_t[:, :] faces, Py_ssize_t f, double* n
) noexcept:
    """Product of two sides of a face, outward."""
    cdef int64_t a = faces[f, 0], b = faces[f, 1], c = faces[f, 2]
    cdef double bx = vertices[b, 0] - vertices[a, 0], by = vertices[b, 1] - vertices[a, 1]
    cdef double bz = vertices[b, 2] - vertices[a, 2], cx = vertices[c, 0] - vertices[a, 0]
    cdef double cy = vertices[c, 1] - vertices[a, 1], cz = vertices[c, 2] - vertices[a, 2]
    n[0], n[1], n[2] = by * cz - bz * cy, bz * cx - bx * cz, bx * cy - by * cx


cdef inline double corners_about(
    const double[:, :] vertices, const int64_t[:, :] faces, Py_ssize_t f, const double[::1] middle,
    double[3][3] at,
) noexcept:
    """Put the corners of a face about a point into `at`; six times the volume between them."""
    cdef Py_ssize_t k, i
    for k in range(3):
        for i in range(3):
            at[k][i] = vertices[faces[f, k], i] - middle[i]
    return (
        at[0][0] * (at[1][1] * at[2][2] - at[1][2] * at[2][1])
        + at[0][1] * (at[1][2] * at[2][0] - at[1][0] * at[2][2])
        + at[0][2] * (at[1][0] * at[2][1] - at[1][1] * at[2][0])
    )


def sixfold(const double[:, :] vertices, const int64_t[:, :] faces, const double[::1] middle):
    """Six times the signed volume between each face and a point, (m,)."""
    found = np.empty(faces.shape[0])
    cdef double[::1] volume = found
    cdef double[3][3] at
    cdef Py_ssize_t f
    for f in range(faces.shape[0]):
        volume[f] = corners_about(vertices, faces, f, middle, at)
    return found


def moment(const double[:, :] vertices, const int64_t[:, :] faces, const double[::1] middle):
    """Six times the volume of a closed mesh, and 24 times its first moments about a point, (3,)."""
    sums = np.zeros(3)
    cdef double[::1] total = sums
    cdef double[3][3] at
    cdef double volume, sixfold_volume = 0
    cdef Py_ssize_t f, i
    for f in range(faces.shape[0]):
        volume = corners_about(vertices, faces, f, middle, at)
        sixfold_volume += volume
        for i in range(3):
            total[i] += volume * (at[0][i] + at[1][i] + at[2][i])
    return sixfold_volume, sums


def wet_sums(
    const double[:, :] vertices, const int64_t[:, :] faces, const double[::1] middle,
    const double[::1] levels,
):
    """Seven sums over what lies of all faces below each of some rising levels, (k, 7).

    They are the integrals of 1, z, x, y, xz, yz and z² over the faces seen from above, about a
    point; levels are heights over it. A face adds the same to all levels above its highest corner,
    so it is cut only by those between its corners.
    """
    whole, parts = np.zeros((levels.shape[0] + 1, 7)), np.zeros((levels.shape[0], 7))
    cdef double[:, ::1] below = whole, cut = parts
    cdef double[3][3] at
    cdef double low, high
    cdef Py_ssize_t f, k, first, last
    for f in range(faces.shape[0]):
        corners_about(vertices, faces, f, middle, at)
        low = min(at[0][2], at[1][2], at[2][2])
        high = max(at[0][2], at[1][2], at[2][2])
        first, last = 0, levels.shape[0]
        while first < last:  # the first level over the lowest corner
            k = (first + last) // 2
            if levels[k] <= low:
                first = k + 1
            else:
                last = k
        for k in range(first, levels.shape[0]):
            if levels[k] >= high:
                add_face(at[0], at[1], at[2], 1, &below[k, 0])
                break
            add_wet_part(at, levels[k], &cut[k, 0])
    return whole[:-1].cumsum(axis=0) + parts


cdef inline void add_wet_part(double[3][3] at, double level, double* sums) noexcept:
    """Add the seven sums of what lies of a face below a level that crosses it."""
    cdef double[2][3] cut
    cdef double *apex, *other
    cdef double share
    cdef bint[3] wet
    cdef Py_ssize_t k, i, alone
    for k in range(3):
        wet[k] = at[k][2] < level
    # The corner that is by itself on its side of the level.
    alone = 0 if wet[1] == wet[2] else 1 if wet[0] == wet[2] else 2
    apex = at[alone]
    for k in range(2):
        other = at[(alone + k + 1) % 3]
        share = (apex[2] - level) / (apex[2] - other[2])
        for i in range(2):
            cut[k][i] = apex[i] + share * (other[i] - apex[i])
        cut[k][2] = level
    if wet[alone]:
        add_face(apex, cut[0], cut[1], 1, sums)
    else:
        add_face(at[0], at[1], at[2], 1, sums)
        add_face(apex, cut[0], cut[1], -1, sums)


cdef inline void add_face(double* a, double* b, double* c, double sign, double* sums) noexcept:
    """Add a sign times the seven sums of a triangle."""
    cdef double area = sign * 0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
    cdef double x = a[0] + b[0] + c[0], y = a[1] + b[1] + c[1], z = a[2] + b[2] + c[2]
    cdef double twelfth = area / 12
    sums[0] += area
    sums[1] += area / 3 * z
    sums[2] += area / 3 * x
    sums[3] += area / 3 * y
    sums[4] += twelfth * (x * z + a[0] * a[2] + b[0] * b[2] + c[0] * c[2])
    sums[5] += twelfth * (y * z + a[1] * a[2] + b[1] * b[2] + c[1] * c[2])
    sums[6] += twelfth * (z * z + a[2] * a[2] + b[2] * b[2] + c[2] * c[2])


def winding(const double[:, :] vertices, const int64_t[:, :] faces, const double[:, :] points):
    """How often a mesh winds around each point, (k,).

    The half angles of faces are arguments of complex numbers (bottom, top), which add up where these
    are multiplied; two within an eighth of a turn make no whole one, so few need an arc tangent.
    """
    found, from_point = np.zeros(points.shape[0]), np.empty((vertices.shape[0], 4))
    cdef double[::1] turns = found
    cdef double[:, ::1] at = from_point  # x, y, z and length
    cdef double angle, real, imaginary, top, bottom, slope
    cdef double *a, *b, *c
    cdef Py_ssize_t k, v, f, i
    for k in range(points.shape[0]):
        for v in range(vertices.shape[0]):
            for i in range(3):
                at[v, i] = vertices[v, i] - points[k, i]
            at[v, 3] = sqrt(at[v, 0] * at[v, 0] + at[v, 1] * at[v, 1] + at[v, 2] * at[v, 2])
        angle, real, imaginary = 0, 1, 0
        for f in range(faces.shape[0]):
            a, b, c = &at[faces[f, 0], 0], &at[faces[f, 1], 0], &at[faces[f, 2], 0]
            top = (
                a[0] * (b[1] * c[2] - b[2] * c[1])
                + a[1] * (b[2] * c[0] - b[0] * c[2])
                + a[2] * (b[0] * c[1] - b[1] * c[0])
            )
            bottom = a[3] * b[3] * c[3]
            bottom += (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) * c[3]
            bottom += (b[0] * c[0] + b[1] * c[1] + b[2] * c[2]) * a[3]
            bottom += (c[0] * a[0] + c[1] * a[1] + c[2] * a[2]) * b[3]
            if fabs(top) >= bottom:
                angle += atan2(top, bottom)
                continue
            slope = top / bottom
            real, imaginary = real - imaginary * slope, imaginary + real * slope
            if fabs(imaginary) >= real or real > 1e100:
                angle += atan2(imaginary, real)
                real, imaginary = 1, 0
        turns[k] = (angle + atan2(imaginary, real)) / (2 * M_PI)
    return found


def shell_volumes(
    const double[:, :] vertices, const int64_t[:, :] faces, const int64_t[::1] number
):
    """Signed volume of each shell around its own middle, (shells,)."""
    cdef Py_ssize_t count = np.max(number) + 1 if number.shape[0] else 0, f, i, k
    cdef int64_t s
    sums, sizes, volumes = np.zeros((count, 3)), np.zeros(count), np.zeros(count)
    cdef double[:, ::1] centre = sums
    cdef double[::1] size = sizes, volume = volumes
    cdef double[3][3] at
    for f in range(faces.shape[0]):
        s = number[f]
        size[s] += 1
        for i in range(3):
            centre[s, i] += (
                vertices[faces[f, 0], i] + vertices[faces[f, 1], i] + vertices[faces[f, 2], i]
            ) / 3
    for s in range(count):
        for i in range(3):
            centre[s, i] /= size[s]
    for f in range(faces.shape[0]):
        s = number[f]
        for k in range(3):
            for i in range(3):
                at[k][i] = vertices[faces[f, k], i] - centre[s, i]
        volume[s] += (
            at[0][0] * (at[1][1] * at[2][2] - at[1][2] * at[2][1])
            + at[0][2] * (at[1][0] * at[2][1] - at[1][1] * at[2][0])
            + at[0][1] * (at[1][2] * at[2][0] - at[1][0] * at[2][2])
        )
    return volumes / 6


def seen_from_above(const double[:, :] vertices, const int64_t[:, :] faces):
    """Area of each face from above, below zero for one that looks down, and its mean height."""
    found, heights = np.empty(faces.shape[0]), np.empty(faces.shape[0])
    cdef double[::1] area = found, height = heights
    cdef double[3] n
    cdef Py_ssize_t f
    for f in range(faces.shape[0]):
        normal(vertices, faces, f, n)
        area[f] = n[2] / 2
        height[f] = (
            vertices[faces[f, 0], 2] + vertices[faces[f, 1], 2] + vertices[faces[f, 2], 2]
        ) / 3
    return found, heights


def cells_of(const double[:, :] vertices, const double[::1] low, double step):
    """Key of the cell of a lattice of 2²¹ a side that each vertex is nearest to, (n,)."""
    keys = np.empty(vertices.shape[0], dtype=np.uint64)
    cdef uint64_t[::1] key = keys
    cdef Py_ssize_t k
    cdef uint64_t x, y, z
    for k in range(vertices.shape[0]):
        x = <uint64_t>rint((vertices[k, 0] - low[0]) / step)
        y = <uint64_t>rint((vertices[k, 1] - low[1]) / step)
        z = <uint64_t>rint((vertices[k, 2] - low[2]) / step)
        key[k] = x << 42 | y << 21 | z
    return keys


def cut_faces(const double[:] height, const int64_t[:, :] faces, const double[::1] levels):
    """Which level and which face meet, (k,) each, by faces; a corner on a level lies below it."""
    cdef Py_ssize_t count = 0, f, k
    cdef double a, b, c, low, high
    cdef bint keep
    plane, face = np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    cdef int64_t[::1] planes = plane, met = face
    for keep in (False, True):
        if keep:
            plane, face = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
            planes, met, count = plane, face, 0
        for f in range(faces.shape[0]):
            a, b, c = height[faces[f, 0]], height[faces[f, 1]], height[faces[f, 2]]
            low, high = min(a, b, c), max(a, b, c)
            for k in range(levels.shape[0]):
                if low <= levels[k] < high:
                    if keep:
                        planes[count], met[count] = k, f
                    count += 1
    return plane, face


def corners_of(const int64_t[:, :] faces):
    """Corners that some face uses, rising, (k,)."""
    used = np.zeros(np.max(faces) + 1 if faces.shape[0] else 0, dtype=np.bool_)
    cdef uint8_t[::1] is_used = used
    cdef Py_ssize_t f, k
    for f in range(faces.shape[0]):
        for k in range(faces.shape[1]):
            is_used[faces[f, k]] = True
    return np.flatnonzero(used)


def near_faces(
    const int64_t[:, :] faces, Py_ssize_t count, const int64_t[:] corners, int rings
):
    """Which faces lie within some rings of given corners, (m,)."""
    cdef uint8_t[::1] ring = np.zeros(count, dtype=np.uint8)
    found = np.zeros(faces.shape[0], dtype=np.bool_)
    cdef uint8_t[::1] touched = found
    cdef Py_ssize_t f, k
    cdef int turn
    cdef uint8_t own
    for k in range(corners.shape[0]):
        ring[corners[k]] = 1
    for turn in range(1, rings + 1):
        for f in range(faces.shape[0]):
            if touched[f]:
                continue
            for k in range(3):
                own = ring[faces[f, k]]
                if 0 < own <= turn:
                    touched[f] = True
                    break
            if touched[f]:
                for k in range(3):
                    if ring[faces[f, k]] == 0:
                        ring[faces[f, k]] = turn + 1
    return found


def balance(const int64_t[:, :] faces, Py_ssize_t count):
    """Sum of hashes of all edges as they are walked, less that of the edges walked back."""
    cdef uint64_t[::1] keys = np.empty(count, dtype=np.uint64)
    cdef uint64_t total = 0, a, b, c
    cdef Py_ssize_t f
    for f in range(count):
        keys[f] = key_of(f)
    for f in range(faces.shape[0]):
        a, b, c = keys[faces[f, 0]], keys[faces[f, 1]], keys[faces[f, 2]]
        total += mixed(a, b) + mixed(b, c) + mixed(c, a) - mixed(b, a) - mixed(c, b) - mixed(a, c)
    return total


cdef inline uint64_t key_of(uint64_t corner) noexcept:
    """Hash a corner, by the finaliser of splitmix64 (from memory)."""
    cdef uint64_t x = (corner + 20240229) * 0x9E3779B97F4A7C15ULL
    x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9ULL
    x = (x ^ (x >> 27)) * 0x94D049BB133111EBULL
    return x ^ (x >> 31)


cdef inline uint64_t mixed(uint64_t a, uint64_t b) noexcept:
    """Hash an ordered pair of keys."""
    cdef uint64_t x = a * 0x9E3779B97F4A7C15ULL + (b ^ (b >> 29))
    x ^= x >> 32
    x *= 0xD6E8FEB86659FD93ULL
    return x ^ (x >> 32)


def sharing(const int64_t[:, :] faces, Py_ssize_t count):
    """How many faces each edge of each face belongs to, (m, 3), edges from corner to corner."""
    shared = np.empty(3 * faces.shape[0], dtype=np.int32)
    cdef int32_t[::1] found = shared
    cdef int64_t[::1] start, edges, stamp = np.full(count, -1, dtype=np.int64)
    cdef int32_t[::1] times = np.empty(count, dtype=np.int32)
    cdef int64_t v, w, at
    start, edges = by_lower_corner(faces, count)
    for v in range(count):
        for at in range(start[v], start[v + 1]):
            w = edges[at] >> 32
            if stamp[w] != v:
                stamp[w], times[w] = v, 0
            times[w] += 1
        for at in range(start[v], start[v + 1]):
            found[<uint32_t>edges[at]] = times[edges[at] >> 32]
    return shared.reshape(-1, 3)


def contrary(const int64_t[:, :] faces, Py_ssize_t count):
    """Which faces to turn so that neighbours across edges of two run against each other, (m,).

    Of the two ways in which a patch agrees, the one that turns fewer faces, or of equals not its
    first; none of a patch that no way makes agree.
    """
    turned = np.zeros(faces.shape[0], dtype=np.bool_)
    cdef uint8_t[::1] turn = turned, torn = np.zeros(faces.shape[0], dtype=np.uint8)
    cdef uint8_t[::1] odd = np.zeros(faces.shape[0], dtype=np.uint8)  # against the face above
    cdef int64_t[::1] above = np.arange(faces.shape[0])
    cdef int64_t[::1] whole = np.zeros(faces.shape[0], dtype=np.int64), against = whole.copy()
    cdef int64_t[::1] start, edges, stamp = np.full(count, -1, dtype=np.int64), first = stamp.copy()
    cdef int32_t[::1] times = np.empty(count, dtype=np.int32)
    cdef int64_t v, w, at, f
    cdef bint clashes = False
    start, edges = by_lower_corner(faces, count)
    for v in range(count):
        for at in range(start[v], start[v + 1]):
            w = edges[at] >> 32
            if stamp[w] != v:
                stamp[w], times[w], first[w] = v, 0, -1
            times[w] += 1
        for at in range(start[v], start[v + 1]):
            w = edges[at] >> 32
            if times[w] != 2:
                continue
            if first[w] < 0:
                first[w] = <uint32_t>edges[at]
            else:
                clashes |= agree(faces, first[w], <uint32_t>edges[at], above, odd, torn)
    if not clashes:
        return turned
    for f in range(faces.shape[0]):
        at = top_of(f, above, odd)
        whole[at] += 1
        against[at] += odd[f]
    for f in range(faces.shape[0]):
        at = above[f]
        if not torn[at]:
            turn[f] = odd[f] == (2 * against[at] <= whole[at])
    return turned


cdef inline bint agree(
    const int64_t[:, :] faces, uint32_t e, uint32_t g, int64_t[::1] above, uint8_t[::1] odd,
    uint8_t[::1] torn,
) noexcept:
    """Join the patches of two edges; tell whether these run the same way."""
    cdef bint clash = faces[e // 3, e % 3] == faces[g // 3, g % 3]
    cdef int64_t a = top_of(e // 3, above, odd), b = top_of(g // 3, above, odd)
    cdef uint8_t unlike = clash ^ odd[e // 3] ^ odd[g // 3]
    if a == b:
        torn[a] |= unlike
    else:
        if a > b:
            a, b = b, a
        above[b], odd[b] = a, unlike
        torn[a] |= torn[b]
    return clash


cdef inline int64_t top_of(int64_t face, int64_t[::1] above, uint8_t[::1] odd) noexcept:
    """First face of a patch; `above` and `odd` of the face and those between then tell of it."""
    cdef int64_t top = face, following
    cdef uint8_t sum = 0, own
    while above[top] != top:
        sum ^= odd[top]
        top = above[top]
    while above[face] != face:
        following, own = above[face], odd[face]
        above[face], odd[face] = top, sum
        sum ^= own
        face = following
    return top


def shells(const int64_t[:, :] faces, Py_ssize_t count):
    """Number of each face's shell, (m,), by their first corners; they connect at corners."""
    numbers = np.empty(faces.shape[0], dtype=np.int64)
    cdef int64_t[::1] number = numbers, above = np.arange(count), rank = np.full(count, -1)
    cdef int64_t a, b, following = 0
    cdef Py_ssize_t f, k, v
    for f in range(faces.shape[0]):
        a = root_of(faces[f, 0], above)
        for k in range(1, 3):
            b = root_of(faces[f, k], above)
            if a < b:
                above[b] = a
            elif b < a:
                above[a] = b
                a = b
    for f in range(faces.shape[0]):
        number[f] = root_of(faces[f, 0], above)
        rank[number[f]] = 0
    for v in range(count):
        if rank[v] == 0:
            rank[v] = following
            following += 1
    for f in range(faces.shape[0]):
        number[f] = rank[number[f]]
    return numbers


cdef inline int64_t root_of(int64_t corner, int64_t[::1] above) noexcept:
    """First corner of those that are joined so far."""
    while above[corner] != corner:
        above[corner] = above[above[corner]]
        corner = above[corner]
    return corner


def repeated(const int64_t[:, :] faces, Py_ssize_t count):
    """Which faces have two equal corners or lie on the corners of an earlier face, (m,)."""
    again = np.zeros(faces.shape[0], dtype=np.bool_)
    cdef uint8_t[::1] found = again
    cdef int64_t[:, ::1] sides = np.empty((faces.shape[0], 3), dtype=np.int64)
    cdef int64_t[::1] order, stamp = np.full(count, -1, dtype=np.int64)
    cdef int64_t a, b, c, low = -1, middle = -1, group = -1
    cdef Py_ssize_t f, at
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        found[f] = a == b or b == c or c == a
        if a > b:
            a, b = b, a
        if b > c:
            b, c = c, b
        if a > b:
            a, b = b, a
        sides[f, 0], sides[f, 1], sides[f, 2] = a, b, c
    order = by_column(sides, 0, by_column(sides, 1, np.arange(faces.shape[0]), count), count)
    for at in range(faces.shape[0]):
        f = order[at]
        if found[f]:
            continue
        if sides[f, 0] != low or sides[f, 1] != middle:
            low, middle, group = sides[f, 0], sides[f, 1], at
        if stamp[sides[f, 2]] == group:
            found[f] = True
        stamp[sides[f, 2]] = group
    return again


def listed(const int64_t[:, :] faces, const int64_t[:, :] others, Py_ssize_t count):
    """Which faces begin with the same edge, walked the same way, as some other one, (m,)."""
    among = np.zeros(faces.shape[0], dtype=np.bool_)
    cdef uint8_t[::1] found = among
    cdef int64_t[::1] stamp = np.full(count, -1, dtype=np.int64)
    cdef int64_t[::1] mine = by_column(faces, 0, np.arange(faces.shape[0]), count)
    cdef int64_t[::1] theirs = by_column(others, 0, np.arange(others.shape[0]), count)
    cdef Py_ssize_t at, there = 0
    cdef int64_t v
    for at in range(faces.shape[0]):
        v = faces[mine[at], 0]
        while there < others.shape[0] and others[theirs[there], 0] <= v:
            stamp[others[theirs[there], 1]] = others[theirs[there], 0]
            there += 1
        found[mine[at]] = stamp[faces[mine[at], 1]] == v
    return among


def places(const uint64_t[::1] keys):
    """First place of each different key, keys rising, and the number of each key's, (n,)."""
    cdef Py_ssize_t n = keys.shape[0], k, at
    firsts, numbers = np.empty(n, dtype=np.int64), np.empty(n, dtype=np.int64)
    cdef int64_t[::1] first = firsts, number = numbers, filled = np.empty((1 << DIGIT) + 1, np.int64)
    cdef int64_t[::1] order = np.arange(n), sorted_order = np.empty(n, dtype=np.int64)
    cdef uint64_t[::1] key = np.array(keys), sorted_key = np.empty(n, dtype=np.uint64)
    cdef uint64_t most = 0, last = 0
    cdef int shift
    cdef Py_ssize_t distinct = -1
    for k in range(n):
        most |= keys[k]
    for shift in range(0, 64, DIGIT):
        if most >> shift == 0:
            break
        filled[:] = 0
        for k in range(n):
            filled[((key[k] >> shift) & ((1 << DIGIT) - 1)) + 1] += 1
        for k in range(1 << DIGIT):
            filled[k + 1] += filled[k]
        for k in range(n):
            at = filled[(key[k] >> shift) & ((1 << DIGIT) - 1)]
            filled[(key[k] >> shift) & ((1 << DIGIT) - 1)] += 1
            sorted_key[at], sorted_order[at] = key[k], order[k]
        key, sorted_key = sorted_key, key
        order, sorted_order = sorted_order, order
    for k in range(n):
        if k == 0 or key[k] != last:
            distinct += 1
            first[distinct], last = order[k], key[k]
        number[order[k]] = distinct
    return firsts[: distinct + 1], numbers


cdef by_lower_corner(const int64_t[:, :] faces, Py_ssize_t count):
    """Where the edges of each lower corner start, (count + 1,), and the edges in that order.

    An edge is its upper corner times 2³², and its place among all edges.
    """
    if max(count, 3 * faces.shape[0]) >> 31:
        raise MemoryError
    starts, edges = np.zeros(count + 2, dtype=np.int64), np.empty(3 * faces.shape[0], np.int64)
    cdef int64_t[::1] start = starts, edge = edges
    cdef int64_t[4] corner
    cdef Py_ssize_t f, k, v
    for f in range(faces.shape[0]):
        corner[0], corner[1], corner[2] = faces[f, 0], faces[f, 1], faces[f, 2]
        corner[3] = corner[0]
        for k in range(3):
            start[min(corner[k], corner[k + 1]) + 2] += 1
    for v in range(1, count + 1):
        start[v + 1] += start[v]
    for f in range(faces.shape[0]):
        corner[0], corner[1], corner[2] = faces[f, 0], faces[f, 1], faces[f, 2]
        corner[3] = corner[0]
        for k in range(3):
            v = min(corner[k], corner[k + 1]) + 1
            edge[start[v]] = (max(corner[k], corner[k + 1]) << 32) | (3 * f + k)
            start[v] += 1
    return starts[:-1], edges


cdef by_column(const int64_t[:, :] rows, Py_ssize_t column, const int64_t[::1] order, Py_ssize_t count):
    """Sort rows that stand in an order by one column, those that are equal as they stood."""
    found = np.empty(order.shape[0], dtype=np.int64)
    cdef int64_t[::1] sorted_order = found, start = np.zeros(count + 1, dtype=np.int64)
    cdef Py_ssize_t k, v
    for k in range(order.shape[0]):
        start[rows[k, column] + 1] += 1
    for v in range(count):
        start[v + 1] += start[v]
    for k in range(order.shape[0]):
        v = rows[order[k], column]
        sorted_order[start[v]] = order[k]
        start[v] += 1
    return found
