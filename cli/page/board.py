"""What is drawn of a tank: outlines from above and from the front, in millimetres on the screen."""

import itertools
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import numpy as np
import scipy
from nicegui import ui

from plumbstone.cli.page.desk import Seen
from plumbstone.cli.pictures.colours import colour_of
from plumbstone.cli.wording.page import NOT_HELD, place_line
from plumbstone.cli.wording.units import Units, mass_words
from plumbstone.meshes.measures.columns import Grid, Window, columns_of
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.bed.results import BedResult
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.findings import Kind
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.plan import Plan

OUTLINE_GRID = 0.003  # [m]
BED_CELLS = 160  # along the length, of what is drawn of the bed
LEVELS, OFF_LEVEL = 0.02, 0.0007  # lines of equal height, just off what is flat by design [m]
HALF = 0.5


class Board(ui.element, component="board.js"):
    """The drawing of a tank, whose pieces and handles can be moved; only what changed is sent."""

    def __init__(self, step: float, **acts: Callable[..., Any]) -> None:
        super().__init__()
        self.props.update(
            {"step": step * 1e3, "above": "From above, the back on top", "front": "From the front"}
        )
        self._ready = False
        self._drawn: dict[str, Any] = {}
        self._state: dict[str, Any] = {}
        self.on("ready", self._start)
        for name, act in acts.items():
            self.on(name, act)

    def show(self, drawing: dict[str, Any]) -> None:
        """Draw the parts of a drawing that are new."""
        old = self._drawn
        self._drawn = {**old, **drawing}
        if self._ready:
            self._send(old, drawing)

    def tell(self, **state: Any) -> None:
        """Show what is chosen, marked, touched, pulled or filled."""
        new = {key: value for key, value in state.items() if self._state.get(key, ...) != value}
        self._state |= new
        if self._ready and new:
            self.run_method("tell", new)

    def _start(self) -> None:
        """Send all to a browser that has just made the drawing."""
        self._ready = True
        if self._drawn:
            self._send({}, self._drawn)
        self.run_method("tell", self._state)

    def _send(self, old: dict[str, Any], new: dict[str, Any]) -> None:
        parts = {key: value for key, value in new.items() if old.get(key, ...) != value}
        if "pieces" in parts:
            before = old.get("pieces", {})
            changed = {n: p for n, p in parts["pieces"].items() if before.get(n) != p}
            parts["pieces"] = changed
        if parts:
            self.run_method("show", parts, list(self._drawn.get("pieces", {})))


def drawing_of(seen: Seen, before: Seen | None, layout: Layout, units: Units) -> dict[str, Any]:
    """Give all that the board draws, as plain data; heavy outlines are remembered.

    What floats and where soil runs is told of the last state that was judged.
    """
    plan, tank, memo = seen.plan, seen.plan.scape.tank, layout.memo
    height = tank.room
    floats = floating(before.plan) if before else set()
    figures = {piece.name: piece for piece in seen.report.pieces}
    pieces = {}
    for number, body in enumerate(plan.bodies, 1):
        told = figures[body.entry.name]
        above, front = memo(outlines, body, tank.length, tank.depth, height)
        place = place_line(told.from_left_m, told.from_front_m, units)
        low, high = body.piece.low, body.piece.high
        pieces[body.entry.name] = {
            "number": number,
            "name": body.entry.name,
            "kind": body.entry.kind,
            "fill": colour_of(body.entry.material),
            "label": f"{number}. {body.entry.name}, {told.material}, "
            f"{mass_words(told.mass_kg, units)}, {place}"
            f"{f', {NOT_HELD}' if body.entry.name in floats else ''}",
            "above": above,
            "front": front,
            "at": [_mm(body.entry.at[0]), _mm(body.entry.at[1])],
            "middle": [_mm((low[0] + high[0]) / 2), _mm((low[1] + high[1]) / 2)],
            "centre": _mm((low[2] + high[2]) / 2),
            "box": [_mm(v) for v in (low[0], high[0], low[1], high[1])],
            "near": _mm(low[1]),
            "top": _mm(high[2]),
            "floats": body.entry.name in floats,
        }
    borders = [[(x, tank.depth - y) for x, y in row.line] for row in plan.scape.borders]
    return {
        "length": _mm(tank.length),
        "depth": _mm(tank.depth),
        "height": _mm(height),
        "water": None if tank.water_line is None else _mm(tank.water_line),
        **ground_of(plan, layout),
        "border": " ".join(_path(line, closed=False) for line in borders) or None,
        "gaps": list(gaps(before)) if before else [],
        "pieces": pieces,
    }


