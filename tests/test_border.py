"""Earth pressure, filters and gaps against worked examples."""

import pytest

from plumbstone.volumes.bed.border import (
    cure_for,
    rankine_active,
    submerged_unit_weight,
    wall_factors,
)
from plumbstone.volumes.scape.materials import find_material


@pytest.mark.parametrize(
    ("phi", "ka"),
    [(25, 0.4059), (28, 0.3610), (30, 0.3333), (32, 0.3073), (34, 0.2827), (35, 0.2710),
     (36, 0.2596), (38, 0.2379), (40, 0.2174), (45, 0.1716)],
)  # fmt: skip
def test_level_active_pressure(phi: float, ka: float) -> None:
    # (1 - sin φ) / (1 + sin φ); 35° also Caltrans, Trenching and Shoring Manual 2025, ex. 7-1.
    assert rankine_active(phi) == pytest.approx(ka, abs=5e-5)


def test_sloped_active_pressure() -> None:
    # 30° / 10°: 0.3495, GeotechStaffEngineer tests; at β = φ the coefficient is cos φ.
    assert rankine_active(30, 10) == pytest.approx(0.3495, abs=5e-4)
    assert rankine_active(34, 34) == pytest.approx(0.829, abs=5e-4)
    with pytest.raises(ValueError, match="steeper"):
        rankine_active(30, 31)


def test_thrust_at_the_scale_of_a_tank() -> None:
    # n = 0.40, grains 2650, water 998.2: γ' 9.719 kN/m³; h 8 cm, 32°: 9.556 N/m; derived.
    gamma = submerged_unit_weight(1.0, 0.6 * 2650, 2650, 998.2)
    assert gamma == pytest.approx(9719, abs=1)
    assert rankine_active(32) * gamma * 0.08**2 / 2 == pytest.approx(9.556, rel=1e-3)


def test_a_stone_at_the_scale_of_a_tank() -> None:
    # The same thrust on a stone 8 cm thick of 133.5 N/m under water: 20.96 against tipping, 6.99
    # against sliding at μ = 0.5; derived.
    sliding, tipping = wall_factors(9.556, 0.08, 133.5, 0.04, 0.5)
    assert tipping == pytest.approx(20.96, rel=5e-3)
    assert sliding == pytest.approx(6.99, rel=5e-3)


def test_a_retaining_dam() -> None:
    # Height 6 m, weight 337.5 kN/m, thrust 96.0 kN/m at a third: 3.838 against tipping about a
    # toe 2.183 m before the middle of mass, 3.516 μ against sliding; inputs of a textbook
    # example (SOM14, example 14.12), numbers computed.
    sliding, tipping = wall_factors(96.0, 6.0, 337.5, 3.5 - 1.3167, 1.0)
    assert tipping == pytest.approx(3.838, abs=0.01)
    assert sliding == pytest.approx(3.516, abs=0.01)


def test_filter_rule_of_the_river_manual() -> None:
    # After Anderson et al. 1968: base D85 1.5 mm; a filter must keep D15 under about 5 × D85.
    soil = find_material("baked-clay soil")
    assert "gravel" in cure_for(0.003, soil)
    # A gap of 12 mm is too wide for grains of 7.5 mm (D85 ≥ 1.2 w, from memory).
    assert "strip" in cure_for(0.012, soil)
