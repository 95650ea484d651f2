"""Whether one rigid body in water stays in its drawn pose, by a linear program."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.piece import Floats
from plumbstone.volumes.water import GRAVITY

MOST_LIFT = 1e4  # bound of the margin [N]
SLACK = 1e-9  # rounding [N]


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """One body, what it rests on and what pulls it down, at every water level.

    Forces are in newtons, places in metres, both in the frame of the tank. Contacts push
    straight up; ties and laid-on stones pull straight down.
    """

    mass: float  # of the body, with what is strapped to it [kg]
    centre: Floats  # (2,) of that mass
    lifts: Floats  # (k,) buoyancy at each level [N]
    lift_centres: Floats  # (k, 2) centres of buoyancy; any value where there is no lift
    contacts: Floats  # (n, 2)
    ties: Floats  # (t, 2) places where something pulls down
    least_pulls: Floats  # (k, t) least pull of each at each level [N]; equal to the most where
    most_pulls: Floats  # (k, t) it hangs free


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """The answer at one level."""

    margin: float  # lift at the centre of buoyancy that it would still bear [N]; below zero the
    # lift that must go, -inf where it falls over by its own weight
    pushes: Floats  # (n,) contact forces at the margin zero, NaN where there are none [N]
    pulls: Floats  # (t,) [N]

    @property
    def stays(self) -> bool:
        """Whether the pose can be in balance."""
        return self.margin >= -SLACK


def judge_level(rig: Rig, level: int) -> Verdict:
    """Judge one level of a rig.

    Parameters
    ----------
    rig : Rig
        The body and its loads.
    level : int
        Index of the water level.

    Notes
    -----
    Balance of vertical force and of moments about x and y:
    ΣN - ΣT + B - m g = 0, Σ x N - Σ x T + x_B B - x_G m g = 0, the same for y.
    The margin is the largest further lift at the centre of buoyancy for which pushes
    N ≥ 0 and pulls within their bounds exist; a negative one is the load that lacks there.
    """
    at = _place(rig, level)
    held = np.concatenate([_wrench(rig.contacts, 1.0), _wrench(rig.ties, -1.0)], axis=1)
    matrix = np.concatenate([held, _wrench(at[None], 1.0)], axis=1)
    load = _load(rig, level)
    bounds: list[tuple[float, float | None]] = [(0.0, None)] * len(rig.contacts)
    bounds += list(zip(rig.least_pulls[level], rig.most_pulls[level], strict=True))
    most, least = (
        _extreme_lift(matrix, load, bounds, -1.0),
        _extreme_lift(matrix, load, bounds, 1.0),
    )
    impossible = most is None or least is None or least > SLACK
    margin = -np.inf if impossible else float(most or 0.0)
    forces = np.full(held.shape[1], np.nan)
    if margin >= -SLACK:
        forces = _balanced(held, load, bounds)
    pushes, pulls = np.split(forces, [len(rig.contacts)])
    return Verdict(margin, pushes, pulls)


def imbalance(rig: Rig, level: int, verdict: Verdict) -> float:
    """Largest unbalanced force [N] or moment [N m] of a verdict that stays."""
    matrix = np.concatenate([_wrench(rig.contacts, 1.0), _wrench(rig.ties, -1.0)], axis=1)
    forces = np.concatenate([verdict.pushes, verdict.pulls])
    return float(np.abs(matrix @ forces - _load(rig, level)).max())


def least_sinkers(
    rig: Rig, points: Floats, weight_shares: Floats, factor: float = 1.0
) -> Floats | None:
    """Least dry masses [kg] to hang at given points so that the body stays at every level.

    Parameters
    ----------
    rig : Rig
        Without these sinkers.
    points : (p, 2) float array
        Allowed places of ties.
    weight_shares : (k,) float array
        Share of its dry weight that a sinker still has at each level.
    factor : float
        On the net load, weight less lift and their moments.

    Returns
    -------
    (p,) float array or None
        Masses shared by all levels, standing with taut ties; None where no mass at these
        points holds it.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    levels, contacts, ties, own = len(rig.lifts), len(rig.contacts), len(rig.ties), len(points)
    width = contacts + ties + own
    block = np.concatenate(
        [_wrench(rig.contacts, 1.0), _wrench(rig.ties, -1.0), _wrench(points, -1.0)], axis=1
    )
    rows, bounds = [], [(0.0, None)] * own
    loads = []
    for level in range(levels):
        rows.append(np.hstack([np.zeros((3, own + level * width)), block,
                               np.zeros((3, (levels - 1 - level) * width))]))  # fmt: skip
        loads.append(factor * _load(rig, level))
        bounds += [(0.0, None)] * contacts
        bounds += list(zip(rig.least_pulls[level], rig.most_pulls[level], strict=True))
        bounds += [(0.0, None)] * own
    caps = np.zeros((levels * own, own + levels * width))
    for level in range(levels):
        for i in range(own):
            row = level * own + i
            caps[row, own + level * width + contacts + ties + i] = 1.0
            caps[row, i] = -GRAVITY * weight_shares[level]
    cost = np.zeros(own + levels * width)
    cost[:own] = 1.0
    found = linprog(
        cost,
        A_ub=csr_array(caps),
        b_ub=np.zeros(len(caps)),
        A_eq=csr_array(np.vstack(rows)),
        b_eq=np.concatenate(loads),
        bounds=bounds,
        method="highs",
    )
    if found.x is None:
        return None
    masses: Floats = found.x[:own]
    return masses


