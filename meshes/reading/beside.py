"""Which files another file may name: those beside and below it, and in folders the user trusts."""

import os
import stat
from collections.abc import Iterable
from pathlib import Path

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.telling import TRUST


class OutsideError(PlumbstoneError, ValueError):
    """A file that may not be read on the word of another file."""


def file_beside(folder: Path, name: str) -> Path:
    """Give the place of a file that another one names.

    Its name is relative to the folder of the one that names it; it lies beside or below that, links
    followed, or inside a trusted folder, and may not exist.

    Raises
    ------
    OutsideError
        If it leads elsewhere, or to a device or a pipe; the message begins after the name.
    """
    if "\0" in name or len(name) > 4096:
        raise OutsideError("is no name that a file can have.")
    path = folder / name
    own = not Path(name).anchor and ".." not in Path(name).parts
    trusted = (Path(part) for part in os.environ.get(TRUST, "").split(os.pathsep) if part)
    roots = [*([folder] if own else []), *trusted]
    try:
        real = path.resolve()
        inside = any(real.is_relative_to(root.resolve()) for root in roots)
        plain = not inside or not real.exists() or stat.S_ISREG(real.stat().st_mode)
    except (OSError, RuntimeError):  # links in a ring, a name too long
        raise OutsideError("is no name that a file can have.") from None
    if not inside:
        problem = "lies neither beside nor below the file that names it; move it there, or give"
        raise OutsideError(f"{problem} its folder to <trust> if you know where it comes from.")
    if not plain:
        raise OutsideError("is no plain file.")
    return path


def trust(folders: Iterable[Path] | None) -> None:
    """Trust folders from here on, in child processes too."""
    earlier = os.environ.get(TRUST, "")
    names = [str(folder.absolute()) for folder in folders or ()]
    os.environ[TRUST] = os.pathsep.join(filter(None, [earlier, *names]))
