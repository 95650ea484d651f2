"""Lift and sinkers against worked examples."""

from pathlib import Path

import pytest
from commands import read_json, refuse

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.density import water_density
from plumbstone.volumes.holding.buoyancy import (
    SinkerError,
    asked_pull,
    balance_from_density,
    balance_from_tub,
    balance_of,
    hung_stone,
    lift_from_tub,
    lift_of,
    sinker_for,
)
from plumbstone.volumes.scape.materials import find_material


@pytest.mark.parametrize(
    ("dry", "wet", "millilitres"), [("540 g", "342 g", 198.0), ("8.63 g", "7.80 g", 0.830)]
)
def test_volume_from_two_weighings(tmp_path: Path, dry: str, wet: str, millilitres: float) -> None:
    # OpenStax College Physics, ch. 11: a rock and a coin, in water of 1 g/cm³; ours has 25 °C.
    line = f'plumbstone weigh --mass "{dry}" --in-water "{wet}" --scale-step "0.001 g"'
    found = read_json(line, tmp_path)["pieces"][0]["volume_l"]["mid"]
    assert found * 1e3 == pytest.approx(millilitres / 0.99705, rel=1e-5)


def test_a_stone_that_weighs_more_in_water_is_weighed_again(tmp_path: Path) -> None:
    assert "kg" in refuse('plumbstone weigh --mass "1 kg" --in-water "1.2 kg"', tmp_path)


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
    table = balance_from_density(
        1.35, wood, granite, water, hung=hung_stone(0.0, granite, water), factor=1.3
    )
    assert table.lift.low == pytest.approx(0.113, abs=5e-4)
    assert table.lift.high == pytest.approx(0.445, abs=5e-4)
    assert table.asked_sinker == pytest.approx(0.93, abs=0.005)
    assert not table.enough
    tub = balance_from_tub(
        1.35, (0.520, granite), granite, water, hung_stone(0.700, granite, water), 1.3
    )
    assert tub.lift.mid == pytest.approx(0.324, abs=5e-4)
    assert tub.density.mid == pytest.approx(804, abs=0.5)
    assert tub.asked_sinker == pytest.approx(0.68, abs=0.005)
    assert tub.spare.mid == pytest.approx(0.112, abs=5e-4)
    assert tub.enough


def test_tub_and_sinker_undo_each_other() -> None:
    lift = lift_from_tub(0.520, 2650.0, 997.0)
    assert sinker_for(lift, 2650.0, 997.0) == pytest.approx(0.520, rel=1e-12)


def test_a_floating_stone_holds_nothing() -> None:
    with pytest.raises(SinkerError, match="floats"):
        sinker_for(0.1, 600.0, 1000.0)


def test_mixed_sinkers_are_summed_each_with_its_own_stone() -> None:
    # 500 g of 2700 and 500 g of 1300 kg/m³ in water of 1000: 314.8 + 115.4 g; arithmetic.
    both = hung_stone(0.5, Range.exact(2700), 1000).plus(hung_stone(0.5, Range.exact(1300), 1000))
    assert both.dry == pytest.approx(1.0)
    assert both.wet.mid == pytest.approx(0.4302, abs=1e-4)


def test_a_sinker_counts_at_its_light_end() -> None:
    # Lava of 1300 to 2000 kg/m³: 1 kg weighs 231 to 500 g in water of 1000, so it holds a lift
    # of 150 g with the factor 1.3, but not one of 200 g; arithmetic.
    wood, lava = Range.exact(800), Range(1300, 1600, 2000)
    for lift, enough in ((0.150, True), (0.200, False)):
        mass = lift / (1000 / 800 - 1)
        found = balance_from_density(mass, wood, lava, 1000.0, hung_stone(1.0, lava, 1000.0), 1.3)
        assert found.lift.mid == pytest.approx(lift)
        assert found.enough is enough


def test_wood_that_hangs_between_sinking_and_floating_asks_for_a_reserve_of_its_own() -> None:
    # 1 kg of 980 to 1040 kg/m³ in water of 1000: lift 20 g at most; 50 g more are asked for.
    granite = Range.exact(2600)
    none = hung_stone(0.0, granite, 1000.0)
    found = balance_from_density(1.0, Range(980, 1010, 1040), granite, 1000.0, none, 1.3)
    assert found.asked_pull == pytest.approx(0.0204 + 0.05, abs=1e-4)
    assert not found.enough


def test_the_reserve_of_wood_that_may_sink_goes_by_its_mass() -> None:
    # 4 kg that may sink ask for 5 % of themselves; 1.3 times a lift of 0.1 kg is less.
    assert asked_pull(0.1, Range(-0.02, 0.04, 0.1), 4.0, 1.3) == pytest.approx(0.1 + 0.05 * 4)
    assert asked_pull(0.1, Range(0.01, 0.04, 0.1), 4.0, 1.3) == pytest.approx(0.13)


def test_what_is_to_spare_is_least_where_wood_is_light_and_stone_too() -> None:
    lift, hung = Range(0.1, 0.2, 0.4), hung_stone(1.0, Range(2500, 2600, 2700), 1000.0)
    found = balance_of(lift, lift, 0.5, None, Range(2500, 2600, 2700), 1000.0, hung)
    # Archimedes: of a kilogram of stone 0.6 to 0.63 are left under water.
    ends = (0.6 - 0.4, 1 - 1 / 2.6 - 0.2, 1 - 1 / 2.7 - 0.1)
    assert tuple(found.spare) == pytest.approx(ends)
