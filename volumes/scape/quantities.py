"""Lengths, masses and volumes as people write them: "8 cm", "20 lb", "5 gal"."""

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any

from plumbstone.meshes.errors import PlumbstoneError

if TYPE_CHECKING:
    import pint

_NUMBER_AND_UNIT = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")
_KINDS = {
    "length": ("m", "8 cm or 3 in"),
    "mass": ("kg", "4 kg or 20 lb"),
    "volume": ("m^3", "9 L or 5 gal"),
    "area": ("m^2", "1200 cm^2"),
    "density": ("kg/m^3", "2650 kg/m^3 or 1.4 kg/L"),
    "temperature": ("degC", "24 °C or 75 °F"),
    "force": ("N", "20 N"),
}
_SPELLINGS = {
    "C": "degC",
    "°C": "degC",
    "F": "degF",
    "°F": "degF",
    "gals": "gallon",
    "gal": "gallon",
    "lbs": "lb",
    '"': "inch",
    "″": "inch",
    "'": "foot",
    "imp gal": "imperial_gallon",
    "g": "gram",
    "oz": "ounce",
    "days": "day",
}


class QuantityError(PlumbstoneError, ValueError):
    """A quantity that cannot be understood, or that is of another kind."""


def parse_quantity(text: Any, kind: str) -> float:
    """Read one quantity with its unit.

    Parameters
    ----------
    text : str
        A number and a unit, such as ``"8 cm"``.
    kind : str
        ``"length"``, ``"mass"``, ``"volume"``, ``"area"``, ``"density"``,
        ``"temperature"`` or ``"force"``.

    Returns
    -------
    float
        The value in m, kg, m³, m², kg/m³, °C or N.

    Raises
    ------
    QuantityError
        If the unit is missing, unknown or of another kind, or the number is not finite.

    Examples
    --------
    >>> round(parse_quantity("3 in", "length"), 4)
    0.0762
    >>> round(parse_quantity("5 gal", "volume") * 1e3, 3)
    18.927
    """
    unit_wanted, example = _KINDS[kind]
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        message = f'{text} has no unit; write it as a text such as "{example.split(" or ")[0]}".'
        raise QuantityError(message)
    found = _NUMBER_AND_UNIT.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        message = f"{text!r} is not a {kind}; write a number and a unit, such as {example}."
        raise QuantityError(message)
    number, unit = float(found[1]), found[2]
    if not unit:
        message = f'"{text}" has no unit; write {example}.'
        raise QuantityError(message)
    value = _convert(number, unit, unit_wanted)
    if value is None:
        message = f'"{text}" is not a {kind}; write {example}.'
        raise QuantityError(message)
    if not math.isfinite(value):
        message = f'"{text}" is too large a {kind}.'
        raise QuantityError(message)
    return value


def is_quantity(text: Any, kind: str) -> bool:
    """Tell whether `text` reads as a quantity of that kind."""
    try:
        parse_quantity(text, kind)
    except QuantityError:
        return False
    return True


def _convert(number: float, unit: str, wanted: str) -> float | None:
    """Convert to the wanted unit, or None where the unit is unknown or of another kind."""
    import pint

    registry = _registry()
    try:
        quantity = registry.Quantity(number, registry.parse_units(_SPELLINGS.get(unit, unit)))
        return float(quantity.to(wanted).magnitude)
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, KeyError, OverflowError):
        return None
    except Exception as error:  # pint lets tokenizer errors through on odd text
        if type(error).__module__ in {"tokenize", "builtins"}:
            return None
        raise


@cache
def _registry() -> "pint.UnitRegistry[float]":
    """Build the unit registry once, on first use (it takes a quarter of a second)."""
    import pint

    return pint.UnitRegistry(on_redefinition="ignore")
