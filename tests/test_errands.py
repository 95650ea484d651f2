"""People in a hurry, who never read a manual: what they type, and what they must be told.

The figures are arithmetic on stated inputs; the trade's habits: common practice, no source.
"""

import json
import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from commands import read_json, refuse, type_in
from matplotlib.text import Text
from small_tanks import frames_of

import plumbstone as ps
from plumbstone.cli.page.folder import Folder
from plumbstone.cli.pictures.front_view import section_figure
from plumbstone.cli.pictures.sight import look_at
from plumbstone.cli.sheet.sheet_figures import both
from plumbstone.cli.wording.units import Toward, Units, show_length, written
from plumbstone.volumes.holding.stability import Standing
from plumbstone.volumes.report import findings_of_standing

pytestmark = pytest.mark.usefixtures("remembered")


def write(folder: Path, *parts: str) -> None:
    """Write tank.toml of a tank and some tables."""
    (folder / "tank.toml").write_text("\n".join(parts), encoding="utf-8")


def tank(inside: str = '"60 cm", "30 cm", "36 cm"', more: str = "") -> str:
    return f"[tank]\ninside = [{inside}]\n{more}\n"


def table(title: str, /, **values: str) -> str:
    rows = "\n".join(f"{key} = {value}" for key, value in values.items())
    return f"[[{title}]]\n{rows}\n"


def stone(name: str, size: str, at: str = '"30 cm", "15 cm"', **more: str) -> str:
    values = {"kind": '"stone"', "material": '"granite"', "solid": '"box"', **more}
    return table("piece", name=f'"{name}"', size=f"[{size}]", at=f"[{at}]", **values)


def soil(**how: str) -> str:
    return table("layer", name='"Soil"', material='"baked-clay soil"', **how)


SOIL = soil(depth='"5 cm"')
WOOD = {"kind": '"wood"', "material": '"driftwood"'}


def told(folder: Path) -> str:
    """Give all that `plan` prints, the folds of its lines undone."""
    done = type_in("plumbstone plan tank.toml", folder)
    assert done.returncode == 0, done.stderr
    return " ".join(done.stdout.split())


SLATE = stone("Slate", '"30 cm", "20 cm", "2.5 cm"', material='"slate"')
HUNG = {**WOOD, "tied_to": '["Slate"]'}
LOG = stone("Log", '"40 cm", "8 cm", "8 cm"', rests='"Slate"', **HUNG)
US = tank('"48 1/2 in", "18 1/2 in", "21 in"', 'glass = "1/2 in"\nwater_line = "19 in"\n').replace(
    "inside", "outside"
)
SUMP = '[tank.sump]\nwater = "{} L"\narea = "{} cm^2"\ndrop = "{} cm"\n{}'
SIZE, EGG = '"12 cm", "10 cm", "12 cm"', {"solid": '"ellipsoid"', "rests": '"bed"'}


def limb(length: int, girths: str, **more: str) -> str:
    shape = f'[{{ length = "{length} cm", girth = [{girths}] }}]'
    return table("piece", name='"Log"', kind='"wood"', limbs=shape, at='["30 cm", "15 cm"]', **more)


def lump(material: str, mass: str, **more: str) -> str:
    return table("lump", name='"L"', material=f'"{material}"', mass=f'"{mass}"', **more)


