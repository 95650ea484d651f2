"""`bed` as its user types it: named places, jugs, a divider, zones that do not fit together."""

import re
from math import radians, tan
from pathlib import Path

import pytest
from commands import read_json, refuse, type_in

TANK = '[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\nwater_line = "32 cm"\n'
BORDER = '[border]\nline = [["0 cm", "12 cm"], ["60 cm", "12 cm"]]\nstones = []\n'


def layer(name: str, zone: str, profile: str, material: str = "sand") -> str:
    return f'[[layer]]\nname = "{name}"\nmaterial = "{material}"\nzone = {zone}\n{profile}\n'


def put(folder: Path, *parts: str) -> None:
    (folder / "t.toml").write_text(TANK + "".join(parts), encoding="utf-8")


def test_depths_at_named_places(tmp_path: Path) -> None:
    # 3 cm at the front, 9 cm at the back of 30 cm: 7 cm at two thirds; a stone of 4 cm on the
    # glass leaves 3 cm over it.
    stone = (
        '[[piece]]\nname = "Slab"\nmaterial = "slate"\nsolid = "box"\n'
        'size = ["20 cm", "10 cm", "4 cm"]\nat = ["45 cm", "20 cm"]\n'
    )
    spots = (
        '[[spot]]\nname = "Carpet"\nat = ["20 cm", "20 cm"]\nroot_depth = "3 cm"\n'
        '[[spot]]\nname = "Stems"\nat = ["45 cm", "20 cm"]\nroot_depth = "5 cm"\n'
    )
    put(tmp_path, stone, layer("Soil", '"all"', 'depth = { front = "3 cm", back = "9 cm" }'), spots)
    carpet, stems = read_json("plumbstone bed t.toml", tmp_path)["spots"]
    assert carpet["height_cm"] == pytest.approx(7, abs=0.05)
    assert carpet["depth_cm"] == pytest.approx(7, abs=0.05)
    assert carpet["lacking_cm"] == 0
    assert stems["depth_cm"] == pytest.approx(3, abs=0.1)
    assert stems["lacking_cm"] == pytest.approx(2, abs=0.1)
    assert "its roots need 2 cm more" in type_in("plumbstone bed t.toml", tmp_path).stdout


def test_pouring_by_jugs(tmp_path: Path) -> None:
    # 60 × 30 × 5 cm is 9 L; with 5 % settling 9.47 L are poured: six jugs of 1.5 L and 0.48 L, or
    # nine of 1 L and 0.48 L: what is needed is rounded up (9.4737 L).
    put(tmp_path, layer("Sand", '"all"', 'depth = "5 cm"\nsettling = 0.05'))
    done = type_in('plumbstone bed t.toml --jug "1.5 L"', tmp_path)
    assert "Pour 1: Sand, 6 × 1.50 L and 0.48 L." in done.stdout
    for jug, words in (
        ("1 L", "9 × 1.00 L and 0.48 L"),
        ("20 L", "9.48 L"),
        ("9.48 L", "1 × 9.48 L"),
    ):
        done = type_in(f'plumbstone bed t.toml --jug "{jug}"', tmp_path)
        assert f"Pour 1: Sand, {words}." in done.stdout
    assert "50 mL to 50 L" in refuse('plumbstone bed t.toml --jug "1 mL"', tmp_path)


def test_a_bag_with_a_comma_is_told_how_to_write_it(tmp_path: Path) -> None:
    put(tmp_path, layer("Sand", '"all"', 'depth = "5 cm"\nbags = [{ holds = "9,500 L" }]'))
    told = refuse("plumbstone bed t.toml", tmp_path)
    assert "holds" in told
    assert "write 9.500 L or 9500 L" in told


def test_numbers_are_read_as_people_write_them(tmp_path: Path) -> None:
    ways = [
        ("4.5 cm", "9 L", "22.5", "0.08", "30"),
        ("4,5 cm", "9,0 L", '"22,50 €"', '"8 %"', '"30°"'),
    ]
    found = []
    for depth, bag, price, settling, repose in ways:
        more = f'bags = [{{ holds = "{bag}", price = {price} }}]\nsettling = {settling}\n'
        more += f'depth = "{depth}"\nrepose = {repose}'
        put(tmp_path, layer("Soil", '"all"', more, "baked-clay soil"))
        (read,) = read_json("plumbstone bed t.toml", tmp_path)["layers"]
        found.append((read["poured_l"], read["cost"], read["repose_degrees"]))
    assert found[0] == found[1]


