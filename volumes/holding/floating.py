"""How a body floats when nothing holds it: draught, heel and stability."""

from dataclasses import dataclass

import numpy as np
import scipy

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.faces import wet_sums
from plumbstone.meshes.measures import displacement
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.piece import Floats, Indices

STARTS = 14  # attitudes from which the lowest energy is sought


class FloatError(PlumbstoneError, ValueError):
    """A body that does not float."""


@dataclass(frozen=True, slots=True, eq=False)
class Afloat:
    """A body at rest on the water."""

    turn: Floats  # (3, 3) rotation from its own frame to the water's, z up
    draught: float  # depth of its lowest point under the surface [m]


def draught_of(vertices: Floats, faces: Indices, share: float, error: float = 1e-12) -> float:
    """Height of the water plane [m], in the frame of the mesh, that wets a share of its volume.

    A body floats with the share that it is of the density of water (Archimedes).
    """

    def wet_to(level: float) -> Floats:
        return wet_sums(vertices, faces, np.array([0.0, 0.0, level]), np.zeros(1))[0]

    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    wanted = share * enclosed_volume(vertices, faces)
    if not 0 < wanted < wet_to(high)[1]:
        raise FloatError("This skin is not closed well enough to tell how it floats.")
    level, step = low + share * (high - low), np.inf
    while abs(step) > error:  # Newton's method: the volume grows by the area at the water plane
        sums = wet_to(level)
        low, high = (level, high) if sums[1] < wanted else (low, level)
        step = (sums[1] - wanted) / sums[0] if sums[0] else np.inf
        if not low < level + step < high:
            step = (low + high) / 2 - level
        level += step
    return float(level)


def float_at_rest(vertices: Floats, faces: Indices, density: float, water: float) -> Afloat:
    """Find how a body of even density floats freely.

    Parameters
    ----------
    vertices, faces
        Closed mesh.
    density, water : float
        [kg/m³].

    Raises
    ------
    FloatError
        If it is no lighter than the water.

    Notes
    -----
    Among all attitudes at its own displacement, the one in which the centre of mass lies
    lowest over the centre of buoyancy has the least energy. A turn changes it by the righting
    moment: the offset of the two centres along the floor.
    """
    share = density / water
    if share >= 1:
        raise FloatError(f"{density:.0f} kg/m³ does not float in water of {water:.0f}.")
    middle = displacement.mesh_centre(vertices, faces)
    local = vertices - middle

    def energy(angles: Floats) -> tuple[float, Floats]:
        turned = local @ _attitude(angles).T
        level = draught_of(turned, faces, share, 1e-9)
        x, y, z = displacement.displaced_at_levels(turned, faces, [level])[1][0]
        return float(-z) / size, np.array([-y * np.cos(angles[1]), x]) / size

    size = float(np.linalg.norm(local, axis=1).max())
    rng = np.random.default_rng(8)
    starts = [np.zeros(2), *rng.uniform(-np.pi, np.pi, (STARTS, 2))]
    coarse = sorted(starts, key=lambda start: energy(start)[0])[:4]
    how = {"jac": True, "method": "BFGS", "options": {"gtol": 1e-7}}
    ends = (scipy.optimize.minimize(energy, start, **how) for start in coarse)
    found = min(ends, key=lambda end: float(end.fun))
    turn = _attitude(found.x)
    turned = local @ turn.T
    return Afloat(turn, draught_of(turned, faces, share) - float(turned[:, 2].min()))


def _attitude(angles: Floats) -> Floats:
    """Rotation about x, then y."""
    return _about(1, float(angles[1])) @ _about(0, float(angles[0]))


def _about(axis: int, angle: float) -> Floats:
    """Rotation about x (0) or y (1), (3, 3)."""
    c, s = np.cos(angle), np.sin(angle)
    if axis == 0:
        return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
