"""The build sheet: one page that lies beside the tank while it is set up."""

import json
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from plumbstone.cli.pictures.drawing import plan_figure, section_figure, svg_text
from plumbstone.cli.pictures.scene import view_traces
from plumbstone.cli.sheet.sheet_figures import Figures, written
from plumbstone.cli.sheet.work_order import work_steps
from plumbstone.cli.wording.units import Units

if TYPE_CHECKING:
    from plumbstone.volumes.plan import Plan


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

    parts = files("plumbstone.cli.sheet")
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.globals["q"] = Figures(document)
    template = environment.from_string(parts.joinpath("sheet.html").read_text(encoding="utf-8"))
    return template.render(
        document=document,
        steps=list(work_steps(document, Figures(document))),
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