def test_a_divider_holds_while_pouring_and_lets_go_when_pulled(tmp_path: Path) -> None:
    soil = layer("Soil", '"behind border"', 'height = "6 cm"', "baked-clay soil")
    put(tmp_path, BORDER, soil)
    free = read_json("plumbstone plan t.toml", tmp_path)
    put(tmp_path, BORDER + "divider = true\n", soil)
    held = read_json("plumbstone plan t.toml", tmp_path)
    # Held it is a box of 60 × 18 × 6 cm; without it the front runs down to the line.
    assert held["layers"][0]["settled_l"] == pytest.approx(0.6 * 0.18 * 0.06 * 1e3, rel=1e-3)
    assert free["layers"][0]["settled_l"] < 0.9 * held["layers"][0]["settled_l"]
    # Pulled, the step of height h comes to rest as a straight slope through its middle: as much
    # lies beyond as is missing, (h / 2)² / (2 tan) per width, h / (2 tan) out.
    tangent = 0.6745  # 34°
    (rest,) = held["rests"]
    assert rest["reach_cm"] == pytest.approx(3.0 / tangent, abs=0.02)
    assert rest["outside_l"] == pytest.approx(0.6 * 0.03**2 / (2 * tangent) * 1e3, rel=0.01)
    assert rest["divider_pulled"]


def test_a_path_of_another_material(tmp_path: Path) -> None:
    # A straight path 6 cm wide from the front to the back pane, drawn 2 cm deep: at 32° it is a
    # ridge of 3 cm × tan, so its litres are tan B² L / 4.
    put(
        tmp_path,
        layer("Path", '"along line"\nline = [["30 cm", "-5 cm"], ["30 cm", "35 cm"]]\nwidth = "6 cm"',
              'depth = "2 cm"\nrepose = 32'),
    )  # fmt: skip
    found = read_json("plumbstone bed t.toml", tmp_path)["layers"][0]
    assert found["settled_l"] == pytest.approx(0.6249 * 0.06**2 * 0.3 / 4 * 1e3, rel=5e-3)


def test_zones_that_leave_a_hole_or_overlap(tmp_path: Path) -> None:
    left = '[["0 cm", "0 cm"], ["30 cm", "0 cm"], ["30 cm", "30 cm"], ["0 cm", "30 cm"]]'
    right = '[["12 cm", "0 cm"], ["42 cm", "0 cm"], ["42 cm", "30 cm"], ["12 cm", "30 cm"]]'
    put(
        tmp_path,
        layer("Left", left, 'height = "3 cm"'),
        layer("Right", right, 'height = "4 cm"', "gravel"),
    )
    told = type_in("plumbstone bed t.toml", tmp_path).stdout
    # The strip of 18 × 30 cm at the right stays bare, less what slides onto it (nothing here);
    # 18 × 30 cm are claimed twice.
    assert "cm² of the floor stay bare, around 51 cm from left and 15 cm from front" in told
    assert "Left and Right overlap over 540 cm²" in told


def test_a_tower_in_a_zone_of_its_own_is_a_pyramid(tmp_path: Path) -> None:
    """What cannot stay in its zone is not poured, and is told."""
    square = '[["20 cm", "10 cm"], ["30 cm", "10 cm"], ["30 cm", "20 cm"], ["20 cm", "20 cm"]]'
    put(tmp_path, layer("Tower", square, 'height = "12 cm"\nrepose = 33'))
    found = read_json("plumbstone plan t.toml", tmp_path)
    # A pyramid on 10 × 10 cm at 33°: 10 × 10 × (5 tan) / 3; the prism holds 1.2 L. Derived.
    pyramid = 0.1**2 * 0.05 * 0.64941 / 3 * 1e3
    assert found["layers"][0]["settled_l"] == pytest.approx(pyramid, rel=3e-3)
    assert found["layers"][0]["slides_l"] == pytest.approx(1.2 - pyramid, rel=3e-3)
    assert found["rests"] == []


