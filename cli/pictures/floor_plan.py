"""The tank from above: bed and pieces in relief, a grid, lines of equal height, the border."""

from typing import Any

import numpy as np
import scipy
from contourpy import contour_generator
from matplotlib.figure import Figure

from plumbstone.cli.pictures import layout
from plumbstone.cli.pictures.colours import INK, PAPER
from plumbstone.cli.pictures.layout import SCREEN, Medium
from plumbstone.cli.pictures.paper import Entry, Panel, joined, measure
from plumbstone.cli.pictures.sight import Form, Sight
from plumbstone.cli.wording.units import INCH, RULED, Units, written

GRID = {Units.METRIC: 0.05, Units.US: 2 * INCH}
LEVELS = {Units.METRIC: (0.02, 0.01, 0.005), Units.US: (INCH, INCH / 2, INCH / 4)}
ASIDE = (0, 1.2, -1.2, 2.4, -2.4, 3.6, -3.6)  # where a letter may go, in sizes of the text
OFF_FLAT = 2e-4  # a contour so much off a round height leaves level ground alone [m]
SHORTEST = 12  # places of a contour that is drawn
ALONG = (0.08, 0.92, 0.5, 0.25, 0.75, 0.16, 0.84, 0.34, 0.66, 0.42, 0.58)  # where labels fit
BORDER: dict[str, Any] = {"color": "#b3261e", "linewidth": 1.4, "linestyle": (0, (5, 2.5))}
CUT: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": (0, (9, 2, 1.5, 2))}
FINE: dict[str, Any] = {"color": PAPER, "linewidth": 0.5, "alpha": 0.45, "zorder": 1}


def plan_figure(sight: Sight, units: Units = Units.METRIC, medium: Medium = SCREEN) -> Figure:
    """Draw the tank from above, with the front pane at the bottom."""
    tank = sight.plan.scape.tank
    panel = layout.laid_out(
        medium, (tank.length, tank.depth), _entries(sight), above=1.6,
        below=3.2 if medium.narrow else 1.8, title=sight.plan.scape.name,
    )  # fmt: skip
    panel.picture(sight.from_above, zorder=0)
    _grid(panel, sight, units)
    panel.tick(units)
    _edge_words(panel, units)
    _border(panel, sight)
    _cuts(panel, sight)
    _outlines(panel, sight)
    must = not medium.narrow or len(sight.forms) <= layout.CROWDED
    for form in sight.forms:
        _number(panel, form, medium.number, must=must)
    _gaps(panel, sight, units, must=not medium.narrow)
    _contours(panel, sight, units)
    return panel.page.figure


def cut_place(sight: Sight) -> float:
    """Where to cut from front to back: through the stone that stands highest [m]."""
    stones = [form for form in sight.forms if form.body.entry.kind == "stone"]
    if not stones:
        return sight.plan.scape.tank.length / 2
    return max(stones, key=lambda form: float(form.body.piece.high[2])).middle[0]


def across_line(sight: Sight) -> np.ndarray[Any, Any]:
    """Corners of the cut from left to right: along the border, or through the middle [m]."""
    tank, borders = sight.plan.scape.tank, sight.plan.scape.borders
    if borders:
        return np.array(borders[0].line)
    return np.array([[0.0, tank.depth / 2], [tank.length, tank.depth / 2]])


def _entries(sight: Sight) -> list[Entry]:
    found = layout.material_entries(sight, sight.forms)
    if any(form.buried for form in sight.forms):
        found.append(("below the bed", {**layout.HIDDEN, "color": INK}))
    if sight.plan.scape.borders:
        found.append(("border", BORDER))
    found.append(layout.line_entry("cut", **CUT))
    return found


def _grid(panel: Panel, sight: Sight, units: Units) -> None:
    """Draw the lines of a grid of 5 cm, or of 2 inches."""
    step, tank = GRID[units], sight.plan.scape.tank
    right, up = (
        [k * step for k in range(1, int(side / step + 0.999))] for side in (tank.length, tank.depth)
    )
    panel.line(*joined([((x, 0), (x, tank.depth)) for x in right]), **FINE)
    panel.line(*joined([((0, y), (tank.length, y)) for y in up]), **FINE)


def _edge_words(panel: Panel, units: Units) -> None:
    """Write which pane is which, the unit, and a bar of a known length below the drawing."""
    page, text = panel.page, panel.page.text
    x0, y0 = panel.at(0, 0)
    x1, y1 = panel.at(*panel.size)
    page.write("back", [((x0 + x1) / 2, y1 + 0.9 * text)], size=1.1 * text, halo=False)
    y = y0 - 3.3 * text
    page.write("front", [((x0 + x1) / 2, y)], size=1.1 * text, halo=False)
    words = f"{layout.unit_words(units)}, from the inner faces"
    width, _ = measure(words, 0.85 * text)
    panel.scale_bar(units, x1, y)
    places = [(x0 + width / 2, y - down * text) for down in (0, 1.4)]
    page.write(words, places, size=0.85 * text, halo=False)


def _border(panel: Panel, sight: Sight) -> None:
    """Draw the border lines as they hold: through the stones and between them."""
    bed = sight.plan.bed
    borders = [row.border for row in bed.rows] if bed else sight.plan.scape.borders
    lines = [np.array(border.line) for border in borders]
    panel.lines(lines, color=PAPER, linewidth=2.6, zorder=6)
    panel.lines(lines, zorder=7, **BORDER)


