"""Writing results: whole or not at all, and never over what is not the program's own.

A folder that results are written into keeps a list of them, `.plumbstone.json`: the name of each
and the digest of what was written. A file that the list doesn't know, or that was changed since,
is the user's. The list also holds a seed that names the temporary files of this folder, so that
those which a killed run left are told from anything else, and what scape file its results are of.
"""

import contextlib
import hashlib
import json
import os
import re
import secrets
import stat
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from plumbstone.meshes.errors import PlumbstoneError, shown

LIST = ".plumbstone.json"
LARGEST_LIST = 1_000_000  # [bytes]
PATIENCE = 30.0  # how long another run may hold the folder [s]


class WriteError(PlumbstoneError, OSError):
    """A result that could not be written; nothing was changed."""

    def __init__(self, path: Path, reason: str) -> None:
        self.path = path
        super().__init__(f"{path}: cannot be written ({reason}); choose another place.")


@dataclass(frozen=True, slots=True)
class Written:
    """What the program wrote into a folder: digests by name, and the seed of temporary names."""

    files: Mapping[str, tuple[str, ...]]
    seed: str
    of: str = ""  # the scape file, from the folder

    def part(self, number: int) -> str:
        """Name a temporary file of this folder."""
        return f".plumbstone-{self.seed}-{number}.part"

    def parts(self, folder: Path) -> list[Path]:
        """Find the temporary files of this folder."""
        mine = re.compile(rf"\.plumbstone-{self.seed}-[0-9]{{1,4}}\.part")
        with os.scandir(folder) as entries:
            return [
                folder / entry.name
                for entry in entries
                if mine.fullmatch(entry.name) and entry.is_file(follow_symlinks=False)
            ]

    def content(self) -> bytes:
        """Give the list as it is kept."""
        files = {name: list(digests) for name, digests in self.files.items()}
        kept = {"program": "plumbstone", "seed": self.seed, "of": self.of, "files": files}
        return json.dumps(kept).encode()


def write_files(
    folder: Path, contents: Mapping[str, bytes], *, inputs: Iterable[Path] = (),
    force: bool = False, of: Path | None = None,
) -> None:  # fmt: skip
    """Write files into a folder, made if missing: all of them, or none.

    Parameters
    ----------
    folder : Path
        No other file in it is touched.
    contents : mapping of str to bytes
        By plain file name.
    inputs : iterable of Path
        What was read; none of it is ever replaced.
    force : bool
        Whether files may be replaced that are not the program's own, or were changed since.
    of : Path, optional
        The scape file whose results they are; those of another are replaced by `force` alone.

    Raises
    ------
    WriteError
        If a file is in the way or the disk refuses; nothing was changed then.
    """
    refuse_foreign(folder, contents, inputs=inputs, force=force, of=of)
    made: list[Path] = []
    try:
        with _telling(folder):
            made += _made(folder)
            with _held(folder):
                refuse_foreign(folder, contents, inputs=inputs, force=force, of=of)
                _replace_own(folder, contents, of)
    except BaseException:
        _unmade(made)
        raise


def write_file(
    path: Path, content: bytes, *, inputs: Iterable[Path] = (), force: bool = False
) -> None:
    """Write one file, as `write_files` does."""
    write_files(path.parent, {path.name: content}, inputs=inputs, force=force)


def write_new(path: Path, content: bytes, *, force: bool = False) -> None:
    """Write a file that is the user's from then on; one of that name is replaced by `force` alone.

    Raises
    ------
    WriteError
        If it exists, or the disk refuses.
    """
    exists = WriteError(path, "it exists already; --force replaces it")
    with _telling(path):
        found = _state(path)
        if found is None:
            try:
                _create(path, content)
            except FileExistsError:
                raise exists from None
        elif force:
            _refuse_special(path, found, ())
            put_whole(path, content)
        else:
            raise exists


