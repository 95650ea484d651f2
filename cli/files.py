"""Writing results so that they appear whole or not at all."""

import os
import tempfile
from pathlib import Path

from plumbstone.meshes.errors import PlumbstoneError


class WriteError(PlumbstoneError, OSError):
    """A result that could not be written; nothing was left behind."""

    def __init__(self, path: Path, reason: str) -> None:
        self.path = path
        super().__init__(f"{path}: cannot be written ({reason}); choose another place.")


def write_whole(path: Path, content: str | bytes, *, force: bool = True) -> None:
    """Write a file under a temporary name beside it, then rename it into place.

    Parameters
    ----------
    path : Path
        Where the file shall appear.
    content : str or bytes
        The whole of it; text is written as UTF-8.
    force : bool
        Whether a file of that name may be replaced.

    Raises
    ------
    WriteError
        If it exists and may not be replaced, or the disk refuses; no part of it is left.
    """
    data = content.encode() if isinstance(content, str) else content
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name[:40]}-", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(temporary).chmod(0o666 & ~_umask())
        if force:
            Path(temporary).replace(path)
        else:
            os.link(temporary, path)
    except FileExistsError:
        raise WriteError(path, "it exists already; --force replaces it") from None
    except OSError as error:
        raise WriteError(path, error.strerror or str(error)) from None
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it.

    Raises
    ------
    WriteError
        If the disk refuses, or a file of that name is in the way.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WriteError(folder, error.strerror or str(error)) from None


def plain_cell(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula."""
    return f"'{text}" if text[:1] in "=+-@\t\r" and text else text


def _umask() -> int:
    """Read the permission mask of this process."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
