"""What a row of stones, a strip or a divider holds, against areas times heights and closed forms."""

from dataclasses import replace
from math import pi, tan
from pathlib import Path

import numpy as np
import pytest
from commands import read_json, type_in

from plumbstone.cli.wording.bed import WORDED
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.piece import Piece
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.shapes.placing import raised, renamed, stood_at, turned
from plumbstone.meshes.shapes.primitives import boulder, box, ellipsoid
from plumbstone.volumes.bed.border import judge_borders
from plumbstone.volumes.bed.findings import bed_findings
from plumbstone.volumes.bed.pouring import solve_bed
from plumbstone.volumes.bed.results import BedError, BedResult
from plumbstone.volumes.bed.row import row_of
from plumbstone.volumes.findings import Finding, Kind
from plumbstone.volumes.scape.layers import Border, Layer, Profile, Zone
from plumbstone.volumes.scape.materials import find_material

FLOOR = (0.6, 0.4)
SLOPE = tan(np.radians(33))
SOIL = replace(find_material("baked-clay soil"), repose=Range.exact(33))
Stone = tuple[Piece, float]


def stone(name: str, size: tuple[float, float, float], x: float, y: float) -> Stone:
    piece = renamed(stood_at(box(size), x, y), name, "granite")
    return piece, size[0] * size[1] * size[2]


def soil(height: float, zone: str = "behind border", border: str = "", name: str = "Soil") -> Layer:
    profile = Profile(True, (height,) * 4)
    return Layer(name, SOIL, Zone(zone, border=border), profile, 0.0, (), 0.0)


def sand(depth: float) -> Layer:
    profile = Profile(False, (depth,) * 4)
    return Layer("Sand", find_material("sand"), Zone("before border"), profile, 0.0, (), 0.0)


def line(y: float, *names: str, **more: object) -> Border:
    return Border(((0.0, y), (0.6, y)), names, **{"strip": False, **more})  # type: ignore[arg-type]


def pair(height: float, gap: float = 0.0, thick: float = 0.05, y: float = 0.18) -> list[Stone]:
    """Two boxes across the tank with a gap in the middle."""
    wide = (0.6 - gap) / 2
    size = (wide, thick, height)
    return [stone("A", size, wide / 2, y), stone("B", size, 0.6 - wide / 2, y)]


def told(bed: BedResult, *kinds: Kind) -> list[Finding]:
    return [f for f in bed_findings(bed, None, (), ()) if f.kind in kinds]


@pytest.mark.parametrize("y", [0.16, 0.18, 0.204, 0.205, 0.206])
def test_stones_hold_wherever_the_line_runs_over_them(y: float) -> None:
    # 60 × 19.5 × 8.5 cm behind their back faces: 9.945 L.
    bed = solve_bed(FLOOR, [soil(0.085)], [line(y, "A", "B")], pair(0.14))
    assert bed.settled == pytest.approx(0.6 * 0.195 * 0.085, rel=2e-3)
    assert bed.passed == ()
    assert not told(bed, Kind.LEAKS, Kind.OFF_LINE, Kind.SLIDES)


def test_a_line_that_leaves_its_stones_is_told() -> None:
    bed = solve_bed(FLOOR, [soil(0.085)], [line(0.23, "A", "B")], pair(0.14))
    found = told(bed, Kind.OFF_LINE)
    assert [f.about for f in found] == [("A",), ("B",)]
    assert found[0].numbers["away_m"] == pytest.approx(0.025, abs=1e-6)


