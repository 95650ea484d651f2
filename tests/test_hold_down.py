"""Groups typed as in a scape file, against arithmetic on stated inputs."""

import math
import os
import time
from pathlib import Path

import numpy as np
import pytest
from commands import read_json, refuse, type_in
from small_tanks import planned

from plumbstone.cli.kept import JUST_NOW
from plumbstone.cli.wording.findings import finding_words
from plumbstone.cli.wording.holding import hold_sentences
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Grid
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.holding.ends import ends_of
from plumbstone.volumes.holding.findings import hold_findings
from plumbstone.volumes.holding.hold_down import HoldResult
from plumbstone.volumes.holding.offers import places_for
from plumbstone.volumes.holding.proof import Doubt
from plumbstone.volumes.layout import Layout, make_plan
from plumbstone.volumes.plan import Plan
from plumbstone.volumes.scape.groups import Group
from plumbstone.volumes.scape.scape import read_scape


def judged(folder: Path, sinkers: str) -> HoldResult:
    """A block 40 × 6 × 6 cm of 1.1 kg that just sinks with 520 g of granite."""
    text = (
        '[tank]\ninside = ["90 cm", "45 cm", "45 cm"]\nwater_line = "41 cm"\n'
        'temperature = "25 °C"\n[[piece]]\nname = "Log"\nkind = "wood"\nsolid = "box"\n'
        'size = ["40 cm", "6 cm", "6 cm"]\nmass = "1.1 kg"\nmaterial = "driftwood"\n'
        'at = ["45 cm", "22 cm"]\n[[group]]\nwood = ["Log"]\n'
        f'just_sinks_with = {{ mass = "520 g", material = "granite" }}\n{sinkers}\n'
    )
    return planned(folder, text).holds[0]


@pytest.mark.parametrize("slack", [0, 5])
def test_a_slack_tie_holds_only_after_it_has_moved(tmp_path: Path, slack: int) -> None:
    # 700 g hold a lift of 324 g (436 g under water), but a slack cord cannot pull in the drawn
    # pose; statics.
    found = judged(
        tmp_path,
        'sinkers = [{ mass = "700 g", material = "granite", how = "standing", '
        f'slack = "{slack} cm", at = ["45 cm", "22 cm", "3 cm"] }}]',
    )
    assert found.stays is (slack == 0)
    assert found.still_held


def test_a_stone_that_has_tipped_the_wood_pulls_with_all_its_weight(tmp_path: Path) -> None:
    found = judged(
        tmp_path,
        'sinkers = [{ mass = "700 g", material = "granite", at = ["26 cm", "22 cm", "3 cm"] }]',
    )
    assert not found.stays
    assert found.group.sinkers[0].how == "hanging"  # as nothing else is said
    # 0.7 kg of 2650 kg/m³ in water of 997.05: 4.282 N.
    assert found.tie_forces[0] == pytest.approx(0.7 * (1 - 997.05 / 2650) * GRAVITY, rel=1e-4)


def test_the_factor_multiplies_the_net_lift(tmp_path: Path) -> None:
    # "Just sinks with 520 g granite" is a lift of 0.52 × (1 - 997.05 / 2650) kg; a sinker of the
    # same stone at the middle, with factor 1.3, is 1.3 × 520 g of the lightest granite (2600).
    # It holds an eighth of an inch beside its place, too: 30 mm from the edge are 30 - 3.175.
    found = judged(tmp_path, 'tie_points = [["45 cm", "22 cm", "3 cm"]]')
    lift = 0.52 * (1 - 997.05 / 2650)
    wanted = 1.3 * lift / (1 - 997.05 / found.sinker_material.density.low) * 30 / (30 - 3.175)
    assert found.balance.asked_sinker == pytest.approx(1.3 * 0.52)
    # Offers are in whole tens of grams, rounded up.
    assert found.offers.best[0].masses[0] == pytest.approx(math.ceil(wanted * 100) / 100)


def test_a_sinker_tied_where_a_reader_is_told_holds(tmp_path: Path) -> None:
    # Places are told to half a centimetre: 390 g at (29.66 cm, 18.19 cm) held, and at
    # (29.5 cm, 18 cm) "can't tell, tie it as below" was the answer.
    text = (
        '[tank]\ninside = ["60 cm", "36 cm", "40 cm"]\nwater_line = "36 cm"\n'
        'temperature = "25 °C"\n[[piece]]\nname = "Wood"\nkind = "wood"\n'
        'material = "driftwood"\nsolid = "slab"\nsize = ["16.89 cm", "6.77 cm", "6.31 cm"]\n'
        'seed = 48\nat = ["29.66 cm", "18.19 cm"]\nturn = 171.9\n[[group]]\nwood = ["Wood"]\n'
    )
    offer = planned(tmp_path, text).holds[0].offers.best[0]
    (mass,), (at,), (how,) = offer.masses, offer.points, offer.hows
    told = ", ".join(f'"{round(metres * 200) / 2} cm"' for metres in at)
    sinker = f'mass = "{mass * 1e3:.0f} g", material = "granite", how = "{how}", at = [{told}]'
    assert planned(tmp_path, f"{text}sinkers = [{{ {sinker} }}]\n").holds[0].stays


TANK = (
    '[tank]\ninside = ["120 cm", "50 cm", "50 cm"]\nwater_line = "46 cm"\ntemperature = "20 °C"\n'
)
WOOD = (
    '[[piece]]\nname = "{name}"\nkind = "wood"\nsolid = "box"\nmaterial = "driftwood"\n'
    'size = ["{x} cm", "{y} cm", "{z} cm"]\nmass = "{mass} kg"\nat = ["{at} cm", "25 cm"]\n{more}\n'
)
STONE = (
    '[[piece]]\nname = "{name}"\nsolid = "box"\nmaterial = "granite"\n'
    'size = ["{x} cm", "{y} cm", "{z} cm"]\nat = ["{at} cm", "25 cm"]\n{more}\n'
)


def plan_of(folder: Path, *parts: str) -> Plan:
    return planned(folder, TANK + "".join(parts))


