"""Lift and sinkers against worked examples."""

import pytest

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.holding.buoyancy import (
    SinkerError,
    balance_from_density,
    balance_from_tub,
    density_from_weighings,
    lift_from_tub,
    lift_of,
    sinker_for,
)
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.water.density import water_density


def test_coin_density_from_two_weighings() -> None:
    # OpenStax College Physics, ch. 11: 8.630 g dry, 7.800 g in water gives 10.4 g/cm³.
    found = density_from_weighings(dry=8.630e-3, submerged=7.800e-3, water=1000.0)
    assert found == pytest.approx(10.4e3, abs=50)  # printed to three digits


def test_rock_weighed_in_water() -> None:
    # OpenStax College Physics, ch. 11, problem: 540 g, 342 g submerged: 198 cm³, 2.727 g/cm³.
    assert density_from_weighings(0.540, 0.342, 1000.0) == pytest.approx(2727, abs=0.5)


@pytest.mark.parametrize(
    ("water", "share"), [(1000.0, 0.995), (1027.0, 0.969)]
)  # OpenStax University Physics 1, ch. 14: a body of 995 kg/m³ in fresh and in sea water
def test_floating_share(water: float, share: float) -> None:
    body = 995.0
    assert lift_of(share, body, water) == pytest.approx(0, abs=0.5 * water * 1e-3)


def test_foam_cube_must_be_held_down() -> None:
    # K. Dusling, Applied Fluids notes: 0.5 m cube of 0.4 kN/m³ foam, water of 9.81 kN/m³:
    # weight 0.05 kN, buoyancy 1.23 kN, hold down 1.18 kN.
    g = 9.81
    lift = lift_of(0.125, 0.4e3 * 0.125 / g, 1000.0)
    assert lift * g / 1e3 == pytest.approx(1.18, abs=0.01)


@pytest.mark.parametrize(
    ("stone", "grams"), [(2700, 237.8), (7850, 171.7), (11340, 164.4)]
)  # log Ø 4 cm × 40 cm of 700 kg/m³ in water of 998.2: V 502.65 cm³, net +149.9 g; derived
def test_sinkers_of_a_log(stone: float, grams: float) -> None:
    volume = 502.65e-6
    lift = lift_of(volume, 700 * volume, 998.2)
    assert lift * 1e3 == pytest.approx(149.9, abs=0.05)
    assert sinker_for(lift, stone, 998.2) * 1e3 == pytest.approx(grams, rel=2e-3)


def test_bundle_by_table_and_by_tub() -> None:
    # Arithmetic on stated inputs at 25 °C: 1.35 kg dry, 750-920 kg/m³, granite of 2650.
    water = water_density(25.0)
    wood, granite = Range(750, 835, 920), find_material("granite").density
    assert granite is not None
    table = balance_from_density(1.35, wood, granite, water, hung=0.0, factor=1.3)
    assert table.lift.low == pytest.approx(0.113, abs=5e-4)
    assert table.lift.high == pytest.approx(0.445, abs=5e-4)
    assert table.asked_sinker == pytest.approx(0.93, abs=0.005)
    assert not table.stays
    tub = balance_from_tub(1.35, (0.520, granite), granite, water, hung=0.700, factor=1.3)
    assert tub.lift.mid == pytest.approx(0.324, abs=5e-4)
    assert tub.density.mid == pytest.approx(804, abs=0.5)
    assert tub.asked_sinker == pytest.approx(0.68, abs=0.005)
    assert tub.spare.mid == pytest.approx(0.112, abs=5e-4)
    assert tub.stays


def test_tub_and_sinker_undo_each_other() -> None:
    lift = lift_from_tub(0.520, 2650.0, 997.0)
    assert sinker_for(lift, 2650.0, 997.0) == pytest.approx(0.520, rel=1e-12)


def test_a_floating_stone_holds_nothing() -> None:
    with pytest.raises(SinkerError, match="floats"):
        sinker_for(0.1, 600.0, 1000.0)
    with pytest.raises(SinkerError, match="weigh again"):
        density_from_weighings(1.0, 1.2, 1000.0)
