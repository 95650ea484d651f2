"""Folders of the user's cache; what every command asks for, so that it loads nothing heavy."""

import os
import stat
from pathlib import Path


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
    import tempfile

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