def wood(
    name: str, size: tuple[float, float, float], mass: float, at: float, more: str = ""
) -> str:
    x, y, z = size
    return WOOD.format(name=name, x=x, y=y, z=z, mass=mass, at=at, more=more)


def stone(name: str, size: tuple[float, float, float], at: float, more: str = "") -> str:
    x, y, z = size
    return STONE.format(name=name, x=x, y=y, z=z, at=at, more=more)


def hold_of(folder: Path, *parts: str) -> HoldResult:
    return plan_of(folder, *parts).holds[0]


def tied(*sinkers: str, wood: str = '"Log"', more: str = "") -> str:
    """Write a group with some sinkers."""
    return f"[[group]]\nwood = [{wood}]\nsinkers = [{', '.join(sinkers)}]\n{more}\n"


def hung(what: str, x: float, z: float, how: str = "hanging") -> str:
    """Write granite of a mass, or a stone by its name, at a place of the wood [cm]."""
    what = f'mass = "{what}", material = "granite"' if what[0].isdigit() else f'stone = "{what}"'
    return f'{{ {what}, how = "{how}", at = ["{x} cm", "25 cm", "{z} cm"] }}'


LOG = wood("Log", (40, 6, 6), 1.1, 45)


def test_half_depth_tips_what_dry_and_full_depth_hold(tmp_path: Path) -> None:
    """A foot of 20 × 10 × 5 cm (700 g) carries a limb of 50 × 4 × 4 cm (790 g) that overhangs.

    About the right edge of the foot, in kg cm; sinker 1.2 kg granite 12 cm from it. Dry: foot
    0.7 × 10 + sinker 1.2 × 12 = 21.4 against limb 0.79 × 20 = 15.8: stays. Water at 5 cm: foot
    -0.3 × 10, sinker 0.75 × 12: 6 against 15.8: tips right. Full: the limb hangs in the water.
    """
    parts = wood("Foot", (20, 10, 5), 0.7, 30), wood("Limb", (50, 4, 4), 0.79, 60, 'rests = "Foot"')
    hold = hold_of(tmp_path, *parts, tied(hung("1.2 kg", 28, 2, "standing"), wood='"Foot", "Limb"'))
    assert not hold.moves[0]
    assert hold.moves[(hold.levels > 0.05) & (hold.levels < 0.06)].all()
    assert not hold.moves[hold.levels > 0.10].any()
    assert hold.first_move is not None
    assert hold.first_move.manner == "tips up at its left end"
    edge = np.array(hold.first_move.edge)
    assert edge[:, 0] == pytest.approx(0.40, abs=0.003)  # the right edge of the foot
    assert sorted(edge[:, 1]) == pytest.approx([0.20, 0.30], abs=0.003)


def test_wood_in_no_group_is_judged_too(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, LOG)
    assert [hold.group.name for hold in plan.holds] == ["Log"]
    assert not plan.holds[0].stays
    # A cuboid of 0.764 times the density of the water lifts off where it is wet so far up.
    share = 1.1 / (0.4 * 0.06 * 0.06 * 998.2)
    assert plan.holds[0].moves_at == pytest.approx(share * 0.06, abs=0.46 / 40 * 1.3)


def test_a_stone_tied_to_wood_is_strapped_to_it(tmp_path: Path) -> None:
    slab = stone("Slab", (10, 10, 4), 45, 'tied_to = ["Log"]\nrests = "Log"')
    hold = hold_of(tmp_path, LOG, slab)
    assert [(s.stone, s.how) for s in hold.group.sinkers] == [("Slab", "strapped")]
    # 0.4 L of granite, less its water, against 0.34 kg of lift.
    assert hold.stays


@pytest.mark.parametrize("apart", [12.0, 3.5, 0.5])
def test_no_strap_holds_a_stone_that_it_does_not_touch(tmp_path: Path, apart: float) -> None:
    # The block begins at 25 cm, the stone of 10 cm ends so far before it.
    log = wood("Log", (40, 6, 6), 1.2, 45, 'tied_to = ["A"]')
    hold = plan_of(tmp_path, log, stone("A", (10, 10, 10), 20 - apart)).holds[0]
    found = [f for f in hold_findings(hold) if f.how == "apart"]
    assert bool(found) is (apart > 2)
    for finding in found:
        assert finding.about == ("Log", "A")
        assert finding.number("apart_m") == pytest.approx(apart / 100, abs=5e-3)
        assert not hold.stays
        assert not hold.offers.best


def test_a_stone_that_lies_on_wood_holds_it_and_may_roll_off(tmp_path: Path) -> None:
    hold = hold_of(tmp_path, LOG, stone("Slab", (10, 10, 6), 45, 'rests = "Log"'))
    assert hold.carries == ("Slab",)
    assert hold.first_move is None
    # Slab 0.6 L × (2650 - 998.2) = 0.99 kg in water less the lift of 0.337 kg, middle values;
    # the unlucky ends of both ranges lie below that.
    assert 0.3 < hold.margin < 0.99 - 0.337


def test_draining_soaked_wood_tips_what_filling_held(tmp_path: Path) -> None:
    """A limb of 60 cm, 1.8 L, lies with a third of it on a stone that ends at x = 40 cm.

    About that edge, in kg cm: 1.5 kg × 10 against 2 kg of granite × 10 strapped on; full of
    water the limb has 1.8 L × (998.2 + 0.833 × 352) kg/m³ = 2.3 kg, which tips it once both
    hang in air.
    """
    limb = wood("Limb", (60, 5, 6), 1.5, 50, 'rests = "Base"')
    group = tied(hung("2 kg", 30, 23, "strapped"), wood='"Limb"')
    hold = hold_of(tmp_path, stone("Base", (20, 10, 20), 30), limb, group)
    assert hold.moves_at is None
    assert hold.drained_move is not None
    assert hold.drained_move.manner == "tips over by its own weight, down at its right end"
    assert 0.17 < hold.drained_move.level < 0.26  # before the limb is bare


