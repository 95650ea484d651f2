"""Tipping of standing stones against arithmetic on stated inputs."""

import json
import math
from pathlib import Path

import pytest
from small_tanks import planned

from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.findings import Severity
from plumbstone.volumes.holding.findings import standing_findings
from plumbstone.volumes.holding.stability import Standing, tip_angle, top_push
from plumbstone.volumes.plan import Plan

TANK = '[tank]\ninside = ["90 cm", "45 cm", "45 cm"]\n'


def test_upright_basalt() -> None:
    # 11 kg, 34 cm; centre of mass 15 cm up, 2.5 cm inside the edge: 9.5°; top push 7.9 N dry
    # and 5.2 N wet (basalt 2900 in fresh water of 997).
    assert tip_angle(0.025, 0.15) == pytest.approx(9.5, abs=0.05)
    weight = 11 * GRAVITY
    assert top_push(weight, 0.025, 0.34) == pytest.approx(7.9, abs=0.05)
    assert top_push(weight * (1 - 997 / 2900), 0.025, 0.34) == pytest.approx(5.2, abs=0.05)


def standing(
    folder: Path, size: tuple[float, float, float], more: str = 'material = "granite"'
) -> Standing:
    """Judge a block with these sides [cm] that stands alone."""
    sides = ", ".join(f'"{side} cm"' for side in size)
    block = f'name = "Block"\nsolid = "box"\nsize = [{sides}]\nat = ["30 cm", "20 cm"]\n{more}\n'
    return planned(folder, f'{TANK}temperature = "25 °C"\n[[piece]]\n{block}').standing[0]


def test_a_block_tips_over_its_shorter_side(tmp_path: Path) -> None:
    # A box tips at atan(half its width / half its height), pushed by m g b / (2 h) at its top.
    found = standing(tmp_path, (10, 6, 30))
    assert found.tip_angle == pytest.approx(tip_angle(0.03, 0.15), abs=1e-6)
    mass = 0.10 * 0.06 * 0.30 * 2650
    assert found.push_dry == pytest.approx(mass * GRAVITY * 0.03 / 0.30, rel=1e-6)
    assert found.upright
    assert found.doubtful
    assert found.to_pane == pytest.approx(0.2 - 0.03, abs=1e-9)


def test_a_flat_stone_is_not_doubtful(tmp_path: Path) -> None:
    found = standing(tmp_path, (20, 15, 5))
    assert not found.upright
    assert not found.doubtful


@pytest.mark.parametrize(
    ("size", "back", "doubtful"), [((14, 14, 8), 14, False), ((6, 6, 20), 8, True)]
)
def test_what_settled_on_a_slope_of_soil_rests_on_it(
    tmp_path: Path, size: tuple[float, float, float], back: int, doubtful: bool
) -> None:
    # On a slope s a box tips at atan(half its width / half its height) - s. Without the soil it
    # would lie on an edge: it was told to fall, and to be settled, which it is.
    settled = (
        'material = "granite"\nrests = "bed"\nsettle = true\n[[layer]]\nmaterial = "sand"\n'
        f'name = "Soil"\nheight = {{ front = "2 cm", back = "{back} cm" }}'
    )
    found = standing(tmp_path, size, settled)
    slope = math.degrees(math.atan2(back - 2, 45))
    alone = tip_angle(size[0] / 2, size[2] / 2)
    # Soil carries it cell by cell, so up to 2 mm within its edge: 1 in 200 of a radian and less.
    assert found.tip_angle == pytest.approx(alone - slope, abs=0.5)
    assert found.lean < 0.5
    assert found.falls_at is None
    assert found.doubtful is doubtful


@pytest.mark.parametrize("tilt", [30, 45])
def test_a_slab_on_its_edge_warns(tmp_path: Path, tilt: int) -> None:
    # Tilted, a box touches the floor along one edge: nothing carries it beside that.
    found = standing(tmp_path, (20, 15, 5), f'material = "granite"\ntilt = {tilt}')
    assert found.tip_angle == pytest.approx(0, abs=1e-6)
    assert found.doubtful


def test_upright_wood_is_judged_like_a_stone(tmp_path: Path) -> None:
    # 3 cm of foot below 30 cm of height: atan(1.5 / 15) = 5.7°; statics.
    found = standing(tmp_path, (3, 10, 30), 'kind = "wood"\nmaterial = "driftwood"')
    found_stone = standing(tmp_path, (3, 10, 30))
    assert found_stone.tip_angle == pytest.approx(5.71, abs=0.01)
    assert found.tip_angle == found_stone.tip_angle
    assert found.doubtful


