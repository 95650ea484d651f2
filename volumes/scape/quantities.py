"""Lengths, masses and volumes as people write them: "8 cm", "20 lb", "5 gal"."""

import math
import re
from collections.abc import Iterable
from typing import Any

from plumbstone.meshes.errors import PlumbstoneError

LONGEST = 60  # [characters]
_NUMBER_AND_UNIT = re.compile(r"([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?) *(.*)")
_TAPE = re.compile(r"(?:([0-9]{1,4})[ -])?([0-9]{1,2})/(2|4|8|16|32|64) *(.*)")  # 23 5/8 in
_TWO_UNITS = re.compile(  # 1 ft 9 in, 21 lb 8 oz
    r"([0-9]+ *(?:ft|foot|feet|'|′)) *([0-9][^'′]*(?:in|inch|inches|\"|″))"
    r"|([0-9]+ *(?:lbs?|pounds?)) *([0-9].*(?:oz|ounces?))"
)
_SHORTENED = re.compile(r"\b(in|ft|yd|cu|sq|lbs?|oz|gals?|qt|pt)\.(?= |$)")  # 24 in.
_COMMA = re.compile(r"([-+]?[0-9]+),([0-9]+)(?![0-9.,])")  # decimal, or between thousands
_THOUSANDS = re.compile(r"([1-9][0-9]{0,2})[.,]([0-9]{3}) *(g|grams?|m[lL])")  # or thousandths?
_BARE = re.compile(
    r"[€$£]? *([-+]?[0-9]*\.?[0-9]+) *(%|°|deg|degrees?|[€$£])?( *(?:/|per) *(?:kg|lb))?"
)
_SHARE = re.compile(r"([0-9]{1,6}) */ *([0-9]{1,6})")  # 1/3
_INCH, _POUND = 0.0254, 0.45359237  # exact: international yard and pound, 1959
# Exact: NIST Handbook 44, appendix C; UK SI 1995/1804.
_US_GALLON, _IMPERIAL_GALLON = 231 * _INCH**3, 4.54609e-3

_LENGTHS = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0,
    "centimetre": 1e-2, "centimetres": 1e-2, "centimeter": 1e-2, "centimeters": 1e-2,
    "millimetre": 1e-3, "millimetres": 1e-3, "millimeter": 1e-3, "millimeters": 1e-3,
    "km": 1e3, "dm": 0.1, "cm": 1e-2, "mm": 1e-3, "µm": 1e-6, "μm": 1e-6, "um": 1e-6,
    "in": _INCH, "inch": _INCH, "inches": _INCH, '"': _INCH, "″": _INCH,
    "ft": 12 * _INCH, "foot": 12 * _INCH, "feet": 12 * _INCH, "'": 12 * _INCH, "′": 12 * _INCH,
    "yd": 36 * _INCH, "yard": 36 * _INCH, "yards": 36 * _INCH,
}  # fmt: skip
_MASSES = {
    "kg": 1.0, "kgs": 1.0, "kilo": 1.0, "kilos": 1.0, "kilogram": 1.0, "kilograms": 1.0,
    "g": 1e-3, "gram": 1e-3, "grams": 1e-3,
    "mg": 1e-6, "t": 1e3, "tonne": 1e3, "tonnes": 1e3,
    "lb": _POUND, "lbs": _POUND, "pound": _POUND, "pounds": _POUND,
    "oz": _POUND / 16, "ounce": _POUND / 16, "ounces": _POUND / 16,
}  # fmt: skip
_CAPACITIES = {
    "L": 1e-3, "l": 1e-3, "litre": 1e-3, "litres": 1e-3, "liter": 1e-3, "liters": 1e-3,
    "dL": 1e-4, "dl": 1e-4, "cL": 1e-5, "cl": 1e-5, "mL": 1e-6, "ml": 1e-6, "cc": 1e-6,
    "gal": _US_GALLON, "gals": _US_GALLON, "gallon": _US_GALLON, "gallons": _US_GALLON,
    "US gal": _US_GALLON, "US gallon": _US_GALLON, "US gallons": _US_GALLON,
    "imp gal": _IMPERIAL_GALLON, "imperial gallon": _IMPERIAL_GALLON,
    "imperial gallons": _IMPERIAL_GALLON,
    "qt": _US_GALLON / 4, "quart": _US_GALLON / 4, "quarts": _US_GALLON / 4,
    "pt": _US_GALLON / 8, "pint": _US_GALLON / 8, "pints": _US_GALLON / 8,
    "cup": _US_GALLON / 16, "cups": _US_GALLON / 16, "fl oz": _US_GALLON / 128,
}  # fmt: skip