def test_stones_at_hand(tmp_path: Path) -> None:
    hand = "".join(
        f'[[at_hand]]\nname = "{n}"\nmaterial = "granite"\nmass = "{m} kg"\n'
        for n, m in (("Small", 0.4), ("Right", 0.9), ("Large", 2.0))
    )
    assert hold_of(tmp_path, LOG, hand).offers.best[0].total < 5
    more = (
        'just_sinks_with = { mass = "520 g", material = "granite" }\n'
        'tie_points = [["45 cm", "25 cm", "3 cm"], ["30 cm", "25 cm", "3 cm"]]'
    )
    best = hold_of(tmp_path, LOG, tied(more=more), hand).offers.best
    # 1.3 × 520 g at the middle; two sinkers would not be lighter.
    assert [len(offer.masses) for offer in best] == [1]
    assert best[0].points[0][0] == pytest.approx(0.45)
    assert best[0].stones == ("Right",)


def test_a_stone_at_hand_may_be_too_heavy(tmp_path: Path) -> None:
    # Levers, dry: a plank of 1.3 kg lies on a pier from 38 to 52 cm, its middle at 45. 12 kg 2 cm
    # beyond an edge pull with 24 kg cm about it; the plank (7 cm) and 0.7 kg 2 cm beyond the other
    # (16 cm) bear 20. Stones of 600 and 700 g balance; so do 700 g and 12 kg over the edge.
    def at_hand(*masses: float, left: int) -> tuple[str, ...]:
        plan = plan_of(
            tmp_path,
            wood("Plank", (50, 8, 4), 1.3, 45, 'rests = "Pier"\n'),
            stone("Pier", (14, 14, 22), 45),
            '[[group]]\nwood = ["Plank"]\n'
            f'tie_points = [["54 cm", "25 cm", "24 cm"], ["{left} cm", "25 cm", "22 cm"]]\n',
            *(f'[[at_hand]]\nname = "{m}"\nmaterial = "granite"\nmass = "{m} kg"\n'
              for m in masses),
        )  # fmt: skip
        (offer,) = plan.holds[0].offers.best
        assert len(offer.masses) == 2
        return offer.stones

    assert set(at_hand(0.7, 0.6, left=38)) == {"0.6", "0.7"}
    assert at_hand(0.7, 12, left=38) == ("0.7", "12")  # the other way round it tips
    assert at_hand(0.7, 12, left=36) == ()


def test_round_wood_is_strapped_to_what_it_lies_on(tmp_path: Path) -> None:
    # A round log on two piers is held by no cord (it rolls); strapped to both it is one with 9 kg.
    log = (
        '[[piece]]\nname = "Log"\nmaterial = "driftwood"\nat = ["45 cm", "25 cm"]\n'
        'limbs = [{ length = "60 cm", girth = ["22 cm", "22 cm"] }]\n'
    )
    piers = stone("A", (12, 14, 10), 25), stone("B", (12, 14, 10), 65)
    offers = plan_of(tmp_path, *piers, log, 'rests = "A"\n').holds[0].offers
    assert not offers.best
    assert offers.strapping is not None
    assert offers.strapping.stones == ("A", "B")
    assert plan_of(tmp_path, *piers, log, 'rests = "A"\ntied_to = ["A", "B"]\n').holds[0].stays
    # On the glass it takes a flat stone, whose pull in water (Archimedes) is 1.3 times the lift.
    hold = plan_of(tmp_path, log).holds[0]
    flat = hold.offers.strapping
    assert flat is not None
    assert math.prod(flat.size_m) * (2700 - 997.0) >= 1.3 * hold.balance.lift.high
    at, size = (", ".join(f'"{v * 100:.1f} cm"' for v in part) for part in (flat.at_m, flat.size_m))
    slab = (
        f'[[piece]]\nname = "Flat stone"\nmaterial = "slate"\nsolid = "slab"\nat = [{at}]\n'
        f"size = [{size}]\n"
    )
    tied = 'rests = "Flat stone"\ntied_to = ["Flat stone"]\n'
    assert plan_of(tmp_path, log, tied, slab).holds[0].stays
    # What falls over dry is strapped to nothing: one strap is a hinge.
    steep = log.replace(
        'length = "60 cm"', 'path = [["0 cm", "0 cm", "0 cm"], ["20 cm", "0 cm", "30 cm"]]'
    )
    assert plan_of(tmp_path, steep).holds[0].offers.strapping is None


def test_no_stone_hangs_where_another_piece_lies_below(tmp_path: Path) -> None:
    # A bar of 24 cm on one of 40 cm: below each of its ends the lower bar is in the way.
    low = (
        '[[group]]\nname = "Low"\nwood = ["Low"]\nsinkers = [{ mass = "3 kg", material = "slate", '
    )
    low += 'how = "strapped", at = ["45 cm", "25 cm", "1 cm"] }]\n'
    plan = plan_of(
        tmp_path,
        wood("Low", (40, 14, 6), 2.8, 45),
        wood("High", (24, 10, 5), 1.0, 45, 'rests = "Low"\n'),
        low,
    )
    high = next(hold for hold in plan.holds if hold.group.name == "High")
    assert high.offers.best
    assert {how for offer in high.offers.best for how in offer.hows} == {"strapped"}


def test_no_mass_at_the_named_point_holds_it(tmp_path: Path) -> None:
    # At the very end of the log any sinker leaves the moment of B-D1, whatever it weighs.
    points = 'tie_points = [["25 cm", "25 cm", "3 cm"]]'
    assert hold_of(tmp_path, LOG, tied(more=points)).offers.best == ()


def test_a_twig_is_judged_too(tmp_path: Path) -> None:
    assert not hold_of(tmp_path, wood("Twig", (20, 0.03, 0.03), 0.00001, 45)).stays


def test_wood_denser_than_full_of_water_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PlumbstoneError, match="denser than any wood"):
        plan_of(tmp_path, wood("Log", (40, 6, 6), 2.4, 45))


