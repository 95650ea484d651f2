"""Types of the compiled loops."""

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.piece import Floats, Indices

_Mask = NDArray[np.bool_]
_States = NDArray[np.uint8]

FREE: int

def rises_of(field: Floats, dx: float, dy: float) -> tuple[Floats, Floats]: ...
def steep_cells(
    field: Floats, inside: _Mask, dx: float, dy: float, least: float, most: float
) -> _Mask: ...
def lower_at_wall(
    limit: Floats, full: Floats, away: Floats, near: float, slope: float, steepest: float,
    dx: float, dy: float, row: int, column: int,
) -> None: ...  # fmt: skip
def lifted(surface: Floats, bottoms: Floats, tops: Floats, touching: float) -> Floats: ...
def nearest_cell(
    where: _Mask, x: float, y: float, within: float, searched: float, dx: float, dy: float
) -> tuple[int, int]: ...
def run_under(
    level: Floats, roof: Floats, covered: _Mask, slope: float, dx: float, dy: float
) -> None: ...
def states(
    surface: Floats, ground: Floats, bottoms: Floats, tops: Floats, walls: _Mask
) -> _States: ...
def seed_edges(
    surface: Floats, ground: Floats, state: _States, bottoms: Floats, edge: Floats, slope: float,
    dx: float, dy: float,
) -> None: ...  # fmt: skip
def seed_fans(
    surface: Floats, ground: Floats, state: _States, bottoms: Floats, edge: Floats, top: float,
    slope: float, dx: float, dy: float,
) -> None: ...  # fmt: skip
def seed_shadows(
    surface: Floats, limit: Floats, ground: Floats, sorted_cells: _States, bottoms: Floats,
    tops: Floats, slope: float, dx: float, dy: float,
) -> None: ...  # fmt: skip
def settle(
    surface: Floats, ground: Floats, state: _States, bottoms: Floats, tops: Floats, edge: Floats,
    slope: float, dx: float, dy: float,
) -> bool: ...  # fmt: skip
def ways_from(
    barred: _Mask, side: _Mask, ends: Floats, far: float, dx: float, dy: float
) -> Floats: ...
def lay_surface(
    ways: Floats, starts: Indices, shapes: Indices, sills: Floats, upper: Floats, below: Floats,
    lower: Floats, side: _Mask, slope: float, rested: Floats, source: Indices, levels: Floats,
    flows: Floats, stiff: Floats,
) -> None: ...  # fmt: skip