@pytest.mark.parametrize(
    ("parts", "said", "unsaid"),
    [
        # Pumice of 400-900 kg/m³ floats in water of 997, wherever its middle lies.
        ((tank(), stone("P", '"15 cm", "12 cm", "10 cm"', material='"pumice stone"'), SOIL),
         ("Do not fill yet.", "P: floats; soak it"), "falls"),
        # 48 ½ × 18 ½ in of glass on 48 × 18 in: half an inch over.
        ((US + 'stand = ["48 in", "18 in"]', SOIL), ("reaches 0.5 in over its stand",), "-"),
        ((US + 'stand = ["48.5 in", "19 in"]', SOIL), (), "over its stand"),
        ((tank(), SLATE, LOG, SOIL), (), "Slate: lies wholly under the bed|move them apart"),
        ((tank(), SLATE, LOG.replace('rests = "Slate"', ""), SOIL),
         ("Log: is drawn 2.5 cm into Slate; move them apart, or, if its middle lies over "
         "that, let it rest on Slate.",), "-"),
        ((tank(), stone("Cork", '"25 cm", "6 cm", "6 cm"', kind='"wood"', material='"cork bark"')),
         ("of water before it stays by itself",), "leave the tie"),
        ((tank(), SLATE, LOG,
          table("group", wood='["Log"]', log='[{date = 2026-01-03, mass = "1.5 kg"}]')),
         ("one weighing tells no trend",), "-"),
        # 20 cm into 5 cm of soil.
        ((tank(), stone("S", SIZE, rests='"bed"', pressed='"20 cm"'), SOIL),
         ("S: pressed in by 20 cm it stands on the glass",), "-"),
        ((tank(), stone("S", SIZE, rests='"bed"', pressed='"3 cm"'), SOIL),
         (), "it stands on the glass"),
        ((tank(), stone("S", SIZE, pressed='"2 cm"'), SOIL),
         ('S: pressed counts only on the bed: write rests = "bed"',), "-"),
        # Soil 5 cm, a stone 4 cm high under it: 1 cm over the stone.
        ((tank(), stone("S", '"20 cm", "10 cm", "4 cm"'), SOIL,
          table("spot", name='"Moss"', at='["30 cm", "15 cm"]', root_depth='"3 cm"')),
         ("Moss: lies over a stone or wood, with 1.0 cm of substrate on it",), "raise it by"),
        # 120 × 60 × 50 cm = 360 L and 60 L in the sump, nothing else: 420 L.
        ((tank('"120 cm", "60 cm", "55 cm"',
               'water_line = "50 cm"\n' + SUMP.format(60, 7200, 3, 'spare = "30 L"')),),
         ("Dose for 420.0 L, sump and filter counted.",), "-"),
        # 2000 cm² × 2 cm = 4 L.
        ((tank(more=SUMP.format(80, 2000, 2, 'spare = "30 L"')), SOIL),
         ("4.00 L drain back; the sump has room for 30.0 L.",), "-"),
        ((tank(more=SUMP.format(80, 2000, 2, "")), SOIL),
         ("4.00 L drain back: check the sump's room.",), "-"),
        ((tank('"60 cm", "30 cm", "360 cm"'),),
         ("0.6 m × 0.3 m × 3.6 m: see that its units are right",), "-"),
        ((tank(more='water = "salt"'), SOIL), ("--salt 38",), "-"),
        ((tank(), SOIL), (), "alt mix"),
        ((tank(), lump("granite", "30 kg")), ("No price given: L.",), "-"),
        # Mopane of 1000-1200 kg/m³ floats in no water of 997; "Do not fill yet" named nothing to mend.
        ((tank(), limb(34, '"26 cm", "20 cm"', material='"mopane wood"')),
         ("Log: sinks by itself, but may roll or rock",), "Do not fill"),
        # 18 × 11 × 10 cm, 3.2 kg of granite: 1.21 L, 61 % of its box; what it stands on is not known.
        ((tank(), stone("S", '"18 cm", "11 cm", "10 cm"', mass='"3.2 kg"').replace('solid = "box"', "")),
         ("S: what is drawn does not tell its foot",), "tips at"),
        # A slab 1.5 cm thick rights itself by its weight times 0.75 cm; soil of 18 cm tips it by its
        # thrust, K γ h² / 2 with K = tan²(45° - 17°) and γ = 5.2 kN/m³, at 6 cm: a fifth to a third.
        ((tank(), stone("Slab", '"59.6 cm", "1.5 cm", "20 cm"', material='"slate"'),
          '[border]\nline = [["0 cm", "15 cm"], ["60 cm", "15 cm"]]\nstones = ["Slab"]\n',
          soil(height='"18 cm"', zone='"behind border"')),
         ("Mend first: Slab: the soil tips it; it bears 2",), "-"),
        # kg/m³: driftwood 750-920, mopane 1000-1200, pumice 400-900, granite 2600-2700
        *(((tank(), SOIL, lump(wood, "500 g", kind='"wood"')),
           ("L: floats, and nothing tells what holds it", "Do not fill yet."), "-")
          for wood in ("driftwood", "holm oak wood", "bog wood")),
        ((tank(), SOIL, lump("mopane wood", "500 g", kind='"wood"')), ("Nothing found",), "float"),
        ((tank(), SOIL, lump("pumice stone", "500 g", kind='"stone"')),
         ("L: floats; soak it", "Do not fill yet."), "-"),
        ((tank(), SOIL, lump("granite", "500 g", kind='"stone"')), ("Nothing found",), "float"),
        # An ellipsoid stands on a point, but as a pebble, pressed in; π / 6 × 5 × 4 × 3 cm³ are 83 g.
        ((tank(), stone("S", '"5 cm", "4 cm", "3 cm"', pressed='"1 cm"', **EGG), SOIL),
         ("Nothing found",), "-"),
        ((tank(), stone("S", '"5 cm", "4 cm", "3 cm"', **EGG), SOIL), (), "Nothing found"),
        *(((tank(), stone("S", size, pressed='"1 cm"', **EGG), SOIL), (), "Nothing found")
          for size in ('"5 cm", "4 cm", "8 cm"', '"15 cm", "12 cm", "9 cm"')),  # upright; 2.2 kg
    ],
)  # fmt: skip
def test_what_a_plan_says_first(
    tmp_path: Path, parts: tuple[str, ...], said: tuple[str, ...], unsaid: str
) -> None:
    write(tmp_path, *parts)
    words = told(tmp_path)
    for some in said:
        assert some in words
    assert unsaid == "-" or not re.search(unsaid, words)


