"""Figures on the build sheet: each taken from the plan's document, in both systems of units."""

from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from plumbstone.cli.wording.units import GALLON, INCH, OUNCE, POUND


@dataclass(slots=True)
class Figures:
    """Figures of the plan's document, each written once with its place in it."""

    document: dict[str, Any]
    used: list[str] = field(default_factory=list)

    def __call__(self, path: str, kind: str) -> Markup:
        """Write the figure at a path such as "water.dosing_l.mid" as a kind of quantity."""
        value = look_up(self.document, path)
        self.used.append(path)
        metric, us = written(float(value), kind)
        return Markup(
            '<span class="q" data-path="{}" data-kind="{}" data-us="{}">{}</span>'
        ).format(path, kind, us, metric)


def look_up(document: dict[str, Any], path: str) -> Any:
    """Find the value at a dotted path; numbers index lists."""
    value: Any = document
    for part in path.split("."):
        value = value[int(part)] if isinstance(value, list) else value[part]
    return value


def written(value: float, kind: str) -> tuple[str, str]:
    """Write a figure of the document in metric and in US units, rounded for people."""
    if kind == "volume":
        metric = f"{value:.1f} L" if abs(value) >= 10 else f"{value:.2f} L"
        return metric, f"{value * 1e-3 / GALLON:.2f} gal"
    if kind == "mass":
        metric = f"{value:.1f} kg" if abs(value) >= 1 else f"{round(value * 100) * 10:g} g"
        pounds = value / POUND
        return metric, f"{pounds:.1f} lb" if abs(pounds) >= 1 else f"{value / OUNCE:.1f} oz"
    if kind == "grams":
        return f"{round(value / 10) * 10:g} g", f"{value * 1e-3 / OUNCE:.1f} oz"
    if kind == "length":
        return f"{round(value * 2) / 2:g} cm", f"{round(value * 1e-2 / INCH * 4) / 4:g} in"
    if kind == "small":
        return f"{value:.0f} mm", f"{value * 1e-3 / INCH:.2f} in"
    if kind == "money":
        return f"{value:.2f}", f"{value:.2f}"
    if kind == "degrees":
        return f"{value:.0f}°", f"{value:.0f}°"
    if kind == "pressure":
        return f"{value:.1f} kPa", f"{value * 20.885434:.0f} lb/ft²"
    return f"{value:g}", f"{value:g}"
