"""A layout after any edits is what a computation from scratch gives, and recomputes no more."""

import dataclasses
import json
import pickle
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import plumbstone as ps
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.scape.scape import Scape, scape_from

GRID = 0.01  # [m], coarse: equality does not hang on it

TANK: dict[str, Any] = {
    "tank": {"inside": ["60 cm", "40 cm", "40 cm"], "water_line": "35 cm", "glass": "8 mm"},
    "border": {"line": [["0 cm", "15 cm"], ["60 cm", "15 cm"]], "stones": ["A", "B"]},
    "piece": [
        {"name": "A", "size": ["20 cm", "6 cm", "10 cm"], "material": "basalt", "at": ["15 cm", "15 cm"]},
        {"name": "B", "size": ["20 cm", "6 cm", "10 cm"], "material": "basalt", "at": ["42 cm", "15 cm"]},
        {"name": "C", "size": ["8 cm", "7 cm", "6 cm"], "material": "granite", "at": ["30 cm", "30 cm"],
         "rests": "bed", "pressed": "1 cm"},
        {"name": "Log", "kind": "wood", "material": "driftwood", "at": ["30 cm", "28 cm"], "rests": "bed",
         "limbs": [{"length": "25 cm", "girth": ["12 cm", "9 cm"]}]},
    ],
    "group": [{"name": "Log", "wood": ["Log"],
               "sinkers": [{"mass": "2 kg", "material": "slate", "how": "strapped"}]}],
    "layer": [
        {"name": "Soil", "material": "baked clay soil", "zone": "behind border",
         "height": {"front": "8 cm", "back": "12 cm"}},
        {"name": "Sand", "material": "sand", "zone": "before border", "depth": "2 cm"},
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def scape() -> Scape:
    return scape_from(TANK)


def figures(layout: Layout) -> str:
    """Everything that is told, to the last bit."""
    return repr(layout.report(GRID))


def edited(scape: Scape, edit: tuple[str, float, float]) -> Scape:
    """Change one thing of the scape."""
    what, a, b = edit
    if what == "line":
        return replace(scape, tank=replace(scape.tank, water_line=0.2 + 0.15 * a))
    if what == "soil":
        soil = scape.layers[0]
        assert soil.profile is not None
        profile = replace(soil.profile, corners=(0.05 + 0.03 * a,) * 2 + (0.08 + 0.04 * b,) * 2)
        return replace(scape, layers=(replace(soil, profile=profile), *scape.layers[1:]))
    if what == "turn":
        return Layout(scape).changed("A", turn=10 * a).scape
    return Layout(scape).moved("C", to=(0.15 + 0.3 * a, 0.25 + 0.08 * b)).scape


@cache
def unedited() -> Layout:
    """The scape as it is, computed once for all edits."""
    layout = Layout(scape_from(TANK))
    figures(layout)
    return layout


EDITS = ["line", "soil", "turn", "move"]


@pytest.mark.slow
@settings(max_examples=12, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(EDITS), st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=3
    )
)
def test_any_edits_give_what_scratch_gives(edits: list[tuple[str, float, float]]) -> None:
    edits_give_what_scratch_gives(edits)


@pytest.mark.parametrize("order", [EDITS, ["move", "turn", "soil", "line"]])
def test_edits_give_what_scratch_gives(order: list[str]) -> None:
    edits_give_what_scratch_gives([(what, 0.3, 0.8) for what in order])


def edits_give_what_scratch_gives(edits: list[tuple[str, float, float]]) -> None:
    layout = unedited()
    for edit in edits:
        layout = layout.with_scape(edited(layout.scape, edit))
        figures(layout)
    assert figures(layout) == figures(Layout(layout.scape))


def test_the_water_line_moves_nothing_else(scape: Scape) -> None:
    layout = Layout(scape)
    before = layout.plan(GRID)
    after = layout.with_water_line(0.25).plan(GRID)
    assert after.bed is before.bed
    assert after.bodies == before.bodies
    assert after.water != before.water


def test_nothing_is_computed_twice(scape: Scape) -> None:
    layout = Layout(scape)
    layout.plan(GRID)
    once = layout.memo.computed
    layout.plan(GRID)
    assert layout.memo.computed == once


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"turn": "30"}, "turn is '30'; give plain numbers"),
        ({"at": ("10 cm", "10 cm")}, "give plain numbers"),
        ({"at": (0.1, float("nan"))}, "give plain numbers"),
        ({"turnn": 30}, '"turnn" cannot be changed; these can: at, turn'),
        ({"rests": "Nobody"}, 'No piece "Nobody" is there'),
        ({"material": "bassalt"}, "Did you mean basalt"),
    ],
)
def test_what_cannot_be_changed_is_told(scape: Scape, keys: dict[str, object], words: str) -> None:
    with pytest.raises(PlumbstoneError, match=re.escape(words)):
        Layout(scape).changed(scape.pieces[0].name, **keys).ground()