def tipping_direction(rig: Rig, level: int) -> Floats:
    """Direction (2,) in which the body rises when it cannot stay: away from what holds it.

    The net moment of weight, lift and the greatest pulls about the middle of the contacts;
    zero where it lifts off whole.
    """
    lift, weight = rig.lifts[level], rig.mass * GRAVITY
    pulls = rig.most_pulls[level]
    rest = weight + float(pulls.sum()) - lift
    if rest <= 0:
        return np.zeros(2)
    held = [*rig.contacts, *rig.ties]
    middle = np.mean(held, axis=0) if held else rig.centre
    moment = lift * (_place(rig, level) - middle) - weight * (rig.centre - middle)
    if len(rig.ties):
        moment = moment - pulls @ (rig.ties - middle)
    size = float(np.linalg.norm(moment))
    return np.asarray(moment / size if size > 0 else np.zeros(2), dtype=float)


def resting_contacts(
    gaps: Floats, x: Floats, y: Floats, centre: Floats, tolerance: float
) -> Floats:
    """Places where a body comes to rest on what is below, once it has settled.

    Parameters
    ----------
    gaps : (rows, columns) float array
        Height of its underside over what is below [m]; +inf beside the body.
    x, y : (columns,), (rows,) float arrays
        Middles of the cells [m].
    centre : (2,) float array
        Its centre of mass from above [m].
    tolerance : float
        Cells nearer than this to the resting plane touch too [m].

    Returns
    -------
    (n, 2) float array
        Corners of the hull of all contacts.

    Notes
    -----
    Among all planes below the gaps, the one highest at the centre of mass touches where
    the body rests: a linear program in three unknowns.
    """
    from scipy.optimize import linprog
    from scipy.spatial import ConvexHull, QhullError

    rows, columns = np.nonzero(np.isfinite(gaps))
    points = np.column_stack([x[columns], y[rows]])
    if len(points) == 0:
        return np.empty((0, 2))
    height = gaps[rows, columns]
    local = points - centre
    terms = np.column_stack([np.ones(len(local)), local])
    found = linprog(
        [-1.0, 0.0, 0.0], A_ub=terms, b_ub=height, bounds=[(None, None)] * 3, method="highs"
    )
    plane = found.x if found.x is not None else np.array([height.min(), 0.0, 0.0])
    touching = points[height - terms @ plane < tolerance]
    try:
        return np.asarray(touching[ConvexHull(touching).vertices], dtype=float)
    except (QhullError, ValueError):
        return np.asarray(touching, dtype=float)


def _extreme_lift(
    matrix: Floats, load: Floats, bounds: Sequence[tuple[float, float | None]], sign: float
) -> float | None:
    """Least (sign 1) or greatest (sign -1) further lift with which balance is possible [N]."""
    from scipy.optimize import linprog

    cost = np.zeros(matrix.shape[1])
    cost[-1] = sign
    limits = [*bounds, (-MOST_LIFT, MOST_LIFT)]
    found = linprog(cost, A_eq=matrix, b_eq=load, bounds=limits, method="highs")
    return None if found.x is None else float(found.x[-1])


def _place(rig: Rig, level: int) -> Floats:
    """Centre of buoyancy, or of mass where there is no lift."""
    at: Floats = rig.lift_centres[level] if rig.lifts[level] > 0 else rig.centre
    return at


def _load(rig: Rig, level: int) -> Floats:
    """Right side of the balance: weight less lift, and their moments."""
    weight, lift = rig.mass * GRAVITY, rig.lifts[level]
    moments = weight * rig.centre - lift * _place(rig, level)
    return np.concatenate([[weight - lift], moments])


def _wrench(points: Floats, sign: float) -> Floats:
    """Columns of the balance for unit forces at points, (3, n)."""
    flat = np.asarray(points, dtype=float).reshape(-1, 2)
    return sign * np.vstack([np.ones(len(flat)), flat.T])


def _balanced(
    matrix: Floats, load: Floats, bounds: Sequence[tuple[float, float | None]]
) -> NDArray[np.float64]:
    """Find forces within bounds that balance a load exactly: least squares with bounds."""
    from scipy.optimize import lsq_linear

    low = np.array([b[0] for b in bounds])
    high = np.array([np.inf if b[1] is None else max(b[1], b[0] + 1e-12) for b in bounds])
    if matrix.shape[1] == 0:
        return np.empty(0)
    found = lsq_linear(matrix, load, (low, high), method="bvls", tol=1e-14)
    forces: NDArray[np.float64] = found.x
    return forces
