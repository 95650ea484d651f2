"""Reading glTF and GLB: plain, quantised, and compressed by Draco or meshopt."""

import base64
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.piece import Floats, Indices
from plumbstone.meshes.reading.headers import COMPONENTS, DRACO, GLTF_TYPES, MESHOPT
from plumbstone.meshes.reading.parts import NO_FACES, OwnFolder, Parsed, Part, ScanError, needed

KNOWN = {DRACO, MESHOPT, "KHR_mesh_quantization", "KHR_texture_transform", "KHR_texture_basisu",
         "EXT_texture_webp"}  # fmt: skip
LOOKS = ("KHR_materials_", "KHR_lights_")  # beginnings of names of what changes no form
MANY = "EXT_mesh_gpu_instancing"
READ = {"POSITION", "TEXCOORD_0", "COLOR_0"}  # of the corners
MOST_OFF = 0.02  # of the extent: how far the bounds of a mesh may be off what the file says
DEEPEST = 64  # nodes below nodes


def parsed_gltf(path: Path, content: bytes, *, looks: bool = True) -> Parsed:
    """Read all triangles, or all points, of the scene; metres and +y up by the format [1]_.

    With `looks` also its textures and colours.

    References
    ----------
    .. [1] Khronos Group, "glTF 2.0 Specification", sections 3.4 and 3.6.
    """
    read = READ if looks else {"POSITION"}
    return Parsed(tuple(_File(path, content, read).parts()), unit=1.0, up="y")