def test_a_stack_that_falls_in_the_water_is_told_before_a_level() -> None:
    from plumbstone.cli.wording.findings import finding_words
    from plumbstone.volumes.findings import Finding, Kind, Severity

    # It is judged at a few depths: what does not hold at 11 cm may give way below.
    found = Finding(Kind.FALLS, Severity.STOP, ("S", "T"), {"level_m": 0.11}, how="stack")
    assert "before water stands at 11 cm" in finding_words(found, Units.METRIC)


def test_weighings_may_stand_in_any_order(tmp_path: Path) -> None:
    days = ['{date = 2026-01-03, mass = "1.5 kg"}', '{date = 2026-03-03, mass = "1.7 kg"}']
    found = []
    for log in (days, days[::-1]):
        write(tmp_path, tank(), SLATE, LOG,
              table("group", wood='["Log"]', log=f"[{', '.join(log)}]"))  # fmt: skip
        found.append(read_json("plumbstone hold tank.toml", tmp_path)["holds"][0]["soaking"])
    assert found[0] == found[1]


def test_what_is_drawn_into_each_other_is_told_once(tmp_path: Path) -> None:
    boulder = {"solid": '"boulder"', "material": '"limestone"'}
    write(tmp_path, tank(),
          stone("A", '"7 cm", "6 cm", "8 cm"', '"11.5 cm", "14 cm"', seed="2", **boulder),
          stone("B", '"8 cm", "6 cm", "5 cm"', '"18 cm", "15.5 cm"', seed="3", **boulder))  # fmt: skip
    assert told(tmp_path).count("is drawn") == 1


def test_sacks_are_drawn_with_their_gaps(tmp_path: Path) -> None:
    # 40 × 24 × 6 cm of sacks with 15 % of gaps that soil fills: 5.76 × 0.85 = 4.90 L. What stays
    # is a frustum at the repose of 38.3° (the middle of 35-42°): its foot 40 × 24 cm.
    zone = '[["10 cm","20 cm"],["50 cm","20 cm"],["50 cm","44 cm"],["10 cm","44 cm"]]'
    write(tmp_path, tank('"60 cm", "45 cm", "45 cm"'),
          table("layer", name='"Sacks"', material='"pumice gravel"', zone=zone, depth='"6 cm"',
                sacks='{ holds = "2 L", gaps = 0.15 }'),
          soil(height='{ front = "4 cm", back = "13 cm" }'))  # fmt: skip
    layer = read_json("plumbstone bed tank.toml", tmp_path)["layers"][0]
    assert layer["drawn_l"] == pytest.approx(4.90, rel=0.01)
    assert layer["stays_l"] + layer["slides_l"] == pytest.approx(layer["drawn_l"], rel=1e-6)


def test_no_water_is_no_place_to_stop_at() -> None:
    from plumbstone.cli.wording.findings import finding_words
    from plumbstone.volumes.findings import Finding, Kind, Severity

    def words(level: float, stop: float) -> str:
        numbers = {
            "level_m": level, "stop_m": stop, "lacking_kg": 0.1, "sure": 1.0, "still_held": 0.0
        }  # fmt: skip
        found = Finding(Kind.FLOATS, Severity.STOP, ("W",), numbers, how="lifts off")
        return finding_words(found, Units.METRIC)

    # 2 cm below 1 cm is no water; 18.9 cm is rounded down, so that it is not passed.
    assert "Stop at" not in words(0.01, 0.0)
    assert "Stop at 18.5 cm and press the wood." in words(0.209, 0.189)