@pytest.mark.parametrize(
    ("more", "wall"),
    [({}, 0.05), ({"strip": True}, 0.05), ({"strip": True, "height": 0.08}, 0.08),
     ({"divider": True}, 0.05)],
)  # fmt: skip
def test_what_stands_higher_than_its_wall_lies_at_repose(
    more: dict[str, object], wall: float
) -> None:
    # Behind the middle of 5 cm stones a wedge is missing: (10 - wall)² / (2 tan) a width.
    bed = solve_bed(FLOOR, [soil(0.10)], [line(0.18, "A", "B", **more)], pair(0.05))
    drawn = 0.6 * (0.22 * 0.10 - 0.025 * 0.05)
    assert bed.settled == pytest.approx(drawn - 0.6 * (0.1 - wall) ** 2 / (2 * SLOPE), rel=5e-3)
    over = [f for f in told(bed, Kind.SLIDES) if f.how == "over wall"]
    assert over[0].numbers["wall_m"] == pytest.approx(wall, abs=1e-9)
    assert bed.passed == ()


def test_floss_alone_holds_nothing() -> None:
    bed = solve_bed(FLOOR, [soil(0.06)], [line(0.18, strip=True)])
    assert bed.settled == pytest.approx(0.6 * (0.22 * 0.06 - 0.06**2 / (2 * SLOPE)), rel=2e-3)
    assert told(bed, Kind.SLIDES)[0].how == "no wall"


def test_sand_that_the_soil_behind_it_holds_is_not_told() -> None:
    # A slope of soil from 1 to 9 cm, and sand up to 3 cm before it: it ends 10 cm from the front
    # and needs no wall at the line 18 cm from it. At 8 cm it does.
    slope = replace(soil(0.0, "all"), profile=Profile(True, (0.01, 0.01, 0.09, 0.09)))
    pool = replace(sand(0.03), profile=Profile(True, (0.03,) * 4))
    bed = solve_bed(FLOOR, [slope, pool], [line(0.18)])
    assert told(bed, Kind.SLIDES) == []
    assert bed.layers[1].settled == pytest.approx(0.6 * 0.1 * 0.02 / 2, rel=1e-3)
    (found,) = told(solve_bed(FLOOR, [slope, pool], [line(0.08)]), Kind.SLIDES)
    assert (found.how, found.about) == ("no wall", ("Sand",))


def test_gravel_in_the_gaps_of_no_stones_is_refused() -> None:
    wedge = replace(soil(0.05, "border gaps", name="Wedge"), material=find_material("wedge gravel"))
    for border, word in (
        (line(0.18), "names no stones"), (line(0.30, "A", "B"), "draw it over them"),
        (line(0.18, "A", "B"), "no gap of its border is open"),
    ):  # fmt: skip
        with pytest.raises(BedError, match=f'"Wedge" .*{word}'):
            solve_bed(FLOOR, [wedge], [border], pair(0.15), exact=False)


@pytest.mark.parametrize("retained", [0.06, 0.10])
@pytest.mark.parametrize("thick", [0.001, 0.004, 0.008])
def test_what_shows_beyond_a_gap(retained: float, thick: float) -> None:
    # Through the depth of the stones the surface falls by the slope; then w h² / (2 tan) +
    # π h³ / (6 tan²) shows, h / tan out; derived. With thin stones that is 4.6 and 7.7 cm, and
    # the second part alone, what a mere point lets through, 34 and 155 mL.
    border = line(0.2, "A", "B")
    bed = solve_bed(
        FLOOR, [soil(0.025 + retained), sand(0.025)], [border], pair(0.15, 0.014, thick, 0.2)
    )
    (passed,) = bed.passed
    half = retained / 2 - thick / 2 * SLOPE
    exact = 0.014 * half**2 / (2 * SLOPE) + pi * half**3 / (6 * SLOPE**2)
    assert passed.width == pytest.approx(0.014, abs=2e-4)
    assert passed.upper - passed.lower == pytest.approx(retained, abs=1e-6)
    assert passed.volume == pytest.approx(exact, rel=0.01)
    assert passed.reach == pytest.approx(half / SLOPE, abs=2e-3)
    layer = bed.layers[0]
    assert layer.stays == pytest.approx(layer.settled - passed.volume, rel=1e-12)
    assert layer.stays < layer.settled <= layer.wanted + 1e-9


