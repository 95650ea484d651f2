"""Solid intervals of closed meshes above the cells of a grid."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.loops import crossings, lengths_below, put_by_cell, put_in, united
from plumbstone.meshes.piece import Flags, Floats, Indices

_NUDGE = (1.234567e-7, 2.345678e-7)  # of a cell: keeps samples off edges drawn on round numbers
_GOLDEN = 0.6180339887498949  # its multiples fill a cell evenly, however many there are


@dataclass(frozen=True)
class Grid:
    """Equal cells over the floor; arrays on it are indexed [row = y, column = x]."""

    length: float  # along x [m]
    depth: float  # along y [m]
    nx: int
    ny: int

    @classmethod
    def of_spacing(cls, length: float, depth: float, spacing: float) -> "Grid":
        """Make a grid whose cells are as near to the spacing [m] as the floor allows."""
        return cls(length, depth, max(4, round(length / spacing)), max(4, round(depth / spacing)))

    @property
    def spacing(self) -> tuple[float, float]:
        """Width of a cell along x and along y [m]."""
        return self.length / self.nx, self.depth / self.ny

    @property
    def cell_area(self) -> float:
        """Area of one cell [m²]."""
        return self.length * self.depth / (self.nx * self.ny)

    def cell_at(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Row and column of the cell over a place, or over many [m]; the nearest beyond a pane."""
        dx, dy = self.spacing
        column = np.clip(np.asarray(x) / dx, 0, self.nx - 1).astype(int)
        row = np.clip(np.asarray(y) / dy, 0, self.ny - 1).astype(int)
        return row, column

    def around(self, places: Floats, far: float) -> tuple[slice, slice]:
        """Rows and columns of the cells in the box around places (n, 2), widened by so much [m]."""
        ends = np.stack([places.min(axis=0) - far, places.max(axis=0) + far])
        rows, columns = (cells.tolist() for cells in self.cell_at(*ends.T))
        return slice(rows[0], rows[1] + 1), slice(columns[0], columns[1] + 1)

    @cached_property
    def centres(self) -> tuple[Floats, Floats]:
        """Middles of the cells as x and y [m], (rows, columns) each."""
        x, y = np.meshgrid(self.x, self.y)
        return x, y

    @cached_property
    def scattered(self) -> tuple[Floats, Floats]:
        """One point in each cell as x and y [m], (rows, columns) each, spread evenly over them.

        Counting these instead of the middles, a straight edge cuts off its true area wherever
        it runs; the middles would take or leave a whole row of cells.
        """
        (x, y), (dx, dy) = self.centres, self.spacing
        shift_x, shift_y = _shifts(self.ny), _shifts(self.nx)
        return x + shift_x[:, None] * dx, y + shift_y * dy

    @cached_property
    def x(self) -> Floats:
        """Middles of the columns [m], shape (nx,)."""
        return (np.arange(self.nx, dtype=np.float64) + 0.5) * self.spacing[0]

    @cached_property
    def y(self) -> Floats:
        """Middles of the rows [m], shape (ny,)."""
        return (np.arange(self.ny, dtype=np.float64) + 0.5) * self.spacing[1]


