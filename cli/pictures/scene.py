"""The tank as a 3D scene: a glTF file, and what the view in the build sheet draws."""

import base64
import io
import zipfile
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import scipy
from PIL import Image

from plumbstone.cli.pictures.colours import GLASS, WATER, colour_of
from plumbstone.cli.pictures.sight import Form, Sight, picture_from_front, top_layers
from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.mending.thinning import layer_solid, simplified
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.scape.materials import Material
from plumbstone.volumes.scape.tank import Tank

NODES, SCENE_NODES = 220, 120  # along the length, of the bed in the view and in glTF
FACES, LEAST, MOST = 24_000, 300, 1_800  # of all pieces in the view, and of one
STEPS = 65_535  # a coordinate in the view is a whole number of so many parts of a length
STILL_RISE = 0.42  # of the still picture, for each metre back
STILL_QUALITY = 82
SMALLEST_GRAIN = 0.0015  # finer ones would only flicker [m]
TEXTURE = {"stone": 0.012, "wood": 0.006}  # width of a speck [m]


def glb_bytes(sight: Sight) -> bytes:
    """Give the scene as binary glTF: metres, +y up, one named node for each part."""
    import trimesh

    plan, scene = sight.plan, trimesh.Scene()
    for form in sight.forms:
        piece, colour = form.body.piece, colour_of(form.body.entry.material)
        add_to(scene, f"{form.number} {form.body.entry.name}", piece.vertices, piece.faces, colour)
    x, y = _nodes(sight, SCENE_NODES)
    for index, result in enumerate(plan.bed.layers if plan.bed else ()):
        # Inside a piece the layer goes on; the piece covers it.
        high = np.minimum(result.surface, sight.line)
        low = np.minimum(result.below, high)
        surfaces = (_at_nodes(level, sight.grid, x, y) for level in (low, high))
        vertices, faces = layer_solid(x, y, *surfaces)
        if len(faces):
            name = f"layer {index + 1} {result.layer.name}"
            add_to(scene, name, vertices, faces, colour_of(result.layer.material))
    for name, bounds in _boxes(plan.scape.tank).items():
        box = trimesh.creation.box(bounds=bounds)
        colour = WATER if name == "water" else GLASS
        add_to(scene, name, box.vertices, box.faces, colour, alpha=60)
    return scene.export(file_type="glb")


def view_data(sight: Sight) -> dict[str, Any]:
    """Give what the view draws: the bed as nodes of its grid, pieces, the box; metres."""
    tank = sight.plan.scape.tank
    most = int(np.clip(FACES / max(1, len(sight.forms)), LEAST, MOST))
    return {
        "size": [tank.length, tank.depth, sight.height],
        "line": tank.water_line,
        "water": WATER,
        "glass": GLASS,
        "pieces": [_piece(form, most) for form in sight.forms],
        "bed": _bed(sight),
    }


def still_picture(sight: Sight) -> bytes:
    """Give a picture from the front and a little above, as WebP, for where nothing turns."""
    colours, _ = picture_from_front(
        sight.plan, sight.line, sight.grid, sight.height, rise=STILL_RISE
    )
    stream = io.BytesIO()
    pixels = np.round(colours[::-1] * 255).astype(np.uint8)
    Image.fromarray(pixels, "RGBA").save(stream, "WEBP", quality=STILL_QUALITY)
    return stream.getvalue()


def three_js() -> str | None:
    """Give the library that draws the view, as trimesh ships it; None where it does not.

    three.js, Copyright 2010-2022 Three.js Authors, MIT; its notice stands in the text.
    """
    package = find_spec("trimesh")  # found, not loaded
    home = Path(package.origin).parent if package and package.origin else Path()
    try:
        with zipfile.ZipFile(home / "resources" / "templates" / "viewer.zip") as parts:
            page = parts.read("viewer.html.template").decode("utf-8")
    except (OSError, KeyError, zipfile.BadZipFile):
        return None
    begin = page.find("/**\n * @license")
    code = page.find("\n!function", begin)
    end = page.find("\n", code + 1)
    if begin < 0 or code < 0 or "Three.js" not in page[begin:code]:
        return None
    return page[begin:end]


def _nodes(sight: Sight, most: int) -> tuple[Floats, Floats]:
    """Places of the nodes along x and y [m], on the panes at both ends."""
    grid = sight.grid
    across = min(most, grid.nx)
    back = max(4, round(across * grid.depth / grid.length))
    return np.linspace(0, grid.length, across + 1), np.linspace(0, grid.depth, back + 1)