@pytest.mark.parametrize(("stays", "falls_at"), [(False, 0.0), (True, 0.0), (False, None)])
def test_wood_is_not_told_twice_to_fall(stays: bool, falls_at: float | None) -> None:
    """Wood stands on soil that stones are not judged on, so the two verdicts may differ."""
    hold: Any = SimpleNamespace(stays=stays, group=SimpleNamespace(wood=("Root",)))
    root = Standing("Root", 3.0, 1.0, 0.5, True, 0.1, falls_at=falls_at)
    stone = Standing("Stone", 3.0, 1.0, 0.5, True, 0.1, falls_at=falls_at)
    found = findings_of_standing([root, stone], [hold])
    assert [finding.about for finding in found] == [("Stone",)]


def test_wood_that_stays_is_told_to_tip_easily() -> None:
    hold: Any = SimpleNamespace(stays=True, group=SimpleNamespace(wood=("Root",)))
    found = findings_of_standing([Standing("Root", 3.0, 1.0, 0.5, True, 0.1)], [hold])
    assert [finding.how for finding in found] == ["easily"]


def test_a_lintel_on_unlike_legs_comes_to_rest_on_the_lower_one(tmp_path: Path) -> None:
    """Legs from 17 to 23 cm and from 35 to 41 cm, 9 and 8.5 cm high; the lintel's middle at 29 cm.

    It turns about the inner edge of the higher leg until it meets the far edge of the other:
    atan(0.5 / (41 - 23)) = 1.59°.
    """
    leg, roof = '"6 cm", "8 cm", "{} cm"', '"26 cm", "10 cm", "4 cm"'
    write(tmp_path, tank(), stone("Left", leg.format(9), '"20 cm", "15 cm"'),
          stone("Right", leg.format(8.5), '"38 cm", "15 cm"'),
          stone("Roof", roof, '"29 cm", "15 cm"', rests='"Left"'))  # fmt: skip
    plan = ps.Layout(ps.read_scape(tmp_path / "tank.toml")).plan()
    lintel = next(piece for piece in plan.standing if piece.name == "Roof")
    assert lintel.lean == pytest.approx(1.59, abs=0.1)
    assert lintel.on == ("Left", "Right")
    assert "Roof: does not rest" not in told(tmp_path)


@pytest.mark.parametrize(
    "parts",
    [  # none of these is seen before the tank is laid out
        (SOIL, table("layer", name='"More"', material='"sand"', height='"3 cm"')),
        (stone("A", '"9 cm", "9 cm", "9 cm"', '"20 cm", "15 cm"'),
         stone("B", '"9 cm", "9 cm", "9 cm"', '"21 cm", "15 cm"')),
        (SLATE, LOG,
         table("group", wood='["Log"]', log='[{day = 0, mass = "2 kg"}, {day = 9, mass = "1 kg"}]')),
    ],
)  # fmt: skip
def test_what_goes_wrong_while_laying_out_names_the_file(
    tmp_path: Path, parts: tuple[str, ...]
) -> None:
    write(tmp_path, tank(), *parts)
    assert "tank.toml: " in refuse("plumbstone plan tank.toml", tmp_path)


def test_a_price_beyond_all_money_is_refused(tmp_path: Path) -> None:
    write(tmp_path, tank(), table("lump", name='"R"', mass='"3 kg"', material='"granite"',
                                  price="1e308"))  # fmt: skip
    assert 'R".price: is 1e+308; it must lie from 0 to 1e+09' in refuse(
        "plumbstone plan tank.toml", tmp_path
    )


def test_a_name_too_long_for_a_file_is_told(tmp_path: Path) -> None:
    # POSIX: NAME_MAX is 255 on the usual file systems.
    for line in ("weigh {}", "weigh {}.ply", "serve {}", "plan {}.toml"):
        why = refuse(f"plumbstone {line.format('x' * 300)}", tmp_path)
        assert "check" in why
        assert "fault of the program" not in why


