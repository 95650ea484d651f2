"""Drawings of a plan: from above, and cut through. One style for all pictures."""

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from plumbstone.cli.wording.units import INCH, Units
from plumbstone.meshes.errors import PlumbstoneError

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from plumbstone.meshes.columns import Grid
    from plumbstone.volumes.plan import Plan

INK, FAINT, PAPER = "#1c2b33", "#7c8a91", "#fefdfb"
STONE, WOOD, WATER = "#8d99a3", "#b5763a", "#56a0d3"
CLOSED, AWAY = "#c0562f", "#cdb98a"  # of a scan: guessed parts, and what was cut away
# Told apart by lightness as well as hue, so that they hold for colour-blind readers and in grey.
LAYERS = ("#6b4e71", "#4f3b2c", "#e3cf9b", "#b0a58f", "#8c6d46", "#cbb9d6")
HATCHES = ("\\\\", "", "", "//", "xx", "--")
NUMBER = 2.6  # room that the number of a piece takes [cm]
STEP = {Units.METRIC: 10.0, Units.US: 4 * 2.54}  # between ticks [cm]
STYLE: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.4,
    "svg.fonttype": "none",
    "svg.hashsalt": "plumbstone",
    "text.parse_math": False,
}


@contextmanager
def style() -> Iterator[None]:
    """Draw in the common style, without a display."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        yield


def new_figure(width: float, height: float) -> "Figure":
    """Make a figure of a size in inches, drawn in memory only."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def must_be_png(path: "Path") -> None:
    """Refuse a picture of another kind before anything is drawn."""
    if path.suffix.lower() != ".png":
        raise PlumbstoneError(f"{path}: --picture draws PNG; end its name in .png.")


