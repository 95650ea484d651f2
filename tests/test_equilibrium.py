"""The balance of bodies against worked examples and independent solvers."""

import itertools
from dataclasses import replace
from math import pi

import numpy as np
import pytest
import shapely
from scipy.optimize import lsq_linear, nnls

from plumbstone.volumes.bodies.contacts import off_hull
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.holding.equilibrium import (
    Rig,
    all_stay,
    first_moving,
    forces_at,
    greatest_pulls,
    hinge,
    judge,
    least_sinkers,
    lifts_whole,
    stays_at,
)
from plumbstone.volumes.holding.touching import Resting

NO_TIES = {
    "ties": np.empty((0, 3)),
    "pulls": np.empty((0, 3)),
    "tied": np.empty(0, dtype=np.int64),
    "ends": np.empty(0, dtype=np.int64),
}


def level(points: np.ndarray) -> np.ndarray:
    """Places on the floor."""
    flat = np.asarray(points, dtype=float).reshape(-1, 2)
    return np.column_stack([flat, np.zeros(len(flat))])


def straight(count: int, up: float) -> np.ndarray:
    """Vertical unit forces."""
    return np.tile([0.0, 0.0, up], (count, 1))


def one_body(
    mass: float,
    centre: object,
    lifts: object,
    lift_centres: object,
    contacts: object,
    ties: object = (),
    least: object = None,
    most: object = None,
) -> Rig:
    """A rig of one body on fixed ground."""
    at = np.array(contacts, dtype=float).reshape(-1, 2)
    pulling = np.array(ties, dtype=float).reshape(-1, 2)
    levels = np.array(lifts, dtype=float).reshape(-1, 1)
    none = np.zeros((len(levels), len(pulling)))
    return Rig(
        masses=np.array([mass]),
        centres=np.array(centre, dtype=float).reshape(1, 2),
        lifts=levels,
        lift_centres=np.array(lift_centres, dtype=float).reshape(-1, 1, 2),
        contacts=level(at),
        pushes=straight(len(at), 1.0),
        uppers=np.zeros(len(at), dtype=np.int64),
        lowers=np.full(len(at), -1),
        ties=level(pulling),
        pulls=straight(len(pulling), -1.0),
        tied=np.zeros(len(pulling), dtype=np.int64),
        ends=np.full(len(pulling), -1),
        least_pulls=none if least is None else np.array(least, dtype=float),
        most_pulls=none if most is None else np.array(most, dtype=float),
    )


def log(sinkers: list[tuple[float, float]], contacts: list[tuple[float, float]]) -> Rig:
    """Log Ø 4 cm × 40 cm of 700 kg/m³ along x from 0, covered by water of 998.2 kg/m³.

    Sinkers of 2700 kg/m³ hang free at places along it.
    """
    volume = pi * 0.02**2 * 0.4
    pulls = [[m * (1 - 998.2 / 2700) * GRAVITY for _, m in sinkers]]
    ties = [[x, 0.0] for x, _ in sinkers]
    return one_body(700 * volume, [0.2, 0], [998.2 * volume * GRAVITY], [[0.2, 0]], contacts,
                    ties, pulls, pulls)  # fmt: skip


def test_a_sinker_at_one_end_leaves_the_end_moment() -> None:
    # Net lift 149.9 g, sinker 237.8 g: at the middle it balances, all at one end leaves
    # 0.294 N m that lifts the other end; derived.
    ends = [(0.0, 0.0), (0.4, 0.0)]
    assert judge(log([(0.2, 0.2379)], ends)).stays[0]
    assert not judge(log([(0.2, 0.2377)], ends)).stays[0]
    end = log([(0.0, 0.2379)], ends)
    verdict = judge(end)
    assert not verdict.stays[0]
    moment = (end.lifts[0, 0] - end.masses[0] * GRAVITY) * 0.2
    assert moment == pytest.approx(0.294, abs=5e-4)
    # It turns about the end that is held: there it stands still, at the other end it rises.
    motion = verdict.motions[0]
    assert hinge(end, motion) == pytest.approx(np.array([[0.0, 0.0]] * 2), abs=1e-9)
    assert motion[0, 1] > 0
    # What lacks is the net lift of 149.9 g: about the held end nothing else has an arm.
    assert verdict.margins[0] / GRAVITY == pytest.approx(-0.1499, abs=1e-4)