def _powers(power: int) -> dict[str, float]:
    """Spell areas and volumes of every unit of length: cm^2, cm2, cm², sq cm."""
    signs = (f"^{power}", str(power), "²" if power == 2 else "³", f"**{power}")
    words = ("sq", "square") if power == 2 else ("cu", "cubic")
    return {
        spelt: size**power
        for name, size in _LENGTHS.items()
        if name.isalpha()
        for spelt in (*(name + sign for sign in signs), *(f"{word} {name}" for word in words))
    }


_OF_US = {_INCH, 12 * _INCH, 36 * _INCH, _POUND, _POUND / 16}
_OF_US |= {_US_GALLON / part for part in (1, 4, 8, 16, 128)}
_SIZES = {**_LENGTHS, **_MASSES, **_CAPACITIES}
_US = {name.split()[0].lower() for name, size in _SIZES.items() if size in _OF_US}
_UNIT_TYPED = re.compile(r"(?:[0-9.] *|/)([a-zA-Z]+|[\"'′″])")
_VOLUMES = {**_CAPACITIES, **_powers(3)}
_POUND_FORCE = _POUND * 9.80665  # exact: CGPM 1901
# For each kind: its units, the most that is believed, what to write.
_KINDS: dict[str, tuple[dict[str, float], float, str]] = {
    "length": (_LENGTHS, 1e3, "8 cm, 80 mm or 3 in"),
    "mass": (_MASSES, 1e5, "4 kg, 500 g, 20 lb or 8 oz"),
    "volume": (_VOLUMES, 1e3, "9 L or 5 gal"),
    "area": (_powers(2), 1e5, "1200 cm^2"),
    "density": ({}, 3e4, "2650 kg/m^3 or 1.4 kg/L"),
    "temperature": ({}, 1e3, "24 °C or 75 °F"),
    "force": (
        {"N": 1.0, "kN": 1e3, "newton": 1.0, "lbf": _POUND_FORCE, "kgf": 9.80665}, 1e7, "20 N",
    ),
}  # fmt: skip


class QuantityError(PlumbstoneError, ValueError):
    """A quantity that cannot be understood, or that is of another kind."""


def parse_quantity(text: Any, kind: str) -> float:
    """Read one quantity with its unit: a number, a unit, and nothing else.

    Parameters
    ----------
    text : str
        Such as ``"8 cm"`` or, as on a tape, ``"23 5/8 in"``; at most 60 characters.
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
        If the unit is missing, unknown or of another kind, or the number beyond all measure.

    Examples
    --------
    >>> round(parse_quantity("3 in", "length"), 4)
    0.0762
    >>> round(parse_quantity('23 5/8"', "length"), 6)
    0.600075
    >>> round(parse_quantity("5 gal", "volume") * 1e3, 3)
    18.927
    >>> round(parse_quantity("1 ft 9 in", "length"), 4)
    0.5334
    """
    most, example = _KINDS[kind][1:]
    article = "an" if kind == "area" else "a"
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        units = each_unit(f"{text:g}", kind)
        raise QuantityError(f"{str(text)[:20]} has no unit; write it as a text: {units}.")
    if not isinstance(text, str) or len(text) > LONGEST:
        said = "that" if not isinstance(text, str) else f'"{text[:20]}…"'
        message = f"{said} is not {article} {kind}; write a number and a unit, such as {example}."
        raise QuantityError(message)
    text = _without_signs(text).strip()
    if text[:1] == text[-1:] == '"':  # copied with its quotation marks
        text = text[1:-1]
    if two := _TWO_UNITS.fullmatch(text.strip()):
        return sum(parse_quantity(part, kind) for part in two.groups() if part)
    if unsure := _THOUSANDS.fullmatch(text.strip()):
        meant, unit = f"{unsure[1]}{unsure[2]}", unsure[3]
        message = f'"{text}" may be {float(meant) / 1e3:g} {unit} or {meant} {unit}; write which.'
        raise QuantityError(message)
    number, unit = _parted(with_point(text.strip()))
    if number is None:
        how = without_comma(text) or f"write a number and a unit, such as {example}"
        raise QuantityError(f'"{text}" is not {article} {kind}; {how}.')
    if not unit:
        raise QuantityError(f'"{text}" has no unit; write {each_unit(text.strip(), kind)}.')
    value = _in_si(number, unit, kind)
    if value is None:
        raise QuantityError(f'"{text}" is not {article} {kind}; write {example}.')
    if not math.isfinite(value) or abs(value) > most:
        raise QuantityError(f'"{text}" is too large {article} {kind}.')
    return value


