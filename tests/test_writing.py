"""Edits of a scape file: what is read afterwards is the edited scape; all other lines stay."""

import random
import tomllib
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plumbstone.volumes.scape.scape import Scape, read_scape, scape_from
from plumbstone.volumes.scape.writing import (
    WritingError,
    free_name,
    pieces_named,
    with_added,
    with_copy,
    with_keys,
    without,
    without_piece,
)

DEMO = files("plumbstone.cli").joinpath("reading-room.toml").read_text(encoding="utf-8")
STARTER = files("plumbstone.cli").joinpath("starter.toml").read_text(encoding="utf-8")
HERE = Path("tank.toml")


def read(text: str) -> Scape:
    return scape_from(tomllib.loads(text), HERE)


UNCHANGED = read(DEMO)


def untouched(before: str, after: str, changed: int) -> bool:
    """Tell whether all but some lines are the same, in the same order, byte for byte."""
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    same = [a == b for a, b in zip(old, new, strict=True)]
    return len(same) - sum(same) <= changed


places = st.integers(0, 180).map(lambda half: half / 2)
angles = st.integers(-180, 180)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(pieces_named(DEMO)), places, places, angles)
def test_a_moved_piece_is_the_only_change(name: str, x: float, y: float, turn: int) -> None:
    at = [f"{x:g} cm", f"{y:g} cm"]
    after = with_keys(DEMO, "piece", name, {"at": at, "turn": turn})
    scape, found = UNCHANGED, read(after)
    moved = tuple(
        replace(e, at=found.pieces[i].at, turn=float(turn)) if e.name == name else e
        for i, e in enumerate(scape.pieces)
    )
    assert found == replace(scape, pieces=moved)
    entry = next(e for e in found.pieces if e.name == name)
    assert entry.at == pytest.approx((x / 100, y / 100), abs=1e-12)
    assert untouched(DEMO, after, 2)
    # And back again: the very same bytes.
    old = tomllib.loads(DEMO)["piece"][pieces_named(DEMO).index(name)]
    assert with_keys(after, "piece", name, {"at": old["at"], "turn": old["turn"]}) == DEMO


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(pieces_named(DEMO)))
def test_a_copy_and_its_removal(name: str) -> None:
    after = with_copy(DEMO, "piece", name, {"name": "New one", "at": ["1 cm", "2 cm"]})
    scape, found = UNCHANGED, read(after)
    i = pieces_named(DEMO).index(name)
    copy = replace(scape.pieces[i], name="New one", at=(0.01, 0.02))
    assert found.pieces == (*scape.pieces[: i + 1], copy, *scape.pieces[i + 1 :])
    kept = [line for line in DEMO.splitlines() if line.startswith("#")]
    assert [line for line in after.splitlines() if line.startswith("#")] == kept
    assert read(without(after, "piece", "New one")) == scape


@pytest.mark.parametrize("name", pieces_named(DEMO))
def test_a_piece_goes_with_every_mention_of_it(name: str) -> None:
    after = without_piece(DEMO, name)
    scape, found = UNCHANGED, read(after)
    assert found.pieces == tuple(e for e in scape.pieces if e.name != name)
    assert scape.borders
    assert found.borders == tuple(
        replace(row, stones=tuple(n for n in row.stones if n != name)) for row in scape.borders
    )
    assert found.groups == tuple(g for g in scape.groups if name not in g.wood)
    comments = [line for line in DEMO.splitlines() if line.startswith("# ----")]
    assert [line for line in after.splitlines() if line.startswith("# ----")] == comments


def test_what_rests_on_or_hangs_on_a_piece_is_freed() -> None:
    text = with_added(DEMO, "piece", {
        "name": "Cap", "kind": "stone", "material": "slate", "size": ["9 cm", "8 cm", "2 cm"],
        "at": ["31 cm", "28 cm"], "rests": "Great stone", "tied_to": ["Bundle", "Great stone"],
    })  # fmt: skip
    sinkers = [{"stone": "Great stone", "how": "hanging", "at": ["60 cm", "31 cm", "20 cm"]}]
    text = with_keys(text, "group", "Bundle", {"sinkers": sinkers})
    found = read(without_piece(text, "Great stone"))
    cap = found.pieces[-1]
    assert (cap.rests, cap.tied_to) == ("floor", ("Bundle",))
    assert [s.stone for s in found.groups[0].sinkers] == ["Cap"]  # by its tie


def test_several_borders_and_groups_without_names() -> None:
    text = DEMO + (
        '[[border]]\nname = "Upper"\nline = [["0 cm", "30 cm"], ["90 cm", "30 cm"]]\n'
        'stones = ["Third stone", "Second stone"]\n'
    )
    text = text.replace("[border]\n", '[[border]]\nname = "Lower"\n')
    found = read(without_piece(without_piece(text, "Third stone"), "Border 1"))
    assert [len(row.stones) for row in found.borders] == [8, 1]
    unnamed = DEMO.replace('[[group]]\nname = "Bundle"\n', "[[group]]\n")
    assert "[[group]]" in unnamed
    assert "[[group]]" not in without_piece(unnamed, "Bundle")


