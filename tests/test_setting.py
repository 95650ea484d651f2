"""Pieces set down: on the floor, on each other, on the bed, pressed in, tilted and turned."""

from pathlib import Path

import numpy as np
import pytest
import trimesh
from small_tanks import planned

from plumbstone.cli.wording.findings import finding_words
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.measures.columns import Grid, columns_of
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.shapes.placing import (
    raised,
    resting_height,
    shared_volume,
    stood_at,
    sunk,
    tilted,
    turned,
)
from plumbstone.meshes.shapes.primitives import boulder, box, ellipsoid
from plumbstone.volumes.bodies.contacts import lean_of, settling_slopes
from plumbstone.volumes.report import report_of

TANK = """
[tank]
inside = ["60 cm", "40 cm", "40 cm"]
water_line = "36 cm"
"""
BLOCK = """
[[piece]]
name = "{name}"
material = "granite"
solid = "{solid}"
size = ["10 cm", "10 cm", "{height} cm"]
at = ["{x} cm", "20 cm"]
{more}
"""


def plan_of(folder: Path, *parts: str):  # type: ignore[no-untyped-def]
    return planned(folder, "".join([TANK, *parts]))


def block(name: str, height: float, x: float, more: str = "", solid: str = "box") -> str:
    return BLOCK.format(name=name, height=height, x=x, more=more, solid=solid)


def lowest(plan, name: str) -> float:  # type: ignore[no-untyped-def]
    body = next(b for b in plan.bodies if b.entry.name == name)
    return float(body.piece.vertices[:, 2].min())


def test_a_ball_rests_on_a_block(tmp_path: Path) -> None:
    plan = plan_of(
        tmp_path, block("A", 6, 30), block("B", 10, 30, 'rests = "A"', solid="ellipsoid")
    )
    assert lowest(plan, "A") == pytest.approx(0, abs=1e-12)
    assert lowest(plan, "B") == pytest.approx(0.06, abs=2e-4)  # a 2 mm grid under a round foot
    assert [(stone.name, stone.on) for stone in plan.standing] == [("A", ()), ("B", ("A",))]


@pytest.mark.usefixtures("unoffered")
@pytest.mark.parametrize("under", ["A", "B"])
def test_a_bridge_settles_on_both_of_its_piers(tmp_path: Path, under: str) -> None:
    # A straight bar on piers of 8 and 5 cm lies on the right edges of both, 20 and 50 cm along:
    # atan(3 / 30) as it slopes down to the right, whichever it is said to rest on; geometry.
    bar = (
        '[[piece]]\nname = "Bar"\nkind = "wood"\nmaterial = "driftwood"\nsolid = "box"\n'
        'size = ["50 cm", "4 cm", "4 cm"]\nat = ["30 cm", "20 cm"]\nsettle = true\n'
        f'rests = "{under}"\n'
    )
    plan = plan_of(tmp_path, block("A", 8, 15), block("B", 5, 45), bar)
    body = next(b for b in plan.bodies if b.entry.name == "Bar")
    corners = body.piece.vertices
    along = corners[corners[:, 0] > 30e-2].mean(axis=0) - corners[corners[:, 0] < 30e-2].mean(
        axis=0
    )
    assert np.degrees(np.arctan2(-along[2], along[0])) == pytest.approx(
        np.degrees(np.arctan(3 / 30)), abs=0.3
    )
    assert plan.holds[0].through < 2e-3


def test_a_branch_settles_until_it_touches_around_its_middle(tmp_path: Path) -> None:
    # A rod of 30 cm set down with one end on a block of 3 cm comes to lie from its top edge,
    # 25 cm from the other end, to the glass: asin(3 / 25) within the grid; geometry.
    rod = (
        '[[piece]]\nname = "Rod"\nkind = "wood"\nmaterial = "driftwood"\nsolid = "box"\n'
        'size = ["30 cm", "2 cm", "2 cm"]\nat = ["30 cm", "20 cm"]\nrests = "A"\n'
    )
    drawn = plan_of(tmp_path, block("A", 3, 45), rod)
    settled = plan_of(tmp_path, block("A", 3, 45), rod + "settle = true\n")
    assert drawn.holds[0].lean == pytest.approx(np.degrees(np.arctan(3 / 25)), abs=0.3)
    assert settled.holds[0].lean < 0.5
    corners = next(b for b in settled.bodies if b.entry.name == "Rod").piece.vertices
    along = corners[corners[:, 0].argmax()] - corners[corners[:, 0].argmin()]
    rise = np.degrees(np.arctan2(np.ptp(corners[:, 2]) - 0.02, 0.30))
    assert rise == pytest.approx(np.degrees(np.arcsin(3 / 25)), abs=0.8)
    assert along[0] > 0.29


