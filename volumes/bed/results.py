"""What a bed comes to: each layer as it lies, what passes the borders, heights and depths."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Columns, Grid, Window
from plumbstone.meshes.measures.nearest import carried_on
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.row import Row
from plumbstone.volumes.figures import SpotFigures
from plumbstone.volumes.scape.layers import Layer, Spot

NONE = Range.exact(0.0)
LEAST_THICK = 1e-4  # [m]: what is thinner is no layer
PANES: dict[str, Any] = {  # cells along each of them
    "front": np.s_[0], "back": np.s_[-1], "left": np.s_[:, 0], "right": np.s_[:, -1]
}  # fmt: skip


class BedError(PlumbstoneError, ValueError):
    """A bed that cannot be laid as drawn."""


@dataclass(frozen=True, slots=True)
class Slide:
    """What does not stay where it is drawn."""

    volume: float  # [m³]
    drop: float  # how much lower the surface ends at the worst place [m]
    where: str  # in words, such as "back right"
    at: tuple[float, float]  # that place [m]
    crest_drawn: float = 0.0  # greatest drawn height beside stones [m]
    crest_stays: float = 0.0  # what stays of it there [m]
    crest_where: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class LayerResult:
    """One layer as it comes to lie."""

    layer: Layer
    surface: Floats  # (rows, columns), above the glass, stones showing through [m]
    below: Floats  # the surface it lies on [m]
    drawn: Floats  # the wanted surface, stones left out [m]
    edge: Floats | None  # signed distance to the edge of its zone [m]; None: it has none
    settled: float = 0.0  # [m³], extrapolated from two grids
    error: float = 0.0  # difference of the two grids [m³]
    poured: float = 0.0  # [m³]
    slide: Slide = Slide(0.0, 0.0, "", (0.0, 0.0))
    slope_degrees: float = 0.0  # drawn, from front to back in the middle of its zone
    passed: float = 0.0  # what comes to rest beyond its border [m³]
    void: float = 0.0  # space below stones that is empty once it lies [m³]
    gaps: float = 0.0  # space between its sacks that nothing fills [m³]
    settled_range: Range = NONE  # by its repose [m³]
    beside: tuple[str, ...] = ()  # layers that are poured in turn with it and hold it
    steepest_degrees: float = 0.0  # slope that most of its open surface does not exceed
    steepest_towards: str = ""  # which way it rises, such as "front to back"; empty: all ways

    @property
    def lies(self) -> Flags:
        """Where it lies as it has come to rest, (rows, columns)."""
        return np.asarray(self.surface > self.below + LEAST_THICK)

    @property
    def wanted(self) -> float:
        """Volume as it is drawn [m³]."""
        return self.settled + self.slide.volume

    @property
    def stays(self) -> float:
        """Volume that stays where it is poured [m³]."""
        return self.settled - self.passed

    @property
    def poured_range(self) -> Range:
        """What to pour by its repose and how much it settles [m³]."""
        settles = self.layer.settles
        by_repose = self.settled_range.plus(-self.gaps).times(1 / (1 - settles.mid))
        laid = self.settled - self.gaps
        low, high = laid / (1 - settles.low), laid / (1 - settles.high)
        less = math.hypot(by_repose.mid - by_repose.low, by_repose.mid - low)
        more = math.hypot(by_repose.high - by_repose.mid, high - by_repose.mid)
        return Range(max(self.poured - less, 0.0), self.poured, self.poured + more)

    @property
    def mass(self) -> Range:
        """Dry mass of what is poured, by the range of that and of its bulk density [kg]."""
        bulk = self.layer.material.bulk_density
        assert bulk is not None
        found = Range.total(
            (bulk.times(self.poured), self.poured_range.plus(-self.poured).times(bulk.mid))
        )
        return Range(max(found.low, 0.0), found.mid, found.high)

    @property
    def sacks(self) -> int:
        """How many sacks of filler are laid; 0 where it is poured loose."""
        sacks = self.layer.sacks
        return 0 if sacks is None else math.ceil(self.poured / sacks.holds - 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """What passes one gap of a border, or a part of it that nothing holds any more."""

    layer: str
    row: Row
    gap: int  # its place among the gaps of the row; -1 beside them
    at: tuple[float, float]  # [m]
    width: float  # widest opening below the soil line [m]
    upper: float  # soil behind it [m]
    lower: float  # what lies before it [m]
    volume: float  # that comes to rest beyond the stones [m³]
    reach: float  # how far beyond their faces [m]
    lowered: float  # how much lower it ends in the opening than it lay [m]


@dataclass(frozen=True, eq=False)
class BedResult:
    """The whole bed."""

    grid: Grid
    columns: Columns
    layers: tuple[LayerResult, ...]
    surface: Floats  # at rest, above the glass, stones showing through [m]
    rows: tuple[Row, ...] = ()
    passed: tuple[Passed, ...] = ()  # what comes through the borders
    poured: Floats = field(default_factory=lambda: np.zeros((0, 0)))  # the surface before that [m]

    @property
    def settled(self) -> float:
        """Volume of all layers, voids counted [m³]."""
        return sum(result.settled for result in self.layers)

    @property
    def depths(self) -> dict[str, float]:
        """Mean height at front, middle and back, where some of it lies beside stones [m]."""
        free = self.columns.solid == 0
        rows = {"front": 0, "middle": self.grid.ny // 2, "back": self.grid.ny - 1}
        return {n: float(self.surface[k][free[k]].mean()) for n, k in rows.items() if free[k].any()}

    @cached_property
    def soil_line(self) -> Floats:
        """Surface as it lies beside the pieces, carried on below them, above the glass [m].

        Cells in which a piece stands in it take the height of the nearest cell in which none does.
        """
        solids, near = self.columns, self.surface
        taken = np.any((solids.bottoms <= near + 1e-9) & (solids.tops >= near - 1e-9), axis=0)
        if taken.all():
            return self.surface
        return carried_on(self.surface, taken)


def depths_at(spots: Sequence[Spot], result: BedResult) -> tuple[SpotFigures, ...]:
    """Height and depth of the bed at named places; beside a stone where one stands there."""
    if not spots:
        return ()
    line = result.soil_line
    grid, columns = result.grid, result.columns
    found = []
    for spot in spots:
        row, column = grid.cell_at(*spot.at)
        height = float(line[row, column])
        tops = columns.tops[:, row, column]
        buried = tops[tops < height]
        depth, needed = height - float(buried.max(initial=0.0)), spot.root_depth
        lacking = 0.0 if needed is None else max(0.0, needed - depth)
        found.append(SpotFigures(spot.name, height, depth, needed, lacking))
    return tuple(found)


def covered_share(window: Window, line: Floats) -> float:
    """Share of a piece that lies below the bed beside it.

    `line` is the bed on the grid of the window, as of `BedResult.soil_line` [m].
    """
    solid = np.isfinite(window.bottoms)
    bottoms, tops = (np.where(solid, ends, 0.0) for ends in (window.bottoms, window.tops))
    whole = float((tops - bottoms).sum())
    below = float(np.clip(np.minimum(tops, line[window.place]) - bottoms, 0, None).sum())
    return below / whole if whole > 0 else 0.0


def bare_cells(result: BedResult) -> Flags:
    """Cells where a stone stands out of the bed."""
    return result.columns.highest > result.surface - 1e-9
