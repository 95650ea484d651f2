"""Scans weighed side by side in processes of their own."""

import json
import os
import signal
import subprocess
import time
from functools import partial
from pathlib import Path

from commands import PROGRAM, type_in

from plumbstone.cli import workers
from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes


def heap_of_scans(folder: Path, count: int, subdivisions: int) -> Path:
    """A folder of boulders."""
    heap = folder / "heap"
    heap.mkdir()
    stone = boulder((0.2, 0.15, 0.12), 1, subdivisions=subdivisions)
    for k in range(count):
        (heap / f"s{k}.ply").write_bytes(ply_bytes(stone.vertices * (1 + k / 20), stone.faces))
    return heap


def test_any_number_of_workers_gives_the_same_bytes(tmp_path: Path) -> None:
    heap_of_scans(tmp_path, 5, 3)
    answers = set()
    for count in ("1", "3"):
        place = {"XDG_CACHE_HOME": str(tmp_path / count), "PLUMBSTONE_WORKERS": count}
        done = type_in("plumbstone weigh heap -m granite --json", tmp_path, **place)
        assert done.returncode == 0, done.stderr
        answers.add(done.stdout)
    assert len(answers) == 1
    assert len(json.loads(answers.pop())["pieces"]) == 5


def test_ctrl_c_leaves_no_workers_and_no_files(tmp_path: Path) -> None:
    """Interrupted while the pool works, by the signal that a terminal sends."""
    heap_of_scans(tmp_path, 8, 7)
    before = sorted(p for p in tmp_path.rglob("*") if "cache" not in p.parts)
    mark = f"mark-{os.getpid()}"
    started = subprocess.Popen(
        [*PROGRAM, "weigh", "heap", "-m", "granite", "--csv", "out.csv"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache"), "PLUMBSTONE_WORKERS": "2",
             "MARK": mark},
        start_new_session=True,
        # A shell that starts tests in the background has Ctrl-C ignored; a terminal has not.
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    deadline = time.monotonic() + 120
    while len(marked(mark)) < 3 and time.monotonic() < deadline:
        time.sleep(0.05)
    assert len(marked(mark)) >= 3, "the pool never started"
    os.killpg(started.pid, signal.SIGINT)
    _, told = started.communicate(timeout=120)
    assert started.returncode == 130
    assert b"Traceback" not in told
    while marked(mark) and time.monotonic() < deadline + 60:
        time.sleep(0.05)
    assert marked(mark) == []
    assert sorted(p for p in tmp_path.rglob("*") if "cache" not in p.parts) == before


def marked(mark: str) -> list[int]:
    """Processes that run with a mark in their environment."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if f"MARK={mark}".encode() in (folder / "environ").read_bytes():
                found.append(int(folder.name))
        except OSError:
            continue
    return found


def test_a_worker_that_dies_is_one_row(tmp_path: Path) -> None:
    answers = list(workers.side_by_side(die_at_three, [1, 2, 3, 4], 2))
    assert answers == [1, 4, None, 16]


def die_at_three(number: int) -> int:
    if number == 3:
        os._exit(9)
    return number**2
