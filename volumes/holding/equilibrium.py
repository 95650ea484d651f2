"""Whether bodies in water stay in their drawn pose, by linear programs over all levels."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.piece import Floats, Indices
from plumbstone.volumes.water.density import GRAVITY

MOST_LIFT = 1e4  # bound of the margin [N]
SLACK = 1e-9  # rounding of the margin [N]
ELASTIC = 1e-6  # sum of forces and moments that lack: from here on no balance exists [N, N m]
STILL = 1e-6  # motion at a contact or tie, in shares of that of the lift: it is the hinge
WHOLE = 0.02  # rise across a body, in shares of its own: below it, it lifts off whole


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """Bodies, what they rest on and what pulls them down, at every water level.

    Forces are in newtons, places in metres, both in the frame of the tank. Contacts push
    straight up on the upper body and down on the lower; ties and laid-on stones pull
    straight down.
    """

    masses: Floats  # (n,) of the bodies, with what is strapped to them [kg]
    centres: Floats  # (n, 2) of those masses
    lifts: Floats  # (k, n) buoyancy at each level [N]
    lift_centres: Floats  # (k, n, 2) centres of buoyancy; any value where there is no lift
    contacts: Floats  # (c, 2)
    uppers: Indices  # (c,) body above each contact
    lowers: Indices  # (c,) body below it; -1 where that is fixed
    ties: Floats  # (t, 2) places where something pulls down
    tied: Indices  # (t,) body that it pulls
    least_pulls: Floats  # (k, t) least pull of each at each level [N]; equal to the most where
    most_pulls: Floats  # (k, t) it hangs free

    @property
    def levels(self) -> int:
        """Number of water levels."""
        return len(self.lifts)


@dataclass(frozen=True, slots=True, eq=False)
class Verdicts:
    """The answer at every level for one body of a rig."""

    margins: Floats  # (k,) lift at its centre of buoyancy that it would still bear [N]; below
    # zero the lift that must go, -inf where something falls over by its own weight
    motions: Floats  # (k, n, 3) how all bodies start to move once the margin is used up: the
    # rise at (x, y) is m[0] + m[1] x + m[2] y, 1 at that centre of buoyancy

    @property
    def stays(self) -> NDArray[np.bool_]:
        """Whether the pose can be in balance at each level, (k,)."""
        return np.asarray(self.margins >= -SLACK)


def judge(rig: Rig, body: int = 0) -> Verdicts:
    """Judge one body of a rig at every level.

    Parameters
    ----------
    rig : Rig
        The bodies and their loads.
    body : int
        The one whose further lift is sought.

    Notes
    -----
    Balance of vertical force and of moments about x and y for each body:
    ΣN - ΣT + B - m g = 0, Σ x N - Σ x T + x_B B - x_G m g = 0, the same for y.
    The margin is the largest further lift at the centre of buoyancy for which pushes
    N ≥ 0 and pulls within their bounds exist; a negative one is the load that lacks there.
    The multipliers of the balance are the motion that the bodies start with (virtual work).
    """
    every = np.arange(rig.levels)
    missing, falling = _least_missing(rig, body, every)
    standing = every[missing <= ELASTIC]
    margins = np.full(rig.levels, -np.inf)
    motions = falling
    if len(standing):
        found, rising = _greatest_lift(rig, body, standing)
        margins[standing] = found
        motions[standing] = _whole_where_possible(rig, body, standing, found, rising)
    return Verdicts(margins, motions.reshape(rig.levels, -1, 3))


def forces_at(rig: Rig, level: int) -> tuple[Floats, Floats]:
    """Pushes (c,) and pulls (t,) that balance a rig at a level with the least total pull [N].

    NaN where no balance exists. The program's answer is solved again with what lies at a
    bound held fixed, so that forces and moments balance to rounding.
    """
    matrix, load = _matrix(rig), _load(rig, level)
    count = len(rig.contacts)
    low, high = _bounds(rig, level)
    cost = np.concatenate([np.zeros(count), np.ones(len(rig.ties))])
    found = _minimum(cost, matrix, load, low, high) if len(cost) else None
    if found is None:
        empty = len(cost) == 0 and np.abs(load).max() <= ELASTIC
        forces = np.zeros(0) if empty else np.full(len(cost), np.nan)
    else:
        forces = _solved_again(matrix, load, found.x, low, high)
    return forces[:count], forces[count:]


def greatest_pulls(rig: Rig) -> Floats:
    """Greatest pull of each tie at any level at which the rig can be in balance, (t,) [N]."""
    pulls = np.zeros(len(rig.ties))
    matrix, count = _matrix(rig), len(rig.contacts)
    for tie in range(len(rig.ties)):
        most = rig.most_pulls[:, tie]
        order = np.argsort(-most)
        for level in order:
            if most[level] <= pulls[tie]:
                break
            low, high = _bounds(rig, int(level))
            cost = np.zeros(len(low))
            cost[count + tie] = -1.0
            found = _minimum(cost, matrix, _load(rig, int(level)), low, high)
            if found is not None:
                pulls[tie] = max(pulls[tie], found.x[count + tie])
    return pulls


def imbalance(rig: Rig, level: int, pushes: Floats, pulls: Floats) -> float:
    """Largest unbalanced force [N] or moment [N m] of given forces."""
    left = _matrix(rig) @ np.concatenate([pushes, pulls]) - _load(rig, level)
    return float(np.abs(left).max())


def least_sinkers(
    rigs: Sequence[Rig],
    points: Floats,
    weight_shares: Floats,
    body: int = 0,
) -> Floats | None:
    """Least dry masses [kg] to hang at given points so that all rigs stay at every level.

    Parameters
    ----------
    rigs : sequence of Rig
        The same bodies at the ends of their ranges, without these sinkers.
    points : (p, 2) float array
        Allowed places of ties.
    weight_shares : (k,) float array
        Share of its dry weight that a sinker still has at each level.
    body : int
        The body that is tied.

    Returns
    -------
    (p,) float array or None
        Masses shared by all levels and rigs, standing with taut ties; None where no mass at
        these points holds it.
    """
    from scipy.sparse import block_array, block_diag, coo_array

    own = len(points)
    held, loads, low, high, caps = [], [], [], [], []
    pulls = np.zeros((3 * len(rigs[0].masses), own))
    pulls[3 * body : 3 * body + 3] = _wrench(points, -1.0)
    for rig in rigs:
        matrix = np.hstack([_matrix(rig), pulls])
        for level in range(rig.levels):
            held.append(matrix)
            loads.append(_load(rig, level))
            least, most = _bounds(rig, level)
            low += [least, np.zeros(own)]
            high += [most, np.full(own, np.inf)]
            caps.append((matrix.shape[1], GRAVITY * weight_shares[level]))
    width = sum(columns for columns, _ in caps)
    equal = block_diag(held)
    starts = np.cumsum([columns for columns, _ in caps])
    rows = np.arange(own * len(caps))
    columns = np.concatenate([np.arange(end - own, end) for end in starts])
    pulled = coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(rows), width))
    shares = coo_array(np.vstack([-share * np.eye(own) for _, share in caps]))
    found = _minimum(
        np.concatenate([np.zeros(width), np.ones(own)]),
        block_array([[equal, coo_array((equal.shape[0], own))]]),
        np.concatenate(loads),
        np.concatenate([*low, np.zeros(own)]),
        np.concatenate([*high, np.full(own, np.inf)]),
        block_array([[pulled, shares]]),
    )
    return None if found is None else np.asarray(found.x[width:], dtype=float)


def hinge(rig: Rig, motion: Floats, body: int = 0) -> Floats:
    """Find the ends of the edge about which a body tips, from its motion (n, 3).

    Returns
    -------
    (h, 2) float array
        Two points, or one, of its contacts and ties that do not move; none where it lifts
        off whole.
    """
    here = _held_places(rig, body)
    turn = motion[body]
    slope = np.asarray(turn[1:], dtype=float)
    if not len(here) or lifts_whole(rig, motion, body):
        return np.empty((0, 2))
    rise = np.abs(turn[0] + here @ slope)
    still: Floats = here[rise < max(STILL, 1e-4 * float(np.linalg.norm(slope)))]
    if len(still) < 2:
        return still
    along = still @ np.array([-slope[1], slope[0]])
    ends: Floats = still[[int(along.argmin()), int(along.argmax())]]
    return ends


def lifts_whole(rig: Rig, motion: Floats, body: int = 0) -> bool:
    """Tell whether a body rises everywhere alike, from the motion (n, 3)."""
    here = _held_places(rig, body)
    if len(here) == 0:
        return True
    rises = motion[body, 0] + here @ motion[body, 1:]
    return bool(rises.max() - rises.min() < WHOLE and rises.min() > STILL)


def _held_places(rig: Rig, body: int) -> Floats:
    """Places at which a body rests or is tied, (h, 2)."""
    return np.concatenate([rig.contacts[rig.uppers == body], rig.ties[rig.tied == body]])


def centre_of_lift(rig: Rig, level: int, body: int = 0) -> Floats:
    """Centre of buoyancy of a body (2,), or of its mass where there is no lift."""
    wet = rig.lifts[level, body] > 0
    at: Floats = rig.lift_centres[level, body] if wet else rig.centres[body]
    return at


def _least_missing(rig: Rig, body: int, levels: Indices) -> tuple[Floats, Floats]:
    """Sum of forces and moments that lack with no further lift, (k,), and the motion then."""
    matrix, size = _matrix(rig), 3 * len(rig.masses)
    wide = matrix.shape[1]
    blocks, loads, low, high, cost = [], [], [], [], []
    for level in levels:
        lift = _lift_column(rig, int(level), body)
        blocks.append(np.hstack([matrix, lift, np.eye(size), -np.eye(size)]))
        loads.append(_load(rig, int(level)))
        least, most = _bounds(rig, int(level))
        none = np.zeros(2 * size)
        low.append(np.concatenate([least, [-MOST_LIFT], none]))
        high.append(np.concatenate([most, [0.0], none + np.inf]))
        cost.append(np.concatenate([np.zeros(wide + 1), np.ones(2 * size)]))
    found = _minimum_of_blocks(cost, blocks, loads, low, high)
    assert found is not None
    parts = found.x.reshape(len(levels), -1)
    missing = parts[:, wide + 1 :].sum(axis=1)
    return missing, -found.eqlin.marginals.reshape(len(levels), size)


def _greatest_lift(rig: Rig, body: int, levels: Indices) -> tuple[Floats, Floats]:
    """Greatest further lift (k,) and the motion that begins there (k, 3 n)."""
    matrix = _matrix(rig)
    blocks, loads, low, high, cost = [], [], [], [], []
    for level in levels:
        blocks.append(np.hstack([matrix, _lift_column(rig, int(level), body)]))
        loads.append(_load(rig, int(level)))
        least, most = _bounds(rig, int(level))
        low.append(np.concatenate([least, [-MOST_LIFT]]))
        high.append(np.concatenate([most, [MOST_LIFT]]))
        cost.append(np.concatenate([np.zeros(matrix.shape[1]), [-1.0]]))
    found = _minimum_of_blocks(cost, blocks, loads, low, high)
    size = 3 * len(rig.masses)
    if found is None and len(levels) > 1:  # one level is at the edge of rounding: each by itself
        halves = [_greatest_lift(rig, body, levels[i : i + 1]) for i in range(len(levels))]
        return np.concatenate([h[0] for h in halves]), np.concatenate([h[1] for h in halves])
    if found is None:
        return np.array([-np.inf]), np.full((1, size), np.nan)
    lifts = found.x.reshape(len(levels), -1)[:, -1]
    return lifts, -found.eqlin.marginals.reshape(len(levels), size)


def _whole_where_possible(
    rig: Rig, body: int, levels: Indices, lifts: Floats, motions: Floats
) -> Floats:
    """Let a body rise whole, with all that lies on it, at levels where that is one way to go.

    The motion is not unique where the lift acts at the middle of all that holds.
    """
    above = {body}
    for _ in rig.masses:
        above |= {
            int(u) for u, low in zip(rig.uppers, rig.lowers, strict=True) if int(low) in above
        }
    rows, tied = sorted(above), np.isin(rig.tied, sorted(above))
    held = GRAVITY * rig.masses[rows].sum() + rig.most_pulls[levels][:, tied].sum(axis=1)
    whole = held - rig.lifts[levels][:, rows].sum(axis=1)
    rising = np.zeros((len(rig.masses), 3))
    rising[rows, 0] = 1.0
    found = motions.copy()
    found[np.abs(whole - lifts) < 1e-6] = rising.ravel()
    return found


def _minimum_of_blocks(
    cost: Sequence[Floats],
    blocks: Sequence[Floats],
    loads: Sequence[Floats],
    low: Sequence[Floats],
    high: Sequence[Floats],
) -> Any:
    """Solve independent programs in one call."""
    from scipy.sparse import block_diag

    return _minimum(
        np.concatenate(cost),
        block_diag(blocks, format="csr"),
        np.concatenate(loads),
        np.concatenate(low),
        np.concatenate(high),
    )


def _minimum(
    cost: Floats, matrix: Any, load: Floats, low: Floats, high: Floats, least: Any = None
) -> Any:
    """Minimise cost @ x with matrix @ x = load, least @ x ≤ 0 and bounds; None: impossible."""
    from scipy.optimize import linprog

    found = linprog(
        cost,
        A_ub=least,
        b_ub=None if least is None else np.zeros(least.shape[0]),
        A_eq=matrix,
        b_eq=load,
        bounds=np.column_stack([low, np.maximum(low, high)]),
        method="highs",
        options={"primal_feasibility_tolerance": 1e-9, "dual_feasibility_tolerance": 1e-9},
    )
    return None if found.x is None else found


def _bounds(rig: Rig, level: int) -> tuple[Floats, Floats]:
    """Least and greatest pushes and pulls at a level, (c + t,) each [N]."""
    count = len(rig.contacts)
    return (
        np.concatenate([np.zeros(count), rig.least_pulls[level]]),
        np.concatenate([np.full(count, np.inf), rig.most_pulls[level]]),
    )


def _matrix(rig: Rig) -> Floats:
    """Columns of the balance for unit pushes and pulls, (3 n, c + t)."""
    contacts, ties = len(rig.contacts), len(rig.ties)
    matrix = np.zeros((len(rig.masses), 3, contacts + ties))
    wrench = _wrench(rig.contacts, 1.0)
    for j in range(contacts):
        matrix[rig.uppers[j], :, j] += wrench[:, j]
        if rig.lowers[j] >= 0:
            matrix[rig.lowers[j], :, j] -= wrench[:, j]
    pulls = _wrench(rig.ties, -1.0)
    for j in range(ties):
        matrix[rig.tied[j], :, contacts + j] = pulls[:, j]
    return matrix.reshape(3 * len(rig.masses), contacts + ties)


def _lift_column(rig: Rig, level: int, body: int) -> Floats:
    """Column of the balance for a unit of further lift of a body, (3 n, 1)."""
    column = np.zeros((3 * len(rig.masses), 1))
    column[3 * body : 3 * body + 3] = _wrench(centre_of_lift(rig, level, body), 1.0)
    return column


def _load(rig: Rig, level: int) -> Floats:
    """Right side of the balance: weight less lift, and their moments, (3 n,)."""
    load = np.empty((len(rig.masses), 3))
    for body, mass in enumerate(rig.masses):
        weight, lift = mass * GRAVITY, rig.lifts[level, body]
        load[body, 0] = weight - lift
        load[body, 1:] = weight * rig.centres[body] - lift * centre_of_lift(rig, level, body)
    return load.ravel()


def _wrench(points: Floats, sign: float) -> Floats:
    """Columns of the balance of one body for unit forces at points, (3, p)."""
    flat = np.asarray(points, dtype=float).reshape(-1, 2)
    return sign * np.vstack([np.ones(len(flat)), flat.T])


def _solved_again(matrix: Floats, load: Floats, x: Floats, low: Floats, high: Floats) -> Floats:
    """Balance exactly with the forces that are not at a bound."""
    tolerance = 1e-9 * max(1.0, float(np.abs(load).max()))
    free = (x > low + tolerance) & (x < high - tolerance)
    fixed = np.where(free, 0.0, np.clip(x, low, np.where(np.isfinite(high), high, x)))
    forces: Floats = fixed.copy()
    if free.any():
        forces[free] = np.linalg.lstsq(matrix[:, free], load - matrix @ fixed, rcond=None)[0]
    return forces
