"""Reading OBJ fast, with its texture where that is asked for."""

import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from typing import Any, Protocol

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats, Indices
from plumbstone.meshes.reading.headers import HeaderError
from plumbstone.meshes.reading.parts import NO_FACES, Parsed, Part, fans

MOST_UNUSED = 0.05  # share of the corners that no face uses; scans have none
LONGEST_LINE = 100_000  # [bytes]: a face of ten thousand corners


class Beside(Protocol):
    """Gives the files beside the OBJ by their names."""

    def __getitem__(self, name: str) -> bytes: ...


def parsed_obj(content: bytes, beside: Beside | None = None) -> Parsed:
    """Read corners and faces of an OBJ; with `beside` also texture coordinates and pictures."""
    content = content.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ")
    lines = [line.strip() for line in content.splitlines()]
    if content.count(b"#") > content.count(b"\n#") + content.startswith(b"#"):
        lines = [x.partition(b"#")[0] if x[:1] in b"vf" else x for x in lines]
    if any(b"-" in x for x in lines if x[:1] == b"f"):
        lines = list(_counted_from_first(lines))
    if any(len(x) > LONGEST_LINE and x[:1] in (b"v", b"f") for x in lines):
        raise HeaderError("has a line of a hundred thousand signs; export it as triangles.")
    corners = [x[2:] for x in lines if x[:2] in (b"v ", b"v\t")]
    coloured = beside is not None and bool(corners) and len(corners[0].split()) == 6
    vertices, colours = _numbers(corners, 6 if coloured else 3), None
    if coloured:  # red, green and blue behind each place, 0 to 1, as many programs write them
        vertices, colours = vertices[:, :3], vertices[:, 3:] * 255
    rows = [x[2:] for x in lines if x[:2] in (b"f ", b"f\t")]
    if not rows:
        if not _ended(content) or any(x.startswith((b"vt", b"usemtl")) for x in lines):
            raise HeaderError("was cut off before its faces, or has none; export it again.")
        return Parsed((Part(vertices, NO_FACES),))
    faces = _corners(rows, 0)
    _check_whole(content, rows, faces, len(vertices))
    if beside is None or not any(x.startswith(b"vt") for x in lines):
        return Parsed((Part(vertices, faces, colours=colours),))
    return Parsed(tuple(_textured(lines, vertices, beside)))


def _counted_from_first(lines: list[bytes]) -> Iterator[bytes]:
    """Write the corners of faces that are counted back from there as counted from the first."""
    seen = {b"v": 0, b"vt": 0, b"vn": 0}
    for line in lines:
        kind, *words = line.split() or [b""]
        if kind in seen:
            seen[kind] += 1
        if kind == b"f" and b"-" in line:
            counts = seen.values()
            corners = (zip(word.split(b"/"), counts, strict=False) for word in words)
            line = b"f " + b" ".join(b"/".join(map(_from_first, c)) for c in corners)
        yield line


def _from_first(field: tuple[bytes, int]) -> bytes:
    """One number of a corner, counted from the first of all that came before."""
    number, count = field
    return str(int(number) + count + 1).encode() if number.startswith(b"-") else number


def _check_whole(content: bytes, rows: list[bytes], faces: Indices, count: int) -> None:
    """Refuse an OBJ that ends amid its faces, which follow its corners."""
    used = np.zeros(count, dtype=bool)
    used[faces[(faces >= 0) & (faces < count)]] = True
    unused = count - int(used.sum())
    most = 10 + MOST_UNUSED * count if _ended(content) else 0
    if len(rows[-1].split()) < 3 or unused > most:
        problem = f"{unused} of its {count} corners are in no face: it was cut off, or"
        raise HeaderError(f"{problem} holds more than a scan. Export it again.")


def _ended(content: bytes) -> bool:
    """Tell whether the last line is a whole one."""
    return content[-1:] in (b"\n", b"\r")


def _numbers(rows: list[bytes], width: int) -> Floats:
    """Numbers at the start of each line, (n, width)."""
    if not rows:
        return np.empty((0, width))
    flat = np.array(b" ".join(rows).split(), dtype=np.float64)
    wide = len(flat) // len(rows)
    if wide * len(rows) == len(flat) and wide >= width and len(rows[0].split()) == wide:
        return flat.reshape(-1, wide)[:, :width]
    return np.array([row.split()[:width] for row in rows], dtype=np.float64)


def _corners(rows: list[bytes], field: int) -> Indices:
    """One field of each corner of each face, polygons cut into fans, (m, 3); counted from 0."""
    text = b"\n".join(rows)
    if field == 0:
        text = re.sub(rb"/[^\s]*", b"", text)
    else:
        text = re.sub(rb"[^\s/]+/([^\s/]*)(?:/[^\s]*)?", rb"\1", text)
    flat = np.array(text.split(), dtype=np.int64) - 1
    if len(flat) == 3 * len(rows) and text.count(b"\n") == len(rows) - 1:
        sizes = {len(row.split()) for row in rows[:100]}
        if sizes == {3}:
            return flat.reshape(-1, 3)
    return flat[fans(np.array([len(line.split()) for line in text.split(b"\n")]))]


def _textured(lines: list[bytes], vertices: Floats, beside: Beside) -> list[Part]:
    """Make a part for each material, with its picture."""
    coordinates = _numbers([x[3:] for x in lines if x[:3] == b"vt "], 2)
    pictures: dict[bytes, bytes] = {}
    groups: dict[bytes, list[bytes]] = {}
    rows = groups[b""] = []
    for line in lines:
        if line[:2] == b"f ":
            rows.append(line[2:])
        elif line[:6] == b"mtllib":
            pictures |= _pictures(line[6:].strip().decode(errors="replace"), beside)
        elif line[:6] == b"usemtl":
            rows = groups.setdefault(line[6:].strip(), [])
    parts = []
    for material, rows in groups.items():
        if not rows:
            continue
        faces = _corners(rows, 0)
        mapped = material in pictures and all(b"/" in row for row in rows[:3])
        uv = coordinates[_corners(rows, 1)] if mapped else None
        parts.append(Part(vertices, faces, uv, pictures.get(material) if mapped else None))
    return parts


def _pictures(library: str, beside: Beside) -> Mapping[bytes, Any]:
    """Read the picture of each material in a library, as far as it is there."""
    found: dict[bytes, bytes] = {}
    name = b""
    with suppress(PlumbstoneError, KeyError):
        for line in beside[library].splitlines():
            words = line.strip().split(maxsplit=1)
            if len(words) == 2 and words[0] == b"newmtl":
                name = words[1]
            elif len(words) == 2 and words[0] == b"map_Kd":
                with suppress(PlumbstoneError, KeyError):
                    picture = words[1].split()[-1] if b" -" in b" " + words[1] else words[1]
                    found[name] = beside[picture.decode(errors="replace")]
    return found