def put_whole(path: Path, content: bytes) -> None:
    """Put a file under a name in one step; one of that name goes, and its mode stays.

    For files of the program's own, such as those of its cache, and where it was seen that the
    earlier one may go.
    """
    part = path.with_name(f".plumbstone-{secrets.token_hex(16)}.part")
    earlier = _state(path)
    try:
        _create(part, content)
        if earlier is not None and stat.S_ISREG(earlier.st_mode):
            part.chmod(stat.S_IMODE(earlier.st_mode))
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def refuse_foreign(
    folder: Path, names: Iterable[str], *, inputs: Iterable[Path] = (), force: bool = False,
    of: Path | None = None,
) -> None:  # fmt: skip
    """See that files may be written into a folder, before any work is done for them.

    Raises
    ------
    WriteError
        If one of them is no plain file, is write-protected or was read; or, without `force`,
        is not the program's own, was changed since or is of another scape file.
    """
    with _telling(folder):
        found = {name: state for name in names if (state := _state(folder / name)) is not None}
        read = [state for path in inputs if (state := _state(path, follow=True)) is not None]
        for name, state in found.items():
            _refuse_special(folder / name, state, read)
        known = _known(folder, force)
        if not force:
            _refuse_changed(folder, found, known)
            if of and found and known and known.of not in ("", _from(folder, of)):
                reason = f"it holds the results of {known.of}; --force replaces them"
                raise WriteError(folder, reason)


