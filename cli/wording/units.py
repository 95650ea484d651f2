"""Units for people: the one table by which figures are rounded and converted.

A need is rounded up, what is there or on offer down, everything else to the nearest step.
"""

import math
import re
from collections.abc import Mapping
from enum import StrEnum
from functools import partial
from typing import NamedTuple

from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import FIGURE, Telling, metric

INCH, POUND, GALLON, OUNCE = 0.0254, 0.45359237, 3.785411784e-3, 0.028349523125
POUND_FORCE = 4.4482216152605  # [N]
LIVES_ON = math.inf


class Units(StrEnum):
    """The units in which people read the results."""

    METRIC = "metric"
    US = "us"


class Toward(StrEnum):
    """Where a figure is rounded to."""

    NEAREST = "nearest"
    UP = "up"
    DOWN = "down"


class Step(NamedTuple):
    """How figures below a bound are written."""

    below: float  # SI, of the figure without its sign
    unit: float  # SI
    step: float  # in that unit
    digits: int | None  # after the point; None: as many as there are
    name: str


def _one(unit: float, step: float, digits: int | None, name: str) -> tuple[Step, ...]:
    return (Step(LIVES_ON, unit, step, digits, name),)


RULED = {Units.METRIC: (1e-2, "cm"), Units.US: (INCH, "in")}  # unit along edges [m], its name
# kind of quantity → units → steps, the smallest figures first
TABLE: Mapping[str, Mapping[Units, tuple[Step, ...]]] = {
    "volume": {
        Units.METRIC: (
            Step(0.095e-3, 1e-6, 1, 0, "mL"),
            Step(9.995e-3, 1e-3, 0.01, 2, "L"),
            Step(LIVES_ON, 1e-3, 0.1, 1, "L"),
        ),
        Units.US: (
            Step(0.095 * GALLON, GALLON / 128, 0.1, 1, "fl oz"),
            Step(LIVES_ON, GALLON, 0.01, 2, "gal"),
        ),
    },
    "mass": {
        Units.METRIC: (
            Step(0.095, 1e-3, 1, 0, "g"),
            Step(0.995, 1e-3, 10, 0, "g"),
            Step(LIVES_ON, 1.0, 0.1, 1, "kg"),
        ),
        Units.US: (Step(POUND, OUNCE, 0.1, 1, "oz"), Step(LIVES_ON, POUND, 0.1, 1, "lb")),
    },
    "sinker": {
        Units.METRIC: (Step(9.995, 1e-3, 10, 0, "g"), Step(LIVES_ON, 1.0, 0.1, 1, "kg")),
        Units.US: _one(POUND, 0.02, 2, "lb"),  # one unit, so that needs and offers compare
    },
    "length": {
        Units.METRIC: (Step(0.0995, 1e-2, 0.1, 1, "cm"), Step(LIVES_ON, 1e-2, 0.5, None, "cm")),
        Units.US: _one(INCH, 0.25, None, "in"),
    },
    "place": {
        Units.METRIC: _one(1e-2, 0.5, None, "cm"),
        Units.US: _one(INCH, 0.25, None, "in"),
    },
    "area": {
        Units.METRIC: _one(1e-4, 1, 0, "cm²"),
        Units.US: _one(INCH**2, 1, 0, "in²"),
    },
    "gap": {
        Units.METRIC: _one(1e-3, 1, 0, "mm"),
        Units.US: _one(INCH, 0.01, 2, "in"),
    },
    "force": {
        Units.METRIC: _one(1.0, 0.1, 1, "N"),
        Units.US: _one(POUND_FORCE, 0.1, 1, "lbf"),
    },
    "bag mass": {Units.METRIC: _one(1.0, 0.1, None, "kg"), Units.US: _one(POUND, 0.1, None, "lb")},
    "bag volume": {
        Units.METRIC: _one(1e-3, 0.1, None, "L"),
        Units.US: _one(GALLON, 0.01, None, "gal"),
    },
    "density": {
        Units.METRIC: _one(1.0, 1, 0, "kg/m³"),
        Units.US: _one(POUND / (12 * INCH) ** 3, 0.1, 1, "lb/ft³"),
    },
    "whole money": {units: _one(1.0, 1, 0, "") for units in Units},
    "money": {units: _one(1.0, 0.01, 2, "") for units in Units},
    "angle": {units: _one(1.0, 1, 0, "°") for units in Units},
    "share": {units: _one(0.01, 1, 0, "%") for units in Units},
}

# Unit of a figure in a note → its size [SI], kind.
NOTED = {
    "mm": (1e-3, "gap"), "cm": (1e-2, "gap"), "cm²": (1e-4, "area"), "L": (1e-3, "volume"),
    "mL": (1e-6, "volume"), "kg": (1.0, "mass"), "kg/m³": (1.0, "density"),
}  # fmt: skip
NAMES = {step.name for by in TABLE.values() for steps in by.values() for step in steps} - {""}
# Blanks at which no line is broken: between a figure and its unit, in a unit, and around "×".
JOINTS = re.compile(
    rf"(?<=[\d½¼¾]) (?=(?:{'|'.join(sorted(NAMES))})(?!\w))"
    r"|(?<=fl) (?=oz)|(?<=×) (?=\d)|(?<=\w) (?=×)"
)