def test_burial_is_the_prism_over_the_stone(tmp_path: Path) -> None:
    # U-2: b = 10 cm, H = 8 cm, γ' = 9.719 kN/m³ (n = 0.40, grains 2650, water 998.2): 7.775 N.
    own = (
        '[[material]]\nname = "test sand"\nlike = "sand"\ngrain_density = "2650 kg/m^3"\n'
        'bulk_density = "1590 kg/m^3"\n'
    )
    layer = '[[layer]]\nname = "Sand"\nmaterial = "test sand"\ndepth = "13 cm"\n'
    pieces = wood("Log", (40, 6, 6), 1.1, 70, 'rests = "bed"'), stone("Base", (10, 10, 5), 40)
    hold = hold_of(tmp_path, *pieces, own, layer, tied(hung("Base", 70, 14, "standing")))
    assert hold.burial * GRAVITY == pytest.approx(7.775, rel=2e-3)


def test_default_tie_points(tmp_path: Path) -> None:
    """Limb ends in the soil come first, then the crotch of a fork, from its mesh alone."""
    fork = (
        '[[piece]]\nname = "Fork"\nkind = "wood"\nmaterial = "driftwood"\nat = ["60 cm", "25 cm"]\n'
        'limbs = [{ path = [["0 cm", "0 cm", "0 cm"], ["0 cm", "0 cm", "15 cm"], '
        '["10 cm", "0 cm", "30 cm"]], girth = ["12 cm", "8 cm"] }, { path = [["0 cm", "0 cm", '
        '"15 cm"], ["-10 cm", "0 cm", "30 cm"]], girth = ["10 cm", "8 cm"] }]\n'
    )
    (bare,) = plan_of(tmp_path, fork).bodies
    group, grid = Group("Fork", ("Fork",)), Grid.of_spacing(1.2, 0.5, 0.01)
    flat = np.zeros((grid.ny, grid.nx))
    found = {why: points for points, why in places_for(group, [bare.piece], flat, grid)}
    assert list(found)[:2] == ["limbs below the soil line", "the lowest crotch"]
    assert not len(found["limbs below the soil line"])
    assert found["the lowest crotch"][0] == pytest.approx([0.60, 0.25, 0.17], abs=0.03)
    layer = '[[layer]]\nname = "Sand"\nmaterial = "sand"\ndepth = "6 cm"\n'
    deep = plan_of(tmp_path, fork, layer)
    assert deep.bed is not None
    points, why = next(
        iter(places_for(group, [deep.bodies[0].piece], deep.bed.soil_line, deep.bed.grid))
    )
    assert why == "limbs below the soil line"
    assert points[0] == pytest.approx([0.60, 0.25, 0.0], abs=0.025)


def test_a_log_with_dates_and_both_ways_of_weighing(tmp_path: Path) -> None:
    """Weighed in air and water on one day, the volume needs no form: (1.35 - 0.10) / 0.9982 L."""
    entries = ", ".join(
        [
            '{ date = 2026-03-01, mass = "1100 g" }',
            '{ date = 2026-03-08, mass = "1250 g" }',
            '{ date = 2026-03-22, mass = "1350 g" }',
            '{ date = 2026-03-22, mass = "100 g", weighed = "water" }',
        ]
    )
    soaking = hold_of(tmp_path, LOG, tied(more=f"log = [{entries}]")).soaking
    assert soaking is not None
    assert soaking.neutral_kg == pytest.approx(1.25, abs=1e-4)
    assert soaking.sinks


def test_commands_for_wood(tmp_path: Path) -> None:
    """The picture, the spread and the log as a user types them; a second run gives the same."""
    (tmp_path / "t.toml").write_text(TANK + LOG, encoding="utf-8")
    done = type_in("plumbstone hold t.toml --picture p.png", tmp_path)
    assert done.returncode == 0, done.stderr
    assert "lifts off whole" in done.stdout
    assert (tmp_path / "p.png").read_bytes()[:4] == b"\x89PNG"
    found = read_json("plumbstone hold t.toml --spread", tmp_path)
    assert found == read_json("plumbstone hold t.toml --spread", tmp_path)
    low, *_, high = found["holds"][0]["spread"]["least_sinker_g"]
    assert 0 < low < found["holds"][0]["least_sinker_g"]["mid"] < high
    (tmp_path / "log.csv").write_text(
        "date,grams,weighed\n0,1100,air\n7,1250,air\n21,1350,air\n21,100,water\n", encoding="utf-8"
    )
    with_log = read_json("plumbstone hold t.toml --log log.csv", tmp_path)
    # The tank is at 20 °C: (1350 - 100) g is what it displaces.
    assert with_log["holds"][0]["soaking"]["neutral_kg"] == pytest.approx(1.25, abs=1e-6)


def test_a_log_as_a_spreadsheet_writes_it_where_commas_are_decimal(tmp_path: Path) -> None:
    found = []
    for name, part, point in (("a.csv", ",", "."), ("b.csv", ";", ",")):
        rows = (("date", "grams", "weighed"), ("2026-09-01", f"820{point}5", "air"),
                ("2026-09-08", "905", "air"), ("2026-09-22", "968", "air"))  # fmt: skip
        (tmp_path / name).write_text("\n".join(map(part.join, rows)), encoding="utf-8")
        line = f'plumbstone hold --wood-mass "820.5 g" --log {name}'
        found.append(read_json(line, tmp_path)["holds"][0]["soaking"])
    assert found[0] == found[1]


def test_a_log_begins_with_one_weighing(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(TANK + LOG, encoding="utf-8")
    (tmp_path / "log.csv").write_text("date,grams\n2026-03-01,1100\n", encoding="utf-8")
    told = type_in("plumbstone hold t.toml --log log.csv", tmp_path).stdout
    assert "one weighing tells no trend; weigh it again after a week." in " ".join(told.split())


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("day,mass\n1,2", "name the columns"),
        ("date,grams\n2026-03-01,1100\n2026-03-09,1000", "falls from 1100 g to 1000 g"),
        ("date,grams\n2026-03-01,1100\n2026-03-09,2900", "more than this volume can hold"),
        ("date,grams\nyesterday,1100", "line 2: date"),
        ("date,grams\n2026-03-01,a lot", "line 2: grams"),
        ("date,grams,group\n2026-03-01,1100,Twig", '"Twig" is no group'),
    ],
)
def test_logs_that_cannot_be_right(tmp_path: Path, lines: str, words: str) -> None:
    (tmp_path / "t.toml").write_text(TANK + LOG, encoding="utf-8")
    (tmp_path / "log.csv").write_text(lines + "\n", encoding="utf-8")
    assert words in refuse("plumbstone hold t.toml --log log.csv", tmp_path)


