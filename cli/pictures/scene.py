"""The tank as a 3D scene: a glTF file, and the traces of the interactive view."""

from typing import TYPE_CHECKING, Any

import numpy as np

from plumbstone.cli.pictures.drawing import STONE, WATER, WOOD, layer_colour
from plumbstone.meshes.thinning import layer_solid, thinned

if TYPE_CHECKING:
    from plumbstone.volumes.bed.pouring import LayerResult
    from plumbstone.volumes.plan import Plan

LAYER_CELLS = 44  # along the length, for pictures
GLASS = "#9fd0c4"


def glb_bytes(plan: "Plan") -> bytes:
    """Give the scene as binary glTF: metres, +y up, one named node for each part."""
    import trimesh

    scene = trimesh.Scene()
    for number, body in enumerate(plan.bodies, 1):
        colour = WOOD if body.entry.kind == "wood" else STONE
        mesh = _mesh(body.piece.vertices, body.piece.faces, colour, 255)
        _add(scene, mesh, f"{number} {body.entry.name}")
    for index, result in enumerate(plan.bed.layers if plan.bed else ()):
        vertices, faces = _layer_mesh(plan, result)
        if len(faces):
            mesh = _mesh(vertices, faces, layer_colour(index), 255)
            _add(scene, mesh, f"layer {index + 1} {result.layer.name}")
    tank = plan.scape.tank
    if tank.water_line is not None:
        box = trimesh.creation.box((tank.length, tank.depth, tank.water_line))
        box.apply_translation((tank.length / 2, tank.depth / 2, tank.water_line / 2))
        _add(scene, _mesh(box.vertices, box.faces, WATER, 60), "water")
    for name, vertices, faces in _panes(plan):
        _add(scene, _mesh(vertices, faces, GLASS, 60), name)
    data: bytes = scene.export(file_type="glb")
    return data


def view_traces(plan: "Plan") -> list[dict[str, Any]]:
    """Give the traces of the interactive view as plain data, heaviest detail left out."""
    traces = []
    for number, body in enumerate(plan.bodies, 1):
        vertices, faces = thinned(body.piece.vertices, body.piece.faces, 19)
        colour = WOOD if body.entry.kind == "wood" else STONE
        trace = _trace(vertices, faces, colour, 1.0)
        traces.append({**trace, "meta": {"role": "piece", "number": number}})
    for index, result in enumerate(plan.bed.layers if plan.bed else ()):
        vertices, faces = _layer_mesh(plan, result)
        trace = _trace(vertices, faces, layer_colour(index), 1.0, flat=True)
        traces.append({**trace, "meta": {"role": "layer", "index": index}})
    tank = plan.scape.tank
    height = tank.height or tank.water_line or 0.3
    if tank.water_line is not None:
        line = tank.water_line
        corners = [[x, y, line] for x in (0.0, tank.length) for y in (0.0, tank.depth)]
        trace = _trace(np.array(corners), np.array([[0, 1, 2], [1, 3, 2]]), WATER, 0.35, flat=True)
        traces.append({**trace, "meta": {"role": "water"}})
    traces.append({**_edges(tank.length, tank.depth, height), "meta": {"role": "glass"}})
    return traces


def _edges(length: float, depth: float, height: float) -> dict[str, Any]:
    """Give the twelve edges of the tank as one line trace in centimetres."""
    around = [(0.0, 0.0), (length, 0.0), (length, depth), (0.0, depth), (0.0, 0.0)]
    path: list[tuple[float | None, float | None, float | None]]
    path = [(x, y, z) for z in (0.0, height) for x, y in around]
    for corner_x, corner_y in around[1:4]:
        path += [(None, None, None), (corner_x, corner_y, 0.0), (corner_x, corner_y, height)]
    x, y, z = zip(*path, strict=True)
    return {
        "type": "scatter3d",
        "mode": "lines",
        "x": [None if v is None else round(v * 100, 2) for v in x],
        "y": [None if v is None else round(v * 100, 2) for v in y],
        "z": [None if v is None else round(v * 100, 2) for v in z],
        "line": {"color": GLASS, "width": 5},
        "hoverinfo": "skip",
        "showlegend": False,
    }


def _trace(
    vertices: Any, faces: Any, colour: str, opacity: float, *, flat: bool = False
) -> dict[str, Any]:
    """Give one mesh as a trace in centimetres."""
    x, y, z = np.round(np.asarray(vertices) * 100, 2).T.tolist()
    i, j, k = np.asarray(faces).T.tolist()
    return {
        "type": "mesh3d",
        "x": x, "y": y, "z": z, "i": i, "j": j, "k": k,
        "color": colour,
        "opacity": opacity,
        "flatshading": flat,
        "lighting": {"ambient": 0.55, "diffuse": 0.75, "specular": 0.08, "roughness": 0.9},
        "hoverinfo": "skip" if flat else "none",
        "showlegend": False,
    }  # fmt: skip


def _layer_mesh(plan: "Plan", result: "LayerResult") -> tuple[Any, Any]:
    """Give a layer as a coarse solid; pieces that stand in it cover what it leaves out."""
    bed = plan.bed
    assert bed is not None
    grid = bed.grid
    every = max(1, grid.nx // LAYER_CELLS)
    middle = every // 2
    pick = (slice(middle, None, every), slice(middle, None, every))
    free = bed.columns.solid_below(result.surface) < 1e-6
    high = np.where(free, result.surface, result.below)[pick]
    low = result.below[pick]
    rows, columns = high.shape
    x = np.minimum(np.arange(columns + 1) * every * grid.spacing[0], grid.length)
    y = np.minimum(np.arange(rows + 1) * every * grid.spacing[1], grid.depth)
    x[-1], y[-1] = grid.length, grid.depth
    return layer_solid(x, y, low, high)


def _panes(plan: "Plan") -> list[tuple[str, Any, Any]]:
    """Make floor and panes as boxes outside of the water."""
    import trimesh

    tank = plan.scape.tank
    if tank.glass is None or tank.height is None:
        return []
    t, length, depth, height = tank.glass, tank.length, tank.depth, tank.height
    boxes = {
        "glass floor": ((-t, -t, -t), (length + t, depth + t, 0)),
        "front pane": ((-t, -t, 0), (length + t, 0, height)),
        "back pane": ((-t, depth, 0), (length + t, depth + t, height)),
        "left pane": ((-t, 0, 0), (0, depth, height)),
        "right pane": ((length, 0, 0), (length + t, depth, height)),
    }
    found = []
    for name, bounds in boxes.items():
        box = trimesh.creation.box(bounds=bounds)
        found.append((name, box.vertices, box.faces))
    return found


def _mesh(vertices: Any, faces: Any, colour: str, alpha: int) -> Any:
    """Make a mesh with a plain material, turned to +y up."""
    import trimesh
    from trimesh.visual.material import PBRMaterial

    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    material = PBRMaterial(
        baseColorFactor=[red, green, blue, alpha],
        metallicFactor=0.0,
        roughnessFactor=0.9,
        alphaMode="OPAQUE" if alpha == 255 else "BLEND",
        doubleSided=alpha != 255,
    )
    upright = np.asarray(vertices)[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
    visual = trimesh.visual.TextureVisuals(material=material)
    return trimesh.Trimesh(upright, np.asarray(faces), process=False, visual=visual)


def _add(scene: Any, mesh: Any, name: str) -> None:
    """Add a mesh as a node of that name."""
    scene.add_geometry(mesh, node_name=name, geom_name=name)