def written(value: float, kind: str, units: Units, toward: Toward = Toward.NEAREST) -> str:
    """Write a figure for people.

    The value is in SI, its kind a key of `TABLE`; it is rounded up where it is needed, down where
    it is offered or left.

    Examples
    --------
    >>> written(0.7024, "sinker", Units.METRIC, Toward.UP)
    '710 g'
    >>> written(0.1016, "length", Units.US)
    '4 in'
    """
    step = _step_for(value, kind, units)
    number = _number(value, step, toward)
    gap = "" if step.name in ("°", "") else " "
    return f"{number}{gap}{step.name}"


def ranged(figure: Range, kind: str, units: Units) -> str:
    """Write a range as "10.6 kg (8.3-12.9)", or the middle alone where no bound differs from it.

    The bounds are written in the unit of the middle.
    """
    step = _step_for(figure.mid, kind, units)
    low, mid, high = (_number(value, step, Toward.NEAREST) for value in figure)
    words = written(figure.mid, kind, units)
    return words if low == mid == high else f"{words} ({low}-{high})"


def figures_in(units: Units) -> Telling:
    """Give how notes tell the figures that they leave open, see `telling.metric`.

    Examples
    --------
    >>> figures_in(Units.US)("faces of <1.5 mm>, <2.30 L>")
    'faces of 0.06 in, 0.61 gal'
    """

    def told(found: re.Match[str]) -> str:
        size, kind = NOTED[found[2]]
        return written(float(found[1]) * size, kind, units)

    return metric if units is Units.METRIC else partial(FIGURE.sub, told)


def show_length(metres: float, units: Units = Units.METRIC) -> str:
    """Write a length [m]: to 0.5 cm from 10 cm on, to 1 mm below; or to a quarter inch."""
    return written(metres, "length", units)


def volume_words(figure: Range, units: Units) -> str:
    """Write a volume [m³] with its range."""
    return ranged(figure, "volume", units)


def mass_words(figure: Range, units: Units) -> str:
    """Write a mass [kg] with its range."""
    return ranged(figure, "mass", units)


def grams(kilograms: float, units: Units) -> str:
    """Write a small mass [kg] to 10 g, or to a fiftieth of a pound."""
    return written(kilograms, "sinker", units)


def grams_up(kilograms: float, units: Units) -> str:
    """Write a mass that is asked for [kg], rounded up to 10 g."""
    return written(kilograms, "sinker", units, Toward.UP)


def about_grams(figure: Range, units: Units) -> str:
    """Write a range of small masses [kg], none below zero."""
    low, high = (grams(max(0.0, mass), units) for mass in (figure.low, figure.high))
    if low == high == grams(0.0, units):
        return f"less than {grams_up(1e-6, units)}"
    return f"about {low}" if low == high else spanned(low, high)


def spanned(low: str, high: str, joint: str = " to ") -> str:
    """Join two written figures, with one unit once.

    Examples
    --------
    >>> spanned("320 g", "330 g"), spanned("980 g", "1.1 kg")
    ('320 to 330 g', '980 g to 1.1 kg')
    """
    number, _, unit = low.partition(" ")
    return f"{number if high.endswith(f' {unit}') else low}{joint}{high}"


def place_words(metres: float, units: Units) -> str:
    """Write a place in the tank [m] to 0.5 cm or a quarter inch."""
    return written(metres, "place", units)


def push_words(newtons: float, units: Units) -> str:
    """Write a force [N]; one that is next to nothing is not told as nothing."""
    if is_nothing(newtons, "force", units):
        return f"under {written(1e-6, 'force', units, Toward.UP)}"
    return written(newtons, "force", units)


def is_nothing(value: float, kind: str, units: Units, toward: Toward = Toward.NEAREST) -> bool:
    """Tell whether a figure is nothing as it is written."""
    return float(_number(value, _step_for(value, kind, units), toward)) == 0


def _step_for(value: float, kind: str, units: Units) -> Step:
    """Find how a figure of this size is written."""
    return next(step for step in TABLE[kind][units] if abs(value) < step.below)


def _number(value: float, step: Step, toward: Toward) -> str:
    """Round a figure and write it without its unit."""
    steps = value / step.unit / step.step
    slack = 1e-6  # a figure that lies on a step stays there
    if toward is Toward.UP:
        count = math.ceil(steps - slack)
    elif toward is Toward.DOWN:
        count = math.floor(steps + slack)
    else:
        count = round(steps)
    rounded = count * step.step + 0.0  # no minus zero
    return f"{rounded:g}" if step.digits is None else f"{rounded:.{step.digits}f}"
