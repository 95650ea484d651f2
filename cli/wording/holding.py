"""How it is said whether wood stays down and stones stand: what to do first, method last."""

import math

from plumbstone.cli.wording.units import (
    Units,
    about_grams,
    grams,
    grams_up,
    place_words,
    push_words,
)
from plumbstone.volumes.holding.buoyancy import Balance
from plumbstone.volumes.holding.hold_down import HoldResult, Move, end_name
from plumbstone.volumes.holding.offers import Offer
from plumbstone.volumes.holding.soaking import Soaking
from plumbstone.volumes.holding.stability import LEANS, Standing
from plumbstone.volumes.water.density import GRAVITY


def hold_sentence(name: str, balance: Balance, stone: str, units: Units) -> str:
    """Say what a group needs and what it has, grams first."""
    if balance.lift.high <= 0:
        return f"{name}: sinks by itself, if set as described."
    needs = grams_up(balance.asked_sinker, units)
    if balance.hung <= 0:
        return f"{name}: hang {needs} of {stone} on it; nothing holds it yet."
    had = grams(balance.hung, units)
    if balance.enough:
        spare = grams(balance.spare.mid, units)
        return (
            f"{name}: needs {needs} of {stone}; you hung {had}; {spare} to spare under water. "
            "Stays, if set as described."
        )
    short = grams_up(balance.asked_sinker - balance.hung, units)
    if balance.spare.low > 0:
        return f"{name}: you hung {had} of {stone}, which just holds it; add {short} for a margin."
    return f"{name}: needs {needs} of {stone}; you hung {had}. Add {short}, or it may lift."


def hold_sentences(hold: HoldResult, units: Units) -> list[str]:
    """Say of one group what to do, how it moves and where to stop filling, then the rest."""
    return [
        *_verdict_sentences(hold, units),
        *_offer_sentences(hold, units),
        *_margin_sentences(hold, units),
        *_pose_sentences(hold, units),
        *_tie_sentences(hold, units),
        *_float_sentences(hold, units),
        *_scan_sentences(hold),
        *([_soaking_sentence(hold, units)] if hold.balance.lift.high > 0 else []),
    ]


def soaking_words(soaking: Soaking) -> str:
    """Say what a log of weighings tells; no date where it shows none."""
    if soaking.sinks:
        return "it was heavy enough at its last weighing; test, then untie."
    if soaking.days is None:
        return "the log shows no date; leave the tie and weigh on."
    low, high = soaking.days.low, soaking.days.high
    return (
        f"heavy enough after about {low:.0f} to {high:.0f} days in the water; "
        "test before you untie."
    )


def standing_sentence(stone: Standing, units: Units) -> str:
    """Warn of a stone that stands or lies on others and tips easily."""
    pane = place_words(stone.to_pane, units)
    on = f" on {' and '.join(stone.on)}" if stone.on else ""
    if stone.falls_at is not None:
        when = "" if stone.falls_at <= 0 else f" once water stands at {_place(stone, units)}"
        return (
            f"{stone.name}: falls{on}{when} as drawn; set its middle well over what carries it, "
            "or take it out."
        )
    if stone.lean > LEANS:
        return (
            f"{stone.name}: does not lie{on} as drawn; it leans {stone.lean:.0f}° before it rests. "
            "Set its middle over what carries it."
        )
    if stone.tip_angle <= 0:
        return (
            f"{stone.name}: does not stand by itself{on} as drawn; lay it down or bed its foot in."
        )
    return (
        f"{stone.name}: tips{on} at {stone.tip_angle:.0f}°, by a push of "
        f"{push_words(stone.push_wet, units)} at its top under water; the nearest pane is {pane} "
        "away. Lay it down, or away from the pane; soil is not counted, fish dig."
    )


