"""Soaking against handbook relations and a log made from a known curve."""

import numpy as np
import pytest

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.holding.soaking import (
    SoakingError,
    Weighing,
    fit_log,
    fit_weighings,
    saturated_density,
)


@pytest.mark.parametrize(
    ("basic", "density"),
    [(0.3, 1105.2), (0.4, 1140.3), (0.5, 1175.3), (0.6, 1210.4), (0.9, 1315.6)],
)
def test_saturated_density(basic: float, density: float) -> None:
    # ρ_w + G (1000 - ρ_w / 1.54) at ρ_w = 1000: derived from the Wood Handbook's relations.
    assert saturated_density(basic, 1000.0) == pytest.approx(density, abs=0.05)


def test_a_known_curve_is_found_again() -> None:
    # m = 1.0 + 0.5 (1 - exp(-√(t / 40))) reaches 1.25 L × 998 = 1.2475 kg at τ ln²(1 - 0.495).
    days = np.array([1.0, 3, 5, 7, 10, 14])
    masses = 1.0 + 0.5 * (1 - np.exp(-np.sqrt(days / 40)))
    neutral = 998 * 1.25e-3
    exact = 40 * np.log(1 - (neutral - 1.0) / 0.5) ** 2
    found = fit_log(list(days), list(masses), 1.25e-3, 1.0, 998.0)
    assert found.days is not None
    assert found.days.low <= exact <= found.days.high
    assert found.days.mid == pytest.approx(exact, rel=0.25)
    assert not found.sinks


def test_wood_that_sinks_at_once() -> None:
    found = fit_log([1.0, 7.0], [1.25, 1.28], 1.2e-3, 1.22, 998.0)
    assert found.sinks
    assert found.days is not None
    assert found.days.high == 0


FULL = 1.25e-3 * 998 + 1.0 * (1 - 998 / 1540)  # [kg] of 1.25 L and 1 kg dry: walls of 1540 kg/m³


@pytest.mark.parametrize(
    ("days", "masses", "words"),
    [([3.0], [1.1], "One weighing"), ([1.0, 5.0], [1.2, 1.0], "falls"),
     ([5.0, 1.0], [1.1, 1.2], "rise"), ([1.0, 5.0], [1.1, 2.5], "can hold"),
     ([1.0, 5.0], [1.20, 1.19], "falls"), ([1.0, 5.0], [1.1, 1.05 * FULL], "can hold")],
)  # fmt: skip
def test_logs_that_cannot_be_right(days: list[float], masses: list[float], words: str) -> None:
    with pytest.raises(SoakingError, match=words):
        fit_log(days, masses, 1.25e-3, 1.0, 998.0)


def test_the_band_keeps_to_the_whole_range_of_the_volume() -> None:
    """Wood of 760 kg/m³ whose table says 700 to 900: neutral only once its own volume is full.

    1.2 kg in 1.579 L drink towards 1.7 kg with τ = 60 d: neutral (1.575 kg) after
    60 ln²(1 - 0.375 / 0.5) = 115 d; the middle density alone would say 1.5 L and day 43.
    """
    days = np.array([2.0, 7, 14, 21, 28, 35])
    masses = 1.2 + 0.5 * (1 - np.exp(-np.sqrt(days / 60)))
    log = [Weighing(float(d), float(m)) for d, m in zip(days, masses, strict=True)]
    true_day = 60 * np.log(1 - (998 * 1.2 / 760 - 1.2) / 0.5) ** 2
    assert true_day == pytest.approx(116, abs=2)
    found = fit_weighings(log, Range(1.2 / 900, 1.2 / 800, 1.2 / 700), 1.2, 998.0)
    assert not found.sinks
    assert found.days is None or found.days.low <= true_day <= found.days.high


def test_untie_only_where_the_bad_end_is_down() -> None:
    # 1.5 kg outweigh 1.45 L of water but not 1.6 L; arithmetic.
    log = [Weighing(1.0, 1.45), Weighing(9.0, 1.5)]
    assert fit_weighings(log, Range.exact(1.45e-3), 1.2, 998.0).sinks
    assert not fit_weighings(log, Range(1.4e-3, 1.45e-3, 1.6e-3), 1.2, 998.0).sinks


def test_one_odd_weighing_is_set_aside_and_said() -> None:
    days = np.array([1.0, 3, 5, 7, 10, 14])
    masses = 1.0 + 0.5 * (1 - np.exp(-np.sqrt(days / 40)))
    plain = fit_log(list(days), list(masses), 1.25e-3, 1.0, 998.0)
    masses[3] = 0.9  # typed or weighed wrong
    found = fit_log(list(days), list(masses), 1.25e-3, 1.0, 998.0)
    assert found.set_aside_days == (7.0,)
    assert found.days is not None
    assert plain.days is not None
    assert found.days.mid == pytest.approx(plain.days.mid, rel=0.3)