def test_what_shows_beyond_deep_gaps_wherever_their_faces_lie() -> None:
    # As above; half a cell of 2 mm would be 5-10 % of the soil that comes out.
    rng, off = np.random.default_rng(20), []
    for _ in range(10):
        gap, thick, y = rng.uniform(0.006, 0.03), rng.uniform(0.02, 0.05), rng.uniform(0.199, 0.201)
        retained = rng.uniform(0.07, 0.11)
        layers = [soil(0.025 + retained), sand(0.025)]
        stones = pair(0.15, gap, thick, y)
        bed = solve_bed(FLOOR, layers, [line(y, "A", "B")], stones, exact=False)
        half = retained / 2 - thick / 2 * SLOPE
        exact = gap * half**2 / (2 * SLOPE) + pi * half**3 / (6 * SLOPE**2)
        off.append(bed.passed[0].volume / exact - 1)
        assert abs(off[-1]) < 0.01
    assert np.mean(off) == pytest.approx(0, abs=0.004)


@pytest.mark.parametrize("seed", range(6))
def test_no_open_gap_is_missed(seed: int) -> None:
    # Boxes of any size, some turned, with gaps of 6 mm to 6 cm: each lets 2-8 cm of soil through.
    rng = np.random.default_rng(seed)
    stones: list[Stone] = []
    x = float(rng.choice([0.0, rng.uniform(0, 0.02)]))
    while x < 0.53:
        wide = min(rng.uniform(0.03, 0.09), 0.6 - x)
        size = (wide * 0.9, rng.uniform(0.006, 0.04), rng.uniform(0.1, 0.16))
        piece = turned(box(size), float(rng.choice([0.0, rng.uniform(-20, 20)])))
        at = x + wide / 2, 0.18 + rng.uniform(-0.006, 0.006)
        name = f"S{len(stones)}"
        stones.append((renamed(stood_at(piece, *at), name, "granite"), float(np.prod(size))))
        x += wide + float(rng.choice([0.0, rng.uniform(0.006, 0.03), rng.uniform(0.03, 0.06)]))
    row = line(0.18, *(f"S{k}" for k in range(len(stones))))
    layers = [soil(rng.uniform(0.04, 0.09)), sand(rng.uniform(0.005, 0.02))]
    bed = solve_bed(FLOOR, layers, [row], stones, exact=False)
    gaps = bed.rows[0].gaps
    open_ = {k for k, gap in enumerate(gaps) if 0.006 < gap.openings.min() < 0.1}
    assert open_ <= {passed.gap for passed in bed.passed}
    before, after = (bed.columns.free_below(s).sum() for s in (bed.poured, bed.surface))
    assert after == pytest.approx(before, rel=1e-9)


def test_what_leaves_and_what_arrives_are_the_same_litres() -> None:
    # Round stones, some of them below the soil: the free space below both surfaces.
    stones = []
    for k in range(6):
        stone = stood_at(boulder((0.098, 0.07, 0.1), seed=k), 0.05 + 0.1 * k, 0.18)
        piece = renamed(stone, f"B{k}", "granite")
        stones.append((piece, enclosed_volume(piece.vertices, piece.faces)))
    low = renamed(stood_at(boulder((0.08, 0.06, 0.03), seed=9), 0.3, 0.24), "Low", "granite")
    stones.append((low, enclosed_volume(low.vertices, low.faces)))
    row = line(0.18, *(f"B{k}" for k in range(6)))
    bed = solve_bed(FLOOR, [soil(0.07), sand(0.015)], [row], stones)
    before, after = (bed.columns.free_below(s).sum() for s in (bed.poured, bed.surface))
    assert np.abs(bed.surface - bed.poured).sum() > 1e-3 * before
    assert after == pytest.approx(before, rel=1e-9)


