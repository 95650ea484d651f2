"""What a scan's own header promises, against what the file holds: looked at before it is loaded."""

import io
import json
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.limits import COPIES, LARGEST_FILE, SPARE_CORNERS, raised

# Components of glTF 2.0 (3.6.2.2) as numpy calls them, their bytes last; how many a kind has.
GLTF_TYPES = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
COMPONENTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
DRACO, MESHOPT = "KHR_draco_mesh_compression", "EXT_meshopt_compression"
CORNER = 12  # [bytes] of a place as files store it
MOST_RATIO = 25  # text of figures packs to a fifth or so; a bomb to a thousandth
FREE_SIZE = 20_000_000  # [bytes]; unpacked, below which the ratio is no matter
PLY_TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4",
    "float": "f4", "double": "f8", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2",
    "int32": "i4", "uint32": "u4", "float32": "f4", "float64": "f8",
}  # fmt: skip


class HeaderError(PlumbstoneError, ValueError):
    """A file that would unpack to far more than it holds; the message begins after its name."""


def check_header(kind: str, content: bytes) -> None:
    """Refuse a scan that would take far more memory than its size accounts for.

    Its kind is its suffix, such as ``".glb"``; kinds without a check of their own pass. The content
    is the whole file.

    Raises
    ------
    HeaderError
        If it promises more than it holds.
    ValueError, KeyError, TypeError, RecursionError
        If its header is no header.
    """
    if kind in (".glb", ".gltf"):
        _check_gltf(content, kind == ".glb")
    elif kind in (".zip", ".usdz"):
        _check_archive(content)
    elif kind == ".3mf":
        _check_archive(content)
        _check_3mf(content)
    elif kind == ".ply":
        _check_ply(content)
    elif kind == ".off":
        _check_off(content)
    elif kind in (".las", ".laz"):
        _check_las(content, kind == ".laz")