def png_bytes(figure: "Figure") -> bytes:
    """Give a figure as PNG."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110, metadata={"Software": None})
    return stream.getvalue()


def svg_text(figure: "Figure") -> str:
    """Give a figure as an SVG element that takes its ink from the page around it."""
    stream = io.StringIO()
    figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None})
    text = stream.getvalue()
    text = text[text.index("<svg") :]
    # In paths a hundredth of a point is finer than any screen.
    text = re.sub(r' d="[^"]*"', lambda m: re.sub(r"(\d\.\d{2})\d+", r"\1", m[0]), text)
    for colour, name in ((INK, "ink"), (FAINT, "faint"), (PAPER, "card")):
        text = text.replace(colour, f"var(--{name})")
    return text


def plan_figure(plan: "Plan", units: Units = Units.METRIC) -> "Figure":
    """Draw the tank from above: zones, depth lines, pieces by number, border, thirds, a scale."""
    tank = plan.scape.tank
    with style():
        figure = new_figure(7.2, 6.6 * tank.depth / tank.length + 1.1)
        axes = figure.add_subplot()
        _zones_from_above(axes, plan, units)
        _pieces_from_above(axes, plan)
        _border_from_above(axes, plan, units)
        _frame(axes, tank.length * 100, tank.depth * 100, units)
        axes.set_xlabel(f"{unit_name(units)} from the left pane")
        axes.set_ylabel(f"{unit_name(units)} from the front pane")
        set_ticks(axes, units)
        _legend(axes, plan, with_water=False)
    return figure


def section_figure(plan: "Plan", units: Units = Units.METRIC) -> "Figure":
    """Draw two cuts: front to back through the tallest stone, and along the border."""
    tank = plan.scape.tank
    height = (tank.height or 0.3) * 100
    with style():
        figure = new_figure(7.2, 6.4)
        upper, lower = figure.subplots(2, 1)
        x = _cut_place(plan)
        _cut(upper, plan, np.full(_samples(plan), x), _along(plan, tank.depth), units)
        where = length_words(x * 100, units, 0)
        upper.set_title(f"Front to back, {where} from the left pane", loc="left")
        upper.set_xlabel(f"{unit_name(units)} from the front pane")
        y = _border_heights(plan)
        _cut(lower, plan, _along(plan, tank.length), y, units)
        lower.set_title("Along the border" if plan.scape.border else "Left to right", loc="left")
        lower.set_xlabel(f"{unit_name(units)} from the left pane")
        for axes, width in ((upper, tank.depth), (lower, tank.length)):
            axes.set_xlim(0, width * 100)
            axes.set_ylim(0, height * 1.02)
            axes.set_aspect("equal")
            axes.set_ylabel(f"{unit_name(units)} above the glass")
            set_ticks(axes, units)
        _legend(lower, plan, with_water=True)
    return figure


def numbered(plan: "Plan") -> list[tuple[int, str]]:
    """Give each piece the number it has in the drawings."""
    return [(number, body.entry.name) for number, body in enumerate(plan.bodies, 1)]


def layer_colour(index: int) -> str:
    """Colour of the layer of that place in pouring order."""
    return LAYERS[index % len(LAYERS)]


def _zones_from_above(axes: "Axes", plan: "Plan", units: Units) -> None:
    """Colour each cell by its topmost layer, and draw lines of equal height."""
    bed = plan.bed
    if bed is None:
        return
    every = max(1, bed.grid.nx // 150)  # a finer outline would only make the file larger
    x, y = (
        np.concatenate([[0.0], places[::every] * 100, [side * 100]])
        for places, side in ((bed.grid.x, bed.grid.length), (bed.grid.y, bed.grid.depth))
    )
    for index, result in enumerate(bed.layers):
        lies = np.where(result.surface > result.below + 1e-4, 1.0, 0.0)[::every, ::every]
        lies = np.pad(lies, 1, mode="edge")
        if lies.any():
            axes.contourf(
                x, y, lies, levels=[0.5, 1.5], colors=[layer_colour(index)],
                hatches=[HATCHES[index % len(HATCHES)]], alpha=0.75,
            )  # fmt: skip
    bare = bed.columns.highest() > bed.surface - 1e-9
    level = np.pad(np.where(bare, np.nan, bed.surface * 100)[::every, ::every], 1, mode="edge")
    lowest, highest = np.nanmin(level), np.nanmax(level)
    heights = np.arange(np.ceil(lowest + 1.0), highest, 2)
    if len(heights):
        lines = axes.contour(x, y, level, levels=heights, colors="white", linewidths=0.8)
        axes.clabel(lines, fmt=lambda v: length_words(v, units, 0), fontsize=7, colors="white")


def _pieces_from_above(axes: "Axes", plan: "Plan") -> None:
    """Fill the outline of each piece and write its number in it."""
    from plumbstone.meshes.columns import columns_of

    grid = _drawing_grid(plan)
    order = sorted(enumerate(plan.bodies, 1), key=lambda item: -item[1].piece.vertices[:, 2].max())
    hidden = np.zeros((grid.ny, grid.nx), dtype=bool)  # below a higher piece
    labels: list[tuple[float, float]] = []
    for depth, (number, body) in enumerate(order):
        window = columns_of(body.piece.vertices, body.piece.faces, grid)
        rows, columns = window.place
        covered = np.isfinite(window.lowest())
        if covered.sum() < 4:
            continue
        x, y = grid.x[columns] * 100, grid.y[rows] * 100
        colour = WOOD if body.entry.kind == "wood" else STONE
        layer = 5 - depth / len(order)
        form = covered.astype(float)
        axes.contourf(x, y, form, levels=[0.5, 1.5], colors=[colour], zorder=layer)
        axes.contour(x, y, form, levels=[0.5], colors=[INK], linewidths=0.8, zorder=layer)
        middle = _place_for_number(covered, hidden[window.place], x, y, labels)
        labels.append(middle)
        hidden[window.place] |= covered
        axes.annotate(
            str(number), middle, zorder=6, ha="center", va="center", fontsize=8, color=INK,
            bbox={"boxstyle": "circle,pad=0.18", "facecolor": PAPER, "edgecolor": "none",
                  "alpha": 0.85},
        )  # fmt: skip


def _place_for_number(
    covered: Any, hidden: Any, x: Any, y: Any, labels: list[tuple[float, float]]
) -> tuple[float, float]:
    """Find a place for a number: seen from above, off other numbers, far from the outline."""
    free = covered & ~hidden if (covered & ~hidden).sum() >= 4 else covered
    apart = np.ones(free.shape, dtype=bool)
    for right, up in labels:
        apart &= np.hypot(x[None, :] - right, y[:, None] - up) > NUMBER
    return _middle_inside(free & apart if (free & apart).any() else free, x, y)


def _middle_inside(covered: Any, x: Any, y: Any) -> tuple[float, float]:
    """Find the covered place farthest from the outline, for a number."""
    from scipy.ndimage import distance_transform_edt

    row, column = np.unravel_index(int(distance_transform_edt(np.pad(covered, 1)).argmax()),
                                   (covered.shape[0] + 2, covered.shape[1] + 2))  # fmt: skip
    return float(x[column - 1]), float(y[row - 1])


def _border_from_above(axes: "Axes", plan: "Plan", units: Units) -> None:
    """Draw the border line, and a mark with its width at each gap that is open."""
    if plan.scape.border is None:
        return
    x, y = np.array(plan.scape.border.line).T * 100
    axes.plot(x, y, color=INK, linewidth=1.2, linestyle=(0, (6, 3)), zorder=7)
    for gap in plan.border.gaps if plan.border else ():
        if gap.state == "holds":
            continue
        axes.annotate(
            _gap_width(gap.width, units), (gap.at[0] * 100, gap.at[1] * 100), xytext=(0, -26),
            textcoords="offset points", ha="center", fontsize=7,
            arrowprops={"arrowstyle": "->", "color": INK, "linewidth": 0.9},
            bbox={"boxstyle": "round,pad=0.15", "facecolor": PAPER, "edgecolor": INK,
                  "linewidth": 0.5},
        )  # fmt: skip


def _drawing_grid(plan: "Plan") -> "Grid":
    """Give the grid on which outlines are drawn."""
    from plumbstone.meshes.columns import Grid

    tank = plan.scape.tank
    return plan.bed.grid if plan.bed else Grid.of_spacing(tank.length, tank.depth, 0.003)


def _frame(axes: "Axes", length: float, depth: float, units: Units) -> None:
    """Draw panes, thirds and a scale, all places in centimetres."""
    axes.set_xlim(0, length)
    axes.set_ylim(0, depth)
    axes.set_aspect("equal")
    for third in (1, 2):
        axes.axvline(length * third / 3, color=FAINT, linewidth=0.5, linestyle=":")
        axes.axhline(depth * third / 3, color=FAINT, linewidth=0.5, linestyle=":")
    bar = STEP[units]
    axes.plot([length - 2 - bar, length - 2], [1.2, 1.2], color=INK, linewidth=2.5)
    words = length_words(bar, units, 0)
    axes.text(length - 2 - bar / 2, 1.9, words, ha="center", fontsize=7, color=INK)


def unit_name(units: Units) -> str:
    """Name the unit of lengths."""
    return "in" if units is Units.US else "cm"


def length_words(centimetres: float, units: Units, digits: int) -> str:
    """Write a length given in centimetres."""
    value = centimetres / 2.54 if units is Units.US else centimetres
    return f"{value:.{digits}f} {unit_name(units)}"


def _gap_width(metres: float, units: Units) -> str:
    """Write the width of a gap."""
    return f"{metres / INCH:.2f} in" if units is Units.US else f"{metres * 1e3:.0f} mm"


def set_ticks(axes: "Axes", units: Units) -> None:
    """Set round ticks in the wanted unit; the axes themselves stay in centimetres."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MultipleLocator(STEP[units]))
        if units is Units.US:
            axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value / 2.54:.0f}"))


