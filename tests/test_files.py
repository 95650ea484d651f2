"""Files of the user are never lost: look-alikes beside results, kills at any step, every way in.

The model is the plain rule: what the program wrote and nobody changed may be replaced, all else
stays byte for byte. A kill is a real one: a child process that ends before its n-th file operation.
"""

import fcntl
import hashlib
import itertools
import json
import os
import shutil
import stat
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import refuse, type_in
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from plumbstone.cli import files
from plumbstone.cli.documents import RESULTS
from plumbstone.cli.files import LIST, WriteError, put_whole, write_file, write_files, write_new
from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes

TANK = """
[tank]
inside = ["24 cm", "12 cm", "15 cm"]
[[piece]]
name = "Branch"
kind = "wood"
material = "mopane wood"
solid = "box"
size = ["12 cm", "6 cm", "5 cm"]
mass = "415 g"
at = ["12 cm", "6 cm"]
[[layer]]
material = "sand"
depth = "3 cm"
"""
ABOUT_FILES = ("open", "os.rename", "os.link", "os.remove", "os.mkdir", "os.chmod", "os.rmdir")
KILLED = 137


def killed_at(step: int, work: Callable[[], None]) -> bool:
    """Do something in a child process that dies before its n-th file operation; True if it did."""
    child = os.fork()
    if child == 0:
        left = itertools.count(step, -1)

        def hook(event: str, _: object) -> None:
            if event in ABOUT_FILES and next(left) <= 0:
                os._exit(KILLED)

        sys.addaudithook(hook)
        try:
            work()
        except WriteError:
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == KILLED


def everything(folder: Path) -> dict[str, tuple[int, str]]:
    """Mode and content of all that lies in a folder; links and pipes by their kind."""
    found = {}
    for path in sorted(folder.rglob("*")):
        state = path.lstat()
        plain = stat.S_ISREG(state.st_mode)
        content = hashlib.sha256(path.read_bytes()).hexdigest() if plain else ""
        link = str(path.readlink()) if path.is_symlink() else ""
        found[str(path.relative_to(folder))] = (state.st_mode, content or link)
    return found


class ResultsFolder(RuleBasedStateMachine):
    """Runs, kills and a user's own doings in one folder, in any order."""

    @initialize()
    def begin(self) -> None:
        self.root = Path(os.environ["PLUMBSTONE_TEST_FOLDER"])
        shutil.rmtree(self.root, ignore_errors=True)
        self.root.mkdir(parents=True)
        self.folder = self.root / "results"
        self.theirs: dict[str, bytes] = {}  # the user's, by name
        self.ours: dict[str, set[bytes]] = {}  # what may stand there after a kill
        self.count = 0

    def fresh(self) -> bytes:
        self.count += 1
        return f"content {self.count} ".encode() * 50

    @rule(names=st.sets(st.sampled_from(RESULTS), min_size=1), force=st.booleans(),
          step=st.none() | st.integers(0, 40))  # fmt: skip
    def run(self, names: set[str], force: bool, step: int | None) -> None:
        contents = {name: self.fresh() for name in sorted(names)}
        before = everything(self.root)
        blocked = not force and (bool(names & set(self.theirs)) or LIST in self.theirs)
        if step is not None:
            died = killed_at(step, lambda: write_files(self.folder, contents, force=force))
        elif blocked:
            with pytest.raises(WriteError):
                write_files(self.folder, contents)
            died = False
        else:
            write_files(self.folder, contents, force=force)
            died = False
        if blocked:
            assert everything(self.root) == before
            return
        if force and (LIST in self.theirs or names & set(self.theirs)):
            self.forced(contents, died)
            return
        for name, content in contents.items():
            self.ours[name] = self.ours.get(name, set()) | {content} if died else {content}
        if not died:
            assert not {p.name for p in self.folder.glob("*.part")} - set(self.theirs), "leftovers"
            for name, content in contents.items():
                assert (self.folder / name).read_bytes() == content

    def forced(self, contents: dict[str, bytes], died: bool) -> None:
        """A forced run may replace what it writes and a foreign list, nothing else."""
        self.theirs.pop(LIST, None)
        for name, content in contents.items():
            there = self.folder / name
            found = there.read_bytes() if there.exists() else None
            old = {self.theirs.pop(name, None), *self.ours.get(name, ())}
            assert found in (old | {content} if died else {content})
            self.ours[name] = {content}
        if died:  # whose these files are now no list tells; begin anew
            shutil.rmtree(self.folder, ignore_errors=True)
            self.ours, self.theirs = {}, {}

    @rule(name=st.sampled_from([*RESULTS, "photo.jpg", LIST, ".plumbstone-0.part",
                                f".plumbstone-{'0' * 32}-1.part", "results.tmp"]))  # fmt: skip
    def put_own(self, name: str) -> None:
        self.folder.mkdir(exist_ok=True)
        if name == LIST:
            self.lose_list()
        content, path = self.fresh(), self.folder / name
        self.ours.pop(name, None)
        path.write_bytes(content)
        # A kill between two names of one file leaves both; who writes into one writes into both.
        self.theirs |= {o: content for o in self.theirs if path.samefile(self.folder / o)}
        self.theirs[name] = content

    @rule(name=st.sampled_from(RESULTS))
    def take_away(self, name: str) -> None:
        (self.folder / name).unlink(missing_ok=True)
        self.theirs.pop(name, None)
        self.ours.pop(name, None)

    @rule()
    def lose_list(self) -> None:
        """Without its list nothing in the folder is known as the program's."""
        if LIST not in self.theirs:
            (self.folder / LIST).unlink(missing_ok=True)
        for part in self.folder.glob(".plumbstone-*.part"):
            if part.name not in self.theirs:
                self.theirs[part.name] = part.read_bytes()
        for name in list(self.ours):
            if (self.folder / name).exists():
                self.theirs[name] = (self.folder / name).read_bytes()
            del self.ours[name]

    @invariant()
    def nothing_is_lost_or_torn(self) -> None:
        if not hasattr(self, "folder") or not self.folder.exists():
            return
        for name, content in self.theirs.items():
            assert (self.folder / name).read_bytes() == content, name
        for name, contents in self.ours.items():
            if (self.folder / name).exists():
                assert (self.folder / name).read_bytes() in contents, name
        others = {path.name for path in self.folder.iterdir()} - {*self.theirs, *self.ours, LIST}
        assert all(name.startswith(".plumbstone-") for name in others), others


