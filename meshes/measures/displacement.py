"""The part of a closed mesh that lies under water: its volume and its centre."""

from collections.abc import Sequence

import numpy as np

from plumbstone.meshes.faces import moment, wet_sums
from plumbstone.meshes.piece import Floats, Indices


def mesh_centre(vertices: Floats, faces: Indices) -> Floats:
    """Centre of a closed mesh, (3,) [m]: tetrahedra over a point, by the divergence theorem."""
    middle = vertices.mean(axis=0)
    total, moments = moment(vertices, faces, middle)
    return middle + moments / (4 * total)


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
    return float(displaced_at_levels(vertices, faces, [water_level])[0][0])


def displaced_at_levels(
    vertices: Floats, faces: Indices, levels: Sequence[float] | Floats
) -> tuple[Floats, Floats]:
    """Displaced volume and its centre at many levels at once, by Gauss's theorem.

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
    What a face wholly below adds is a polynomial in the level, so sums over such faces serve all
    levels above them; only the faces that cross a level are clipped.
    """
    _check_finite(vertices, *levels)
    if len(faces) == 0:
        return np.zeros(len(levels)), np.full((len(levels), 3), np.nan)
    origin, wanted = vertices.mean(axis=0), np.asarray(levels, dtype=float)
    order = np.argsort(wanted)
    level = wanted[order] - origin[2]
    sums = np.empty((len(wanted), 7))
    sums[order] = wet_sums(vertices, faces, origin, level)
    one, z, x, y, xz, yz, zz = sums.T
    level = wanted - origin[2]
    # The fluxes of z - w, x (z - w), y (z - w) and (z² - w²) / 2 through the faces below w.
    volumes = z - level * one
    moments = np.stack([xz - level * x, yz - level * y, (zz - level**2 * one) / 2], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        centres = moments / volumes[:, None] + origin
    centres[volumes <= 0] = np.nan
    return volumes, centres


def _check_finite(vertices: Floats, *levels: float) -> None:
    """Refuse coordinates and levels that are not finite."""
    if not np.isfinite(vertices).all():
        bad = int(np.argwhere(~np.isfinite(vertices))[0, 0])
        raise ValueError(f"Vertex {bad} is {vertices[bad]}; drop it before measuring.")
    if not np.isfinite(levels).all():
        raise ValueError(f"Water level {levels} is not finite.")