def _at_nodes(values: Floats, grid: Grid, x: Floats, y: Floats) -> Floats:
    """Give values over cells at nodes between them, (rows, columns)."""
    dx, dy = grid.spacing
    rows, columns = np.meshgrid(y / dy - 0.5, x / dx - 0.5, indexing="ij")
    return scipy.ndimage.map_coordinates(values, [rows, columns], order=1, mode="nearest")


def _bed(sight: Sight) -> dict[str, Any] | None:
    """Give the bed: heights and topmost layer at the nodes, and each layer along the panes."""
    bed = sight.plan.bed
    if bed is None:
        return None
    x, y = _nodes(sight, NODES)
    heights = _at_nodes(sight.line, sight.grid, x, y)
    row, column = sight.grid.cell_at(*np.meshgrid(x, y))
    return {
        "columns": len(x),
        "rows": len(y),
        "heights": _packed(heights / sight.height * STEPS, np.uint16),
        "tops": _packed(top_layers(bed)[row, column] + 1, np.uint8),
        "layers": [
            {
                "name": result.layer.name,
                "colour": colour_of(result.layer.material),
                "grain": _grain(result.layer.material),
                "panes": [
                    _packed(edge / sight.height * STEPS, np.uint16)
                    for level in [_at_nodes(result.surface, sight.grid, x, y)]
                    for edge in (level[0], level[:, -1], level[-1], level[:, 0])
                ],
            }
            for result in bed.layers
        ],
    }


def _grain(material: Material) -> float:
    """Width of the specks that a material is drawn with [m]."""
    if material.kind in TEXTURE:
        return TEXTURE[material.kind]
    return max(SMALLEST_GRAIN, 1.6 * (material.d50 or SMALLEST_GRAIN))


def _piece(form: Form, most: int) -> dict[str, Any]:
    """Give one piece: corners as parts of the box around it, and faces."""
    vertices, faces = simplified(form.body.piece.vertices, form.body.piece.faces, most)
    low = vertices.min(axis=0)
    size = np.maximum(vertices.max(axis=0) - low, 1e-6)
    return {
        "number": form.number,
        "name": form.body.entry.name,
        "colour": colour_of(form.body.entry.material),
        "grain": _grain(form.body.entry.material),
        "buried": form.buried,
        "low": [round(float(v), 5) for v in low],
        "size": [round(float(v), 5) for v in size],
        "corners": _packed((vertices - low) / size * STEPS, np.uint16),
        "faces": _packed(faces, np.uint16),
    }


def _packed(values: Any, kind: Any) -> str:
    """Write whole numbers as base64, the lowest byte first."""
    whole = np.clip(np.round(values), 0, np.iinfo(kind).max).astype(
        np.dtype(kind).newbyteorder("<")
    )
    return base64.b64encode(whole.tobytes()).decode("ascii")


def _boxes(tank: Tank) -> dict[str, Any]:
    """Give both ends of the water, and of floor and panes outside of it [m]."""
    length, depth, height = tank.length, tank.depth, tank.height
    water = {"water": ((0, 0, 0), (length, depth, tank.water_line))}
    found = water if tank.water_line is not None else {}
    if tank.glass is None or height is None:
        return found
    t = tank.glass
    return found | {
        "glass floor": ((-t, -t, -t), (length + t, depth + t, 0)),
        "front pane": ((-t, -t, 0), (length + t, 0, height)),
        "back pane": ((-t, depth, 0), (length + t, depth + t, height)),
        "left pane": ((-t, 0, 0), (0, depth, height)),
        "right pane": ((length, 0, 0), (length + t, depth, height)),
    }


def add_to(scene: Any, name: str, vertices: Any, faces: Any, colour: str, alpha: int = 255) -> None:
    """Add a mesh with a plain material, turned to +y up, as a node of that name."""
    import trimesh
    from trimesh.visual.material import PBRMaterial

    material = PBRMaterial(
        baseColorFactor=[*bytes.fromhex(colour[1:]), alpha],
        metallicFactor=0.0,
        roughnessFactor=0.9,
        alphaMode="OPAQUE" if alpha == 255 else "BLEND",
        doubleSided=alpha != 255,
    )
    upright = np.asarray(vertices)[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
    visual = trimesh.visual.TextureVisuals(material=material)
    mesh = trimesh.Trimesh(upright, np.asarray(faces), process=False, visual=visual)
    scene.add_geometry(mesh, node_name=name, geom_name=name)