def test_pressed_into_the_bed(tmp_path: Path) -> None:
    layer = '[[layer]]\nmaterial = "sand"\ndepth = "5 cm"\n'
    plan = plan_of(tmp_path, block("B", 8, 30, 'rests = "bed"\npressed = "2 cm"'), layer)
    assert lowest(plan, "B") == pytest.approx(0.03, abs=1e-6)
    # The bed keeps its drawn surface, so the sand is less by what was pressed in.
    assert plan.bed.settled == pytest.approx(
        0.6 * 0.4 * 0.05 - 0.1 * 0.1 * 0.02, rel=1e-4
    )  # scattered samples


def test_every_weighed_volume_is_scaled_into_the_parts(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, block("A", 6, 20), block("B", 9, 40))
    assert plan.water.stone_m3.mid == pytest.approx(0.1 * 0.1 * 0.15, rel=1e-9)
    assert plan.water.parts_over_box == pytest.approx(1, abs=2e-3)


def test_turns_match_a_general_library() -> None:
    stone = boulder((0.2, 0.15, 0.1), 3, subdivisions=3)
    matrix = trimesh.transformations.rotation_matrix(np.radians(35), [0, 0, 1])[:3, :3]
    assert turned(stone, 35).vertices == pytest.approx(stone.vertices @ matrix.T, abs=1e-12)
    # Tilting towards +y is a turn about -x... by the right hand: the top moves to +y.
    leaning = tilted(box((0.1, 0.1, 0.3)), 20, 90)
    top = leaning.vertices[leaning.vertices[:, 2].argmax()]
    assert top[1] > 0.05
    matrix = trimesh.transformations.rotation_matrix(np.radians(20), [-1, 0, 0])[:3, :3]
    expected = box((0.1, 0.1, 0.3)).vertices @ matrix.T
    assert leaning.vertices == pytest.approx(expected, abs=1e-12)
    assert enclosed_volume(leaning.vertices, leaning.faces) == pytest.approx(0.003, rel=1e-12)


def test_shared_volume_of_two_spheres() -> None:
    # Lens of two equal spheres: π (4 r + d) (2 r - d)² / 12; Weisstein, MathWorld.
    grid = Grid.of_spacing(0.4, 0.3, 0.001)
    r, d = 0.05, 0.06
    a, b = (
        columns_of(ball.vertices, ball.faces, grid)
        for ball in (stood_at(ellipsoid((0.1, 0.1, 0.1)), x, 0.15) for x in (0.15, 0.15 + d))
    )
    lens = np.pi * (4 * r + d) * (2 * r - d) ** 2 / 12
    assert shared_volume(a, b, grid.cell_area) == pytest.approx(lens, rel=5e-3)


def test_warnings_for_opening_and_lamp(tmp_path: Path) -> None:
    tank = TANK + 'bracing = "15 cm"\nlamp_height = "2 cm"\n'
    tank += BLOCK.format(name="Tall", solid="box", height=43, x=30, more="").replace(
        "10 cm", "20 cm"
    )
    report = report_of(planned(tmp_path, tank))
    told = " ".join(finding_words(finding, Units.METRIC) for finding in report.findings)
    assert "opening" in told
    assert "lamp" in told
    assert "above the rim" in told


@pytest.mark.parametrize(
    ("units", "words"), [(Units.METRIC, "stands 0.1 cm above"), (Units.US, "stands 0.25 in above")]
)
def test_what_stands_a_hair_above_the_rim_is_not_told_as_nothing(
    tmp_path: Path, units: Units, words: str
) -> None:
    text = TANK + BLOCK.format(name="Tall", solid="box", height=40.02, x=30, more="")
    found = report_of(planned(tmp_path, text)).findings
    assert any(words in finding_words(finding, units) for finding in found)