def numbers_of(values: Any, count: int) -> tuple[float, ...] | None:
    """Give so many finite numbers [SI], as code passes them; None where they are none."""
    if isinstance(values, str) or not isinstance(values, Iterable):
        return None
    try:
        found = tuple(math.nan if isinstance(v, str) else float(v) for v in values)
    except (TypeError, ValueError):
        return None
    return found if len(found) == count and all(map(math.isfinite, found)) else None


def is_quantity(text: Any, kind: str) -> bool:
    """Tell whether `text` reads as a quantity of that kind."""
    try:
        parse_quantity(text, kind)
    except QuantityError:
        return False
    return True


def with_point(text: str) -> str:
    """Write a decimal comma as a point; three digits after it may be thousands: left as it is."""
    found = _COMMA.match(text)
    if found is None or (len(found[2]) == 3 and int(found[1]) != 0):
        return text
    return text.replace(",", ".", 1)


def bare_number(text: str, sign: str = "") -> float:
    """Read a number without a unit, as people write it: "5 %", "30°", "4,50 €".

    Parameters
    ----------
    text : str
        With a decimal comma too.
    sign : str
        What may follow it: "%", of which it is the hundredth part, "°", "€" for any money,
        "€/kg" for money that may be by the pound too, or nothing.

    Raises
    ------
    QuantityError
        If it is none, or another sign follows it.

    Examples
    --------
    >>> bare_number("5 %", "%"), bare_number("30 deg", "°"), bare_number("4,50", "€/kg")
    (0.05, 30.0, 4.5)
    >>> round(bare_number("$2/lb", "€/kg"), 4)  # per kilogram
    4.4092
    """
    part = _SHARE.fullmatch(text.strip())
    if part and sign == "%" and int(part[2]):
        return int(part[1]) / int(part[2])
    found = _BARE.fullmatch(with_point(text.strip()))
    known = {"%": "%", "$": "€", "£": "€", "€": "€", None: ""}.get(found[2], "°") if found else None
    by = found[3] if found else None
    if found is None or known not in ("", sign.partition("/")[0]) or (by and sign != "€/kg"):
        raise QuantityError(f'"{text[:20]}" is no number; {without_comma(text) or "write 4.5"}.')
    share = 0.01 if known == "%" else 1 / _POUND if by and by.endswith("lb") else 1
    return float(found[1]) * share


def without_comma(text: Any) -> str:
    """Say how to write a number whose comma may be decimal or between thousands."""
    if not isinstance(text, str) or not _COMMA.match(text.strip()):
        return ""
    return f"write {text.replace(',', '.')} or {text.replace(',', '')}"


