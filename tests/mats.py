"""Stones scanned on the printed mat: its texture cut up, blurred, warped and printed wrong."""

from pathlib import Path

import numpy as np
import trimesh
from phone_scans import Stone
from PIL import Image, ImageFilter
from scan_conditions import plain, standing

from plumbstone.meshes.reading.mat import PAPERS, TAG, tag_bits, tag_places

CHARTS = 5  # along each side of the texture
FINER = 4  # pixels drawn for each of the texture
MARGIN = 0.3  # of the sheet around it


def sheet_picture(per_mm: float) -> Image.Image:
    """The A4 mat as a slightly blurred picture."""
    scale = 1e3 * per_mm * FINER
    width, height = (int(side * scale) for side in PAPERS["a4"])
    drawn = np.full((height, width), 240, np.uint8)
    size = TAG / 8 * scale
    for number, corners in tag_places("a4").items():
        left, top = corners[0, 0] * scale, height - corners[0, 1] * scale
        for row, column in zip(*np.nonzero(tag_bits(Path(), number)), strict=True):
            y, x = round(top + row * size), round(left + column * size)
            drawn[y : round(y + size), x : round(x + size)] = 15
    picture = Image.fromarray(drawn).resize((width // FINER, height // FINER), Image.Resampling.BOX)
    return picture.filter(ImageFilter.GaussianBlur(0.6))


def card_picture(per_mm: float) -> Image.Image:
    """A dark table with a light card, ISO/IEC 7810 ID-1, on an area of A4."""
    width, height = (int(side * 1e3 * per_mm) for side in PAPERS["a4"])
    drawn = np.full((height, width), 60, np.uint8)
    left, top = int(0.012e3 * per_mm), int(0.015e3 * per_mm)
    drawn[top : top + round(53.98 * per_mm), left : left + round(85.60 * per_mm)] = 225
    return Image.fromarray(drawn).filter(ImageFilter.GaussianBlur(0.6))


def scanned_on(
    picture: Image.Image,
    stone: Stone,
    seed: int,
    wrong: float,
    printed: float = 1.0,
    ground: int = 140,
) -> tuple[trimesh.Trimesh, float]:
    """A textured scan in metres × `wrong`, y up, of a stone that stands on a sheet; its volume."""
    rng = np.random.default_rng(seed)
    scene = standing(stone, rng)
    vertices, faces = plain(scene, rng)
    angle = rng.uniform(0, 6.28)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    local = (vertices[:, :2] @ turn + rng.uniform(-0.02, 0.02, 2)) / printed / PAPERS["a4"] + 0.5
    ways = rng.normal(size=(6, 2)) * 16
    waves = vertices[:, :2] @ ways.T + rng.uniform(0, 6.28, 6)
    vertices[:, :2] += (
        np.stack([np.sin(waves).sum(axis=1), np.cos(waves).sum(axis=1)], 1) / 6 * 5e-4
    )
    wide, high = picture.size
    canvas = Image.new("L", (int(wide * (1 + 2 * MARGIN)), int(high * (1 + 2 * MARGIN))), ground)
    canvas.paste(picture, (int(wide * MARGIN), int(high * MARGIN)))
    atlas, moved = shuffled(np.asarray(canvas), rng)
    pixels = np.stack([(local[:, 0] + MARGIN) * wide, (1 - local[:, 1] + MARGIN) * high], axis=1)
    uv = moved(pixels[faces])
    uv[vertices[faces][:, :, 2].mean(axis=1) > 0.004] = 0.001
    corners = vertices[faces].reshape(-1, 3)[:, [0, 2, 1]] * [wrong, wrong, -wrong]
    material = trimesh.visual.material.PBRMaterial(
        baseColorTexture=Image.fromarray(atlas).convert("RGB")
    )
    skin = trimesh.visual.TextureVisuals(uv=uv.reshape(-1, 2) * [1, -1] + [0, 1], material=material)
    order = np.arange(len(corners)).reshape(-1, 3)
    return trimesh.Trimesh(corners, order, process=False, visual=skin), scene.volume


def shuffled(picture: np.ndarray, rng: np.random.Generator):
    """A texture cut into charts that changed places, and what that does to coordinates."""
    high, wide = (n // CHARTS for n in picture.shape)
    places = rng.permutation(CHARTS**2)
    atlas = np.zeros_like(picture)
    for k, place in enumerate(places):
        (i, j), (a, b) = divmod(k, CHARTS), divmod(int(place), CHARTS)
        chart = picture[i * high : (i + 1) * high, j * wide : (j + 1) * wide]
        atlas[a * high : (a + 1) * high, b * wide : (b + 1) * wide] = chart

    def moved(pixels: np.ndarray) -> np.ndarray:
        middle = pixels.mean(axis=1)
        cell = np.clip(np.floor(middle / [wide, high]).astype(int), 0, CHARTS - 1)
        row, column = np.divmod(places[cell[:, 1] * CHARTS + cell[:, 0]], CHARTS)
        step = np.stack([(column - cell[:, 0]) * wide, (row - cell[:, 1]) * high], axis=1)
        found = (pixels + step[:, None]) / picture.shape[::-1]
        beyond = (middle < 0) | (middle >= [wide * CHARTS, high * CHARTS])
        found[beyond.any(axis=1)] = 0.001
        return found

    return atlas, moved


def write_usdz(mesh: trimesh.Trimesh, path: Path) -> None:
    """A textured scan as a phone writes it: USDZ in metres, y up."""
    from pxr import Sdf, Usd, UsdGeom, UsdShade, UsdUtils, Vt

    picture = path.with_suffix(".png")
    mesh.visual.material.baseColorTexture.save(picture)
    stage = Usd.Stage.CreateNew(str(path.with_suffix(".usdc")))
    UsdGeom.SetStageMetersPerUnit(stage, 1.0)
    UsdGeom.SetStageUpAxis(stage, "Y")
    form = UsdGeom.Mesh.Define(stage, "/scan")
    form.CreatePointsAttr(Vt.Vec3fArray.FromNumpy(mesh.vertices.astype("f4")))
    form.CreateFaceVertexCountsAttr([3] * len(mesh.faces))
    form.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(mesh.faces.ravel().astype("i4")))
    places = UsdGeom.PrimvarsAPI(form).CreatePrimvar(
        "st", Sdf.ValueTypeNames.TexCoord2fArray, UsdGeom.Tokens.vertex
    )
    places.Set(Vt.Vec2fArray.FromNumpy(np.asarray(mesh.visual.uv, dtype="f4")))
    material = UsdShade.Material.Define(stage, "/look")
    surface = UsdShade.Shader.Define(stage, "/look/surface")
    surface.CreateIdAttr("UsdPreviewSurface")
    texture = UsdShade.Shader.Define(stage, "/look/texture")
    texture.CreateIdAttr("UsdUVTexture")
    texture.CreateInput("file", Sdf.ValueTypeNames.Asset).Set(str(picture))
    colour = texture.CreateOutput("rgb", Sdf.ValueTypeNames.Float3)
    surface.CreateInput("diffuseColor", Sdf.ValueTypeNames.Color3f).ConnectToSource(colour)
    material.CreateSurfaceOutput().ConnectToSource(surface.ConnectableAPI(), "surface")
    UsdShade.MaterialBindingAPI.Apply(form.GetPrim()).Bind(material)
    stage.GetRootLayer().Save()
    UsdUtils.CreateNewUsdzPackage(str(path.with_suffix(".usdc")), str(path))
