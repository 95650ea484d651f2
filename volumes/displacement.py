"""The part of a closed mesh that lies under water: its volume and its centre."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.piece import Floats, Indices


def mesh_volume(vertices: Floats, faces: Indices) -> float:
    """Volume of a closed, consistently wound mesh.

    Parameters
    ----------
    vertices : (n, 3) float array
        Corner positions, z up [m].
    faces : (m, 3) int array
        Rows of `vertices`, counter-clockwise seen from outside.

    Returns
    -------
    float
        Enclosed volume [m³]; negative where the faces look inward.
    """
    if len(faces) == 0:
        return 0.0
    return displaced_volume(vertices, faces, float(np.max(vertices[:, 2])))


def mesh_centre(vertices: Floats, faces: Indices) -> Floats:
    """Centre of the volume of a closed mesh, (3,) [m]: tetrahedra over a point amid it."""
    middle = vertices.mean(axis=0)
    a, b, c = (vertices[faces[:, i]] - middle for i in range(3))
    sixfold = np.einsum("ij,ij->i", a, np.cross(b, c))
    centre: Floats = middle + sixfold @ (a + b + c) / (4 * sixfold.sum())
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
    >>> from plumbstone.meshes.primitives import box
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
        faces = faces[(depth[faces] < 0).any(axis=1)]
    return float(_plan_areas(vertices, faces) @ _mean_below_zero(depth[faces]))


def centre_of_buoyancy(vertices: Floats, faces: Indices, water_level: float) -> Floats:
    """Centre of the displaced volume.

    Parameters
    ----------
    vertices, faces, water_level
        As in `displaced_volume`.

    Returns
    -------
    (3,) float array
        Position [m]; NaN for a piece that displaces nothing.

    Raises
    ------
    ValueError
        If a coordinate or the level is not finite.
    """
    _, centres = displaced_at_levels(vertices, faces, [water_level])
    centre: Floats = centres[0]
    return centre


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
    Faces are sorted by their highest corner. What a face wholly below adds is a
    polynomial in the level, so prefix sums give all such faces at once; only the faces
    that cross a level are clipped.
    """
    _check_finite(vertices, *levels)
    wanted = np.asarray(levels, dtype=float)
    moments = np.zeros((len(wanted), 4))
    if len(faces) == 0:
        return moments[:, 0], np.full((len(wanted), 3), np.nan)
    origin = vertices.mean(axis=0)
    local = vertices - origin
    top = _of_three(np.maximum, local[faces, 2])
    order = np.argsort(top)
    top, faces = top[order], faces[order]
    bottom = _of_three(np.minimum, local[faces, 2])
    prefix = np.concatenate([np.zeros((1, 7)), np.cumsum(_face_sums(local[faces]), axis=0)])
    below = np.searchsorted(top, wanted - origin[2], side="right")
    for k, level in enumerate(wanted - origin[2]):
        crossing = np.flatnonzero(bottom[below[k] :] < level) + below[k]
        moments[k] = _sums_at_level(prefix[below[k]], level)
        moments[k] += _clipped_moments(local[faces[crossing]], level)
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
    mean: Floats = values.sum(axis=1) / 3
    crossing = np.flatnonzero((values > 0).any(axis=1))
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


def _face_sums(corners: Floats) -> Floats:
    """Seven sums over each face, (m, 7), from which the moments below any level follow.

    They are ∫1, ∫z, ∫x, ∫y, ∫xz, ∫yz and ∫z² over the face seen from above.
    """
    x, y, z = np.ascontiguousarray(corners.transpose(2, 1, 0))
    columns = [np.ones(len(corners)), z.sum(axis=0) / 3, x.sum(axis=0) / 3, y.sum(axis=0) / 3]
    columns += [_mean_product(x, z), _mean_product(y, z), _mean_product(z, z)]
    sums: Floats = _areas_of(corners)[:, None] * np.stack(columns, axis=1)
    return sums


def _mean_product(f: Floats, g: Floats) -> Floats:
    """Mean over each triangle of the product of two linear functions, (3, m) each → (m,)."""
    mean: Floats = (f.sum(axis=0) * g.sum(axis=0) + (f * g).sum(axis=0)) / 12
    return mean


def _of_three(pick: np.ufunc, values: Floats) -> Floats:
    """Largest or smallest of each row of three; much faster than a reduction of short rows."""
    best: Floats = pick(pick(values[:, 0], values[:, 1]), values[:, 2])
    return best


def _areas_of(corners: Floats) -> Floats:
    """Signed area seen from above [m²] of triangles given by their corners, (m, 3, 3)."""
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area: Floats = 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return area


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
    sums = _face_sums(tip[one_wet]).sum(axis=0)
    sums += _face_sums(corners[~one_wet]).sum(axis=0) - _face_sums(tip[~one_wet]).sum(axis=0)
    return _sums_at_level(sums, level)
