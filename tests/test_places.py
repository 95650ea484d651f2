"""Everywhere it runs: narrow and old terminals, odd names, no home, a damaged cache."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh
from commands import PROGRAM, type_in

from plumbstone.cli.files import LIST

TANK = """
name = "Großer Stein · Μ"
[tank]
inside = ["40 cm", "25 cm", "30 cm"]
[[layer]]
material = "sand"
depth = { front = "2 cm", back = "5 cm" }
"""
NO_HOME = (
    "import os, pwd\n"
    "def missing(_): raise KeyError('uid')\n"
    "pwd.getpwuid = missing; os.environ.pop('HOME', None)\n"
    "from plumbstone.cli.main import run; run()"
)


def run_bytes(folder: Path, *words: str | bytes, **environment: str) -> tuple[int, bytes, bytes]:
    done = subprocess.run(
        [*PROGRAM, *words], cwd=folder, capture_output=True, timeout=300, check=False,
        env={**os.environ, "COLUMNS": "100", **environment},
    )  # fmt: skip
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize("encoding", ["ascii", "cp437"])
def test_terminals_of_any_encoding(tmp_path: Path, encoding: str) -> None:
    (tmp_path / "t.toml").write_text(TANK, encoding="utf-8")
    code, told, wrong = run_bytes(
        tmp_path, "bed", "t.toml", "--grid", "8", PYTHONIOENCODING=encoding, PYTHONUTF8="0"
    )
    assert code == 0, wrong
    assert "Pour" in told.decode(encoding)
    if encoding == "ascii":
        assert b"Grosser Stein" in told


def test_narrow_terminals_lose_no_column(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(TANK, encoding="utf-8")
    screen, inside = os.openpty()
    run = subprocess.Popen(
        [*PROGRAM, "bed", "t.toml", "--grid", "8"], cwd=tmp_path, stdout=inside, close_fds=True,
        env={**os.environ, "COLUMNS": "30", "TERM": "xterm"},
    )  # fmt: skip
    assert run.wait(timeout=300) == 0
    os.close(inside)
    told = b""
    try:
        while part := os.read(screen, 65536):
            told += part
    except OSError:
        pass
    os.close(screen)
    for heading in (b"Sand", b"Drawn", b"Stays", b"Pour", b"Dry"):
        assert heading in told
    assert b"\x1b" not in told


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device here is always full")
def test_a_full_disk_is_no_fault_of_the_program(tmp_path: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*PROGRAM, "materials"], cwd=tmp_path, stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert done.returncode == 1
    assert done.stderr == b"plumbstone: the disk is full; make room, and run it again.\n"


def test_names_that_are_no_text(tmp_path: Path) -> None:
    name = os.fsencode(str(tmp_path)) + b"/st\xffne.stl"
    box = trimesh.creation.box((0.1, 0.1, 0.1))
    with open(name, "wb") as stream:  # noqa: PTH123
        stream.write(box.export(file_type="stl"))
    code, told, wrong = run_bytes(tmp_path, "weigh", name, "--csv", "o.csv")
    assert code == 0, wrong
    assert b"st\\xffne" in told
    assert "st\\xffne" in (tmp_path / "o.csv").read_text(encoding="utf-8")
    line = f"plumbstone weigh '{os.fsdecode(name)}' --picture p.png --json"
    assert type_in(line, tmp_path).returncode == 0


@pytest.mark.parametrize(
    ("code", "option", "made"), [(PROGRAM[-1], "--csv", "o.csv"), (NO_HOME, "--picture", "r.png")]
)
def test_without_a_home(tmp_path: Path, code: str, option: str, made: str) -> None:
    trimesh.creation.box((0.1, 0.1, 0.1)).export(tmp_path / "s.stl")
    environment = {
        k: v for k, v in os.environ.items() if k not in ("XDG_CACHE_HOME", "MPLCONFIGDIR")
    }
    environment |= {"HOME": "/nonexistent/home", "TMPDIR": str(tmp_path / "tmp")}
    (tmp_path / "tmp").mkdir()
    done = subprocess.run(
        [sys.executable, "-c", code, "weigh", "s.stl", option, made], cwd=tmp_path,
        capture_output=True, text=True, timeout=300, check=False, env=environment,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert {path.name for path in tmp_path.iterdir()} == {"s.stl", "tmp", LIST, made}


def test_a_damaged_cache_is_a_miss(tmp_path: Path) -> None:
    trimesh.creation.box((0.1, 0.1, 0.1)).export(tmp_path / "s.stl")
    cache = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    first = type_in("plumbstone weigh s.stl --json", tmp_path, **cache).stdout
    rows = [path for path in (tmp_path / "cache").rglob("*") if path.is_file()]
    assert rows
    for damage in (b"", b"[]", b"\0" * 99, None):
        for row in rows:
            data = row.read_bytes()
            row.write_bytes(data.replace(b"1", b"7") if damage is None else damage)
        done = type_in("plumbstone weigh s.stl --json", tmp_path, **cache)
        assert done.returncode == 0, done.stderr
        assert done.stdout == first
