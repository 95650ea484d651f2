"""Whether bodies in water stay in their drawn pose, by linear programs over all levels.

Forces and moments add up to nothing (statics); where none do, the multipliers of the program are
a virtual motion by Farkas' lemma (from memory).
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plumbstone.meshes.piece import Flags, Floats, Indices
from plumbstone.volumes.bodies.contacts import inside_hull
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.programs import Answer, Program, entries_of, least_cost

MOST_LIFT = 1e4  # bound of the margin [N]
SLACK = 1e-9  # rounding of the margin [N]
ELASTIC = 1e-6  # sum of forces and moments that lack: from here on no balance exists [N, N m]
STILL = 1e-6  # motion at a contact or tie, in shares of that of the lift: it is the hinge
FINE = 100.0  # in this part of a newton the tolerance of a program, 1e-7, is one of 1e-9 N
EXACT = 1e-8  # a tenth of that tolerance, in the same parts
WHOLE = 0.02  # rise across a body, in shares of its own: below it, it lifts off whole


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """Bodies, what they rest on and what pulls them, at every water level.

    Forces are in newtons, places in metres, both in the frame of the tank. A push acts on the
    upper body and, turned round, on the lower one; so does a pull on what the tie runs to.
    """

    masses: Floats  # (n,) of the bodies, with what is strapped to them [kg]
    centres: Floats  # (n, 2) of those masses
    lifts: Floats  # (k, n) buoyancy at each level [N]
    lift_centres: Floats  # (k, n, 2) centres of buoyancy; any value where there is no lift
    contacts: Floats  # (c, 3) places of pushes; a contact with friction has several
    pushes: Floats  # (c, 3) unit directions in which they push the upper body
    uppers: Indices  # (c,) body above each contact
    lowers: Indices  # (c,) body below it; -1 where that is fixed
    ties: Floats  # (t, 3) places where something pulls
    pulls: Floats  # (t, 3) unit directions in which it pulls
    tied: Indices  # (t,) body that it pulls
    ends: Indices  # (t,) body that the tie runs to; -1 where its pull is all that counts
    least_pulls: Floats  # (k, t) least pull of each at each level [N]; equal to the most where
    most_pulls: Floats  # (k, t) it hangs free or lies on the body
    wood_centres: Floats | None = None  # (k, 2) of what the wood of the first body displaces

    @property
    def levels(self) -> int:
        """Number of water levels."""
        return len(self.lifts)

    @property
    def equations(self) -> int:
        """Equations of the balance of one body: three where all forces are vertical."""
        return 6 if self.pushes[:, :2].any() or self.pulls[:, :2].any() else 3

    @property
    def held_places(self) -> Floats:
        """Places at which the first body rests or is tied [m], (h, 2)."""
        return np.concatenate([self.contacts[self.uppers == 0, :2], self.ties[self.tied == 0, :2]])


@dataclass(frozen=True, slots=True, eq=False)
class Verdicts:
    """The answer at every level for the first body of a rig."""

    margins: Floats  # (k,) lift at the centre of its wood that it would still bear [N]; below
    # zero the lift that must go, -inf where something falls over by its own weight
    motions: Floats  # (k, n, 3 or 6) how all bodies start to move once the margin is used up: the
    # rise at (x, y) is m[0] + m[1] x + m[2] y, 1 at that centre; m[3:] along x
    # and y, and the turn about z

    @property
    def stays(self) -> Flags:
        """Whether the pose can be in balance at each level, (k,)."""
        return np.asarray(self.margins >= -SLACK)


def judge(rig: Rig) -> Verdicts:
    """Judge the first body of a rig at every level.

    Notes
    -----
    Balance of forces and moments of each body, six equations: pushes and pulls against weight
    and lift. Where all of them are vertical, three are left.
    The margin is the largest further lift at the centre of buoyancy, of its wood alone where
    stones are strapped to it, for which pushes
    N ≥ 0 and pulls within their bounds exist; a negative one is the load that lacks there.
    The multipliers of the balance are the motion that the bodies start with (virtual work).
    """
    at = np.array([centre_of_lift(rig, level) for level in range(rig.levels)])
    levels, which = _unlike(rig, at)
    standing = np.arange(len(levels))
    margins, motions = np.full(len(levels), -np.inf), np.zeros((0, 0))
    found = _greatest_lift(rig, levels) if all_stay([rig]) else None
    if found is None:  # somewhere it moves
        missing, motions = _least_missing(rig, levels)
        standing = standing[missing <= ELASTIC]
        found = _in_parts(rig, levels[standing])
    rising = _whole_where_possible(rig, levels[standing], *found)
    margins[standing] = found[0]
    motions = motions if len(motions) else rising.copy()
    motions[standing] = rising
    return Verdicts(margins[which], motions.reshape(len(levels), -1, rig.equations)[which])


def all_stay(rigs: Sequence[Rig]) -> bool:
    """Tell whether all bodies of all rigs can be in balance at every level.

    The rigs differ in their loads alone: one body of contacts and ties at several ends.
    """
    return all(_balanced(rigs[0], np.concatenate([_rows(rig) for rig in rigs])))


def first_moving(rigs: Sequence[Rig]) -> tuple[int, int] | None:
    """Find the first level at which one of some rigs is in no balance, and the first that is not.

    The rigs differ in their loads alone. None where all stay.
    """
    rows = np.stack([_rows(rig) for rig in rigs], axis=1)  # (levels, rigs, loads and bounds)
    told = enumerate(_balanced(rigs[0], np.concatenate(rows)))
    place = next((place for place, stays in told if not stays), None)
    return None if place is None else divmod(place, len(rigs))


def _rows(rig: Rig) -> Floats:
    """Give loads and bounds of the pulls at each level, rounded, (k, loads and bounds)."""
    return np.hstack([_loads(rig), rig.least_pulls, rig.most_pulls]).round(12)


def _unlike(rig: Rig, more: Floats) -> tuple[Indices, Indices]:
    """Levels whose rows, and more that is known of each, differ, and which of them each is like."""
    rows = np.hstack([_rows(rig), more.round(12)])
    whole = (rows + 0.0).view(np.dtype((np.void, rows.itemsize * rows.shape[1])))  # -0 becomes 0
    _, first, which = np.unique(whole.ravel(), return_index=True, return_inverse=True)
    return first, which


def _balanced(rig: Rig, rows: Floats) -> Iterator[bool]:
    """Tell of each of some loads and bounds in turn whether a rig can bear it."""
    matrix, count = _matrix(rig), len(rig.contacts)
    size, wide = matrix.shape
    free = np.abs(rows[:, :size]).max(axis=1) <= ELASTIC
    if not wide:
        yield from free
        return
    if size == 3 and wide == count:
        # One body that only rests: its load must pass within its contacts.
        rests, load = rows[:, 0] > ELASTIC, np.maximum(rows[:, :1], ELASTIC)
        yield from free | (rests & inside_hull(matrix[1:].T, rows[:, 1:3] / load))
        return
    program = Program(entries_of(matrix[None]), size, wide, presolve="off")
    rows = rows * FINE + 0.0  # -0 becomes 0
    loads, low, high = np.split(rows, [size, size + wide - count], axis=1)
    lows = np.hstack([np.zeros((len(rows), count)), low])
    highs = np.hstack([np.full((len(rows), count), np.inf), high])
    known: dict[bytes, bool] = {}
    borne = np.zeros(len(rows), dtype=bool)
    for k, row in enumerate(rows):
        if not borne[k]:
            if (same := row.tobytes()) not in known:
                known[same] = program.within((loads[k], loads[k]), (lows[k], highs[k]))
                if known[same]:
                    borne[k:] |= _borne(matrix, program.basis(), loads[k:], lows[k:], highs[k:])
            borne[k] = known[same]
        yield bool(borne[k])


def _borne(
    matrix: Floats, basis: tuple[Indices, Flags], loads: Floats, lows: Floats, highs: Floats
) -> Flags:
    """Tell which loads (k, rows) the forces that bore one bear too, with their bounds (k, columns).

    The others stay at the bound where they were: what balances is a proof, whoever found it.
    """
    free, up = basis
    forces = np.where(up, highs, lows)
    forces[:, free] = 0.0
    lack = loads - forces @ matrix.T
    forces[:, free] = lack @ np.linalg.pinv(matrix[:, free]).T
    within = (forces >= lows - EXACT) & (forces <= highs + EXACT)
    lack = loads - forces @ matrix.T
    return np.asarray(within.all(axis=1) & (np.abs(lack).max(axis=1) < EXACT))


def stays_at(rig: Rig) -> Flags:
    """Tell at which levels all bodies of a rig can be in balance, (k,)."""
    return np.array(list(_balanced(rig, _rows(rig))), dtype=bool)


def forces_at(rig: Rig, level: int) -> tuple[Floats, Floats]:
    """Pushes (c,) and pulls (t,) that balance a rig at a level with the least total pull [N].

    NaN where no balance exists. The program's answer is solved again with what lies at a
    bound held fixed, so that forces and moments balance to rounding.
    """
    matrix, load, count = _matrix(rig), _loads(rig)[level], len(rig.contacts)
    low, high = (bounds[level] for bounds in _bounds(rig))
    cost = np.concatenate([np.zeros(count), np.ones(len(rig.ties))])
    found = least_cost(cost, entries_of(matrix[None]), load, low, high) if len(cost) else None
    if found is None:
        empty = len(cost) == 0 and np.abs(load).max() <= ELASTIC
        forces = np.zeros(0) if empty else np.full(len(cost), np.nan)
    else:
        forces = _solved_again(matrix, load, found.values, low, high)
    return forces[:count], forces[count:]


def greatest_pulls(rig: Rig) -> Floats:
    """Greatest pull of each tie at any level at which the rig can be in balance, (t,) [N]."""
    pulls = np.zeros(len(rig.ties))
    levels, _ = _unlike(rig, np.empty((rig.levels, 0)))
    standing = levels[stays_at(rig)[levels]]
    if not len(standing) or not len(pulls):
        return pulls
    count = len(rig.contacts)
    given = np.all(rig.least_pulls == rig.most_pulls, axis=0)
    pulls[given] = rig.most_pulls[standing].max(axis=0)[given]
    for tie in np.flatnonzero(~given):
        cost = np.zeros(count + len(pulls))
        cost[count + tie] = -1.0
        none = np.zeros((len(standing), rig.equations * len(rig.masses), 0))
        found = _at_levels(rig, standing, cost, none, [], [], [])
        if found is not None:
            pulls[tie] = found.values.reshape(len(standing), -1)[:, count + tie].max()
    return pulls


def least_sinkers(
    rigs: Sequence[Rig], points: Floats, weight_shares: Floats, most: float = np.inf
) -> Floats | None:
    """Least dry masses [kg] to hang at given points so that all rigs stay at every level.

    Parameters
    ----------
    rigs : sequence of Rig
        The same bodies at the ends of their ranges, the first one tied, without these sinkers.
    points : (p, 2) or (p, 3) float array, or (s, p, 2) or (s, p, 3)
        Allowed places of ties; of several sets, the masses hold it tied at each set.
    weight_shares : (k,) float array
        Share of its dry weight that a sinker still has at each level.
    most : float
        Greatest mass of one [kg].

    Returns
    -------
    (p,) float array or None
        Masses shared by all levels and rigs, each pulling with its whole weight; None where
        no mass at these points holds it.
    """
    sets = points if points.ndim == 3 else points[None]
    own = sets.shape[1]
    held, loads, low, high, shared = [], [], [], [], []
    for rig, places in itertools.product(rigs, sets):
        matrix, size = _matrix(rig), rig.equations
        pulls = np.zeros((size * len(rig.masses), own))
        pulls[:size] = _wrench(_level(places[:, :2]), _down(own))[:size]
        levels = _unlike(rig, weight_shares[:, None])[0]
        held += [matrix] * len(levels)
        shared.append(GRAVITY * weight_shares[levels, None, None] * pulls)
        loads.append(_loads(rig)[levels].ravel())
        least, greatest = _bounds(rig)
        low.append(least[levels].ravel())
        high.append(greatest[levels].ravel())
    rows, columns, values = entries_of(np.stack(held))
    pulled, hung, pulls = entries_of(np.concatenate(shared).reshape(1, -1, own))
    wide = len(held) * held[0].shape[1]
    entries = (np.append(rows, pulled), np.append(columns, wide + hung), np.append(values, pulls))
    found = least_cost(
        np.append(np.zeros(wide), np.ones(own)),
        entries,
        np.concatenate(loads),
        np.concatenate([*low, np.zeros(own)]),
        np.concatenate([*high, np.full(own, most)]),
    )
    return None if found is None else found.values[-own:]


def hinge(rig: Rig, motion: Floats) -> Floats:
    """Find the ends of the edge about which the first body tips, from the virtual motion (n, 6).

    Returns
    -------
    (h, 2) float array
        Two points [m], or one, of its contacts and ties that do not move; none where it lifts
        off whole.
    """
    here, slope = rig.held_places, np.asarray(motion[0, 1:3], dtype=float)
    if lifts_whole(rig, motion):
        return np.empty((0, 2))
    rise = np.abs(motion[0, 0] + here @ slope)
    still: Floats = here[rise < max(STILL, 1e-4 * float(np.linalg.norm(slope)))]
    if len(still) < 2:
        return still
    along = still @ np.array([-slope[1], slope[0]])
    return still[[int(along.argmin()), int(along.argmax())]]


def lifts_whole(rig: Rig, motion: Floats) -> bool:
    """Tell whether the first body rises everywhere alike, from the motion (n, 6) [m, rad]."""
    here = rig.held_places
    if len(here) == 0:
        return True
    rises = motion[0, 0] + here @ motion[0, 1:3]
    return bool(rises.max() - rises.min() < WHOLE and rises.min() > STILL)


def centre_of_lift(rig: Rig, level: int) -> Floats:
    """Centre of buoyancy of the first body [m], (2,), or of its mass where there is no lift."""
    return rig.lift_centres[level, 0] if rig.lifts[level, 0] > 0 else rig.centres[0]


def _least_missing(rig: Rig, levels: Indices) -> tuple[Floats, Floats]:
    """Sum of forces and moments that lack with no further lift, (k,), and the motion then."""
    size, wide = rig.equations * len(rig.masses), len(rig.contacts) + len(rig.ties)
    lifts, both = _lift_columns(rig, levels), np.hstack([np.eye(size), -np.eye(size)])
    more = np.concatenate([lifts, np.broadcast_to(both, (len(levels), *both.shape))], axis=2)
    none, many = np.zeros(2 * size), np.full(2 * size, np.inf)
    low, high = np.append(-MOST_LIFT, none), np.append(0.0, many)
    found = _at_levels(rig, levels, np.zeros(wide), more, low, high, np.append(0.0, none + 1))
    assert found is not None
    parts = found.values.reshape(len(levels), -1)
    missing = parts[:, wide + 1 :].sum(axis=1)
    return missing, -found.worth.reshape(len(levels), size)


def _greatest_lift(rig: Rig, levels: Indices) -> tuple[Floats, Floats] | None:
    """Greatest further lift (k,) and the motion that begins there (k, 6 n).

    None where a level has no balance, or all of them in one program are at the edge of rounding.
    """
    size = rig.equations * len(rig.masses)
    if not len(levels):
        return np.zeros(0), np.zeros((0, size))
    free = np.zeros(len(rig.contacts) + len(rig.ties))
    lifts = _lift_columns(rig, levels)
    found = _at_levels(rig, levels, free, lifts, [-MOST_LIFT], [MOST_LIFT], [-1.0])
    if found is None:
        return None
    lifts = found.values.reshape(len(levels), -1)[:, -1]
    return lifts, -found.worth.reshape(len(levels), size)


def _in_parts(rig: Rig, levels: Indices) -> tuple[Floats, Floats]:
    """Give the same, with the levels halved wherever a program has no answer."""
    found = _greatest_lift(rig, levels)
    if found is not None:
        return found
    if len(levels) == 1:
        size = rig.equations * len(rig.masses)
        return np.array([-np.inf]), np.full((1, size), np.nan)
    parts = [_in_parts(rig, half) for half in np.array_split(levels, 2)]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _whole_where_possible(rig: Rig, levels: Indices, lifts: Floats, motions: Floats) -> Floats:
    """Let the first body rise whole, with all on it, at levels where that is one way to go.

    The motion is not unique where the lift acts at the middle of all that holds.
    """
    above = {0}
    for _ in rig.masses:
        above |= {
            int(u) for u, low in zip(rig.uppers, rig.lowers, strict=True) if int(low) in above
        }
    rows, tied = sorted(above), np.isin(rig.tied, sorted(above))
    held = GRAVITY * rig.masses[rows].sum() + rig.most_pulls[levels][:, tied].sum(axis=1)
    whole = held - rig.lifts[levels][:, rows].sum(axis=1)
    rising = np.zeros((len(rig.masses), rig.equations))
    rising[rows, 0] = 1.0
    found = motions.copy()
    found[np.abs(whole - lifts) < 1e-6] = rising.ravel()
    return found


def _at_levels(
    rig: Rig,
    levels: Indices,
    cost: Floats,
    more: Floats,
    low: ArrayLike,
    high: ArrayLike,
    price: ArrayLike,
) -> Answer | None:
    """Balance a rig at some levels (k,) in one call at the least cost of its pushes and pulls.

    There are more columns (k, rows, m) at each level, with bounds and costs of their own.
    """
    matrix, count = _matrix(rig), len(levels)
    blocks = np.concatenate([np.broadcast_to(matrix, (count, *matrix.shape)), more], axis=2)
    lows, highs = (
        np.hstack([bounds[levels], np.tile(end, (count, 1))]).ravel()
        for bounds, end in zip(_bounds(rig), (low, high), strict=True)
    )
    costs = np.tile(np.append(cost, price), count)
    return least_cost(costs, entries_of(blocks), _loads(rig)[levels].ravel(), lows, highs)


def _bounds(rig: Rig) -> tuple[Floats, Floats]:
    """Least and greatest pushes and pulls at every level, (k, c + t) each [N]."""
    none = np.zeros((rig.levels, len(rig.contacts)))
    return np.hstack([none, rig.least_pulls]), np.hstack([none + np.inf, rig.most_pulls])


def _matrix(rig: Rig) -> Floats:
    """Columns of the balance for unit pushes and pulls, (6 n, c + t)."""
    contacts, ties = len(rig.contacts), len(rig.ties)
    size = rig.equations
    matrix = np.zeros((len(rig.masses), size, contacts + ties))
    forces = [
        (_wrench(rig.contacts, rig.pushes), rig.uppers, rig.lowers, 0),
        (_wrench(rig.ties, rig.pulls), rig.tied, rig.ends, contacts),
    ]
    for whole, on, against, first in forces:
        wrench = whole[:size]
        for j in range(wrench.shape[1]):
            matrix[on[j], :, first + j] += wrench[:, j]
            if against[j] >= 0:
                matrix[against[j], :, first + j] -= wrench[:, j]
    return matrix.reshape(rig.equations * len(rig.masses), contacts + ties)


def _lift_columns(rig: Rig, levels: Indices) -> Floats:
    """Columns of the balance for a unit of further lift of the first body, (k, 6 n, 1)."""
    size = rig.equations
    columns = np.zeros((len(levels), size * len(rig.masses), 1))
    for column, level in zip(columns, levels, strict=True):
        wood = rig.wood_centres
        at = _level(centre_of_lift(rig, int(level)) if wood is None else wood[level])
        column[:size] = _wrench(at, -_down(1))[:size]
    return columns


def _loads(rig: Rig) -> Floats:
    """Weight less lift of each body, and their moments, at every level (k, 3 n or 6 n)."""
    load = np.zeros((rig.levels, len(rig.masses), rig.equations))
    weight = rig.masses * GRAVITY
    at = np.where((rig.lifts > 0)[..., None], rig.lift_centres, rig.centres)
    load[..., 0] = weight - rig.lifts
    load[..., 1:3] = weight[:, None] * rig.centres - rig.lifts[..., None] * at
    return load.reshape(rig.levels, -1)


def _wrench(points: Floats, forces: Floats) -> Floats:
    """Columns of the balance of one body for forces (p, 3) at points (p, 3): (6, p).

    The force up, its moments that tip along x and along y, the forces along x and y, and the
    moment about the vertical.
    """
    (x, y, z), (fx, fy, fz) = points.T, forces.T
    return np.vstack([fz, x * fz - z * fx, y * fz - z * fy, fx, fy, x * fy - y * fx])


def _level(points: Floats) -> Floats:
    """Places (p, 2) at height 0: for a vertical force the height is the same to all."""
    flat = np.asarray(points, dtype=float).reshape(-1, 2)
    return np.column_stack([flat, np.zeros(len(flat))])


def _down(count: int) -> Floats:
    """Give unit forces that pull straight down, (count, 3)."""
    return np.tile([0.0, 0.0, -1.0], (count, 1))


def _solved_again(matrix: Floats, load: Floats, x: Floats, low: Floats, high: Floats) -> Floats:
    """Balance exactly with the forces that are not at a bound."""
    tolerance = 1e-9 * max(1.0, float(np.abs(load).max()))
    free = (x > low + tolerance) & (x < high - tolerance)
    fixed = np.where(free, 0.0, np.clip(x, low, np.where(np.isfinite(high), high, x)))
    forces: Floats = fixed.copy()
    if free.any():
        forces[free] = np.linalg.lstsq(matrix[:, free], load - matrix @ fixed, rcond=None)[0]
    return forces
