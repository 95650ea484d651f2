"""A stone or a piece of wood as a closed triangle mesh."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]


def longest_side(points: Floats) -> float:
    """Greatest extent of points (n, 3) along x, y or z [m]; one axis after the other is fastest."""
    return max(float(side.max() - side.min()) for side in points.T)


@dataclass(frozen=True, eq=False)
class Piece:
    """One body of the layout: a triangle mesh in metres, z up, and where it came from.

    Attributes
    ----------
    vertices : (n, 3) float array
        Corner positions [m].
    faces : (m, 3) int array
        Rows of `vertices`, counter-clockwise seen from outside.
    name : str
        What the user calls it.
    material : str
        Key of the materials table; empty where none was given.
    source : str
        The file or the solid it was made from.
    changes : tuple of str
        What was mended or guessed, one plain sentence each.
    warnings : tuple of str
        What the user should know before trusting it.
    """

    vertices: Floats
    faces: Indices
    name: str
    material: str = ""
    source: str = ""
    changes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @cached_property
    def low(self) -> Floats:
        """Lowest coordinate along x, y and z [m], shape (3,)."""
        return np.array([side.min() for side in self.vertices.T])

    @cached_property
    def high(self) -> Floats:
        """Highest coordinate along x, y and z [m], shape (3,)."""
        return np.array([side.max() for side in self.vertices.T])

    @property
    def size(self) -> Floats:
        """Extent along x, y and z [m], shape (3,)."""
        return self.high - self.low

    def moved_to(self, vertices: Floats) -> "Piece":
        """Return the same piece with other corner positions, shape (n, 3) [m]."""
        return replace(self, vertices=vertices)


def piece_from(mesh: Any, name: str) -> Piece:
    """Take a mesh in memory as a piece, corners in metres.

    Parameters
    ----------
    mesh : Piece, (vertices, faces), or anything with both
        Corners (n, 3) [m] and rows of them (m, 3).
    name : str
        For one that has none.

    Raises
    ------
    ValueError
        If these are no such arrays; its text tells what is wrong with the mesh.
    """
    try:
        pair = (mesh.vertices, mesh.faces) if hasattr(mesh, "faces") else mesh
        vertices, faces = np.asarray(pair[0], float), np.asarray(pair[1], np.int64)
    except (AttributeError, TypeError, ValueError, IndexError, KeyError):
        raise ValueError("must have vertices (n, 3) and faces (m, 3).") from None
    if vertices.ndim != 2 or vertices.shape[1] != 3 or faces.ndim != 2 or faces.shape[1] != 3:
        raise ValueError("must have vertices (n, 3) and faces (m, 3).")
    if not np.isfinite(vertices).all():
        raise ValueError("has corners that are not finite; mend the vertices.")
    if len(faces) == 0 or not 0 <= faces.min() <= faces.max() < len(vertices):
        raise ValueError(f"has faces beyond its {len(vertices)} vertices, or none.")
    if isinstance(mesh, Piece):
        return replace(mesh, vertices=vertices, faces=faces)
    return Piece(vertices, faces, name, source="a mesh in memory")
