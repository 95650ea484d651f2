"""Answers kept in the user's cache, so that a second run on the same files is instant."""

import contextlib
import json
import os
import time
from collections.abc import Callable, Iterable, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from plumbstone.meshes.contents import (
    LARGEST,
    ONE_FILE,
    code_digest,
    digest_of,
    file_stamp,
    forget_oldest,
)
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.folders import cache_folder

OWN = [
    Path(__file__).parent.parent / room for room in ("meshes", "volumes", "cli")
]  # make an answer
USED = ("numpy", "scipy", "highspy")  # libraries whose version may change its last digits
ALONE = ONE_FILE | {".toml", ".csv", ".png", ".jpg", ".jpeg", ".tif", ".tiff"}  # name no others
MOST_KEPT = 500  # answers; the oldest go first
JUST_NOW = 0.1  # [s] before a run began: what changed since may have been read before it did


def kept_answer(
    path: Path, question: Sequence[str], make: Callable[[], tuple[Any, Sequence[Path]]]
) -> Any:
    """Give the answer that was kept if all is as it was then; else make it, and keep it.

    There is one for each file and question, which command with which options; it is replaced where
    the state of the files that it was made of is another.
    """
    folder, asked = cache_folder("answers"), json.dumps([str(path.absolute()), *question])
    place = None if folder is None else folder / f"{digest_of(asked.encode())}.json"
    match recalled(place):
        case {"files": files, "state": state, "answer": kept} if state == _state(map(Path, files)):
            return kept
    began = time.time()
    answer, files = make()
    if place is not None:
        _keep(place, answer, files, began)
    return answer


def _keep(place: Path, answer: Any, files: Sequence[Path], began: float) -> None:
    """Keep an answer and the files it was made of; not if one changed since it began [s]."""
    try:
        times = [max(s.st_mtime, s.st_ctime) for s in map(os.stat, files)]
    except OSError:
        return
    state = _state(files) if max(times) < began - JUST_NOW else None
    if state is not None:
        names = [str(path.absolute()) for path in files]
        remembered(place, {"files": names, "state": state, "answer": answer})
        with contextlib.suppress(OSError):
            forget_oldest(place.parent, "*.json", MOST_KEPT, lambda _: 1)


def recalled(place: Path | None) -> Any:
    """Give what was kept at a place; None where nothing was, or it is damaged."""
    try:
        digest, text = place.read_text(encoding="utf-8").split("\n", 1) if place else ("", "")
        return json.loads(text) if digest == digest_of(text.encode()) else None
    except (OSError, ValueError):
        return None


def remembered(place: Path | None, value: Any) -> None:
    """Keep a value at a place for a later run; a disk that refuses is no error."""
    from plumbstone.cli.files import put_whole

    if place is None:
        return
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        text = json.dumps(value)
        put_whole(place, f"{digest_of(text.encode())}\n{text}".encode())
    except (OSError, PlumbstoneError):
        return


def _state(files: Iterable[Path]) -> str | None:
    """Tell one state of some files, of this program and of what is set for it from any other.

    None where one of them is missing, very large or names others, which could change unseen.
    """
    told = [f"{k}={v}" for k, v in sorted(os.environ.items()) if k.startswith("PLUMBSTONE_")]
    try:
        for path in files:
            plain = path.is_file() and path.stat().st_size <= LARGEST
            if path.suffix.lower() not in ALONE or not plain:
                return None
            told.append(digest_of(path.read_bytes()))
        told += [code_digest(*OWN), *(str(file_stamp(_home(name))) for name in USED)]
    except OSError:
        return None
    return digest_of(json.dumps(told).encode())


def _home(library: str) -> Path:
    """File that a library begins with; it is written anew with each version."""
    found = find_spec(library)
    return Path(found.origin if found and found.origin else "")
