"""The served folder: its scape files and the stock, and nothing outside of it."""

import tomllib
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from plumbstone.cli.documents import RESULTS
from plumbstone.cli.files import put_whole, write_new
from plumbstone.cli.pictures.colours import STONE, colour_of
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.scape.materials import load_materials
from plumbstone.volumes.scape.scape import LARGEST_FILE, us_by
from plumbstone.volumes.scape.writing import free_name, with_added, without

STOCK = "stock"  # folder of kept pieces
LIST = "stock.toml"


class FolderError(PlumbstoneError, ValueError):
    """Something that the served folder does not hold, or must not reach."""


@dataclass(frozen=True, slots=True)
class Kept:
    """One stone or piece of wood in the stock."""

    name: str
    kind: str
    material: str
    kilograms: tuple[float, float, float]  # low, middle, high
    size: tuple[float, ...]  # [m]
    price: float | None  # per kilogram
    mass: str  # as weighed on the till, empty where it was not
    scan: str  # file in the stock folder, empty for a piece by size
    trust: str

    @property
    def colour(self) -> str:
        """Give the colour of its material; that of stone where the list names an unknown one."""
        found = load_materials().get(self.material)
        return colour_of(found) if found else STONE


@dataclass(frozen=True, slots=True)
class Folder:
    """The folder that is served."""

    root: Path

    def scapes(self) -> list[str]:
        """List the scape files in it."""
        return sorted(
            path.name
            for path in self.root.glob("*.toml")
            if path.is_file() and not path.is_symlink() and path.name != LIST
        )

    def scape(self, name: str) -> Path:
        """Find a scape file by its name.

        Raises
        ------
        FolderError
            If there is none of that name in the folder itself.
        """
        if name not in self.scapes():
            raise FolderError("There is no such tank in this folder.")
        return self.root / name

    def units_of(self, name: str) -> Units:
        """Give the units in which a scape file gives its tank; metric where it cannot be read."""
        return Units.US if us_by(self.scape(name)) else Units.METRIC

    def new_tank(self, wanted: str, text: str) -> str:
        """Write a new scape file under a name that is free; give its name."""
        taken = [path.stem for path in self.root.glob("*.toml")]
        name = f"{free_name(_plain(wanted) or 'tank', taken)}.toml"
        write_new(self.root / name, text.encode())
        return name

    def results_of(self, name: str) -> Path:
        """Name the folder for the results of a scape file."""
        return self.root / f"{self.scape(name).stem}-plan"

    def result_of(self, name: str, file: str) -> Path | None:
        """Find one result of a scape file, where it was written."""
        if file not in RESULTS:
            return None
        path = self.results_of(name) / file
        inside = path.resolve().is_relative_to(self.root.resolve())
        return path if inside and path.is_file() and not path.is_symlink() else None

    def keep_version(self, name: str, version: str, text: str) -> str:
        """Write a text as a version of a scape file; give the name of the new file.

        Raises
        ------
        WriteError
            If there is a file of that name.
        """
        plain = _plain(version)
        if not plain:
            raise FolderError("Give the version a name of letters or digits.")
        new = f"{self.scape(name).stem}, {plain}.toml"
        write_new(self.root / new, text.encode())
        return new

    def kept(self) -> list[Kept]:
        """List what the stock holds, as it was kept."""
        rows = _tables(self._list()).get("kept", [])
        try:
            return [_kept(row) for row in rows]
        except (KeyError, TypeError, ValueError, AttributeError):
            problem = f"{STOCK}/{LIST} holds a piece that is not whole; mend it in an editor."
            raise FolderError(problem) from None

    def keep(self, found: Mapping[str, Any], mesh: bytes | None) -> str:
        """Put a piece into the stock; `found` holds the keys of its row. Give its name."""
        folder, text = self._stock(), self._list()
        folder.mkdir(exist_ok=True)
        name = free_name(str(found["name"]), [kept.name for kept in self.kept()])
        row = {**found, "name": name}
        stem = _file_stem(name)
        if mesh is not None:
            put_whole(folder / f"{stem}.ply", mesh)
            row["scan"] = f"{STOCK}/{stem}.ply"
        put_whole(folder / LIST, with_added(text, "kept", row).encode())
        return name

    def keep_picture(self, name: str, picture: bytes) -> None:
        """Put the picture of a kept piece beside it."""
        put_whole(self._stock() / f"{_file_stem(name)}.png", picture)

    def drop(self, name: str) -> None:
        """Take a piece out of the list; its files stay."""
        put_whole(self._stock() / LIST, without(self._list(), "kept", name).encode())

    def picture_of(self, name: str) -> Path | None:
        """Find the picture of a kept piece."""
        if name not in [kept.name for kept in self.kept()]:
            return None
        path = self._stock() / f"{_file_stem(name)}.png"
        return path if path.is_file() and not path.is_symlink() else None

    def _stock(self) -> Path:
        """Give the folder of the stock; a link out of the served folder is none."""
        path = self.root / STOCK
        if path.is_symlink():
            raise FolderError(f"{STOCK} is a link; make it a folder.")
        return path

    def _list(self) -> str:
        """Read the list of the stock; empty where there is none."""
        path = self._stock() / LIST
        if path.is_symlink():
            raise FolderError(f"{STOCK}/{LIST} is a link; put the list itself there.")
        return path.read_bytes().decode() if path.is_file() else "# Stones and wood in stock.\n"


def _plain(name: str) -> str:
    """Leave only what a file's name may hold everywhere."""
    kept = "".join(c if c.isalnum() or c in " -_" else " " for c in name)
    return " ".join(kept.split())[:60].strip()


def _kept(row: Mapping[str, Any]) -> Kept:
    low, mid, high = (float(v) for v in row["kilograms"])
    return Kept(
        name=str(row["name"]),
        kind=str(row.get("kind", "stone")),
        material=str(row["material"]),
        kilograms=(low, mid, high),
        size=tuple(float(v) for v in row.get("size_m", ())),
        price=None if row.get("price") is None else float(row["price"]),
        mass=str(row.get("mass", "")),
        scan=str(row.get("scan", "")),
        trust=str(row.get("trust", "")),
    )


def _tables(text: str) -> dict[str, Any]:
    """Read TOML, with one plain message for what can go wrong."""
    if len(text) > LARGEST_FILE:
        raise FolderError("This file is over 2 MB; a scape file is a page of text.")
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FolderError(f"This file is not valid TOML: {error}.") from None


def _file_stem(name: str) -> str:
    """Give the start of a file's name: letters and digits of a piece's name, and its checksum."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower())[:40]
    return f"{plain.strip('-') or 'piece'}-{zlib.crc32(name.encode()):08x}"