def _cuts(panel: Panel, sight: Sight) -> None:
    """Draw where the sections are cut, with their letters at the ends."""
    tank, text = sight.plan.scape.tank, panel.page.text
    x = cut_place(sight)
    _cut_line(panel, np.array([[x, 0], [x, tank.depth]]))
    for y, outs in ((tank.depth, (0.9, 2.0)), (0.0, (-1.0, -2.2))):
        right, up = panel.at(x, y)
        sides = [(right + s * text, up + out * text) for out in outs for s in ASIDE]
        panel.page.write("A", sides, size=text, halo=False, weight="bold", must=True)
    line = across_line(sight)
    if not sight.plan.scape.borders:
        _cut_line(panel, line)
    for (px, py), side in ((line[0], 1), (line[-1], -1)):
        right, up = panel.at(px, py)
        places = [(right + side * 0.8 * text, up + s * text) for s in (0.9, -0.9, 2, -2)]
        panel.page.write("B", places, size=text, weight="bold", must=True)


def _cut_line(panel: Panel, line: np.ndarray[Any, Any]) -> None:
    """Draw one line of a cut so that it is seen on dark and on light ground."""
    panel.line(*line.T, color=PAPER, linewidth=2.0, alpha=0.6, zorder=8)
    panel.line(*line.T, zorder=8, **CUT)


def _outlines(panel: Panel, sight: Sight) -> None:
    """Draw the outline of each piece: whole where it is seen, dashed where the bed covers it."""
    for form in sight.forms:
        if form.buried:
            layout.draw_hidden(panel, form.above, 4)
        else:
            panel.lines(form.seen, zorder=3, color=INK, linewidth=0.7, alpha=0.8)


def _number(panel: Panel, form: Form, size: float, *, must: bool) -> None:
    """Mark the middle of a piece with a cross and where the tape meets it, and number it."""
    page = panel.page
    x, y = panel.at(*form.middle)
    arm = 0.3 * size
    cross = (((x - arm, y), (x + arm, y)), ((x, y - arm), (x, y + arm)))
    for colour, width in ((PAPER, 2.4), (INK, 1.0)):
        page.line(*joined(cross), color=colour, linewidth=width, zorder=10)
    page.keep_free((x - arm, y - arm, x + arm, y + arm))
    vertices = form.body.piece.vertices
    nearest = [vertices[vertices[:, axis].argmin()] for axis in (0, 1)]
    spots = [panel.at(float(corner[0]), float(corner[1])) for corner in nearest]
    page.line(
        *zip(*spots, strict=True), marker="o", linestyle="none", color=PAPER, markeredgecolor=INK,
        markeredgewidth=0.7, markersize=0.28 * size, zorder=9,
    )  # fmt: skip
    step = 0.95 * size
    layout.write_number(
        panel, form.number, (x, y), size, radii=[step * r for r in (1.0, 1.5, 2.2, 3.0, 4.0, 5.5)],
        angles=(90, 0, 180, 270, 45, 135, 315, 225), far=2 * step, must=must,
    )  # fmt: skip


def _gaps(panel: Panel, sight: Sight, units: Units, *, must: bool) -> None:
    """Point at each gap of the border that lets soil through, with its width."""
    border = sight.plan.border
    for gap in border.gaps if border else ():
        if gap.state == "holds":
            continue
        width = written(gap.width_m, "gap", units)
        x, y = panel.at(gap.from_left_m, gap.from_front_m)
        text = panel.page.text
        places = [(x + side * text, y - down * text) for down in (2.5, 3.8, 5.1, 6.4)
                  for side in (0, 2, -2, 4, -4)]  # fmt: skip
        found = panel.page.write(f"gap {width}", places, size=0.85 * text, must=must)
        if found:
            panel.page.arrow((found[0], found[1] + 0.6 * text), (x, y))


def _contours(panel: Panel, sight: Sight, units: Units) -> None:
    """Draw lines of equal height through the bed, each with its height in round numbers."""
    if sight.plan.bed is None:
        return
    smooth = scipy.ndimage.gaussian_filter(sight.line, 2.0)
    low, high = float(smooth.min()), float(smooth.max())
    hidden = sight.plan.bed.columns.highest > sight.line
    smooth = np.ma.array(smooth, mask=hidden)
    steps = LEVELS[units]
    step = next((s for s in steps if (high - low) / s >= 3), steps[-1])
    unit, name = RULED[units]
    tracer: Any = contour_generator(sight.grid.x, sight.grid.y, smooth)
    for k in range(int(low / step) + 1, int(high / step - 1e-9) + 1):
        lines = [line for line in tracer.lines(k * step + OFF_FLAT) if len(line) > SHORTEST]
        panel.lines(lines, color="white", linewidth=0.8, alpha=0.9, zorder=2)
        words = f"{k * step / unit:g} {name}"
        for line in sorted(lines, key=len, reverse=True)[:2]:
            places = [panel.at(*line[int(len(line) * share)]) for share in ALONG]
            if panel.page.write(words, places, size=0.82 * panel.page.text):
                break
