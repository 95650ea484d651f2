"""What is said of wood: no two lines that contradict, whatever comes together."""

import itertools
import re
from dataclasses import replace
from pathlib import Path

import pytest
from held_wood import LOG, plan_of, stone, tied, wood
from held_wood import hung as sinker

from plumbstone.cli.wording import page_labels
from plumbstone.cli.wording.findings import finding_words
from plumbstone.cli.wording.holding import (
    WORDED,
    hold_sentence,
    hold_sentences,
    soaking_words,
)
from plumbstone.cli.wording.page import lines
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.figures import SoakingFigures
from plumbstone.volumes.findings import Kind
from plumbstone.volumes.holding.buoyancy import balance_from_density, hung_stone
from plumbstone.volumes.holding.findings import hold_findings, standing_findings
from plumbstone.volumes.holding.hold_down import HoldResult, Verdict
from plumbstone.volumes.holding.moves import Move
from plumbstone.volumes.holding.offers import Offer, Offers
from plumbstone.volumes.holding.proof import Doubt
from plumbstone.volumes.holding.stability import Standing
from plumbstone.volumes.report import report_of
from plumbstone.volumes.scape.materials import find_material

METRIC = Units("metric")
LACKING = re.compile(
    r"lacks|may lift|nothing holds|moves at|may (lift|tip|rise)|does not rest|add \d"
)
MANNERS = ("lifts off", "rolls", "tips up left", "rises", "falls right")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> HoldResult:
    """A log that nothing holds."""
    folder = tmp_path_factory.mktemp("log")
    return plan_of(folder, wood("Log", (40, 6, 6), 1.1, 45)).holds[0]


def test_what_it_lacks_is_what_it_needs(tmp_path: Path) -> None:
    # 24 × 8 × 6 cm at the large end of 5 % and 0.9 kg lift 998.2 × 1.2096 - 900 = 307 g; granite
    # of 2600 kg/m³ keeps 1 - 998.2 / 2600 of its weight: 1.3 × 307 / 0.6161 = 649 g.
    log, tie = wood("Log", (24, 8, 6), 0.9, 45), tied(sinker("900 g", 45, 0, "strapped"))
    bare, held = (plan_of(tmp_path, log, more).holds[0] for more in ("", tie))
    (lacks,) = (s for s in hold_sentences(bare, METRIC) if "lacks" in s)
    assert "It lacks 650 g of stone" in lacks
    assert "needs 650 g of granite; you hung" in hold_sentences(held, METRIC)[0]


def test_the_page_tells_what_to_press_and_no_keys_of_the_file(tmp_path: Path) -> None:
    log = '[[piece]]\nname = "Log"\nmaterial = "driftwood"\nat = ["45 cm", "25 cm"]\n'
    log += 'limbs = [{ length = "60 cm", girth = ["22 cm", "22 cm"] }]\n'
    leaning = log + "tilt = 20\n"
    for text, press in ((log, page_labels.TIE), (leaning, page_labels.SETTLES)):
        plan = plan_of(tmp_path, text)
        told = " ".join(line.text for line in lines(plan, report_of(plan), METRIC))
        assert f'"{press}"' in told
        assert not re.search(r"tied_to|rests =|settle =|\[\[piece", told)


def test_a_flat_stone_is_told_to_lie_where_it_was_judged(tmp_path: Path) -> None:
    # Its middle is 2 cm higher on the bed than on the glass below it; both were told alike.
    log = wood("Log", (26, 9, 6), 1.05, 45, 'rests = "bed"')
    soil = '[[layer]]\nmaterial = "baked-clay soil"\ndepth = "2 cm"\n'
    plan = plan_of(tmp_path, log, soil)
    (told,) = (words for words in hold_sentences(plan.holds[0], METRIC) if "Flat stone" in words)
    assert 'solid = "slab" and rests = "bed", and at its wood rests = "Flat stone"' in told
    pressed = [line.text for line in lines(plan, report_of(plan), METRIC) if "slab" in line.text]
    assert 'set it on the bed ("Stands on"),' in pressed[0]


def test_wood_that_hardly_sinks_is_not_said_to_have_a_small_foot(tmp_path: Path) -> None:
    # Mopane has 1000 to 1200 kg/m³, water of 20 °C 998.2: its light end weighs next to nothing.
    log = wood("Log", (24, 8, 8), 1, 45).replace("driftwood", "mopane wood")
    (said, *_) = hold_sentences(
        plan_of(tmp_path, log.replace('mass = "1 kg"', "")).holds[0], METRIC
    )
    assert "roll or rock, as it may weigh too little under water; it lacks" in said


def balances() -> list[object]:
    """Wood that sinks, may sink, or floats; without stone, with too little, with enough."""
    granite, water = find_material("granite").density, 998.0
    assert granite is not None
    return [
        balance_from_density(1.0, kind, granite, water, hung_stone(hung, granite, water), 1.3)
        for kind in (Range(1100, 1150, 1200), Range(960, 1000, 1040), Range(700, 750, 800))
        for hung in (0.0, 0.3, 5.0)
    ]