STACK = (
    '[[piece]]\nname = "{name}"\nmaterial = "granite"\nsolid = "box"\n'
    'size = ["20 cm", "10 cm", "4 cm"]\nat = ["{x} cm", "20 cm"]\nrests = "{rests}"\n'
)


def stacked(folder: Path, *places: float) -> Plan:
    """Blocks of 20 cm on each other, each with its middle at a place along the tank [cm]."""
    names = [f"B{i}" for i in range(len(places))]
    below = ["floor", *names]
    blocks = [
        STACK.format(name=name, x=x, rests=rests)
        for name, x, rests in zip(names, places, below, strict=False)
    ]
    return planned(folder, f'{TANK}water_line = "41 cm"\n' + "".join(blocks))


def test_a_stack_of_blocks_may_overhang_as_the_closed_form_says(tmp_path: Path) -> None:
    # Blocks of length L, from the top down, may reach L/2, L/4, L/6 ... over the one below;
    # derived from the centres of mass (the book-stacking series). A little less of each stands,
    # a little more falls, though each block by itself lies with its middle over the next.
    reaches = [20 / 4, 20 / 2]
    for share, stands in ((0.9, True), (1.06, False)):
        second = 30 + share * reaches[0]
        top = second + min(share, 0.95) * reaches[1]
        plan = stacked(tmp_path, 30, second, top)
        falls = [stone.name for stone in plan.standing if stone.falls_at is not None]
        assert (falls == []) is stands
        assert next(s for s in plan.standing if s.name == "B2").on == ("B1",)


def test_a_far_overhang_and_what_loads_it_are_told_of_the_lower_stone(tmp_path: Path) -> None:
    # A lever: of a slab of 20 cm, its middle 0.8 cm inside the edge and its end 9.2 cm beyond it,
    # 0.8 / 9.2 of its weight tips it; a block of the same mass 6 cm out does.
    slab = stacked(tmp_path, 30, 39.2).standing[1]
    (found,) = standing_findings(slab)
    assert found.how == "overhangs"
    wet = 0.2 * 0.1 * 0.04 * (2650 - 997.05) * GRAVITY
    assert found.numbers["press_n"] == pytest.approx(wet * 0.8 / 9.2, rel=0.15)  # grid of 2 mm
    plan = stacked(tmp_path, 30, 39.2, 45.2)
    told = [f for stone in plan.standing for f in standing_findings(stone)]
    assert [(f.how, f.about, f.where) for f in told] == [("stack", ("B1", "B0"), "B2")]


def test_the_lean_of_a_stacked_block_counts_from_what_is_below(tmp_path: Path) -> None:
    # Middle 10 - 7 = 3 cm inside the edge of the lower block, 2 cm up: atan(3 / 2); statics.
    plan = stacked(tmp_path, 30, 37)
    top = plan.standing[1]
    assert top.tip_angle == pytest.approx(tip_angle(0.03, 0.02), abs=3)  # contacts on a 2 mm grid
    assert not top.doubtful


def test_a_lintel_loads_neither_leg_alone(tmp_path: Path) -> None:
    leg = STACK.replace('"20 cm", "10 cm", "4 cm"', '"8 cm", "10 cm", "12 cm"')
    parts = [leg.format(name=name, x=x, rests="floor") for name, x in (("L", 25), ("R", 37))]
    parts.append(STACK.format(name="Over", x=31, rests="L"))
    assert not any(stone.doubtful for stone in planned(tmp_path, TANK + "".join(parts)).standing)


def test_a_block_beyond_the_edge_of_the_one_below_falls(tmp_path: Path) -> None:
    plan = stacked(tmp_path, 30, 41)
    top = plan.standing[1]
    assert top.doubtful
    assert top.lean > 5


def side_by_side(folder: Path, overlap: float) -> tuple[Standing, ...]:
    """Judge two balls of 8 cm that stand so far [mm] in each other."""
    balls = "".join(
        f'[[piece]]\nname = "{name}"\nsolid = "ellipsoid"\nmaterial = "granite"\n'
        f'size = ["8 cm", "8 cm", "8 cm"]\nat = ["{x:.3f} cm", "20 cm"]\n'
        for name, x in (("One", 20), ("Other", 28 - overlap / 10))
    )
    return planned(folder, TANK + balls).standing