def test_the_next_command_can_be_copied(tmp_path: Path) -> None:
    told = type_in('plumbstone new "my tank.toml"', tmp_path).stdout
    assert "plumbstone plan 'my tank.toml'" in told


@pytest.mark.parametrize(
    ("metres", "words"),
    [(0.0994, "9.9 cm"), (0.0997, "10 cm"), (0.1, "10 cm"), (0.1024, "10 cm")],
)
def test_ten_centimetres_are_written_one_way(metres: float, words: str) -> None:
    # 99.7 mm is 10.0 cm to the millimetre, and from 10 cm on lengths go by half centimetres.
    assert show_length(metres) == words


@pytest.mark.parametrize("units", list(Units))
def test_heights_on_a_cut_stand_within_its_frame(tmp_path: Path, units: Units) -> None:
    aside = stone("W", '"8 cm", "3 cm", "3 cm"', '"10 cm", "40 cm"', material='"slate"')
    write(
        tmp_path, tank('"90 cm", "45 cm", "45 cm"'), SOIL,
        stone("S", '"10 cm", "8 cm", "9 cm"'), aside,
    )  # fmt: skip
    figure = section_figure(look_at(ps.Layout(ps.read_scape(tmp_path / "tank.toml")).plan()), units)
    figure.draw_without_rendering()
    unit = "in" if units is Units.US else "cm"
    labels = [text for text in figure.findobj(Text) if text.get_text().endswith(f" {unit}")]
    named = [text.get_text() for text in figure.findobj(Text)]
    assert "granite" in named
    assert "slate" not in named  # no cut meets it
    frames = frames_of(figure)
    assert len(labels) >= 4
    for box in (label.get_window_extent() for label in labels):
        assert any(frame.x0 + 1 < box.x0 and box.x1 < frame.x1 - 1 for frame in frames)


def test_a_spoonful_is_told_in_fluid_ounces() -> None:
    # 1 US gallon = 128 fl oz = 3.785411784 L: NIST Handbook 44, appendix C.
    assert written(20e-6, "volume", Units.US) == "0.7 fl oz"
    assert written(1e-3, "volume", Units.US) == "0.26 gal"
    assert both("20 mL here", "0.7 fl oz here") == (
        '<span class="of-metric">20\u00a0mL here</span>'
        '<span class="of-us">0.7\u00a0fl\u00a0oz here</span>'
    )


@pytest.mark.parametrize(
    ("piece", "verdict"),
    [
        ("", "Nothing found"),
        (stone("S", '"9 cm", "8 cm", "7 cm"'), "See to 1 thing first."),
        (stone("Log", '"40 cm", "8 cm", "8 cm"', **WOOD), "Do not fill yet."),
    ],
)
def test_without_a_water_line_wood_is_not_called_good(
    tmp_path: Path, piece: str, verdict: str
) -> None:
    write(tmp_path, tank('"60 cm", "30 cm"'), piece, SOIL)
    words = told(tmp_path)
    assert verdict in words
    assert "No water line is known" in words
    write(tmp_path, tank('"60 cm", "30 cm"', 'water_line = "20 cm"'), piece, SOIL)
    assert "No water line is known" not in told(tmp_path)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("", "2.1 cm of air under its middle; press it in by 2.2 cm in all"),
        ('pressed = "1 cm"', "1.1 cm of air under its middle"),
        ('pressed = "3 cm"', ""),
        ("settle = true", ""),
    ],
)
def test_a_stone_drawn_level_on_a_slope_has_air_under_it(
    tmp_path: Path, more: str, words: str
) -> None:
    # The bed rises by 16 cm in 30: over half of 8 cm by 2.13 cm. Nothing was found amiss.
    write(tmp_path, tank(), stone("S", '"8 cm", "8 cm", "8 cm"', '"30 cm", "18 cm"',
          rests='"bed"') + f"{more}\n",
          soil(depth='{ front = "2 cm", back = "18 cm" }'))  # fmt: skip
    found = told(tmp_path)
    assert words in found
    assert ("air under" in found) is bool(words)
    egg = {"solid": '"ellipsoid"', "rests": '"bed"', "settle": "true"}
    write(tmp_path, tank(), stone("S", '"9 cm", "8 cm", "8 cm"', '"30 cm", "18 cm"', **egg),
          soil(depth='{ front = "2 cm", back = "18 cm" }'))  # fmt: skip
    assert "settle = true" not in told(tmp_path)