def results(log: HoldResult) -> list[HoldResult]:
    """All combinations of balance, doubts, motion, offers and what lies on it."""
    offer = Offer(find_material("granite"), ((0.4, 0.2, 0.05),), (0.5,), ("hanging",))
    found = []
    for balance, manner, offered, held, carried in itertools.product(
        balances(), MANNERS, (False, True), (False, True), ((), ("Slab",))
    ):
        offers = Offers(log.offers.points, "the feet", (offer,) if offered else ())
        plain = replace(
            log, balance=balance, offers=offers, still_held=held, carries=carried, lean=7.0
        )
        stays = replace(plain, verdict=Verdict.STAYS, doubts=(), first_move=None)
        found += [stays, replace(stays, verdict=Verdict.UNSURE, doubts=(Doubt.SHORT,))]
        for level, verdict in itertools.product((0.0, 0.21), (Verdict.UNSURE, Verdict.MOVES)):
            move = Move(level, manner, ((0.4, 0.2), (0.4, 0.3)))
            found.append(replace(plain, verdict=verdict, doubts=(Doubt.MOVES,), first_move=move))
        for more in (Doubt.LEANS, Doubt.THROUGH, Doubt.CARRIER, Doubt.STEEP, Doubt.PANE):
            found.append(replace(stays, verdict=Verdict.UNSURE, doubts=(more,)))
        leaning = replace(stays, verdict=Verdict.MOVES, doubts=(Doubt.LEANS,))
        move = Move(0.21, manner, ())
        found += [leaning, replace(leaning, doubts=(Doubt.MOVES, Doubt.LEANS), first_move=move)]
        for at in (None, Move(0.1, "tips up left", ())):
            soaked = replace(stays, verdict=Verdict.UNSURE, doubts=(Doubt.SOAKED,))
            found.append(replace(soaked, drained_move=at))
        found.append(replace(stays, verdict=Verdict.UNSURE, doubts=(Doubt.MOVES,)))
    return found


def test_no_two_lines_contradict(log: HoldResult) -> None:
    cases = results(log)
    assert len(cases) > 2000
    for hold in cases:
        lines = hold_sentences(hold, Units.METRIC)
        text = (
            " ".join(lines)
            .replace("can't tell that it stays", "")
            .replace("before it stays by itself", "")
        )
        says_stays = bool(re.search(r"\b[Ss]tays\b", text))
        assert says_stays is hold.stays, lines
        if hold.stays:
            assert "if set as described" in text
            assert not LACKING.search(text), lines
        else:
            assert hold_findings(hold), hold.doubts
        assert all(line.startswith("Log: ") for line in lines), lines
        # Of one that leaves its drawn pose dry, no level is told as if it stayed till then.
        if Doubt.LEANS in hold.doubts and hold.verdict is Verdict.MOVES:
            assert hold.moves_at is None
            assert "does not rest" in text
            assert not re.search(r"Log: (lifts|tips|rises)", text), lines
        assert "safe" not in text
        assert "inf" not in text.split()
        assert "nan" not in text


def test_without_a_place_nothing_is_said_of_staying() -> None:
    for balance in balances():
        told = hold_sentence(balance, "granite", Units.METRIC)  # type: ignore[arg-type]
        assert "stays" not in told.lower()
        assert ("Heavy enough" in told) <= balance.enough  # type: ignore[attr-defined]


def test_the_page_names_wood_once_in_a_line(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, wood("Log", (40, 6, 6), 1.1, 45))
    held = replace(plan.holds[0], verdict=Verdict.STAYS, doubts=(), first_move=None)
    report = report_of(plan)
    told = [line.text for line in lines(replace(plan, holds=(held,)), report, Units.METRIC)]
    said = [text for text in told if text.startswith("Log: ")]
    assert said
    assert all(text.count("Log: ") == 1 for text in said)
    assert any(re.match(r"Log: stays .*\. At its worst level", text) for text in said), said


def test_a_foot_is_named_to_a_millimetre(log: HoldResult) -> None:
    steep = replace(log, verdict=Verdict.UNSURE, doubts=(Doubt.LEANS,), lean=7.0)
    assert "give it a second foot" in hold_sentences(steep, Units.METRIC)[0]
    feet = ((0.31, 0.205, 0.043), (0.5, 0.1, 0.0024))
    offers = replace(steep.offers, best=(), feet=feet)
    words = hold_sentences(replace(steep, offers=offers), Units.METRIC)[0]
    assert (
        "(31 cm, 20.5 cm), its top 4.3 cm above the glass and (50 cm, 10 cm), its top 2 mm" in words
    )


def test_every_finding_of_this_room_is_worded(log: HoldResult) -> None:
    for hold in results(log)[:200]:
        for finding in hold_findings(hold):
            for units in Units:
                assert finding_words(finding, units).startswith("Log: ")
    assert set(WORDED) == {Kind.FLOATS, Kind.FALLS, Kind.TIPS}


