"""One look over every figure of a result before anyone reads it: finite, in order, possible."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range

Result = TypeVar("Result")

# A figure whose name ends so is never below zero ...
NEVER_NEGATIVE = (
    "_m3", "_kg", "_kg_per_m3", "_pa", "_n", "_percent", "count", "price", "cost", "sacks", "bags",
    "factor", "days", "covered", "below_soil",
)  # fmt: skip
# ... unless it is a difference of two that are not.
SIGNED = ("mass_in_water_kg", "lift_kg", "spare_kg", "margin_kg", "left_over_m3")
# Widest bounds of a few figures (SI); of wood: balsa to a log full of water, with room.
BOUNDS = {
    "density_kg_per_m3": (50.0, 2000.0),
    "water_density_kg_per_m3": (900.0, 1100.0),
    "covered": (0.0, 1.0),
    "below_soil": (0.0, 1.0),
}
# What of the scape file, or of the command line, such a figure hangs on first.
HINTS = {
    "density_kg_per_m3": "the tub test (just_sinks_with), mass and size of the wood",
    "dosing_m3": "the lumps, pieces and layers that fill the tank, and water_line",
    "fill_m3": "the lumps, pieces and layers that fill the tank, and water_line",
    "free_m3": "the lumps, pieces and layers that fill the tank, and water_line",
}
ROUNDING = 1e-6


class ImpossibleError(PlumbstoneError, ValueError):
    """What the user described leads to a figure that cannot be, such as less than no water."""


def checked(result: Result) -> Result:
    """Give a result back if every figure in it can be.

    It is a frozen dataclass, mapping, sequence or number of figures in SI units; the name of each
    ends with its unit.

    Raises
    ------
    ImpossibleError
        If a figure is below zero or beyond its bounds that never is; its name stands in the
        message.
    ValueError
        If one is no number at all, or a range is out of order: a fault of ours.
    """
    source = f"{file}: " if (file := getattr(result, "file", "")) else ""
    for name, value in figures(result):
        low, high = (value.low, value.high) if isinstance(value, Range) else (value, value)
        middle = value.mid if isinstance(value, Range) else value
        if not (math.isfinite(low) and math.isfinite(high) and low <= middle <= high):
            raise ValueError(f"{name} is {value}")
        least, most = bounds(name)
        if low < least - ROUNDING or high > most + ROUNDING:
            found = low if low < least - ROUNDING else high
            hint = HINTS.get(name.rsplit(".", 1)[-1], "masses and sizes")
            room = "no room is left for water: " if name.startswith("water.") else ""
            problem = f"{source}{room}{name} comes to {found:.4g}, which cannot be"
            raise ImpossibleError(f"{problem}; check {hint}, and the units.")
    return result


def figures(result: Any, name: str = "") -> Iterator[tuple[str, float | Range]]:
    """Walk over all numbers and ranges of a result [SI], each with a name: ``water.fill_m3``."""
    if isinstance(result, Range):
        yield name, result
    elif isinstance(result, bool) or result is None or isinstance(result, str):
        return
    elif isinstance(result, int | float):
        yield name, float(result)
    elif is_dataclass(result):
        for f in fields(result):
            yield from figures(getattr(result, f.name), f"{name}.{f.name}".lstrip("."))
    elif isinstance(result, Mapping):
        for key, value in result.items():
            yield from figures(value, f"{name}.{key}".lstrip("."))
    elif isinstance(result, tuple | list):
        for place, value in enumerate(result, 1):
            label = getattr(value, "name", "") or place
            yield from figures(value, f"{name} {label}" if name else str(label))


def bounds(name: str) -> tuple[float, float]:
    """Bounds [SI] of a figure by the end of its name; numbers of a list have the list's."""
    last = name.rsplit(".", 1)[-1].split(" ", 1)[0]
    if last in BOUNDS:
        return BOUNDS[last]
    if last.endswith(NEVER_NEGATIVE) and last not in SIGNED:
        return 0.0, math.inf
    return -math.inf, math.inf
