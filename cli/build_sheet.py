"""The build sheet: one page that lies beside the tank while it is set up."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from plumbstone.cli.drawing import plan_figure, section_figure, svg_text
from plumbstone.cli.output import GALLON, INCH, OUNCE, POUND, Units
from plumbstone.cli.scene import view_traces

if TYPE_CHECKING:
    from plumbstone.volumes.plan import Plan

JUG = 1.0  # [L]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work, with what to do in it."""

    title: str
    lines: tuple[Markup, ...]


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


def build_sheet(plan: "Plan", document: dict[str, Any]) -> str:
    """Give the whole page as HTML that needs no other file and no network.

    Parameters
    ----------
    plan : Plan
        For the drawings and the view.
    document : dict
        Its JSON document; every figure on the page is taken from it.
    """
    from jinja2 import Environment
    from plotly.offline import get_plotlyjs

    parts = files("plumbstone.cli")
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.globals["q"] = Figures(document)
    template = environment.from_string(parts.joinpath("sheet.html").read_text(encoding="utf-8"))
    return template.render(
        document=document,
        steps=list(_steps(document, Figures(document))),
        drawings=[
            {
                "units": units.value,
                "plan": Markup(svg_text(plan_figure(plan, units))),
                "section": Markup(svg_text(section_figure(plan, units))),
            }
            for units in Units
        ],
        style=Markup(parts.joinpath("sheet.css").read_text(encoding="utf-8")),
        script=Markup(parts.joinpath("sheet.js").read_text(encoding="utf-8")),
        viewer=Markup(get_plotlyjs()),
        data=_embedded({"view": view_traces(plan), "tips": _tips(document), "holds": _moves(plan)}),
        line=document["tank"]["water_line_cm"],
    )


