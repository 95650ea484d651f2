"""What a tank holds and weighs, on boxes whose parts anybody can multiply out."""

from typing import Any

import numpy as np
import pytest
import trimesh

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.density import GRAVITY, water_density
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.plan import Plan
from plumbstone.volumes.scape.scape import scape_from
from plumbstone.volumes.water.dosing import SaltError, drain_back, level_after_change, salt_for
from plumbstone.volumes.water.loads import glass_mass, lift_code, pressure_on

GRID = 0.005  # [m]: edges of all boxes lie on it
AREA = 0.6 * 0.3  # of the floor [m²]
TANK: dict[str, Any] = {
    "inside": ["60 cm", "30 cm", "40 cm"], "water_line": "35 cm", "temperature": "25 °C",
}  # fmt: skip
WATER = water_density(25.0)  # [kg/m³]


def block(name: str, size: tuple[float, float, float], at: float, **more: Any) -> dict[str, Any]:
    """A box by its sides and place along the tank [cm]."""
    return {
        "name": name, "material": "granite", "solid": "box", "size": [f"{s} cm" for s in size],
        "at": [f"{at} cm", "15 cm"], **more,
    }  # fmt: skip


def plan_of(tank: dict[str, Any] | None = None, **parts: Any) -> Plan:
    return Layout(scape_from({"tank": TANK | (tank or {}), **parts})).plan(GRID)


def litres(value: float) -> float:
    return pytest.approx(value * 1e-3, rel=2e-4, abs=1e-7)  # type: ignore[return-value]


def test_a_box_that_stands_out_of_the_water_displaces_what_is_wet() -> None:
    # 10 × 10 × 38 cm, wet up to 35 cm: 3.5 L of 63 L.
    plan = plan_of(piece=[block("Pillar", (10, 10, 38), 20)])
    assert plan.water.box_m3 == litres(63)
    assert plan.water.stone_m3.mid == litres(3.5)
    assert plan.water.free_m3.mid == litres(59.5)
    assert plan.water.dosing_m3.mid == litres(59.5)
    # The uppermost centimetre is 18 dm² less the pillar's 1 dm².
    assert plan.water.per_cm_m3 == litres(1.7)
    full = plan.load.full_without_glass_kg.mid
    assert full == pytest.approx(59.5e-3 * WATER + 3.8e-3 * 2650, rel=1e-3)  # dry part and all
    assert plan.load.drained_without_glass_kg.mid == pytest.approx(3.8e-3 * 2650, rel=1e-3)
    assert plan.load.stripped_without_glass_kg.mid == pytest.approx(0)
    assert plan.load.heaviest is not None
    assert plan.load.heaviest.name == "Pillar"


def test_a_sinker_without_a_place_weighs_and_displaces() -> None:
    # 2.65 kg of granite of 2.65 kg/L are 1 L (Archimedes); it was in neither figure.
    wood = {"name": "Log", "kind": "wood", "material": "driftwood", "solid": "box",
            "size": ["20 cm", "10 cm", "5 cm"], "at": ["30 cm", "15 cm"]}  # fmt: skip
    hung = {"mass": "2.65 kg", "material": "granite", "how": "strapped"}
    bare, held = (
        plan_of(piece=[wood], group=[{"name": "Log", "wood": ["Log"], "sinkers": sinkers}])
        for sinkers in ([], [hung])
    )
    assert held.water.stone_m3.mid == litres(1)
    assert bare.water.free_m3.mid - held.water.free_m3.mid == litres(1)
    more = held.load.full_without_glass_kg.mid - bare.load.full_without_glass_kg.mid
    assert more == pytest.approx(2.65 - 1e-3 * WATER, rel=1e-3)
    more = held.load.drained_without_glass_kg.mid - bare.load.drained_without_glass_kg.mid
    assert more == pytest.approx(2.65, rel=1e-6)


def test_no_soil_hides_stones_in_a_bare_tank() -> None:
    # 2.65 kg of granite of 2.65 kg/L leave 62 of 63 L; half of them was lost where no bed lies.
    rocks = {"name": "Rocks", "material": "granite", "mass": "2.65 kg", "below_soil": 0.5}
    plan = plan_of(lump=[rocks])
    assert plan.water.free_m3.mid == litres(62)
    assert plan.water.parts_over_box == pytest.approx(1, rel=1e-9)