@pytest.mark.parametrize(("inside", "stays"), [(0.14, False), (1.0, True)])
def test_no_middle_of_mass_is_known_to_a_millimetre(
    tmp_path: Path, inside: float, stays: bool
) -> None:
    # The middles of wood and strapped stone lie 1.4 mm within the edge of what carries them, which
    # is counted on from 0.5 mm within: 1 mm aside they lie beyond it.
    log = wood("Log", (22, 10, 6), 1.1, 50, 'rests = "Slab"')
    sinker = tied(hung("1.5 kg", 50, 6, "strapped"))
    hold = hold_of(tmp_path, stone("Slab", (14, 14, 6), 43 + inside), log, sinker)
    assert hold.stays is stays, hold.doubts


@pytest.mark.parametrize(("grams", "stays"), [(660, False), (750, True)])
def test_what_just_holds_does_not_stay(tmp_path: Path, grams: int, stays: bool) -> None:
    # It just sinks with 520 g: 660 g are 1.27 times that, 750 g are 1.44 times; asked 1.3.
    hold = judged(
        tmp_path,
        f'sinkers = [{{ mass = "{grams} g", material = "granite", at = ["45 cm", "22 cm", '
        '"3 cm"] }]',
    )
    assert hold.stays is stays
    assert hold.first_move is None
    assert (Doubt.SHORT in hold.doubts) is not stays


def test_lava_counts_at_its_light_end(tmp_path: Path) -> None:
    # 1.35 kg of lava: 515 g of weight under water at 1600 kg/m³, 315 g at 1300; asked 1.3 × 324 g.
    hold = judged(
        tmp_path,
        'sinkers = [{ mass = "1350 g", material = "lava rock", at = ["45 cm", "22 cm", "3 cm"] }]',
    )
    assert hold.balance.spare.mid > 0.15
    assert not hold.stays


SLAB = stone("Slab", (12, 10, 4), 45, 'rests = "floor"')


def test_a_stone_is_counted_once(tmp_path: Path) -> None:
    """On one tie, on two, and in two groups: together it never weighs more than it does."""
    log = wood("Log", (40, 6, 6), 1.1, 75)
    at = [hung("Slab", x, 1) for x in (70, 80)]
    one = hold_of(tmp_path, SLAB, log, tied(at[0]))
    assert one.balance.hung == pytest.approx(0.48e-3 * 2650)
    # Named twice it is refused; the file is the place to say which tie it hangs on.
    with pytest.raises(PlumbstoneError, match="holds once"):
        hold_of(tmp_path, SLAB, log, tied(*at))
    other = wood("Twin", (20, 4, 3), 0.15, 20)
    twice = tied(hung("Slab", 20, 1), wood='"Twin"')
    with pytest.raises(PlumbstoneError, match="holds once"):
        plan_of(tmp_path, SLAB, log, other, tied(at[0]) + twice)


def test_wood_tied_to_one_stone_moves_as_one(tmp_path: Path) -> None:
    logs = (
        wood(name, (40, 6, 6), 1.1, at, 'tied_to = ["Slab"]')
        for name, at in (("Log", 25), ("Twin", 95))
    )
    plan = plan_of(tmp_path, stone("Slab", (12, 10, 4), 60), *logs)
    (hold,) = plan.holds
    assert hold.group.wood == ("Log", "Twin")
    assert hold.balance.hung == pytest.approx(plan.bodies[0].mass.mid)


def test_a_stone_strapped_to_two_groups_is_refused(tmp_path: Path) -> None:
    strapped = '{ stone = "Slab", how = "strapped" }'
    logs = (wood(name, (40, 6, 6), 1.1, at) for name, at in (("Log", 25), ("Twin", 95)))
    groups = (tied(strapped, wood=f'"{name}"') for name in ("Log", "Twin"))
    with pytest.raises(PlumbstoneError, match="holds once"):
        plan_of(tmp_path, stone("Slab", (12, 10, 4), 60), *logs, *groups)


def test_what_lies_on_an_overhang_pulls_it_down(tmp_path: Path) -> None:
    """2 kg on the free end of a limb that overhangs its stone tip it, dry; statics.

    The limb lies on a stone that ends at x = 40 cm: about that edge, 2 kg × 20 cm against its
    own 1.5 kg × 5 cm.
    """
    parts = stone("Base", (20, 10, 10), 30), wood("Log", (60, 6, 6), 1.5, 35, 'rests = "Base"')
    over = hold_of(tmp_path, *parts, tied(hung("2 kg", 60, 16, "laid on")))
    assert over.verdict == "moves"
    assert over.moves_at == 0
    back = hold_of(tmp_path, *parts, tied(hung("2 kg", 28, 16, "laid on")))
    assert back.first_move is None or back.first_move.level > 0


@pytest.mark.parametrize(("tilt", "stays"), [(0, True), (50, False)])
def test_wood_on_a_steep_face_does_not_stay(tmp_path: Path, tilt: int, stays: bool) -> None:
    # Wet wood slides on a face of 50°: tan 50° = 1.19 is beyond any friction of wood on stone.
    log = wood("Log", (16, 10, 6), 1.15, 60, f'rests = "Base"\ntilt = {tilt}\nlean = 0')
    sinker = tied(hung("900 g", 60, 16, "strapped"))
    assert hold_of(tmp_path, stone("Base", (30, 20, 12), 60), log, sinker).stays is stays


def test_a_stone_aside_is_no_vertical_tie(tmp_path: Path) -> None:
    """A stone of 1.3 kg below the middle holds; 30 cm aside the same stone drags it along."""
    anchor = stone("Anchor", (10, 8, 6), 60).replace('"25 cm"]', '"44 cm"]')
    log = wood("Log", (24, 10, 4), 0.75, 60, 'rests = "floor"')
    aside = hold_of(tmp_path, anchor, log, tied(hung("Anchor", 60, 4, "standing")))
    assert not aside.stays
    (tie,) = aside.ties
    assert tie.to == "Anchor"
    assert abs(tie.direction[1]) > 0.8  # it runs along, not down
    # A stone on the glass slides before a flat tie pulls harder; 1.27 kg are 7.8 N in water.
    assert aside.greatest_ties[0] <= 0.48e-3 * 2650 * GRAVITY
    assert hold_of(tmp_path, log, tied(hung("1.3 kg", 60, 2))).stays


