"""What a file of a scan holds, whatever its format."""

import importlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.limits import LARGEST_FILE, raised
from plumbstone.meshes.mending.solids import together
from plumbstone.meshes.piece import Floats, Indices

NO_FACES: Indices = np.empty((0, 3), dtype=np.int64)
PACKAGES = {
    "pxr": "usd-core", "DracoPy": "DracoPy", "meshopt": "meshopt", "laspy": "laspy lazrs",
    "pye57": "pye57", "collada": "pycollada", "cv2": "opencv-python-headless",
}  # fmt: skip


class ScanError(PlumbstoneError, ValueError):
    """A scan that cannot be read or measured; says which file, what and how to mend it."""

    def __init__(self, path: Path, problem: str) -> None:
        self.path, self.problem = path, problem
        super().__init__(f"{path}: {problem}")


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One mesh of a file, or a cloud of points."""

    vertices: Floats  # (n, 3) in the file's unit
    faces: Indices  # (m, 3); (0, 3) for a cloud
    uv: Floats | None = None  # (m, 3, 2) of each face's corners, v upward
    image: bytes | None = None  # the texture, an encoded picture
    colours: Floats | None = None  # (n, 3) red, green and blue of the corners, 0 to 255


@dataclass(frozen=True, slots=True, eq=False)
class Parsed:
    """All parts of a file, and what the format says of them."""

    parts: tuple[Part, ...]
    unit: float | None = None  # size of the file's unit [m]
    up: str = ""  # "y" or "z" where the format says so

    def joined(self) -> tuple[Floats, Indices]:
        """All corners [unit of file] and faces; points of clouds only where no part has faces."""
        meshes = [part for part in self.parts if len(part.faces)]
        if not meshes:
            return np.concatenate([part.vertices for part in self.parts]), NO_FACES
        if len(meshes) == 1:
            return meshes[0].vertices, meshes[0].faces
        return together([(part.vertices, part.faces) for part in meshes])


class OwnFolder:
    """The files beside a scan, and no others."""

    def __init__(self, path: Path) -> None:
        self.path, self.folder = path, path.parent.resolve()

    def __getitem__(self, name: str) -> bytes:
        wanted = (self.folder / name).resolve()
        if not wanted.is_relative_to(self.folder) or not wanted.is_file():
            raise ScanError(self.path, f"refers to {name!r}, which is not beside it.")
        if wanted.stat().st_size > raised(LARGEST_FILE):
            most = f"{raised(LARGEST_FILE) / 1e9:g} GB"
            raise ScanError(self.path, f"refers to {name!r}, which is over {most}.")
        return wanted.read_bytes()


def fans(counts: Indices) -> Indices:
    """Cut polygons of so many corners (n,) into triangles: places in the list of these, (m, 3)."""
    starts, number = np.cumsum(counts) - counts, np.maximum(counts - 2, 0)
    first = np.repeat(starts, number)
    within = np.arange(len(first)) - np.repeat(np.cumsum(number) - number, number)
    return np.column_stack([first, first + within + 1, first + within + 2])


def needed(path: Path, module: str, other: str) -> Any:
    """Import what only one format needs; say how to install it where it is absent."""
    try:
        return importlib.import_module(module)
    except ImportError:
        problem = (
            f"needs a package that is not installed: pip install {PACKAGES[module.split('.')[0]]} "
            f"(or plumbstone[formats]). Or export it as {other}."
        )
        raise ScanError(path, problem) from None