@pytest.mark.parametrize("overlap", [-1, 1, 6, 10])
def test_only_deep_overlaps_are_told(tmp_path: Path, overlap: float) -> None:
    # Two balls whose middles lie 8 cm less the overlap apart are drawn so far into each other.
    stones = side_by_side(tmp_path, overlap)
    deepest = max(stone.through for stone in stones) * 1e3
    assert deepest == pytest.approx(max(overlap, 0), abs=1.5)
    hows = {f.how for stone in stones for f in standing_findings(stone)}
    assert ("drawn through" in hows) is (overlap > 2)
    assert "leans" not in hows
    assert all(f.severity is not Severity.STOP for s in stones for f in standing_findings(s))


def test_a_stone_is_not_blamed_for_what_slides_off_it(tmp_path: Path) -> None:
    stones = (
        '[[piece]]\nname = "Base"\nsolid = "box"\nmaterial = "granite"\n'
        'size = ["30 cm", "20 cm", "12 cm"]\nat = ["40 cm", "20 cm"]\n'
        '[[piece]]\nname = "Top"\nsolid = "box"\nmaterial = "granite"\nrests = "Base"\n'
        'size = ["16 cm", "10 cm", "6 cm"]\nat = ["40 cm", "20 cm"]\ntilt = 50\n'
    )
    base, top = planned(tmp_path, TANK + stones).standing
    assert standing_findings(base) == ()
    assert any("Top" in f.about[0] for f in standing_findings(top))


@pytest.mark.parametrize(("solid", "firm"), [("ellipsoid", False), ("box", True)])
def test_a_round_stone_bears_no_load_beside_its_foot(
    tmp_path: Path, solid: str, firm: bool
) -> None:
    # Moments about the foot: what lies on a ball beside its middle rolls it, whichever flat face
    # of its mesh it stands on. A rigid-body simulation turns these two by 2 and 4°.
    stones = "".join(
        f'[[piece]]\nname = "R{x}"\nmaterial = "granite"\nsolid = "{solid}"\nsettle = true\n'
        f'size = ["{wide} cm", "9 cm", "5.7 cm"]\nat = ["{x} cm", "18 cm"]\n'
        for x, wide in ((23, 8.3), (37, 9.3))
    )
    slab = (
        '[[piece]]\nname = "Slab"\nmaterial = "slate"\nsolid = "box"\nrests = "R23"\n'
        'size = ["25.5 cm", "10.8 cm", "1.5 cm"]\nat = ["33 cm", "18 cm"]\n'
    )
    found = planned(tmp_path, TANK + stones + slab).standing
    assert any(stone.unsure for stone in found) is not firm


@pytest.mark.parametrize("both", [True, False])
def test_slabs_that_lean_on_each_other_may_hold(tmp_path: Path, both: bool) -> None:
    # Two ladders that lean on each other hold where the floor has a friction of half the tangent
    # of their lean, tan 30° / 2 = 0.29: moments about a top (statics). One alone falls.
    slabs = (
        f'[[piece]]\nname = "S{lean}"\nmaterial = "slate"\nsolid = "box"\ntilt = 30\n'
        f'size = ["3 cm", "14 cm", "20 cm"]\nlean = {lean}\nat = ["{x} cm", "18 cm"]\n'
        for lean, x in ((0, 24.0), (180, 36.6))
    )
    found = planned(tmp_path, TANK + "".join(list(slabs)[: 1 + both])).standing
    assert all((stone.falls_at is None) is both for stone in found)
    assert all(stone.unsure for stone in found)