class _File:
    """One file with its buffers, as far as they are asked for."""

    def __init__(self, path: Path, content: bytes, read: set[str]) -> None:
        self.path, self.read = path, read
        self.binary, version = b"", b"\2"
        if content[:4] == b"glTF":
            version = content[4:8]
            content = self._chunks(content)
        self.tree: dict[str, Any] = json.loads(content.decode("utf-8-sig"))
        if int.from_bytes(version, "little") != 2:
            raise ScanError(path, "is of an old version of GLB; export version 2, or PLY.")
        needs = set(self.tree.get("extensionsRequired", [])) - KNOWN
        unknown = {name for name in needs if not name.startswith(LOOKS)}
        if unknown:
            raise ScanError(path, f"needs {', '.join(sorted(unknown))}; export it without.")
        self.buffers: dict[int, bytes] = {}
        self.views: dict[int, bytes] = {}

    def _chunks(self, content: bytes) -> bytes:
        """Split a binary file; gives the JSON part."""
        size = int.from_bytes(content[12:16], "little")
        if 20 + size > len(content):
            raise ScanError(self.path, "ends too early; export it again.")
        rest = content[20 + size :]
        if len(rest) >= 8:
            self.binary = rest[8 : 8 + int.from_bytes(rest[:4], "little")]
        return content[20 : 20 + size]

    def parts(self) -> Iterator[Part]:
        """Every primitive of the scene, in metres."""
        scenes = self.tree.get("scenes", [])
        nodes = self.tree.get("nodes", [])
        below = {child for node in nodes for child in node.get("children", [])}
        roots = [number for number in range(len(nodes)) if number not in below]
        for root in scenes[self.tree.get("scene", 0)].get("nodes", []) if scenes else roots:
            yield from self._node(root, np.eye(4), 0)

    def _node(self, number: int, above: Floats, depth: int) -> Iterator[Part]:
        """Parts of a node and all below it."""
        if depth > DEEPEST:
            raise ScanError(self.path, "has nodes that hold themselves; export it again.")
        node = self.tree["nodes"][number]
        place = above @ _placed(node)
        if "mesh" in node:
            self._check_still(node)
            for primitive in self.tree["meshes"][node["mesh"]]["primitives"]:
                part = self._part(primitive, place)
                if part is not None:
                    yield part
        for child in node.get("children", []):
            yield from self._node(child, place, depth + 1)

    def _check_still(self, node: Mapping[str, Any]) -> None:
        """Refuse what is not drawn as it is stored: copies, bones, and targets of corners."""
        weights = node.get("weights", self.tree["meshes"][node["mesh"]].get("weights", []))
        if MANY in node.get("extensions", {}) or "skin" in node or any(weights):
            problem = "moves or repeats its parts when it is drawn; export it as one plain mesh."
            raise ScanError(self.path, problem)

    def _part(self, primitive: Mapping[str, Any], place: Floats) -> Part | None:
        """One primitive at its place; None for lines."""
        mode, attributes = primitive.get("mode", 4), primitive["attributes"]
        squeezed = primitive.get("extensions", {}).get(DRACO)
        if mode not in (0, 4, 5, 6):
            return None
        if squeezed is not None:
            faces, values = self._draco(squeezed, attributes)
        else:
            values = {name: self._accessor(attributes[name]) for name in self.read & {*attributes}}
            corners = (
                self._accessor(primitive["indices"]).ravel().astype(np.int64)
                if "indices" in primitive
                else np.arange(len(values["POSITION"]))
            )
            faces = _triangles(corners, mode)
        uv, colours = values.get("TEXCOORD_0"), values.get("COLOR_0")
        colours = None if colours is None else colours[:, :3] * 255
        vertices = values["POSITION"] @ place[:3, :3].T + place[:3, 3]
        if uv is None or len(faces) == 0:
            return Part(vertices, faces, colours=colours)
        image, turned = self._image(primitive.get("material"))
        if image is None:
            return Part(vertices, faces, colours=colours)
        uv = uv @ turned[:2, :2].T + turned[:2, 2]
        return Part(vertices, faces, (uv * [1, -1] + [0, 1])[faces], image)

    def _draco(
        self, squeezed: Mapping[str, Any], attributes: Mapping[str, int]
    ) -> tuple[Indices, dict[str, Floats]]:
        """Faces of a Draco primitive, and what is read of its corners by name."""
        library = needed(self.path, "DracoPy", "GLB without Draco, or PLY")
        mesh = library.decode(self._view(squeezed["bufferView"]))
        places, found = squeezed["attributes"], {}
        for name, number in ((name, places[name]) for name in self.read & {*places}):
            values = np.asarray(mesh.get_attribute_by_unique_id(number)["data"])
            found[name] = _plain(values, self.tree["accessors"][attributes[name]])
        self._check_bounds(found["POSITION"], self.tree["accessors"][attributes["POSITION"]])
        return np.asarray(mesh.faces, dtype=np.int64).reshape(-1, 3), found

    def _check_bounds(self, points: Floats, row: Mapping[str, Any]) -> None:
        """Refuse corners that lie elsewhere than the file says: damaged Draco still unpacks."""
        if row.get("normalized") or not ("min" in row and "max" in row):
            return
        low, high = np.array(row["min"], dtype=float), np.array(row["max"], dtype=float)
        off = np.abs([points.min(axis=0) - low, points.max(axis=0) - high]).max()
        if off > MOST_OFF * float((high - low).max()):
            raise ScanError(self.path, "is damaged: its corners lie elsewhere; export it again.")

    def _accessor(self, number: int) -> Floats:
        """Values of an accessor, normalised ones between -1 or 0 and 1, (n, k)."""
        row = self.tree["accessors"][number]
        kind, width = np.dtype(GLTF_TYPES[row["componentType"]]), COMPONENTS[row["type"]]
        count = row["count"]
        values: NDArray[Any] = np.zeros((count, width), dtype=kind)
        if "bufferView" in row:
            values = self._rows(row, kind, width, count)
        if "sparse" in row:
            values = self._with_sparse(values.copy(), row["sparse"], kind)
        return _plain(values, row)

    def _rows(
        self, row: Mapping[str, Any], kind: np.dtype[Any], width: int, count: int
    ) -> NDArray[Any]:
        """Rows of an accessor as they are stored."""
        view = self.tree["bufferViews"][row["bufferView"]]
        data = self._view(row["bufferView"])
        stride = view.get("byteStride") or view.get("extensions", {}).get(MESHOPT, {}).get(
            "byteStride"
        )
        step = stride if stride and stride >= kind.itemsize * width else kind.itemsize * width
        start = row.get("byteOffset", 0)
        if count < 0 or start + step * (count - 1) + kind.itemsize * width > len(data):
            raise ScanError(self.path, "promises more than it holds; export it again.")
        return np.ndarray((count, width), kind, data, start, (step, kind.itemsize))

    def _with_sparse(
        self, values: NDArray[Any], sparse: Mapping[str, Any], kind: np.dtype[Any]
    ) -> NDArray[Any]:
        """Put in the rows that differ."""
        places, count = sparse["indices"], sparse["count"]
        at = self._rows(places, np.dtype(GLTF_TYPES[places["componentType"]]), 1, count).ravel()
        values[at] = self._rows(sparse["values"], kind, values.shape[1], count)
        return values

    def _view(self, number: int) -> bytes:
        """Bytes of a buffer view, decompressed where it is compressed."""
        if number not in self.views:
            view = self.tree["bufferViews"][number]
            packed = view.get("extensions", {}).get(MESHOPT)
            if packed is None:
                start = view.get("byteOffset", 0)
                found = self._buffer(view["buffer"])[start : start + view["byteLength"]]
            else:
                library = needed(self.path, "meshopt", "GLB without meshopt, or PLY")
                start = packed.get("byteOffset", 0)
                data = self._buffer(packed["buffer"])[start : start + packed["byteLength"]]
                found = library.decode_gltf_buffer(
                    data, packed["count"], packed["byteStride"], packed["mode"],
                    packed.get("filter"),
                ).tobytes()  # fmt: skip
            self.views[number] = found
        return self.views[number]

    def _buffer(self, number: int) -> bytes:
        """Bytes of a buffer: of the file itself, in its text, or beside it."""
        if number not in self.buffers:
            uri = self.tree["buffers"][number].get("uri")
            self.buffers[number] = self.binary if uri is None else self._at(uri)
        return self.buffers[number]

    def _at(self, uri: str) -> bytes:
        """Read what a reference means."""
        if uri.startswith("data:"):
            return base64.b64decode(uri.partition(",")[2])
        return OwnFolder(self.path)[unquote(uri)]

    def _image(self, number: int | None) -> tuple[bytes | None, Floats]:
        """Picture of a material's base colour, and how its coordinates are turned."""
        if number is None:
            return None, np.eye(3)
        surface = self.tree["materials"][number].get("pbrMetallicRoughness", {})
        texture = surface.get("baseColorTexture")
        if texture is None:
            return None, np.eye(3)
        source = self.tree["textures"][texture["index"]]
        others = source.get("extensions", {}).values()
        chosen = source.get("source", next((o["source"] for o in others if "source" in o), None))
        if chosen is None:
            return None, np.eye(3)
        image = self.tree["images"][chosen]
        data = self._view(image["bufferView"]) if "bufferView" in image else self._at(image["uri"])
        moved = texture.get("extensions", {}).get("KHR_texture_transform", {})
        (sx, sy), (ox, oy) = moved.get("scale", [1, 1]), moved.get("offset", [0, 0])
        return data, np.array([[sx, 0, ox], [0, sy, oy], [0, 0, 1.0]])