def plain_cell(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula, or a control character for one."""
    text = shown(text)
    return f"'{text}" if text[:1] in "=+-@" and text else text


@contextlib.contextmanager
def _telling(path: Path) -> Iterator[None]:
    """Say of what the system refuses that this cannot be written."""
    try:
        yield
    except WriteError:
        raise
    except OSError as error:
        raise WriteError(path, error.strerror or str(error)) from None


def _refuse_special(path: Path, found: os.stat_result, read: Iterable[os.stat_result]) -> None:
    """Refuse links, devices, folders, write-protected files and inputs."""
    if any(os.path.samestat(found, other) for other in read):
        raise WriteError(path, "it is what was read")
    if not stat.S_ISREG(found.st_mode):
        raise WriteError(path, "it is a link, a folder or a device, not a plain file")
    if not found.st_mode & 0o222:
        raise WriteError(path, "it is write-protected")


def _refuse_changed(folder: Path, found: Iterable[str], known: Written | None) -> None:
    """Refuse, all in one message, files that the program didn't write as they are."""
    files = {} if known is None else known.files
    foreign = [
        name for name in found if name not in files or _digest(folder / name) not in files[name]
    ]
    if foreign:
        reason = "not written by plumbstone, or changed since; kept. --force replaces it"
        if len(foreign) == 1:
            raise WriteError(folder / foreign[0], reason)
        raise WriteError(folder, f"{', '.join(sorted(foreign))}: {reason}")


def _from(folder: Path, file: Path) -> str:
    """Name a file from a folder, so that both may be moved together."""
    try:
        return os.path.relpath(file.resolve(), folder.resolve())
    except ValueError:  # another disk
        return str(file.resolve())


def _replace_own(folder: Path, contents: Mapping[str, bytes], of: Path | None) -> None:
    """Write all files under temporary names, then the list, then give each its name.

    The list names both the earlier and the new digest, so that a kill at any moment leaves
    nothing but files that the next run knows.
    """
    earlier = _known(folder, force=True)
    known = earlier or _new_list(folder)
    try:
        _clear(folder, known)
        files = {**known.files, **_digests(folder, contents, known)}
        kept = Written(files, known.seed, _from(folder, of) if of else known.of)
        for number, (name, content) in enumerate(contents.items(), 1):
            _write_part(folder / known.part(number), content, _state(folder / name))
        _write_part(folder / known.part(0), kept.content(), None)
        (folder / known.part(0)).replace(folder / LIST)
        for number, name in enumerate(contents, 1):
            _give_name(folder / known.part(number), folder / name)
        _sync(folder)
    except BaseException:
        _clear(folder, known)
        if earlier is None and _known(folder, force=True) == known:
            (folder / LIST).unlink()
        raise


def _new_list(folder: Path) -> Written:
    """Begin the list of a folder; a foreign file of that name goes, which only `force` allows."""
    known = Written({}, secrets.token_hex(16))
    (folder / LIST).unlink(missing_ok=True)
    _create(folder / LIST, known.content())
    return known


def _digests(
    folder: Path, contents: Mapping[str, bytes], known: Written
) -> dict[str, tuple[str, ...]]:
    """Give for each file the digest of what stands there, if it is known, and of what will."""
    files: dict[str, tuple[str, ...]] = {}
    for name, content in contents.items():
        digest = hashlib.sha256(content).hexdigest()
        there = _digest(folder / name) if _state(folder / name) is not None else ""
        files[name] = (there, digest) if there in known.files.get(name, ()) else (digest,)
    return files


def _clear(folder: Path, known: Written) -> None:
    """Remove temporary files of this folder, such as a killed run leaves."""
    for part in known.parts(folder):
        part.unlink()


def _give_name(part: Path, path: Path) -> None:
    """Give a finished file its name; one that appeared there meanwhile is left alone."""
    if _state(path) is None:
        try:
            os.link(part, path)
        except FileExistsError:
            raise WriteError(path, "another program has just made it") from None
        except OSError:  # a disk without hard links
            part.replace(path)
        else:
            part.unlink()
    else:
        part.replace(path)


def _write_part(path: Path, content: bytes, earlier: os.stat_result | None) -> None:
    """Write a temporary file to the disk, with the mode of what it will replace."""
    with path.open("xb") as stream:
        stream.write(content)
        stream.flush()
        if earlier is not None:
            path.chmod(stat.S_IMODE(earlier.st_mode))
        os.fsync(stream.fileno())


def _create(path: Path, content: bytes) -> None:
    """Make a file that must not exist yet; where the system can, it is never seen half written."""
    try:
        _create_unseen(path, content)
    except FileExistsError:
        raise
    except (AttributeError, OSError):  # another system, or a disk that can't
        try:
            with path.open("xb") as stream:
                stream.write(content)
        except FileExistsError:
            raise
        except BaseException:
            path.unlink(missing_ok=True)
            raise


def _create_unseen(path: Path, content: bytes) -> None:
    """Write a file without a name, then give it one (Linux)."""
    with _opened(path.parent) as folder:
        handle = os.open(path.parent, os.O_TMPFILE | os.O_WRONLY, 0o666)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(handle)
            os.link(f"/proc/self/fd/{handle}", path.name, dst_dir_fd=folder)


def _known(folder: Path, force: bool) -> Written | None:
    """Read the list of a folder; None where there is none (or, with `force`, a foreign one)."""
    path = folder / LIST
    found = _state(path)
    if found is None:
        return None
    try:
        if not stat.S_ISREG(found.st_mode) or found.st_size > LARGEST_LIST:
            raise ValueError(LIST)
        return _written(json.loads(path.read_bytes()))
    except (ValueError, RecursionError):
        if force:
            return None
        raise WriteError(path, "it is no list of plumbstone's; --force replaces it") from None


def _written(kept: object) -> Written:
    """Check what a list holds."""
    if not isinstance(kept, dict) or kept.get("program") != "plumbstone":
        raise ValueError(LIST)
    seed, files, of = kept.get("seed"), kept.get("files"), kept.get("of", "")
    if not isinstance(seed, str) or not re.fullmatch("[0-9a-f]{32}", seed) or type(of) is not str:
        raise ValueError(LIST)
    if not isinstance(files, dict) or not all(isinstance(d, list) for d in files.values()):
        raise ValueError(LIST)
    return Written({name: tuple(map(str, digests)) for name, digests in files.items()}, seed, of)


def _state(path: Path, *, follow: bool = False) -> os.stat_result | None:
    """Look at a file; None where there is none."""
    try:
        return path.stat() if follow else path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return None
    except ValueError:
        raise WriteError(path, "no file can have such a name") from None


def _digest(path: Path) -> str:
    """Digest of a file's content."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _made(folder: Path) -> list[Path]:
    """Make a folder and those above it; give the ones that were not there, innermost first."""
    new = [part for part in (folder, *folder.parents) if _state(part) is None]
    folder.mkdir(parents=True, exist_ok=True)
    return new


def _unmade(folders: Iterable[Path]) -> None:
    """Take back folders that were made for nothing."""
    with contextlib.suppress(OSError):
        for folder in folders:
            folder.rmdir()


def _sync(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system can."""
    with contextlib.suppress(OSError), _opened(folder) as handle:
        os.fsync(handle)


@contextlib.contextmanager
def _opened(folder: Path) -> Iterator[int]:
    """Open a folder itself."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        yield handle
    finally:
        os.close(handle)


@contextlib.contextmanager
def _held(folder: Path) -> Iterator[None]:
    """Keep other runs of the program out of a folder; where the system cannot, go on without."""
    with contextlib.ExitStack() as stack:
        try:
            alone = _locked(stack.enter_context(_opened(folder)))
        except OSError:  # no folder can be opened here
            alone = True
        if not alone:
            raise WriteError(folder, "another run is writing there")
        yield


def _locked(handle: int) -> bool:
    """Wait for the lock on a folder; False if another run keeps it."""
    try:
        import fcntl
    except ImportError:
        return True
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            time.sleep(0.02)
        except OSError:  # a disk without locks
            return True
        else:
            return True
    return False
