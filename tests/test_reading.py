"""Reading and mending of meshes in every format, against trimesh and the scans' manifest."""

import io
import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from mats import write_usdz
from PIL import Image

from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.measures.faults import enclosed_volume, is_closed, winding_number
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.mending.uncrossing import crossed_share
from plumbstone.meshes.reading.looks import lab, spots_of
from plumbstone.meshes.reading.parts import Parsed, Part
from plumbstone.meshes.reading.scans import ScanError, read_raw
from plumbstone.meshes.shapes.primitives import boulder, box
from plumbstone.meshes.writing import ply_bytes

# Volumes [file unit³] as the manifest of the scans states them, measured with trimesh.
SCANS = {
    "analytic_20mm_xyz_cube.stl": (7938.68, 1e-3),
    "asteroid_216_kleopatra_km.obj": (708868, 1e-3),
    "epfl_stone_01.stl": (281.6e-6, 1.0),  # outer shell
    "epfl_stone_02.stl": (678.8e-6, 1.0),  # outer shell; the net volume is 4.1 % below
    "epfl_stone_10.stl": (0.000237457, 1.0),
    "epfl_stone_S01.stl": (0.000887423, 1.0),  # inward in the file
    "ibois_stone_0.ply": (0.00166602, 1.0),
    "trimesh_ballA.off": (1401.11, 1e-2),
    "ycb_FoamBrick.obj": (0.000184874, 1.0),  # texture seams
}


TWICE = (
    "epfl_stone_01.stl",
    "epfl_stone_02.stl",
    "epfl_stone_S01.stl",
)  # in `test_weigh`, or like it


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.slow] * (n in TWICE)) for n in SCANS]
)
def test_scans_by_others(scans: Path, name: str) -> None:
    volume, unit = SCANS[name]
    piece = closed_scan(scans / name, Ruler({1e-3: "mm", 1e-2: "cm"}.get(unit))).piece
    assert is_closed(piece.faces, len(piece.vertices))
    found = enclosed_volume(piece.vertices, piece.faces)
    assert found == pytest.approx(volume * unit**3, rel=2e-4)


def test_bad_winding_is_mended(scans: Path) -> None:
    # Stone outlines extruded in voxel steps, winding inconsistent in the file: the volume is
    # that of trimesh after its own mending.
    path = scans / "rigidblock_stone_19.ply"
    truth = trimesh.load(path)
    trimesh.repair.fix_normals(truth)
    piece = closed_scan(path).piece
    assert enclosed_volume(piece.vertices, piece.faces) == pytest.approx(truth.volume, rel=1e-9)


@pytest.mark.parametrize("kind", ["stl", "ply", "obj", "off", "glb", "3mf"])
def test_every_format(tmp_path: Path, kind: str) -> None:
    stone = boulder((0.2, 0.15, 0.12), 4, subdivisions=3)
    mesh = trimesh.Trimesh(stone.vertices, stone.faces, process=False)
    path = tmp_path / f"stone.{kind}"
    mesh.export(path)
    piece = closed_scan(path, Ruler(None if kind == "glb" else "m")).piece
    assert is_closed(piece.faces, len(piece.vertices))
    assert enclosed_volume(piece.vertices, piece.faces) == pytest.approx(mesh.volume, rel=1e-5)
    if kind == "glb":  # +y up in the file, z up here
        assert piece.size == pytest.approx([0.2, 0.12, 0.15], rel=1e-5)


@pytest.mark.parametrize(("scale", "said"), [(1.0, "unit judged m"), (1000.0, "unit judged mm")])
def test_units_are_judged_and_said(tmp_path: Path, scale: float, said: str) -> None:
    stone = boulder((0.2, 0.15, 0.12), 4, subdivisions=3)
    path = tmp_path / "stone.ply"
    path.write_bytes(ply_bytes(stone.vertices * scale, stone.faces))
    for ruler in (Ruler(), Ruler({1.0: "Metres", 1000.0: "millimeter"}[scale])):
        piece = closed_scan(path, ruler).piece
        assert any(said in change for change in piece.changes) == (ruler.unit is None)
        assert piece.size.max() == pytest.approx(0.2, rel=1e-9)