@pytest.mark.parametrize(
    ("size", "more", "amiss"),
    [  # an ellipsoid stands on a point; π / 6 × 5 × 4 × 3 cm³ of granite are 83 g
        ('"5 cm", "4 cm", "3 cm"', 'pressed = "1 cm"', False),
        ('"5 cm", "4 cm", "3 cm"', "", True),  # on the bed, not in it
        ('"5 cm", "4 cm", "8 cm"', 'pressed = "1 cm"', True),  # it stands upright
        ('"15 cm", "12 cm", "9 cm"', 'pressed = "1 cm"', True),  # 2.2 kg
    ],
)
def test_a_pebble_pressed_into_the_bed_is_not_told_to_tip(
    tmp_path: Path, size: str, more: str, amiss: bool
) -> None:
    write(tmp_path, tank(), stone("S", size, '"30 cm", "15 cm"', solid='"ellipsoid"',
          rests='"bed"') + f"{more}\n", SOIL)  # fmt: skip
    words = told(tmp_path)
    assert ("Nothing found" in words) is not amiss
    assert "tips at" not in words  # no stone has the point of an ellipsoid
    assert ("S: what is drawn does not tell its foot" in words) is amiss


def test_what_is_pressed_into_no_bed_is_told(tmp_path: Path) -> None:
    write(tmp_path, tank(), stone("S", '"9 cm", "8 cm", "7 cm"', '"30 cm", "15 cm"',
          pressed='"2 cm"'), SOIL)  # fmt: skip
    assert 'S: pressed counts only on the bed: write rests = "bed"' in told(tmp_path)


def test_a_bed_that_reaches_out_of_the_water_is_told(tmp_path: Path) -> None:
    for line, amiss in (("4 cm", True), ("5 cm", False)):  # the bed is flat and 5 cm high
        write(tmp_path, tank(more=f'water_line = "{line}"'), SOIL)
        assert ("The bed reaches 1.0 cm out of the water" in told(tmp_path)) is amiss


def test_a_tank_in_inches_is_told_in_inches(tmp_path: Path) -> None:
    # 24 × 12 in by 2 in are 576 in³ = 9.439 L = 2.49 US gallons.
    layer = table("layer", material='"gravel"', depth='"2 in"', settling='"1/20"')
    write(tmp_path, tank("'24 in', '1 ft', '16\"'"), layer)
    assert "2.49 gal" in type_in("plumbstone bed tank.toml", tmp_path).stdout
    assert "9.44 L" in type_in("plumbstone bed tank.toml --units metric", tmp_path).stdout
    said = told(tmp_path)
    assert "on 24 in × 12 in" in said
    assert Folder(tmp_path).units_of("tank.toml") is Units.US
    assert "cm" not in said
    write(tmp_path, tank(), layer)
    assert " gal" not in type_in("plumbstone bed tank.toml", tmp_path).stdout
    assert Folder(tmp_path).units_of("tank.toml") is Units.METRIC


def test_stone_by_the_pound_is_told_in_pounds() -> None:
    # 1 lb = 16 oz = 0.45359237 kg
    assert written(2.5 * 0.45359237, "sinker", Units.US, Toward.UP) == "2.50 lb"
    assert written(2.51 * 0.45359237, "sinker", Units.US, Toward.UP) == "2.52 lb"
    assert written(0.5 * 0.45359237, "sinker", Units.US) == "0.50 lb"


def test_wood_heavier_than_its_kind_is_judged_as_its_kind_too(tmp_path: Path) -> None:
    # A box of 30 × 10 × 1 cm holds 0.3 L; 400 g in it are 1333 kg/m³, of wood of 520-780. At 780
    # kg/m³ they would take 513 mL and lift by 513 × 0.99705 - 400 = 111 g.
    log = {"kind": '"wood"', "material": '"azalea root"', "mass": '"400 g"'}
    write(tmp_path, tank(), stone("Log", '"30 cm", "10 cm", "1 cm"', **log))
    (held,) = read_json("plumbstone hold tank.toml", tmp_path)["holds"]
    assert held["verdict"] == "unsure"
    assert held["lift_g"]["high"] == pytest.approx(111, abs=1)
    assert "check scale of the form" in type_in("plumbstone hold tank.toml", tmp_path).stdout