def test_filler_in_sacks(tmp_path: Path) -> None:
    # 60 × 30 × 4 cm is 7.2 L; with 15 % of gaps 6.12 L of filler lie in it: five sacks of 1.5 L.
    put(
        tmp_path,
        layer("Filler", '"all"', 'depth = "4 cm"\nsettling = 0\nsacks = { holds = "1.5 L" }',
              "lava gravel"),
    )  # fmt: skip
    found = read_json("plumbstone bed t.toml", tmp_path)["layers"][0]
    assert found["sacks"] == 5
    assert found["poured_l"] == pytest.approx(6.12, rel=1e-3)
    assert "5 sacks of 1.50 L" in type_in("plumbstone bed t.toml", tmp_path).stdout
    poured = type_in('plumbstone bed t.toml --jug "1 L"', tmp_path).stdout
    assert "Lay 1: Filler, 5 sacks of 1.50 L." in poured


def test_sacks_may_be_told_to_stand_steeper(tmp_path: Path) -> None:
    # A strip of sacks 8 cm high loses a wedge of h² / (2 tan) per width at its edge.
    edge = (
        'width = "15 cm"\nheight = "8 cm"\nsettling = 0\nsacks = {{ holds = "2 L" }}\n{}\n'
        'bags = [{{ holds = "10 L" }}]'
    )
    for repose, degrees in (("", 38.0), ("repose = 60", 60.0)):
        put(tmp_path, layer("Filler", '"back strip"', edge.format(repose), "lava gravel"))
        (found,) = read_json("plumbstone bed t.toml", tmp_path)["layers"]
        lost = 0.6 * 0.08**2 / (2 * tan(radians(degrees))) * 1e3
        assert found["drawn_l"] - found["stays_l"] == pytest.approx(lost, rel=5e-3)
        told = type_in("plumbstone bed t.toml", tmp_path).stdout
        assert ("write that angle as its repose" in told) is (repose == "")
        assert ("to hold it, draw a border" in told) is (repose != "")


def test_a_planar_bed(tmp_path: Path) -> None:
    # L W (front + back) / 2: 60 × 30 cm, 3 to 9 cm is 10.80 L at atan(6 / 30) = 11.31°; derived.
    put(tmp_path, layer("Sand", '"all"', 'depth = { front = "3 cm", back = "9 cm" }'))
    found = read_json("plumbstone bed t.toml", tmp_path)["layers"][0]
    assert found["settled_l"] == pytest.approx(10.80, abs=0.01)
    assert found["slope_degrees"] == pytest.approx(11.31, abs=0.01)


def test_two_beds_are_told_apart(tmp_path: Path) -> None:
    # 2 cm more of sand on 50 × 30 cm: 3.0 L, which settle by the same share as the 3 cm below.
    text = (
        '[tank]\ninside = ["50 cm", "30 cm", "30 cm"]\n[[layer]]\nname = "Sand"\n'
        'material = "sand"\ndepth = "{} cm"\nbags = [{{ holds = "2 L", price = 6 }}]\n'
    )
    for name, depth in (("low", 3), ("high", 5), ("near", 3.00001)):
        (tmp_path / f"{name}.toml").write_text(text.format(depth), encoding="utf-8")
    low, high = (
        read_json(f"plumbstone bed {name}.toml --grid 5", tmp_path)["layers"][0]
        for name in ("low", "high")
    )
    told = type_in("plumbstone bed low.toml high.toml --grid 5", tmp_path).stdout
    assert "high.toml against low.toml" in told  # copies of one file have one name
    same = type_in("plumbstone bed near.toml low.toml --grid 5", tmp_path).stdout
    assert "-0" not in same
    row = next(row for row in reversed(told.splitlines()) if "Sand" in row)
    litres, bags, cost = re.findall(r"[+-][\d.]+", row)
    assert float(litres) == pytest.approx(3.0 * low["poured_l"] / 4.5, abs=0.01)
    assert int(bags) == sum(b["count"] for b in high["bags"]) - sum(b["count"] for b in low["bags"])
    assert float(cost) == 6 * int(bags)