def _without_signs(text: str) -> str:
    """Write fractions of one sign with a stroke, 1½ → 1 1/2, quotes straight, "in." as "in"."""
    text = re.sub("''|’’|[“”]", '"', re.sub("[\u00a0\u2009\u202f]", " ", text)).replace("’", "'")
    text = _SHORTENED.sub(r"\1", text)
    for sign, part in zip(
        "¼½¾⅛⅜⅝⅞", ("1/4", "1/2", "3/4", "1/8", "3/8", "5/8", "7/8"), strict=True
    ):
        text = text.replace(sign, f" {part}")
    return re.sub(" +", " ", text)


def in_us_units(text: str) -> bool:
    """Whether a figure of a text is in inches, feet, yards, pounds, ounces or US gallons.

    Examples
    --------
    >>> in_us_units("1 yd x 12 x 10"), in_us_units("$2/lb"), in_us_units("520 g oz-stone")
    (True, True, False)
    >>> in_us_units("32 fl oz"), in_us_units("2 qt"), in_us_units("3 imp gal")
    (True, True, False)
    """
    return any(unit.lower() in _US for unit in _UNIT_TYPED.findall(_without_signs(text)))


def read_to(text: str) -> float:
    """Tell to what a length was read, by how it is written [m].

    "24 cm" is read to the centimetre, "24.5 cm" to half of one, "24.3 cm" or "24.0 cm" to the
    millimetre, "23 5/8 in" to an eighth; a text that is no such length gives 0.
    """
    text = _without_signs(text)
    if two := _TWO_UNITS.fullmatch(text.strip()):
        return read_to([part for part in two.groups() if part][-1])
    if tape := _TAPE.fullmatch(text.strip()):
        return (_size_of(tape[4], _LENGTHS) or 0.0) / int(tape[3])
    found = _NUMBER_AND_UNIT.fullmatch(_COMMA.sub(r"\1.\2", text.strip()))
    size = None if found is None else _size_of(found[2], _LENGTHS)
    if found is None or size is None or "e" in found[1].lower():
        return 0.0
    digits = found[1].partition(".")[2]
    return size * (0.5 if digits == "5" else 10.0 ** -len(digits))


def each_unit(number: str, kind: str) -> str:
    """Put a number before each unit of its kind; hundreds are grams sooner than kilograms.

    Examples
    --------
    >>> print(each_unit("82", "length"))
    "82 cm", "82 mm" or "82 in"
    >>> print(each_unit("820", "mass"))
    "820 g", "820 kg", "820 lb" or "820 oz"
    """
    example = _KINDS[kind][2]
    if kind == "mass" and re.fullmatch(r"\d{3,}(\.\d+)?", number):
        example = re.sub("(.*), (.*),", r"\2, \1,", example)
    return re.sub(r"[0-9.]+ ([^ ,]+)", lambda m: f'"{number} {m[1]}"', example)


def _parted(text: str) -> tuple[float | None, str]:
    """Part a text into number and unit; None where it does not begin with a number."""
    if tape := _TAPE.fullmatch(text):
        return int(tape[1] or 0) + int(tape[2]) / int(tape[3]), tape[4]
    found = _NUMBER_AND_UNIT.fullmatch(text)
    if found is None or found[2].startswith(","):
        return None, ""
    return float(found[1]), found[2]


def _in_si(number: float, unit: str, kind: str) -> float | None:
    """Convert to SI, or None where the unit is unknown or of another kind."""
    if kind == "temperature":
        return _celsius(number, unit)
    if kind == "density":
        mass, _, volume = (part.strip() for part in unit.partition("/"))
        whole, part = _size_of(mass, _MASSES), _size_of(volume, _VOLUMES)
        return None if whole is None or part is None else number * whole / part
    size = _size_of(unit, _KINDS[kind][0])
    return None if size is None else number * size


def _size_of(unit: str, sizes: dict[str, float]) -> float | None:
    """Find a unit, in small letters too: "Kg", "CM"."""
    return sizes.get(unit, sizes.get(unit.lower()))


def _celsius(number: float, unit: str) -> float | None:
    """Convert a temperature [°C]."""
    if unit in ("°C", "C", "degC", "℃"):
        return number
    if unit in ("°F", "F", "degF", "℉"):
        return (number - 32) / 1.8
    return number - 273.15 if unit == "K" else None