@pytest.mark.parametrize(
    ("contacts", "first"), [([(0, 0)], 0), ([(-1, 0), (1, 0)], 0), ([(-1, -1), (1, -1), (0, 1)], 2)]
)
def test_one_level_says_nothing_of_another(contacts: list[tuple[float, float]], first: int) -> None:
    # 1 kg weighs 9.8 N: it floats at 20 N alone. On a point or an edge any push overturns it.
    rig = one_body(1.0, [0, 0], [0.0, 5.0, 20.0], [[0, 0]] * 3, contacts)
    assert first_moving([rig]) == (first, 0)
    assert stays_at(rig).tolist() == [first > k for k in range(3)]
    dry = replace(rig, lifts=rig.lifts * 0)
    assert first_moving([rig, dry]) == (first, 0)
    assert first_moving([dry, rig]) == (first, int(first > 0))
    assert all_stay([dry]) is (first > 0)


def test_what_neither_weighs_nor_lifts_stays_anywhere() -> None:
    rig = one_body(1.0, [0, 0], [GRAVITY, GRAVITY + 1e-3], [[0, 0]] * 2, [(5, 5)])
    assert stays_at(rig).tolist() == [True, False]


def test_a_level_is_known_by_its_ties_too() -> None:
    # 1 kg lifted by 2 N more than it weighs, over a tie that may pull nothing, a millionth less than 2 N, 2 N or 3 N.
    most = [[0.0], [2 - 1e-6], [2.0], [3.0]]
    lifts = [GRAVITY + 2] * 4
    rig = one_body(1.0, [0, 0], lifts, [[0, 0]] * 4, [(-1, 0), (1, 0)], [(0, 0)], None, most)
    assert stays_at(rig).tolist() == [False, False, True, True]
    assert first_moving([rig]) == (0, 0)
    # Lifted by 2 N less than it weighs it lies on a line, which bears nothing beside it.
    beside = [[0.0, y] for y in (0.0, 0.0, 1e-3, 0.0)]
    rig = one_body(1.0, [0, 0], [GRAVITY - 2] * 4, beside, [(-1, 0), (1, 0)], [(0, 0)], None, most)
    assert stays_at(rig).tolist() == [True, True, False, True]


def test_margin_is_the_spare_load() -> None:
    # 300 g of stone of 2700 weigh 189.1 g under water; less 149.9 g leaves 39.2 g.
    rig = log([(0.2, 0.300)], [(0.0, 0.0), (0.4, 0.0)])
    verdict = judge(rig)
    assert verdict.margins[0] / GRAVITY == pytest.approx(0.0392, abs=1e-4)
    assert imbalance(rig, *forces_at(rig, 0)) < 1e-9 * rig.lifts[0, 0]
    # Once that is used up it leaves the ground everywhere alike.
    assert lifts_whole(rig, verdict.motions[0])
    assert not len(hinge(rig, verdict.motions[0]))


def test_a_box_tips_about_the_edge_that_it_stands_on() -> None:
    # A lift beyond the right edge of the foot turns it about the left edge; statics.
    foot = [(0.0, 0.0), (0.1, 0.0), (0.1, 0.1), (0.0, 0.1)]
    rig = one_body(1.0, [0.05, 0.05], [6.0], [[0.14, 0.05]], foot)
    verdict = judge(rig)
    # m g 0.05 = (6 + λ) 0.14 about x = 0
    assert verdict.margins[0] == pytest.approx(GRAVITY * 0.05 / 0.14 - 6, abs=1e-9)
    edge = hinge(rig, verdict.motions[0])
    assert sorted(map(tuple, np.round(edge, 9))) == [(0.0, 0.0), (0.0, 0.1)]