@pytest.mark.parametrize(("degrees", "towards"), [(3, 0), (8, 90), (12, 40)])
def test_a_tilted_slab_sinks_by_its_own_slopes(degrees: float, towards: float) -> None:
    # Its underside is a plane that falls by tan(tilt) towards where it leans; laid flat by these
    # slopes, it rests on all of its face.
    grid = Grid.of_spacing(0.6, 0.4, 0.005)
    slab = stood_at(tilted(box((0.2, 0.12, 0.04)), degrees, towards), 0.3, 0.2)
    window = columns_of(slab.vertices, slab.faces, grid)
    middle = slab.vertices.mean(axis=0)
    ground = np.full((grid.ny, grid.nx), -0.02)
    slopes = settling_slopes(window, ground, grid, middle[:2])
    way = np.array([np.cos(np.radians(towards)), np.sin(np.radians(towards))])
    assert slopes == pytest.approx(-np.tan(np.radians(degrees)) * way, abs=2e-3)
    assert lean_of(slopes) == pytest.approx(degrees, abs=0.1)
    flat = sunk(slab, slopes, middle)
    assert np.ptp(flat.vertices[:, 2]) == pytest.approx(0.04, abs=1e-3)
    assert flat.vertices.mean(axis=0) == pytest.approx(middle)
    assert sunk(slab, (0.0, 0.0), middle) is slab


def test_a_piece_rests_where_it_first_touches() -> None:
    grid = Grid.of_spacing(0.6, 0.4, 0.005)
    slab = stood_at(box((0.2, 0.1, 0.04)), 0.3, 0.2)
    window = columns_of(slab.vertices, slab.faces, grid)
    ground = np.zeros((grid.ny, grid.nx))
    ground[:, : grid.nx // 2] = 0.03  # to the left of its middle
    ground[:, : grid.nx // 4] = 0.2  # beside it
    assert resting_height(window, ground) == pytest.approx(0.03)
    assert resting_height(window, ground - 1) == 0  # no lower than the glass


def test_shared_volume_of_two_boxes() -> None:
    # 10 × 6 × 4 cm and the same, moved by 4, 2 and 1 cm: 6 × 4 × 3 cm are in both.
    grid = Grid.of_spacing(0.6, 0.4, 0.0025)
    one = stood_at(box((0.1, 0.06, 0.04)), 0.3, 0.2)
    for up, wanted in ((0.01, 0.06 * 0.04 * 0.03), (0.05, 0.0)):
        other = raised(stood_at(box((0.1, 0.06, 0.04)), 0.34, 0.22), up)
        both = (columns_of(part.vertices, part.faces, grid) for part in (one, other))
        assert shared_volume(*both, grid.cell_area) == pytest.approx(wanted, rel=0.03)


def test_what_settles_on_a_bed_that_is_not_there_stands_on_the_glass(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, block("A", 10, 20, 'rests = "bed"\nsettle = true'))
    assert lowest(plan, "A") == pytest.approx(0, abs=1e-9)
    (standing,) = plan.standing  # a cube tips on its edge at 45°, less what ranges take off
    assert 40 < standing.tip_angle < 45


def test_a_limb_touches_sloped_soil_where_it_lies_on_it(tmp_path: Path) -> None:
    # On a plane that rises by s, a lying cylinder touches along one line, r sin(atan s) uphill of
    # its axis; geometry. Soil below a limb was taken to lie as high as that beside it.
    limb = (
        '[[piece]]\nname = "Limb"\nmaterial = "driftwood"\nrests = "bed"\nat = ["30 cm", "20 cm"]\n'
        'limbs = [{ path = [["0 cm", "0 cm", "0 cm"], ["30 cm", "0 cm", "0 cm"]], '
        'girth = ["15.7 cm", "15.7 cm"] }]\n[[layer]]\nname = "Soil"\nmaterial = "sand"\n'
        'height = { front = "2 cm", back = "10 cm" }\n'
    )
    rest = plan_of(tmp_path, limb).holds[0].stage.resting[0]
    slope, touch = 8 / 40, rest.places[rest.drawn < 1e-4]
    assert np.ptp(touch[:, 0]) > 0.2
    assert touch[:, 1] == pytest.approx(0.2 + 0.025 * slope / np.hypot(1, slope), abs=3e-3)
    assert touch[:, 2] == pytest.approx(0.02 + slope * touch[:, 1], abs=1e-4)
    assert rest.steepness[rest.drawn < 1e-4] == pytest.approx(np.degrees(np.arctan(slope)), abs=0.1)