def test_a_tub_test_that_fits_no_such_wood_is_told(tmp_path: Path) -> None:
    # 52 g of granite for 520 lift by 52 × (1 - 997 / 2650) = 32 g: 1.35 kg / 1.386 L = 974 kg/m³.
    line = 'plumbstone hold --wood-mass "1.35 kg" --just-sinks-with'
    assert (
        "make it 974 kg/m³, but driftwood has 835 kg/m³ (750-920)"
        in type_in(f'{line} "52 g granite"', tmp_path).stdout
    )
    assert "Check" not in type_in(f'{line} "520 g granite"', tmp_path).stdout
    # 1 lb/ft³ is 16.01846 kg/m³ (NIST SP 811, table B.8): 974 are 60.8; driftwood has 46.8-57.4.
    us = type_in(f'{line} "52 g granite" --units us', tmp_path).stdout
    assert "make it 60.8 lb/ft³, but driftwood has 52.1 lb/ft³ (46.8-57.4)" in us
    assert "from the tub test; density about 60.8 lb/ft³." in us
    log = stone("Log", '"30 cm", "8 cm", "6 cm"', kind='"wood"',
                material='"driftwood"', mass='"1.35 kg"')  # fmt: skip
    for grams, fits in (("52 g", False), ("520 g", True)):
        tub = f'{{ mass = "{grams}", material = "granite" }}'
        write(tmp_path, tank(), log, table("group", wood='["Log"]', just_sinks_with=tub))
        assert ("make it 974 kg/m³" in told(tmp_path)) is not fits


def test_gravel_too_low_in_a_gap_is_told_as_such(tmp_path: Path) -> None:
    # Gravel of 3-8 mm stays in 5 mm (D85 at least 6 mm) and holds soil up to its own height.
    row = stone("A", '"55 cm", "8 cm", "10 cm"', '"27.5 cm", "12 cm"')
    border = '[border]\nline = [["0 cm", "12 cm"], ["60 cm", "12 cm"]]\nstones = ["A", "B"]\n'
    pressed = {"name": '"Wedges"', "material": '"wedge gravel"', "zone": '"border gaps"'}
    behind = soil(height='"8 cm"', zone='"behind border"')
    for height, low in (("6 cm", True), ("8 cm", False)):
        end = stone("B", '"4.5 cm", "8 cm", "10 cm"', '"57.75 cm", "12 cm"')
        wedges = table("layer", height=f'"{height}"', **pressed)
        write(tmp_path, tank(), row, end, border, wedges, behind)
        said = told(tmp_path)
        assert ("Wedges closes it, but not up to the soil" in said) is low
        # 2 cm of a gap of 5 mm over 8 cm: 8 mL, by cells of 2 mm, rounded up.
        assert bool(re.search("press Wedges in up to the soil, about [89] mL", said)) is low


@pytest.mark.parametrize(("grams", "fits"), [(520, True), (900, False)])
def test_a_tub_test_that_fits_no_such_form_is_told(tmp_path: Path, grams: int, fits: bool) -> None:
    # 1.386 L of 750 to 920 kg/m³ lift by 0.11 to 0.34 kg (Archimedes), 0.36 if they are 5 % more;
    # 900 g of granite make it 900 × (1 - 997 / 2650) = 561 g, 520 g make it 324.
    log = stone("Log", '"38.5 cm", "6 cm", "6 cm"', kind='"wood"', material='"driftwood"')
    tub = f'{{ mass = "{grams} g", material = "granite" }}'
    write(tmp_path, tank(), log, table("group", wood='["Log"]', just_sinks_with=tub))
    said = type_in("plumbstone hold tank.toml", tmp_path).stdout
    assert ("the tub test tells a lift of" in said) is not fits


@pytest.mark.usefixtures("worded")
def test_a_stone_on_wood_is_set_after_it_and_no_tie_is_left_on(tmp_path: Path) -> None:
    top = stone("Top", '"8 cm", "8 cm", "8 cm"', rests='"Plank"')
    base = stone("Base", '"16 cm", "12 cm", "5 cm"')
    log = {"kind": '"wood"', "material": '"driftwood"', "rests": '"Base"'}
    plank = stone("Plank", '"20 cm", "8 cm", "4 cm"', **log)
    write(tmp_path, tank(), top, base, plank)
    assert type_in("plumbstone plan tank.toml --grid 8 --out out", tmp_path).returncode == 0
    pieces = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))["pieces"]
    assert [piece["name"] for piece in pieces] == ["Base", "Plank", "Top"]
    sheet = (tmp_path / "out" / "build-sheet.html").read_text(encoding="utf-8")
    assert "Lay stones on the wood" in sheet
    assert "Leave the ties on" not in sheet
    tied = plank.replace('rests = "Base"', 'rests = "Base"\ntied_to = ["Base"]')
    write(tmp_path, tank(), base, tied)
    assert type_in("plumbstone plan tank.toml --grid 8 --out out", tmp_path).returncode == 0
    sheet = (tmp_path / "out" / "build-sheet.html").read_text(encoding="utf-8")
    assert "Plank: Base strapped." in sheet
    assert "Leave the ties on" in sheet