def test_what_falls_by_its_own_weight_is_told_from_what_lifts() -> None:
    foot = [(0.0, 0.0), (0.1, 0.0), (0.1, 0.1), (0.0, 0.1)]
    verdict = judge(one_body(1.0, [0.12, 0.05], [0.0], [[0, 0]], foot))
    assert verdict.margins[0] == -np.inf
    assert verdict.motions[0, 0, 1] < 0  # the side beyond the edge goes down


def random_rig(rng: np.random.Generator, bodies: int, levels: int = 1) -> Rig:
    """Bodies on the ground and on each other, tied at random places, the loads unlike."""
    contacts, ties = int(rng.integers(0, 7)), int(rng.integers(0, 5))
    if bodies > 1:  # enough of them, or nearly none could be in balance
        contacts, ties = int(rng.integers(4, 9)) * bodies, int(rng.integers(0, 4)) * bodies
    most = rng.uniform(0, 12, (levels, ties))
    least = np.where(rng.uniform(size=(levels, ties)) < 0.3, most, 0.0)
    uppers = rng.integers(0, bodies, contacts)
    lowers = np.array([rng.integers(-1, u) if u and rng.uniform() < 0.5 else -1 for u in uppers])
    return Rig(
        masses=rng.uniform(0.5, 2, bodies),
        centres=rng.uniform(0.1, 0.3, (bodies, 2)),
        lifts=rng.uniform(0, 18 if bodies == 1 else 12, (levels, bodies)),
        lift_centres=rng.uniform(0.1, 0.3, (levels, bodies, 2)),
        contacts=level(rng.uniform(0, 0.4, (contacts, 2))),
        pushes=straight(contacts, 1.0),
        uppers=uppers,
        lowers=lowers.astype(np.int64),
        ties=level(rng.uniform(0, 0.4, (ties, 2))),
        pulls=straight(ties, -1.0),
        tied=rng.integers(0, bodies, ties),
        ends=np.full(ties, -1),
        least_pulls=least,
        most_pulls=most,
    )


