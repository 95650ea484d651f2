"""USD and USDZ as phones write them, by the library of their makers, against one stone."""

import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.measures.rulers import FILE_ALONE
from plumbstone.meshes.reading.scans import ScanError, read_raw
from plumbstone.meshes.reading.usd import parsed_usd
from plumbstone.meshes.shapes.primitives import boulder

STONE = boulder((0.2, 0.15, 0.12), 4, subdivisions=4)
VOLUME = enclosed_volume(STONE.vertices, STONE.faces)
CORNERS = np.array([[0, 0, 0], [0.3, 0, 0], [0, 0.2, 0], [0, 0, 0.1]], dtype="<f4")
TETRAHEDRON = 0.3 * 0.2 * 0.1 / 6  # [m³]


@pytest.mark.parametrize("up", ["Y", "Z"])
def test_usdz_states_unit_and_up(tmp_path: Path, up: str) -> None:
    usd = pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
    from pxr import Gf, UsdGeom, UsdUtils, Vt

    stage = usd.Stage.CreateNew(str(tmp_path / "stone.usdc"))
    UsdGeom.SetStageMetersPerUnit(stage, 0.01)
    UsdGeom.SetStageUpAxis(stage, up)
    turned = UsdGeom.Xform.Define(stage, "/turned")
    turned.AddTranslateOp().Set(Gf.Vec3d(3, 4, 5))
    mesh = UsdGeom.Mesh.Define(stage, "/turned/stone")
    mesh.CreatePointsAttr(Vt.Vec3fArray.FromNumpy((STONE.vertices * 100).astype("f4")))
    mesh.CreateFaceVertexCountsAttr([3] * len(STONE.faces))
    mesh.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(STONE.faces.ravel().astype("i4")))
    stage.GetRootLayer().Save()
    path = tmp_path / "stone.usdz"
    UsdUtils.CreateNewUsdzPackage(str(tmp_path / "stone.usdc"), str(path))
    scan = closed_scan(path)
    assert scan.volume.mid == pytest.approx(VOLUME, rel=1e-6)
    height = 0.15 if up == "Y" else 0.12
    assert scan.piece.size[2] == pytest.approx(height, rel=1e-5)


@pytest.mark.parametrize(
    ("counts", "orientation", "scale", "said"),
    [("3, 3, 3, 3", "leftHanded", 1, ""), ("3, 3, 3, 3", "rightHanded", -1, ""),
     ("3, 3, 3", "rightHanded", 1, "do not add up"), ("2, 4, 3, 3", "rightHanded", 1, "do not add up")],
)  # fmt: skip
def test_usd_handedness_and_counts(
    tmp_path: Path, counts: str, orientation: str, scale: int, said: str
) -> None:
    pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
    points = ", ".join(f"({x}, {y}, {z})" for x, y, z in CORNERS)
    order = "0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3"
    if orientation == "leftHanded":  # the same faces, each told the other way round
        order = "0, 1, 2, 0, 3, 1, 0, 2, 3, 1, 3, 2"
    (tmp_path / "a.usda").write_text(
        f"""#usda 1.0
(
    metersPerUnit = 1
    upAxis = "Z"
)
def Xform "turned" {{
    double3 xformOp:scale = ({scale}, 1, 1)
    uniform token[] xformOpOrder = ["xformOp:scale"]
    def Mesh "stone" {{
        uniform token orientation = "{orientation}"
        int[] faceVertexCounts = [{counts}]
        int[] faceVertexIndices = [{order}]
        point3f[] points = [{points}]
    }}
}}
""",
        encoding="utf-8",
    )
    if said:
        with pytest.raises(ScanError, match=said):
            read_raw(tmp_path / "a.usda", FILE_ALONE)
        return
    raw = read_raw(tmp_path / "a.usda", FILE_ALONE)
    assert enclosed_volume(raw.vertices, raw.faces) == pytest.approx(TETRAHEDRON, rel=1e-6)


def test_a_usd_says_which_faces_are_holes(tmp_path: Path) -> None:
    # Pixar, OpenUSD, UsdGeomMesh: holeIndices are faces "treated as holes, i.e. made invisible".
    pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
    (tmp_path / "a.usda").write_text(
        """#usda 1.0
def Mesh "stone" {
    int[] faceVertexCounts = [4, 3, 5]
    int[] faceVertexIndices = [0, 1, 2, 3, 0, 2, 4, 0, 1, 2, 3, 4]
    int[] holeIndices = [1]
    point3f[] points = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1)]
}
""",
        encoding="utf-8",
    )
    (part,) = parsed_usd(tmp_path / "a.usda", b"").parts
    assert part.faces.tolist() == [[0, 1, 2], [0, 2, 3], [0, 1, 2], [0, 2, 3], [0, 3, 4]]


def test_a_usd_of_nonsense_is_told(tmp_path: Path) -> None:
    pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
    (tmp_path / "a.usda").write_text("#usda 1.0\ndef Mesh (", encoding="utf-8")
    with pytest.raises(ScanError, match="no readable USD file"):
        read_raw(tmp_path / "a.usda", FILE_ALONE)


def test_usd_takes_what_is_drawn(tmp_path: Path) -> None:
    usd = pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
    from pxr import UsdGeom, Vt

    def with_mesh(stage: Any, place: str, size: float) -> Any:
        mesh = UsdGeom.Mesh.Define(stage, place)
        mesh.CreatePointsAttr(Vt.Vec3fArray.FromNumpy((STONE.vertices * size).astype("f4")))
        mesh.CreateFaceVertexCountsAttr([3] * len(STONE.faces))
        mesh.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(STONE.faces.ravel().astype("i4")))
        return mesh

    path = tmp_path / "a.usdc"
    stage = usd.Stage.CreateNew(str(path))
    UsdGeom.SetStageMetersPerUnit(stage, 0.01)
    stage.CreateClassPrim("/made")
    with_mesh(stage, "/made/stone", 100)
    once = UsdGeom.Xform.Define(stage, "/once").GetPrim()
    once.GetReferences().AddInternalReference("/made")
    once.SetInstanceable(True)
    UsdGeom.Mesh.Define(stage, "/empty")
    with_mesh(stage, "/coarse", 101).CreatePurposeAttr("proxy")
    stage.GetRootLayer().Save()
    assert closed_scan(path).volume.mid == pytest.approx(VOLUME, rel=1e-5)
    UsdGeom.Sphere.Define(stage, "/ball")
    stage.GetRootLayer().Save()
    with pytest.raises(ScanError, match="holds a Sphere"):
        read_raw(path, FILE_ALONE)


@pytest.mark.parametrize("other", ["/etc/passwd", "../secret.usda", "./beside.usda"])
@pytest.mark.parametrize("ending", ["usda", "usdz"])
def test_usd_opens_no_other_file(tmp_path: Path, other: str, ending: str) -> None:
    pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
    text = f'#usda 1.0\ndef Xform "A" (\n    references = @{other}@\n)\n{{\n}}\n'
    path = tmp_path / f"s.{ending}"
    if ending == "usda":
        path.write_text(text, encoding="utf-8")
    else:
        with zipfile.ZipFile(path, "w") as archive:  # stored, as USDZ asks
            archive.writestr("s.usda", text)
    (tmp_path / "beside.usda").write_text("#usda 1.0\n", encoding="utf-8")
    inside = ending == "usdz" and other[0] == "."  # of the archive, where no such layer is
    with pytest.raises(ScanError, match="holds no mesh" if inside else "other files"):
        read_raw(path, FILE_ALONE)
