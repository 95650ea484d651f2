"""Figures on the build sheet: each taken from the plan's document, in both systems of units."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from plumbstone.cli.documents import SMALL, UNITS
from plumbstone.cli.wording.units import JOINTS, Toward, Units, ranged, written
from plumbstone.meshes.ranges import Range

# End of a key of the document → SI size of its unit.
SIZES = {**dict(UNITS.values()), **SMALL}


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures of the plan's document, each written with its place in it."""

    document: dict[str, Any]

    def __call__(self, path: str, kind: str, toward: str = "nearest") -> Markup:
        """Write the figure at a path such as "water.dosing_l.mid", or a sum of some ("a+b").

        `kind` is a key of the table of units; `toward` is "up" for what is needed and "down" for
        what is left.
        """
        value = self.si(path)
        return _span(path, kind, lambda units: written(value, kind, units, Toward(toward)))

    def ranged(self, path: str, kind: str) -> Markup:
        """Write the range at a path as "4.0 kg (3.1-5.0)"."""
        figure = Range(*(self.si(f"{path}.{end}") for end in ("low", "mid", "high")))
        return _span(path, "ranged", lambda units: ranged(figure, kind, units))

    def sides(self, path: str) -> Markup:
        """Write length × width × height at a path, the unit once."""
        sides = [self.si(f"{path}.{axis}") for axis in range(3)]
        return _span(path, "sides", lambda units: _joined(sides, units))

    def si(self, path: str) -> float:
        """Give the figure at a path, or a sum of some [SI]."""
        return sum(
            float(look_up(self.document, part)) * unit_size(part) for part in path.split("+")
        )


def look_up(document: dict[str, Any], path: str) -> Any:
    """Find the value at a dotted path; numbers index lists."""
    value: Any = document
    for part in path.split("."):
        value = value[int(part)] if isinstance(value, list) else value[part]
    return value


def unit_size(path: str) -> float:
    """SI size of the unit in which the document gives the figure at a path."""
    keys = [key for key in path.split(".") if not re.fullmatch(r"\d+|low|mid|high", key)]
    for key in reversed(keys):
        stem, _, ending = key.rpartition("_")
        if ending in SIZES and stem and not stem.endswith("_per"):
            return SIZES[ending]
    return 1.0


def _span(path: str, kind: str, words: Callable[[Units], str]) -> Markup:
    """Write a figure in both systems of units, with where it stands in the document."""
    metric, us = map(words, Units)
    return Markup('<span class="q" data-path="{}" data-kind="{}" data-us="{}">{}</span>').format(
        path, kind, us, metric
    )


def _joined(lengths: list[float], units: Units) -> str:
    """Write lengths [m] of one unit as "27 × 16.5 × 22 cm"."""
    numbers, names = zip(*(written(v, "length", units).split(" ") for v in lengths), strict=True)
    return f"{' × '.join(numbers)} {names[0]}"


def both(metric: str, us: str) -> Markup:
    r"""Write words in both systems of units, once where they are the same; no line parts a figure.

    Examples
    --------
    >>> both("2 × 9 L", "2 × 9 L") == "2 × 9 L".replace(" ", chr(160))
    True
    """
    metric, us = (type(words)(JOINTS.sub("\u00a0", words)) for words in (metric, us))
    if str(metric) == str(us):
        return Markup("{}").format(metric)
    return Markup('<span class="of-metric">{}</span><span class="of-us">{}</span>').format(
        metric, us
    )
