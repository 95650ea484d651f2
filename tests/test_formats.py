"""Every format that phones and shops write, written by its own library, against one stone."""

import base64
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.measures.rulers import FILE_ALONE
from plumbstone.meshes.reading.gltf import parsed_gltf
from plumbstone.meshes.reading.points import parsed_points
from plumbstone.meshes.reading.scans import ScanError, read_raw
from plumbstone.meshes.shapes.primitives import boulder

STONE = boulder((0.2, 0.15, 0.12), 4, subdivisions=4)
VOLUME = enclosed_volume(STONE.vertices, STONE.faces)
MESH = trimesh.Trimesh(STONE.vertices, STONE.faces, process=False)


def volume_of(path: Path) -> float:
    return closed_scan(path).volume.mid


def test_an_obj_in_a_zip_with_its_texture(tmp_path: Path) -> None:
    MESH.export(tmp_path / "a.obj")
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.write(tmp_path / "a.obj", "model/a.obj")
        archive.writestr("model/a.png", b"picture")
    assert volume_of(tmp_path / "a.zip") == pytest.approx(VOLUME, rel=1e-6)
    with zipfile.ZipFile(tmp_path / "two.zip", "w") as archive:
        archive.write(tmp_path / "a.obj", "a.obj")
        archive.write(tmp_path / "a.obj", "b.obj")
    with pytest.raises(ScanError, match="holds 2"):
        closed_scan(tmp_path / "two.zip")
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
        archive.write(tmp_path / "a.obj", "model/a.obj")
        archive.writestr("model/._a.obj", b"of a file manager")
    assert volume_of(tmp_path / "b.zip") == pytest.approx(VOLUME, rel=1e-6)
    locked = bytearray((tmp_path / "b.zip").read_bytes())
    locked[locked.index(b"PK\1\2") + 8] |= 1  # its general purpose flag: encrypted (APPNOTE 4.4.4)
    (tmp_path / "c.zip").write_bytes(bytes(locked))
    with pytest.raises(ScanError, match="locked by a password"):
        closed_scan(tmp_path / "c.zip")


def test_dae(tmp_path: Path) -> None:
    pytest.importorskip("collada", reason="pycollada is not installed")
    MESH.export(tmp_path / "a.dae")
    assert volume_of(tmp_path / "a.dae") == pytest.approx(VOLUME, rel=1e-6)


@pytest.mark.parametrize(("up", "size"), [("X", [2, 3, 1]), ("Y", [1, 3, 2]), ("Z", [1, 2, 3])])
def test_dae_states_unit_and_up(tmp_path: Path, up: str, size: list[int]) -> None:
    pytest.importorskip("collada", reason="pycollada is not installed")
    box = trimesh.creation.box([0.1, 0.2, 0.3])
    box.apply_scale(1 / 0.0254)
    box.export(tmp_path / "a.dae")
    stated = f'<asset><unit name="inch" meter="0.0254"/><up_axis>{up}_UP</up_axis></asset>'
    text = re.sub(r"<asset>.*</asset>", stated, (tmp_path / "a.dae").read_text(), flags=re.DOTALL)
    (tmp_path / "a.dae").write_text(text, encoding="utf-8")
    raw = read_raw(tmp_path / "a.dae", FILE_ALONE)
    assert np.ptp(raw.vertices, axis=0) == pytest.approx(np.array(size) / 10, rel=1e-6)
    assert enclosed_volume(raw.vertices, raw.faces) == pytest.approx(0.006, rel=1e-6)


@pytest.mark.parametrize(("unit", "metres"), [("inch", 0.0254), ("foot", 0.3048), ("", 0.001)])
def test_3mf_states_its_unit(tmp_path: Path, unit: str, metres: float) -> None:
    # 3MF Core Specification 1.3, section 3.4: millimetres where it states none.
    mesh = MESH.copy()
    mesh.apply_scale(1 / metres)
    mesh.export(tmp_path / "a.3mf")
    with (
        zipfile.ZipFile(tmp_path / "a.3mf") as old,
        zipfile.ZipFile(tmp_path / "b.3mf", "w") as new,
    ):
        for name in old.namelist():
            text = old.read(name)
            if name.endswith(".model"):
                text = re.sub(
                    rb' unit="\w*"', f' unit="{unit}"'.encode() if unit else b"", text, count=1
                )
            new.writestr(name, text)
    assert volume_of(tmp_path / "b.3mf") == pytest.approx(VOLUME, rel=1e-5)


