"""How results are worded for people: actions first, rounded, ranges in plain words."""

import math
from typing import TYPE_CHECKING

from plumbstone.cli.output import GALLON, INCH, OUNCE, POUND, Units, show_length
from plumbstone.meshes.ranges import Range

if TYPE_CHECKING:
    from plumbstone.volumes.bags import BagChoice
    from plumbstone.volumes.bed import LayerResult
    from plumbstone.volumes.border import BorderResult, Gap
    from plumbstone.volumes.layering import Heave, Swallowed
    from plumbstone.volumes.settling import Rest
    from plumbstone.volumes.weighing import Weighed


def about(figure: Range, per_unit: float, unit: str, digits: int = 1) -> str:
    """Write a range as "10.6 kg (8.3-12.9)", or the middle alone where it is exact."""
    low, mid, high = (v / per_unit for v in (figure.low, figure.mid, figure.high))
    if high - low < 10.0**-digits:
        return f"{mid:.{digits}f} {unit}"
    return f"{mid:.{digits}f} {unit} ({low:.{digits}f}-{high:.{digits}f})"


def volume_words(figure: Range, units: Units, digits: int = 1) -> str:
    """Write a volume in litres, or millilitres where it is small; or in US gallons."""
    if units is Units.US:
        return about(figure, GALLON, "gal", max(digits, 2))
    small = 0 < figure.mid < 0.095e-3
    return about(figure, 1e-6, "mL", 0) if small else about(figure, 1e-3, "L", digits)


def mass_words(figure: Range, units: Units) -> str:
    """Write a mass in kilograms, or grams where it is small; or in pounds."""
    if units is Units.US:
        return about(figure, POUND, "lb")
    small = 0 < figure.mid < 0.095
    return about(figure, 1e-3, "g", 0) if small else about(figure, 1.0, "kg")


def grams(kilograms: float, units: Units) -> str:
    """Write a small mass to 10 g, or to a tenth of an ounce."""
    if units is Units.US:
        return f"{kilograms / OUNCE:.1f} oz"
    return f"{round(kilograms * 100) * 10:g} g"


def grams_up(kilograms: float, units: Units) -> str:
    """Write a mass that is asked for, rounded up to 10 g."""
    return grams(math.ceil(kilograms * 100 - 1e-6) / 100, units)


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
    from plumbstone.volumes.layering import lasting_slope

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


def place_words(metres: float, units: Units) -> str:
    """Write a place on the floor to 0.5 cm or a quarter inch."""
    if units is Units.US:
        return f"{round(metres / INCH * 4) / 4:g} in"
    return f"{round(metres * 200) / 2:g} cm"


def weighed_sentence(weighed: "Weighed", price_per_kg: float | None, units: Units) -> str:
    """Say what a piece weighs and costs: "About 10.6 kg, likely 8.3-12.9"."""
    size, unit = (POUND, "lb") if units is Units.US else (1.0, "kg")
    low, mid, high = (m / size for m in (weighed.mass.low, weighed.mass.mid, weighed.mass.high))
    measured = weighed.mass.low == weighed.mass.high
    digits = 1 if mid >= 1 else 2
    mass = (
        f"{mid:.{digits}f} {unit}, as weighed"
        if measured
        else (f"About {mid:.{digits}f} {unit}, likely {low:.{digits}f}-{high:.{digits}f}")
    )
    words = f"{weighed.name} ({weighed.material.name}): {mass}; "
    words += f"{volume_words(weighed.volume, units, 2)}."
    if price_per_kg is not None:
        price = weighed.mass.times(price_per_kg)
        words += f" Price {price.mid:.2f}"
        words += "." if measured else f" ({price.low:.0f}-{price.high:.0f}); have {price.high:.0f}."
    return words