def test_a_report_goes_to_other_processes_and_into_json(scape: Scape) -> None:
    report = Layout(scape).report()
    assert report.findings
    assert pickle.loads(pickle.dumps(report)) == report
    told = json.loads(json.dumps(dataclasses.asdict(report)))["findings"]
    assert [f["kind"] for f in told] == [f.kind for f in report.findings]


def test_a_mesh_in_memory_counts_as_it_is() -> None:
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=3, radius=0.05)
    piece = {"name": "Ball", "mesh": ball, "material": "granite", "at": ["30 cm", "20 cm"]}
    plan = Layout(scape_from({"tank": TANK["tank"], "piece": [piece]})).plan(GRID)
    assert plan.bodies[0].volume.mid == pytest.approx(ball.volume, rel=1e-9)  # trimesh
    piece["mesh"] = (ball.vertices, ball.faces[1:])
    torn = Layout(scape_from({"tank": TANK["tank"], "piece": [piece]}))
    with pytest.raises(ps.PlumbstoneError, match="open"):
        torn.plan(GRID)


@pytest.mark.parametrize(
    ("corner", "places", "words"),
    [(5, 10**7, "beyond"), (5, -1, "beyond"), (None, 0, "not finite")],
)
def test_a_broken_mesh_in_memory_is_refused(corner: int | None, places: int, words: str) -> None:
    """Corners that do not exist would be read from anywhere in memory by compiled walks."""
    import trimesh

    box = trimesh.creation.box((0.1, 0.1, 0.1))
    vertices, faces = np.array(box.vertices), np.array(box.faces)
    if corner is None:
        vertices[3] = np.nan
    else:
        faces[faces == corner] = places
    for mesh in ((vertices, faces), ps.Piece(vertices, faces, "Box")):
        piece = {"name": "Box", "mesh": mesh, "material": "granite", "at": ["30 cm", "20 cm"]}
        with pytest.raises(ps.PlumbstoneError, match=words):
            scape_from({"tank": TANK["tank"], "piece": [piece]})


def test_water_curves_are_the_columns_at_any_level(scape: Scape) -> None:
    # The curve is a sum of ramps; the columns are summed cell by cell at each level.
    plan = Layout(scape).plan(GRID)
    assert plan.bed is not None
    from plumbstone.volumes.water.content import open_space

    bed = plan.bed
    space = open_space(bed.columns, bed.surface, bed.grid)
    for level in np.linspace(0.0, 0.35, 23):
        over = bed.columns.free_below(np.maximum(level, bed.surface))
        over -= bed.columns.free_below(bed.surface)
        within = bed.columns.free_below(np.minimum(level, bed.surface))
        area = bed.grid.cell_area
        assert float(space.over_bed.at(level)) == pytest.approx(over.sum() * area, abs=1e-12)
        assert float(space.in_bed.at(level)) == pytest.approx(within.sum() * area, abs=1e-12)


def test_the_page_on_python_runs(capsys: pytest.CaptureFixture[str]) -> None:
    text = (Path(__file__).parent.parent / "docs" / "python.md").read_text(encoding="utf-8")
    parts = [part.split("```")[0] for part in text.split("```python\n")[1:]]
    exec("\n".join(parts), {})
    told = capsys.readouterr().out
    # 28 × 19 × 15 cm × 0.5 × 2.65 kg/L = 10.57 kg
    assert "10.6 kg, likely 8.3-12.9" in told
    assert "pour" in told
