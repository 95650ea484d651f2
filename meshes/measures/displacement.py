"""The part of a closed mesh that lies under water: its volume and its centre."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.faces import moment
from plumbstone.meshes.piece import Floats, Indices


def mesh_centre(vertices: Floats, faces: Indices) -> Floats:
    """Centre of the volume of a closed mesh, (3,) [m]: tetrahedra over a point amid it."""
    middle = vertices.mean(axis=0)
    total, moments = moment(vertices, faces, middle)
    centre: Floats = middle + moments / (4 * total)
    return centre


def displaced_volume(vertices: Floats, faces: Indices, water_level: float) -> float:
    """Volume of a closed mesh that lies below the water.

    Parameters
    ----------
    vertices : (n, 3) float array
        Corner positions, z up [m].
    faces : (m, 3) int array
        Rows of `vertices`, counter-clockwise seen from outside.
    water_level : float
        Height of the surface [m].

    Returns
    -------
    float
        Displaced volume [m³]; 0 for a dry piece.

    Raises
    ------
    ValueError
        If a coordinate or the level is not finite.

    Notes
    -----
    Gauss's theorem [1]_ on the field (0, 0, min(z - level, 0)): its divergence is 1
    under water and 0 above, so no lid has to be built at the waterline. Exact for the
    polyhedron.

    References
    ----------
    .. [1] Weisstein, E. "Divergence Theorem", MathWorld,
       https://mathworld.wolfram.com/DivergenceTheorem.html

    Examples
    --------
    >>> from plumbstone.meshes.shapes.primitives import box
    >>> cube = box((1.0, 1.0, 1.0))
    >>> round(displaced_volume(cube.vertices, cube.faces, 0.25), 12)
    0.25
    """
    _check_finite(vertices, water_level)
    if len(faces) == 0:
        return 0.0
    depth = vertices[:, 2] - water_level
    wet = depth.min() < 0
    if not wet:
        return 0.0
    if depth.max() > 0:
        a, b, c = (depth < 0)[faces.T]
        faces = faces[a | b | c]
    return float(_plan_areas(vertices, faces) @ _mean_below_zero(depth[faces]))


def displaced_at_levels(
    vertices: Floats, faces: Indices, levels: Sequence[float] | Floats
) -> tuple[Floats, Floats]:
    """Displaced volume and its centre at many water levels at once.

    Parameters
    ----------
    vertices, faces
        As in `displaced_volume`.
    levels : (k,) floats
        Heights of the surface [m], in any order.

    Returns
    -------
    volumes : (k,) float array
        Displaced volumes [m³].
    centres : (k, 3) float array
        Centres of buoyancy [m]; NaN where nothing is displaced.

    Raises
    ------
    ValueError
        If a coordinate or a level is not finite.

    Notes
    -----
    Faces are sorted into the levels between which their highest corner lies. What a face
    wholly below adds is a polynomial in the level, so prefix sums give all such faces at
    once; only the faces that cross a level are clipped.
    """
    _check_finite(vertices, *levels)
    wanted = np.asarray(levels, dtype=float)
    moments = np.zeros((len(wanted), 4))
    if len(faces) == 0:
        return moments[:, 0], np.full((len(wanted), 3), np.nan)
    origin = vertices.mean(axis=0)
    local = vertices - origin
    corners = [local[faces[:, i]] for i in range(3)]
    order = np.argsort(wanted)
    rising = wanted[order] - origin[2]
    heights = [corner[:, 2] for corner in corners]
    # First level at or over the highest corner of each face, and first over its lowest.
    above = np.searchsorted(rising, np.maximum(np.maximum(*heights[:2]), heights[2]), side="left")
    under = np.searchsorted(rising, np.minimum(np.minimum(*heights[:2]), heights[2]), side="right")
    count = len(wanted) + 1
    sums = [np.bincount(above, column, count) for column in _face_columns(*corners)]
    wet = np.cumsum(sums, axis=1).T  # of all faces wholly below each level
    crossing = np.flatnonzero(under < above)
    over, below = above[crossing], under[crossing]
    for k, level in enumerate(rising):
        cut = crossing[(below <= k) & (k < over)]
        moments[order[k]] = _sums_at_level(wet[k], level)
        moments[order[k]] += _clipped_moments(local[faces[cut]], level)
    volumes = moments[:, 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        centres = moments[:, 1:] / volumes[:, None] + origin
    centres[volumes <= 0] = np.nan
    return volumes, centres


def _check_finite(vertices: Floats, *levels: float) -> None:
    """Refuse coordinates and levels that are not finite."""
    if not np.isfinite(vertices).all():
        bad = int(np.argwhere(~np.isfinite(vertices))[0, 0])
        message = f"Vertex {bad} is {vertices[bad]}; drop it before measuring."
        raise ValueError(message)
    if not np.isfinite(levels).all():
        message = f"Water level {levels} is not finite."
        raise ValueError(message)


def _plan_areas(vertices: Floats, faces: Indices) -> Floats:
    """Signed area of each face seen from above [m²]."""
    x, y = vertices[:, 0], vertices[:, 1]
    a, b, c = faces.T
    xa, ya = x[a], y[a]
    area: Floats = 0.5 * ((x[b] - xa) * (y[c] - ya) - (x[c] - xa) * (y[b] - ya))
    return area


def _mean_below_zero(values: Floats) -> Floats:
    """Mean of min(f, 0) over each triangle, f linear with these corner values, (m, 3)."""
    a, b, c = values.T
    mean: Floats = (a + b + c) / 3
    crossing = np.flatnonzero((a > 0) | (b > 0) | (c > 0))
    if len(crossing):
        low, middle, high = np.sort(values[crossing], axis=1).T
        one_above = middle <= 0
        apex, p, q = (
            np.where(one_above, *pair) for pair in ((high, low), (low, high), (middle, middle))
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            corner = apex**3 / (3 * (apex - p) * (apex - q))
        corner = np.where(apex == 0, 0.0, corner)
        mean[crossing] = np.where(one_above, mean[crossing] - corner, corner)
        mean[crossing[low >= 0]] = 0.0
    return mean


def _face_columns(a: Floats, b: Floats, c: Floats) -> list[Floats]:
    """Seven sums over each face, from which the moments below any level follow.

    They are ∫1, ∫z, ∫x, ∫y, ∫xz, ∫yz and ∫z² over the face seen from above; a, b and c are
    its corners, (m, 3) each.
    """
    xa, ya, za = a.T
    xb, yb, zb = b.T
    xc, yc, zc = c.T
    area = 0.5 * ((xb - xa) * (yc - ya) - (yb - ya) * (xc - xa))
    x, y, z = xa + xb + xc, ya + yb + yc, za + zb + zc
    third, twelfth = area / 3, area / 12
    return [
        area, third * z, third * x, third * y,
        twelfth * (x * z + xa * za + xb * zb + xc * zc),
        twelfth * (y * z + ya * za + yb * zb + yc * zc),
        twelfth * (z * z + za * za + zb * zb + zc * zc),
    ]  # fmt: skip


def _face_sums(corners: Floats) -> Floats:
    """Total of the seven sums over triangles, (m, 3, 3) → (7,)."""
    return np.array([column.sum() for column in _face_columns(*corners.transpose(1, 0, 2))])


def _sums_at_level(sums: Floats, level: float) -> Floats:
    """Volume and its three first moments under a level, from the sums of `_face_sums`.

    The fluxes of (z - w), x (z - w), y (z - w) and (z² - w²) / 2.
    """
    one, z, x, y, xz, yz, zz = sums
    return np.array([z - level * one, xz - level * x, yz - level * y, (zz - level**2 * one) / 2])


def _clipped_moments(corners: Floats, level: float) -> Floats:
    """Moments, as in `_sums_at_level`, of the parts of triangles below a level."""
    if len(corners) == 0:
        return np.zeros(4)
    depth = corners[:, :, 2] - level
    # Turn each triangle so that its odd corner, alone on its side of the level, comes first.
    wet = depth < 0
    alone = np.where(wet.sum(axis=1) == 1, wet.argmax(axis=1), (~wet).argmax(axis=1))
    turn: NDArray[np.int64] = (alone[:, None] + np.arange(3)) % 3
    rows = np.arange(len(corners))[:, None]
    corners, depth = corners[rows, turn], depth[rows, turn]
    apex = corners[:, 0]
    share = depth[:, :1] / (depth[:, :1] - depth[:, 1:])
    cut = apex[:, None] + share[:, :, None] * (corners[:, 1:] - apex[:, None])
    cut[:, :, 2] = level
    tip = np.stack([apex, cut[:, 0], cut[:, 1]], axis=1)
    one_wet = depth[:, 0] < 0
    sums = _face_sums(tip[one_wet])
    sums += _face_sums(corners[~one_wet]) - _face_sums(tip[~one_wet])
    return _sums_at_level(sums, level)