def statics(rig: Rig, at: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Forces up and moments of unit pushes, of unit pulls and of the loads of upright forces."""
    bodies, n, t = len(rig.masses), len(rig.contacts), len(rig.ties)
    push, pull, load = (np.zeros((3 * bodies, k)) for k in (n, t, 1))
    for j, (x, y) in enumerate(rig.contacts[:, :2]):
        arm = np.array([1, x, y])
        push[3 * rig.uppers[j] : 3 * rig.uppers[j] + 3, j] += arm
        if rig.lowers[j] >= 0:
            push[3 * rig.lowers[j] : 3 * rig.lowers[j] + 3, j] -= arm
    for j, (x, y) in enumerate(rig.ties[:, :2]):
        pull[3 * rig.tied[j] : 3 * rig.tied[j] + 3, j] = [-1, -x, -y]
    for b in range(bodies):
        weight, lift = rig.masses[b] * GRAVITY, rig.lifts[at, b]
        load[3 * b, 0] = weight - lift
        load[3 * b + 1 : 3 * b + 3, 0] = weight * rig.centres[b] - lift * rig.lift_centres[at, b]
    return push, pull, load


def imbalance(rig: Rig, pushes: np.ndarray, pulls: np.ndarray, at: int = 0) -> float:
    """Largest unbalanced force [N] or moment [N m] of given forces."""
    push, pull, load = statics(rig, at)
    return float(np.abs(push @ pushes + pull @ pulls - load[:, 0]).max())


def can_balance(rig: Rig, at: int) -> tuple[bool, float]:
    """Decide by non-negative least squares: slack variables turn bounds into equations."""
    bodies, n, t = len(rig.masses), len(rig.contacts), len(rig.ties)
    push, pull, load = statics(rig, at)
    least, most = rig.least_pulls[at], rig.most_pulls[at]
    top = np.hstack([push, pull, np.zeros((3 * bodies, t))])
    bottom = np.hstack([np.zeros((t, n)), np.eye(t), np.eye(t)])
    matrix = np.vstack([top, bottom])
    right = np.concatenate([load[:, 0] - pull @ least, most - least])
    if matrix.shape[1] == 0:
        return bool(np.abs(right).max() < 1e-9), float(np.linalg.norm(right))
    found, residual = nnls(matrix, right, maxiter=100_000)
    if abs(residual - np.linalg.norm(matrix @ found - right)) > 1e-9:  # it gave up in silence
        found = lsq_linear(matrix, right, bounds=(0, np.inf), method="bvls", tol=1e-14).x
        residual = np.linalg.norm(matrix @ found - right)
    return residual < 1e-7, float(residual)


@pytest.mark.parametrize("bodies", [1, 2, 3])
def test_three_hundred_random_loads(bodies: int) -> None:
    """Feasible or not, as non-negative least squares finds it, another way to the answer.

    What bears one load of a rig may bear others: that is asked first.
    """
    rng = np.random.default_rng(7)
    answers = []
    for _ in range(50):
        rig = random_rig(rng, bodies, levels=6)
        stays, judged = stays_at(rig), judge(rig).stays
        for at in range(rig.levels):
            truth, residual = can_balance(rig, at)
            if 1e-9 < residual < 1e-5:
                continue  # too close to call for either
            assert stays[at] == judged[at] == truth
            if truth:
                forces = forces_at(rig, at)
                assert imbalance(rig, *forces, at) < 1e-9 * max(1.0, rig.lifts.max())
            answers.append(truth)
    assert answers.count(False) >= 30
    assert answers.count(True) >= 30


def test_margins_against_vertices_by_enumeration() -> None:
    """The greatest lift is at a vertex of the feasible forces; all of them are tried."""
    rng = np.random.default_rng(21)
    tried = 0
    for _ in range(40):
        rig = random_rig(rng, 1)
        verdict = judge(rig)
        if not verdict.stays[0]:
            continue
        tried += 1
        at = rig.lift_centres[0, 0]
        weight, lift = rig.masses[0] * GRAVITY, rig.lifts[0, 0]
        load = np.array([weight - lift, *(weight * rig.centres[0] - lift * at)])
        columns = np.column_stack(
            [
                *([1, x, y] for x, y, _ in rig.contacts),
                *([-1, -x, -y] for x, y, _ in rig.ties),
                [1, *at],
            ]
        )
        low = np.concatenate([np.zeros(len(rig.contacts)), rig.least_pulls[0]])
        high = np.concatenate([np.full(len(rig.contacts), np.inf), rig.most_pulls[0]])
        best, count = -np.inf, len(low)
        for basic in itertools.combinations(range(count), min(2, count)):
            others = [i for i in range(count) if i not in basic]
            choices = [[low[i], high[i]] if np.isfinite(high[i]) else [low[i]] for i in others]
            for fixed in itertools.product(*choices):
                square = columns[:, [*basic, count]]
                right = load - columns[:, others] @ np.array(fixed)
                found, _, rank, _ = np.linalg.lstsq(square, right, rcond=None)
                exact = rank == 3 and np.abs(square @ found - right).max() < 1e-9
                inside = all(
                    low[i] - 1e-9 <= v <= high[i] + 1e-9
                    for i, v in zip(basic, found[:-1], strict=True)
                )
                if exact and inside:
                    best = max(best, found[-1])
        assert verdict.margins[0] == pytest.approx(best, abs=1e-6)
    assert tried >= 8


def floating(contacts: list[tuple[float, float]], levels: int = 6) -> Rig:
    """A log that floats up as the water rises, its wet half leading at the far end."""
    shares = np.linspace(0, 1, levels)
    volume = pi * 0.02**2 * 0.4
    centres = np.column_stack([0.4 - 0.2 * shares, np.zeros(levels)])
    return one_body(700 * volume, [0.2, 0], shares * 998.2 * volume * GRAVITY, centres, contacts)


def with_ties(rig: Rig, points: np.ndarray, least: np.ndarray, most: np.ndarray) -> Rig:
    """Add ties at points (p, 2) that pull within bounds (k, p) [N]."""
    return replace(
        rig,
        ties=np.vstack([rig.ties, level(points)]),
        pulls=np.vstack([rig.pulls, straight(len(points), -1.0)]),
        tied=np.concatenate([rig.tied, np.zeros(len(points))]).astype(np.int64),
        ends=np.concatenate([rig.ends, np.full(len(points), -1)]).astype(np.int64),
        least_pulls=np.hstack([rig.least_pulls, least]),
        most_pulls=np.hstack([rig.most_pulls, most]),
    )


def test_least_sinkers_are_least() -> None:
    rig = floating([(0.0, -0.02), (0.0, 0.02), (0.4, -0.02), (0.4, 0.02)])
    points = np.array([[0.1, 0.0], [0.3, 0.0]])
    shares = np.full(6, 1 - 998.2 / 2700)
    masses = least_sinkers([rig], points, shares)
    assert masses is not None
    assert masses.sum() > 0.2378 * 0.99  # never less than the vertical balance asks for

    def stays(scale: float) -> bool:
        most = masses * scale * GRAVITY * shares[:, None]
        return bool(judge(with_ties(rig, points, most, most)).stays.all())

    assert stays(1.01)
    assert not stays(0.99)
    rng = np.random.default_rng(3)
    for _ in range(20):
        inside = np.column_stack([rng.uniform(0.1, 0.3, 2), np.zeros(2)])
        other = least_sinkers([rig], inside, shares)
        assert other is None or other.sum() >= masses.sum() - 1e-6


def test_least_sinkers_hold_both_ends_of_the_range_in_forty_random_rigs() -> None:
    """One per cent more stays, one per cent less moves; zero minima are skipped."""
    rng = np.random.default_rng(12)
    tried = 0
    for _ in range(40):
        base = random_rig(rng, 1)
        if len(base.contacts) < 3:
            continue
        light = replace(base, lifts=base.lifts * 1.1)
        points = rng.uniform(0, 0.4, (3, 2))
        masses = least_sinkers([base, light], points, np.array([0.63]))
        if masses is None or masses.sum() < 1e-3:
            continue
        tried += 1
        for scale, expected in ((1.01, True), (0.99, False)):
            most = (masses * scale * GRAVITY * 0.63)[None]
            held = [with_ties(rig, points, most, most) for rig in (base, light)]
            assert all(judge(rig).stays[0] for rig in held) is expected
    assert tried >= 10


def test_no_mass_at_this_point_holds_it() -> None:
    # All lift at the far end, the only tie and the only contact at the near one.
    rig = floating([(0.0, 0.0)], levels=2)
    assert least_sinkers([rig], np.array([[0.0, 0.0]]), np.full(2, 0.63)) is None


def test_half_full_tips_what_full_holds() -> None:
    """At half the depth only the far end is wet: it tips, though it lies still when covered."""
    volume, water = 1e-3, 1000.0
    rig = one_body(
        1.2,
        [0.2, 0],
        np.array([0.0, 0.5, 1.0]) * volume * water * GRAVITY,
        [[0.2, 0], [0.39, 0], [0.2, 0]],
        [[0.17, -0.02], [0.17, 0.02], [0.23, -0.02], [0.23, 0.02]],
    )
    assert judge(rig).stays.tolist() == [True, False, True]


def test_a_stone_on_wood_holds_it_and_is_lifted_with_it() -> None:
    # A block that lifts 4 N lies under a stone that weighs 5 N in water: 1 N is left; statics.
    foot = np.array([(0, 0), (0.2, 0), (0.2, 0.1), (0, 0.1)], dtype=float)
    top = np.array([(0.08, 0.04), (0.12, 0.04), (0.12, 0.06), (0.08, 0.06)])
    rig = Rig(
        masses=np.array([0.6, 0.8]),
        centres=np.array([[0.1, 0.05], [0.1, 0.05]]),
        lifts=np.array([[0.6 * GRAVITY + 4.0, 0.8 * GRAVITY - 5.0]]),
        lift_centres=np.array([[[0.1, 0.05], [0.1, 0.05]]]),
        contacts=level(np.vstack([foot, top])),
        pushes=straight(8, 1.0),
        uppers=np.repeat([0, 1], 4),
        lowers=np.repeat([-1, 0], 4),
        least_pulls=np.empty((1, 0)),
        most_pulls=np.empty((1, 0)),
        **NO_TIES,
    )
    verdict = judge(rig)
    assert verdict.margins[0] == pytest.approx(1.0, abs=1e-9)
    # The stone rises with the wood, as virtual work wants it.
    assert verdict.motions[0, 1, :3] @ [1, 0.1, 0.05] == pytest.approx(1.0, abs=1e-6)


def test_ties_that_stand_pull_as_little_as_they_may_and_never_more_than_they_weigh() -> None:
    volume = pi * 0.02**2 * 0.4
    rig = one_body(700 * volume, [0.2, 0], [998.2 * volume * GRAVITY], [[0.2, 0]],
                   [(0, 0), (0.4, 0)], [[0.2, 0]], [[0.0]], [[3.0]])  # fmt: skip
    # It must hold the net lift of 149.9 g, and with its 3 N it could press no harder than that
    # and the pushes of the ground allow: these have no upper bound.
    assert forces_at(rig, 0)[1][0] / GRAVITY == pytest.approx(0.1499, abs=1e-4)
    assert greatest_pulls(rig)[0] == pytest.approx(3.0)


@pytest.mark.parametrize("radius", [0.03, 0.1, 0.5])
def test_a_round_foot_counts_as_far_as_it_rolls_by_a_degree(radius: float) -> None:
    # A curve of radius R that turns by θ touches R θ farther on, where the gap was R θ² / 2.
    across = np.linspace(-0.012, 0.012, 481)
    places = level(np.column_stack([across, np.zeros(481)]))
    gaps = across**2 / (2 * radius)
    rest = Resting(
        places, np.tile([0.0, 0.0, 1.0], (481, 1)), np.full(481, -1), gaps, gaps,
        np.full(481, False), (0.0, 0.0), 0.0,
    )  # fmt: skip
    reach = float(np.abs(across[rest.firm()]).max())
    rolled = radius * np.radians(1.0)
    assert reach <= rolled + 5e-5  # the step between places
    assert reach >= 0.95 * rolled - 1e-4


def test_a_flat_foot_of_uneven_feet_counts_whole() -> None:
    places = level(np.array([[0.0, 0.0], [0.1, 0.0], [0.0, 0.1], [0.1, 0.1], [0.05, 0.05]]))
    gaps = np.array([0.0, 4e-5, 6e-5, 9e-5, 2e-4])
    rest = Resting(
        places, np.tile([0.0, 0.0, 1.0], (5, 1)), np.full(5, -1), gaps, gaps,
        np.full(5, False), (0.0, 0.0), 0.0,
    )  # fmt: skip
    assert rest.firm().tolist() == [True, True, True, True, False]


def test_distance_from_a_hull_agrees_with_shapely() -> None:
    rng = np.random.default_rng(3)
    for _ in range(50):
        places, points = rng.normal(0, 1, (int(rng.integers(1, 9)), 2)), rng.normal(0, 2, (20, 2))
        hull = shapely.MultiPoint(places).convex_hull
        wanted = [hull.distance(shapely.Point(p)) for p in points]
        assert off_hull(points, places) == pytest.approx(np.array(wanted), abs=1e-9)