def test_layers_of_one_soil_pass_as_one() -> None:
    border, stones = [line(0.2, "A", "B")], pair(0.15, 0.014, 0.02, 0.2)
    one = solve_bed(FLOOR, [soil(0.085), sand(0.02)], border, stones)
    low = soil(0.07, name="Low")
    two = solve_bed(FLOOR, [low, soil(0.085), sand(0.02)], border, stones)
    assert np.abs(one.surface - two.surface).max() < 1e-12
    assert [p.layer for p in two.passed] == ["Low", "Soil"]
    assert sum(p.volume for p in two.passed) == pytest.approx(one.passed[0].volume, rel=1e-9)


def fan(width: float, height: float) -> float:
    """Ridge and quarter cones that a level edge of that height feeds; derived [m³]."""
    return width * height**2 / (2 * SLOPE) + pi * height**3 / (6 * SLOPE**2)


def filler(depth: float) -> Layer:
    """Lava gravel of the soil's repose, which a gap of 6.3 mm holds."""
    material = replace(find_material("lava gravel"), repose=Range.exact(33))
    profile = Profile(True, (depth,) * 4)
    return Layer("Filler", material, Zone("behind border"), profile, 0.0, (), 0.0)


def leaked(gap: float, *layers: Layer) -> dict[str, float]:
    """What of each layer passes a gap between thin stones [m³]."""
    bed = solve_bed(FLOOR, layers, [line(0.2, "A", "B")], pair(0.15, gap, 0.001, 0.2), exact=False)
    return {passed.layer: passed.volume for passed in bed.passed}


def test_soil_runs_over_a_layer_that_the_gap_holds() -> None:
    # The held layer is a sill in the middle of the gap: over a high one only what lies at repose
    # above it comes through, and over a low one as much as without it.
    rng, border, over_sill = np.random.default_rng(11), line(0.2, "A", "B"), 0
    for _ in range(8):
        gap, thick = rng.uniform(0.003, 0.006), rng.uniform(0.001, 0.03)
        filled, before = rng.uniform(0.03, 0.06), rng.uniform(0.005, 0.02)
        above = rng.uniform(0.02, 0.035) + thick / 2 * SLOPE
        layers = [filler(filled), sand(before), soil(filled + above)]
        stones = pair(0.15, gap, thick, rng.uniform(0.199, 0.201))
        bed = solve_bed(FLOOR, layers, [border], stones, exact=False)
        over_sill += above < (filled + above - before) / 2
        over = min(above, (filled + above - before) / 2) - thick / 2 * SLOPE
        exact = pytest.approx(fan(gap, over), rel=0.02, abs=2e-7)
        assert {passed.layer: passed.volume for passed in bed.passed} == {"Soil": exact}
    assert 0 < over_sill < 8


def test_each_gap_holds_what_it_can() -> None:
    # 5 mm hold the gravel, which runs through 14 mm; the fans do not meet.
    stones = [
        stone("A", (0.1475, 0.001, 0.15), 0.07375, 0.2), stone("B", (0.29, 0.001, 0.15), 0.2975, 0.2),
        stone("C", (0.1435, 0.001, 0.15), 0.52825, 0.2),
    ]  # fmt: skip
    layers = [filler(0.06), soil(0.08), sand(0.025)]
    bed = solve_bed(FLOOR, layers, [line(0.2, "A", "B", "C")], stones, exact=False)
    through = [sum(p.volume for p in bed.passed if p.gap == k) for k in (1, 2)]
    cut = 0.0005 * SLOPE
    assert through[0] == pytest.approx(fan(0.005, 0.02 - cut), rel=0.02, abs=2e-7)
    assert through[1] == pytest.approx(fan(0.014, 0.0275 - cut), rel=0.02)
    before, after = (bed.columns.free_below(s).sum() for s in (bed.poured, bed.surface))
    assert after == pytest.approx(before, rel=1e-9)


def test_fine_soil_runs_from_below_a_layer_that_the_gap_holds() -> None:
    # It goes as it would alone, and what lies on it sinks.
    low = soil(0.06)
    alone = leaked(0.005, low, sand(0.02))
    assert leaked(0.005, low, filler(0.08), sand(0.02)) == pytest.approx(alone, rel=1e-9)
    assert alone["Soil"] == pytest.approx(fan(0.005, 0.02 - 0.0005 * SLOPE), rel=0.02)


