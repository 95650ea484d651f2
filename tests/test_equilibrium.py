"""The balance of a rig against worked examples and an independent solver."""

from math import pi

import numpy as np
import pytest
from scipy.optimize import nnls

from plumbstone.volumes.equilibrium import (
    Rig,
    imbalance,
    judge_level,
    least_sinkers,
    resting_contacts,
)
from plumbstone.volumes.water import GRAVITY


def log(sinkers: list[tuple[float, float]], contacts: list[tuple[float, float]]) -> Rig:
    """Log Ø 4 cm × 40 cm of 700 kg/m³ along x from 0, covered by water of 998.2 kg/m³.

    Sinkers of 2700 kg/m³ hang free at places along it.
    """
    volume = pi * 0.02**2 * 0.4
    pulls = [m * (1 - 998.2 / 2700) * GRAVITY for _, m in sinkers]
    return Rig(
        mass=700 * volume,
        centre=np.array([0.2, 0.0]),
        lifts=np.array([998.2 * volume * GRAVITY]),
        lift_centres=np.array([[0.2, 0.0]]),
        contacts=np.array(contacts, dtype=float).reshape(-1, 2),
        ties=np.array([[x, 0.0] for x, _ in sinkers]).reshape(-1, 2),
        least_pulls=np.array([pulls]).reshape(1, -1),
        most_pulls=np.array([pulls]).reshape(1, -1),
    )


def test_a_sinker_at_one_end_leaves_the_end_moment() -> None:
    # Net lift 149.9 g, sinker 237.8 g: at the middle it balances, all at one end leaves
    # 0.294 N m that lifts the other end; derived.
    ends = [(0.0, 0.0), (0.4, 0.0)]
    assert judge_level(log([(0.2, 0.2379)], ends), 0).stays
    assert not judge_level(log([(0.2, 0.2377)], ends), 0).stays
    end = log([(0.0, 0.2379)], ends)
    assert not judge_level(end, 0).stays
    moment = (end.lifts[0] - end.mass * GRAVITY) * 0.2
    assert moment == pytest.approx(0.294, abs=5e-4)


def test_margin_is_the_spare_load() -> None:
    # 300 g of stone of 2700 weigh 189.1 g under water; less 149.9 g leaves 39.2 g.
    rig = log([(0.2, 0.300)], [(0.0, 0.0), (0.4, 0.0)])
    verdict = judge_level(rig, 0)
    assert verdict.margin / GRAVITY == pytest.approx(0.0392, abs=1e-4)
    assert imbalance(rig, 0, verdict) < 1e-9


def random_rig(rng: np.random.Generator) -> Rig:
    contacts, ties = int(rng.integers(0, 7)), int(rng.integers(0, 5))
    most = rng.uniform(0, 12, (1, ties))
    least = np.where(rng.uniform(size=(1, ties)) < 0.3, most, 0.0)
    return Rig(
        mass=float(rng.uniform(0.5, 2)),
        centre=rng.uniform(0.1, 0.3, 2),
        lifts=rng.uniform(0, 18, 1),
        lift_centres=rng.uniform(0.1, 0.3, (1, 2)),
        contacts=rng.uniform(0, 0.4, (contacts, 2)),
        ties=rng.uniform(0, 0.4, (ties, 2)),
        least_pulls=least,
        most_pulls=most,
    )


def can_balance(rig: Rig) -> tuple[bool, float]:
    """Decide by non-negative least squares: slack variables turn bounds into equations."""
    n, t = len(rig.contacts), len(rig.ties)
    weight, lift = rig.mass * GRAVITY, rig.lifts[0]
    load = np.array([weight - lift, *(weight * rig.centre - lift * rig.lift_centres[0])])
    push = np.vstack([np.ones(n), rig.contacts.reshape(-1, 2).T])
    pull = -np.vstack([np.ones(t), rig.ties.reshape(-1, 2).T])
    least, most = rig.least_pulls[0], rig.most_pulls[0]
    top = np.hstack([push, pull, np.zeros((3, t))])
    bottom = np.hstack([np.zeros((t, n)), np.eye(t), np.eye(t)])
    matrix = np.vstack([top, bottom])
    right = np.concatenate([load - pull @ least, most - least])
    if matrix.shape[1] == 0:
        return bool(np.abs(right).max() < 1e-9), float(np.linalg.norm(right))
    residual = nnls(matrix, right, maxiter=10_000)[1]
    return residual < 1e-7, float(residual)