def test_the_heaviest_of_a_lump_weighs_at_least_their_mean() -> None:
    # 80 kg in two stones are 40 kg each; more than 25 kg takes help (`loads.ONE_PERSON`).
    rocks = {"name": "Rocks", "material": "granite", "mass": "80 kg", "count": 2}
    load = plan_of(lump=[rocks]).load
    assert load.heaviest is not None
    assert load.heaviest.mass_kg.mid == pytest.approx(40)
    assert lift_code(load.heaviest.mass_kg) == "help"


def test_changes_of_an_empty_tank_lower_the_line_alike() -> None:
    # A prism: a change of a quarter leaves three quarters of its height.
    plan = plan_of()
    assert plan.water.marks
    for mark in plan.water.marks:
        assert mark.level_m == pytest.approx(0.35 * (1 - mark.change_percent / 100), abs=1e-9)


def test_the_tank_gives_what_sump_and_filter_keep() -> None:
    sump = {"water": "20 L", "area": "1200 cm^2", "drop": "3 cm", "spare": "4 L"}
    plan = plan_of({"sump": sump, "filter_water": "3 L"})
    whole = 63 + 23
    assert plan.water.dosing_m3.mid == litres(whole)
    for mark in plan.water.marks:
        left = 63 - mark.change_percent / 100 * whole
        assert mark.level_m == pytest.approx(left * 1e-3 / AREA, abs=1e-9)
    # Below the tank it loads the floor, not the stand.
    assert plan.load.cabinet_water_kg == pytest.approx(23e-3 * WATER)
    assert plan.load.full_without_glass_kg.mid == pytest.approx(63e-3 * WATER)
    pressing = plan.load.full_without_glass_kg.mid + plan.load.cabinet_water_kg
    assert plan.load.pressure_pa.mid == pytest.approx(pressing * GRAVITY / AREA)


def test_glass_is_the_outer_box_less_the_inner_one() -> None:
    # Five panes are an outer box without the inner one; EN 572-1: 2500 kg/m³.
    for length, depth, height, thick in ((0.6, 0.3, 0.4, 0.008), (1.2, 0.5, 0.45, 0.012)):
        outer = trimesh.creation.box((length + 2 * thick, depth + 2 * thick, height + thick))
        inner = trimesh.creation.box((length, depth, height))
        found = glass_mass(length, depth, height, thick)
        assert found == pytest.approx((outer.volume - inner.volume) * 2500)
    plan = plan_of({"glass": "8 mm"})
    assert plan.load.glass_kg == pytest.approx(glass_mass(0.6, 0.3, 0.4, 0.008))
    assert plan.load.footprint_m == pytest.approx((0.616, 0.316))
    pressing = plan.load.full_without_glass_kg.mid + glass_mass(0.6, 0.3, 0.4, 0.008)
    assert plan.load.pressure_pa.mid == pytest.approx(pressing * GRAVITY / (0.616 * 0.316))


def test_pressure_is_weight_over_area() -> None:
    # 1 m of water presses with 9.8 kPa.
    found = pressure_on(Range.exact(1000.0), (1.0, 1.0))
    assert found.mid == pytest.approx(9806.65)


BED = {
    "name": "Own",
    "like": "gravel",
    "grain_density": "2600 kg/m^3",
    "bulk_density": "1560 kg/m^3",
}


def test_water_between_the_grains_is_the_voids() -> None:
    # 1560 kg/m³ of grains of 2600: 60 % solid. 5 cm over 18 dm² are 9 L: 5.4 L of grains.
    plan = plan_of(material=[BED], layer=[{"material": "Own", "depth": "5 cm", "settling": 0}])
    assert plan.water.grains_m3.mid == litres(5.4)
    assert plan.water.between_grains_m3.mid == litres(3.6)
    assert plan.water.free_m3.mid == litres(54)
    assert plan.water.dosing_m3.mid == litres(57.6)
    assert plan.water.fill_m3.mid == litres(57.6)  # no pores in the grains
    # Drained to the bed's surface, its voids stay full.
    wet = 9e-3 * 1560 + 3.6e-3 * WATER
    assert plan.load.drained_without_glass_kg.mid == pytest.approx(wet, rel=1e-4)
    assert plan.load.stripped_without_glass_kg.mid == pytest.approx(wet, rel=1e-4)
    # A change that begins above the bed and ends in it: 54 L above, then 40 % of 18 dm² a metre.
    for mark in plan.water.marks:
        left = 57.6e-3 * (1 - mark.change_percent / 100)
        high = left / (0.4 * AREA) if left < 3.6e-3 else 0.05 + (left - 3.6e-3) / AREA
        assert mark.level_m == pytest.approx(high, abs=0.35 / 100)


