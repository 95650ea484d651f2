"""The stories of users, typed as they would type them; each is arithmetic on stated inputs.

The trade figures in them: common practice, no source.
"""

from pathlib import Path

import pytest
from commands import read_json, type_in


def write(folder: Path, text: str) -> Path:
    path = folder / "tank.toml"
    path.write_text(text, encoding="utf-8")
    return path


NANO = """
[tank]
inside = ["36 cm", "22 cm"]

[[lump]]
name = "Stones"
volume = "0.5 L"
material = "granite"
below_soil = 1.0

[[layer]]
name = "Soil"
material = "baked-clay soil"
depth = { front = "3 cm", back = "8 cm" }
settling = 0.08
bags = [{ holds = "3 L", price = 9 }, { holds = "9 L", price = 22 }]
"""


def test_nano_gets_two_small_bags(tmp_path: Path) -> None:
    write(tmp_path, NANO)
    layer = read_json("plumbstone bed tank.toml", tmp_path)["layers"][0]
    # 36 × 22 × (3 + 8)/2 cm³ − 0.5 L = 3.856 L; / (1 − 0.08) = 4.191 L; atan(5/22) = 12.8°
    assert layer["settled_l"] == pytest.approx(3.856, abs=0.005)
    assert layer["poured_l"] == pytest.approx(4.191, abs=0.005)
    assert layer["slope_degrees"] == pytest.approx(12.8, abs=0.05)
    assert layer["bags"] == [{"holds_l": pytest.approx(3.0), "count": 2, "price": 9.0}]
    assert layer["cost"] == pytest.approx(18.0)
    assert layer["left_over_l"] == pytest.approx(1.81, abs=0.005)


US_LARGE = """
[tank]
inside = ["48 in", "18 in", "24 in"]
water_line = "20 in"
temperature = "75 °F"

[[material]]
name = "field granite"
kind = "stone"
density = "165 lb/ft^3"

[[material]]
name = "loose gravel"
like = "gravel"
bulk_density = "100 lb/ft^3"
grain_density = "165 lb/ft^3"

[[lump]]
name = "Granite"
mass = "60 lb"
material = "field granite"
below_soil = 0.5

[[layer]]
name = "Gravel"
material = "loose gravel"
depth = { front = "2 in", back = "6 in" }
settling = 0.05
bags = [{ holds = "50 lb" }]
"""


def test_us_large_needs_four_bags_and_asks_the_stand_maker(tmp_path: Path) -> None:
    write(tmp_path, US_LARGE)
    layer = read_json("plumbstone bed tank.toml", tmp_path)["layers"][0]
    cubic_foot, pound = 28.316846592, 0.45359237
    # 48 × 18 × 4 in³ less 30 lb of granite is 1.818 ft³; poured 1.914 ft³ at 100 lb/ft³
    assert layer["settled_l"] / cubic_foot == pytest.approx(1.82, abs=0.005)
    assert layer["mass_kg"]["mid"] / pound == pytest.approx(191, abs=0.5)
    assert [bag["count"] for bag in layer["bags"]] == [4]
    plan = read_json("plumbstone plan tank.toml", tmp_path)
    gallon = 3.785411784
    assert plan["water"]["box_l"] / gallon == pytest.approx(74.8, abs=0.05)
    assert plan["water"]["dosing_l"]["mid"] / gallon == pytest.approx(63.4, abs=0.15)
    assert plan["load"]["full_without_glass_kg"]["mid"] / pound == pytest.approx(779, rel=2e-3)
    told = type_in("plumbstone plan tank.toml --units us", tmp_path).stdout
    assert "stand maker" in told
    assert "gal" in told


