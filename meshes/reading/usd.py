"""Reading USD and USDZ, the usual export of phones."""

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from plumbstone.meshes.piece import Floats, Indices
from plumbstone.meshes.reading.parts import OwnFolder, Parsed, Part, ScanError, fans, needed

OTHER = "GLB, OBJ or PLY"


def parsed_usd(path: Path, content: bytes) -> Parsed:
    """Read all meshes of the stage at their places, with its unit and up axis."""
    usd = needed(path, "pxr.Usd", OTHER)
    geometry = needed(path, "pxr.UsdGeom", OTHER)
    try:
        _check_alone(path, needed(path, "pxr.Sdf", OTHER))
        stage = usd.Stage.Open(str(path))
    except ScanError:
        raise
    except Exception:  # the library raises its own kind, and prints
        stage = None
    if stage is None:
        raise ScanError(path, "is no readable USD file; export it again.")
    cache = geometry.XformCache(usd.TimeCode.EarliestTime())
    archive = content if path.suffix.lower() == ".usdz" else None
    drawn = [
        prim
        for prim in stage.Traverse(usd.TraverseInstanceProxies())
        if prim.IsA(geometry.Imageable)
        and geometry.Imageable(prim).ComputeVisibility() != "invisible"
        and geometry.Imageable(prim).ComputePurpose() in ("default", "render")
    ]
    solids = geometry.Cube, geometry.Sphere, geometry.Cylinder, geometry.Cone, geometry.Capsule
    for kind in (geometry.PointInstancer, *solids):
        if any(prim.IsA(kind) for prim in drawn):
            raise ScanError(
                path, f"holds a {kind.__name__}, not only meshes; export it as {OTHER}."
            )
    forms = [prim for prim in drawn if prim.IsA(geometry.Mesh)]
    forms = forms or [prim for prim in drawn if prim.IsA(geometry.Points)]
    parts = [_part(path, geometry.Mesh(prim), cache, archive) for prim in forms]
    parts = [part for part in parts if len(part.vertices)]
    if not parts:
        raise ScanError(path, f"holds no mesh; export it as {OTHER}.")
    unit = geometry.GetStageMetersPerUnit(stage)
    return Parsed(tuple(parts), float(unit), str(geometry.GetStageUpAxis(stage)).lower())


def _check_alone(path: Path, sdf: Any) -> None:
    """Refuse a stage that takes layers from other files than its own, before they are opened."""
    own = str(path.resolve())
    layers = [own]
    for name in layers:  # grows as it is walked
        if name != own and not name.startswith(f"{own}["):
            raise ScanError(path, f"takes parts from other files; export it as one, {OTHER}.")
        layer = sdf.Layer.FindOrOpen(name)
        for other in filter(None, layer.GetCompositionAssetDependencies() if layer else ()):
            found = str(sdf.ComputeAssetPathRelativeToLayer(layer, other))
            layers += [found] if found not in layers else []


def _part(path: Path, mesh: Any, cache: Any, archive: bytes | None) -> Part:
    """One mesh at its place in the stage."""
    usd = needed(path, "pxr.Usd", OTHER)
    time = usd.TimeCode.EarliestTime()
    points = np.asarray(mesh.GetPointsAttr().Get(time) or (), dtype=float).reshape(-1, 3)
    counts = np.asarray(mesh.GetFaceVertexCountsAttr().Get(time) or (), dtype=np.int64)
    corners = np.asarray(mesh.GetFaceVertexIndicesAttr().Get(time) or (), dtype=np.int64)
    if len(counts) and (counts.min() < 3 or counts.sum() != len(corners)):
        raise ScanError(path, "has faces that do not add up; export it again.")
    holes = np.asarray(mesh.GetHoleIndicesAttr().Get(time) or (), dtype=np.int64)
    slots = fans(counts)[~np.isin(np.repeat(np.arange(len(counts)), counts - 2), holes)]
    faces = corners[slots]
    if str(mesh.GetOrientationAttr().Get()) == "leftHanded":
        faces, slots = faces[:, ::-1], slots[:, ::-1]
    place = np.array(cache.GetLocalToWorldTransform(mesh.GetPrim()))
    vertices = points @ place[:3, :3] + place[3, :3]
    if np.linalg.det(place[:3, :3]) < 0:
        faces, slots = faces[:, ::-1], slots[:, ::-1]
    uv = _coordinates(mesh, slots, faces, len(corners), len(points))
    image = None if uv is None else _image(path, mesh, archive)
    seen = np.asarray(mesh.GetDisplayColorAttr().Get(time) or (), dtype=float).reshape(-1, 3)
    colours = seen * 255 if len(seen) == len(points) and image is None else None
    return Part(vertices, faces, uv if image is not None else None, image, colours)


def _coordinates(
    mesh: Any, slots: Indices, faces: Indices, corners: int, points: int
) -> Floats | None:
    """Texture coordinates of each face's corners, (m, 3, 2); None where it has none."""
    from pxr import UsdGeom

    for primvar in UsdGeom.PrimvarsAPI(mesh).GetPrimvars():
        if not str(primvar.GetTypeName()).startswith(("texCoord2", "float2")):
            continue
        values = np.asarray(primvar.ComputeFlattened(), dtype=float).reshape(-1, 2)
        if len(values) == corners:
            return values[slots]
        if len(values) == points:
            return values[faces]
    return None


def _image(path: Path, mesh: Any, archive: bytes | None) -> bytes | None:
    """Picture of the bound material's colour; None where there is none within reach."""
    from pxr import UsdShade

    material, _ = UsdShade.MaterialBindingAPI(mesh.GetPrim()).ComputeBoundMaterial()
    if not material:
        return None
    shaders = [UsdShade.Shader(p) for p in material.GetPrim().GetChildren()]
    names = [
        s.GetInput("file").Get().path
        for s in shaders
        if s and s.GetInput("file") and s.GetInput("file").Get()
    ]
    colour = [n for n in names if any(w in n.lower() for w in ("diff", "col", "albedo", "base"))]
    if not names:
        return None
    name = (colour or names)[0]
    if archive is None:
        return OwnFolder(path)[name]
    with zipfile.ZipFile(io.BytesIO(archive)) as inside:
        wanted = next((e for e in inside.namelist() if e.endswith(name.lstrip("./"))), None)
        return None if wanted is None else inside.read(wanted)
