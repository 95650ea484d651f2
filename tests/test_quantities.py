"""Quantities against exact unit definitions."""

import pytest

from plumbstone.volumes.scape.quantities import QuantityError, parse_quantity


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
    ],
)
def test_exact_units(text: str, kind: str, si: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize("text", ["8", 8, 8.5, "cm", "8 kg", "8 cmm", "", None, True, [1], "1e999 cm",
                                  "((( cm", "8 __import__('os')", "8 cm; 3", "nan cm"])  # fmt: skip
def test_what_is_no_length_is_refused(text: object) -> None:
    with pytest.raises(QuantityError, match=r"unit|length|large"):
        parse_quantity(text, "length")
