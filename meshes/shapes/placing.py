"""Turning, tilting and setting pieces down in the tank."""

from dataclasses import replace

import numpy as np

from plumbstone.meshes.measures.columns import Window
from plumbstone.meshes.piece import Floats, Piece

Ends = tuple[Floats, Floats]  # of the solid intervals of columns, (intervals, rows, columns) [m]


def turned(piece: Piece, degrees: float) -> Piece:
    """Turn about the vertical [degrees], anticlockwise seen from above, around the origin."""
    return piece.moved_to(piece.vertices @ _rotation(np.array([0.0, 0.0, 1.0]), degrees).T)


def tilted(piece: Piece, degrees: float, towards: float) -> Piece:
    """Tilt so that the top moves towards a direction, from +x to +y; both [degrees]."""
    direction = np.radians(towards)
    axis = np.array([-np.sin(direction), np.cos(direction), 0.0])
    return piece.moved_to(piece.vertices @ _rotation(axis, degrees).T)


def sunk(piece: Piece, slopes: tuple[float, float], about: Floats) -> Piece:
    """Turn about a level axis through a point so that a plane of these slopes becomes level.

    `slopes` are dz/dx and dz/dy of the plane; `about` is a point, (3,) [m].
    """
    steep = float(np.hypot(*slopes))
    if steep == 0:
        return piece
    axis = np.array([-slopes[1], slopes[0], 0.0]) / steep
    rotation = _rotation(axis, float(np.degrees(np.arctan(steep))))
    return piece.moved_to((piece.vertices - about) @ rotation.T + about)


def stood_at(piece: Piece, x: float, y: float) -> Piece:
    """Move so that the middle of the outline lies at (x, y) and the lowest point at z = 0 [m]."""
    low, high = piece.low, piece.high
    middle = (low + high) / 2
    return piece.moved_to(piece.vertices + [x - middle[0], y - middle[1], -low[2]])


def raised(piece: Piece, by: float) -> Piece:
    """Move up by a distance [m]."""
    return piece.moved_to(piece.vertices + [0.0, 0.0, by])


def resting_height(window: Window, surface: Floats) -> float:
    """How far a piece on the floor must rise to rest on a surface, set down without turning.

    Its columns stand above the floor, the lowest point at z = 0; the surface (rows, columns) [m] is
    that of pieces or of the bed. Gives the height of its lowest point once the first cell touches
    [m], at least 0: exact for the sampled columns; between them a sharp tip may reach deeper by up
    to half a cell times its slope.
    """
    under = window.lowest()
    if under.size == 0 or not np.isfinite(under).any():
        return 0.0
    below = surface[window.place]
    return float(max(0.0, np.max(np.where(np.isfinite(under), below - under, -np.inf))))


def shared_volume(a: Window, b: Window, cell_area: float) -> float:
    """Volume that two bodies both claim [m³], from their columns on one grid."""
    return float(shared_heights(a, b).sum()) * cell_area


def shared_heights(a: Window, b: Window) -> Floats:
    """Height that intervals of two bodies share in each cell of both [m], (i, j, rows, columns)."""
    _, (low_a, top_a), (low_b, top_b) = where_both(a, b)
    with np.errstate(invalid="ignore"):
        shared = np.minimum(top_a[:, None], top_b) - np.maximum(low_a[:, None], low_b)
    return np.fmax(shared, 0.0)


def where_both(a: Window, b: Window) -> tuple[tuple[int, int], Ends, Ends]:
    """Cut the columns of two bodies to those they share: the first cell, their bottoms and tops."""
    first = max(a.row, b.row), max(a.column, b.column)
    last = (min(one.stop, other.stop) for one, other in zip(a.place, b.place, strict=True))
    rows, columns = ((start, max(start, end)) for start, end in zip(first, last, strict=True))
    cuts = []
    for window in (a, b):
        part = np.s_[
            :,
            rows[0] - window.row : rows[1] - window.row,
            columns[0] - window.column : columns[1] - window.column,
        ]
        cuts.append((window.bottoms[part], window.tops[part]))
    return first, cuts[0], cuts[1]


def renamed(piece: Piece, name: str, material: str) -> Piece:
    """Return the piece under the name and material that the user gave it."""
    return replace(piece, name=name, material=material)


def _rotation(axis: Floats, degrees: float) -> Floats:
    """Rotation matrix about a unit axis by Rodrigues' formula, (3, 3)."""
    angle = np.radians(degrees)
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
