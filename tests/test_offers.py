"""What is offered to hold wood, against arithmetic on stated inputs."""

import math
from pathlib import Path

import numpy as np
import pytest
from held_wood import LOG, hold_of, hung, judged, plan_of, stone, stump, tied, wood
from small_tanks import planned

from plumbstone.cli.wording.holding import hold_sentences
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.measures.columns import Grid
from plumbstone.volumes.holding import strapping
from plumbstone.volumes.holding.findings import hold_findings
from plumbstone.volumes.holding.offers import places_for
from plumbstone.volumes.holding.ties import Moving, tie_place
from plumbstone.volumes.scape.groups import Group, Sinker
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.scape import PieceEntry, Scape, read_scape


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


ROUND = (
    '[[piece]]\nname = "Log"\nmaterial = "driftwood"\nat = ["45 cm", "25 cm"]\n'
    'limbs = [{ length = "60 cm", girth = ["22 cm", "22 cm"] }]\n'
)


def test_round_wood_is_strapped_to_what_it_lies_on(tmp_path: Path) -> None:
    # A round log on two piers is held by no cord (it rolls); strapped to both it is one with 9 kg.
    piers = stone("A", (12, 14, 10), 25), stone("B", (12, 14, 10), 65)
    offers = plan_of(tmp_path, *piers, ROUND, 'rests = "A"\n').holds[0].offers
    assert not offers.best
    assert offers.strapping is not None
    assert offers.strapping.stones == ("A", "B")
    assert plan_of(tmp_path, *piers, ROUND, 'rests = "A"\ntied_to = ["A", "B"]\n').holds[0].stays
    # On the glass it takes a flat stone, whose pull in water (Archimedes) is 1.3 times the lift.
    hold = plan_of(tmp_path, ROUND).holds[0]
    flat = hold.offers.strapping
    assert flat is not None
    assert math.prod(flat.size_m) * (2700 - 997.0) >= 1.3 * hold.balance.lift.high
    at, size = (", ".join(f'"{v * 100:.1f} cm"' for v in part) for part in (flat.at_m, flat.size_m))
    slab = (
        f'[[piece]]\nname = "Flat stone"\nmaterial = "slate"\nsolid = "slab"\nat = [{at}]\n'
        f"size = [{size}]\n"
    )
    tied = 'rests = "Flat stone"\ntied_to = ["Flat stone"]\n'
    assert plan_of(tmp_path, ROUND, tied, slab).holds[0].stays
    # What falls over dry is strapped to nothing: one strap is a hinge.
    steep = ROUND.replace(
        'length = "60 cm"', 'path = [["0 cm", "0 cm", "0 cm"], ["20 cm", "0 cm", "30 cm"]]'
    )
    assert plan_of(tmp_path, steep).holds[0].offers.strapping is None


@pytest.mark.parametrize("kind", ["smaller", "aside"])
def test_a_flat_stone_is_no_offer_where_it_must_lie_or_measure_just_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    # No stone is found to a centimetre in ten, and places are told to a quarter inch: 3.2 mm off.
    plan = plan_of(tmp_path, ROUND)
    offered = plan.holds[0].offers.strapping
    assert offered is not None
    asked = list[PieceEntry]()

    def stays(scape: Scape, _: object) -> bool:
        flat = scape.pieces[0]
        asked.append(flat)
        assert flat.shape.size is not None
        if kind == "smaller":
            return flat.shape.size[0] > 0.95 * offered.size_m[0]
        return math.dist(flat.at, offered.at_m) < 0.0031

    monkeypatch.setattr(strapping, "_rests", lambda *_: True)
    monkeypatch.setattr(strapping, "_stays", stays)
    scape = read_scape(tmp_path / "tank.toml")
    found = strapping.strapping_for(scape, plan.holds[0], lambda _: (None, True))  # type: ignore[arg-type,return-value]
    assert asked
    if kind == "smaller":  # the next larger one is a tenth smaller too, but large enough
        assert found is not None
        assert found.size_m[0] > offered.size_m[0]
    else:
        assert found is None


def test_a_cord_without_a_place_hangs_at_the_lowest_end(tmp_path: Path) -> None:
    limb = (
        '[[piece]]\nname = "Limb"\nmaterial = "driftwood"\nat = ["45 cm", "25 cm"]\n'
        'limbs = [{ path = [["0 cm", "0 cm", "0 cm"], ["30 cm", "0 cm", "2 cm"]], '
        'girth = ["10 cm", "10 cm"] }]\n'
    )
    (body,) = plan_of(tmp_path, limb).bodies
    sinker = Sinker(0.5, find_material("granite"), "hanging")
    lowest = body.piece.vertices[body.piece.vertices[:, 2].argmin()]
    assert tie_place(sinker, Moving("Limb", (body,)), {}) == pytest.approx(lowest, abs=5e-3)


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


@pytest.mark.parametrize("friction", [None, 0.05])
def test_offers_are_what_a_hand_lifts(tmp_path: Path, friction: float | None) -> None:
    more = "" if friction is None else f"friction = {friction}"
    hold = hold_of(tmp_path, wood("Log", (40, 6, 6), 0.5, 45), tied(more=more))
    for offer in hold.offers.best:
        assert min(offer.masses) >= 0.1
        assert max(offer.masses) <= 5
        assert all(round(mass * 100) == pytest.approx(mass * 100) for mass in offer.masses)


def test_an_offer_says_what_stays_on(tmp_path: Path) -> None:
    """100 g are strapped on: what is offered comes on top of them."""
    strapped = tied(hung("100 g", 45, 1, "strapped"))
    hold = hold_of(tmp_path, wood("Log", (40, 6, 6), 1.44, 45), strapped)
    total = hold.offers.best[0].total + 0.1
    assert total >= hold.balance.asked_sinker
    told = " ".join(hold_sentences(hold, Units.METRIC))
    assert "stays on" in told
    assert "in place of" not in told


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