def test_a_strip_chips_or_a_filler_close_a_gap() -> None:
    stones = pair(0.15, 0.006, 0.05, 0.2)
    bare = solve_bed(FLOOR, [soil(0.06), sand(0.01)], [line(0.2, "A", "B")], stones)
    assert told(bare, Kind.LEAKS)[0].how == "may arch"
    shut = solve_bed(FLOOR, [soil(0.06), sand(0.01)], [line(0.2, "A", "B", strip=True)], stones)
    gravel = replace(find_material("wedge gravel"), d15=0.004)
    wedge = Layer("Wedge", gravel, Zone("border gaps"), Profile(True, (0.07,) * 4), 0.0, (), 0.0)
    filled = solve_bed(FLOOR, [soil(0.06), sand(0.01), wedge], [line(0.2, "A", "B")], stones)
    assert told(shut, Kind.LEAKS) == told(filled, Kind.LEAKS) == []
    # Its litres are the space of the gap: 6 mm × 5 cm × 7 cm.
    assert filled.layers[2].settled == pytest.approx(
        0.006 * 0.05 * 0.07, rel=0.08
    )  # three cells wide
    border = judge_borders([], bare, 1000.0)  # the space is told that it would take, to 6 cm
    assert border is not None
    (fill,) = (gap.fill_m3 for gap in border.gaps if (gap.left, gap.right) == ("A", "B"))
    assert fill == pytest.approx(0.006 * 0.05 * 0.06, rel=0.08)
    low = replace(wedge, profile=Profile(True, (0.02,) * 4))
    half = solve_bed(FLOOR, [soil(0.06), sand(0.01), low], [line(0.2, "A", "B")], stones)
    assert told(half, Kind.LEAKS)  # soil above the gravel still comes over it


def test_gravel_that_falls_out_of_a_gap_holds_nothing() -> None:
    # Of 7.5 mm (D85) in a gap of 20 mm: 1.2 times the width is asked for. What passes is what
    # would without it.
    stones, border = pair(0.15, 0.02, 0.03, 0.2), [line(0.2, "A", "B")]
    bare = solve_bed(FLOOR, [soil(0.08), sand(0.01)], border, stones, exact=False)
    gravel, zone, high = (
        find_material("wedge gravel"),
        Zone("border gaps"),
        Profile(True, (0.09,) * 4),
    )
    wedge = Layer("Wedge", gravel, zone, high, 0.0, (), 0.0)
    filled = solve_bed(FLOOR, [soil(0.08), sand(0.01), wedge], border, stones, exact=False)
    (leak,) = told(filled, Kind.LEAKS)
    assert (leak.how, leak.where) == ("falls out", "Wedge")
    assert leak.numbers["volume_m3"] == pytest.approx(bare.passed[0].volume, rel=1e-9)
    assert leak.numbers["grain_m"] == pytest.approx(0.024, abs=5e-4)
    coarse = replace(wedge, material=replace(gravel, d15=0.008, d85=0.025))
    closed = solve_bed(FLOOR, [soil(0.08), sand(0.01), coarse], border, stones, exact=False)
    assert told(closed, Kind.LEAKS) == []
    chips = replace(wedge, material=replace(gravel, d15=0.02, d85=0.03))
    through = solve_bed(FLOOR, [soil(0.08), sand(0.01), chips], border, stones, exact=False)
    assert told(through, Kind.LEAKS)[0].how == "lets through"


