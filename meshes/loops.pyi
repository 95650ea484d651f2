"""Types of the compiled loops."""

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.piece import Floats, Indices

def united(bottoms: Floats, tops: Floats, counts: Indices) -> int: ...
def put_in(
    bottoms: Floats,
    tops: Floats,
    counts: Indices,
    lows: Floats,
    highs: Floats,
    row: int,
    column: int,
) -> None: ...
def lengths_below(
    cells: Indices, bottoms: Floats, tops: Floats, levels: Floats, lengths: Floats
) -> None: ...
def crossings(
    vertices: Floats, faces: Indices, shift_x: Floats, shift_y: Floats, aside: float, room: int
) -> tuple[Indices, Floats, NDArray[np.bool_], int]: ...
def put_by_cell(
    cells: Indices, heights: Floats, count: int, fill: Indices, ordered: Floats
) -> None: ...
def basins_of(
    depth: Floats, order: Indices, strides: Indices, neck: float, least_part: float
) -> tuple[Indices, float]: ...
def paint(
    picture: NDArray[np.uint8], where: Floats, uv: Floats, texture: NDArray[np.uint8]
) -> None: ...
def signed_distances(polygon: Floats, x: Floats, y: Floats) -> Floats: ...