@dataclass(frozen=True, eq=False)
class Columns:
    """Solid intervals above each cell, rising: bottoms[k] ≤ tops[k] ≤ bottoms[k + 1].

    Attributes
    ----------
    bottoms, tops : (layers, ny, nx) float arrays
        Heights [m]; +inf where a cell has fewer intervals.
    """

    bottoms: Floats
    tops: Floats

    @classmethod
    def empty(cls, grid: Grid) -> "Columns":
        """Make columns of a grid on which nothing stands."""
        none = np.full((0, grid.ny, grid.nx), np.inf)
        return cls(none, none)

    @cached_property
    def solid(self) -> Floats:
        """Length of solid above each cell [m], shape (ny, nx)."""
        return self.solid_below(np.inf)

    @cached_property
    def highest(self) -> Floats:
        """Top of the highest solid above each cell [m], 0 where there is none, shape (ny, nx)."""
        cells, _, tops = self._taken
        field = np.zeros(self.bottoms.shape[1:])
        field.ravel()[cells] = np.where(np.isfinite(tops), tops, 0.0).max(axis=0, initial=0.0)
        return field

    def solid_below(self, height: Floats | float) -> Floats:
        """Length of solid below a height above each cell [m], shape (ny, nx)."""
        level = np.ascontiguousarray(height, dtype=float).ravel()
        field = np.zeros(self.bottoms.shape[1:])
        lengths_below(*self._taken, level, field.ravel())
        return field

    def free_below(self, height: Floats | float) -> Floats:
        """Length of free space below a height above each cell [m], shape (ny, nx)."""
        return height - self.solid_below(height)

    @cached_property
    def _taken(self) -> tuple[NDArray[np.int64], Floats, Floats]:
        """Flat cells with a solid above them, (n,), and its bottoms and tops, (layers, n) [m]."""
        layers, rows, columns = self.bottoms.shape
        bottoms, tops = (ends.reshape(layers, rows * columns) for ends in (self.bottoms, self.tops))
        cells = np.flatnonzero(np.isfinite(bottoms[0])) if layers else np.empty(0, dtype=np.int64)
        lows, highs = (np.ascontiguousarray(ends[:, cells]) for ends in (bottoms, tops))
        return cells, lows, highs


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """Columns of one body: those of `Columns`, on the part of the grid it stands on."""

    bottoms: Floats  # (layers, rows, columns) [m]
    tops: Floats
    row: int  # where the part begins on the grid
    column: int

    @property
    def place(self) -> tuple[slice, slice]:
        """The part of the grid, as an index of arrays on it."""
        rows, columns = self.bottoms.shape[1:]
        return slice(self.row, self.row + rows), slice(self.column, self.column + columns)

    def lowest(self) -> Floats:
        """Underside of the body above each cell of the part [m], +inf beside it."""
        if len(self.bottoms) == 0:
            return np.full(self.bottoms.shape[1:], np.inf)
        return self.bottoms[0]

    def highest(self) -> Floats:
        """Top of the body above each cell of the part [m], 0 beside it."""
        return np.where(np.isfinite(self.tops), self.tops, 0.0).max(axis=0, initial=0.0)

    def raised(self, by: float) -> "Window":
        """Return the same columns, higher by a distance [m]."""
        return Window(self.bottoms + by, self.tops + by, self.row, self.column)


def columns_of(
    vertices: Floats,
    faces: Indices,
    grid: Grid,
    volume: float | None = None,
    *,
    scattered: bool = False,
) -> Window:
    """Cut a closed mesh into vertical columns.

    Parameters
    ----------
    vertices : (n, 3) float array
        Corner positions in the tank frame [m].
    faces : (m, 3) int array
        Consistently wound rows of `vertices`.
    grid : Grid
        Cells over the floor; what stands outside is left out.
    volume : float, optional
        Exact volume of the mesh [m³]. Columns are then stretched upwards so that they
        hold just that much; a mesh that reaches outside the grid is left as sampled.
    scattered : bool
        Take the samples at `Grid.scattered`, so that upright faces lie true on the whole,
        instead of in the middle of each cell.

    Returns
    -------
    Window
        One vertical ray through each cell.
    """
    dx, dy = grid.spacing
    vertices = np.ascontiguousarray(vertices, dtype=np.float64)
    low, high = (np.array([end(side) for side in vertices.T]) for end in (np.min, np.max))
    column0, row0 = max(0, int(low[0] / dx) - 1), max(0, int(low[1] / dy) - 1)
    column1, row1 = min(grid.nx, int(high[0] / dx) + 2), min(grid.ny, int(high[1] / dy) + 2)
    if column1 <= column0 or row1 <= row0:
        return Window(np.empty((0, 0, 0)), np.empty((0, 0, 0)), 0, 0)
    scaled = vertices.copy()
    scaled[:, 0] = scaled[:, 0] / dx - 0.5 - column0 - _NUDGE[0]
    scaled[:, 1] = scaled[:, 1] / dy - 0.5 - row0 - _NUDGE[1]
    shape = (row1 - row0, column1 - column0)
    size = shape[0] * shape[1]
    spread = 1.0 if scattered else 0.0
    shift_x = spread * _shifts(row1)[row0:]
    shift_y = spread * _shifts(column1)[column0:]
    cells, heights, _, count = crossings(scaled, faces, shift_x, shift_y, spread / 2, 4 * size)
    if count > len(cells):
        cells, heights, _, count = crossings(scaled, faces, shift_x, shift_y, spread / 2, count)
    heights, starts = _sorted_by_cell(cells, heights, count, size)
    bottoms, tops = _paired(heights, starts, shape)
    inside = (low[:2] >= 0).all() and high[0] <= grid.length and high[1] <= grid.depth
    if volume is not None and inside:
        tops = _stretched(bottoms, tops, grid.cell_area, volume)
    return Window(bottoms, tops, row0, column0)