@pytest.mark.parametrize(
    ("how", "height"), [("hanging", 0.0), ("laid on", 0.06), ("strapped", 0.0)]
)
def test_a_tie_without_a_place_is_said_and_lies_on_the_wood(
    tmp_path: Path, how: str, height: float
) -> None:
    hold = hold_of(tmp_path, LOG, tied(f'{{ mass = "2 kg", material = "granite", how = "{how}" }}'))
    ((_, place),) = hold.assumed
    # A stone lies over the middle of a log, and hangs from that of its level underside: it was
    # taken to be at a corner.
    middle = hold.stage.wood_of(0)[0].piece.vertices.mean(axis=0)
    assert place == pytest.approx((*middle[:2], height), abs=1e-9)
    assert any("no place is given" in line for line in hold_sentences(hold, Units.METRIC))


@pytest.mark.parametrize("friction", [None, 0.05])
def test_offers_are_what_a_hand_lifts(tmp_path: Path, friction: float | None) -> None:
    more = "" if friction is None else f"friction = {friction}"
    hold = hold_of(tmp_path, wood("Log", (40, 6, 6), 0.5, 45), tied(more=more))
    for offer in hold.offers.best:
        assert min(offer.masses) >= 0.1
        assert max(offer.masses) <= 5
        assert all(round(mass * 100) == pytest.approx(mass * 100) for mass in offer.masses)


def test_feet_are_no_longer_than_they_are(tmp_path: Path) -> None:
    """A block tilted by 2° touches along one edge; its weight lies 5 cm beside it: it falls.

    With contacts to 3 mm its foot would reach 3 mm / tan 2° = 8.6 cm.
    """
    hold = hold_of(tmp_path, wood("Log", (20, 10, 6), 1.1, 45, "tilt = 2\nlean = 0"))
    assert hold.lean == pytest.approx(2, abs=0.01)
    assert not hold.stays


def test_wood_that_hangs_between_sinking_and_floating_does_not_stay_untied(tmp_path: Path) -> None:
    # 1.44 L by tape of 1.5 kg: it may weigh 60 g under water, or lift; 75 g more are asked for.
    hold = hold_of(tmp_path, wood("Log", (40, 6, 6), 1.5, 45))
    assert hold.balance.lift.low < 0
    assert not hold.stays
    heavy = wood("Log", (40, 6, 6), 1.72, 45).replace("driftwood", "mopane wood")
    assert hold_of(tmp_path, heavy).stays


def test_what_is_drawn_into_each_other_is_not_judged_as_held(tmp_path: Path) -> None:
    # The log lies on the floor, 6 cm high, and a block of 5 cm stands where it is.
    hold = hold_of(tmp_path, stone("Block", (8, 8, 5), 45), wood("Log", (40, 6, 6), 1.85, 45))
    assert Doubt.THROUGH in hold.doubts
    assert not hold.stays


def at_the_pane(folder: Path, gap: float, more: str = "") -> HoldResult:
    """A limb whose top comes so near [mm] to the back pane, over a foot far from it."""
    limb = (  # heavier than the water, so that only its own weight moves it
        '[[piece]]\nname = "Limb"\nkind = "wood"\nmaterial = "driftwood"\nmass = "{:.3f} kg"\nlimbs = [{{ path = '
        '[["0 cm", "0 cm", "2 cm"], ["0 cm", "12 cm", "28 cm"]], girth = ["14 cm", "8 cm"] }}]\n'
        'at = ["60 cm", "{:.3f} cm"]\n'
    )
    (body,) = plan_of(folder, limb.format(0.25, 25)).bodies
    back = float(body.piece.vertices[:, 1].max())
    at = 25 + (0.5 - back) * 100 - gap / 10
    return hold_of(folder, limb.format(body.mesh_volume * 1100, at), more)


@pytest.mark.parametrize(("gap", "verdict"), [(1, "unsure"), (20, "moves")])
def test_a_pane_never_holds_wood(tmp_path: Path, gap: float, verdict: str) -> None:
    """A limb that would fall over backwards leans on the pane: that may hold it, or may not."""
    hold = at_the_pane(tmp_path, gap)
    assert hold.verdict == verdict
    assert (Doubt.PANE in hold.doubts) is (gap == 1)
    told = " ".join(hold_sentences(hold, Units.METRIC))
    assert ("near the back pane" in told) is (gap == 1)


def test_what_stays_without_its_pane_stays_beside_it(tmp_path: Path) -> None:
    strapped = 'mass = "1.5 kg", material = "granite", how = "strapped"'
    log = LOG.replace('"25 cm"]', '"46.95 cm"]')
    hold = hold_of(tmp_path, log, tied(f'{{ {strapped}, at = ["45 cm", "47 cm", "1 cm"] }}'))
    assert hold.stage.resting[0].panes() == ("back",)
    assert hold.stays


def test_an_offer_says_what_stays_on(tmp_path: Path) -> None:
    """100 g are strapped on: what is offered comes on top of them."""
    strapped = tied(hung("100 g", 45, 1, "strapped"))
    hold = hold_of(tmp_path, wood("Log", (40, 6, 6), 1.44, 45), strapped)
    total = hold.offers.best[0].total + 0.1
    assert total >= hold.balance.asked_sinker
    told = " ".join(hold_sentences(hold, Units.METRIC))
    assert "stays on" in told
    assert "in place of" not in told


def test_upright_wood_is_judged_with_what_is_strapped_to_it(tmp_path: Path) -> None:
    """A post that would tip by itself stands on the slab that is strapped below its middle."""
    post = wood("Post", (5, 5, 30), 0.55, 45)
    plan = plan_of(tmp_path, post, tied(hung("900 g", 45, 1, "strapped"), wood='"Post"'))
    assert plan.holds[0].stays
    assert not [s for s in plan.standing if s.name == "Post"]