def test_a_gltf_reads_nothing_outside_its_folder(tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    stone = trimesh.creation.box((0.1, 0.1, 0.1))
    files = trimesh.exchange.gltf.export_gltf(trimesh.Scene(stone))
    for name, content in files.items():
        (inner / name).write_bytes(content)
    piece = closed_scan(inner / "model.gltf").piece
    assert piece.size == pytest.approx([0.1, 0.1, 0.1], rel=1e-6)
    tree = json.loads((inner / "model.gltf").read_text(encoding="utf-8"))
    name = tree["buffers"][0]["uri"]
    (tmp_path / name).write_bytes((inner / name).read_bytes())
    tree["buffers"][0]["uri"] = f"../{name}"
    (inner / "model.gltf").write_text(json.dumps(tree), encoding="utf-8")
    with pytest.raises(ScanError, match=r"model\.gltf"):
        closed_scan(inner / "model.gltf")


def test_winding_number_of_a_cube() -> None:
    # 1 inside, 0 outside: the solid angle over 4 π.
    cube = box((1.0, 1.0, 1.0))
    points = np.array([[0, 0, 0.5], [0.4, 0.4, 0.1], [2, 0, 0.5]])
    assert winding_number(cube.vertices, cube.faces, points) == pytest.approx([1, 1, 0], abs=1e-9)


def test_winding_numbers_are_solid_angles() -> None:
    # An octahedron, its corners on a sphere: from the middle each face fills an eighth of all.
    eight = np.concatenate([np.eye(3), -np.eye(3)])
    mesh = trimesh.convex.convex_hull(eight).subdivide().subdivide().subdivide()
    vertices = mesh.vertices / np.linalg.norm(mesh.vertices, axis=1)[:, None]
    upper = mesh.faces[vertices[mesh.faces][:, :, 2].mean(axis=1) > 0]
    right = upper[vertices[upper][:, :, 0].mean(axis=1) > 0]
    middle = np.zeros((1, 3))
    for faces, wanted in (
        (mesh.faces, 1),
        (upper, 1 / 2),
        (right, 1 / 4),
        (right[:, ::-1], -1 / 4),
    ):
        assert winding_number(vertices, faces, middle) == pytest.approx([wanted], abs=1e-12)
    # Two open halves of a sphere: from anywhere they make nought or one together.
    rng = np.random.default_rng(0)
    points = rng.uniform(-1.3, 1.3, (400, 3))
    points = points[np.abs(np.linalg.norm(points, axis=1) - 1) > 0.05]
    within = trimesh.Trimesh(vertices, mesh.faces).contains(points) * 1.0  # by rays
    assert winding_number(vertices, mesh.faces, points) == pytest.approx(within, abs=1e-9)
    lower = mesh.faces[vertices[mesh.faces][:, :, 2].mean(axis=1) < 0]
    halves = [winding_number(vertices, part, points) for part in (upper, lower)]
    assert sum(halves) == pytest.approx(within, abs=1e-9)
    assert (halves[0][within == 1] > 0).all()


def test_a_surface_through_itself_is_found() -> None:
    stone = boulder((0.2, 0.15, 0.12), 4, subdivisions=3)
    assert crossed_share(stone.vertices, stone.faces) == 0.0
    twice = np.concatenate([stone.vertices, stone.vertices + [0.05, 0, 0]])
    faces = np.concatenate([stone.faces, stone.faces + len(stone.vertices)])
    assert crossed_share(twice, faces) > 0.2


def lens_of(radius: float, apart: float) -> float:
    """Volume that two balls share: π (4 r + d)(2 r - d)² / 12, handbook."""
    return np.pi * (4 * radius + apart) * (2 * radius - apart) ** 2 / 12


def two_balls(radius: float, way: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Two balls in one file, the second moved, and the volume of both together."""
    ball = trimesh.creation.icosphere(5, radius)
    vertices = np.concatenate([ball.vertices, ball.vertices + way])
    faces = np.concatenate([ball.faces, ball.faces + len(ball.vertices)]).astype(np.int64)
    return vertices, faces, 2 * ball.volume - lens_of(radius, float(np.linalg.norm(way)))


def test_shells_that_cross_are_united(tmp_path: Path) -> None:
    vertices, faces, volume = two_balls(0.06, np.array([0.07, 0.004, 0.002]))
    (tmp_path / "two.ply").write_bytes(ply_bytes(vertices, faces))
    scan = closed_scan(tmp_path / "two.ply")
    assert scan.volume.mid == pytest.approx(volume, rel=1e-3)
    assert any("united 2 shells" in text for text in scan.piece.changes)


def test_one_shell_that_crosses_itself_gets_one_skin(tmp_path: Path) -> None:
    # The second ball is set so that the two have one corner in common: they are one shell.
    ball = trimesh.creation.icosphere(5, 0.06).vertices
    ways = (ball[:40, None] - ball[None]).reshape(-1, 3)
    way = ways[np.abs(np.linalg.norm(ways, axis=1) - 0.07).argmin()]
    vertices, faces, volume = two_balls(0.06, way)
    one, other = np.split(vertices, 2)
    apart = np.linalg.norm(one[:40, None] - other[None], axis=2)
    i, j = np.unravel_index(int(apart.argmin()), apart.shape)
    faces[faces == len(one) + j] = i
    (tmp_path / "joined.ply").write_bytes(ply_bytes(vertices, faces))
    scan = closed_scan(tmp_path / "joined.ply")
    assert any("put one skin" in text for text in scan.piece.changes)
    assert scan.volume.mid == pytest.approx(volume, rel=5e-3)
    assert scan.volume.low < volume < scan.volume.high
    piece = scan.piece
    assert is_closed(piece.faces, len(piece.vertices))
    assert enclosed_volume(piece.vertices, piece.faces) == pytest.approx(scan.volume.mid, rel=1e-9)
    assert trimesh.Trimesh(piece.vertices, piece.faces).is_watertight


@pytest.mark.parametrize(("picture", "count"), [(b"no picture", 0), (None, 0), ("red", 12)])
def test_colours_that_cannot_be_read_are_done_without(
    picture: bytes | str | None, count: int
) -> None:
    solid, stream = box((0.1, 0.1, 0.1)), io.BytesIO()
    Image.new("RGB", (4, 4), (255, 0, 0)).save(stream, "PNG")
    uv = np.full((len(solid.faces), 3, 2), 0.5)
    uv[0], uv[1] = np.nan, np.inf  # as a broken file may say
    image = stream.getvalue() if picture == "red" else picture
    part = Part(solid.vertices, solid.faces, uv=uv, image=image)  # type: ignore[arg-type]
    places, colours = spots_of(Parsed((part,)))
    assert len(places) == len(colours) == count
    # sRGB red is L* 53.24, a* 80.09, b* 67.20 (CIE 1976 with D65, from memory); the matrix has four
    # digits, and a difference of 1 is hardly seen.
    assert np.abs(colours - [53.24, 80.09, 67.20]).max(initial=0.0) < 0.1


def painted_ball() -> tuple[trimesh.Trimesh, np.ndarray]:
    """A ball, red above and blue below, and where its faces lie."""
    ball = trimesh.creation.icosphere(3, 0.1)
    seen = np.where(ball.vertices[:, 2:] > 0, [[200, 40, 40]], [[40, 40, 200]]).astype(np.uint8)
    return trimesh.Trimesh(ball.vertices, ball.faces, process=False, vertex_colors=seen), seen


def written_coloured(name: str, folder: Path) -> Path:
    """The painted ball in a format, coloured at its corners or by a texture."""
    mesh, seen = painted_ball()
    path = folder / f"ball.{name.split()[0]}"
    if "texture" in name:
        corners, faces = mesh.vertices[mesh.faces].reshape(-1, 3), np.arange(3 * len(mesh.faces))
        above = corners.reshape(-1, 3, 3).mean(axis=1)[:, 2].repeat(3) > 0
        uv = np.where(above[:, None], [[0.5, 0.75]], [[0.5, 0.25]])
        picture = np.array([[[200, 40, 40]], [[40, 40, 200]]], np.uint8).repeat(4, 0).repeat(4, 1)
        material = trimesh.visual.material.PBRMaterial(baseColorTexture=Image.fromarray(picture))
        if path.suffix == ".obj":
            material = material.to_simple()
        skin = trimesh.visual.TextureVisuals(uv=uv, material=material)
        mesh = trimesh.Trimesh(corners, faces.reshape(-1, 3), process=False, visual=skin)
    if name == "usdz":
        pytest.importorskip("pxr", reason="usd-core is not installed")
        from pxr import Usd, UsdGeom, Vt

        stage = Usd.Stage.CreateNew(str(path.with_suffix(".usda")))
        UsdGeom.SetStageUpAxis(stage, "Z")
        form = UsdGeom.Mesh.Define(stage, "/ball")
        form.CreatePointsAttr(Vt.Vec3fArray.FromNumpy(mesh.vertices.astype("f4")))
        form.CreateFaceVertexCountsAttr([3] * len(mesh.faces))
        form.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(mesh.faces.ravel().astype("i4")))
        shares = Vt.Vec3fArray.FromNumpy((seen / 255).astype("f4"))
        form.CreateDisplayColorPrimvar("vertex").Set(shares)
        stage.GetRootLayer().Save()
        return path.with_suffix(".usda")
    if name == "usdz texture":
        pytest.importorskip("pxr", reason="usd-core is not installed")
        write_usdz(mesh, path)
    elif name == "ply text":
        mesh.export(path, encoding="ascii")
    else:
        mesh.export(path)
    return path


@pytest.mark.parametrize(
    "name",
    ["ply", "ply text", "glb", "obj", "usdz", "glb texture", "obj texture", "usdz texture"],
)
def test_colours_are_read(name: str, tmp_path: Path) -> None:
    path = written_coloured(name, tmp_path)
    places, colours = read_raw(path, Ruler("m"), colours=True).spots or (np.empty((0, 3)),) * 2
    turned = name in ("glb", "glb texture", "usdz texture")  # written as it is, and read as y up
    high = -places[:, 1] if turned else places[:, 2]
    red = np.linalg.norm(colours - lab(np.array([[200.0, 40, 40]])), axis=1) < 2
    blue = np.linalg.norm(colours - lab(np.array([[40.0, 40, 200]])), axis=1) < 2
    assert len(places) == 1280
    assert red[high > 0.01].all()
    assert blue[high < -0.01].all()


def test_a_table_of_something_else_is_told(tmp_path: Path) -> None:
    path = tmp_path / "trees.csv"
    path.write_text("tree,kind,litres\n1,maple,572.8\n2,oak,602.6\n")
    with pytest.raises(ScanError, match="table of something else"):
        read_raw(path, Ruler())
