"""What is printed: drawings, a template of the floor at full size, the mat of tags."""

import io
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from plumbstone.cli.pictures.colours import FAINT, INK, colour_of
from plumbstone.cli.pictures.floor_plan import BORDER, GRID, plan_figure
from plumbstone.cli.pictures.front_view import front_figure, section_figure, sides_figure
from plumbstone.cli.pictures.layout import PAPER_A4
from plumbstone.cli.pictures.paper import POINT, Page, Panel, joined, measure
from plumbstone.cli.pictures.sight import Sight
from plumbstone.cli.wording.units import INCH, Units
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.reading.mat import CONTROL, PAPERS, TAG, tag_bits, tag_places

SHEETS = {Units.METRIC: (0.297, 0.210), Units.US: (11 * INCH, 8.5 * INCH)}  # [m]
MARGIN, FOOT = 0.011, 0.017  # left free by printers; with words below the drawing [m]
BAR = {Units.METRIC: (0.10, "10 cm"), Units.US: (4 * INCH, "4 inches")}
TEXT, NUMBER = 10.0, 22.0  # [points]
FINE: dict[str, Any] = {"color": FAINT, "linewidth": 0.4, "alpha": 0.6}


def drawings_pdf(sight: Sight, units: Units) -> bytes:
    """Give all drawings as PDF, one a page, A4 landscape."""
    figures = (plan_figure, front_figure, sides_figure, section_figure)
    return pdf_of(draw(sight, units, PAPER_A4) for draw in figures)


def template_pdf(sight: Sight, units: Units) -> bytes:
    """Give the outlines on the floor at full size, over as many pages as that takes.

    The sheets are laid edge to edge along their frames into the empty tank. Every page has
    a bar of a known length: a printer that fits pages to the paper shows there.
    """
    return pdf_of(_tile(sight, units, *place) for place in tiles(sight, units))


def tiles(sight: Sight, units: Units) -> list[tuple[int, int, int, int]]:
    """Give row, column, rows and columns of each page of the template, the front row first."""
    tank = sight.plan.scape.tank
    wide, high = _frame(units)
    columns, rows = math.ceil(tank.length / wide - 1e-9), math.ceil(tank.depth / high - 1e-9)
    return [(row, column, rows, columns) for row in range(rows) for column in range(columns)]


def _frame(units: Units) -> tuple[float, float]:
    """Width and height of what one page of the template shows [m]."""
    width, height = SHEETS[units]
    return width - 2 * MARGIN, height - 2 * MARGIN - FOOT


def pdf_of(figures: Iterator[Figure]) -> bytes:
    """Put figures into one PDF file, with nothing in it that changes from run to run."""
    stream = io.BytesIO()
    with PdfPages(stream, metadata={"CreationDate": None}) as pages:
        for figure in figures:
            pages.savefig(figure)
    return stream.getvalue()


def _tile(sight: Sight, units: Units, row: int, column: int, rows: int, columns: int) -> Figure:
    """Draw one page of the template."""
    width, height = (side / POINT for side in SHEETS[units])
    wide, high = _frame(units)
    page = Page.of_size(width, height, TEXT)
    corner = np.array([column * wide, row * high])
    panel = Panel(page, MARGIN / POINT, (MARGIN + FOOT) / POINT, 1 / POINT, (wide, high))
    _content(panel, sight, units, corner)
    length, words = BAR[units]
    y = MARGIN / POINT + 9
    right = page.width - MARGIN / POINT
    left = right - length / POINT
    page.line([left, right], [y, y], color=INK, linewidth=1.4)
    page.line(*joined([((x, y - 6), (x, y + 6)) for x in (left, right)]), color=INK, linewidth=0.8)
    told = f"this bar measures {words}: print at 100 %, not fitted to the page"
    half = measure(told, TEXT)[0] / 2
    page.write(told, [(left - half - 8, y)], halo=False)
    place = f"{sight.plan.scape.name[:30]}: row {row + 1} of {rows} from the front, "
    place += f"sheet {column + 1} of {columns} from the left"
    page.write_from(place, MARGIN / POINT, y + 22)
    return page.figure


def _content(panel: Panel, sight: Sight, units: Units, corner: np.ndarray) -> None:
    """Draw what of the floor lies on one page; `corner` is its lower left end [m]."""
    tank, step = sight.plan.scape.tank, GRID[units]
    wide, high = _frame(units)
    ends = np.array([wide, high])
    right, up = (
        [
            k * step - start
            for k in range(math.ceil(start / step), int(min(start + side, whole) / step) + 1)
        ]
        for start, side, whole in zip(corner, ends, (tank.length, tank.depth), strict=True)
    )
    panel.line(*joined([((x, 0), (x, high)) for x in right]), **FINE)
    panel.line(*joined([((0, y), (wide, y)) for y in up]), **FINE)
    floor = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]) * (tank.length, tank.depth)
    panel.lines([floor - corner], color=INK, linewidth=2.2)
    panel.lines([np.array(b.line) - corner for b in sight.plan.scape.borders], **BORDER)
    for form in sight.forms:
        colour = colour_of(form.body.entry.material)
        dashes = (0, (4, 3)) if form.buried else "-"
        for ring in form.above:
            here = ring - corner
            if (here.max(axis=0) < 0).any() or (here.min(axis=0) > ends).any():
                continue
            panel.fill([here], facecolor=colour, alpha=0.18, linewidth=0)
            panel.line(*here.T, color=INK, linewidth=1.3, linestyle=dashes)
        x, y = np.array(form.middle) - corner
        if 0 < x < wide and 0 < y < high:
            panel.line([x], [y], marker="+", color=INK, markersize=14, markeredgewidth=1.2)
            places = [panel.at(x + a, y + b) for a, b in
                      ((0.009, 0), (-0.009, 0), (0, 0.009), (0, -0.009))]  # fmt: skip
            panel.page.write(str(form.number), places, size=NUMBER, must=True)


def mat_pdf(file: Path, paper: str, sheets: int) -> bytes:
    """Draw the mat of tags for scans, a page a sheet."""
    return pdf_of(_mat_sheet(file, paper, sheet, sheets) for sheet in range(sheets))


def _mat_sheet(file: Path, paper: str, sheet: int, sheets: int) -> Figure:
    """Draw one sheet: its tags, the control line and what to do with it."""
    width, height = PAPERS[paper]
    page = Page.of_size(width / POINT, height / POINT, 7.0)
    tags = Panel(page, 0.0, 0.0, 1 / POINT, (width, height), framed=False)
    tags.fill(_squares(file, paper, sheet), color="black", linewidth=0.1)
    left, right, level, up = 0.020, 0.020 + CONTROL, 0.014, 0.003
    ends = [((x, level - up), (x, level + up)) for x in (left, right)]
    tags.line(*joined([((left, level), (right, level)), *ends]), color="black", linewidth=0.6)
    number = f" Sheet {sheet + 1} of {sheets}." if sheets > 1 else ""
    x, y = tags.at(right + 0.005, level + 0.001)
    told = f"{CONTROL * 1e3:.0f} mm: measure it with a ruler\n and give --mat-control.{number}"
    page.figure.text(x, y, told, transform=page.points, fontsize=7, va="center", color="black")
    return page.figure


def _squares(file: Path, paper: str, sheet: int) -> list[Floats]:
    """Give the corners of every black square of the tags of one sheet [m]."""
    size, corners = TAG / 8, np.array([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)])
    return [
        np.array(places[0]) + size * (corners + (column, -row - 1))
        for number, places in tag_places(paper, sheet).items()
        for row, column in np.argwhere(tag_bits(file, number))
    ]