def merged_columns(parts: Sequence[Window], grid: Grid) -> Columns:
    """Unite the columns of several bodies; where they overlap, their union counts."""
    counts = np.zeros((grid.ny, grid.nx), dtype=np.int64)
    for part in parts:
        counts[part.place] += np.isfinite(part.bottoms).sum(axis=0)
    most = int(counts.max(initial=0))
    bottoms, tops = (np.full((most, grid.ny, grid.nx), np.inf) for _ in range(2))
    counts[:] = 0
    for part in parts:
        put_in(bottoms, tops, counts, part.bottoms, part.tops, part.row, part.column)
    kept = united(bottoms, tops, counts)
    return Columns(bottoms[:kept], tops[:kept])


def signed_hits(
    vertices: Floats, faces: Indices, rows: int, columns: int
) -> tuple[NDArray[np.int64], Floats, Flags]:
    """Find where vertical lines through the middles of unit cells cross the faces.

    Parameters
    ----------
    vertices : (n, 3) float array
        In units of the cells, x along the columns from 0.
    faces : (m, 3) int array
    rows, columns : int

    Returns
    -------
    cells : (k,) int array
        row × columns + column.
    heights : (k,) float array
    upward : (k,) bool array
        Whether the face looks up there.
    """
    shifted = np.ascontiguousarray(vertices - [0.5 + _NUDGE[0], 0.5 + _NUDGE[1], 0.0])
    middle = np.zeros(rows), np.zeros(columns)
    count = crossings(shifted, faces, *middle, 0.0, 1)[3]
    cells, heights, upward, count = crossings(shifted, faces, *middle, 0.0, max(count, 1))
    return cells[:count], heights[:count], upward[:count]


def _shifts(count: int) -> Floats:
    """Shift of each row or column of scattered points, in cells from the middle, (count,)."""
    return np.asarray((np.arange(count) * _GOLDEN + 0.5) % 1 - 0.5, dtype=np.float64)


def _sorted_by_cell(
    cells: NDArray[np.int64], heights: Floats, count: int, size: int
) -> tuple[Floats, NDArray[np.int64]]:
    """Give the hits by cell, rising in each, and where each cell starts among them."""
    starts = np.zeros(size + 1, dtype=np.int64)
    np.cumsum(np.bincount(cells[:count], minlength=size), out=starts[1:])
    ordered = np.empty(count)
    put_by_cell(cells, heights, count, starts[:-1].copy(), ordered)
    return ordered, starts


def _paired(
    heights: Floats, starts: NDArray[np.int64], shape: tuple[int, int]
) -> tuple[Floats, Floats]:
    """Pair rising hits to (bottom, top) intervals, (k, rows, columns); odd ones are dropped."""
    counts = np.diff(starts) // 2
    most = int(counts.max(initial=0))
    bottoms, tops = (np.full((most, shape[0] * shape[1]), np.inf) for _ in range(2))
    for k in range(most):
        has = np.flatnonzero(counts > k)
        bottoms[k, has] = heights[starts[has] + 2 * k]
        tops[k, has] = heights[starts[has] + 2 * k + 1]
    return bottoms.reshape(most, *shape), tops.reshape(most, *shape)


def _stretched(bottoms: Floats, tops: Floats, cell_area: float, volume: float) -> Floats:
    """Tops moved so that the intervals, stretched from their bottoms, hold the exact volume."""
    solid = np.isfinite(bottoms)
    thickness = np.where(solid, tops, 0) - np.where(solid, bottoms, 0)
    sampled = float(thickness.sum()) * cell_area
    if sampled <= 0:
        return tops
    stretched = np.where(solid, bottoms + thickness * (volume / sampled), np.inf)
    # A stretched interval must not run into the one above it.
    stretched[:-1] = np.minimum(stretched[:-1], bottoms[1:])
    return stretched
