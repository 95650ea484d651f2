"""Reading scans: meshes and point clouds in open formats, in metres."""

import io
import re
import stat
import tempfile
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.contents import seal_of
from plumbstone.meshes.errors import unreadable
from plumbstone.meshes.limits import LARGEST_FILE, MOST_FACES, raised
from plumbstone.meshes.measures.doubts import Doubt
from plumbstone.meshes.measures.faults import is_closed
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.mending.welding import welded
from plumbstone.meshes.piece import Floats, Indices, longest_side
from plumbstone.meshes.reading.gltf import parsed_gltf
from plumbstone.meshes.reading.headers import PLY_TYPES, HeaderError, check_header
from plumbstone.meshes.reading.obj import Beside, parsed_obj
from plumbstone.meshes.reading.parts import NO_FACES, OwnFolder, Parsed, Part, fans, needed
from plumbstone.meshes.reading.parts import ScanError as ScanError
from plumbstone.meshes.reading.points import parsed_points
from plumbstone.meshes.reading.usd import parsed_usd

if TYPE_CHECKING:
    from plumbstone.meshes.reading.mat import Sheet

USD_KINDS = (".usdz", ".usd", ".usdc", ".usda")
MESH_KINDS = (".stl", ".ply", ".obj", ".off", ".glb", ".gltf", ".3mf", ".dae", ".zip", *USD_KINDS)
TEXT_CLOUDS = (".xyz", ".txt", ".csv", ".pts", ".asc")
CLOUD_KINDS = (*TEXT_CLOUDS, ".pcd", ".las", ".laz", ".e57")
REFUSED = {
    ".fbx": "FBX is a closed format; export GLB, OBJ or PLY instead.",
    ".rvt": "export GLB, OBJ or PLY instead.",
    ".blend": "export GLB or PLY from the program that wrote it.",
    ".step": "STEP holds no scan; export STL or PLY.",
    ".stp": "STEP holds no scan; export STL or PLY.",
}
THREE_MF_UNITS = {  # 3MF Core Specification 1.3, section 3.4; millimetres where none is stated
    "micron": 1e-6, "millimeter": 1e-3, "centimeter": 1e-2, "inch": 0.0254, "foot": 0.3048,
    "meter": 1.0, "millimeters": 1e-3,
}  # fmt: skip
UNITS = {"m": 1.0, "dm": 0.1, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
SPELT = UNITS | {  # an s may follow
    "metre": 1.0, "meter": 1.0, "decimetre": 0.1, "decimeter": 0.1, "centimetre": 0.01,
    "centimeter": 0.01, "millimetre": 0.001, "millimeter": 0.001, "inch": 0.0254,
    "inches": 0.0254, "foot": 0.3048, "feet": 0.3048,
}  # fmt: skip
LARGEST_STONE, LARGEST_WOOD = 0.80, 2.5  # [m]
LEAST_PIECE = 0.005  # [m]: a shorter one is a slip of the unit
SCENE = 0.2, 2.0, 0.5  # [m]: least and most of a stone and a thing beside it, and in between
ROOM = 6.0  # [m]: a scan that is wider, with all around the body, has a wrong unit
# Extents [m] for which a unit is believed; few scan a stone of 2 cm, or measure one in inches
# that is smaller than a fist.
LIKELY = {
    "m": (0.02, ROOM),
    "mm": (0.02, LARGEST_WOOD),
    "cm": (0.02, LARGEST_STONE),
    "in": (0.08, LARGEST_STONE),
}
TURNED: dict[str, tuple[list[int], list[float]]] = {  # which axis becomes x, y and z, and its sign;
    "x": ([1, 2, 0], [-1.0, -1.0, 1.0]), "y": ([0, 2, 1], [1.0, -1.0, 1.0]),  # right stays right
    "z": ([0, 1, 2], [1.0, 1.0, 1.0]),  # (COLLADA 1.4.1, up_axis)
}  # fmt: skip
LARGEST_PIECE = 20.0  # [m]; beyond this the unit is wrong for sure
MOST_PER_CORNER = 3  # faces for each corner: a closed skin has two, one drawn from both sides four
UTF_8, UTF_16 = b"\xef\xbb\xbf", (b"\xff\xfe", b"\xfe\xff")  # marks that a text may begin with


@dataclass(frozen=True, slots=True, eq=False)
class RawScan:
    """A scan as it is in the file, in metres."""

    vertices: Floats
    faces: Indices  # (0, 3) for a point cloud
    up: str  # "z", or "y" where the format says so; vertices are already turned
    changes: tuple[str, ...]
    warnings: tuple[str, ...]
    sized: bool = True  # whether its unit is known, by what it says, by the user, or by its size
    lengths: Doubt | None = None  # of the lengths, where something in view told them
    kept: str = ""  # what `--keep` wrote into it, or claims to have
    sealed: bool = False  # whether it did, and nothing was changed since
    spots: tuple[Floats, Floats] | None = None  # places [m] and colours of them, if asked for


def read_raw(path: Path, ruler: Ruler, *, colours: bool = False) -> RawScan:
    """Read a mesh or a point cloud, weld it and bring it to metres, z up; with colours if asked.

    Raises
    ------
    ScanError
        If the file is missing, broken, too large, no scan or of impossible size.
    """
    content = _content(path)
    sheet = None
    by_sheet = ruler.mat or (ruler.known is not None and ruler.known.kind == "sheet")
    parsed = _parsed(path, content, OwnFolder(path) if by_sheet or colours else None)
    if not parsed.parts:
        raise ScanError(path, "holds no surface and no points; export it again.")
    if by_sheet:
        sheet = _by_sheet(path, parsed, ruler)
        parsed = replace(parsed, unit=sheet.unit)
        ruler = replace(ruler, unit=None)
    vertices, faces = parsed.joined()
    _check_arrays(path, vertices, faces)
    changes: list[str] = []
    if len(faces):
        before = len(faces)
        doubled = len(faces) > MOST_PER_CORNER * len(vertices)
        if doubled or not is_closed(faces, len(vertices)):
            vertices, faces = welded(vertices, faces)
        if len(faces) == 0:
            raise ScanError(path, "its faces have no area; scan it again.")
        if before - len(faces) > 0:
            changes.append(f"dropped {before - len(faces)} faces without area or doubled")
    scale, said, sized = _scale(path, vertices, ruler, parsed.unit)
    vertices = vertices * scale
    up = parsed.up or "z"
    if up != "z":
        vertices = _turned_up(vertices, up)
        changes.append(f"turned from {up} up to z up, as its format says")
    spots = _spots(parsed, scale, up) if colours else None
    if sheet is not None:
        told = (sheet.said, *changes)
        return RawScan(vertices, faces, up, told, (), lengths=sheet.doubt, spots=spots)
    kept, sealed = _kept_in(content) if path.suffix.lower() == ".ply" else ("", False)
    told = (said, *changes)
    return RawScan(vertices, faces, up, told, (), sized, kept=kept, sealed=sealed, spots=spots)


def _turned_up(points: Floats, up: str) -> Floats:
    """Turn points of which an axis is up so that z is."""
    axes, signs = TURNED[up]
    return points[:, axes] * signs


def _spots(parsed: Parsed, scale: float, up: str) -> tuple[Floats, Floats]:
    """Places on the scan [m], z up, and what they look like."""
    from plumbstone.meshes.reading.looks import spots_of

    places, seen = spots_of(parsed)
    return _turned_up(places, up) * scale, seen


def _by_sheet(path: Path, parsed: Parsed, ruler: Ruler) -> "Sheet":
    """Measure the file's unit by the mat, or by a flat thing in view."""
    if ruler.known is not None:
        from plumbstone.meshes.reading.known import read_sheet

        return read_sheet(path, parsed, ruler.known)
    from plumbstone.meshes.reading.mat import read_mat

    return read_mat(path, parsed, ruler.control)


def _kept_in(content: bytes) -> tuple[str, bool]:
    """Give what this program wrote into the header of a PLY, if anything, and if that is sure."""
    head = content[:4000]
    found = re.search(rb"^comment plumbstone (\{.*\})\r?$", head, re.MULTILINE)
    if found is None:
        return "", False
    seal = re.search(rb"^comment seal ([0-9a-f]{64})\n", head, re.MULTILINE)
    sealed = seal is not None and seal_of(content.replace(seal[0], b"", 1)) == seal[1].decode()
    return found[1].decode("utf-8", errors="replace"), sealed


def _content(path: Path) -> bytes:
    """Read the bytes of a scan, within limits."""
    kind = path.suffix.lower()
    if kind in REFUSED:
        raise ScanError(path, REFUSED[kind])
    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise ScanError(path, "is a folder; name it by itself to weigh what it holds.")
        if kind not in MESH_KINDS + CLOUD_KINDS:
            raise ScanError(path, "is no scan by its name; export GLB, OBJ, PLY or USDZ.")
        if not stat.S_ISREG(state.st_mode):
            raise ScanError(path, "is no plain file; name a scan.")
        size = state.st_size
        if size > raised(LARGEST_FILE):
            problem = f"is {size / 1e9:.1f} GB, over the limit; thin it out, or raise <limits>."
            raise ScanError(path, problem)
        content = path.read_bytes()
    except OSError as error:
        raise ScanError(path, unreadable(path, error)) from None
    if not content[:4096].strip(b"\0 \t\r\n") and not content.strip(b"\0 \t\r\n"):
        raise ScanError(path, "is empty; export the scan again.")
    return content


def _parsed(path: Path, content: bytes, beside: Beside | None = None) -> Parsed:
    """Give what a file holds; with `beside` also its textures, of OBJ from those files."""
    kind = path.suffix.lower()
    try:
        content = content.removeprefix(UTF_8)
        if kind in (".obj", ".off", *TEXT_CLOUDS) and content.startswith(UTF_16):
            content = content.decode("utf-16").encode()
        check_header(kind, content)
        if kind == ".zip":
            return _zipped(path, content, textures=beside is not None)
        if kind in CLOUD_KINDS:
            return parsed_points(path, content, kind)
        if kind in (".glb", ".gltf"):
            return parsed_gltf(path, content, looks=beside is not None)
        if kind in USD_KINDS:
            return parsed_usd(path, content)
        if kind == ".obj":
            return parsed_obj(content, beside)
        if kind == ".stl" and (found := _binary_stl(content)) is not None:
            return Parsed((Part(*found),))
        if kind == ".ply" and (part := _binary_ply(content)) is not None:
            return Parsed((part,))
        return _by_library(path, content, kind)
    except HeaderError as error:
        raise ScanError(path, error.text) from None
    except ScanError:
        raise
    except Exception:  # parsers of hostile files raise anything, and quote them
        raise ScanError(path, f"is no readable {kind[1:].upper()} file; export it again.") from None


def _zipped(path: Path, content: bytes, *, textures: bool) -> Parsed:
    """Read the one scan in a ZIP; archives in it stay shut."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        entries = archive.infolist()
        hidden = ("__MACOSX", ".")
        names = [e.filename for e in entries if not Path(e.filename).name.startswith(".")]
        names = [name for name in names if not name.startswith(hidden)]
        known = {*MESH_KINDS, *CLOUD_KINDS} - {".zip"}
        scans = [n for n in names if Path(n).suffix.lower() in known]
        texts = (".txt", ".csv")
        scans = [n for n in scans if Path(n).suffix.lower() not in texts] or scans
        if len(scans) != 1:
            told = f"{len(scans)} scans ({', '.join(scans[:5])})" if scans else "no scan itself"
            raise ScanError(path, f"holds {told}; unpack it and name the one to weigh.")
        with tempfile.TemporaryDirectory() as folder:
            archive.extractall(folder)
            inner = Path(folder) / scans[0]
            try:
                return _parsed(inner, inner.read_bytes(), OwnFolder(inner) if textures else None)
            except ScanError as error:
                raise ScanError(path, f"{scans[0]} in it {error.problem}") from None


def _binary_stl(content: bytes) -> tuple[Floats, Indices] | None:
    """Read a binary STL; None where the length says it is a text one."""
    if len(content) < 84:
        return None
    count = int.from_bytes(content[80:84], "little")
    if content[:5].lower() == b"solid" and b"facet" in content[:2000]:
        return None
    if len(content) < 84 + 50 * count or count == 0:
        held = f"{count} faces and holds {(len(content) - 84) // 50}"
        raise HeaderError(f"promises {held}; export it again.")
    record = np.dtype([("normal", "<3f4"), ("corners", "<9f4"), ("attribute", "<u2")])
    corners = np.frombuffer(content, record, count, 84)["corners"]
    vertices = corners.reshape(-1, 3).astype(np.float64)
    return vertices, np.arange(3 * count, dtype=np.int64).reshape(-1, 3)


def _binary_ply(content: bytes) -> Part | None:
    """Read a binary PLY of plain vertices and triangles; None for any other PLY."""
    end = re.search(rb"^end_header *\r?\n", content, re.MULTILINE)
    if end is None:
        return None
    header = content[: end.start()].decode("ascii", errors="replace").splitlines()
    offset = end.end()
    if any(line.split()[:2] == ["element", "tristrips"] for line in header):
        raise HeaderError("holds strips of triangles; export it as single triangles.")
    order = {"binary_little_endian": "<", "binary_big_endian": ">"}.get(
        next((line.split()[1] for line in header if line.startswith("format")), "")
    )
    elements = _ply_elements(header)
    if order is None or not elements or elements[0][0] != "vertex":
        return None
    _, count, properties = elements[0]
    if any(kind.startswith("list") for _, kind in properties):
        return None
    record = np.dtype([(name, order + PLY_TYPES[kind]) for name, kind in properties])
    table = np.frombuffer(content, record, count, offset)
    vertices = np.column_stack([table[axis].astype(np.float64) for axis in "xyz"])
    offset += count * record.itemsize
    if len(elements) == 1 or elements[1][1] == 0:
        return Part(vertices, NO_FACES)
    names = ("red", "green", "blue")
    coloured = {*names} <= {name for name, _ in properties} and table["red"].dtype == np.uint8
    colours = np.column_stack([table[name] for name in names]) if coloured else None
    name, count, properties = elements[1]
    if name != "face" or len(properties) != 1 or not properties[0][1].startswith("list"):
        return None
    _, size, index = properties[0][1].split()
    kinds = np.dtype(order + PLY_TYPES[size]), np.dtype(order + PLY_TYPES[index])
    record = np.dtype([("n", kinds[0]), ("v", kinds[1], 3)])
    if count * record.itemsize <= len(content) - offset:
        corners = np.frombuffer(content, record, count, offset)
        if (corners["n"] == 3).all():
            return Part(vertices, corners["v"].astype(np.int64), colours=colours)
    return Part(vertices, _polygons(content[offset:], count, *kinds), colours=colours)


def _polygons(content: bytes, count: int, size: np.dtype[Any], index: np.dtype[Any]) -> Indices:
    """Cut the faces of a binary PLY, each with any number of corners, into triangles."""
    rings, at = list[NDArray[Any]](), 0
    for _ in range(count):
        corners = int(np.frombuffer(content, size, 1, at)[0])
        if corners * index.itemsize > len(content) - at - size.itemsize:
            raise HeaderError("ends amid its faces; export it again.")
        rings.append(np.frombuffer(content, index, corners, at + size.itemsize))
        at += size.itemsize + corners * index.itemsize
    return np.concatenate(rings)[fans(np.array(list(map(len, rings))))].astype(np.int64)


def _ply_elements(header: list[str]) -> list[tuple[str, int, list[tuple[str, str]]]]:
    """List the elements of a PLY header: name, count, and (name, type) of each property."""
    elements: list[tuple[str, int, list[tuple[str, str]]]] = []
    for line in header:
        words = line.split()
        if words[:1] == ["element"]:
            elements.append((words[1], int(words[2]), []))
        elif words[:2] == ["property", "list"]:
            elements[-1][2].append((words[4], " ".join(words[1:4])))
        elif words[:1] == ["property"]:
            elements[-1][2].append((words[2], words[1]))
    return elements


def _by_library(path: Path, content: bytes, kind: str) -> Parsed:
    """Read by trimesh, which opens nothing but what it is given."""
    import logging

    import trimesh

    logging.getLogger("trimesh").setLevel(logging.CRITICAL)  # it prints what it goes on without
    if kind == ".dae":
        needed(path, "collada", "GLB, OBJ or PLY")
    scene = trimesh.load_scene(io.BytesIO(content), file_type=kind[1:], process=False)
    found = [p for p in scene.dump() if isinstance(p, (trimesh.Trimesh, trimesh.PointCloud))]
    if not found:
        problem = f"is no readable {kind[1:].upper()} file: no surface and no points in it."
        raise ScanError(path, f"{problem} Export it again.")
    parts = tuple(
        Part(
            np.asarray(part.vertices, dtype=np.float64),
            np.asarray(part.faces, dtype=np.int64)
            if isinstance(part, trimesh.Trimesh)
            else NO_FACES,
            colours=_corner_colours(part.visual),
        )
        for part in found
    )
    if kind == ".dae":
        return Parsed(parts, *_dae_frame(content))
    return Parsed(parts, THREE_MF_UNITS.get(str(scene.units)) if kind == ".3mf" else None)


def _corner_colours(looks: Any) -> Floats | None:
    """Give the colours of corners that trimesh read, (n, 3); None where it read none."""
    if looks.kind != "vertex" or not len(looks.vertex_colors):
        return None
    return np.asarray(looks.vertex_colors, dtype=float)[:, :3]


def _dae_frame(content: bytes) -> tuple[float | None, str]:
    """Find the unit [m] and the up axis that a COLLADA file states."""
    unit = re.search(rb"""<(?:\w+:)?unit\b[^>]*\bmeter\s*=\s*["']\s*([0-9.eE+-]+)""", content)
    up = re.search(rb"up_axis>\s*([XYZ])_UP", content)
    return (float(unit[1]) if unit else None), (up[1].decode().lower() if up else "y")


def _check_arrays(path: Path, vertices: Floats, faces: Indices) -> None:
    """Refuse what no measurement can use."""
    if vertices.ndim != 2 or vertices.shape[1:] != (3,) or len(vertices) < 4:
        raise ScanError(path, "holds fewer than four points; scan it again.")
    most = raised(MOST_FACES)
    if len(faces) > most or len(vertices) > 3 * most:
        problem = f"has over {most // 10**6} million faces; thin it out, or raise <limits>."
        raise ScanError(path, problem)
    if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
        raise ScanError(path, "has faces that point at missing corners; export it again.")
    finite = np.isfinite(vertices).all(axis=1)
    if not finite.all():
        bad = int(np.argmin(finite))
        count = int((~finite).sum())
        problem = f"corner {bad} is {vertices[bad]}; {count} are not finite. Export it again."
        raise ScanError(path, problem)
    if float(np.abs(vertices).max()) > 1e12:
        raise ScanError(path, "has coordinates beyond all measure; export it again.")


def _scale(
    path: Path, vertices: Floats, ruler: Ruler, own_unit: float | None
) -> tuple[float, str, bool]:
    """Find the size of the file's unit [m], say where it comes from and whether it is known."""
    longest = longest_side(vertices)
    if longest <= 0:
        raise ScanError(path, "all its points lie in one place; scan it again.")
    known = ruler.measured
    spelt = "" if ruler.unit is None else ruler.unit.strip().lower()
    unit = own_unit if ruler.unit is None else SPELT.get(spelt, SPELT.get(spelt.removesuffix("s")))
    if ruler.unit is not None and unit is None:
        raise ScanError(path, f"unit {ruler.unit!r} is not one of {', '.join(UNITS)}.")
    thing = ruler.known
    if thing and thing.kind != "sheet" and not SCENE[0] < longest * (unit or 0) < SCENE[1]:
        return SCENE[2] / longest, f"the {thing.name} in view sets the scale", True
    likely = [u for u, (least, most) in LIKELY.items() if least <= longest * UNITS[u] <= most]
    if unit is not None:
        size = longest * unit
        if not known and not LEAST_PIECE <= size <= LARGEST_PIECE:
            named = f'"{ruler.unit}"' if ruler.unit else f"units of {unit:g} m, as its format says"
            sizes = (f"<unit {u}> (<{longest * UNITS[u] * 1e2:.1f} cm>)" for u in likely)
            better = next(sizes, "<unit>")
            raise ScanError(path, f"would be {size:.3g} m long in {named}; give {better}.")
        declared = f"{ruler.unit}, as declared"
        return unit, f"unit {declared if ruler.unit else f'{unit:g} m, as its format says'}", True
    if known and len(likely) != 1:
        return known / longest, "unit unknown; the measured length sets the scale", False
    if not likely:
        problem = (
            f"its longest side is {longest:.4g}, which fits no stone in m, cm, mm or in; "
            "give <unit> or a known length with <longest>."
        )
        raise ScanError(path, problem)
    judged = [f"<{longest * UNITS[u] * 1e2:.1f} cm> if {u}" for u in likely]
    if len(likely) > 1:
        problem = (
            f"its longest side is {longest:.4g} without a unit: {', or '.join(judged)}. "
            "Say which with <unit>, or give a measured length with <longest>."
        )
        raise ScanError(path, problem)
    said = f"unit judged {likely[0]} from its size ({judged[0]}); <unit> corrects it"
    return UNITS[likely[0]], said, True
