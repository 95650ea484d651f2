"""How it is said whether wood stays down and stones stand: what to do first, method last."""

import math
from typing import TYPE_CHECKING

from plumbstone.cli.wording.offers import offer_words, tub_test
from plumbstone.cli.wording.page_labels import as_field
from plumbstone.cli.wording.sentences import Worded, filled
from plumbstone.cli.wording.units import (
    Toward,
    Units,
    about_grams,
    figures_in,
    grams,
    grams_up,
    is_nothing,
    place_words,
    push_words,
    ranged,
    spanned,
    written,
)
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import as_option, named
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.figures import SoakingFigures
from plumbstone.volumes.findings import Finding, Kind

if TYPE_CHECKING:
    from plumbstone.volumes.holding.buoyancy import Balance
    from plumbstone.volumes.holding.hold_down import HoldResult
    from plumbstone.volumes.holding.stability import Standing

THIN = 0.01  # [m]: what stands less high is told in millimetres
LEAST_PULL = 0.05  # of a tie that is told [N]
HUNG = "let it hang or stand on a tie ([[group]] sinkers)"
LAID_ON = "wedge it, or lay a stone on the end that rises."
CURES = {
    "tie tight": "a tie is slack: tie it tight.",
    "set again": "mend first how it rests, then judge it anew.",
    "move tie": "the stone is heavy enough but pulls at the wrong place: tie it as below.",
    "strap": "strap it to stone, as below.",
}


def hold_sentence(balance: "Balance", stone: str, units: Units) -> str:
    """Say by weight alone what wood needs and what it has, grams first.

    Without a place nothing is said of staying: how a stone is tied decides that.
    """
    if not math.isfinite(balance.short):
        return f"Wood: some {stone} floats; take a denser stone."
    needs, had = grams_up(balance.asked_sinker, units), grams(balance.hung, units)
    if balance.asked_sinker <= 0:
        return "Wood: sinks by itself."
    if balance.hung <= 0:
        return f"Wood: hang {needs} of {stone} on it; nothing holds it yet."
    if balance.hung >= balance.asked_sinker and balance.spare.low > 0:
        spare = grams(balance.spare.mid, units)
        return (
            f"Wood: needs {needs} of {stone}; you hung {had}; {spare} to spare under water. "
            "Heavy enough, if set as described; where it is tied decides whether it holds."
        )
    short = grams_up(balance.asked_sinker - balance.hung, units)
    if balance.spare.low > 0:
        return f"Wood: you hung {had} of {stone}, which just holds it; add {short} for a margin."
    return f"Wood: needs {needs} of {stone}; you hung {had}. Add {short}, or it may lift."


def hold_sentences(hold: "HoldResult", units: Units, *, told_before: bool = False) -> list[str]:
    """Say of one group whether it stays, else why not and what to do, then the rest.

    `told_before` leaves out the findings, where they stand further up.
    """
    from plumbstone.volumes.holding.findings import hold_findings

    said = [f"{hold.group.name}: {words}" for words in group_words(hold, units)]
    if told_before:
        return said
    wood = hold.stage.wood_of(hold.number)
    told = [WORDED[found.kind](found, units) for found in hold_findings(hold)]
    told += [f"{body.entry.name}: {text}" for body in wood for text in body.warnings]
    told = [named(words, as_option, figures_in(units)) for words in told]
    return [*said[: hold.stays], *told, *said[hold.stays :]]


def group_words(hold: "HoldResult", units: Units, *, on_page: bool = False) -> list[str]:
    """Say of one group that it stays where it does, and all that is no finding, without its name.

    `on_page` says what to press instead of what to write.
    """
    told = [
        *([_staying(hold, units)] if hold.stays else []),
        *_assumed_words(hold, units),
        *offer_words(hold, units, on_page),
        *_tie_words(hold, units),
        *_float_words(hold, units),
        *_scan_words(hold, units),
        *([_soaking_words(hold, units)] if hold.balance.lift.high > 0 else []),
    ]
    return [named(words, as_field if on_page else as_option) for words in told]


def soaking_words(soaking: SoakingFigures) -> str:
    """Say what a log of weighings tells; no date where it shows none."""
    aside = ""
    if soaking.set_aside_days:
        days = " and ".join(f"{day:g}" for day in soaking.set_aside_days)
        aside = f" The weighing of day {days} does not fit the others and is left out."
    if soaking.sinks:
        return f"it was heavy enough at its last weighing; test, then untie.{aside}"
    if soaking.days is None:
        return f"the log shows no date; leave the tie and weigh on.{aside}"
    low, high = soaking.days.low, soaking.days.high
    return (
        f"heavy enough after about {low:.0f} to {high:.0f} days in the water; "
        f"test before you untie.{aside}"
    )


