"""The content of a scan file, where in the user's cache results of it are kept, and its seal."""

import contextlib
import hashlib
import hmac
import json
import os
import stat
import tempfile
from functools import cache
from pathlib import Path

# Formats that hold all in one file; what others refer to could change unseen.
ONE_FILE = frozenset(
    (
        ".stl", ".ply", ".off", ".glb", ".3mf", ".obj", ".xyz", ".usdz", ".zip",
        ".las", ".laz", ".e57", ".pcd", ".pts",
    )
)  # fmt: skip
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
        digest = hashlib.blake2b(path.read_bytes(), digest_size=20)
    except OSError:
        return None
    digest.update(json.dumps([path.suffix.lower(), *options, _method()]).encode())
    return digest.hexdigest()


def cache_folder(name: str) -> Path | None:
    """Folder of the user's cache for one kind of results; it may not exist yet.

    None where the user has no home of their own: what others could write is not believed.
    """
    root = Path(os.environ.get("XDG_CACHE_HOME", ""))
    if not root.is_absolute():
        home = Path(os.environ.get("HOME", ""))
        if not (home.is_absolute() and home.is_dir()):
            return None
        root = home / ".cache"
    return root / "plumbstone" / name


def set_library_caches() -> None:
    """Name a place for the fonts that matplotlib lists, where the user has no home for it.

    Left alone, it would make a folder called ``~``, warn, or refuse to start.
    """
    home = os.environ.get("HOME", "")
    if Path(home).is_absolute() and os.access(home, os.W_OK):
        return
    os.environ.setdefault("MPLCONFIGDIR", str(_private_folder() / "matplotlib"))


def _private_folder() -> Path:
    """Give a folder for temporary files that no other user could have put something into."""
    cache = cache_folder("libraries")
    user = os.getuid() if hasattr(os, "getuid") else 0
    for folder in filter(None, (cache, Path(tempfile.gettempdir()) / f"plumbstone-{user}")):
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            state = folder.lstat()
        except OSError:
            continue
        own = stat.S_ISDIR(state.st_mode) and state.st_uid == user and not state.st_mode & 0o022
        if own and os.access(folder, os.W_OK):
            return folder
    return Path(tempfile.mkdtemp(prefix="plumbstone-"))


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
def _method() -> str:
    """Digest of the code that turns a scan into a volume, so that a new version starts anew."""
    digest = hashlib.blake2b(digest_size=8)
    for source in sorted(Path(__file__).parent.rglob("*.py*")):
        if source.suffix in (".py", ".pyx"):
            digest.update(source.read_bytes())
    return digest.hexdigest()
