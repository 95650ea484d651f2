"""Small pictures of kept pieces for the cards of the stock."""

import io
from functools import lru_cache
from typing import Any

import numpy as np

from plumbstone.meshes.piece import Floats, Indices

TURNED, TILTED = np.radians(35), np.radians(25)  # so that three sides are seen
DOTS = 60  # for each inch
INCHES = (4.0, 2.4)


def thumbnail(vertices: Floats, faces: Indices, colour: str) -> bytes:
    """Draw a mesh [m] from above one corner, as PNG without ground."""
    from plumbstone.cli.pictures.drawing import new_figure
    from plumbstone.cli.pictures.shaded import FROM_FRONT, draw_solids

    figure = new_figure(*INCHES)
    axes = figure.subplots()
    axes.set_axis_off()
    draw_solids(axes, [(_turned(vertices), faces, colour)], FROM_FRONT)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=DOTS, transparent=True)
    return stream.getvalue()


@lru_cache(maxsize=500)  # a stock asks for each of its cards again and again
def thumbnail_by_size(size: tuple[float, ...], colour: str) -> bytes:
    """Draw a rounded stone of a size (length, width, height) [m]."""
    from plumbstone.meshes.shapes.primitives import boulder

    length, width, height = size
    piece = boulder((length, width, height))
    return thumbnail(piece.vertices, piece.faces, colour)


def thumbnail_of_scan(ply: bytes, colour: str) -> bytes:
    """Draw a closed scan as we wrote it (PLY)."""
    import trimesh

    mesh: Any = trimesh.load(io.BytesIO(ply), file_type="ply", process=False)
    return thumbnail(np.asarray(mesh.vertices), np.asarray(mesh.faces), colour)


def _turned(vertices: Floats) -> Floats:
    """Turn about z, then tilt the top towards the eye."""
    (c, s), (d, t) = ((np.cos(a), np.sin(a)) for a in (TURNED, TILTED))
    about_z = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, d, -t], [0, t, d]])
    return vertices @ (about_x @ about_z).T
