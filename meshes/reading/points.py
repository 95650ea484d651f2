"""Reading point clouds: text of any kind, PCD, LAS and LAZ, E57."""

import io
import re
from pathlib import Path

import numpy as np

from plumbstone.meshes.piece import Floats
from plumbstone.meshes.reading.parts import NO_FACES, Parsed, Part, ScanError, needed

PCD_TYPES = {"F": "f", "I": "i", "U": "u"}
DECIMAL_COMMA = re.compile(r"-?\d+,\d+(e[-+]?\d+)?", re.IGNORECASE)


def parsed_points(path: Path, content: bytes, kind: str) -> Parsed:
    """Read the points of a cloud."""
    if kind == ".e57":  # metres by ASTM E2807
        return Parsed((Part(_e57(path), NO_FACES),), unit=1.0, up="z")
    if kind in (".las", ".laz"):
        return Parsed((Part(_las(path, content), NO_FACES),), up="z")
    points = _pcd(path, content) if kind == ".pcd" else _text(path, content, kind == ".pts")
    return Parsed((Part(points, NO_FACES),))


def _text(path: Path, content: bytes, counted: bool) -> Floats:
    """Read x y z of each line, where a header names them or else at its start."""
    text = content.decode("utf-8-sig", errors="replace").replace('"', "")
    lines = [line for line in text.splitlines() if line.strip()]
    if any(_has_decimal_commas(path, line) for line in lines[:50]):
        plain = [line.replace(",", ".").replace(";", " ") for line in lines]
    else:
        plain = [line.replace(",", " ").replace(";", " ") for line in lines]
    head = next((k for k, line in enumerate(plain) if _starts_with_numbers(line)), len(plain))
    counts = [line for line in plain if line.strip().isdecimal()] if counted else []
    at = _named_columns(lines[:head], len(plain[head].split()) if head < len(plain) else 0)
    lines = [line for line in plain[head:] if line.lstrip()[0] not in "#/" and line not in counts]
    if not lines:
        raise ScanError(path, "is a table of something else: no line begins with numbers x y z.")
    _check_whole(path, sum(map(int, counts)), len(lines))
    rows = [line.split()[: max(at) + 1] for line in lines]
    for number, row in enumerate(rows, 1):
        if len(row) <= max(at):
            problem = (
                f"row {number} holds {len(row)}, not x y z: no cloud, or cut off; export it again."
            )
            raise ScanError(path, problem)
    points: Floats = np.array([[row[k] for k in at] for row in rows], dtype=float)
    return points[np.isfinite(points).all(axis=1)]


def _named_columns(header: list[str], count: int) -> list[int]:
    """Find the columns that a header names x, y and z; the first three where none does."""
    for line in reversed(header):
        parted = next((sign for sign in ";,\t" if sign in line), None)
        names = [name.strip().lower() for name in line.lstrip("#/ ").split(parted)]
        if {"x", "y", "z"} <= {*names} and len(names) == count:
            return [names.index(axis) for axis in "xyz"]
    return [0, 1, 2]


def _check_whole(path: Path, promised: int, held: int) -> None:
    """Refuse a cloud that was cut off."""
    if promised > held:
        raise ScanError(path, f"promises {promised} points and holds {held}; export it again.")


def _has_decimal_commas(path: Path, line: str) -> bool:
    """Tell whether a line's commas are decimal: between semicolons, or numbers between blanks.

    Raises
    ------
    ScanError
        If commas part both the numbers and their decimals.
    """
    if line.count(";") > 1:
        if any("," in word and "." in word for word in line.split(";")):
            problem = "has commas and points in one number; write numbers without thousands signs."
            raise ScanError(path, problem)
        return "," in line
    words = line.split()[:3]
    if len(words) == 3:
        return all(DECIMAL_COMMA.fullmatch(word) for word in words)
    if "." not in line and re.fullmatch(r"-?\d+,\d+,-?\d+,\d+,-?\d+,\d+", line.strip()):
        problem = "has commas between numbers and in them; write points, or semicolons between."
        raise ScanError(path, problem)
    return False


def _starts_with_numbers(line: str) -> bool:
    """Tell whether a line begins with three numbers."""
    try:
        return len([float(word) for word in line.split()[:3]]) == 3
    except ValueError:
        return False


def _pcd(path: Path, content: bytes) -> Floats:
    """Read the x, y, z fields of a PCD, as text or binary."""
    end = content.index(b"\n", content.index(b"\nDATA") + 1)
    head = {
        words[0]: words[1:]
        for line in content[:end].decode("ascii", errors="replace").splitlines()
        if (words := line.split()) and not line.startswith("#")
    }
    names, count = head["FIELDS"], int(head["POINTS"][0])
    repeats = [int(n) for n in head.get("COUNT", ["1"] * len(names))]
    if head["DATA"][0] == "ascii":
        at = [sum(repeats[: names.index(axis)]) for axis in "xyz"]
        table: Floats = np.loadtxt(io.BytesIO(content[end:]), usecols=at, ndmin=2)
        _check_whole(path, count, len(table))
        return table[np.isfinite(table).all(axis=1)]
    if head["DATA"][0] != "binary":
        raise ScanError(path, "is a compressed PCD; export it as binary or ASCII PCD, or PLY.")
    kinds = [f"<{PCD_TYPES[t]}{s}" for t, s in zip(head["TYPE"], head["SIZE"], strict=True)]
    fields = zip(kinds, repeats, strict=True)
    record = np.dtype([(str(k), kind, (times,)) for k, (kind, times) in enumerate(fields)])
    _check_whole(path, count, (len(content) - end - 1) // record.itemsize)
    rows = np.frombuffer(content, record, count, end + 1)
    columns = [rows[str(names.index(axis))][:, 0].astype(float) for axis in "xyz"]
    points: Floats = np.column_stack(columns)
    return points[np.isfinite(points).all(axis=1)]


def _las(path: Path, content: bytes) -> Floats:
    """Read the points of a LAS or LAZ."""
    library = needed(path, "laspy", "PLY, E57 or XYZ")
    backend = library.LazBackend.Lazrs  # goes from point to point, and trusts no table of chunks
    try:
        cloud = library.read(io.BytesIO(content), laz_backend=backend)
    except BaseException as error:  # a panic of a library in Rust is no Exception
        if isinstance(error, (KeyboardInterrupt, SystemExit)):
            raise
        raise ScanError(path, "is no readable LAS or LAZ file; export it again.") from None
    return np.column_stack([np.asarray(cloud.x), np.asarray(cloud.y), np.asarray(cloud.z)])


def _e57(path: Path) -> Floats:
    """Read the points of all scans of an E57, each at its place."""
    library = needed(path, "pye57", "PLY, LAS or XYZ")
    file = library.E57(str(path))
    try:
        scans = [
            file.read_scan(k, ignore_missing_fields=True, transform=True)
            for k in range(file.scan_count)
        ]
    finally:
        file.close()
    axes = ("cartesianX", "cartesianY", "cartesianZ")
    return np.concatenate([np.column_stack([scan[axis] for axis in axes]) for scan in scans])