def _samples(plan: "Plan") -> int:
    """Count the samples along a cut."""
    return 2 * max(plan.bed.grid.nx, plan.bed.grid.ny) if plan.bed else 200


def _along(plan: "Plan", width: float) -> Any:
    """Places along a cut [m]."""
    count = _samples(plan)
    return (np.arange(count) + 0.5) * width / count


def _cut_place(plan: "Plan") -> float:
    """Where to cut from front to back: through the stone that stands highest [m]."""
    stones = [body for body in plan.bodies if body.entry.kind == "stone"]
    if not stones:
        return plan.scape.tank.length / 2
    return max(stones, key=lambda body: body.piece.vertices[:, 2].max()).entry.at[0]


def _border_heights(plan: "Plan") -> Any:
    """Places of the cut along the border, or through the middle [m]."""
    border, tank = plan.scape.border, plan.scape.tank
    if border is None:
        return np.full(_samples(plan), tank.depth / 2)
    x, y = np.array(border.line).T
    return np.interp(_along(plan, tank.length), x, y)


def _cut(axes: "Axes", plan: "Plan", x: Any, y: Any, units: Units) -> None:
    """Draw layers, solids and the water line over the places (x, y) of a cut."""
    from plumbstone.meshes.columns import columns_of

    tank = plan.scape.tank
    along = (y if x[0] == x[-1] else x) * 100
    line = tank.water_line
    if line is not None:
        axes.fill_between(along, 0, line * 100, color=WATER, alpha=0.22, linewidth=0)
        axes.axhline(line * 100, color=WATER, linewidth=1.2)
    grid = _drawing_grid(plan)
    column = np.clip((x / grid.spacing[0]).astype(int), 0, grid.nx - 1)
    row = np.clip((y / grid.spacing[1]).astype(int), 0, grid.ny - 1)
    for index, result in enumerate(plan.bed.layers if plan.bed else ()):
        axes.fill_between(
            along, result.below[row, column] * 100, result.surface[row, column] * 100,
            facecolor=layer_colour(index), hatch=HATCHES[index % len(HATCHES)],
            edgecolor="white", linewidth=0,
        )  # fmt: skip
    for number, body in enumerate(plan.bodies, 1):
        window = columns_of(body.piece.vertices, body.piece.faces, grid)
        _cut_body(axes, body.entry.kind, window, (row, column), along, number)
    _depth_labels(axes, plan, along, (row, column), units)