def tub_words(found: Range, known: Range, kind: str, units: Units) -> str:
    """Say that a tub test and a scale make wood what its kind never is [kg/m³]."""
    return (
        f"scale and tub test make it {written(found.mid, 'density', units)}, but {kind} has "
        f"{ranged(known, 'density', units)}; see that both masses and the kind are right."
    )


def stack_sentence(stone: "Standing") -> str | None:
    """Say of a stone that lies on others what to see to; None for any other."""
    if not stone.on or stone.doubtful:
        return None
    return (
        f"{stone.name}: lies on {' and '.join(stone.on)}; tips at {stone.tip_angle:.0f}°. Try it "
        "by hand before you fill; how to fix a tall stack is for the maker of the tank to say."
    )


def _staying(hold: "HoldResult", units: Units) -> str:
    """Say that a group is proved to stay, by what, and how much more lift it bears at the worst."""
    balance = hold.balance
    needs, had = balance.asked_surely, grams(balance.hung, units)
    if balance.hung > 0 and balance.enough and needs > 0:
        stone = hold.sinker_material.name
        stays = f"needs {grams_up(needs, units)} of {stone}; you hung {had}. Stays"
    elif balance.hung > 0:
        stays = f"stays with {had} of stone on it"
    elif balance.lift.high <= 0:
        stays = "sinks by itself and stays"
    elif hold.carries:
        stays = f"stays under {' and '.join(hold.carries)}"
    else:
        line = place_words(float(hold.levels[-1]), units)
        stays = f"stays up to {line} of water, too shallow to lift it"
    words = f"{stays}, if set as described."
    if balance.lift.high <= 0:
        return words
    words += f" At its worst level it bears {grams(hold.margin, units)} more lift"
    if math.isfinite(hold.held_factor):
        words += f", {hold.held_factor:.1f} times its own"
    return f"{words}; the plan asks for {hold.group.factor:g} times."


def _floats(finding: Finding, units: Units) -> str:
    """Word wood that lifts, lacks its reserve, or hangs between sinking and floating."""
    name = finding.about[0]
    if finding.how in ("stone", "loose wood"):
        verb = "floats" if finding.number("sure") else "may float"
        if finding.how == "loose wood":
            return (
                f"{name}: {verb}, and nothing tells what holds it; soak it until it sinks, or "
                "write it as a [[piece]] with what is tied to it."
            )
        return (
            f"{name}: {verb}; soak it in a bucket until it sinks, or take a denser stone. Soil "
            "over it is not counted."
        )
    if finding.how == "near neutral":
        lift = finding.range("lift_kg")
        low, high = grams(-lift.low, units), grams(max(0.0, lift.high), units)
        if lift.high <= 0:
            return (
                f"{name}: weighs only {spanned(grams(-lift.high, units), low)} under water; fish "
                "and currents move it; to know more, hang it in water on a scale."
            )
        may = f"may sink by {low} or float by {high}; before you count on either"
        return f"{name}: {may}, {tub_test(units)}."
    if finding.how == "low line":
        line = place_words(finding.number("line_m"), units)
        return (
            f"{name}: is judged up to {line} of water; before you fill higher, raise the water "
            "line here and judge it anew."
        )
    if finding.how == "tub":
        kind = finding.about[1]
        found, known = (finding.range(f"{key}_kg_per_m3") for key in ("found", "known"))
        return f"{name}: {tub_words(found, known, kind, units)}"
    if finding.how == "tub form":
        tub = about_grams(finding.range("lift_kg"), units)
        low, _, high = (grams(lift, units) for lift in finding.range("drawn_kg"))
        return (
            f"{name}: the tub test tells a lift of {tub}, form and weight one of "
            f"{spanned(low, high)}; see that lengths, girths and masses are right."
        )
    if finding.how == "short" and finding.cure == "second foot":
        small = "its foot is small, or it is tied off its middle"
        return f"{name}: held, but without the reserve, as {small}: {_foot_words(finding, units)}"
    if finding.how == "short":
        return f"{name}: held, but without the reserve; {_cure_words(finding, units)}"
    return _motion(finding, units)