@pytest.mark.parametrize("kind", ["obj", "glb", "off", "ply", "stl", "pts", "pcd", "xyz", "a.ply"])
def test_what_was_cut_off_is_told(tmp_path: Path, kind: str) -> None:
    """Rows of points come in any order, so half of a cloud may look whole."""
    path = tmp_path / f"a.{kind}"
    points = trimesh.sample.sample_surface(MESH, 3000, seed=2)[0]
    head = {"pts": "3000", "pcd": "FIELDS x y z\nPOINTS 3000\nDATA ascii", "xyz": ""}
    if kind in head:
        np.savetxt(path, points, header=head[kind], comments="", fmt="%.6f")
    else:
        more = {"encoding": "ascii"} if kind == "a.ply" else {}
        trimesh.Trimesh(MESH.vertices, MESH.faces, process=False).export(path, **more)  # no normals
    whole = path.read_bytes()
    assert len(read_raw(path, FILE_ALONE).vertices) == (
        3000 if kind in head else len(MESH.vertices)
    )
    for share in (0.3, 0.7, 0.95):
        rest = whole[: int(share * len(whole))]
        path.write_bytes(rest if kind not in head else rest.rpartition(b"\n")[0] + b"\n0.1")
        with pytest.raises(ScanError, match="xport it again"):
            closed_scan(path)


def glb(path: Path, tree: dict[str, Any], data: bytes) -> None:
    """A GLB by the layout of glTF 2.0, section 4.4."""
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    words = [2, 28 + len(text) + len(data), len(text)]
    head = b"glTF" + b"".join(word.to_bytes(4, "little") for word in words) + b"JSON"
    path.write_bytes(head + text + len(data).to_bytes(4, "little") + b"BIN\0" + data)


def scene(primitive: dict[str, Any], node: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, **node}], "meshes": [{"primitives": [primitive]}], **more,
    }  # fmt: skip


def test_glb_by_draco(tmp_path: Path) -> None:
    draco = pytest.importorskip("DracoPy", reason="DracoPy is not installed")
    data = draco.encode(STONE.vertices, STONE.faces, quantization_bits=14)
    name = "KHR_draco_mesh_compression"
    packed = {name: {"bufferView": 0, "attributes": {"POSITION": 0}}}
    tree = scene(
        {"attributes": {"POSITION": 0}, "extensions": packed}, {}, extensionsRequired=[name], extensionsUsed=[name],
        accessors=[{"componentType": 5126, "count": len(STONE.vertices), "type": "VEC3"}],
        bufferViews=[{"buffer": 0, "byteLength": len(data)}], buffers=[{"byteLength": len(data)}],
    )  # fmt: skip
    glb(tmp_path / "a.glb", tree, data)
    assert volume_of(tmp_path / "a.glb") == pytest.approx(VOLUME, rel=1e-4)
    low, high = STONE.vertices.min(axis=0), STONE.vertices.max(axis=0)
    tree["accessors"][0] |= {"min": low.tolist(), "max": high.tolist()}
    glb(tmp_path / "a.glb", tree, data)
    assert volume_of(tmp_path / "a.glb") == pytest.approx(VOLUME, rel=1e-4)
    tree["accessors"][0]["max"][0] *= 1.1  # what damage inside the packed bytes looks like
    glb(tmp_path / "b.glb", tree, data)
    with pytest.raises(ScanError, match="damaged"):
        closed_scan(tmp_path / "b.glb")
    tree["extensionsRequired"] = ["EXT_of_tomorrow"]
    glb(tmp_path / "b.glb", tree, data)
    with pytest.raises(ScanError, match="EXT_of_tomorrow"):
        closed_scan(tmp_path / "b.glb")