def gaps(seen: Seen) -> Iterator[dict[str, Any]]:
    """Give the gaps that soil is found to run through, of all borders."""
    leaks = {f.about[1:] for f in seen.report.findings if f.kind is Kind.LEAKS}
    depth = seen.plan.scape.tank.depth
    for gap in seen.plan.border.gaps if seen.plan.border else ():
        if (gap.left, gap.right) in leaks:
            name = gap_name(gap.left, gap.right)
            yield {"x": _mm(gap.from_left_m), "y": _mm(depth - gap.from_front_m), "name": name}


def ground_of(plan: Plan, layout: Layout) -> dict[str, Any]:
    """Give what is drawn of the bed alone."""
    if plan.bed is None:
        return {"zones": [], "skyline": []}
    memo, height = layout.memo, plan.scape.tank.room
    return {"zones": memo(zones, plan.bed), "skyline": memo(skyline, plan.bed, height)}


def gap_name(left: str, right: str) -> str:
    """Name a gap by what stands beside it."""
    return f"{left} | {right}"


def spot_of(where: str, plan: Plan) -> tuple[float, float]:
    """Give the middle of a part of the floor by its code, from the top left [mm]."""
    tank, words = plan.scape.tank, where.split()
    x = 1 / 6 if "left" in words else 5 / 6 if "right" in words else 1 / 2
    y = 5 / 6 if "front" in words else 1 / 6 if "back" in words else 1 / 2
    return _mm(x * tank.length), _mm(y * tank.depth)


def floating(plan: Plan) -> set[str]:
    """Name the wood that is not proved to stay."""
    return {name for hold in plan.holds if not hold.stays for name in hold.group.wood}


def outlines(body: Body, length: float, depth: float, height: float) -> tuple[str, str]:
    """Give the outline of a body in a tank of a size [m] from above and from the front as paths."""
    grid = Grid.of_spacing(length, depth, OUTLINE_GRID)
    window = columns_of(body.piece.vertices, body.piece.faces, grid)
    return _from_above(window, grid, depth), _from_front(window, grid, height)