def _falls(finding: Finding, units: Units) -> str:
    """Word what falls over by its own weight, dry, in the water or once soaked."""
    name = finding.about[0]
    if finding.how == "soaked":
        level = finding.numbers.get("level_m")
        to = f" to {place_words(finding.number('level_m'), units)}" if level is not None else ""
        return f"{name}: once soaked, it may tip when the tank is drained{to}; wedge it."
    if finding.how == "stack":
        on = f" on {' and '.join(finding.about[1:])}" if len(finding.about) > 1 else ""
        level = finding.number("level_m")
        when = "" if level <= 0 else f" before water stands at {place_words(level, units)}"
        load, whose = (f" with {finding.where}", "their") if finding.where else ("", "its")
        return (
            f"{name}: falls{on}{load}{when} as drawn; set {whose} middle well over what carries "
            "it, or take it out."
        )
    return _motion(finding, units)


def _tips(finding: Finding, units: Units) -> str:
    """Word what does not rest as drawn, lies on an edge, slides or tips easily."""
    foot = _foot_words(finding, units)
    placed = "foot0_x_m" in finding.numbers
    if finding.how == "leans":
        foot = f"{foot} Then judge it anew." if placed else "give it a second foot."
    by_cure = finding.how in ("leans", "over air", "carrier")
    case = finding.how, finding.cure if by_cure else bool(finding.about[1:])
    words = TIPPING.get(case) or TIPPING[finding.how, None]
    return filled(
        f"{{name}}: {words}",
        finding,
        units,
        foot=foot,
        or_foot=f" Or {foot}" if placed else "",
        rests="does not rest" if len(finding.about) == 2 else "do not rest",
        or_else="give it a [[group]] of its own" if finding.numbers.get("wood") else HUNG,
        mend=_cure_words(finding, units) if finding.how == "hardly sinks" else "",
    )


_PUSHED = (
    ", by a push of {push_n} at its top under water; the nearest pane is {to_pane_m:gap} away. "
    "Lay it down, or away from the pane; soil is not counted, fish dig."
)
# By how it tips, and its cure or whether others are named with it; None: in any other case.
TIPPING: dict[tuple[str, str | bool | None], str] = {
    ("leans", "even ground"): (
        "may rock by {lean_deg}{on}, even as it has settled; wedge it, or set it where the "
        "ground is even.{or_foot}"
    ),
    ("leans", "foot"): (  # it was turned already, alone
        "does not rest as it has settled; with what is on and beside it it tilts {lean_deg} more. "
        "Move these, or {foot}"
    ),
    ("leans", None): (
        "does not rest{on} as drawn; it tilts {lean_deg} before it touches enough. Set "
        "<settle>, or {foot}"
    ),
    ("aside", None): (
        "leans on {others}; friction alone may hold it there, or not. Wedge its foot and its top, "
        "or set it so that it stands by itself."
    ),
    ("small foot", None): "sinks by itself, but may roll or rock on its small foot; {foot}",
    ("hardly sinks", None): (
        "sinks by itself, but may roll or rock, as it may weigh too little under water; {mend}"
    ),
    ("drawn through", True): (
        "is drawn {through_m} into {others}; move them apart, or, if its middle lies over that, "
        "let it rest on {others}."
    ),
    ("drawn through", None): "is drawn {through_m} into what it lies on; move them apart.",
    ("apart", None): (
        "{others} stands {apart_m} off what it is strapped to, so no strap makes them one; set it "
        "against that, or {or_else}."
    ),
    ("carrier", "settle"): (
        "{others} beside it {rests} as drawn: set <settle> there, or move it so that it lies "
        "firm; then judge both anew."
    ),
    ("carrier", "firm"): (
        "{others} beside it {rests} as settled; move it so that it lies firm, then judge both anew."
    ),
    ("carrier", "apart"): (
        "{others} beside it {rests} as drawn, but in another piece; move them apart, then judge "
        "both anew."
    ),
    ("steep", None): (
        "lies on slopes of up to {steep_deg}, on which wet wood may slide; they are not counted "
        "on. Wedge it or set it flatter; or try, wet, on which slope it just does not slide, and "
        "write its rise over run as friction into its [[group]]."
    ),
    ("pane", None): (
        "comes near the {where} pane, which is not counted on to hold it. Give it a foot, a tie or "
        "a stone of its own."
    ),
    ("hinge", None): (
        "does not lie by itself without the strap to {others}, and a strap round one place is a "
        "hinge: screw or glue it there, strap it at two places, or give it one more to lie on."
    ),
    ("one strap", None): (
        "is strapped to {others} alone, and round one strap it may turn as it floats: strap it "
        "tight at two places, apart, or screw it there."
    ),
    ("may roll off", None): "{others} may roll off as the wood rocks; tie or wedge it.",
    ("guessed foot", None): (
        "what is drawn does not tell its foot; set it{on} so that it does not rock, and press at "
        "its top to see."
    ),
    ("over air", "press"): (
        "drawn level on a slope, with {air_m} of air under its middle; press it in by "
        "{pressed_m:length up} in all, or level the bed under it."
    ),
    ("over air", "settle"): (
        "drawn level on a slope, with {air_m} of air under its middle; set <settle>, or level "
        "the bed under it."
    ),
    ("overhangs", None): (
        "overhangs; {press_n} pressed down on its far end under water tips it{on}. Set it farther "
        "back, or a stone on its other end."
    ),
    ("on an edge", True): (
        "does not stand by itself{on} as drawn; give it one more place to lie on."
    ),
    ("on an edge", None): "does not stand by itself as drawn; lay it down or bed its foot in.",
    ("under a load", None): (
        "does not stand{on} with {where} on it as drawn; set {where} with its middle over what "
        "carries both, or take it off."
    ),
    ("easily", None): "tips{on} at {tip_deg}" + _PUSHED,
    ("unsure", True): (
        "may slide or tip{on} as drawn, by a push of {push_n} at its top under water; set its "
        "middle farther over what carries it, or bed it there so that it bears flat."
    ),
    ("unsure", None): "may slide or tip{on} as drawn" + _PUSHED,
}
WORDED: dict[Kind, Worded] = {
    Kind.FLOATS: _floats,
    Kind.FALLS: _falls,
    Kind.TIPS: _tips,
}