REEF = """
[tank]
inside = ["120 cm", "60 cm", "50 cm"]
water_line = "46 cm"
temperature = "25 °C"
water = "salt"

[[material]]
name = "reef rock"
kind = "stone"
density = "1500 kg/m^3"
grain_density = "2750 kg/m^3"

[[material]]
name = "shell sand"
like = "sand"
bulk_density = "1.4 kg/L"
grain_density = "2750 kg/m^3"

[[lump]]
name = "Rock"
mass = "30 kg"
material = "reef rock"
below_soil = 0.075
pores_filled = true

[[layer]]
name = "Sand"
material = "shell sand"
depth = "4 cm"
settling = 0
"""


def test_reef_salts_for_the_net_water(tmp_path: Path) -> None:
    write(tmp_path, REEF)
    water = read_json("plumbstone plan tank.toml", tmp_path)["water"]
    # 30 kg / 2750 = 10.9 L of grains; (28.8 − 1.5) L × 1.4 / 2.75 = 13.9 L; 331.2 − 24.8 = 306
    assert water["box_l"] == pytest.approx(331.2, abs=0.1)
    assert water["stone_l"]["mid"] == pytest.approx(10.9, abs=0.05)
    assert water["grains_l"]["mid"] == pytest.approx(13.9, abs=0.05)
    assert water["dosing_l"]["mid"] == pytest.approx(306, abs=0.6)
    mix = read_json("plumbstone plan tank.toml --salt 38", tmp_path)["water"]["salt_mix_kg"]
    assert mix["mid"] == pytest.approx(11.6, abs=0.05)


def test_shop_tape_then_till(tmp_path: Path) -> None:
    line = 'plumbstone weigh --size "28 x 19 x 15 cm" --material granite --price-per-kg 4.50'
    stone = read_json(line, tmp_path)["pieces"][0]
    # 28 × 19 × 15 cm = 7.98 L × 0.40-0.60 × 2600-2700 kg/m³
    assert stone["volume_l"]["mid"] == pytest.approx(3.99, abs=0.005)
    assert stone["volume_l"]["low"] == pytest.approx(3.2, abs=0.05)
    assert stone["volume_l"]["high"] == pytest.approx(4.8, abs=0.05)
    assert stone["mass_kg"]["mid"] == pytest.approx(10.6, abs=0.05)
    assert stone["mass_kg"]["low"] == pytest.approx(8.3, abs=0.05)
    assert stone["mass_kg"]["high"] == pytest.approx(12.9, abs=0.05)
    assert stone["price"]["mid"] == pytest.approx(48, abs=0.5)
    assert stone["price"]["low"] == pytest.approx(37, abs=0.5)
    assert stone["price"]["high"] == pytest.approx(58, abs=0.5)
    weighed = read_json(f'{line} --mass "9.8 kg"', tmp_path)["pieces"][0]
    assert weighed["volume_l"]["mid"] == pytest.approx(3.70, abs=0.005)
    assert weighed["price"]["mid"] == pytest.approx(44.10, abs=0.005)


def test_medium_bundle_by_table_then_tub(tmp_path: Path) -> None:
    table = read_json('plumbstone hold --wood-mass "1.35 kg" --material driftwood', tmp_path)
    wood = table["holds"][0]
    assert wood["lift_g"]["low"] == pytest.approx(113, abs=0.5)
    assert wood["lift_g"]["high"] == pytest.approx(445, abs=0.5)
    assert wood["sinker_g"] == pytest.approx(930, abs=5)
    line = 'plumbstone hold --wood-mass "1.35 kg" --just-sinks-with "520 g granite"'
    tub = read_json(line, tmp_path)["holds"][0]
    assert tub["lift_g"]["mid"] == pytest.approx(324, abs=0.5)
    assert tub["density_kg_per_m3"]["mid"] == pytest.approx(804, abs=0.5)
    assert tub["sinker_g"] == pytest.approx(680, abs=5)
    told = type_in(f'{line} --sinker "700 g granite"', tmp_path).stdout
    for words in (
        "needs 680 g of granite",
        "you hung 700 g",
        "110 g to spare",
        "if set as described",
    ):
        assert words in told