def stack_sentence(stone: Standing) -> str | None:
    """Say of a stone that lies on others what to see to; None for any other."""
    if not stone.on or stone.doubtful:
        return None
    return (
        f"{stone.name}: lies on {' and '.join(stone.on)}; tips at {stone.tip_angle:.0f}°. Try it "
        "by hand before you fill; how to fix a tall stack is for the maker of the tank to say."
    )


def _place(stone: Standing, units: Units) -> str:
    assert stone.falls_at is not None
    return place_words(stone.falls_at, units)


def _verdict_sentences(hold: HoldResult, units: Units) -> list[str]:
    """Say whether it stays, or how it first moves and what to do."""
    name, move = hold.group.name, hold.first_move
    stone = hold.sinker_material.name
    if move is None and hold.stays and hold.balance.hung <= 0 < hold.balance.lift.high:
        what = " and ".join(hold.carries) or "what lies on it"
        return [f"{name}: stays under {what}, if set as described."]
    if move is None:
        return [hold_sentence(name, hold.balance, stone, units)]
    if "own weight" in move.manner and move.level <= 0:
        return [
            f"{name}: {move.manner}{_edge_words(move, units)} as drawn; set its middle over what "
            "carries it, or wedge its foot."
        ]
    stop = place_words(max(0.0, move.level - 0.02), units)
    at = place_words(move.level, units)
    words = [f"{name}: {move.manner}{_edge_words(move, units)} when the water stands at {at}."]
    slack = any(sinker.slack > 0 for sinker in hold.group.sinkers)
    if hold.balance.hung <= 0 and hold.offers.best:
        on_it = " and ".join(hold.carries)
        words.append(f"{on_it} on it does not hold it." if on_it else "Nothing holds it yet.")
    elif move.manner == "lifts off whole" or (not hold.balance.enough and not slack):
        words.append(hold_sentence(name, hold.balance, stone, units))
    elif slack:
        words.append("The stone is heavy enough, but its tie is slack: tie it tight.")
    else:
        words.append("The stone is heavy enough, but tied in the wrong place: tie it nearer.")
    words.append(f"Stop at {stop} and press the wood. It rocks? Drain, add or move stone.")
    if hold.still_held:
        words.append("Once it has moved, it is still held under.")
    return words


def _edge_words(move: Move, units: Units) -> str:
    """Say where the edge lies about which it tips."""
    if not move.edge:
        return ""
    ends = [f"({place_words(x, units)}, {place_words(y, units)})" for x, y in move.edge]
    where = " to ".join(ends)
    return f", about its {'edge from' if len(ends) > 1 else 'foot at'} {where} from left and front,"


def _offer_sentences(hold: HoldResult, units: Units) -> list[str]:
    """Say the least sinkers and where to tie them, and which stones at hand do."""
    name, offers = hold.group.name, hold.offers
    asked = bool(hold.group.tie_points)
    if hold.balance.lift.high <= 0 or (hold.stays and not asked):
        return []
    if not offers.best:
        return [f"{name}: no mass at {offers.why} holds it; name other tie_points, or re-set it."]
    if all(offer.total < 1e-4 for offer in offers.best):
        return [f"{name}: needs nothing hung at {offers.why}."]
    words = [f"{name}: at least {_offer_words(offers.best[0], units)}, at {offers.why}."]
    words += [f"  Or {_offer_words(offer, units)}." for offer in offers.best[1:]]
    words.append("These stand with taut ties, in place of what is tied on now.")
    found = [offer for offer in offers.best if offer.stones]
    if found:
        best = min(found, key=lambda offer: offer.total)
        words.append(f"Of the stones at hand, {' and '.join(best.stones)} will do.")
    elif hold.has_choice:
        words.append("Of the stones at hand none is heavy enough.")
    return words


def _offer_words(offer: Offer, units: Units) -> str:
    """Write sinkers and their places."""
    parts = []
    for mass, (x, y, z) in zip(offer.masses, offer.points, strict=True):
        where = ", ".join(place_words(v, units) for v in (x, y, z))
        parts.append(f"{grams_up(mass, units)} at ({where})")
    return f"{' and '.join(parts)} of {offer.material.name}"