@pytest.mark.parametrize("kind", ["own", "generic"])  # attributes of either kind are allowed
def test_colours_and_coordinates_by_draco(tmp_path: Path, kind: str) -> None:
    draco = pytest.importorskip("DracoPy", reason="DracoPy is not installed")
    colours = np.arange(24, dtype="u1").reshape(4, 6)[:, :4] * 9
    colours[:, 3] = 255
    uv = np.array([[0, 0], [1, 0], [0, 1], [0.25, 0.5]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    told = {"colors": colours} if kind == "own" else {"generic_attributes": {5: colours}}
    more = {"tex_coord": uv, "tex_coord_quantization_bits": 16, "preserve_order": True}
    data = draco.encode(CORNERS, faces, quantization_bits=16, **more, **told)
    numbers = {a["attribute_type"]: a["unique_id"] for a in draco.decode(data).attributes}
    coloured = numbers[2] if kind == "own" else 5  # 2 colours, 3 coordinates, 0 places
    names = {"POSITION": numbers[0], "COLOR_0": coloured, "TEXCOORD_0": numbers[3]}
    name = "KHR_draco_mesh_compression"
    tree = scene(
        {"attributes": {"POSITION": 0, "COLOR_0": 1, "TEXCOORD_0": 2},
         "extensions": {name: {"bufferView": 0, "attributes": names}}, "material": 0}, {},
        extensionsRequired=[name], extensionsUsed=[name],
        accessors=[{"componentType": 5126, "count": 4, "type": "VEC3"},
                   {"componentType": 5121, "count": 4, "type": "VEC4", "normalized": True},
                   {"componentType": 5126, "count": 4, "type": "VEC2"}],
        bufferViews=[{"buffer": 0, "byteLength": len(data)}], buffers=[{"byteLength": len(data)}],
        materials=[{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}}}],
        textures=[{"source": 0}], images=[{"uri": "data:image/png;base64,AAAA"}],
    )  # fmt: skip
    primitive = tree["meshes"][0]["primitives"][0]
    for textured in (True, False):  # a texture goes before colours of the corners
        if not textured:
            del primitive["material"]
        glb(tmp_path / "a.glb", tree, data)
        (part,) = parsed_gltf(tmp_path / "a.glb", (tmp_path / "a.glb").read_bytes()).parts
        same = np.abs(part.vertices[:, None] - CORNERS).max(axis=2).argmin(axis=1)
        assert np.abs(part.vertices - CORNERS[same]).max() < 1e-4
        if textured:
            assert part.uv is not None
            assert np.abs(part.uv - (uv * [1, -1] + [0, 1])[same][part.faces]).max() < 1e-4
        else:
            assert part.colours is not None
            assert np.array_equal(part.colours, colours[same, :3])


@pytest.mark.parametrize("squeezed", [False, True])
def test_quantised_glb_with_and_without_meshopt(tmp_path: Path, squeezed: bool) -> None:
    low, high = STONE.vertices.min(axis=0), STONE.vertices.max(axis=0)
    middle, half = (low + high) / 2, float((high - low).max() / 2)
    places = np.zeros((len(STONE.vertices), 4), "<i2")
    places[:, :3] = np.round((STONE.vertices - middle) / half * 32767)
    corners = STONE.faces.ravel().astype("<u4")
    node = {"scale": [half] * 3, "translation": middle.tolist()}
    accessors = [
        {"bufferView": 0, "componentType": 5122, "normalized": True, "count": len(places), "type": "VEC3"},
        {"bufferView": 1, "componentType": 5125, "count": corners.size, "type": "SCALAR"},
    ]  # fmt: skip
    views: list[dict[str, Any]] = [
        {"buffer": 0, "byteLength": places.nbytes, "byteStride": 8},
        {"buffer": 0, "byteOffset": places.nbytes, "byteLength": corners.nbytes},
    ]
    data = places.tobytes() + corners.tobytes()
    if squeezed:
        meshopt = pytest.importorskip("meshopt", reason="meshopt is not installed")
        rows = places.view("u1").reshape(len(places), 8)
        first = meshopt.encode_gltf_buffer(rows, "ATTRIBUTES")
        first += b"\0" * (-len(first) % 4)
        second = meshopt.encode_gltf_buffer(corners, "TRIANGLES")
        modes = (
            (0, len(first), 8, len(places), "ATTRIBUTES"),
            (len(first), len(second), 4, corners.size, "TRIANGLES"),
        )
        for view, (start, length, stride, count, mode) in zip(views, modes, strict=True):
            packed = {
                "buffer": 0,
                "byteOffset": start,
                "byteLength": length,
                "byteStride": stride,
                "count": count,
                "mode": mode,
            }
            view["extensions"] = {"EXT_meshopt_compression": packed}
        data = first + second
    used = ["KHR_mesh_quantization", *(["EXT_meshopt_compression"] if squeezed else [])]
    primitive = {"attributes": {"POSITION": 0}, "indices": 1}
    tree = scene(
        primitive, node, accessors=accessors, bufferViews=views, buffers=[{"byteLength": len(data)}]
    )
    tree["extensionsUsed"] = used
    glb(tmp_path / "a.glb", tree, data)
    assert volume_of(tmp_path / "a.glb") == pytest.approx(VOLUME, rel=1e-4)


