"""People in a hurry in the shop and at the tub, who never read a manual: what they must be told."""

import math
import re
from pathlib import Path
from typing import Any

import pytest
import trimesh
from commands import read_json, refuse, type_in


def one_piece(line: str, folder: Path) -> dict[str, Any]:
    piece: dict[str, Any] = read_json(line, folder)["pieces"][0]
    return piece


def test_every_side_may_have_a_unit_of_its_own(tmp_path: Path) -> None:
    # 12 in × 8 in × 6 in = 576 in³ = 9.439 L; half of the box, as of any size, is 4.72 L.
    mixed = one_piece('plumbstone weigh --size "1 ft x 8 in x 0.5 ft"', tmp_path)
    same = one_piece('plumbstone weigh --size "12 x 8 x 6 in"', tmp_path)
    assert mixed["volume_l"]["mid"] == pytest.approx(4.72, abs=0.005)
    assert mixed["volume_l"] == pytest.approx(same["volume_l"])


def test_a_shape_factor_over_one_is_refused(tmp_path: Path) -> None:
    # No stone fills more than the box around it.
    why = refuse('plumbstone weigh --size "28 x 19 x 15 cm" --shape-factor 1.2', tmp_path)
    assert "0.05 to 1" in why


def test_a_stone_of_metres_is_a_slip(tmp_path: Path) -> None:
    assert "check the unit" in refuse('plumbstone weigh --size "28 x 19 x 15 m"', tmp_path)
    assert '"ca. 28" is not a length' in refuse(
        'plumbstone weigh --size "ca. 28 x 19 x 15 cm"', tmp_path
    )


def test_a_heavy_stone_comes_with_a_caution(tmp_path: Path) -> None:
    # 60 × 50 × 40 cm, half of it granite of 2650: 159 kg; L23 screens at 25 kg.
    heavy = type_in('plumbstone weigh --size "60 x 50 x 40 cm" -m granite', tmp_path).stdout
    assert "lift it with help or a hoist" in heavy
    light = type_in('plumbstone weigh --size "12 x 10 x 8 cm" -m granite', tmp_path).stdout
    assert "Caution" not in light


def test_two_weighings_tell_the_density(tmp_path: Path) -> None:
    line = 'plumbstone weigh --mass "3.00 kg" --in-water "1.88 kg" --scale-step "10 g"'
    # 3.00 / (3.00 − 1.88) × 997.05 = 2670.7 kg/m³
    assert one_piece(line, tmp_path)["density_kg_per_m3"]["mid"] == pytest.approx(2670.7, abs=0.1)
    assert "Density: 2671 kg/m³" in type_in(line, tmp_path).stdout


def test_readings_the_wrong_way_round_are_told_as_such(tmp_path: Path) -> None:
    why = refuse('plumbstone weigh --mass "3 kg" --in-water "3.2 kg"', tmp_path)
    assert "which reading is which" in why


@pytest.mark.parametrize(
    "typed",
    [
        "--size 28 x 19 x 15 cm",
        '--size "28 x 19 x 15 cm" --mass 9.8 kg',
        "--limb 60 cm, 25 cm, 12 cm",
        "28 x 19 x 15 cm granite",
    ],
)
def test_what_lacks_its_quotes_is_told_so(tmp_path: Path, typed: str) -> None:
    assert "into quotes" in refuse(f"plumbstone weigh {typed}", tmp_path)


def test_a_thickness_typed_as_a_girth_is_wondered_at(tmp_path: Path) -> None:
    # 45 mm around are 45 / π = 14 mm across; limbs are 8 to 60 mm thick (common practice).
    thin = type_in('plumbstone weigh --limb "60 x 4.5 x 2 cm"', tmp_path).stdout
    assert "14 mm thick at most; a girth runs all around" in thin
    assert "Mind" not in type_in('plumbstone weigh --limb "60 x 14 x 6 cm"', tmp_path).stdout


def test_a_heavy_black_stone_may_be_basalt(tmp_path: Path) -> None:
    # Basalt 2.8 to 3.0, granite 2.6 to 2.7 t/m³ (the table's own source): basalt is the heavy one.
    found = read_json('plumbstone materials "heavy black stone"', tmp_path)["materials"]
    assert found[0]["name"] == "basalt"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("mopane", "mopane wood"), ("pumice", "pumice stone or pumice gravel"), ("lava", "lava rock")],
)
def test_half_a_name_is_led_to_the_whole_one(tmp_path: Path, typed: str, meant: str) -> None:
    why = refuse(f'plumbstone weigh --size "20 x 10 x 8 cm" -m {typed}', tmp_path)
    assert f"Did you mean {meant}" in why


@pytest.mark.parametrize(
    ("typed", "meant"), [("aquasoil", "baked-clay soil"), ("grey granite", "granite")]
)
def test_a_name_with_more_to_it_is_led_to_the_plain_one(
    tmp_path: Path, typed: str, meant: str
) -> None:
    assert f"Did you mean {meant}" in refuse(
        f'plumbstone weigh --size "9 x 8 x 7 cm" -m "{typed}"', tmp_path
    )


