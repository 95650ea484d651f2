"""How figures are rounded and converted, for any size of them, by pint and by plain rules."""

import re
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plumbstone.cli.wording.units import (
    TABLE,
    Toward,
    Units,
    about_grams,
    grams,
    grams_up,
    ranged,
    written,
)
from plumbstone.meshes.ranges import Range

SI = {"volume": "m³", "mass": "kg", "sinker": "kg", "length": "m", "place": "m", "gap": "m",
      "force": "N", "bag mass": "kg", "bag volume": "m³"}  # fmt: skip
PINT = {"fl oz": "US_fluid_ounce", "gal": "US_liquid_gallon"}


@cache
def book() -> Any:
    """Give the units of pint, which take long to load, where they are asked for."""
    import pint

    return pint.UnitRegistry()


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("kind", list(SI))
@settings(max_examples=40, deadline=None)
@given(size=st.floats(-5, 1))  # up to 10 m, 10 m³, 10 kg
def test_what_is_written_is_the_figure_in_that_unit(kind: str, units: Units, size: float) -> None:
    value = 10**size
    found = {toward: written(value, kind, units, toward) for toward in Toward}
    read, steps = {}, {}
    for toward, words in found.items():
        number, name = re.fullmatch(r"([\d.]+) (.+)", words).groups()  # type: ignore[union-attr]
        unit = book().Quantity(1, PINT.get(name, name)).to(SI[kind]).magnitude
        read[toward] = float(number) * unit
        steps[toward] = max(step.step for step in TABLE[kind][units] if step.name == name) * unit
    near = Toward.NEAREST
    assert abs(read[near] - value) <= 0.5001 * steps[near] + 1e-6 * value
    # What is needed is never told too small, what is offered never too large; by a step at most.
    assert value * (1 - 2e-6) - 1e-6 * steps[Toward.UP] <= read[Toward.UP]
    assert read[Toward.UP] <= value + 1.001 * steps[Toward.UP]
    assert read[Toward.DOWN] <= value * (1 + 2e-6) + 1e-6 * steps[Toward.DOWN]
    assert read[Toward.DOWN] >= value - 1.001 * steps[Toward.DOWN]


@pytest.mark.parametrize(
    ("kind", "digits"), [("angle", 0), ("share", 0), ("money", 2), ("whole money", 0)]
)
@settings(max_examples=40, deadline=None)
@given(value=st.floats(0, 1e4))
def test_what_has_no_unit_is_rounded_alone(kind: str, digits: int, value: float) -> None:
    scale = 100 if kind == "share" else 1
    for units in Units:
        words = written(value, kind, units)
        number = float(words.rstrip("°% "))
        assert number == pytest.approx(value * scale, abs=0.5001 * 10**-digits)
        assert len(words.rstrip("°% ").partition(".")[2]) == digits


def test_nothing_is_written_with_a_minus() -> None:
    for kind in SI:
        for units in Units:
            assert not written(-1e-12, kind, units).startswith("-")
            assert written(-2000.0, kind, units).startswith("-")


@settings(max_examples=40, deadline=None)
@given(st.floats(0.001, 900), st.floats(0, 0.5), st.floats(0, 0.5))
def test_ranges_are_told_in_the_unit_of_their_middle(mid: float, less: float, more: float) -> None:
    figure = Range(mid * (1 - less), mid, mid * (1 + more))
    words = ranged(figure, "mass", Units.METRIC)
    head, _, ends = words.partition(" (")
    assert head == written(mid, "mass", Units.METRIC)
    if not ends:
        return
    low, high = (float(end) for end in ends.rstrip(")").split("-"))
    unit = 1e-3 if head.endswith(" g") else 1.0
    step = {"g": 10.0 if mid >= 0.095 else 1.0, "kg": 0.1}[head.split()[1]]
    assert low * unit == pytest.approx(figure.low, abs=0.5001 * step * unit)
    assert high * unit == pytest.approx(figure.high, abs=0.5001 * step * unit)


def test_small_masses_by_the_shelf() -> None:
    assert (grams(0.704, Units.METRIC), grams_up(0.704, Units.METRIC)) == ("700 g", "710 g")
    assert grams_up(0.7, Units.METRIC) == "700 g"  # what lies on a step stays there
    # 1 lb = 453.59237 g: NIST SP 811, appendix B.8.
    assert grams(0.45359237, Units.US) == "1.00 lb"
    assert about_grams(Range(0.401, 0.402, 0.403), Units.METRIC) == "about 400 g"
    assert about_grams(Range(0.3, 0.4, 0.5), Units.METRIC) == "300 to 500 g"
    assert about_grams(Range(0.001, 0.002, 0.004), Units.METRIC) == "less than 10 g"
