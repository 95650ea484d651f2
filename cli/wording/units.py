"""Units for people: the one place where figures are rounded and converted."""

import math
from enum import StrEnum

from plumbstone.meshes.ranges import Range

INCH, POUND, GALLON, OUNCE = 0.0254, 0.45359237, 3.785411784e-3, 0.028349523125
POUND_FORCE = 4.4482216152605  # [N]


class Units(StrEnum):
    """The units in which people read the results."""

    METRIC = "metric"
    US = "us"


def show_length(metres: float, units: Units = Units.METRIC) -> str:
    """Write a length for people: to 0.5 cm from 10 cm on, to 1 mm below; or to a quarter inch."""
    if units is Units.US:
        return f"{round(metres / INCH * 4) / 4:g} in"
    if abs(metres) >= 0.1:
        return f"{round(metres * 200) / 2:g} cm"
    return f"{metres * 1e2:.1f} cm"


def show_mass(kilograms: float, units: Units = Units.METRIC) -> str:
    """Write a mass for people: to 10 g below 1 kg, then to 0.1 kg; or ounces and pounds."""
    if units is Units.US:
        pounds = kilograms / POUND
        return f"{kilograms / OUNCE:.1f} oz" if abs(pounds) < 1 else f"{pounds:.1f} lb"
    if abs(kilograms) < 0.995:
        return f"{round(kilograms * 100) * 10:g} g"
    return f"{kilograms:.1f} kg"


def show_volume(cubic_metres: float, units: Units = Units.METRIC) -> str:
    """Write a volume for people: litres to 0.1 (0.01 below 10 L), or US gallons."""
    if units is Units.US:
        return f"{cubic_metres / GALLON:.2f} gal"
    litres = cubic_metres * 1e3
    return f"{litres:.2f} L" if abs(litres) < 10 else f"{litres:.1f} L"


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


def place_words(metres: float, units: Units) -> str:
    """Write a place on the floor to 0.5 cm or a quarter inch."""
    if units is Units.US:
        return f"{round(metres / INCH * 4) / 4:g} in"
    return f"{round(metres * 200) / 2:g} cm"


def push_words(newtons: float, units: Units) -> str:
    """Write a force."""
    if units is Units.US:
        return f"{newtons / POUND_FORCE:.1f} lbf"
    return f"{newtons:.1f} N"


def about_grams(low: float, mid: float, high: float, units: Units) -> str:
    """Write a range of small masses."""
    if grams(low, units) == grams(high, units):
        return f"about {grams(mid, units)}"
    return f"{grams(low, units)} to {grams(high, units)}"
