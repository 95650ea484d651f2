"""The build sheet: one page that lies beside the tank while it is set up."""

import base64
import functools
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from importlib.resources import files
from typing import Any

from jinja2 import Environment, Template
from markupsafe import Markup

from plumbstone.cli.documents import plan_document
from plumbstone.cli.pictures.drawing import svg_text
from plumbstone.cli.pictures.floor_plan import plan_figure
from plumbstone.cli.pictures.front_view import front_figure, section_figure, sides_figure
from plumbstone.cli.pictures.layout import CROWDED, PHONE, SCREEN
from plumbstone.cli.pictures.scene import still_picture, three_js, view_data
from plumbstone.cli.pictures.sight import Sight
from plumbstone.cli.sheet.outlines import small_outlines, stands_words
from plumbstone.cli.sheet.sheet_figures import Figures, both
from plumbstone.cli.sheet.work_order import work_steps
from plumbstone.cli.wording import report as wording
from plumbstone.cli.wording.bed import bag_words, if_worse_sentence
from plumbstone.cli.wording.findings import finding_words, together
from plumbstone.cli.wording.units import INCH, Units, figures_in, show_length, written
from plumbstone.volumes.figures import LayerFigures, Report
from plumbstone.volumes.findings import Finding, Severity

DRAWINGS = {
    "plan": plan_figure, "front": front_figure, "sides": sides_figure, "section": section_figure
}  # fmt: skip
MEDIA = {"wide": SCREEN, "slim": PHONE}
PANES = {"front": ("left", "right"), "back": ("left", "right"), "left": ("front", "back"),
         "right": ("front", "back"), "border": ("left", "right")}  # fmt: skip
FIRST_TOLD = 3  # findings that stand open in the first block
EVEN = 2e-3  # two heights that differ by less are told as one [m]


def build_sheet(sight: Sight, report: Report, units: Units = Units.METRIC) -> str:
    """Give the whole page as HTML that needs no other file and no network.

    Drawings and view come from the sight, every figure and finding from the report. It opens in
    some units; the reader's own choice is kept.
    """
    document = plan_document(report)
    figures = Figures(document)
    steps = list(work_steps(report, figures))
    told = [finding for step in steps for finding in step.findings]
    return _page().render(
        q=figures,
        document=document,
        report=report,
        urgent=wording.told_first(report),
        notes=[f for f in report.findings if f.severity is Severity.NOTE and f not in told],
        stop=wording.not_yet(report),
        verdict=wording.verdict(report).rstrip("."),
        unpriced=wording.unpriced_words(report),
        first=FIRST_TOLD,
        crowded=CROWDED,
        steps=steps,
        cards=[
            {"form": form, "shapes": small_outlines(form), "stands": stands_words(form, figures_of)}
            for form, figures_of in zip(sight.forms, report.pieces, strict=True)
        ],
        drawings=dict(_drawings(sight)),
        style=Markup(_part("sheet.css")),
        script=Markup(_part("viewer.js") + "\n" + _part("sheet.js")),
        three=Markup(three_js() or ""),
        still=base64.b64encode(still_picture(sight)).decode("ascii"),
        data=_embedded(
            {
                "view": view_data(sight),
                "units": units.value,
                "tips": _tips(report),
                "holds": _moves(sight),
                "key": f"plumbstone {report.name} "
                + "x".join(f"{v:.3f}" for v in (report.tank.length_m, report.tank.depth_m)),
            }
        ),
        numbers={piece.name: piece.number for piece in report.pieces},
        slice=_slice(report),
    )


@functools.cache
def _page() -> Template:
    """Give the page without what is told on it, compiled once."""
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.globals.update(
        both=both, told=_told, together=together,
        panes=_pane_words, bags=_worded(lambda layer, units: bag_words(layer.bags, units)),
        if_worse=_worded(if_worse_sentence), item=wording.item_words,
        amount=_worded(wording.amount_words),
        note=_worded(lambda text, units: figures_in(units)(text)),
    )  # fmt: skip
    return environment.from_string(_part("sheet.html"))


def _part(name: str) -> str:
    """Read one of the files that the page is made of."""
    return files("plumbstone.cli.sheet").joinpath(name).read_text("utf-8")


def _drawings(sight: Sight) -> Iterator[tuple[str, Markup]]:
    """Give each drawing in both systems of units, for wide and for narrow screens."""
    for name, draw in DRAWINGS.items():
        drawn = [
            Markup('<div class="of-{} {}">{}</div>').format(
                units.value, size,
                Markup(svg_text(draw(sight, units, medium), f"{name}-{units.value}-{size}-")),
            )
            for units in Units
            for size, medium in MEDIA.items()
        ]  # fmt: skip
        yield name, Markup("").join(drawn)


def _told(found: Iterable[Sequence[Finding]]) -> list[tuple[Severity, Markup]]:
    """Write findings in both systems of units, those that are told once together."""
    return [
        (
            first.severity,
            Markup("<b>{}:</b> {}").format(
                wording.MARKS[first.severity],
                both(*(finding_words(first, units, *alike) for units in Units)),
            ),
        )
        for first, *alike in found
    ]


def _worded(words: Callable[[Any, Units], str]) -> Callable[[Any], Markup]:
    """Let what words a figure in one system of units do it in both."""
    return lambda figure: both(*(words(figure, units) for units in Units))


def _pane_words(layer: LayerFigures) -> list[tuple[str, Markup]]:
    """Say for each pane that a layer reaches how high it is poured there."""

    def words(pane: str, units: Units) -> str:
        first, last = (show_length(level, units) for level in layer.ends_m[pane])
        left, right = PANES[pane]
        even = abs(layer.ends_m[pane][0] - layer.ends_m[pane][1]) < EVEN
        return first if even else f"{first} {left}, {last} {right}"

    return [(pane, _worded(words)(pane)) for pane in layer.ends_m]


def _slice(report: Report) -> Markup:
    """Write what a centimetre, or an inch, of water just below the line holds."""
    if report.water is None:
        return Markup("")
    one = report.water.per_cm_m3
    thick = {Units.METRIC: 1.0, Units.US: INCH * 100}
    return both(*(written(one * thick[units], "volume", units) for units in Units))


def _embedded(data: dict[str, Any]) -> Markup:
    """Give data as JSON that may stand inside a script element."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _tips(report: Report) -> list[dict[str, str]]:
    """Say what a tapped piece is: name, size, mass, top, in both systems of units."""
    return [
        {
            units.value: f"{piece.number}. {piece.name}: {piece.material}, "
            f"{written(piece.mass_kg.mid, 'mass', units)}; "
            f"top {show_length(piece.top_m, units)} above the glass"
            for units in Units
        }
        for piece in report.pieces
    ]


def _moves(sight: Sight) -> list[dict[str, Any]]:
    """Tell for each group its pieces and at which water levels [m] it would move."""
    numbers = {form.body.entry.name: form.number for form in sight.forms}
    return [
        {
            "name": hold.group.name,
            "pieces": [numbers[name] for name in hold.group.wood],
            "levels": [round(float(level), 4) for level in hold.levels],
            "moves": [bool(moves) for moves in hold.moves],
        }
        for hold in sight.plan.holds
    ]