def _plain(values: NDArray[Any], row: Mapping[str, Any]) -> Floats:
    """Values of an accessor as they are meant, normalised ones between -1 or 0 and 1."""
    found = values.astype(np.float64)
    if row.get("normalized") and values.dtype.kind in "iu":
        found = np.maximum(found / np.iinfo(values.dtype).max, -1.0)
    return found


def _placed(node: Mapping[str, Any]) -> Floats:
    """Matrix of a node, (4, 4)."""
    if "matrix" in node:
        return np.array(node["matrix"], dtype=float).reshape(4, 4).T
    x, y, z, w = node.get("rotation", [0, 0, 0, 1])
    found = np.eye(4)
    found[:3, :3] = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    found[:3, :3] *= node.get("scale", [1, 1, 1])
    found[:3, 3] = node.get("translation", [0, 0, 0])
    return found


def _triangles(corners: Indices, mode: int) -> Indices:
    """Faces of a list, a strip or a fan of triangles; none of points."""
    if mode == 0:
        return NO_FACES
    if mode == 4:
        return corners[: len(corners) // 3 * 3].reshape(-1, 3)
    first = corners[:-2] if mode == 5 else np.full(len(corners) - 2, corners[0])
    faces = np.column_stack([first, corners[1:-1], corners[2:]])
    if mode == 5:
        faces[1::2] = faces[1::2, [1, 0, 2]]
    return faces