def test_wood_is_not_judged_as_a_stone(tmp_path: Path) -> None:
    """Or a stone as wood; where the kind is left out, the material tells it."""
    for title in ("piece", "lump"):
        for kind, material in (("stone", "driftwood"), ("wood", "granite")):
            entry = stone("A", '"12 cm", "6 cm", "6 cm"', kind=f'"{kind}"',
                          material=f'"{material}"')  # fmt: skip
            if title == "lump":
                entry = table("lump", kind=f'"{kind}"', material=f'"{material}"', mass='"1 kg"')
            write(tmp_path, tank(), entry)
            assert f'kind: is "{kind}", but {material} is' in refuse(
                "plumbstone plan tank.toml", tmp_path
            )
    bare = stone("A", '"12 cm", "6 cm", "6 cm"', material='"driftwood"')
    write(tmp_path, tank(), bare.replace('kind = "stone"', ""))
    assert read_json("plumbstone plan tank.toml", tmp_path)["pieces"][0]["kind"] == "wood"


def test_a_log_alone_on_a_slope_has_nothing_to_be_moved(tmp_path: Path) -> None:
    # A round log on a bed of 11° rolls; it was told to move "what is on and beside it".
    write(tmp_path, tank('"60 cm", "45 cm", "45 cm"'), table("piece", name='"Log"',
          material='"driftwood"', limbs='[{ length = "35 cm", girth = ["20 cm", "16 cm"] }]',
          at='["30 cm", "25 cm"]', rests='"bed"', settle="true"),
          table("layer", name='"Soil"', material='"baked-clay soil"',
                depth='{ front = "3 cm", back = "8 cm" }'))  # fmt: skip
    words = told(tmp_path)
    assert "Move these" not in words
    assert re.search("Log: may rock by .* wedge it", words)


@pytest.mark.usefixtures("worded")
@pytest.mark.parametrize(("like", "told"), [("baked-clay soil", True), ("gravel", False)])
def test_what_crumbles_goes_by_the_grains_and_not_by_their_name(
    tmp_path: Path, like: str, told: bool
) -> None:
    # Baked clay breaks up within a year or two (common practice, no source), whatever its name.
    name = "dark grains" if told else "no soil"
    layer = table("layer", name='"Bed"', material=f'"{name}"', depth='"5 cm"')
    write(tmp_path, tank(), table("material", name=f'"{name}"', like=f'"{like}"'), layer)
    assert type_in("plumbstone plan tank.toml --grid 8 --out out", tmp_path).returncode == 0
    sheet = (tmp_path / "out" / "build-sheet.html").read_text(encoding="utf-8")
    assert ("its grains break down" in sheet) is told


def test_three_mistakes_in_a_file_are_told_at_once(tmp_path: Path) -> None:
    assert type_in("plumbstone new t.toml", tmp_path).returncode == 0
    text = (tmp_path / "t.toml").read_text(encoding="utf-8")
    for right, wrong in (
        ("water_line", "waterline"),
        ('material = "granite"\nsize = ["20 cm"', 'material = "granit"\nsize = ["20 cm"'),
        ('at = ["40 cm", "16 cm"]', 'at = ["40 cm", "16"]'),
    ):
        assert right in text
        text = text.replace(right, wrong, 1)
    (tmp_path / "t.toml").write_text(text, encoding="utf-8")
    why = refuse("plumbstone plan t.toml", tmp_path)
    assert 'tank.waterline: is not a known key. Did you mean "water_line"?' in why
    assert 'Also piece 1 "Main stone".material: "granit" is no known material.' in why
    assert 'Also piece 2 "Second stone".at[2]: "16" has no unit' in why
    assert why.count("\n") == 1