def test_a_mass_and_its_unit_need_no_blank(tmp_path: Path) -> None:
    close, apart = (
        read_json(f'plumbstone hold --just-sinks-with "{text}"', tmp_path)["holds"]
        for text in ("520g granite", "520 g granite")
    )
    assert close == apart


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ('--wood-mass "0 kg"', "more than nothing"),
        ('--wood-mass "1 kg" --sinker "-500 g granite"', "more than nothing"),
        ('--wood-mass "1 kg" -m granite', "granite is no wood"),
        ('--wood-mass "1 kg" --sinker "500 g oak wood"', "oak wood is no stone"),
    ],
)
def test_what_cannot_hold_is_refused(tmp_path: Path, options: str, why: str) -> None:
    assert why in refuse(f"plumbstone hold {options}", tmp_path)


def test_who_types_pounds_is_told_no_kilograms(tmp_path: Path) -> None:
    # 4 / (4 - 2) × 997.05 = 1994.1 kg/m³ = 124.5 lb/ft³; NIST Handbook 44: 1 ft³ = 28.316847 L.
    odd = type_in('plumbstone weigh --mass "4 lb" --in-water "2 lb" -m granite', tmp_path).stdout
    assert "124.5 lb/ft³ does not fit granite" in odd
    # 12 × 8 × 6 in are 576 in³ = 2.49 gal (231 in³ each), more than which no stone in it holds.
    slip = refuse('plumbstone weigh --size "12 x 8 x 6 in" --mass "270 lb" -m granite', tmp_path)
    assert "270.0 lb of granite" in slip
    assert "at most 2.49 gal" in slip
    assert "did you mean 27.0 lb?" in slip
    beyond = refuse('plumbstone weigh --bucket-rise "1.8 lb" --scale-capacity "1 lb"', tmp_path)
    assert "A rise of 1.8 lb is beyond the scale's 1.0 lb" in beyond
    for told in (odd, slip):
        assert not re.search(r"\d (kg|g|L|cm|mm)\b", told), told


def test_notes_on_a_scan_are_in_the_units_of_its_reader(tmp_path: Path) -> None:
    boulder = trimesh.creation.icosphere(3, 0.1)
    boulder.apply_scale([1.23, 1.0, 0.8])
    above = boulder.vertices[boulder.faces][:, :, 2].min(axis=1) > -0.05
    boulder.update_faces(above)
    boulder.export(tmp_path / "open.ply")
    line = "plumbstone weigh open.ply -m granite --longest {}"
    metric = type_in(line.format('"24.6 cm"'), tmp_path).stdout
    assert "the measured 24.6 cm" in metric
    assert "its faces of 15.0 mm are coarse" in metric
    told = type_in(line.format('"9.685 in"'), tmp_path).stdout
    assert "the measured 9.69 in" in told or "the measured 9.68 in" in told
    assert "its faces of 0.59 in are coarse" in told
    assert not re.search(r"\d (kg|g|L|cm|mm)\b", told), told
    assert "<" not in metric + told
    failed = refuse('plumbstone weigh open.ply --longest "9.7 ft"', tmp_path)
    assert " gal by the 116.42 in that were measured" in failed


def test_a_faulty_tank_in_inches_is_told_in_inches(tmp_path: Path) -> None:
    layer = '[[layer]]\nname = "Soil"\nmaterial = "sand"\nheight = "13 in"\n'
    text = f'[tank]\ninside = ["24 in", "12 in", "12 in"]\n{layer}'
    (tmp_path / "tank.toml").write_text(text)
    why = refuse("plumbstone bed tank.toml", tmp_path)
    assert "reaches 13.00 in, above the rim at 12.00 in" in why
    assert "33.02 cm" in refuse("plumbstone bed tank.toml --units metric", tmp_path)


def test_several_scans_are_summed_for_one_purse(tmp_path: Path) -> None:
    for name, side in (("a", 0.1), ("b", 0.12), ("c", 0.2)):
        trimesh.creation.box((side, side, side)).export(tmp_path / f"{name}.stl")
    # Cubes of 10, 12 and 20 cm hold 1 + 1.728 + 8 L, of granite of 2650 kg/m³ 28.43 kg.
    line = "plumbstone weigh a.stl b.stl c.stl -m granite --price-per-kg 2 --budget 60"
    told = type_in(line, tmp_path).stdout
    found = read_json(line, tmp_path)["pieces"]
    low, high = (sum(piece["mass_kg"][end] for piece in found) for end in ("low", "high"))
    assert f"All together: 28.4 kg ({low:.1f}-{high:.1f}). Price 56.86, have " in told
    assert f"Budget 60: likely takes it, at worst over by {math.ceil(2 * high - 60)};" in told