def zones(bed: BedResult) -> list[dict[str, str]]:
    """Give the areas where each layer lies on top, and lines of equal height."""
    every = max(1, bed.grid.nx // BED_CELLS)
    x, y = bed.grid.x[::every], bed.grid.y[::every]
    x, y = (
        np.concatenate([[0.0], places, [side]])
        for places, side in ((x, bed.grid.length), (y, bed.grid.depth))
    )
    found = []
    for result in bed.layers:
        lies = result.lies.astype(float)[::every, ::every]
        paths = _contours(x, y, np.pad(lies, 1, mode="edge"), HALF, bed.grid.depth, filled=True)
        if paths:
            fill = colour_of(result.layer.material)
            found.append({"d": paths, "fill": fill, "layer": result.layer.name})
    level = np.pad(bed.surface[::every, ::every], 1, mode="edge")
    for height in np.arange(LEVELS + OFF_LEVEL, float(level.max()), LEVELS):
        path = _contours(x, y, level, float(height), bed.grid.depth)
        if path:
            found.append({"d": path, "fill": ""})
    return found


def skyline(bed: BedResult, height: float) -> list[dict[str, str]]:
    """Give the layers as a front pane of a height [m] shows them, and the highest line behind."""
    every = max(1, bed.grid.nx // BED_CELLS)
    x = np.concatenate([[0.0], bed.grid.x[::every], [bed.grid.length]])

    def along(row: Floats) -> Floats:
        return np.pad(row[::every], 1, mode="edge")

    found = []
    for result in reversed(bed.layers):
        top = along(np.where(result.lies, result.surface, 0.0).max(axis=0))
        band = _band(x, np.zeros_like(top), top, height)
        found.append({"d": band, "fill": colour_of(result.layer.material)})
    for result in bed.layers:
        below, top = along(result.below[0]), along(result.surface[0])
        band = _band(x, below, top, height)
        found.append({"d": band, "fill": colour_of(result.layer.material)})
    return found


def _from_above(window: Window, grid: Grid, depth: float) -> str:
    """Give the outline of columns on the floor."""
    rows, columns = window.place
    step_x, step_y = grid.spacing
    covered = np.pad(np.isfinite(window.lowest()).astype(float), 2)
    x = (np.arange(covered.shape[1]) + columns.start - 1.5) * step_x
    y = (np.arange(covered.shape[0]) + rows.start - 1.5) * step_y
    return _contours(x, y, _smoothed(covered), HALF, depth)


def _from_front(window: Window, grid: Grid, height: float) -> str:
    """Give the outline of columns as seen through the front pane."""
    if not window.bottoms.size:
        return ""
    step = OUTLINE_GRID
    top = float(np.nanmax(np.where(np.isfinite(window.tops), window.tops, np.nan)))
    crossed = np.zeros((int(top / step) + 3, window.bottoms.shape[2]))
    solid = np.isfinite(window.bottoms)
    column = np.broadcast_to(np.arange(crossed.shape[1]), solid.shape)[solid]
    np.add.at(crossed, (np.rint(window.bottoms[solid] / step).astype(int).clip(0), column), 1)
    np.add.at(crossed, (np.rint(window.tops[solid] / step).astype(int) + 1, column), -1)
    covered = np.pad((crossed.cumsum(axis=0) > 0).astype(float), 2)
    x = (np.arange(covered.shape[1]) + window.column - 1.5) * grid.spacing[0]
    z = (np.arange(covered.shape[0]) - 1.5) * step
    return _contours(x, z, _smoothed(covered), HALF, height)


def _smoothed(covered: Floats) -> Floats:
    """Soften the steps of a grid."""
    return scipy.ndimage.gaussian_filter(covered, 0.8)


def _band(x: Floats, low: Floats, high: Floats, height: float) -> str:
    """Give the area between two lines."""
    ahead = list(zip(x, height - high, strict=True))
    back = list(zip(x, height - low, strict=True))[::-1]
    return _path([*ahead, *back]) if ahead else ""


def _contours(
    x: Any, y: Any, level: Floats, at: float, depth: float, *, filled: bool = False
) -> str:
    """Give lines, or areas above, of one level as a path; the back pane is up."""
    import contourpy

    generator = contourpy.contour_generator(x, y, level)
    lines: Any = generator.lines(at)
    if filled:  # areas come with the places where their outline and each hole begin
        areas: Any = zip(*generator.filled(at, 1e9), strict=True)
        lines = [area[a:b] for area, starts in areas for a, b in itertools.pairwise(starts)]
    paths = ([(px, depth - py) for px, py in line] for line in lines if len(line) > 2)
    return "".join(_path(path, closed=filled) for path in paths)


def _path(points: Iterable[tuple[float, float]], *, closed: bool = True) -> str:
    """Write points [m] as a path in millimetres."""
    words = " ".join(f"{x * 1e3:.0f},{y * 1e3:.0f}" for x, y in points)
    return f"M{words}{'Z' if closed else ''}"


def _mm(metres: float) -> float:
    return round(float(metres) * 1e3, 1)