@pytest.mark.parametrize("x", [0.0999, 0.1199, 0.1001, 0.1201])
def test_gravel_closes_a_gap_with_stone_in_the_cell_over_it(x: float) -> None:
    # Two stones that lean 6° from each other leave 2 mm at one place; 7.5 mm gravel (D85) stays in
    # that and holds the soil (Terzaghi), wherever it lies on the grid of 2 mm.
    half = 0.045 * np.cos(np.radians(6)) + 0.03 * np.sin(np.radians(6)) + 0.001
    stones = [
        (
            renamed(stood_at(turned(box((0.09, 0.06, 0.08)), turn), at, 0.2), name, "granite"),
            0.432e-3,
        )
        for name, at, turn in (("A", x - half, 6), ("B", x + half, -6))
    ]
    gravel, high = find_material("wedge gravel"), Profile(True, (0.07,) * 4)
    wedge = Layer("Wedge", gravel, Zone("border gaps"), high, 0.0, (), 0.0)
    for pressed, leaks in (([], True), ([wedge], False)):
        layers, border = [soil(0.07), sand(0.01), *pressed], [line(0.2, "A", "B")]
        found = told(solve_bed(FLOOR, layers, border, stones, exact=False), Kind.LEAKS)
        assert any({"A", "B"} <= {*leak.about} for leak in found) is leaks


@pytest.mark.parametrize(
    "order", [("stone chips", "wedge gravel"), ("wedge gravel", "stone chips")]
)
def test_chips_hold_finer_gravel_that_holds_the_soil(order: tuple[str, str]) -> None:
    # A gap of 20 mm: chips of 27 mm (D85) stay in it, 12 mm (D15) are under 4 × 7.5 mm of the
    # gravel, whose 3.5 mm are under 4 × 2.8 mm of the soil; Terzaghi's rule, one for each.
    stones, border = pair(0.15, 0.02, 0.05, 0.2), [line(0.2, "A", "B")]
    earth = replace(soil(0.08), material=find_material("baked-clay soil"))

    def filled(*heights: float) -> BedResult:
        pressed = [
            Layer(
                name,
                find_material(name),
                Zone("border gaps"),
                Profile(True, (h,) * 4),
                0.0,
                (),
                0.0,
            )
            for name, h in zip(order, heights, strict=True)
        ]
        return solve_bed(FLOOR, [earth, sand(0.01), *pressed], border, stones)

    both = filled(0.09, 0.09)
    assert told(both, Kind.LEAKS) == []
    # They share the space of the gap, 20 mm × 5 cm × 9 cm.
    one, other = (layer.settled for layer in both.layers[2:])
    assert one == pytest.approx(other, rel=1e-9)
    assert one + other == pytest.approx(0.02 * 0.05 * 0.09, rel=0.03)
    # Above each other they hold nothing, and take as much.
    stacked = filled(0.04, 0.09)
    assert told(stacked, Kind.LEAKS)
    assert sum(layer.settled for layer in stacked.layers[2:]) == pytest.approx(
        one + other, rel=0.01
    )


def test_what_is_open_under_stones_is_told() -> None:
    # Two courses whose upper stones close the joint of the lower ones above 5 cm: 3 cm stay open
    # from the sand (1 cm) up; and a beam on two stones 20 cm apart. A stone into it closes it.
    # Through their 1 cm the soil falls by 6.5 mm.
    def upper(name: str, wide: float, x: float) -> Stone:
        piece, volume = stone(name, (wide, 0.01, 0.06), x, 0.18)
        return raised(piece, 0.05), volume

    for apart, tops in (
        (0.03, [upper("C", 0.35, 0.175), upper("D", 0.25, 0.475)]), (0.2, [upper("C", 0.6, 0.3)]),
    ):  # fmt: skip
        row = [*pair(0.05, apart, 0.01), *tops]
        names = [piece.name for piece, _ in row]
        bed = solve_bed(FLOOR, [soil(0.08), sand(0.01)], [line(0.18, *names)], row, exact=False)
        (found,) = told(bed, Kind.LEAKS)
        assert found.how == "under stones"
        assert found.numbers["width_m"] == pytest.approx(apart, abs=0.003)
        assert found.numbers["height_m"] == pytest.approx(0.04, abs=0.0041)  # a slice
        assert found.numbers["x_m"] == pytest.approx(0.3, abs=0.002)
        plug = stone("P", (apart, 0.01, 0.05), 0.3, 0.18)
        shut = [*row, plug]
        border = line(0.18, *names, "P")
        layers = [soil(0.08), sand(0.01)]
        assert not told(solve_bed(FLOOR, layers, [border], shut, exact=False), Kind.LEAKS)
        strip = line(0.18, *names, strip=True)
        assert not told(solve_bed(FLOOR, layers, [strip], row, exact=False), Kind.LEAKS)


