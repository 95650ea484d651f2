"""Quantities against exact unit definitions."""

import re

import pytest

from plumbstone.volumes.scape.quantities import (
    _KINDS,
    QuantityError,
    in_us_units,
    parse_quantity,
    read_to,
)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [  # exact by definition: inch 25.4 mm, pound 0.45359237 kg, US gallon 231 in³
        ("8 cm", "length", 0.08),
        ("3 in", "length", 0.0762),
        ('18"', "length", 0.4572),
        ("1.5 ft", "length", 0.4572),
        ("20 lb", "mass", 9.0718474),
        ("520 g", "mass", 0.520),
        ("9 L", "volume", 0.009),
        ("5 gal", "volume", 5 * 231 * 0.0254**3),
        ("165 lb/ft^3", "density", 165 * 0.45359237 / 0.3048**3),
        ("1.4 kg/L", "density", 1400.0),
        ("75 °F", "temperature", (75 - 32) / 1.8),
        ("24 C", "temperature", 24.0),
        ("-2cm", "length", -0.02),
        ("1 ft 9 in", "length", 21 * 0.0254),
        ("5' 6 1/2\"", "length", 66.5 * 0.0254),
        ("21 lb 8 oz", "mass", 21.5 * 0.45359237),
        ("4.5 Kg", "mass", 4.5),
        ("5 CM", "length", 0.05),
        ("9 Liter", "volume", 0.009),
        ("23 5/8 in", "length", 23.625 * 0.0254),
        ('5-1/2"', "length", 5.5 * 0.0254),
        ("60,5 cm", "length", 0.605),
        ("1,5 kg", "mass", 1.5),
        ("0,125 kg", "mass", 0.125),
        ("3/4 gal", "volume", 0.75 * 231 * 0.0254**3),
    ],
)
def test_exact_units(text: str, kind: str, si: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize("text", ["8", 8, 8.5, "cm", "8 kg", "8 cmm", "", None, True, [1], "1e999 cm",
                                  "((( cm", "8 __import__('os')", "8 cm; 3", "nan cm"])  # fmt: skip
def test_what_is_no_length_is_refused(text: object) -> None:
    with pytest.raises(QuantityError, match=r"unit|length|large"):
        parse_quantity(text, "length")


@pytest.mark.parametrize(
    ("text", "told"), [("1,500 mm", "write 1.500 mm or 1500 mm"),
                       ("1/3 in", "write 8 cm, 80 mm or 3 in"), ("2 1 cm", "write 8 cm"), ("1.250,5 mm", "such as 8 cm"), ("23 5/8", "no unit")],
)  # fmt: skip
def test_commas_and_odd_fractions_are_not_guessed(text: str, told: str) -> None:
    with pytest.raises(QuantityError, match=re.escape(told)):
        parse_quantity(text, "length")


def test_no_unit_is_likelier_than_another() -> None:
    # A kitchen scale shows grams or ounces: common practice, no source.
    with pytest.raises(QuantityError, match='write "820 g", "820 kg", "820 lb" or "820 oz"'):
        parse_quantity("820", "mass")
    with pytest.raises(QuantityError, match='"600 cm", "600 mm" or "600 in"'):
        parse_quantity(600, "length")


def test_every_unit_agrees_with_a_library_of_units() -> None:
    # Pint's tables of units, written by others from NIST and BIPM.
    import pint

    registry = pint.UnitRegistry()
    spelt = {"gals": "gallon", "gal": "gallon", "imp gal": "imperial_gallon", "lbs": "lb",
             "imperial gallon": "imperial_gallon", "imperial gallons": "imperial_gallon",
             "fl oz": "fluid_ounce", "cc": "cm^3", '"': "inch", "″": "inch", "'": "foot", "′": "foot",
             "kgs": "kg", "kilo": "kg", "kilos": "kg", "t": "tonne", "oz": "ounce", "kgf": "kilogram_force", "lbf": "pound_force"}  # fmt: skip
    base = {"length": "m", "mass": "kg", "volume": "m^3", "area": "m^2", "force": "N"}
    checked = 0
    for kind, unit in base.items():
        for name in _KINDS[kind][0]:
            power = {"sq": 2, "square": 2, "cu": 3, "cubic": 3}.get(name.split()[0])
            word = f"{name.split()[-1]}^{power}" if power else name.removeprefix("US ")
            theirs = spelt.get(word, re.sub(r"(\w)([23])$", r"\1^\2", word.replace("**", "^")))
            value = registry.Quantity(1.0, theirs).to(unit).magnitude
            assert parse_quantity(f"1e-9 {name}", kind) == pytest.approx(1e-9 * value, rel=1e-12), (
                name
            )
            checked += 1
    assert checked > 150


@pytest.mark.parametrize(
    "text", ["60 9**9**9*cm", "60 cm.....", "60 cm # x", "6" + " " * 3000 + "cm", "6 cm\n7 cm", "٦ cm",
             "1_000 cm", "0x10 cm", "1e9999 cm", "9" * 5000 + " cm", "6 [length]", "6 cm*m/m", "6 delta_cm"],
)  # fmt: skip
def test_the_grammar_is_closed(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_quantity(text, "length")


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [  # NIST Handbook 44, appendix C: a cup is 8 fluid ounces, a gallon 128
        ("1½ in", "length", 0.0381), ("1 ½ in", "length", 0.0381), ("1½”", "length", 0.0381),
        ("1½''", "length", 0.0381), ("1’9”", "length", 0.5334), ('23⅝"', "length", 0.600075),
        ("½ lb", "mass", 0.22679619), ("24 in.", "length", 0.6096), ("2 ft. 6 in.", "length", 0.762),
        ("0.5 cu. ft.", "volume", 0.014158423), ("1 cubic foot", "volume", 0.028316847),
        ("2 cups", "volume", 3.785411784e-3 / 8), ("3 kilos", "mass", 3.0),
        ("30 centimeters", "length", 0.3), ("30\u00a0cm", "length", 0.3), ('"30 cm"', "length", 0.3),
    ],
)  # fmt: skip
def test_units_as_people_write_them(text: str, kind: str, value: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [  # a tape has ticks at whole and half centimetres, millimetres, and parts of an inch
        ("24 cm", 10), ("24.5 cm", 5), ("24,5 cm", 5), ("24.3 cm", 1), ("24.0 cm", 1),
        ("24.50 cm", 0.1), ("245 mm", 1), ("0.245 m", 1), ("23 5/8 in", 25.4 / 8),
        ("9.6 in", 2.54), ("9.5 in", 12.7), ("5' 6 1/2\"", 12.7), ("1 ft 3 in", 25.4),
        ("9½ in", 12.7), ("24 kg", 0), ("long", 0), ("", 0),
    ],
)  # fmt: skip
def test_how_a_length_is_written_tells_what_it_was_read_to(text: str, millimetres: float) -> None:
    assert read_to(text) == pytest.approx(millimetres / 1e3, rel=1e-12)


# NIST Handbook 44, appendix C: inch, foot and yard, ounce and pound, gallon are US customary.
@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("1 foot", True), ("1 yd x 12 x 10", True), ("1' 9\"", True), ("23⅝”", True), ("8 OZ", True),
        ("2 lb granite", True), ("60 cm, 9 in, 12 cm", True), ("$2/lb", True), ("5 gal", True),
        ("28 x 19 x 15 cm", False), ("520 g feetstone", False), ("5 imp gal", False), ("4,5", False),
    ],
)  # fmt: skip
def test_one_function_tells_us_units_in_what_is_typed(text: str, us: bool) -> None:
    assert in_us_units(text) is us


@pytest.mark.parametrize("text", ["1.200 g", "1,200 g", "2.500 grams"])
def test_grams_with_thousands_are_not_guessed(text: str) -> None:
    # 1.200 g is 1200 g where a point stands between thousands; no scale for stones shows mg.
    with pytest.raises(QuantityError, match=r"may be [12]\.[25] g.* or (1200|2500) g"):
        parse_quantity(text, "mass")
    assert parse_quantity("1.200 kg", "mass") == 1.2