ENDS = ("left", "right", "front", "back")
MOTIONS = {
    "rolls": ("roll", "on its small foot"),
    "rises": ("rise", "as far as its slack tie lets it"),
    "lifts off": ("lift", "off whole"),
    **{f"tips up {side}": ("tip", f"up at its {side} end") for side in ENDS},
    **{
        f"falls {side}": ("tip", f"over by its own weight, down at its {side} end") for side in ENDS
    },
}


def _motion(finding: Finding, units: Units) -> str:
    """Say how wood leaves its pose, where to stop filling and what to change."""
    name, level = finding.about[0], finding.number("level_m")
    at, edge = place_words(level, units), _edge_words(finding, units)
    dry = "as drawn" if finding.kind is Kind.FALLS else "with the first water"
    when = f"when the water stands at {at}" if level > 0 else dry
    sure = bool(finding.number("sure"))
    doubt = "" if sure else "can't tell that it stays: it "
    moves = motion_words(finding.how, sure=sure)
    words = f"{name}: {doubt}{moves}{edge} {when}."
    stop = finding.number("stop_m")
    if not is_nothing(stop, "place", units, Toward.DOWN):
        least = written(stop, "place", units, Toward.DOWN)
        words += f" Stop at {least} and press the wood. It rocks? Drain, add or move stone."
    cure = _cure_words(finding, units)
    words += f" {cure[0].upper()}{cure[1:]}"
    if finding.number("still_held"):
        words += " Even once it has moved, its tie keeps it under water."
    return words


def motion_words(how: str, *, sure: bool) -> str:
    """Say how wood leaves its pose: "tips up at its left end", or that it may."""
    verb, rest = MOTIONS[how]
    return f"{f'{verb}s' if sure else f'may {verb}'} {rest}"


def _cure_words(finding: Finding, units: Units) -> str:
    """Say what to change; the places stand with the offers."""
    if finding.cure in CURES:
        return CURES[finding.cure]
    lacking = finding.number("lacking_kg")
    on_it = " and ".join(finding.about[1:])
    if finding.cure == "second foot":
        foot = _foot_words(finding, units)
        return f"the stone is heavy enough but holds it nowhere as drawn: {foot}"
    if finding.cure != "foot" and math.isfinite(lacking) and lacking > 0:
        more = f"it lacks {grams_up(lacking, units)} of stone by weight alone"
        return f"{on_it} on it does not hold it: {more}." if on_it else f"{more}."
    return _foot_words(finding, units)