def _embedded(data: dict[str, Any]) -> Markup:
    """Give data as JSON that may stand inside a script element."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _tips(document: dict[str, Any]) -> list[dict[str, str]]:
    """Say what a tapped piece is: name, litres, kilograms, in both systems of units."""
    tips = []
    for number, piece in enumerate(document["pieces"], 1):
        volume, mass = piece["volume_l"]["mid"], piece["mass_kg"]["mid"]
        both = [written(volume, "volume"), written(mass, "mass")]
        words = [f"{number}. {piece['name']}: {v}, {m}" for v, m in zip(*both, strict=True)]
        tips.append({"metric": words[0], "us": words[1]})
    return tips


def _moves(plan: "Plan") -> list[dict[str, Any]]:
    """Tell for each group its pieces and at which water levels [cm] it would move."""
    numbers = {body.entry.name: number for number, body in enumerate(plan.bodies, 1)}
    return [
        {
            "name": hold.group.name,
            "pieces": [numbers[name] for name in hold.group.wood],
            "levels": [round(float(level) * 100, 2) for level in hold.levels],
            "moves": [bool(moves) for moves in hold.moves],
        }
        for hold in plan.holds
    ]


def _steps(document: dict[str, Any], q: Figures) -> Iterator[Step]:
    """Order the work as it goes at the bench."""
    pieces = list(enumerate(document["pieces"]))
    on_glass = [(i, p) for i, p in pieces if p["kind"] == "stone" and p["rests"] == "floor"]
    if on_glass:
        yield Step("Stones on the glass", tuple(_set_lines(on_glass, q)))
    wood = [(i, p) for i, p in pieces if p["kind"] == "wood"]
    if wood or document["holds"]:
        yield Step("Wood and what holds it", tuple(_wood_lines(document, wood, q)))
    if document["border"] is not None:
        yield Step("Border", tuple(_border_lines(document, q)))
    pressed = [(i, p) for i, p in pieces if p["kind"] == "stone" and p["rests"] != "floor"]
    if document["layers"]:
        yield Step("Pour", tuple(_pour_lines(document, q)))
    if pressed:
        yield Step("Press these stones in", tuple(_set_lines(pressed, q)))
    if document["water"] is not None:
        yield Step("Plant and fill", tuple(_fill_lines(document, q)))
        yield Step("After the first hours", tuple(_dose_lines(document, q)))
    yield Step("Weeks later", tuple(_later_lines(document, q)))
    if document["load"] is not None:
        yield Step("Moving day", tuple(_move_lines(q)))


def _set_lines(pieces: list[tuple[int, dict[str, Any]]], q: Figures) -> Iterator[Markup]:
    for i, piece in pieces:
        yield Markup("{}. {}: middle {} from the left pane, {} from the front; {}").format(
            i + 1,
            piece["name"],
            q(f"pieces.{i}.from_left_cm", "length"),
            q(f"pieces.{i}.from_front_cm", "length"),
            q(f"pieces.{i}.mass_kg.mid", "mass"),
        )


def _wood_lines(
    document: dict[str, Any], wood: list[tuple[int, dict[str, Any]]], q: Figures
) -> Iterator[Markup]:
    yield from _set_lines(wood, q)
    for i, hold in enumerate(document["holds"]):
        needs, had = q(f"holds.{i}.sinker_g", "grams"), q(f"holds.{i}.hung_g", "grams")
        ending = "Stays, if set as described."
        if not hold["stays"]:
            ending = "Add or move stone before you fill."
        yield Markup("{}: needs {} of {}, you hung {}. {}").format(
            hold["name"], needs, hold["sinker_material"], had, ending
        )
    yield Markup("Leave the ties on; soaked wood is tested at the next re-layout.")


def _border_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    border = document["border"]
    if border["strip"]:
        yield Markup("Stand the hidden strip behind the row, up to the soil line.")
    for i, gap in enumerate(border["gaps"]):
        if gap["state"] == "holds":
            continue
        yield Markup("Gap {} - {}, {}: soil shows {} out on the sand; {}.").format(
            gap["left"],
            gap["right"],
            q(f"border.gaps.{i}.width_mm", "small"),
            q(f"border.gaps.{i}.reach_cm", "length"),
            gap["cure"],
        )


def _pour_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    for i, layer in enumerate(document["layers"]):
        jugs = max(1, round(layer["poured_l"] / JUG))
        words = Markup("{}: pour {}, about {} one-litre jugs, {}.").format(
            layer["name"], q(f"layers.{i}.poured_l", "volume"), jugs, layer["zone"]
        )
        if layer["slides_l"] > 0.02 * layer["settled_l"] and layer["slides_lower_cm"] > 0.5:
            words += Markup(" {} ends about {} lower than drawn.").format(
                layer["slides_where"].capitalize(), q(f"layers.{i}.slides_lower_cm", "length")
            )
        yield words


def _fill_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    yield Markup("Plant while the bed is damp; count depths from the glass.")
    for i, hold in enumerate(document["holds"]):
        if hold["moves_at_cm"] is not None:
            level = q(f"holds.{i}.moves_at_cm", "length")
            yield Markup(
                "Stop a little below {} and press {}. If it rocks, drain and add stone."
            ).format(level, hold["name"])
    yield Markup("Fill slowly onto a plate up to {} above the glass: {} of water.").format(
        q("tank.water_line_cm", "length"), q("water.fill_l.mid", "volume")
    )


def _dose_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    yield Markup("Dose for {}, not the {} of the empty box.").format(
        q("water.dosing_l.mid", "volume"), q("water.box_l", "volume")
    )
    for i, _ in enumerate(document["water"]["marks"]):
        share = q(f"water.marks.{i}.change_percent", "plain")
        level = q(f"water.marks.{i}.level_cm", "length")
        yield Markup("Mark the pane for a {} % change: drain to {} above the glass.").format(
            share, level
        )


def _later_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    for i, layer in enumerate(document["layers"]):
        if layer["left_over_l"]:
            yield Markup("Spare {}: {} left over; keep it dry and closed.").format(
                layer["name"], q(f"layers.{i}.left_over_l", "volume")
            )
    yield Markup("Soil settles within hours and breaks down over months; top up where it sank.")
    yield Markup("Check that no stone leans towards a pane and that the border holds.")


def _move_lines(q: Figures) -> Iterator[Markup]:
    yield Markup("Drained to the bed: {}. Stripped of stones and wood: {}, without glass.").format(
        q("load.drained_without_glass_kg.mid", "mass"),
        q("load.stripped_without_glass_kg.mid", "mass"),
    )
    yield Markup("Never lift a tank with water, stones or bed in it.")