def test_two_hundred_random_rigs() -> None:
    rng = np.random.default_rng(7)
    answers = []
    for _ in range(200):
        rig = random_rig(rng)
        truth, residual = can_balance(rig)
        if 1e-9 < residual < 1e-5:
            continue  # too close to call for either
        verdict = judge_level(rig, 0)
        assert verdict.stays == truth
        if truth:
            assert imbalance(rig, 0, verdict) < 1e-8
        answers.append(truth)
    assert answers.count(False) >= 30
    assert answers.count(True) >= 30


def floating(contacts: list[tuple[float, float]], levels: int = 6) -> Rig:
    """A log that floats up as the water rises, its wet half leading at the far end."""
    shares = np.linspace(0, 1, levels)
    volume = pi * 0.02**2 * 0.4
    return Rig(
        mass=700 * volume,
        centre=np.array([0.2, 0.0]),
        lifts=shares * 998.2 * volume * GRAVITY,
        lift_centres=np.column_stack([0.4 - 0.2 * shares, np.zeros(levels)]),
        contacts=np.array(contacts, dtype=float).reshape(-1, 2),
        ties=np.empty((0, 2)),
        least_pulls=np.empty((levels, 0)),
        most_pulls=np.empty((levels, 0)),
    )


def test_least_sinkers_are_least() -> None:
    rig = floating([(0.0, -0.02), (0.0, 0.02), (0.4, -0.02), (0.4, 0.02)])
    points = np.array([[0.1, 0.0], [0.3, 0.0]])
    shares = np.full(6, 1 - 998.2 / 2700)
    masses = least_sinkers(rig, points, shares)
    assert masses is not None
    assert masses.sum() > 0.2378 * 0.99  # never less than the vertical balance asks for

    def stays(scale: float) -> bool:
        most = masses * scale * GRAVITY * shares[:, None]
        held = Rig(rig.mass, rig.centre, rig.lifts, rig.lift_centres, rig.contacts, points,
                   np.zeros_like(most), most)  # fmt: skip
        return all(judge_level(held, k).stays for k in range(6))

    assert stays(1.01)
    assert not stays(0.99)
    rng = np.random.default_rng(3)
    for _ in range(20):
        inside = np.column_stack([rng.uniform(0.1, 0.3, 2), np.zeros(2)])
        other = least_sinkers(rig, inside, shares)
        assert other is None or other.sum() >= masses.sum() - 1e-6


def test_no_mass_at_this_point_holds_it() -> None:
    # All lift at the far end, the only tie and the only contact at the near one.
    rig = floating([(0.0, 0.0)], levels=2)
    assert least_sinkers(rig, np.array([[0.0, 0.0]]), np.full(2, 0.63)) is None


def test_half_full_tips_what_full_holds() -> None:
    """At half the depth only the far end is wet: it tips, though it lies still when covered."""
    volume, water = 1e-3, 1000.0
    rig = Rig(
        mass=1.2,
        centre=np.array([0.2, 0.0]),
        lifts=np.array([0.0, 0.5, 1.0]) * volume * water * GRAVITY,
        lift_centres=np.array([[0.2, 0], [0.39, 0], [0.2, 0]]),
        contacts=np.array([[0.17, -0.02], [0.17, 0.02], [0.23, -0.02], [0.23, 0.02]]),
        ties=np.empty((0, 2)),
        least_pulls=np.empty((3, 0)),
        most_pulls=np.empty((3, 0)),
    )
    assert [judge_level(rig, k).stays for k in range(3)] == [True, False, True]


def test_contacts_of_a_table_on_three_legs() -> None:
    x = y = np.linspace(0, 0.2, 21)
    gaps = np.full((21, 21), 0.05)
    for row, column, height in [(0, 0, 0.0), (0, 20, 0.01), (20, 10, 0.02), (10, 10, 0.04)]:
        gaps[row, column] = height
    found = resting_contacts(gaps, x, y, np.array([0.1, 0.08]), 1e-6)
    legs = {(0.0, 0.0), (0.2, 0.0), (0.1, 0.2)}
    assert {tuple(np.round(p, 6)) for p in found} == legs