@pytest.mark.parametrize(("thick", "comes"), [(0.05, True), (0.07, False)])
def test_soil_that_rests_under_a_bridge_is_not_told(thick: float, comes: bool) -> None:
    # From a roof 5 cm high to sand of 1 cm soil of 33° runs 4 / tan = 6.2 cm.
    piece, volume = stone("C", (0.6, thick, 0.06), 0.3, 0.18)
    row = [*pair(0.05, 0.2, thick), (raised(piece, 0.05), volume)]
    layers = [soil(0.08), sand(0.01)]
    bed = solve_bed(FLOOR, layers, [line(0.18, "A", "B", "C")], row, exact=False)
    assert bool(told(bed, Kind.LEAKS)) is comes


def test_soil_over_a_low_strip_is_told_though_the_stones_hide_it() -> None:
    # 7 cm of soil over a strip of 5 cm: 2 cm lower there, and 2 / tan(33°) = 3.1 cm out on sand
    # of 2 cm, the wedge behind and the one before being alike; the stones are 8 cm thick.
    border = line(0.18, "A", "B", strip=True, height=0.05)
    bed = solve_bed(FLOOR, [soil(0.07), sand(0.02)], [border], pair(0.08, 0.1, 0.08), exact=False)
    (found,) = told(bed, Kind.LEAKS)
    assert found.numbers["volume_m3"] == 0
    assert found.numbers["lowered_m"] == pytest.approx(0.02)
    assert "ends 2.0 cm lower in it; none shows" in WORDED[Kind.LEAKS](found, Units.METRIC)


def test_a_strip_that_no_stone_backs_is_told() -> None:
    strip = line(0.18, strip=True, height=0.09)
    (found,) = told(solve_bed(FLOOR, [soil(0.08), sand(0.02)], [strip], exact=False), Kind.WEAK)
    assert found.numbers["retained_m"] == pytest.approx(0.06)
    backed = line(0.18, "A", "B", strip=True)
    assert not told(solve_bed(FLOOR, [soil(0.08)], [backed], pair(0.1), exact=False), Kind.WEAK)


def test_gaps_are_measured_between_sections() -> None:
    # Two balls of 10 cm, 12 cm apart: 2 cm at their middle, and along the line through both.
    balls = [renamed(stood_at(ellipsoid((0.1,) * 3), x, y), name, "granite")
             for name, x, y in (("A", 0.2, 0.2), ("B", 0.2 + 0.0983, 0.2 + 0.0688))]  # fmt: skip
    row = row_of(line(0.21, "A", "B"), balls, FLOOR)
    middle = row.gaps[1]
    apart = float(np.hypot(0.0983, 0.0688))
    assert middle.openings.min() == pytest.approx(apart - 0.1, abs=5e-4)
    for height, opening in zip(middle.heights[2:22], middle.openings[2:22], strict=True):
        radius = np.sqrt(0.05**2 - (height - 0.05) ** 2)
        assert opening == pytest.approx(apart - 2 * radius, abs=1e-3)


def test_terraces_behind_two_borders() -> None:
    front = [stone("A", (0.6, 0.04, 0.08), 0.3, 0.10)]
    back = [stone("B", (0.6, 0.04, 0.14), 0.3, 0.25)]
    rows = [line(0.10, "A", name="Low"), line(0.25, "B", name="High")]
    layers = [soil(0.06, border="Low", name="One"), soil(0.12, border="High", name="Two")]
    bed = solve_bed(FLOOR, layers, rows, front + back)
    # Behind the low row, less the stones of the high one; then 6 cm more behind these.
    low, high = (layer.settled for layer in bed.layers)
    assert low == pytest.approx(0.6 * 0.06 * (0.28 - 0.04), rel=2e-3)
    assert high == pytest.approx(0.6 * 0.06 * (0.4 - 0.27), rel=2e-3)
    assert bed.passed == ()