def _cut_body(
    axes: "Axes", kind: str, window: Any, cells: tuple[Any, Any], along: Any, number: int
) -> None:
    """Fill the intervals of one body on a cut, and number it."""
    row, column = cells[0] - window.row, cells[1] - window.column
    rows, columns = window.bottoms.shape[1:]
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    if not inside.any():
        return
    placed = False
    for low, high in zip(window.bottoms, window.tops, strict=True):
        bottom, top = np.full(len(along), np.nan), np.full(len(along), np.nan)
        bottom[inside] = low[row[inside], column[inside]] * 100
        top[inside] = high[row[inside], column[inside]] * 100
        solid = np.isfinite(bottom)
        if not solid.any():
            continue
        colour = WOOD if kind == "wood" else STONE
        axes.fill_between(along, bottom, top, where=solid, facecolor=colour, edgecolor=INK,
                          linewidth=0.8)  # fmt: skip
        widest = solid.sum() * (along[1] - along[0])
        if not placed and widest > 2.5:
            at = int(np.flatnonzero(solid)[solid.sum() // 2])
            axes.text(along[at], (bottom[at] + top[at]) / 2, str(number), ha="center",
                      va="center", fontsize=7)  # fmt: skip
            placed = True


def _depth_labels(
    axes: "Axes", plan: "Plan", along: Any, cells: tuple[Any, Any], units: Units
) -> None:
    """Write the height of the bed near both ends and in the middle of a cut."""
    bed = plan.bed
    if bed is None:
        return
    level = bed.surface[cells] * 100
    bare = (bed.columns.highest() > bed.surface - 1e-9)[cells]
    span = along[-1] - along[0]
    for share in (0.09, 0.5, 0.91):
        free = np.flatnonzero(~bare & (np.abs(along - along[0] - share * span) < 0.2 * span))
        if len(free) == 0:
            continue
        at = free[np.abs(along[free] - along[0] - share * span).argmin()]
        axes.annotate(
            length_words(level[at], units, 1), (along[at], level[at]), xytext=(0, 14),
            textcoords="offset points", ha="center", fontsize=7, color=INK,
            arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.6},
            bbox={"boxstyle": "round,pad=0.15", "facecolor": PAPER, "edgecolor": "none",
                  "alpha": 0.8},
        )  # fmt: skip


def _legend(axes: "Axes", plan: "Plan", *, with_water: bool) -> None:
    """Name layers, stone, wood and water below the drawing."""
    from matplotlib.patches import Patch

    handles = [
        Patch(facecolor=layer_colour(i), hatch=HATCHES[i % len(HATCHES)], edgecolor="white",
              label=_short(result.layer.name))
        for i, result in enumerate(plan.bed.layers if plan.bed else ())
    ]  # fmt: skip
    kinds = {body.entry.kind for body in plan.bodies}
    handles += [Patch(color=STONE, label="Stone")] if "stone" in kinds else []
    handles += [Patch(color=WOOD, label="Wood")] if "wood" in kinds else []
    handles += [Patch(color=WATER, alpha=0.4, label="Water")] if with_water else []
    axes.figure.legend(
        handles=handles, loc="outside lower left", ncols=min(4, len(handles)), frameon=False
    )


def _short(text: str) -> str:
    """Cut a long name for a drawing."""
    return text if len(text) <= 24 else f"{text[:23]}…"
