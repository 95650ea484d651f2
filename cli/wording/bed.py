"""How the bed, its bags and its border are worded: what to do first."""

from typing import TYPE_CHECKING

from plumbstone.cli.wording.units import GALLON, INCH, POUND, Units, show_length, volume_words
from plumbstone.meshes.ranges import Range

if TYPE_CHECKING:
    from plumbstone.volumes.bed.bags import BagChoice
    from plumbstone.volumes.bed.border import BorderResult, Gap
    from plumbstone.volumes.bed.interfaces import Heave, Swallowed
    from plumbstone.volumes.bed.passing import Rest
    from plumbstone.volumes.bed.pouring import LayerResult


def bag_words(choice: "BagChoice | None", units: Units) -> str:
    """List the bags to buy: "2 × 3 L"."""
    if choice is None:
        return "-"
    bags = []
    for bag, count in zip(choice.bags, choice.counts, strict=True):
        if count:
            bags.append(f"{count} × {_bag_size(bag.holds, bag.by_mass, bag.text, units)}")
    return ", ".join(bags) or "none"


def _bag_size(holds: float, by_mass: bool, text: str, units: Units) -> str:
    """Write the size of a bag as the user did, or in the other units."""
    written_us = any(unit in text for unit in ("lb", "gal", "oz"))
    if text and written_us == (units is Units.US):
        return text
    if by_mass:
        return f"{holds / POUND:.3g} lb" if units is Units.US else f"{holds:.3g} kg"
    return f"{holds / GALLON:.3g} gal" if units is Units.US else f"{holds * 1e3:.3g} L"


def left_over_sentence(result: "LayerResult", choice: "BagChoice | None", units: Units) -> str:
    """Say what is left of the bags, and whether it is enough to keep for topping up."""
    if choice is None:
        return ""
    name = result.layer.name
    left = volume_words(Range.exact(choice.left_over), units, 2)
    if choice.left_over < 0.10 * result.poured:
        return f"{name}: {left} left over, little for later topping up. Take one more, sealed."
    return f"{name}: {left} left over; keep it for topping up."


def sack_sentence(result: "LayerResult", units: Units) -> str | None:
    """Count the sacks of a filler; None where it is poured loose."""
    sacks = result.layer.sacks
    if sacks is None:
        return None
    size = volume_words(Range.exact(sacks.holds), units, 2)
    return (
        f"{result.layer.name}: {result.sacks} sacks of {size}, with {sacks.gaps:.0%} of gaps "
        "between them."
    )


def slide_sentence(result: "LayerResult", units: Units) -> str | None:
    """Say where a layer ends lower than drawn, None where it stays."""
    slide = result.slide
    if slide.volume < 0.02 * result.settled or slide.drop < 0.005:
        return None
    lower = show_length(slide.drop, units)
    litres = volume_words(Range.exact(slide.volume), units)
    return (
        f"{result.layer.name}: {slide.where} ends about {lower} lower than drawn ({litres} slide)."
    )


def slope_sentence(result: "LayerResult") -> str | None:
    """Tell the slope of a layer, and where a bare one creeps down in time."""
    from plumbstone.volumes.bed.interfaces import lasting_slope

    slope, lasting = result.slope_degrees, lasting_slope(result.layer.material)
    if slope <= 1:
        return None
    words = f"{result.layer.name}: slope {slope:.1f}° from front to back"
    if slope > lasting:
        words += f"; bare, it lasts at about {lasting:.0f}°: plant it, or build terraces"
    return words + "."


def gap_sentence(gap: "Gap", units: Units) -> str | None:
    """Say what comes through a gap of the border and how to close it."""
    if gap.state == "holds":
        return None
    width = f"{gap.width / INCH:.2f} in" if units is Units.US else f"{gap.width * 1e3:.0f} mm"
    reach = show_length(gap.reach, units)
    where = f"Gap {gap.left} - {gap.right}, {width}"
    fill = volume_words(Range.exact(gap.fill), units, 2)
    cure = f"{gap.cure}, about {fill} to fill it"
    if gap.state == "may arch":
        return f"{where}: may hold until disturbed, then soil shows {reach} out; {cure}."
    return f"{where}: soil shows {reach} out on the sand; {cure}."


def footing_sentence(border: "BorderResult") -> str | None:
    """Name the weakest stone of the border and its fix, None where all have reserve."""
    weakest = border.weakest
    if weakest is None or min(weakest.sliding / 1.5, weakest.tipping / 2.0) >= 1:
        return None
    if weakest.sliding / 1.5 < weakest.tipping / 2.0:
        return f"{weakest.name} is the weakest: it may slide; set a heavier one, or lower the soil."
    return f"{weakest.name} is the weakest: it may tip; bed its foot in, or lean it back."


def rest_sentence(rest: "Rest", units: Units) -> str | None:
    """Say what of a layer ends beyond its zone once it has slid."""
    if rest.outside < 1e-5:
        return None
    litres, reach = volume_words(Range.exact(rest.outside), units), show_length(rest.reach, units)
    if rest.pulled:
        return (
            f"{rest.layer}: once the divider is pulled, {litres} run out between the stones, up to "
            f"{reach} far. Pull it slowly, after the sand is in."
        )
    return f"{rest.layer}: {litres} of it come to rest beyond its zone, up to {reach} out."


def swallowed_sentence(lost: "Swallowed", units: Units) -> str:
    """Say that a fine layer runs into a coarse one."""
    most = volume_words(Range.exact(lost.most), units)
    return (
        f"{lost.fine} runs into {lost.coarse}, up to {most} of it; "
        "lay a separating fabric between them."
    )


def heave_sentence(heave: "Heave", units: Units) -> str:
    """Say that a light filler lifts its cover."""
    lacking = show_length(heave.lacking, units)
    return (
        f"{heave.filler} floats while dry and lifts {heave.cover}: soak it first, or cover it "
        f"{lacking} deeper."
    )