def random_operations(tmp_path: Path, examples: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLUMBSTONE_TEST_FOLDER", str(tmp_path / "machine"))
    case = ResultsFolder.TestCase
    case.settings = settings(
        max_examples=examples, stateful_step_count=20, deadline=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    case().runTest()


def test_random_operations_with_kills(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    random_operations(tmp_path, 6, monkeypatch)


@pytest.mark.slow
def test_many_random_operations_with_kills(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    random_operations(tmp_path, 400, monkeypatch)


def test_a_kill_before_each_step_is_mended_by_the_next_run(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    names = RESULTS[:2]
    old, new = (dict.fromkeys(names, kind * 400) for kind in (b"old", b"new"))
    for first in (True, False):
        for step in range(200):
            shutil.rmtree(folder, ignore_errors=True)
            if not first:
                write_files(folder, old)
            died = killed_at(step, lambda: write_files(folder, new))
            for name in names:
                path = folder / name
                assert not path.exists() or path.read_bytes() in (old[name], new[name])
            if not died:
                break
            write_files(folder, new)
            assert {path.name for path in folder.iterdir()} == {*names, LIST}
        assert step > 10


@pytest.mark.usefixtures("undrawn")
def test_odd_names_of_results_are_shown(tmp_path: Path) -> None:
    """A line end in a name prints no line of its own."""
    filled(tmp_path)
    for line in ("show tank.toml --out {}", "new {}"):
        done = type_in(
            f"plumbstone {line.format(chr(39) + 'a' + chr(10) + 'b' + chr(39))}", tmp_path
        )
        assert done.returncode == (0 if line.startswith("show") else 1)
        assert "a\\x0ab" in done.stdout + done.stderr


LOOK_ALIKES = (
    ".results-2019-photos/beach.jpg", ".results-123-/plan.json", ".ssh-1-1/key", "old/plan.json",
    ".plumbstone-1.part", f".plumbstone-{'a' * 32}-1.part", "results.bak", "plan.json~", "Plan.json",
    "results-plan.json", ".results.tmp", "photo.jpg", "notes.toml", "tank.toml.bak", "scape.glb.old",
)  # fmt: skip
WRITING = (
    "plan tank.toml --grid 8 --out {}", "show tank.toml --out {}", "new {}/tank.toml",
    "weigh stone.ply --keep {}/plan.json.ply", "weigh stone.ply --csv {}/shopping.csv",
    "weigh stone.ply --picture {}/plan.png", "hold tank.toml --picture {}/section.png",
)  # fmt: skip


def filled(folder: Path) -> None:
    """A folder of a user: a scape, a scan and many files that look like the program's."""
    folder.mkdir(parents=True, exist_ok=True)
    text = TANK
    (folder / "tank.toml").write_text(text, encoding="utf-8")
    stone = boulder((0.2, 0.15, 0.12), 4, subdivisions=2)
    (folder / "stone.ply").write_bytes(ply_bytes(stone.vertices, stone.faces))
    for number, name in enumerate(LOOK_ALIKES):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(f"mine {number}", encoding="utf-8")


@pytest.mark.parametrize("line", WRITING)
@pytest.mark.parametrize("way", ["a name of stars", "here", "linked", "theirs"])
@pytest.mark.usefixtures("undrawn", "remembered")
def test_writing_commands_leave_all_else_alone(tmp_path: Path, line: str, way: str) -> None:
    filled(tmp_path)
    where = "'*'" if way == "a name of stars" else "." if way == "here" else way
    if way == "linked":
        (tmp_path / "elsewhere").mkdir()
        (tmp_path / "elsewhere" / "photo.jpg").write_text("mine too", encoding="utf-8")
        (tmp_path / "linked").symlink_to("elsewhere")
    elif way == "theirs":
        for name in (*RESULTS, "plan.json.ply", "tank.toml", "reading-room.toml", "plan/plan.json"):
            (tmp_path / where / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / where / name).write_text(f"mine: {name}", encoding="utf-8")
    else:
        (tmp_path / where.strip("'")).mkdir(exist_ok=True)
    before = everything(tmp_path)
    for _ in range(2 if way == "here" else 1):
        done = type_in(f"plumbstone {line.format(where)}", tmp_path)
        assert done.returncode in (0, 1), done.stderr
        if way == "theirs" or (way == "here" and line.startswith("new")):
            assert done.returncode == 1
            assert "--force" in done.stderr
        after = everything(tmp_path)
        assert {name: after.get(name) for name in before} == before
    new = {Path(name).name for name in after} - {Path(name).name for name in before}
    assert new <= {*RESULTS, LIST, "plan.json.ply", "tank.toml", "reading-room.toml", "plan"}


@pytest.mark.usefixtures("undrawn")
def test_only_own_unchanged_results_are_replaced(tmp_path: Path) -> None:
    filled(tmp_path)
    line = "plumbstone weigh stone.ply --csv out.csv --keep out.ply --picture out.png"
    for _ in range(2):
        done = type_in(line, tmp_path)
        assert done.returncode == 0, done.stderr
    (tmp_path / "out.csv").write_text("my notes", encoding="utf-8")
    assert "out.csv" in refuse(line, tmp_path)
    assert type_in(f"{line} --force", tmp_path).returncode == 0
    assert "volume_l" in (tmp_path / "out.csv").read_text(encoding="utf-8")


@pytest.mark.usefixtures("undrawn")
def test_the_results_of_another_tank_are_not_replaced_without_a_word(tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert type_in(f"plumbstone new {name}.toml", tmp_path).returncode == 0
    assert type_in("plumbstone plan one.toml --out results", tmp_path).returncode == 0
    before = {file: file.read_bytes() for file in (tmp_path / "results").iterdir()}
    for command in ("plan", "show"):
        why = refuse(f"plumbstone {command} two.toml --out results", tmp_path)
        assert "results: cannot be written (it holds the results of ../one.toml" in why
        assert "--force replaces them); choose another place." in why
    assert {file: file.read_bytes() for file in (tmp_path / "results").iterdir()} == before
    both = tmp_path / "elsewhere"  # both moved together: its own results are still known
    both.mkdir()
    for name in ("one.toml", "two.toml", "results"):
        (tmp_path / name).rename(both / name)
    assert type_in("plumbstone plan elsewhere/one.toml --out elsewhere/results", tmp_path).stdout
    assert type_in("plumbstone plan two.toml --out results --force", both).returncode == 0
    assert "results of ../two.toml" in refuse("plumbstone plan one.toml --out results", both)


@pytest.mark.parametrize(
    "line",
    [
        "weigh stone.ply --keep stone.ply --force",
        "weigh stone.ply --keep same.ply --force",
        "weigh stone.ply --csv link.ply --force",
        "weigh . --csv stone.ply --force",
        "weigh stone.ply --csv pipe --force",
        "weigh stone.ply --csv old --force",
        "weigh stone.ply --csv locked.csv --force",
        "weigh stone.ply --csv /dev/null",
        "hold tank.toml --picture tank.png --force",
        "plan plan.json --out . --force",
        "show plan.json --out . --force",
        "new stone-link.ply --force",
    ],
)
def test_inputs_links_devices_and_modes_are_respected(tmp_path: Path, line: str) -> None:
    filled(tmp_path)
    os.link(tmp_path / "stone.ply", tmp_path / "same.ply")
    (tmp_path / "link.ply").symlink_to("stone.ply")
    (tmp_path / "stone-link.ply").symlink_to("stone.ply")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "locked.csv").write_text("mine", encoding="utf-8")
    (tmp_path / "locked.csv").chmod(0o444)
    os.link(tmp_path / "tank.toml", tmp_path / "plan.json")
    os.link(tmp_path / "tank.toml", tmp_path / "tank.png")
    before = everything(tmp_path)
    refuse(f"plumbstone {line}", tmp_path)
    assert everything(tmp_path) == before
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)


def test_the_mode_of_a_file_stays(tmp_path: Path) -> None:
    """What is private stays private, whoever replaces it: the page, `new --force`, results."""
    for mode in (0o600, 0o664):
        path = tmp_path / f"{mode}.toml"
        path.write_bytes(b"mine")
        path.chmod(mode)
        put_whole(path, b"saved")
        write_new(path, b"new", force=True)
        write_file(path, b"result", force=True)
        assert stat.S_IMODE(path.stat().st_mode) == mode
        assert path.read_bytes() == b"result"


def test_edits_of_the_demo_are_kept(tmp_path: Path, demo: Path) -> None:
    shutil.copytree(demo, tmp_path / "d")
    path = tmp_path / "d" / "reading-room.toml"
    path.write_text(path.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    assert "reading-room.toml" in refuse("plumbstone demo d", tmp_path)
    assert path.read_text(encoding="utf-8").endswith("# mine\n")


def test_a_forged_list_gives_no_rights(tmp_path: Path) -> None:
    (tmp_path / "photo.jpg").write_bytes(b"mine")
    (tmp_path / "plan.json").write_bytes(b"mine")
    digest = hashlib.sha256(b"mine").hexdigest()
    for seed in ("../photo.jpg", "", "*", "0" * 32):
        files = {"photo.jpg": [digest], "../photo.jpg": [digest]}
        forged = {"program": "plumbstone", "seed": seed, "files": files}
        (tmp_path / LIST).write_text(json.dumps(forged), encoding="utf-8")
        with pytest.raises(WriteError):
            write_files(tmp_path, {"plan.json": b"ours"})
    for text in ("", "[]", "{}", "[" * 100_000, '{"program": "plumbstone"}'):
        (tmp_path / LIST).write_text(text, encoding="utf-8")
        with pytest.raises(WriteError, match="no list"):
            write_files(tmp_path, {"shopping.csv": b"ours"})
    assert {p.name for p in tmp_path.iterdir()} == {"photo.jpg", "plan.json", LIST}


def test_disks_without_links_or_nameless_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    for content in (b"one", b"two"):
        write_files(tmp_path, {"plan.json": content})
        assert (tmp_path / "plan.json").read_bytes() == content
    write_new(tmp_path / "tank.toml", b"mine")
    with pytest.raises(WriteError, match="--force"):
        write_new(tmp_path / "tank.toml", b"yours")
    put_whole(tmp_path / "row", b"kept")
    assert {p.name for p in tmp_path.iterdir()} == {"plan.json", LIST, "tank.toml", "row"}


def test_modes_follow_the_file_and_the_mask(tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        write_file(tmp_path / "a.csv", b"1")
        assert stat.S_IMODE((tmp_path / "a.csv").stat().st_mode) == 0o640
        (tmp_path / "a.csv").chmod(0o600)
        write_file(tmp_path / "a.csv", b"2")
    finally:
        os.umask(mask)
    assert stat.S_IMODE((tmp_path / "a.csv").stat().st_mode) == 0o600


def test_a_name_that_no_file_can_have(tmp_path: Path) -> None:
    for name in ("a\0b", "x" * 300):
        with pytest.raises(WriteError):
            write_files(tmp_path, {name: b""})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_made_for_nothing_is_taken_back(tmp_path: Path) -> None:
    with pytest.raises(WriteError):
        write_files(tmp_path / "new" / "deep", {"x" * 300: b""})
    assert list(tmp_path.iterdir()) == []


def test_a_run_that_never_ends_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "PATIENCE", 0.05)
    handle = os.open(tmp_path, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        with pytest.raises(WriteError, match="another run is writing there"):
            write_files(tmp_path, {"plan.json": b"ours"})
    finally:
        os.close(handle)
    assert list(tmp_path.iterdir()) == []
    write_files(tmp_path, {"plan.json": b"ours"})
    assert (tmp_path / "plan.json").read_bytes() == b"ours"