@pytest.mark.parametrize(("at", "tips"), [(48, False), (52.5, True), (58, False)])
def test_a_stone_that_hangs_on_its_cord_beside_a_foot_tips_it(
    tmp_path: Path, at: float, tips: bool
) -> None:
    """A block of 1.05 kg overhangs a slab that ends at x = 52 cm; 2 kg stand on a taut cord.

    Tied too tight they hang. About that edge, in kg cm: 2 × 0.5 against 1.05 × 2 do not tip it
    dry; with 6 cm more water, which carries the block, 1.25 × 0.5 do. Over the slab they press it
    down, and 6 cm off a hair's breadth sets the stone on the floor.
    """
    log = wood("Log", (22, 10, 6), 1.05, 50, 'rests = "Slab"')
    hold = hold_of(
        tmp_path, stone("Slab", (14, 14, 6), 45), log, tied(hung("2 kg", at, 6, "standing"))
    )
    assert hold.stays is (at == 48)
    assert (hold.first_move is not None and hold.first_move.doubtful) is tips


@pytest.mark.parametrize(("mass", "stays"), [(0.6, True), (2.0, False)])
def test_of_two_stones_that_hang_one_may_be_wet_and_one_dry(
    tmp_path: Path, mass: float, stays: bool
) -> None:
    """A log of 1.1 kg over a slab from x = 43 to 47 cm; a stone hangs 15 cm off to either side.

    Nobody said how long their cords are. About an edge, in kg cm: a dry stone of granite, m × 13,
    against the other under water, 0.62 m × 17, and the log, 1.1 × 2: it tips from m = 0.9 kg on.
    """
    stones = tied(*(hung(f"{mass} kg", x, 10, "hanging") for x in (30, 60)))
    log = wood("Log", (40, 6, 6), 1.1, 45, 'rests = "Slab"')
    hold = hold_of(tmp_path, stone("Slab", (4, 14, 10), 45), log, stones)
    assert hold.stays is stays, hold.doubts


def test_hold_and_plan_say_the_same(tmp_path: Path) -> None:
    """One verdict, the same figures and the same lines, whichever command is asked."""
    parts = (LOG, wood("Twin", (30, 5, 5), 0.7, 85, "tilt = 20"))
    (tmp_path / "t.toml").write_text(TANK + "".join(parts), encoding="utf-8")
    alone, whole = (read_json(f"plumbstone {c} t.toml --json", tmp_path) for c in ("hold", "plan"))
    assert alone["holds"] == whole["holds"]
    assert [hold["verdict"] for hold in alone["holds"]] == ["moves", "moves"]
    told = {finding["text"] for finding in whole["findings"]}
    plan = make_plan(read_scape(tmp_path / "t.toml"))
    for hold in plan.holds:
        for finding in hold_findings(hold):
            assert finding_words(finding, Units.METRIC) in told
    spoken = " ".join(type_in("plumbstone hold t.toml", tmp_path).stdout.split())
    assert all(words in spoken for words in told if words.startswith(("Log", "Twin")))


def test_the_density_of_wood_that_was_not_weighed_is_not_told(tmp_path: Path) -> None:
    quick = "plumbstone hold --just-sinks-with '520 g granite'"
    assert "density" not in type_in(quick, tmp_path).stdout
    assert read_json(quick, tmp_path)["holds"][0]["density_kg_per_m3"] is None
    # 1.1 kg that lift 0.324 kg: 1.1 / 1.424 of the water.
    weighed = read_json(quick + " --wood-mass '1.1 kg'", tmp_path)["holds"][0]
    assert weighed["density_kg_per_m3"]["mid"] == pytest.approx(997.05 * 1.1 / 1.4244, rel=1e-3)


@pytest.fixture
def mapped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A log on a mapped bed; files that were there before any run began."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "map.csv").write_text("3,3\n3,3\n", encoding="utf-8")
    put_scape(tmp_path, 40)
    return tmp_path


def put_scape(folder: Path, long: int) -> None:
    (folder / "t.toml").write_text(
        '[tank]\ninside = ["46 cm", "14 cm", "24 cm"]\nwater_line = "20 cm"\n[[piece]]\n'
        f'name = "Log"\nkind = "wood"\nsolid = "box"\nsize = ["{long} cm", "6 cm", "6 cm"]\n'
        'material = "driftwood"\nrests = "bed"\nat = ["23 cm", "7 cm"]\n[[layer]]\n'
        'material = "sand"\nheight = { map = "map.csv" }\n',
        encoding="utf-8",
    )
    age(folder)


def age(folder: Path) -> None:
    """Wait until what was written lies clearly before the next run."""
    newest = max(path.stat().st_ctime for path in folder.glob("*.*"))
    while time.time() < newest + 2 * JUST_NOW:
        time.sleep(JUST_NOW)


