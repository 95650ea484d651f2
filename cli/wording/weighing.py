"""How the weight and price of a piece are worded."""

from math import ceil

from plumbstone.cli.wording.units import POUND, Units, volume_words
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bodies.weighing import Confidence, Weighed


def weighed_sentence(weighed: Weighed, price_per_kg: float | None, units: Units) -> str:
    """Say what a piece weighs and costs: "About 10.6 kg, likely 8.3-12.9"."""
    words = f"{weighed.name} ({weighed.material.name}): {piece_mass(weighed.mass, units)}; "
    words += f"{volume_words(weighed.volume, units)}."
    if price_per_kg is not None:
        price = weighed.mass.times(price_per_kg)
        words += f" Price {price.mid:.2f}"
        span = f" ({price.low:.0f}-{price.high:.0f}); have {ceil(round(price.high, 2))}"
        words += "." if weighed.mass.low == weighed.mass.high else f"{span}."
    return words


def piece_mass(mass: Range, units: Units) -> str:
    """Write the mass of a piece [kg], one that was weighed as the scale showed it."""
    size, unit = (POUND, "lb") if units is Units.US else (1.0, "kg")
    measured = mass.low == mass.high
    if units is Units.METRIC and mass.high < (1.0 if measured else 0.1):
        size, unit = 1e-3, "g"
    low, mid, high = (kilograms / size for kilograms in mass)
    digits = 1 if mid >= 1 else 2
    if measured:
        return f"{mid:.4g} {unit}, as weighed"
    return f"About {mid:.{digits}f} {unit}, likely {low:.{digits}f}-{high:.{digits}f}"


def budget_words(price: Range, budget: float) -> str:
    """Say whether a budget takes a piece, or by how much it is over."""
    if price.high <= budget:
        return f"Budget {budget:g}: takes it, {budget - price.high:.2f} left at least."
    if price.low > budget:
        return f"Budget {budget:g}: over by {price.mid - budget:.2f}."
    if price.mid > budget:
        return f"Budget {budget:g}: likely over, by {price.mid - budget:.2f}; the till decides."
    over = ceil(round(price.high - budget, 2))
    return f"Budget {budget:g}: likely takes it, at worst over by {over}; the till decides."


def trust_words(confidence: Confidence) -> str:
    """Put trust and what it hangs on into a cell of a table."""
    return f"{confidence.word} ({confidence.caveat})" if confidence.caveat else confidence.word