@pytest.mark.parametrize(
    ("stone", "words"),
    [
        (Standing("S", 0.0, 0.0, 0.0, False, 0.1), "does not stand by itself"),
        (Standing("S", 0.0, 0.0, 0.0, False, 0.1, foot_known=False), "does not tell its foot"),
        (Standing("S", 9.0, 2.0, 1.0, True, 0.1), "tips at 9°"),
        (Standing("S", 30.0, 2.0, 1.0, False, 0.1, ("B",), 8.0), "it tilts 8°"),
        (
            Standing("S", 30.0, 2.0, 1.0, False, 0.1, ("B",), 0.0, 0.2),
            "before water stands at 20 cm",
        ),
        (Standing("S", 30.0, 2.0, 1.0, False, 0.1, unsure=True), "may slide or tip"),
        (Standing("S", 30.0, 2.0, 1.0, False, 0.1), ""),
    ],
)
def test_words_for_stones(stone: Standing, words: str) -> None:
    found = standing_findings(stone)
    told = " ".join(finding_words(finding, Units.METRIC) for finding in found)
    assert words in told
    assert bool(found) is bool(words)


def test_words_for_logs_of_weighings() -> None:
    open_end = SoakingFigures(1.2, 1.5, 1.1, None, sinks=False, set_aside_days=(7.0,))
    assert "no date" in soaking_words(open_end)
    assert "day 7 does not fit" in soaking_words(open_end)
    assert "then untie" in soaking_words(replace(open_end, sinks=True))


def test_a_stone_hangs_over_the_bed_and_not_over_the_glass_below_it(tmp_path: Path) -> None:
    # A slab of 30 cm on two stones of 12 cm; 5 cm of soil leave 7 cm below it, and below 1 cm none.
    piers = "".join(stone(name, (8, 20, 12), at) for name, at in (("A", 30), ("B", 60)))
    log = wood("Log", (40, 9, 6), 1.6, 45, 'rests = "A"')
    soil = '[[layer]]\nmaterial = "baked-clay soil"\ndepth = "{} cm"\n'
    for depth, told in ((5, "less than 7 cm long."), (11.5, "no room for it to hang")):
        hanging = tied(sinker("900 g", 45, 12))
        plan = plan_of(tmp_path, piers, log, hanging, soil.format(depth))
        assert told in " ".join(hold_sentences(plan.holds[0], METRIC))
    for depth, how in ((1, "hanging"), (8, "strapped")):  # 760 g of granite are a cube of 6.6 cm
        (offer,) = plan_of(tmp_path, piers, log, soil.format(depth)).holds[0].offers.best
        assert offer.hows == (how, how)


def test_wood_that_no_stone_holds_is_told_what_would_decide(tmp_path: Path) -> None:
    # A plank on its end, tilted by 20°, has its middle beyond its foot: it falls dry, whatever hangs
    # on it. Where it lies firm and nobody weighed it, its weight is asked for.
    plank = wood("Plank", (5, 5, 30), 0.6, 45, "tilt = 20")
    (told,) = (
        s for s in hold_sentences(plan_of(tmp_path, plank).holds[0], METRIC) if "no stone" in s
    )
    assert "falls before there is water, so set settle = true" in told
    unknown = wood("Plank", (30, 5, 5), 0.6, 45).replace('mass = "0.6 kg"', "")
    hold = plan_of(tmp_path, unknown).holds[0]
    none = replace(hold, offers=Offers(hold.offers.points, "any place that was tried", ()))
    assert "weigh it dry, or try it in a tub" in " ".join(hold_sentences(none, METRIC))
    assert 'mass = "18 oz"' in " ".join(hold_sentences(none, Units("us")))


@pytest.mark.parametrize(("mass", "asked"), [(1.45, "in a tub"), (1.75, "in water on a scale")])
def test_no_stone_makes_wood_just_sink_that_sinks(tmp_path: Path, mass: float, asked: str) -> None:
    # 40 × 6 × 6 cm are 1.44 L, 1.37 to 1.51 by the tape: 1.45 kg may float, 1.75 kg never does.
    log = wood("Log", (40, 6, 6), mass, 45).replace("driftwood", "mopane wood")
    found = hold_findings(plan_of(tmp_path, log).holds[0])
    (told,) = (finding_words(f, METRIC) for f in found if f.how == "near neutral")
    assert asked in told


@pytest.mark.parametrize(
    ("more", "told"),
    [  # its middle lies 1 cm beyond the edge of a log 6 cm wide
        ('rests = "Log"', "does not rest as drawn: set settle = true there"),
        ('rests = "Log"\nsettle = true', "does not rest as settled; move it so that it lies firm"),
        ('rests = "floor"\nsettle = true', "but in another piece; move them apart"),
    ],
)
def test_a_stone_beside_wood_that_does_not_rest_is_told_what_helps(
    tmp_path: Path, more: str, told: str
) -> None:
    top = (
        '[[piece]]\nname = "Top"\nmaterial = "granite"\nsize = ["8 cm", "7 cm", "12 cm"]\n'
        f'at = ["45 cm", "29 cm"]\n{more}\n'
    )
    words = hold_sentences(plan_of(tmp_path, LOG, top).holds[0], METRIC)
    assert any(told in sentence for sentence in words)