@pytest.mark.parametrize(("beside", "how"), [(True, "aside"), (False, "stack")])
def test_whether_a_slate_that_leans_on_a_block_stays_is_left_open(
    tmp_path: Path, beside: bool, how: str
) -> None:
    # A thin slate of length l, a from upright, on an edge s up along it, pushes there by
    # N = W l sin a / (2 s); its foot then holds from μ = N cos a / (W - N sin a) on, were the edge
    # smooth (statics): 0.2 for 14 cm, 21° and 12.5 cm. It was told to tilt by 17° for sure; a
    # rigid-body simulation moved one of nine such slates. Without the block it falls.
    push = 14.09 * math.sin(math.radians(21)) / 2 / 12.5
    assert push * math.cos(math.radians(21)) / (1 - push * math.sin(math.radians(21))) < 0.21
    block = (
        '[[piece]]\nname = "Block"\nmaterial = "granite"\nsolid = "box"\n'
        'size = ["12 cm", "14 cm", "11.65 cm"]\nat = ["36 cm", "18 cm"]\n'
    )
    slate = (
        '[[piece]]\nname = "Slate"\nmaterial = "slate"\nsolid = "box"\ntilt = 21.01\nlean = 0\n'
        'size = ["2.99 cm", "12 cm", "14.09 cm"]\nat = ["26.66 cm", "18 cm"]\n'
    )
    found = planned(tmp_path, TANK + slate + (block if beside else "")).standing[0]
    assert found.doubtful
    assert [finding.how for finding in standing_findings(found)] == [how]


def slab_over_edge(folder: Path, height: int, material: str) -> Standing:
    """Judge slate of 1.6 kg whose middle lies 3 cm beyond its block: 4.8 kg·cm, in water 3.1 at most.

    A weight of 8 × 10 cm lies on it, 5 cm inside that edge.
    """
    parts = (
        ("Block", "granite", "10 cm", "14 cm", "6 cm", 20, "floor"),
        ("Slab", "slate", "24 cm", "12 cm", "2 cm", 28, 'Block"\nmass = "1.60 kg'),
        ("Weight", "own stone", "8 cm", "10 cm", f"{height} cm", 20, "Slab"),
    )
    text = "".join(
        f'[[piece]]\nname = "{name}"\nmaterial = "{kind}"\nsolid = "box"\n'
        f'size = {json.dumps(size)}\nat = ["{at} cm", "18 cm"]\nrests = "{rests}"\n'
        for name, kind, *size, at, rests in parts
    )
    own = f'[[material]]\nname = "own stone"\nlike = "granite"\ndensity = {material}\n'
    return planned(folder, f"{TANK}{text}{own}").standing[1]


@pytest.mark.parametrize(("height", "stays"), [(8, True), (2, False)])
def test_what_lies_on_a_slab_may_keep_it_as_it_is_drawn(
    tmp_path: Path, height: int, stays: bool
) -> None:
    # Granite: 8.5 kg·cm where it is 8 cm high and 2.1 where it is 2; statics. Both were told to lean.
    slab = slab_over_edge(tmp_path, height, '["2640 kg/m^3", "2660 kg/m^3"]')
    assert not slab.unsure
    assert slab.leans is not stays


@pytest.mark.parametrize(("dense", "falls"), [(2600, False), (2200, True)])
def test_a_stack_falls_only_where_it_does_at_both_ends_of_its_range(
    tmp_path: Path, dense: int, falls: bool
) -> None:
    # 5 cm high and 5 % larger: 5.5 kg·cm at 2600 kg/m³ (3.4 of 3.1 in water), 4.6 at 2200; 4.4 and
    # 4.0 in the middle. Both were told to lean, at middle densities.
    slab = slab_over_edge(tmp_path, 5, f'["1800 kg/m^3", "{dense} kg/m^3"]')
    assert slab.unsure
    assert not slab.leans
    assert (slab.falls_at is not None) is falls


def test_what_lies_on_two_slates_that_lean_on_each_other_may_stay(tmp_path: Path) -> None:
    # Friction holds such an arch: a rigid-body simulation moved it by 0.4 mm and 0.3°. Its cap was told
    # to fall.
    text = "".join(
        f'[[piece]]\nname = "{name}"\nmaterial = "slate"\nsolid = "box"\n'
        f'size = ["3.25 cm", "{wide} cm", "18.62 cm"]\nat = ["{at} cm", "18 cm"]\n'
        f"tilt = 20.67\nlean = {lean}\n"
        for name, wide, at, lean in (("A", 11.32, 25.14, 0), ("B", 10.74, 34.86, 180))
    )
    cap = (
        '[[piece]]\nname = "Cap"\nmaterial = "granite"\nsolid = "slab"\nrests = "A"\n'
        'size = ["9 cm", "9 cm", "3 cm"]\nat = ["30 cm", "18 cm"]\nsettle = true\n'
    )
    found = planned(tmp_path, f"{TANK}{text}{cap}").standing
    assert [(piece.falls_at, piece.unsure) for piece in found] == [(None, True)] * 3
