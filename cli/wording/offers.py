"""How it is said what may hold wood: sinkers, stones at hand, what to strap it to."""

from typing import TYPE_CHECKING

from plumbstone.cli.wording.page_labels import ADD_PIECE, STANDS_ON, TIE
from plumbstone.cli.wording.units import Units, grams_up, place_words, written
from plumbstone.volumes.figures import StrappingFigures
from plumbstone.volumes.scape.groups import KEPT

if TYPE_CHECKING:
    from plumbstone.volumes.holding.hold_down import HoldResult
    from plumbstone.volumes.holding.offers import Offer

TUB_MASS = {Units.METRIC: "520 g", Units.US: "18 oz"}  # of an example


def offer_words(hold: "HoldResult", units: Units, on_page: bool) -> list[str]:
    """Say the least sinkers and where to tie them, and which stones at hand do."""
    offers = hold.offers
    held = hold.stays and not hold.group.tie_points
    if hold.balance.asked_pull <= 0 or held or not offers.why:
        return []
    strapped = ""
    if offers.strapping is not None:
        in_place = " in place of what hangs on it now" if _loose(hold) else ""
        strapped = _strapping_words(offers.strapping, in_place, units, on_page)
    if not offers.best:
        if strapped:
            return [strapped]
        step = "" if hold.group.tie_points else f"; {_next_step(hold, units)}"
        return [f"no stone that a hand sets holds it at {offers.why}{step}."]
    if not offers.best[0].points:
        untied = "it holds without what hangs on it; take that off."
        return [untied] if _loose(hold) else []
    words = [f"at least {_offer_words(offers.best[0], units)}, at {offers.why}."]
    words += [f"or {_offer_words(offer, units)}." for offer in offers.best[1:]]
    words += [f"or, if no stone fits there, {strapped}"] if strapped else []
    stay = any(sinker.how in KEPT for sinker in hold.group.sinkers)
    instead = "these in place of what hangs on it now" if _loose(hold) else ""
    besides = "what is strapped or laid on it stays on" if stay else ""
    told = [part for part in (instead, besides, "places from left, front, glass") if part]
    words.append(f"{'; '.join(told)}.")
    found = [offer for offer in offers.best if offer.stones]
    if found:
        best = min(found, key=lambda offer: offer.total)
        order = ", each at its place in that order" if len(best.stones) > 1 else ""
        stones = " and ".join(best.stones)
        words.append(f"of the stones at hand, {stones} will do{order}.")
    elif hold.has_choice:
        words.append("of the stones at hand none is proved to do.")
    return words


def tub_test(units: Units) -> str:
    """Say how to find the lift of wood in a tub, and where to write it."""
    return (
        "try it in a tub with stones until it just sinks, and write these into its [[group]] as "
        f'just_sinks_with = {{ mass = "{TUB_MASS[units]}", material = "granite" }}, or on the page '
        "into its field"
    )


def _next_step(hold: "HoldResult", units: Units) -> str:
    """Say what to try where nothing is offered: another pose, a figure not yet known, a foot."""
    wood = hold.stage.wood_of(hold.number)
    first = hold.first_move
    if first is not None and first.level <= 0 and not all(body.entry.settle for body in wood):
        return "it falls before there is water, so set <settle> and see how it comes to lie"
    larger = "larger " if any(s.how == "strapped" for s in hold.group.sinkers) else ""
    flat = f"tie it onto a {larger}flat stone, or give it a foot"
    if hold.group.tub is None and any(body.entry.mass is None for body in wood):
        return f"weigh it dry, or {tub_test(units)}, as that may decide; else {flat}"
    return flat


def places_of(strapping: StrappingFigures) -> str:
    """Say at how many places: round one strap wood may turn as it floats."""
    return "" if len(strapping.stones) > 1 else "at two places, apart, "


def _strapping_words(strapping: StrappingFigures, instead: str, units: Units, on_page: bool) -> str:
    """Say what to strap it to, and how to write that, or what to press."""
    named = ", ".join(f'"{name}"' for name in strapping.stones)
    to, written_as = f"to {' and '.join(strapping.stones)}", ""
    if strapping.size_m:
        sides = " × ".join(written(side, "place", units) for side in strapping.size_m)
        at = ", ".join(place_words(v, units) for v in strapping.at_m)
        to = f"onto a flat stone of {strapping.material}, {sides}, its middle at ({at}) from left "
        to += "and front"
        rests = ' and rests = "bed"' if strapping.rests == "bed" else ""
        written_as = f'that as a [[piece]] with solid = "slab"{rests}, and at its wood '
        written_as += f"rests = {named} and "
    words = f"it stays, if set as described, strapped tight {places_of(strapping)}{to}{instead}; "
    if not on_page:
        at_wood = "" if written_as else " at its wood"
        return f"{words}write {written_as}tied_to = [{named}]{at_wood}."
    if written_as:
        bed = f' set it on the bed ("{STANDS_ON}"),' if strapping.rests == "bed" else ""
        words += f'add it as a slab ("{ADD_PIECE}"),{bed} choose it in "{STANDS_ON}" of the wood; '
    each = "each of them" if len(strapping.stones) > 1 else strapping.stones[0]
    return f'{words}choose {each}, press "{TIE}" and touch the wood.'


def _loose(hold: "HoldResult") -> bool:
    """Whether something hangs on it, or stands at the end of a tie, that an offer replaces."""
    return any(sinker.how not in KEPT for sinker in hold.group.sinkers)


def _offer_words(offer: "Offer", units: Units) -> str:
    """Write sinkers and their places."""
    parts = []
    for mass, how, point in zip(offer.masses, offer.hows, offer.points, strict=True):
        where = ", ".join(place_words(v, units) for v in point)
        parts.append(f"{grams_up(mass, units)} {how} at ({where})")
    return f"{' and '.join(parts)} of {offer.material.name}"