CORNERS = np.array([[0, 0, 0], [0.3, 0, 0], [0, 0.2, 0], [0, 0, 0.1]], dtype="<f4")
TETRAHEDRON = 0.3 * 0.2 * 0.1 / 6  # [m³]


def tetrahedron(primitives: list[tuple[int, list[int]]], *, sparse: bool) -> dict[str, Any]:
    """A glTF with its bytes inside: faces by mode and corners; one place may be told apart."""
    places = CORNERS.copy()
    if sparse:
        places[3] = 9.0
    order = [np.array(corners, "<u2") for _, corners in primitives]
    data = places.tobytes() + b"".join(part.tobytes() for part in order)
    data += np.array([3], "<u2").tobytes() + b"\0\0" + CORNERS[3].tobytes()
    starts = np.cumsum([48, *(part.nbytes for part in order)])
    views = [{"buffer": 0, "byteLength": 48}]
    views += [{"buffer": 0, "byteOffset": int(a), "byteLength": int(b - a)}
              for a, b in zip(starts, [*starts[1:], starts[-1] + 2], strict=True)]  # fmt: skip
    views.append({"buffer": 0, "byteOffset": int(starts[-1]) + 4, "byteLength": 12})
    accessors: list[dict[str, Any]] = [
        {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3"}
    ]
    accessors += [
        {"bufferView": k, "componentType": 5123, "count": len(part), "type": "SCALAR"}
        for k, part in enumerate(order, 1)
    ]
    if sparse:
        accessors[0]["sparse"] = {
            "count": 1,
            "indices": {"bufferView": len(views) - 2, "componentType": 5123},
            "values": {"bufferView": len(views) - 1},
        }
    tree = scene({}, {}, accessors=accessors, bufferViews=views)
    tree["meshes"] = [{"primitives": [
        {"attributes": {"POSITION": 0}, "indices": k, "mode": mode}
        for k, (mode, _) in enumerate(primitives, 1)
    ]}]  # fmt: skip
    uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    tree["buffers"] = [{"uri": uri, "byteLength": len(data)}]
    return tree


@pytest.mark.parametrize(
    ("primitives", "sparse"),
    [
        ([(4, [0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3])], True),
        ([(5, [2, 1, 0, 3, 2, 1])], False),  # a strip: each second triangle turns round
        ([(6, [0, 2, 1, 3, 2]), (4, [1, 2, 3])], False),  # a fan around the first corner
    ],
    ids=["sparse", "strip", "fan"],
)
def test_gltf_by_its_other_ways(
    tmp_path: Path, primitives: list[tuple[int, list[int]]], sparse: bool
) -> None:
    # glTF 2.0, section 3.6.2.3 (sparse) and 3.7.2.1 (strips, fans); volume in closed form.
    tree = tetrahedron(primitives, sparse=sparse)
    (tmp_path / "a.gltf").write_text(json.dumps(tree), encoding="utf-8")
    raw = read_raw(tmp_path / "a.gltf", FILE_ALONE)
    assert enclosed_volume(raw.vertices, raw.faces) == pytest.approx(TETRAHEDRON, rel=1e-6)


def test_obj_with_polygons_counted_backwards(tmp_path: Path) -> None:
    # A box of 20 × 15 × 10 cm by four quadrangles and four triangles; -1 is the last corner.
    corners = [(x, y, z) for x in (0, 0.2) for y in (0, 0.15) for z in (0, 0.1)]
    faces = [
        "1 2 4 3",
        "5 7 8 6",
        "-8 -4 -3 -7",
        "3 4 8 7",
        "1 3 7",
        "1 7 5",
        "2/1 6/2 8/3",
        "2 8 4",
    ]
    rows = [*(f"v {x} {y} {z}" for x, y, z in corners), *(f"f {face}" for face in faces)]
    (tmp_path / "a.obj").write_text("\n".join(rows), encoding="utf-8")
    raw = read_raw(tmp_path / "a.obj", FILE_ALONE)
    assert len(raw.faces) == 12
    assert enclosed_volume(raw.vertices, raw.faces) == pytest.approx(0.2 * 0.15 * 0.1, rel=1e-9)


@pytest.mark.parametrize("kind", ["stl", "ply"])
def test_trailing_bytes_do_no_harm(tmp_path: Path, kind: str) -> None:
    MESH.export(tmp_path / f"a.{kind}")
    path = tmp_path / f"b.{kind}"
    path.write_bytes((tmp_path / f"a.{kind}").read_bytes() + b"\0" * 37)
    assert volume_of(path) == pytest.approx(VOLUME, rel=1e-5)


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_binary_ply_of_triangles_and_squares(tmp_path: Path, order: str) -> None:
    box = np.array([[x, y, z] for z in (0, 0.1) for y in (0, 0.1) for x in (0, 0.2)])
    rings = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6], [0, 6, 2]]
    rings += [[1, 3, 7], [1, 7, 5]]
    name = {"<": "little", ">": "big"}[order]
    head = (
        f"ply\nformat binary_{name}_endian 1.0\ncomment ascii, end_header and all\n"
        f"element vertex 8\nproperty double x\nproperty double y\nproperty double z\n"
        f"element face {len(rings)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    faces = b"".join(bytes([len(r)]) + np.array(r, f"{order}i4").tobytes() for r in rings)
    data = head.encode() + box.astype(f"{order}f8").tobytes() + faces
    (tmp_path / "a.ply").write_bytes(data)
    assert volume_of(tmp_path / "a.ply") == pytest.approx(0.2 * 0.1 * 0.1, rel=1e-9)
    (tmp_path / "a.ply").write_bytes(data[:-6])
    with pytest.raises(ScanError, match="ends amid its faces"):
        read_raw(tmp_path / "a.ply", FILE_ALONE)


@pytest.mark.parametrize("second", [MESH.faces, MESH.faces[:, ::-1]])
def test_a_skin_drawn_twice_is_one(tmp_path: Path, second: Any) -> None:
    doubled = trimesh.Trimesh(MESH.vertices, np.concatenate([MESH.faces, second]), process=False)
    doubled.export(tmp_path / "a.glb")
    assert volume_of(tmp_path / "a.glb") == pytest.approx(VOLUME, rel=1e-5)


def changed_glb(path: Path, **changes: Any) -> None:
    """Write the stone as GLB with entries of its tree changed; those of None are left out."""
    content = MESH.export(file_type="glb")
    size = int.from_bytes(content[12:16], "little")
    tree = json.loads(content[20 : 20 + size]) | changes
    text = json.dumps({key: value for key, value in tree.items() if value is not None}).encode()
    text += b" " * (-len(text) % 4)
    rest = content[20 + size :]
    total = (20 + len(text) + len(rest)).to_bytes(4, "little")
    head = b"glTF" + bytes([2, 0, 0, 0]) + total + len(text).to_bytes(4, "little") + b"JSON"
    path.write_bytes(head + text + rest)


def test_gltf_draws_each_node_once_and_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "a.glb"
    nodes = [{"children": [1], "scale": [2, 2, 2]}, {"mesh": 0}]
    changed_glb(path, nodes=nodes, scenes=None, scene=None)  # without a scene all roots are drawn
    assert volume_of(path) == pytest.approx(8 * VOLUME, rel=1e-5)
    changed_glb(path, nodes=[{"mesh": 0}], extensionsRequired=["KHR_materials_specular"])
    assert volume_of(path) == pytest.approx(VOLUME, rel=1e-5)
    copies = {"mesh": 0, "extensions": {"EXT_mesh_gpu_instancing": {"attributes": {}}}}
    for node in (copies, {"mesh": 0, "skin": 0}, {"mesh": 0, "weights": [0.5]}):
        changed_glb(path, nodes=[node])
        with pytest.raises(ScanError, match="moves or repeats"):
            read_raw(path, FILE_ALONE)


def cloud_files(folder: Path) -> list[Path]:
    """One cloud in every format; those whose library is absent are left out."""
    points = trimesh.sample.sample_surface(MESH, 8000, seed=1)[0]
    paths = [folder / name for name in ("a.pts", "a.csv", "comma.csv", "a.pcd", "b.pcd")]
    np.savetxt(paths[0], points, header="8000", comments="", fmt="%.6f")
    np.savetxt(paths[1], points, delimiter=",", fmt="%.6f")
    rows = "\n".join(";".join(f"{x:.6f}".replace(".", ",") for x in row) for row in points)
    paths[2].write_text(f"x;y;z\n{rows}", encoding="utf-8")
    head = (
        "VERSION 0.7\nFIELDS x y z i\nSIZE 4 4 4 4\nTYPE F F F F\nCOUNT 1 1 1 1\nPOINTS 8000\nDATA "
    )
    four = np.column_stack([points, points[:, 0]])
    paths[3].write_bytes((head + "binary\n").encode() + four.astype("<f4").tobytes())
    lines = "\n".join(" ".join(f"{x:.6f}" for x in row) for row in four)
    paths[4].write_text(f"{head}ascii\n{lines}\n", encoding="utf-8")
    laspy = pytest.importorskip("laspy", reason="laspy is not installed")
    cloud = laspy.create(point_format=3, file_version="1.2")
    cloud.header.scales = [1e-5] * 3
    cloud.x, cloud.y, cloud.z = points.T
    for kind in ("las", "laz"):
        cloud.write(folder / f"a.{kind}")
        paths.append(folder / f"a.{kind}")
    pye57 = pytest.importorskip("pye57", reason="pye57 is not installed")
    file = pye57.E57(str(folder / "a.e57"), mode="w")
    axes = ("cartesianX", "cartesianY", "cartesianZ")
    file.write_scan_raw({axis: points[:, k].copy() for k, axis in enumerate(axes)})
    file.close()
    return [*paths, folder / "a.e57"]


def test_an_e57_of_ranges_and_angles(tmp_path: Path) -> None:
    # ASTM E2807: azimuth from x towards y, elevation from the plane of x and y [rad], a pose after.
    pye57 = pytest.importorskip("pye57", reason="pye57 is not installed")
    lib = pye57.libe57
    points = np.random.default_rng(4).normal(size=(300, 3)) * 0.1
    ranges = np.linalg.norm(points, axis=1)
    columns = {
        "sphericalRange": ranges,
        "sphericalAzimuth": np.arctan2(points[:, 1], points[:, 0]),
        "sphericalElevation": np.arcsin(points[:, 2] / ranges),
    }
    file = pye57.E57(str(tmp_path / "a.e57"), mode="w")
    scan, pose, place, kinds = (lib.StructureNode(file.image_file) for _ in range(4))
    scan.set("pose", pose)
    pose.set("translation", place)
    for axis, far in zip("xyz", (1.0, -2.0, 3.0), strict=True):
        place.set(axis, lib.FloatNode(file.image_file, far))
    for name in columns:
        kinds.set(name, lib.FloatNode(file.image_file, 0.0, lib.E57_DOUBLE, -9.0, 9.0))
    codecs = lib.VectorNode(file.image_file, True)
    table = lib.CompressedVectorNode(file.image_file, kinds, codecs)
    scan.set("points", table)
    file.data3d.append(scan)
    arrays, buffers = file.make_buffers(list(columns), len(points))
    for name, column in columns.items():
        arrays[name][:] = column
    writer = table.writer(buffers)
    writer.write(len(points))
    writer.close()
    file.close()
    (part,) = parsed_points(tmp_path / "a.e57", b"", ".e57").parts
    assert part.vertices == pytest.approx(points + [1.0, -2.0, 3.0], abs=1e-12)


def test_clouds_in_every_format(tmp_path: Path) -> None:
    first, *others = cloud_files(tmp_path)
    assert volume_of(first) == pytest.approx(VOLUME, rel=0.01)
    points = read_raw(first, FILE_ALONE).vertices
    for path in others:  # written to 1e-5 m and more finely
        assert np.abs(read_raw(path, FILE_ALONE).vertices - points).max() < 1.1e-5, path.name
    (tmp_path / "bad.csv").write_text("0,1,0,2,0,3\n" * 600, encoding="utf-8")
    with pytest.raises(ScanError, match="semicolons"):
        closed_scan(tmp_path / "bad.csv")


def test_fbx_is_refused_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "a.fbx").write_bytes(b"Kaydara FBX Binary")
    with pytest.raises(ScanError, match="export GLB"):
        closed_scan(tmp_path / "a.fbx")
