"""The page on the scape file names every key that is read, and no other."""

import re
from pathlib import Path

import pytest

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.scape.scape import read_scape
from plumbstone.volumes.scape.sections import Section

PAGE = Path(__file__).parent.parent / "docs" / "scape-file.md"
FULL = """
[tank]
inside = ["60 cm", "30 cm", "36 cm"]
[tank.sump]
water = "10 L"
[[piece]]
name = "Twig"
kind = "wood"
material = "driftwood"
at = ["30 cm", "15 cm"]
limbs = [{ length = "20 cm", girth = ["5 cm", "4 cm"] }]
[[lump]]
material = "granite"
mass = "1 kg"
[[layer]]
material = "sand"
zone = "along line"
line = [["0 cm", "0 cm"], ["60 cm", "30 cm"]]
depth = { front = "2 cm" }
[[layer]]
material = "sand"
depth = { map = "map.csv" }
sacks = { holds = "2 L" }
[border]
line = [["0 cm", "12 cm"], ["60 cm", "12 cm"]]
[[group]]
wood = ["Twig"]
sinkers = [{ mass = "1 kg", material = "granite" }]
log = [{ day = 1, mass = "1 kg" }]
[[spot]]
name = "Here"
at = ["1 cm", "1 cm"]
[[at_hand]]
name = "Flat"
material = "slate"
mass = "1 kg"
[prices]
tie = 0.1
[[material]]
name = "Own"
like = "sand"
"""
TITLES = {
    "Top of the file": "", "[tank]": "tank", "[tank.sump]": "sump", "[[piece]]": "piece",
    "sacks": "sacks", "limbs": "limbs", "[[lump]]": "lump", "[[layer]]": "layer", "depth or height": "depth",
    "[border]": "border", "[[group]]": "group", "sinkers": "sinkers", "[[spot]]": "spot",
    "[[at_hand]]": "at_hand", "[prices]": "prices", "[[material]]": "material",
}  # fmt: skip


def keys_on_the_page() -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for block in re.split(r"^#+ ", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]:
        title = block.splitlines()[0]
        names = [name for start, name in TITLES.items() if title.startswith(start)]
        if names:
            rows = re.findall(r"^\| (`[^|]*) \|", block, flags=re.MULTILINE)
            found[names[0]] = {key for row in rows for key in re.findall(r"`(\w+)`", row)}
    return found


def test_every_key_is_on_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read: dict[str, set[str]] = {}
    plain = Section.done

    def noted(section: Section) -> None:
        where = re.sub(r'( \d+)( ".*")?$', "", section.where.rsplit(".", 1)[-1])
        read.setdefault(where, set()).update(section._known)
        plain(section)

    monkeypatch.setattr(Section, "done", noted)
    (tmp_path / "t.toml").write_text(FULL, encoding="utf-8")
    (tmp_path / "map.csv").write_text("1,2\n3,4\n", encoding="utf-8")
    read_scape(tmp_path / "t.toml")
    page = keys_on_the_page()
    assert set(page) == set(TITLES.values())
    for name, keys in page.items():
        assert keys == read[name], name


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[[piece]]\nsolid = "box"\nshape_factor = 0.5\n', "shape_factor: goes with a size alone"),
        ('[[piece]]\nmass = "2 kg"\nshape_factor = 0.5\n', "shape_factor: goes with a size alone"),
        ('[[piece]]\nunit = "cm"\n', "unit: is that of a scan"),
        (  # a length alone has no place beside a path, and was left out
            '[[piece]]\nlimbs = [{ length = "90 cm", girth = ["45 cm", "30 cm"] }, '
            '{ path = [["0 cm", "0 cm", "0 cm"], ["9 cm", "0 cm", "9 cm"]], girth = ["9 cm", "9 cm"] }]\n',
            "limbs: give every limb a path",
        ),
        ('[[layer]]\nwidth = "8 cm"\n', "width: does not go with the zone all"),
    ],
)
def test_a_key_that_would_have_no_effect_is_refused(tmp_path: Path, more: str, words: str) -> None:
    piece = 'name = "A"\nmaterial = "granite"\nat = ["30 cm", "15 cm"]\nsize = ["9 cm", "8 cm", "7 cm"]\n'
    layer = 'name = "S"\nmaterial = "sand"\ndepth = "4 cm"\n'
    text = '[tank]\ninside = ["60 cm", "30 cm"]\n' + more + (piece if "piece" in more else layer)
    (tmp_path / "t.toml").write_text(text, encoding="utf-8")
    with pytest.raises(PlumbstoneError, match=re.escape(words)):
        read_scape(tmp_path / "t.toml")
