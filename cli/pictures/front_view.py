"""The tank from the front, its panes with the lines to pour to, and two cuts through it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from plumbstone.cli.pictures import layout
from plumbstone.cli.pictures.colours import INK, MARK, PAPER, WARN, WATER, colour_of, hatch_of
from plumbstone.cli.pictures.floor_plan import across_line, cut_place
from plumbstone.cli.pictures.layout import SCREEN, Medium
from plumbstone.cli.pictures.paper import Panel, measure
from plumbstone.cli.pictures.sight import Form, Sight, outline_of
from plumbstone.cli.wording.units import Toward, Units, place_words, show_length, written
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.volumes.bed.results import PANES, LayerResult, bare_cells
from plumbstone.volumes.holding.findings import STOP_BELOW

LYING = 1e-3  # a layer thinner than this is not poured there [m]
LINE: dict[str, Any] = {"color": MARK, "linewidth": 1.8}
CHANGE: dict[str, Any] = {"color": MARK, "linewidth": 1.1, "linestyle": (0, (4, 2))}
STOP: dict[str, Any] = {"color": WARN, "linewidth": 1.5, "linestyle": (0, (1.5, 1.5))}
BACK = (0, (4, 2.5))  # how a line on the back pane is dashed
SAMPLES = 450  # along a cut
CUT_STEP = 0.001  # between the heights at which a cut piece is looked at [m]


@dataclass(frozen=True, slots=True)
class Mark:
    """One height to mark on the glass."""

    height: float  # above the glass floor [m]
    words: str
    looks: dict[str, Any]


def level_marks(sight: Sight, units: Units) -> list[Mark]:
    """Give the water line, the levels of changes and where to stop before wood moves."""
    plan, found = sight.plan, []
    line = plan.scape.tank.water_line
    if line is not None:
        found.append(Mark(line, f"water {place_words(line, units)}", LINE))
    for mark in plan.water.marks if plan.water else ():
        level = place_words(mark.level_m, units)
        change = f"{mark.change_percent:.0f} % change {level}"
        found.append(Mark(mark.level_m, change, CHANGE))
    for hold in plan.holds:
        if hold.moves_at is not None and hold.moves_at > STOP_BELOW:
            stop = hold.moves_at - STOP_BELOW
            words = written(stop, "place", units, Toward.DOWN)
            found.append(Mark(stop, f"stop: {hold.group.name} {words}", STOP))
    return found


def pane_profiles(result: LayerResult) -> dict[str, tuple[Floats, Floats]]:
    """Give where a layer begins and ends along each pane [m]: from left, or from the front."""
    return {side: (result.below[cut], result.surface[cut]) for side, cut in PANES.items()}


def front_figure(sight: Sight, units: Units = Units.METRIC, medium: Medium = SCREEN) -> Figure:
    """Draw what one sees through the front pane, with the heights to mark on the glass."""
    tank, marks = sight.plan.scape.tank, level_marks(sight, units)
    entries = layout.material_entries(sight, sight.forms)
    entries += [layout.WATER_ENTRY] if tank.water_line else []
    if sight.plan.bed:
        entries.append(layout.line_entry("poured to, front pane"))
        entries.append(layout.line_entry("back pane", linestyle=BACK))
    size = (tank.length, sight.height)
    panel = layout.laid_out(medium, size, entries, below=1.5, title=sight.plan.scape.name)
    panel.picture(sight.from_front, zorder=1)
    if (line := tank.water_line) is not None:
        wet = np.array([(0, 0), (tank.length, 0), (tank.length, line), (0, line), (0, 0)])
        for alpha, zorder in ((0.10, 0), (0.06, 2)):
            panel.fill([wet], color=WATER, alpha=alpha, linewidth=0, zorder=zorder)
    panel.tick(units)
    _foot(panel, f"{layout.unit_words(units)} above the glass floor", units)
    _level_lines(panel, marks, tank.length)
    _front_numbers(panel, sight, medium.number)
    _pour_lines(panel, sight, units)
    return panel.page.figure


def sides_figure(sight: Sight, units: Units = Units.METRIC, medium: Medium = SCREEN) -> Figure:
    """Draw the left and the right pane from inside, with where each layer ends on them."""
    depth = sight.plan.scape.tank.depth
    height = min(_drawn_height(sight), 1.5 * float(sight.line.max()) + 0.03)
    gap = 0.12 * depth
    entries = layout.material_entries(sight, (), cut=True)
    over = medium.narrow
    step = (0.0, height + 2 * gap) if over else (depth + gap, 0.0)
    whole = (depth + step[0], height + step[1])
    panel = layout.laid_out(
        medium, whole, entries, above=1.6, below=1.0, title=sight.plan.scape.name
    )
    for number, (side, ends) in enumerate(
        (("left", ("front", "back")), ("right", ("back", "front")))
    ):
        at = 1 - number if over else number
        corner = panel.at(at * step[0], at * step[1])
        part = Panel(panel.page, *corner, panel.scale, (depth, height))
        _heading(part, f"{side} pane, from inside" if over else f"{side} pane")
        _pane(part, sight, side, ends, units)
    return panel.page.figure


def section_figure(sight: Sight, units: Units = Units.METRIC, medium: Medium = SCREEN) -> Figure:
    """Draw two cuts: A front to back through the tallest stone, B along the border."""
    tank, height = sight.plan.scape.tank, _drawn_height(sight)
    gap = (0.2 if medium.narrow else 0.12) * max(tank.length, tank.depth)
    shares = (np.arange(SAMPLES) + 0.5) / SAMPLES
    x, y = np.full(SAMPLES, cut_place(sight)), shares * tank.depth
    along = shares * tank.length
    bent = np.interp(along, *across_line(sight).T)
    cuts = [sight.grid.cell_at(x, y), sight.grid.cell_at(along, bent)]
    parts = [[_parts(form, cells) for form in sight.forms] for cells in cuts]
    met = [any(solid.any() for _, solid in each) for each in zip(*parts, strict=True)]
    forms = [form for form, cut in zip(sight.forms, met, strict=True) if cut]
    entries = layout.material_entries(sight, forms, cut=True)
    whole = (max(tank.length, tank.depth), 2 * height + gap)
    panel = layout.laid_out(medium, whole, entries, above=1.6, title=sight.plan.scape.name)
    upper = Panel(panel.page, *panel.at(0, height + gap), panel.scale, (tank.depth, height))
    where = place_words(float(x[0]), units)
    _heading(upper, f"A: front to back, {where} from left")
    _cut(upper, sight, cuts[0], parts[0], y, units)
    lower = Panel(panel.page, *panel.at(0, 0), panel.scale, (tank.length, height))
    where = "along the border" if sight.plan.scape.borders else "through the middle"
    _heading(lower, f"B: {where}")
    _cut(lower, sight, cuts[1], parts[1], along, units)
    return panel.page.figure


def _drawn_height(sight: Sight) -> float:
    """Give how high cuts are drawn: up to what stands highest, with room for a label [m]."""
    tops = [float(form.body.piece.high[2]) for form in sight.forms]
    top = max([*tops, float(sight.line.max())])
    return min(1.15 * top + 0.02, max(sight.height, top))


def _foot(panel: Panel, words: str, units: Units) -> None:
    """Write below a drawing what its numbers count from, and a bar of a known length."""
    page, text = panel.page, panel.page.text
    left, bottom = panel.at(0, 0)
    right, _ = panel.at(panel.size[0], 0)
    y = bottom - 2.9 * text
    page.write_from(words, left, y, 0.85 * text)
    panel.scale_bar(units, right, y)


def _heading(panel: Panel, words: str) -> None:
    """Write a heading over one of several drawings on a page."""
    left, top = panel.at(0, panel.size[1])
    panel.page.write_from(words, left, top + 0.9 * panel.page.text)


def _front_numbers(panel: Panel, sight: Sight, size: float) -> None:
    """Give each piece its number; those below the bed are dashed, and numbered if there is room."""
    for form in sorted(sight.forms, key=lambda f: (f.buried, float(f.body.piece.low[1]))):
        if form.buried:
            layout.draw_hidden(panel, form.front, 3)
        if form.buried and len(sight.forms) > layout.CROWDED:
            continue
        piece = form.body.piece
        x, z = form.face or (form.middle[0], float(piece.low[2] + piece.high[2]) / 2)
        layout.write_number(
            panel, form.number, panel.at(x, z), size,
            radii=[size * r for r in (0, 1.0, 1.6, 2.3, 3.2, 4.4)], angles=(90, 45, 135, 0, 180),
            far=1.7 * size, must=not form.buried,
        )  # fmt: skip


def _level_lines(panel: Panel, marks: list[Mark], length: float) -> None:
    """Draw the heights of the water, each with its words."""
    text = panel.page.text
    for mark in marks:
        panel.line([0, length], [mark.height] * 2, zorder=4, **mark.looks)
        width, _ = measure(mark.words, 0.85 * text)
        _, y = panel.at(0, mark.height)
        left, right = panel.at(0, 0)[0], panel.at(length, 0)[0]
        ends = [right - width / 2 - 4, left + width / 2 + 4, (left + right) / 2]
        places = [(x, y + up * text) for up in (0, 0.9, -0.9, 1.8, -1.8) for x in ends]
        panel.page.write(mark.words, places, size=0.85 * text, must=True, color=mark.looks["color"])


def _pour_lines(panel: Panel, sight: Sight, units: Units) -> None:
    """Draw where each layer ends on the front pane, on the back pane and at both sides."""
    bed, x = sight.plan.bed, sight.grid.x
    for result in bed.layers if bed else ():
        profiles, colour = pane_profiles(result), colour_of(result.layer.material)
        for side, dashes, ending in (("front", "-", ""), ("back", BACK, ", back")):
            level = _lying(*profiles[side])
            panel.line(x, level, color=PAPER, linewidth=3.0, zorder=5, alpha=0.9)
            panel.line(x, level, color=colour, linewidth=1.7, linestyle=dashes, zorder=6)
            _pour_words(panel, x, level, result.layer.name[:23], ending, units)
        for side, place in (("left", 0.0), ("right", sight.grid.length)):
            level = _lying(*profiles[side])
            if np.isfinite(level).any():
                panel.line(
                    [place, place], [np.nanmin(level), np.nanmax(level)], color=colour,
                    linewidth=5, zorder=7, solid_capstyle="butt",
                )  # fmt: skip


def _lying(below: Floats, level: Floats) -> Floats:
    """Give the surface of a layer along a pane [m], NaN where the layer does not lie."""
    return np.where(level > below + LYING, level, np.nan)


def _pour_words(
    panel: Panel, x: Floats, level: Floats, name: str, ending: str, units: Units
) -> None:
    """Write the name of a layer and its height at a line to pour to."""
    at, text = np.flatnonzero(np.isfinite(level)), panel.page.text
    if len(at) == 0:
        return
    heights = dict.fromkeys(show_length(float(level[at[k]]), units) for k in (0, -1))
    middles = [
        panel.at(float(x[k]), float(level[k]))
        for k in (at[int(share * (len(at) - 1))] for share in (0.12, 0.88, 0.3, 0.7, 0.5))
    ]
    panel.page.write(
        f"{name} {' to '.join(heights)}{ending}",
        [(x, y + up * text) for up in (0.9, 1.9, -0.9, 2.9, 4) for x, y in middles],
        size=0.8 * text,
    )


def _pane(panel: Panel, sight: Sight, side: str, ends: tuple[str, str], units: Units) -> None:
    """Draw the layers behind one pane, with heights at its ends and where a layer ends."""
    text, width = panel.page.text, panel.size[0]
    panel.tick(units, right=False)
    for place, words in zip((0.0, width), ends, strict=True):
        half = measure(words, 0.9 * text)[0] / 2
        right, y = panel.at(place, 0)
        inwards = half if place == 0 else -half
        panel.page.write(words, [(right + inwards, y - 1.1 * text)], size=0.9 * text, halo=False)
    layers = sight.plan.bed.layers if sight.plan.bed else ()
    profiles = [pane_profiles(result)[side] for result in layers]
    if ends[0] == "back":
        profiles = [(below[::-1], level[::-1]) for below, level in profiles]
    along = sight.grid.y
    for result, (below, level) in zip(layers, profiles, strict=True):
        lying = _lying(below, level)
        _fill(panel, result, along, below, lying)
        panel.line(along, lying, color=INK, linewidth=1.2)
    for below, level in reversed(profiles):
        _pane_heights(panel, along, _lying(below, level), units)


def _fill(panel: Panel, result: LayerResult, along: Floats, below: Floats, level: Floats) -> None:
    """Fill the cut through a layer from below to its surface, but where that is NaN."""
    lies, material = np.isfinite(level), result.layer.material
    runs = np.split(np.arange(len(along)), np.flatnonzero(np.diff(lies)) + 1)
    rings = []
    for run in (run for run in runs if lies[run[0]]):
        around = [*run, *run[::-1], run[0]]  # there below, back on top
        heights = [*below[run], *level[run[::-1]], below[run[0]]]
        rings.append(np.column_stack([along[around], heights]))
    if rings:
        panel.fill(rings, facecolor=colour_of(material), hatch=hatch_of(material),
                   edgecolor=PAPER, linewidth=0)  # fmt: skip


def _pane_heights(panel: Panel, along: Floats, level: Floats, units: Units) -> None:
    """Write the heights of a layer where it begins and ends on a side pane."""
    text, at = panel.page.text, np.flatnonzero(np.isfinite(level))
    if len(at) == 0:
        return
    flat = float(np.ptp(level[at])) < 2 * LYING
    for k in (at[len(at) // 2],) if flat else (at[0], at[-1]):
        words = show_length(float(level[k]), units)
        half = measure(words, 0.85 * text)[0] / 2 + 2
        x, y = _within(panel, words, float(along[k])), panel.at(0, float(level[k]))[1]
        places = [(x + s * half, y + up * text) for up in (0.85, -0.85, 1.7, 2.6)
                  for s in (0, 2.1, -2.1)]  # fmt: skip
        panel.page.write(words, places, size=0.85 * text)


def _cut(
    panel: Panel, sight: Sight, cells: tuple[Any, Any], parts: Sequence[tuple[Floats, Flags]],
    along: Floats, units: Units,
) -> None:  # fmt: skip
    """Draw layers, solids by their parts and the water over the cells of a cut."""
    bed = sight.plan.bed
    panel.tick(units)
    for result in bed.layers if bed else ():
        assert bed is not None
        rest = bed.surface  # what has run out of a gap is gone from it
        below, top = (np.minimum(f, rest)[cells] for f in (result.below, result.surface))
        _fill(panel, result, along, below, top)
    size = 1.1 * panel.page.text
    for form, (heights, solid) in zip(sight.forms, parts, strict=True):
        _cut_form(panel, sight, form, heights, solid, along, size)
    _heights(panel, sight, cells, along, units)


def _cut_form(
    panel: Panel, sight: Sight, form: Form, heights: Floats, solid: Flags, along: Floats,
    size: float,
) -> None:  # fmt: skip
    """Fill one piece on a cut, and number it."""
    rings = outline_of(solid, along, heights)
    if rings:
        colour = colour_of(form.body.entry.material)
        panel.fill(rings, facecolor=colour, edgecolor=INK, linewidth=0.8, zorder=3)
        at = np.flatnonzero(solid.any(axis=0))
        at = at[len(at) // 2]
        ends = heights[np.flatnonzero(solid[:, at])[[0, -1]]]
        x, middle, peak = float(along[at]), float(ends.mean()), float(ends[1])
        places = [panel.at(x, middle), *(
            (panel.at(x, peak)[0] + side * size, panel.at(x, peak)[1] + up * size)
            for up in (0.8, 1.9, 3.0) for side in (0, 1, -1))]  # fmt: skip
        must = panel.page.width >= layout.NARROW or len(sight.forms) <= layout.CROWDED
        panel.page.write(str(form.number), places, size=size, must=must, weight="bold")


def _parts(form: Form, cells: tuple[Any, Any]) -> tuple[Floats, Flags]:
    """Give the heights at which a piece is looked at on a cut [m], and where it is solid there."""
    window = form.window
    row, column = cells[0] - window.row, cells[1] - window.column
    rows, columns = window.bottoms.shape[1:]
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    place = (slice(None), row[inside], column[inside])
    heights = np.arange(CUT_STEP / 2, form.body.piece.high[2] + CUT_STEP, CUT_STEP)
    level = heights[:, None, None]
    solid = np.zeros((len(heights), len(inside)), dtype=bool)
    solid[:, inside] = ((window.bottoms[place] <= level) & (level < window.tops[place])).any(1)
    return heights, solid


def _heights(
    panel: Panel, sight: Sight, cells: tuple[Any, Any], along: Floats, units: Units
) -> None:
    """Write the height of the bed near both ends and in the middle of a cut."""
    bed, text = sight.plan.bed, panel.page.text
    if bed is None:
        return
    free = np.flatnonzero(~bare_cells(bed)[cells])
    level, span = bed.surface[cells], float(along[-1] - along[0])
    for share in (0.06, 0.94, 0.5):
        near = free[np.abs(along[free] - along[0] - share * span) < 0.2 * span]
        if len(near) == 0:
            continue
        k = near[np.abs(along[near] - along[0] - share * span).argmin()]
        words = show_length(float(level[k]), units)
        y = panel.at(0, float(level[k]))[1]
        step = text / panel.scale
        places = [(_within(panel, words, float(along[k]) + side * step), y + up * text)
                  for up in (1.1, 2.1, 3.1) for side in (0, 2, -2, 4, -4)]  # fmt: skip
        panel.page.write(words, places, size=0.85 * text)


def _within(panel: Panel, words: str, place: float) -> float:
    """Give the middle of words near a place along a panel, kept off its sides [points]."""
    half = measure(words, 0.85 * panel.page.text)[0] / 2 + 2
    left, right = panel.at(0, 0)[0], panel.at(panel.size[0], 0)[0]
    return min(max(panel.at(place, 0)[0], left + half), right - half)