def _check_gltf(content: bytes, binary: bool) -> None:
    """Check accessors against buffers, and what nodes repeat against what is stored."""
    text = content
    if binary:
        if int.from_bytes(content[8:12], "little") > len(content):
            raise HeaderError("ends too early; export it again.")
        text = content[20 : 20 + int.from_bytes(content[12:16], "little")]
    tree = json.loads(text)
    held = len(content)
    if {DRACO, MESHOPT} & {*tree.get("extensionsUsed", []), *tree.get("extensionsRequired", [])}:
        held *= MOST_RATIO
    if not binary:
        buffers = (entry.get("byteLength", 0) for entry in tree.get("buffers", []))
        held += min(sum(map(int, buffers)), raised(LARGEST_FILE))
    accessors = tree.get("accessors", [])
    for number, accessor in enumerate(accessors):
        if not 0 <= accessor["count"] * _entry(accessor) <= held:
            raise HeaderError(
                f"its accessor {number} promises {accessor['count']} entries, more than the file "
                "holds; export it again."
            )
    sizes = [_drawn(mesh, accessors) for mesh in tree.get("meshes", [])]
    nodes = tree.get("nodes", [])
    own = [sizes[node["mesh"]] if "mesh" in node else CORNER for node in nodes]
    children = {number: node.get("children", []) for number, node in enumerate(nodes)}
    drawn = _with_children(dict(enumerate(own)), children)
    _check_copies((sum(sizes) + drawn) // CORNER, held // CORNER)


def _entry(accessor: Mapping[str, Any]) -> int:
    """Bytes of one entry of a glTF accessor."""
    return int(GLTF_TYPES[accessor["componentType"]][-1]) * COMPONENTS[accessor["type"]]


def _drawn(mesh: Mapping[str, Any], accessors: Sequence[Mapping[str, Any]]) -> int:
    """Bytes of the corners and indices that a glTF mesh is loaded to, four at least for each."""
    size = 0
    for primitive in mesh["primitives"]:
        used = [*primitive["attributes"].values(), primitive.get("indices")]
        kept = [accessors[place] for place in used if place is not None]
        size += sum(int(each["count"]) * max(_entry(each), 4) for each in kept)
    return size


def _with_children(own: Mapping[Any, int], children: Mapping[Any, Iterable[Any]]) -> int:
    """Add up what all roots draw, each child as often as it is named; rings are refused."""
    kept = {node: [c for c in children.get(node, ()) if c in own] for node in own}
    total: dict[Any, int] = {}
    try:
        for node in TopologicalSorter(kept).static_order():
            total[node] = own[node] + sum(total[child] for child in kept[node])
    except CycleError:
        raise HeaderError("holds parts that hold themselves; export it again.") from None
    named = {child for group in children.values() for child in group}
    return sum(count for node, count in total.items() if node not in named)


def _check_copies(drawn: int, stored: int) -> None:
    """Refuse copies of copies that come to far more corners than are stored."""
    most = raised(COPIES * stored + SPARE_CORNERS)
    if drawn > most:
        problem = f"repeats its parts to {drawn:.3g} corners, over {most:.3g} for its size; export"
        raise HeaderError(f"{problem} it as one mesh, or raise <limits>.")


_TAGS = re.compile(rb"<(?:[\w.-]+:)?(object|component|item|vertex|triangle)\b([^>]*)")
_REFERENCE = re.compile(rb"""\b(id|objectid)\s*=\s*["']([^"']*)["']""")


def _check_archive(content: bytes) -> None:
    """Refuse an archive that would unpack to too much, or outside."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        entries = archive.infolist()
    if any(entry.flag_bits & 1 for entry in entries):
        raise HeaderError("is locked by a password; unpack it and name what is in it.")
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > raised(LARGEST_FILE) or len(entries) > 10_000:
        most = f"{raised(LARGEST_FILE) / 1e9:g} GB"
        raise HeaderError(f"unpacks to over {most}; thin the mesh out, or raise <limits>.")
    if unpacked > raised(max(FREE_SIZE, MOST_RATIO * len(content))):
        times = f"{unpacked / len(content):.0f} times its size"
        raise HeaderError(f"unpacks to {times}, which no scan does; export it again.")
    if any(".." in Path(e.filename).parts or e.filename.startswith("/") for e in entries):
        raise HeaderError("holds paths that lead out of it; export it again.")
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for entry in archive.infolist():
            _check_length(archive, entry)


def _check_length(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
    """Unpack an entry bit by bit, to see that it is no longer than the archive says."""
    said, entry.file_size = entry.file_size, entry.file_size + 1  # the reader stops at that
    with archive.open(entry) as stream:
        found = sum(len(part) for part in iter(lambda: stream.read(1 << 20), b""))
    if found > said:
        raise HeaderError("unpacks to more than it says; export it again.")


def _check_3mf(content: bytes) -> None:
    """Check how often the objects of a 3MF repeat each other."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        names = [name for name in archive.namelist() if name.endswith(".model")]
        models = [archive.read(name) for name in names]
    own: dict[bytes, int] = {}
    children: dict[bytes, list[bytes]] = {b"": []}
    for model in models:
        if b"<!" in model.replace(b"<!--", b"").replace(b"<![CDATA[", b""):
            raise HeaderError("holds definitions of its own, which no scan needs; export it again.")
        _count_tags(model, own, children)
    own[b""] = 0
    _check_copies(_with_children(own, children), sum(map(len, models)) // 30)


def _count_tags(model: bytes, own: dict[bytes, int], children: dict[bytes, list[bytes]]) -> None:
    """Count corners and faces of each object of a 3MF model, and what it is made of."""
    current = b""
    for found in _TAGS.finditer(model):
        tag = found[1]
        if tag in (b"vertex", b"triangle"):
            own[current] = own.get(current, 0) + 1
            continue
        named = dict(_REFERENCE.findall(found[2]))
        if tag == b"object":
            current = named.get(b"id", b"?")
            own.setdefault(current, 0)
            children.setdefault(current, [])
        else:
            whose = b"" if tag == b"item" else current
            children[whose].append(named.get(b"objectid", b"?"))


def _check_las(content: bytes, packed: bool) -> None:
    """Check the records that a LAS header promises (ASPRS LAS 1.4 R15, table 3)."""
    head = content[:375].ljust(375, b"\0")
    records, extended = (int.from_bytes(head[at : at + 4], "little") for at in (100, 243))
    extended = extended if head[25] >= 4 else 0  # since version 1.4
    if 54 * records + 60 * extended > len(content):
        raise HeaderError("promises more records than it holds; export it again.")
    size = int.from_bytes(head[105:107], "little")
    counts = int.from_bytes(head[107:111], "little"), int.from_bytes(head[247:255], "little")
    count = counts[1] if head[25] >= 4 else counts[0]
    if count * size > raised(max(FREE_SIZE, MOST_RATIO * len(content))):
        raise HeaderError(f"promises {count} points, more than it holds; export it again.")
    if packed:  # its first bytes tell where its chunks are counted (LASzip, chunk table)
        start = int.from_bytes(head[96:100], "little")
        table = int.from_bytes(content[start : start + 8], "little")
        if table == 2**64 - 1:
            table = int.from_bytes(content[-8:], "little")
        chunks = int.from_bytes(content[table + 4 : table + 8], "little")
        if table + 8 > len(content) or chunks > len(content):
            raise HeaderError("is damaged: its chunks do not add up; export it again.")


def _check_off(content: bytes) -> None:
    """Check that an OFF has the lines of corners and faces that it promises."""
    lines = [line for line in re.sub(rb"#[^\n]*", b"", content).split(b"\n") if line.strip()]
    first = lines[0].split()
    counts = first[1:] or lines[1].split()
    left = len(lines) - (1 if first[1:] else 2)
    if b"BINARY" not in first and sum(map(int, counts[:2])) > left:
        raise HeaderError("promises more corners and faces than it holds; export it again.")


def _check_ply(content: bytes) -> None:
    """Check the counts of a PLY header against the bytes that follow it."""
    end = content.find(b"\nend_header")
    if end < 0:
        raise HeaderError("is no PLY file: its header does not end.")
    left, least, count, lines = len(content) - end - len("\nend_header\n"), 0, 0, 0
    ascii_ = re.search(rb"^format +ascii", content[:end], re.MULTILINE) is not None
    for line in [*content[:end].decode("ascii", errors="replace").splitlines(), "element"]:
        words = line.split()
        if words[:1] == ["element"]:
            if not 0 <= count * least <= left:
                problem = f"its header promises {count} entries, more than the file holds;"
                raise HeaderError(f"{problem} export it again.")
            left, least = left - count * least, 0
            count = int(words[2]) if len(words) > 2 else 0
            lines += count
        elif words[:1] == ["property"]:
            kind = PLY_TYPES[words[2 if words[1] == "list" else 1]]
            least += 2 if ascii_ else int(kind[-1])
    if ascii_ and max(content.count(b"\n", end), content.count(b"\r", end)) < lines:
        raise HeaderError(f"its header promises {lines} lines, but it ends early; export it again.")
