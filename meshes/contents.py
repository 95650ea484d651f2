"""The content of a scan file, where in the user's cache results of it are kept, and its seal."""

import contextlib
import hashlib
import hmac
import json
import os
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path

from plumbstone.meshes.folders import cache_folder

# Formats that hold all in one file; what others refer to could change unseen.
ONE_FILE = frozenset(
    (
        ".stl", ".ply", ".off", ".glb", ".3mf", ".obj", ".xyz", ".usdz", ".zip",
        ".las", ".laz", ".e57", ".pcd", ".pts",
    )
)  # fmt: skip
LARGE, MOST_STATES = 1_000_000, 2000  # [bytes] of a scan whose state is kept, and of how many
SETTLED = 2.0  # [s] after a change: before that, another one may bear the same time
LARGEST = 1_000_000_000  # [bytes] of a scan whose content is looked at


def content_digest(path: Path, *options: str) -> str | None:
    """Tell one content of a scan, read with these options by this code, from any other.

    None where nothing should be kept of it: other files count too, or it is very large.
    """
    if path.suffix.lower() not in ONE_FILE or not path.is_file():
        return None
    try:
        if path.stat().st_size > LARGEST:
            return None
        own = _own_digest(path)
    except OSError:
        return None
    told = [own, path.suffix.lower(), *options, code_digest(Path(__file__).parent)]
    return digest_of(json.dumps(told).encode())


def _own_digest(path: Path) -> str:
    """Tell the bytes of a file; a large one is not read again while its state is the same.

    Its place on the disk and the time of its last change, which no program can set, are in it.
    """
    state = _state_of(path)
    folder = cache_folder("states") if path.stat().st_size > LARGE else None
    if folder is None:
        return digest_of(path.read_bytes())
    place = folder / digest_of(json.dumps([str(path.resolve()), *state]).encode())
    with contextlib.suppress(OSError, ValueError):
        known = place.read_text("ascii")
        if len(known) == 40 and int(known, 16):
            return known
    found = digest_of(path.read_bytes())
    with contextlib.suppress(OSError):
        if _state_of(path) == state and time.time() - max(state[:2]) / 1e9 > SETTLED:
            folder.mkdir(parents=True, exist_ok=True)
            place.write_text(found, "ascii")
            forget_oldest(folder, "*", MOST_STATES, lambda _: 1.0)
    return found


def _state_of(path: Path) -> list[int]:
    """Give the times of the last changes of a file [ns], its size and where it lies."""
    state = path.stat()
    return [state.st_mtime_ns, state.st_ctime_ns, state.st_size, state.st_dev, state.st_ino]


def digest_of(content: bytes) -> str:
    """Digest of some bytes, 40 hexadecimal digits."""
    return hashlib.blake2b(content, digest_size=20).hexdigest()


def file_stamp(path: Path) -> tuple[int, int] | None:
    """Tell one state of a file from another: time of its last change [ns] and size [bytes].

    None where it cannot be looked at.
    """
    try:
        state = path.stat()
    except OSError:
        return None
    return state.st_mtime_ns, state.st_size


def forget_oldest(
    folder: Path, pattern: str, most: float, cost: Callable[[os.stat_result], float]
) -> None:
    """Remove the oldest files of a folder whose names fit, until the costs of the rest fit [bytes].

    Raises
    ------
    OSError
        If one cannot be looked at or removed.
    """
    found = ((entry.stat(), entry) for entry in folder.glob(pattern))
    newest = sorted(
        ((state.st_mtime_ns, cost(state), entry) for state, entry in found), reverse=True
    )
    whole = 0.0
    for _, spent, entry in newest:
        whole += spent
        if whole > most:
            entry.unlink(missing_ok=True)


def kept_place(path: Path, kind: str, ending: str, *options: str) -> Path | None:
    """Where results of one kind are kept of this content of a scan; None where nothing is."""
    folder = cache_folder(kind)
    digest = None if folder is None else content_digest(path, *options)
    return None if folder is None or digest is None else folder / f"{digest}{ending}"


def seal_of(content: bytes) -> str | None:
    """Sign a content with a secret of this user, by which their own files are known again.

    None where they have no place of their own for the secret.
    """
    place = cache_folder("seal")
    if place is None:
        return None
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as stream:
                stream.write(os.urandom(32))
        secret = place.read_bytes()
    except OSError:
        return None
    return hmac.new(secret, content, "sha256").hexdigest() if len(secret) == 32 else None


@cache
def code_digest(*rooms: Path) -> str:
    """Digest of all code below some folders, so that a new version starts anew."""
    digest = hashlib.blake2b(digest_size=20)
    for room in rooms:
        for folder, _, names in sorted(os.walk(room)):
            for name in sorted(names):
                if not name.endswith((".pyc", ".so")):
                    digest.update(Path(folder, name).read_bytes())
    return digest.hexdigest()