def _foot_words(finding: Finding, units: Units) -> str:
    """Say where more feet hold it, where such places were found."""
    feet = [
        [finding.number(f"foot{i}_{axis}_m") for axis in "xyz"]
        for i in (0, 1)
        if f"foot{i}_x_m" in finding.numbers
    ]
    if not feet:
        return f"give it a second foot, {LAID_ON}"
    places = " and ".join(
        f"({place_words(x, units)}, {place_words(y, units)}), its top "
        f"{written(z, 'gap' if z < THIN else 'length', units)} above the glass"
        for x, y, z in feet
    )
    return (
        f"give it a firm foot, pushed in until it bears: at {places}; places from left and front."
    )


def _edge_words(finding: Finding, units: Units) -> str:
    """Say where the edge lies about which it tips."""
    ends = [
        f"({', '.join(place_words(finding.number(f'edge{k}_{axis}_m'), units) for axis in 'xy')})"
        for k in (0, 1)
        if f"edge{k}_x_m" in finding.numbers
    ]
    ends = list(dict.fromkeys(ends))  # both may be one place for a tape
    if not ends:
        return ""
    where = " to ".join(ends)
    return f", about its {'edge from' if len(ends) > 1 else 'foot at'} {where} from left and front,"


def _assumed_words(hold: "HoldResult", units: Units) -> list[str]:
    """Say where a tie is taken to be that the file gives no place for."""
    words = []
    for sinker, place in hold.assumed:
        what = sinker.stone or f"{grams(sinker.mass, units)} of stone"
        where = ", ".join(place_words(v, units) for v in place)
        words.append(
            f"no place is given for {what}; taken at ({where}) from left, "
            "front and glass. Write into the file at = [...] where you tie it."
        )
    return list(dict.fromkeys(words))


def _tie_words(hold: "HoldResult", units: Units) -> list[str]:
    """Give the force in each tie, to compare with what its maker rates it for."""
    words = []
    pulling = zip(hold.ties, hold.tie_rooms, hold.tie_forces, hold.greatest_ties, strict=True)
    tied = [found for found in pulling if found[0].sinker.how != "laid on"]
    for number, (tie, below, line, most) in enumerate(tied, 1):
        if tie.sinker.slack > 0 and most < LEAST_PULL:
            continue  # what it bears once the wood has risen is not computed
        what = tie.sinker.stone or f"sinker {number}"
        both = [f"{push_words(f, units)} ({grams(f / GRAVITY, units)})" for f in (line, most)]
        cord = ""
        if tie.sinker.how == "hanging":
            room = written(max(0.0, below), "place", units, Toward.DOWN)
            cord = f" It hangs free where cord and stone are less than {room} long."
            cord = cord if below > THIN else " There is no room for it to hang: strap it on."
        words.append(
            f"tie of {what}: {both[0]} at the line, at most {both[1]}; "
            f"compare its own rating.{cord}"
        )
    if hold.burial > 0.005:
        words.append(
            f"the bed over the standing stone adds "
            f"{grams(hold.burial, units)} once it has settled; not counted on day one."
        )
    return words


def _float_words(hold: "HoldResult", units: Units) -> list[str]:
    """Say how it floats when nothing holds it."""
    from plumbstone.volumes.holding.moves import end_name

    afloat = hold.afloat
    if afloat is None:
        return []
    words = f"untied it floats {place_words(afloat.draught, units)} deep"
    rise = afloat.turn[2]
    if rise[2] < 0.5:
        return [f"{words}, rolled over."]
    tilt = math.degrees(math.acos(min(1.0, float(rise[2]))))
    if tilt < 3:
        return [f"{words}, as it is drawn."]
    return [f"{words}, its {end_name(rise[:2])} end up by {tilt:.0f}°."]


def _scan_words(hold: "HoldResult", units: Units) -> list[str]:
    """Say what a scan of wood leaves out."""
    wood = hold.stage.wood_of(hold.number)
    if hold.group.tub is not None or not any(b.entry.shape.scan is not None for b in wood):
        return []
    thin = place_words(0.02, units)
    return [
        f"a scan loses twigs thinner than about {thin}, so it "
        f"floats and lifts more than the scan shows; {tub_test(units)}."
    ]


def _soaking_words(hold: "HoldResult", units: Units) -> str:
    """Say when the tie may come off; without a log of weighings only a bound, no date."""
    if hold.soaking is not None:
        return soaking_words(hold.soaking)
    if hold.group.log:
        return "one weighing tells no trend; weigh it again after a week."
    much = about_grams(hold.balance.lift, units)
    leave = "leave the tie; " if hold.group.sinkers else ""
    return (
        f"{leave}it must take up {much} of water before it stays by itself. Test at the "
        "next re-layout."
    )