def _margin_sentences(hold: HoldResult, units: Units) -> list[str]:
    """Say how much more lift it bears at its worst level: grams first, then the factor."""
    if hold.first_move is not None or hold.balance.lift.high <= 0:
        return []
    margin = f"At its worst level it bears {grams(hold.margin, units)} more lift"
    if math.isfinite(hold.held_factor):
        margin += f", {hold.held_factor:.1f} times its own"
    return [f"{margin}; the plan asks for {hold.group.factor:g} times."]


def _pose_sentences(hold: HoldResult, units: Units) -> list[str]:
    """Say what the pose itself asks for: leaning, stones on top, draining."""
    words = []
    name = hold.group.name
    if hold.lean > LEANS:
        words.append(
            f"{name}: does not rest as drawn; it leans {hold.lean:.0f}° before it touches enough. "
            "Tilt it in the file (tilt, lean), or set it on other stones."
        )
    laid = [s.stone or "the stone" for s in hold.group.sinkers if s.how == "laid on"]
    on = [*laid, *(n for n in hold.carries if n not in laid)]
    if on:
        words.append(f"{name}: {' and '.join(on)} may roll off as the wood rocks; tie or wedge it.")
    move = hold.drained_move
    if move is not None and hold.first_move is None:
        at = place_words(move.level, units)
        words.append(f"{name}: once soaked, it {move.manner} when the tank is drained to {at}.")
    return words


def _tie_sentences(hold: HoldResult, units: Units) -> list[str]:
    """Give the force in each tie, to compare with what its maker rates it for."""
    words = []
    pulling = zip(hold.ties, hold.tie_forces, hold.greatest_ties, strict=True)
    tied = [found for found in pulling if found[0].sinker.how != "laid on"]
    for number, (tie, line, most) in enumerate(tied, 1):
        what = tie.sinker.stone or f"sinker {number}"
        both = [f"{push_words(f, units)} ({grams(f / GRAVITY, units)})" for f in (line, most)]
        words.append(
            f"Tie of {what}: {both[0]} at the line, at most {both[1]}; compare its own rating."
        )
    if hold.burial > 0.005:
        words.append(
            f"The bed over the standing stone adds {grams(hold.burial, units)} once it has "
            "settled; not counted on day one."
        )
    return words


def _float_sentences(hold: HoldResult, units: Units) -> list[str]:
    """Say how it floats when nothing holds it."""
    afloat = hold.afloat
    if afloat is None:
        return []
    words = f"{hold.group.name}: untied it floats {place_words(afloat.draught, units)} deep"
    rise = afloat.turn[2]
    if rise[2] < 0.5:
        return [f"{words}, rolled over."]
    tilt = math.degrees(math.acos(min(1.0, float(rise[2]))))
    if tilt < 3:
        return [f"{words}, as it is drawn."]
    return [f"{words}, its {end_name(rise[:2])} end up by {tilt:.0f}°."]


def _scan_sentences(hold: HoldResult) -> list[str]:
    """Say what a scan of wood leaves out."""
    wood = hold.stage.wood_of(hold.number)
    if hold.group.tub is not None or not any(b.entry.shape.scan is not None for b in wood):
        return []
    return [
        f"{hold.group.name}: a scan loses twigs thinner than about 2 cm, so it floats and lifts "
        "more than the scan shows; a tub test (just_sinks_with) beats it."
    ]


def _soaking_sentence(hold: HoldResult, units: Units) -> str:
    """Say when the tie may come off; without a log of weighings only a bound, no date."""
    if hold.soaking is not None:
        return f"{hold.group.name}: {soaking_words(hold.soaking)}"
    low, high = max(0.0, hold.balance.lift.low), hold.balance.lift.high
    much = about_grams(low, hold.balance.lift.mid, high, units)
    return (
        f"{hold.group.name}: leave the tie; it must take up {much} of water before it stays by "
        "itself. Test at the next re-layout."
    )