def test_an_unchanged_scape_is_not_judged_again(
    mapped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = ("plumbstone hold t.toml", "plumbstone hold t.toml --json --units us")
    first = [type_in(line, mapped) for line in lines]
    assert all(done.returncode == 0 for done in first), first
    monkeypatch.setattr(Layout, "holds", None)  # would fail if it were called
    assert [type_in(line, mapped).stdout for line in lines] == [done.stdout for done in first]
    assert type_in("plumbstone hold t.toml --units us", mapped).returncode == 3
    assert type_in("plumbstone hold t.toml --spread", mapped).returncode == 3


@pytest.fixture
def judged_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let each scape be judged once, for tests of what becomes of the answers."""
    whole = Layout.holds

    def holds(layout: Layout) -> tuple[HoldResult, ...]:
        read = tuple(path.read_bytes() for path in layout.scape.files)
        if read not in JUDGED:
            JUDGED[read] = whole(layout)
        return JUDGED[read]

    monkeypatch.setattr(Layout, "holds", holds)


JUDGED: dict[tuple[bytes, ...], tuple[HoldResult, ...]] = {}


@pytest.mark.usefixtures("judged_once")
def test_the_oldest_answers_go_first(mapped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plumbstone.cli.kept.MOST_KEPT", 2)
    kept = []
    for options in ("", " --json", " --units us"):
        assert type_in(f"plumbstone hold t.toml{options}", mapped).returncode == 0
        kept.append({path.name for path in (mapped / "cache" / "plumbstone" / "answers").iterdir()})
    assert [len(names) for names in kept] == [1, 2, 2]
    assert not kept[0] & kept[2]


@pytest.mark.parametrize("change", ["scape", "map", "damage", "limits", "code"])
@pytest.mark.usefixtures("judged_once")
def test_whatever_has_changed_is_judged_again(
    mapped: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    first = type_in("plumbstone hold t.toml", mapped).stdout
    kept = next((mapped / "cache" / "plumbstone" / "answers").iterdir())
    if change == "scape":
        put_scape(mapped, 44)
    elif change == "map":
        (mapped / "map.csv").write_text("9,9\n9,9\n", encoding="utf-8")
        age(mapped)
    elif change == "damage":
        kept.write_text(kept.read_text(encoding="utf-8").replace("Log", "Lag"), encoding="utf-8")
    elif change == "limits":
        monkeypatch.setenv("PLUMBSTONE_LIMITS", "2")
    else:
        monkeypatch.setattr("plumbstone.cli.kept._code", lambda: "another")
    before = kept.stat().st_ino
    again = type_in("plumbstone hold t.toml", mapped).stdout
    assert kept.stat().st_ino != before  # put anew
    assert (again == first) is (change in ("damage", "limits", "code"))


def test_what_changed_while_it_was_judged_is_not_kept(
    mapped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = Layout.holds

    def holds(layout: Layout) -> tuple[HoldResult, ...]:
        os.utime(mapped / "map.csv")
        return whole(layout)

    monkeypatch.setattr(Layout, "holds", holds)
    assert type_in("plumbstone hold t.toml", mapped).returncode == 0
    assert not (mapped / "cache" / "plumbstone" / "answers").exists()


def test_further_lift_acts_where_the_wood_is(tmp_path: Path) -> None:
    # A log strapped to two blocks tips about the outer edge of the left one, 25 cm from its middle:
    # of basalt of 2800 kg/m³, 2.6 kg each, at 5 and 43 cm from there; levers.
    blocks = "".join(
        f'[[piece]]\nname = "{name}"\nmaterial = "basalt"\nsolid = "box"\nmass = "2.6 kg"\n'
        f'size = ["10 cm", "10 cm", "9 cm"]\nat = ["{x} cm", "17 cm"]\n'
        for name, x in (("L", 20), ("R", 58))
    )
    hold = planned(
        tmp_path,
        f'[tank]\ninside = ["80 cm", "35 cm", "40 cm"]\ntemperature = "25 °C"\n{blocks}[[piece]]\n'
        'name = "Log"\nmaterial = "oak wood"\nsolid = "box"\nsize = ["60 cm", "7 cm", "5 cm"]\n'
        'at = ["40 cm", "17 cm"]\nrests = "L"\ntied_to = ["L", "R"]\n',
    ).holds[0]
    borne = 2.6 * (1 - 997.05 / 2800) * (5 + 43) / 25
    assert hold.margin == pytest.approx(borne - hold.balance.lift.high, rel=1e-3)
    assert hold.held_factor == pytest.approx(borne / hold.balance.lift.high, rel=1e-3)


def stump(height: int, line: int) -> str:
    """A box of driftwood that was not weighed, 12 × 12 cm, upright in water up to a line [cm]."""
    return (
        f'[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\nwater_line = "{line} cm"\n'
        'temperature = "25 °C"\n[[piece]]\nname = "Stump"\nmaterial = "driftwood"\n'
        f'solid = "box"\nsize = ["12 cm", "12 cm", "{height} cm"]\nat = ["30 cm", "15 cm"]\n'
    )


def test_wood_that_was_not_weighed_has_the_density_of_its_kind(tmp_path: Path) -> None:
    # V (ρ_w - ρ) of 1.44 L ± 5 % at 750-920 kg/m³: 0.105 to 0.374 kg, by hand. Volume and mass
    # taken as if one did not follow from the other let it sink by 29 g.
    plan = planned(tmp_path, stump(10, 33))
    lift = plan.holds[0].balance.lift
    assert lift.low == pytest.approx(0.95 * 1.44e-3 * (997.05 - 920), rel=1e-3)
    assert lift.high == pytest.approx(1.05 * 1.44e-3 * (997.05 - 750), rel=1e-3)
    assert [*plan.bodies[0].mass_in_water(plan.water_density)] == [-v for v in reversed([*lift])]
    hold = plan.holds[0]
    ends = ends_of(hold.group, hold.stage.wood_of(0), lift, hold.stage.water)
    states = {(round(e.volumes["Stump"] / 1.44e-3, 4), round(e.masses["Stump"], 4)) for e in ends}
    corners = {(v, round(v * 1.44e-3 * rho, 4)) for v in (0.95, 1.05) for rho in (750, 920)}
    assert states == corners
    density = hold.balance.density
    assert density is not None
    assert [*density] == pytest.approx([750, 835, 920])


def test_wood_that_stands_out_of_the_water_is_lifted_by_its_wet_part(tmp_path: Path) -> None:
    # Of 34 cm 28 are wet: s V ρ_w - m at 1.05 V and 750 kg/m³, 0.3 of the lift of all of it as
    # further volume, which is wet in the same share; 2110 g of stone were asked for, for
    # wood under water.
    hold = planned(tmp_path, stump(34, 28)).holds[0]
    volume, rho = 1.05 * 0.12 * 0.12 * 0.34, hold.stage.water
    mass = 750 * volume
    pull = 28 / 34 * (volume * rho + 0.3 * (volume * rho - mass)) - mass
    assert hold.balance.short == pytest.approx(pull / (1 - rho / 2600), rel=1e-3)
    beside = hold.balance.short * 60 / (60 - 3.175)  # tied an eighth of an inch off its middle
    assert sum(hold.offers.best[0].masses) == pytest.approx(beside, abs=0.02)