def test_dry_pores_of_grains_take_water_that_does_not_mix() -> None:
    # Grains of 2000 kg/m³ half of which are pores: 1000 kg/m³ dry, so 600 kg/m³ of them are 60 %
    # solid, 5.4 L of 9 L; 2.7 L of water soak into them, but mix with none.
    own = BED | {"grain_density": "2000 kg/m^3", "grain_pores": 0.5, "bulk_density": "600 kg/m^3"}
    plan = plan_of(material=[own], layer=[{"material": "Own", "depth": "5 cm", "settling": 0}])
    assert plan.water.grains_m3.mid == litres(5.4)
    assert plan.water.dosing_m3.mid == litres(57.6)
    assert plan.water.fill_m3.mid == litres(57.6 + 2.7)
    assert plan.load.stripped_without_glass_kg.mid == pytest.approx(
        5.4 + (3.6e-3 + 2.7e-3) * WATER, rel=1e-4
    )


def test_lumps_in_the_soil_leave_the_water_above_alone() -> None:
    # 5.3 kg of granite are 2 L; a quarter of them lies in the soil of 9 L.
    lump = {"material": "granite", "mass": "5.3 kg", "count": 3}
    layer = [{"material": "Own", "depth": "5 cm", "settling": 0}]
    bare = plan_of(material=[BED], layer=layer)
    with_lumps = plan_of(material=[BED], layer=layer, lump=[lump | {"below_soil": 0.25}])
    displaced = with_lumps.water.stone_m3.mid
    assert displaced == pytest.approx(2e-3, rel=0.01)
    lost = bare.water.free_m3.mid - with_lumps.water.free_m3.mid
    assert lost == pytest.approx(0.75 * displaced, rel=1e-6)
    heavier = with_lumps.load.drained_without_glass_kg.mid - bare.load.drained_without_glass_kg.mid
    assert heavier > 5.3 * 0.9 - 0.25 * displaced * 2600  # soil that lies where they do not


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_levels_after_changes_read_a_curve_backwards(share: float) -> None:
    # A wedge of water: V = w h², so that a share s leaves h × sqrt(1 - s).
    levels = np.linspace(0, 0.4, 2001)
    found = level_after_change(levels, 3.0 * levels**2, share)
    assert found == pytest.approx(0.4 * (1 - share) ** 0.5, abs=2e-4)


def test_a_tank_that_would_run_dry_has_no_mark() -> None:
    assert level_after_change(np.array([0.1, 0.2]), np.array([5.0, 10.0]), 0.6) is None
    assert level_after_change(np.array([0.1, 0.2]), np.array([5.0, 10.0]), 0.5) == 0.1


def test_salt_and_sump_by_multiplication() -> None:
    # 35 g in each litre of 200 L are 7 kg.
    assert salt_for(Range.exact(0.2), 35.0).mid == pytest.approx(7.0)
    for wrong in (-1.0, 61.0):
        with pytest.raises(SaltError, match="outside"):
            salt_for(Range.exact(0.2), wrong)
    assert drain_back(0.04, 0.1, 0.003).overflows
    assert not drain_back(0.04, 0.1, 0.004).overflows
    assert not drain_back(0.04, 0.1, None).overflows


def test_who_lifts_is_told_by_the_heavy_end() -> None:
    # 25 kg close to the body for one person, a caution from 60 % of it on.
    told = [lift_code(Range(1.0, 2.0, high)) for high in (14.9, 15.0, 25.0, 25.1)]
    assert told == ["", "one person", "one person", "help"]
