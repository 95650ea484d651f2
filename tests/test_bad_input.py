"""What users get wrong: one clear message with file and key, exit code 1, nothing written."""

import json
import os
from pathlib import Path

import numpy as np
import pytest
import trimesh
from commands import refuse, type_in

from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes

GOOD = """
[tank]
inside = ["60 cm", "30 cm", "36 cm"]
glass = "6 mm"
water_line = "33 cm"

[[piece]]
name = "A"
material = "granite"
size = ["10 cm", "8 cm", "9 cm"]
at = ["20 cm", "15 cm"]

[[piece]]
name = "B"
material = "granite"
size = ["10 cm", "8 cm", "9 cm"]
at = ["40 cm", "15 cm"]

[[layer]]
name = "Soil"
material = "baked-clay soil"
depth = { front = "3 cm", back = "8 cm" }
bags = [{ holds = "9 L", price = 22 }]
"""

WOOD = """[[piece]]
name = "W"
kind = "wood"
material = "driftwood"
mass = "0.2 kg"
limbs = [{ length = "25 cm", girth = ["14 cm", "12 cm"] }]
at = ["30 cm", "22 cm"]
"""
OWN = '[[material]]\nname = "Own"\nlike = "sand"\n'

MISTAKES = {
    "unknown key": ('glass = "6 mm"', 'glas = "6 mm"', ["tank.glas", 'Did you mean "glass"']),
    "unit missing": ('water_line = "33 cm"', "water_line = 33", ["tank.water_line", "no unit"]),
    "wrong kind": ('glass = "6 mm"', 'glass = "6 kg"', ["tank.glass", "not a length"]),
    "unit of a scan": ('size = ["10 cm", "8 cm", "9 cm"]', 'scan = "c.stl"', ["c.stl", "check the name"]),
    "no tank": ("[tank]", "[tonk]", ["tank", "missing"]),
    "outside the tank": ('at = ["40 cm"', 'at = ["80 cm"', ['"B"', "right pane"]),
    "through the glass": ('at = ["20 cm", "15 cm"]', 'at = ["20 cm", "2 cm"]', ['"A"', "front pane"]),
    "same place": ('at = ["40 cm"', 'at = ["22 cm"', ['"B"', '"A"', "same place"]),
    "above the rim": ('back = "8 cm"', 'back = "50 cm"', ["Soil", "above the rim"]),
    "negative depth": ('front = "3 cm"', 'front = "-3 cm"', ["Soil", "front", "less than nothing"]),
    "no thickness": ('{ front = "3 cm", back = "8 cm" }', '"0 cm"', ["Soil", "no thickness"]),
    "unknown material": ('"baked-clay soil"', '"baked clay soul"', ["material", "baked-clay soil"]),
    "wood as a layer": ('"baked-clay soil"', '"driftwood"', ["material", "substrate"]),
    "border without a line": ("depth =", 'zone = "behind border"\ndepth =', ["Soil", "[border]"]),
    "line above rim": ('water_line = "33 cm"', 'water_line = "43 cm"', ["water_line", "rim"]),
    "twice the name": ('name = "B"', 'name = "A"', ['"A"', "taken"]),
    "rests on nothing": ('name = "B"', 'name = "B"\nrests = "C"', ['"B"', '"C"']),
    "not TOML": ("[[layer]]", "[[layer", ["not valid TOML"]),
    "quotes of a phone": ('name = "A"', "name = “A”", ["straight quotation marks", "line 8"]),
    "wholly below another": (
        "price = 22 }]", 'price = 22 }]\n[[layer]]\nname = "Sand"\nmaterial = "sand"\nheight = "3.1 cm"',
        ["Sand", "no thickness"],
    ),
    "no form": ('size = ["10 cm", "8 cm", "9 cm"]\nat = ["40', 'at = ["40', ['"B"', "scan"]),
    "missing scan": (
        'size = ["10 cm", "8 cm", "9 cm"]\nat = ["40', 'scan = "b.ply"\nat = ["40', ["b.ply", "read"]
    ),
    "bag as a text": (
        '{ holds = "9 L", price = 22 }', '"9 L at 22"',
        ["bags 1", "9 L at 22", '{ holds = "9 L", price = 22 }'],
    ),
    "bag by another key": ('holds = "9 L"', 'size = "9 L"', ['holds = "9 L"', "given: size, price"]),
    "a limb by its thickness": (
        "[[layer]]",
        '[[piece]]\nname = "C"\nmaterial = "oak wood"\n'
        'limbs = [{ length = "9 cm", diameter = ["2 cm", "1 cm"] }]\n[[layer]]',
        ["girth: is missing", "3.14 times the diameter"],
    ),
    "bag of nothing": ('holds = "9 L"', 'holds = "9 cm"', ["holds", "litres"]),
    "boiling": ('glass = "6 mm"', 'temperature = "90 °C"', ["temperature", "0-40"]),
    "no water": ('water_line = "33 cm"', 'water_line = "0 cm"', ["tank.water_line", "no depth"]),
    "no stand": ('glass = "6 mm"', 'glass = "6 mm"\nstand = ["0 cm", "3 cm"]', ["tank.stand"]),
    "no mass": ('name = "B"', 'name = "B"\nmass = "0 kg"', ['"B".mass', "0 kg"]),
    "beyond measure": ('name = "B"', 'name = "B"\nmass = "1e300 kg"', ["too large"]),
    "a stone of 90 t": ('name = "B"', 'name = "B"\nmass = "90 t"', ['"B"', "of the box"]),
    "a tower of powers": ('"6 mm"', '"60 9**9**9*cm"', ["tank.glass", "not a length"]),
    "dots after a unit": ('"6 mm"', '"6 mm....."', ["tank.glass", "not a length"]),
    "remark after a unit": ('"6 mm"', '"6 mm # x"', ["tank.glass", "not a length"]),
    "blanks": ('"6 mm"', '"6' + " " * 3000 + 'mm"', ["tank.glass", "not a length"]),
    "points in one place": (
        '{ front = "3 cm", back = "8 cm" }',
        '{ points = [{ at = ["1 cm", "1 cm"], level = "2 cm" }, { at = ["1 cm", "1 cm"], level = "3 cm" }] }',
        ["points", "apart"],
    ),
    "many points": (
        '{ front = "3 cm", back = "8 cm" }',
        "{ points = [" + '{ at = ["1 cm", "1 cm"], level = "2 cm" },' * 20_000 + "] }",
        ["over 300", "--limits"],
    ),
    "a long zone": (
        "depth =", "zone = [" + '["1 cm", "1 cm"],' * 60_000 + "]\ndepth =", ["over 300", "--limits"],
    ),
    "many entries": ("[[layer]]", "[[lump]]\n" * 500 + "[[layer]]", ["lump", "over 200"]),
    "a key without end": ("[[layer]]", ".".join(["a"] * 100_000) + " = 1\n[[layer]]", ["parts"]),
    "more than the tank": (
        "[[layer]]", '[[lump]]\nmaterial = "granite"\nvolume = "100 L"\n[[layer]]', ["lump", "65 L"],
    ),
    "two tanks": ("[tank]", "[[tank]]", ["tank: is a list, as below [[tank]]"]),
    "no room for water": (
        "[[layer]]", '[[lump]]\nmaterial = "granite"\nvolume = "57 L"\n[[layer]]', ["no room is left", "lumps"],
    ),
    "wood twice": (
        "[[layer]]", WOOD + '[[group]]\nwood = ["W", "W"]\n[[layer]]', ["group", '"W" once more'],
    ),
    "wood in two groups": (
        "[[layer]]", WOOD + '[[group]]\nwood = ["W"]\n' * 2 + "[[layer]]", ["group", '"W" once more'],
    ),
    "a stone holds twice": (
        "[[layer]]",
        WOOD + '[[group]]\nwood = ["W"]\nsinkers = [{ stone = "A" }, { stone = "A" }]\n[[layer]]',
        ['"A" once more'],
    ),
    "too many corners": (
        "[[layer]]",
        ('[[layer]]\nmaterial = "sand"\ndepth = "1 cm"\nzone = ['
         + ", ".join(f'["{30 + k % 7} cm", "{1 + k / 10} cm"]' for k in range(210)) + "]\n") * 2
        + "[[layer]]",
        ["420 points", "--limits"],
    ),
    "a stone holds two groups": (
        "[[layer]]",
        WOOD + WOOD.replace('"W"', '"V"') + '[[group]]\nwood = ["W"]\nsinkers = [{ stone = "A" }]\n'
        '[[group]]\nwood = ["V"]\nsinkers = [{ stone = "A" }]\n[[layer]]',
        ['"A" once more', "into one group"],
    ),
    "a stone is tied to two groups": (
        "[[layer]]",
        WOOD + WOOD.replace('"W"', '"V"\ntied_to = ["A"]') + '[[group]]\nwood = ["W"]\n'
        'sinkers = [{ stone = "A" }]\n[[layer]]',
        ['"A" once more', "into one group"],
    ),
    "wood is tied to another group": (
        "[[layer]]",
        WOOD + WOOD.replace('"W"', '"V"\ntied_to = ["W"]') + '[[group]]\nwood = ["W"]\n[[layer]]',
        ['piece "V".tied_to', "in one group"],
    ),
    "wood like air": (
        "[[layer]]",
        WOOD + '[[group]]\nwood = ["W"]\njust_sinks_with = { mass = "150 kg", material = "granite" }\n[[layer]]',
        ["just_sinks_with"],
    ),
    "negative heap": (
        "[[layer]]", OWN + 'bulk_density = "-5 kg/m^3"\n[[layer]]', ["bulk_density", "substrate"],
    ),
    "heap of solid rock": (
        "[[layer]]", OWN + 'bulk_density = "2500 kg/m^3"\n[[layer]]', ["bulk_density", "no room"],
    ),
    "grains like air": (
        "[[layer]]", OWN + 'grain_density = "2 kg/m^3"\n[[layer]]', ["grain_density", "unit"],
    ),
    "denser than its grains": (
        "[[layer]]",
        '[[material]]\nname = "R"\nkind = "stone"\ndensity = "2600 kg/m^3"\n'
        'grain_density = "1500 kg/m^3"\n[[layer]]',
        ["grain_density", "less than density"],
    ),
    "price in percent": ("price = 22", 'price = "22 %"', ["price", "no number"]),
    "percent as a number": ("price = 22 }]", "price = 22 }]\nsettling = 8", ['write "8 %"']),
    "weight": ('glass = "6 mm"', 'glass = "6 mm"\nslope = "5 %"', ["slope", "not a known key"]),
    "infinite": ('price = 22', "price = inf", ["price", "must lie"]),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_mistakes_in_a_scape_file(tmp_path: Path, mistake: str) -> None:
    old, new, words = MISTAKES[mistake]
    assert old in GOOD
    (tmp_path / "tank.toml").write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    told = refuse("plumbstone plan tank.toml --out results", tmp_path)
    assert "tank.toml" in told or mistake in ("same place", "no thickness", "border without a line")
    for word in words:
        assert word in told, told


def test_a_scan_that_moved_is_found_one_folder_away(tmp_path: Path) -> None:
    (tmp_path / "scans").mkdir()
    for there, named in (("scans/b.ply", "b.ply"), ("b.ply", "old/b.ply")):
        (tmp_path / there).write_bytes(b"ply")
        moved = GOOD.replace('size = ["10 cm", "8 cm", "9 cm"]', f'scan = "{named}"', 1)
        (tmp_path / "tank.toml").write_text(moved, encoding="utf-8")
        assert f"Did you mean {there}?" in refuse("plumbstone bed tank.toml", tmp_path)
        (tmp_path / there).unlink()


def test_the_good_file_is_good(tmp_path: Path) -> None:
    (tmp_path / "tank.toml").write_text(GOOD, encoding="utf-8")
    assert type_in("plumbstone plan tank.toml", tmp_path).returncode == 0


def cube(folder: Path, name: str, change) -> Path:  # type: ignore[no-untyped-def]
    mesh = trimesh.creation.box((0.1, 0.1, 0.1))
    mesh = change(mesh) or mesh
    path = folder / name
    mesh.export(path)
    return path


def punctured(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    mesh.vertices[2, 0] = np.nan
    return mesh


def flattened(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    mesh.vertices[:] = [[0.1, 0.2, 0.3]] * len(mesh.vertices)
    return mesh


BAD_SCANS = {
    "missing.stl": (None, ["missing.stl", "check the name"]),
    "empty.ply": (b"", ["empty.ply", "empty"]),
    "text.stl": (b"dear diary, the stone was heavy\n", ["text.stl", "no readable STL"]),
    "holes.zip": (b"PK", ["holes.zip", "no readable ZIP"]),
    "holes.rar": (b"Rar!", ["holes.rar", "is no scan by its name"]),
    "lies.ply": (
        b"ply\nformat binary_little_endian 1.0\nelement vertex 1000000000000\n"
        b"property float x\nproperty float y\nproperty float z\nend_header\n1234",
        ["lies.ply", "promises"],
    ),
}


@pytest.mark.parametrize("name", BAD_SCANS)
def test_files_that_are_no_scans(tmp_path: Path, name: str) -> None:
    content, words = BAD_SCANS[name]
    if content is not None:
        (tmp_path / name).write_bytes(content)
    told = refuse(f"plumbstone weigh {name}", tmp_path)
    for word in words:
        assert word in told, told


def test_nan_and_flat_meshes(tmp_path: Path) -> None:
    cube(tmp_path, "nan.ply", punctured)
    assert "not finite" in refuse("plumbstone weigh nan.ply", tmp_path)
    cube(tmp_path, "flat.ply", flattened)
    assert "flat.ply" in refuse("plumbstone weigh flat.ply", tmp_path)


def test_a_unit_that_makes_a_scan_a_speck_is_refused_with_one_that_fits(tmp_path: Path) -> None:
    cube(tmp_path, "stone.ply", lambda mesh: mesh)  # 10 cm in metres, so 1 mm in centimetres
    told = refuse("plumbstone weigh stone.ply --unit cm", tmp_path)
    assert 'would be 0.001 m long in "cm"; give --unit m (10.0 cm).' in told
    scape = '[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\n[[piece]]\nname = "Rock"\nunit = "cm"\n'
    scape += 'scan = "stone.ply"\nmaterial = "granite"\nat = ["20 cm", "15 cm"]\n'
    (tmp_path / "tank.toml").write_text(scape, encoding="utf-8")
    assert 'give the key unit = "m" (10.0 cm).' in refuse("plumbstone plan tank.toml", tmp_path)


def test_a_scan_a_thousand_times_too_large(tmp_path: Path) -> None:
    cube(tmp_path, "huge.ply", lambda mesh: mesh.apply_scale(1000))
    told = refuse("plumbstone weigh huge.ply --unit m", tmp_path)
    assert "100 m" in told
    assert "--unit" in told


def test_an_inside_out_mesh_is_turned(tmp_path: Path) -> None:
    cube(tmp_path, "inward.ply", lambda mesh: mesh.invert())
    done = type_in("plumbstone weigh inward.ply -m granite", tmp_path)
    assert "1.00 L" in done.stdout
    assert "outward" in done.stdout


@pytest.mark.parametrize("option", ["--salt nan", "--salt 'a lot'", "--grid nan"])
def test_an_option_that_is_no_number(tmp_path: Path, option: str) -> None:
    done = type_in(f"plumbstone plan tank.toml {option}", tmp_path)
    assert done.returncode == 2
    assert "no number" in done.stderr


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("plumbstone plan tank.toml --salt -4", "salt mix"),
        ("plumbstone plan tank.toml --salt '80,5 g/L'", "80.5 g of salt mix"),
        ("plumbstone bed tank.toml --grid '99,5'", "grid of 99.5 mm"),
        ("plumbstone bed tank.toml --grid '9 cm'", "grid of 90 mm"),
        ("plumbstone bed tank.toml tank.toml tank.toml", "two scapes"),
        ("plumbstone bed tank.toml --grid 0", "grid"),
        ("plumbstone materials --kind wod", "stone"),
        ("plumbstone materials granit", "granite"),
        ("plumbstone hold --just-sinks-with 520g", "520 g granite"),
        ('plumbstone hold --wood-mass "1 kg" --factor 0', "factor"),
        ('plumbstone hold --wood-mass "1 kg" --temperature "90 °C"', "0-40"),
        ('plumbstone hold --wood-mass "1 kg" --sinker "1 kg pumice stone"', "floats"),
        ("plumbstone hold tank.toml", "no wood"),
        ("plumbstone hold tank.toml --water salt", "--water goes without a scape file"),
        ("plumbstone weigh", "--size"),
        ('plumbstone weigh --size "28 x 19 x 15"', "unit"),
        ('plumbstone weigh --size "28 x 19 cm"', "length"),
        ('plumbstone weigh --size "28 x 19 x 0 cm"', "more than nothing"),
        ('plumbstone weigh --limb "60 cm, 25 cm"', "girth"),
        ('plumbstone weigh --mass "1 kg" --price-per-kg -4', "price"),
        ("plumbstone show nowhere.toml", "nowhere.toml"),
        ("plumbstone show nowhere.toml --open", "add --out"),
    ],
)
def test_mistakes_on_the_command_line(tmp_path: Path, line: str, words: str) -> None:
    (tmp_path / "tank.toml").write_text(GOOD, encoding="utf-8")
    assert words in refuse(line, tmp_path)


def test_a_mesh_through_itself(tmp_path: Path) -> None:
    one = boulder((0.2, 0.15, 0.12), 4, subdivisions=4)
    vertices = one.vertices.copy()
    left = vertices[:, 0] < 0
    vertices[left, 0] = 0.06 - vertices[left, 0] * 0.2  # pushed through the other half
    (tmp_path / "knot.ply").write_bytes(ply_bytes(vertices, one.faces))
    done = type_in("plumbstone weigh knot.ply", tmp_path)
    assert done.returncode == 0
    assert "put one skin around a surface that passes through itself" in done.stdout


def test_new_never_overwrites(tmp_path: Path) -> None:
    (tmp_path / "tank.toml").write_text("mine", encoding="utf-8")
    assert "--force" in refuse("plumbstone new tank.toml", tmp_path)
    assert (tmp_path / "tank.toml").read_text(encoding="utf-8") == "mine"
    assert type_in("plumbstone new tank.toml --force", tmp_path).returncode == 0
    assert "[tank]" in (tmp_path / "tank.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["My  own - sand", "My own-sand", "-- sand  2 "])
def test_names_of_own_materials_are_found_as_written(tmp_path: Path, name: str) -> None:
    own = f'[[material]]\nname = "{name}"\nlike = "sand"\n'
    (tmp_path / "tank.toml").write_text(
        GOOD.replace("baked-clay soil", name) + own, encoding="utf-8"
    )
    assert type_in("plumbstone bed tank.toml --grid 8", tmp_path).returncode == 0


@pytest.mark.parametrize("text", ["\ufeff" + GOOD, GOOD.replace("\n", "\r\n")], ids=["BOM", "CRLF"])
def test_marks_and_line_ends_of_other_systems(tmp_path: Path, text: str) -> None:
    (tmp_path / "tank.toml").write_bytes(text.encode())
    assert type_in("plumbstone bed tank.toml --grid 8", tmp_path).returncode == 0


def test_a_tank_of_two_sides_and_nothing_in_it(tmp_path: Path) -> None:
    (tmp_path / "tank.toml").write_text('[tank]\ninside = ["60 cm", "30 cm"]\n', encoding="utf-8")
    for command in ("plan", "bed", "show"):
        assert type_in(f"plumbstone {command} tank.toml", tmp_path).returncode == 0


@pytest.mark.parametrize(
    "name",
    ["/etc/passwd", "../secret.txt", "link.txt", "below/../../secret.txt", "pipe.xyz", "a\\u0000b.ply",
     "/dev/zero", "~/secret.txt", "loop.ply"],
)  # fmt: skip
@pytest.mark.parametrize("key", ["scan", "map"])
def test_a_scape_reads_nothing_outside_its_folder(tmp_path: Path, name: str, key: str) -> None:
    folder = tmp_path / "scape"
    folder.mkdir()
    (tmp_path / "secret.txt").write_text("password 1 2 3\n" * 9, encoding="utf-8")
    (folder / "link.txt").symlink_to(tmp_path / "secret.txt")
    (folder / "loop.ply").symlink_to("loop.ply")
    os.mkfifo(folder / "pipe.xyz")
    new = f'scan = "{name}"' if key == "scan" else 'size = ["10 cm", "8 cm", "9 cm"]'
    text = GOOD.replace('size = ["10 cm", "8 cm", "9 cm"]', new, 1)
    if key == "map":
        text = text.replace('{ front = "3 cm", back = "8 cm" }', f'{{ map = "{name}" }}')
    (folder / "tank.toml").write_text(text, encoding="utf-8")
    told = refuse("plumbstone bed tank.toml", folder)
    assert "password" not in told
    assert "tank.toml" in told


@pytest.mark.parametrize(
    "line", ["bed {}.toml", "weigh {}.ply", "hold --wood-mass '1 kg' --log {}.csv"]
)
@pytest.mark.parametrize("name", ["pipe", "folder", "/dev/zero"])
def test_only_plain_files_are_read(tmp_path: Path, line: str, name: str) -> None:
    for ending in ("toml", "ply", "csv"):
        if name == "pipe":
            os.mkfifo(tmp_path / f"pipe.{ending}")
        elif name == "folder":
            (tmp_path / f"folder.{ending}").mkdir()
        else:
            (tmp_path / f"link.{ending}").symlink_to(name)
    told = refuse(f"plumbstone {line.format('link' if name == '/dev/zero' else name)}", tmp_path)
    assert "plain file" in told or "no scan in this folder" in told


def test_a_long_key_or_name_is_not_quoted_in_full(tmp_path: Path) -> None:
    for text in (f"{'k' * 100_000} = 1\n{GOOD}", f'name = "{"n" * 100_000}"\n{GOOD}'):
        (tmp_path / "tank.toml").write_text(text, encoding="utf-8")
        assert len(refuse("plumbstone bed tank.toml", tmp_path)) < 500


def test_trust_widens_what_a_scape_may_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PLUMBSTONE_TRUST", "")
    (tmp_path / "scape").mkdir()
    (tmp_path / "scans").mkdir()
    (tmp_path / "scape" / "below").mkdir()
    cube(tmp_path / "scans", "a.ply", lambda _: None)
    text = GOOD.replace('size = ["10 cm", "8 cm", "9 cm"]', 'scan = "../scans/a.ply"', 1)
    (tmp_path / "scape" / "tank.toml").write_text(text, encoding="utf-8")
    folder = tmp_path / "scape"
    assert "--trust" in refuse("plumbstone bed tank.toml", folder)
    assert "--trust" in refuse("plumbstone bed tank.toml --trust below", folder)
    assert "does not exist" in type_in("plumbstone bed tank.toml --trust belo", folder).stderr
    monkeypatch.setenv("PLUMBSTONE_TRUST", "")
    done = type_in("plumbstone bed tank.toml --trust ../scans --grid 8", folder)
    assert done.returncode == 0, done.stderr


def test_errors_never_quote_what_a_foreign_file_holds(tmp_path: Path) -> None:
    for name, content in (("a.txt", "root:secret:0"), ("a.obj", "v secret x y"), ("a.ply", "ply\nsecret\nend_header\n"),
                          ("a.stl", "solid secret\nfacet secret"), ("a.off", "OFF\nsecret 1 2")):  # fmt: skip
        (tmp_path / name).write_text(content * 3, encoding="utf-8")
        assert "secret" not in refuse(f"plumbstone weigh {name}", tmp_path)
    (tmp_path / "a.toml").write_text("secret: 1", encoding="utf-8")
    assert "secret" not in refuse("plumbstone bed a.toml", tmp_path)


@pytest.mark.usefixtures("worded")
def test_what_would_act_on_a_terminal_is_shown(tmp_path: Path) -> None:
    evil = 'name = "A\\u202egnp\\u001b[2J"'
    (tmp_path / "tank.toml").write_text(GOOD.replace('name = "A"', evil), encoding="utf-8")
    for line in (
        "plan tank.toml --out r --grid 8",
        "show tank.toml",
        "plan tank.toml --json --grid 8",
    ):
        done = type_in(f"plumbstone {line}", tmp_path)
        assert done.returncode == 0, done.stderr
        assert not {"\x1b", "\u202e"} & set(done.stdout)
        assert "202egnp" in done.stdout
    for path in (tmp_path / "r").iterdir():
        if path.suffix in (".json", ".csv"):
            assert not {"\x1b", "\u202e"} & set(path.read_text(encoding="utf-8"))
    cube(tmp_path, "a\x1b]0;x\x07\u202e.stl", lambda _: None)
    done = type_in("plumbstone weigh .", tmp_path)
    assert done.returncode == 0, done.stderr
    assert not {"\x1b", "\x07", "\u202e"} & set(done.stdout)
    told = type_in("plumbstone bed 'a\x1b[2J.toml'", tmp_path).stderr
    assert "\\x1b[2J" in told
    assert "\x1b" not in told


def test_a_piece_on_a_piece_on_the_bed_lies_on_both(tmp_path: Path) -> None:
    # Two boxes of 9 cm, one on the other, on 4 cm of bed: their feet are at 4 and at 13 cm.
    text = GOOD.replace('name = "B"', 'name = "B"\nrests = "A"').replace(
        'name = "A"', 'name = "A"\nrests = "bed"'
    )
    text = text.replace('at = ["40 cm"', 'at = ["20 cm"').replace(
        '{ front = "3 cm", back = "8 cm" }', '"4 cm"'
    )
    text = text.replace("size = [", 'solid = "box"\nsize = [')
    (tmp_path / "tank.toml").write_text(text, encoding="utf-8")
    done = type_in("plumbstone plan tank.toml --json --grid 8", tmp_path)
    foot = {piece["name"]: piece["foot_cm"] for piece in json.loads(done.stdout)["pieces"]}
    assert foot["A"] == pytest.approx(4, abs=0.05)
    assert foot["B"] == pytest.approx(13, abs=0.05)