@pytest.mark.parametrize(
    ("floor", "phi", "height", "leg", "litres"),
    [((0.6, 0.4), 33, 0.10, 0.06, 20.42), ((0.4, 0.3), 34, 0.07, 0.02, 6.130)],
)
def test_space_under_a_slab_on_two_legs(
    floor: tuple[float, float], phi: float, height: float, leg: float, litres: float
) -> None:
    # From the open sides grains fall at repose: a roof over 22 × 20 cm at the height h of its legs
    # keeps 2 · 22 · ((10 - r) h + r² tan / 2), r = h / tan; derived.
    x, y = floor[0] / 2, floor[1] / 2
    legs = [stone(n, (0.04, 0.2, leg), x + d, y) for n, d in (("A", -0.13), ("B", 0.13))]
    roof = renamed(raised(stood_at(box((0.3, 0.2, 0.02)), x, y), leg), "Roof", "slate")
    layer = soil(height, "all")
    layer = replace(layer, material=replace(SOIL, repose=Range.exact(phi)))
    bed = solve_bed(floor, [layer], (), [*legs, (roof, 0.3 * 0.2 * 0.02)])
    slope = tan(np.radians(phi))
    run = leg / slope
    void = 2 * 0.22 * ((0.1 - run) * leg + run**2 * slope / 2)
    solid = 2 * 0.04 * 0.2 * leg + 0.3 * 0.2 * 0.02
    exact = floor[0] * floor[1] * height - solid - void
    assert exact * 1e3 == pytest.approx(litres, abs=0.01)
    assert bed.layers[0].void == pytest.approx(void, rel=0.03)
    assert bed.settled == pytest.approx(exact, rel=3e-3)
    assert told(bed, Kind.VOID)[0].numbers["volume_m3"] == bed.layers[0].void


def test_two_borders_in_a_file(tmp_path: Path) -> None:
    text = '[tank]\ninside = ["60 cm", "40 cm", "40 cm"]\nwater_line = "36 cm"\n'
    for name, y, height in (("Low", 10, 8), ("High", 25, 14)):
        text += (
            f'[[piece]]\nname = "{name} stone"\nkind = "stone"\nmaterial = "slate"\nsolid = "box"\n'
            f'size = ["59.9 cm", "4 cm", "{height} cm"]\nat = ["30 cm", "{y} cm"]\n'
            f'[[border]]\nname = "{name}"\nstones = ["{name} stone"]\n'
            f'line = [["0 cm", "{y} cm"], ["60 cm", "{y} cm"]]\n'
            f'[[layer]]\nname = "{name} soil"\nmaterial = "baked-clay soil"\nzone = "behind border"\n'
            f'border = "{name}"\nheight = "{height - 2} cm"\n'
        )
    (tmp_path / "t.toml").write_text(text, encoding="utf-8")
    low, high = read_json("plumbstone bed t.toml", tmp_path)["layers"]
    assert low["settled_l"] == pytest.approx(60 * 24 * 6e-3, rel=3e-3)
    assert high["settled_l"] == pytest.approx(60 * 13 * 6e-3, rel=3e-3)
    assert "Drawn" in type_in("plumbstone bed t.toml", tmp_path).stdout


def test_nothing_lies_behind_a_border_without_soil() -> None:
    bed = solve_bed(FLOOR, [sand(0.02)], [line(0.2, "A", "B")], pair(0.15, 0.014, 0.05, 0.2))
    assert judge_borders((), bed, 998.0) is None
    assert bed.layers[0].passed == pytest.approx(0, abs=2e-5)