def test_tables_that_were_not_there() -> None:
    bare = '[tank]\ninside = ["60 cm", "30 cm", "36 cm"]'  # no line end, no border
    text = with_keys(bare, "border", None, {
        "line": [["0 cm", "9 cm"], ["60 cm", "9 cm"]], "strip": True,
    })  # fmt: skip
    text = with_added(text, "layer", {"name": "Sand", "material": "sand", "depth": "2 cm"})
    found = read(text)
    assert text.startswith(bare)
    assert found.borders[0].strip
    assert [layer.name for layer in found.layers] == ["Sand"]
    assert with_keys(text, "tank", None, {"glass": "6 mm"}).startswith(f'{bare}\nglass = "6 mm"')


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_odd_but_whole_files(line_end: str) -> None:
    odd = (
        '# [[piece]] in a comment\nname = """\n[[piece]]\n# not one\n"""\n'
        '[tank]  # glass\ninside = [\n"60 cm",\n"30 cm", # deep\n"36 cm"]\n\n'
        '[[piece]]\n  name = "A [[piece]] # 1"   # first\n  kind = "stone"\n'
        '  material = "granite"\n  size = ["9 cm", "8 cm", "7 cm"]\n  at = ["20 cm", "10 cm"]\n'
        "# the end, without a line end"
    ).replace("\n", line_end)
    after = with_keys(odd, "piece", "A [[piece]] # 1", {"at": ["21 cm", "10 cm"]})
    assert after == odd.replace("20 cm", "21 cm")
    assert pieces_named(odd) == ("A [[piece]] # 1",)
    copied = with_copy(odd, "piece", "A [[piece]] # 1", {"name": "B", "at": ["40 cm", "10 cm"]})
    assert [e.name for e in read(copied).pieces] == ["A [[piece]] # 1", "B"]
    assert ("\r" in copied) == (line_end == "\r\n")
    assert copied.count("\n") == copied.count(line_end)


def test_limbs_as_tables_of_their_own_follow_their_piece() -> None:
    text = (
        '[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\n'
        '[[piece]]\nname = "W"\nkind = "wood"\nmaterial = "driftwood"\nat = ["20 cm", "10 cm"]\n'
        '[[piece.limbs]]\nlength = "20 cm"\ngirth = ["9 cm", "6 cm"]\n'
        '[[piece.limbs]]\nlength = "10 cm"\ngirth = ["6 cm", "5 cm"]\n'
    )
    copied = read(with_copy(text, "piece", "W", {"name": "V"}))
    assert copied.pieces[1].shape == copied.pieces[0].shape
    assert len(copied.pieces[1].shape.limbs) == 2
    assert read(without(text, "piece", "W")).pieces == ()


def test_a_key_that_stands_as_tables_of_its_own_is_replaced() -> None:
    text = (
        '[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\n\n[[layer]]\nname = "S"\n'
        'material = "sand"\n[layer.height]  # by eye\nfront = "2 cm"\nback = "4 cm"\n'
        '[[layer.bags]]\nholds = "5 kg"\n[[layer.bags]]\nholds = "9 kg"\n\n# the end\n'
    )
    low = with_keys(text, "layer", "S", {"height": {"front": "1 cm", "back": "4 cm"}})
    profile = read(low).layers[0].profile
    assert profile is not None
    assert profile.corners == pytest.approx((0.01, 0.01, 0.04, 0.04))
    assert [bag.holds for bag in read(low).layers[0].bags] == [5, 9]
    one = with_keys(low, "layer", "S", {"bags": [{"holds": "2 kg"}]})
    assert [bag.holds for bag in read(one).layers[0].bags] == [2]
    assert one.endswith("# the end\n")


def test_what_is_not_there_is_told() -> None:
    with pytest.raises(WritingError, match='piece "Nobody" is not written as a table'):
        with_keys(DEMO, "piece", "Nobody", {"turn": 1})
    inline = '[tank]\ninside = ["60 cm", "30 cm"]\n[border]\nline = []\n'
    with pytest.raises(WritingError, match="sump"):
        without(inline, "sump", None)
    assert free_name("floor", []) == "floor 2"


def test_many_edits_one_after_the_other(tmp_path: Path) -> None:
    dice, text = random.Random(7), DEMO
    for count in range(60):
        names = pieces_named(text)
        name = dice.choice(names)
        act: Any = dice.choice(["move", "copy", "drop", "turn"])
        if act == "move":
            at = [f"{dice.randrange(0, 180) / 2:g} cm", f"{dice.randrange(0, 90) / 2:g} cm"]
            text = with_keys(text, "piece", name, {"at": at})
        elif act == "turn":
            text = with_keys(text, "piece", name, {"turn": dice.randrange(-180, 180)})
        elif act == "copy":
            text = with_copy(text, "piece", name, {"name": f"Piece {count}"})
        elif len(names) > 3:
            text = without_piece(text, name)
    (tmp_path / "tank.toml").write_text(text, encoding="utf-8")
    found = read_scape(tmp_path / "tank.toml")
    assert tuple(e.name for e in found.pieces) == pieces_named(text)
    for comment in ("# ---- Substrate, in pouring order ----", "# ---- Main stones: on the glass"):
        assert comment in text
    assert text.split("[[layer]]", 1)[1] == DEMO.split("[[layer]]", 1)[1]


def test_the_starter_file_too() -> None:
    name = pieces_named(STARTER)[0]
    after = with_keys(STARTER, "piece", name, {"at": ["20 cm", "15 cm"]})
    assert untouched(STARTER, after, 1)
