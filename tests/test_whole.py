"""Properties over the whole chain: scaling, turning, order of work, writing whole or not at all."""

import json
import multiprocessing
import resource
import shlex
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from commands import read_json, refuse, start, type_in
from hypothesis import given, settings
from hypothesis import strategies as st

from plumbstone.cli.documents import RESULTS
from plumbstone.cli.files import LIST
from plumbstone.cli.results import write_results
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed import pouring
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.report import hold_figures, report_of
from plumbstone.volumes.scape.scape import read_scape

ROOM = Path(__file__).parent.parent / "cli" / "reading-room.toml"
STARTER = ROOM.with_name("starter.toml")

SCAPE = """
[tank]
inside = ["{l} cm", "{d} cm", "{h} cm"]
water_line = "{w} cm"

[[piece]]
name = "A"
material = "granite"
solid = "boulder"
seed = {seed}
size = ["{a} cm", "{b} cm", "{c} cm"]
at = ["{x} cm", "{y} cm"]
turn = {turn}

[[layer]]
material = "gravel"
depth = {{ front = "{f} cm", back = "{g} cm" }}
settling = 0.05
"""


def plan_of(folder: Path, k: float, turn: float, seed: int):  # type: ignore[no-untyped-def]
    """A tank with one stone, all lengths times k."""
    lengths = {
        "l": 60, "d": 40, "h": 40, "w": 36, "a": 14, "b": 11, "c": 12, "x": 30, "y": 20,
        "f": 3, "g": 8,
    }  # fmt: skip
    path = folder / "tank.toml"
    values = {name: f"{value * k:.6f}" for name, value in lengths.items()}
    path.write_text(SCAPE.format(**values, turn=turn, seed=seed), encoding="utf-8")
    return Layout(read_scape(path)).plan(spacing=0.004 * k)


@settings(max_examples=8, deadline=None)
@given(k=st.floats(0.6, 2.0), turn=st.integers(0, 359), seed=st.integers(0, 50))
def test_scaling_turning_and_closure(
    tmp_path_factory: pytest.TempPathFactory, k: float, turn: int, seed: int
) -> None:
    folder = tmp_path_factory.mktemp("p")
    one, large = plan_of(folder, 1.0, 0, seed), plan_of(folder, k, 0, seed)
    assert large.bed.settled == pytest.approx(k**3 * one.bed.settled, rel=2e-3)
    assert large.load.full_without_glass_kg.mid == pytest.approx(
        k**3 * one.load.full_without_glass_kg.mid, rel=2e-3
    )
    turned = plan_of(folder, 1.0, turn, seed)
    assert turned.bodies[0].mesh_volume == pytest.approx(one.bodies[0].mesh_volume, rel=1e-9)
    for plan in (one, large, turned):
        assert abs(plan.water.parts_over_box - 1) <= 2e-3


def test_same_input_same_bytes(tmp_path: Path) -> None:
    """Twice: here, and in a process of its own, whose hashes of words are others."""
    line = f"plumbstone plan {ROOM} --grid 8"
    here, there = (
        type_in(f"{line} --json", tmp_path),
        start(f"{line} --json", tmp_path, PYTHONHASHSEED="1"),
    )
    assert here.stdout == there.stdout
    assert json.loads(here.stdout)["name"] == "Reading-room tank"


@pytest.mark.usefixtures("undrawn")
def test_killed_while_writing_leaves_whole_files(tmp_path: Path) -> None:
    """Kill a plan while it writes, at random moments; `test_files` does so at every step."""
    plan = plan_of(tmp_path, 0.5, 0, 1)
    report = report_of(plan)
    results = tmp_path / "results"
    start = time.monotonic()
    write_results(plan, report, results, Units.METRIC)
    once = time.monotonic() - start
    rng = np.random.default_rng(17)
    fork = multiprocessing.get_context("fork")
    for _ in range(2):
        process = fork.Process(target=write_results, args=(plan, report, results, Units.METRIC))
        process.start()
        time.sleep(rng.uniform(0, 1.3 * once))
        process.kill()
        process.join()
        assert {path.name for path in results.iterdir() if path.suffix != ".part"} == {
            *RESULTS,
            LIST,
        }
        json.loads((results / "plan.json").read_text(encoding="utf-8"))
        assert "</html>" in (results / "build-sheet.html").read_text(encoding="utf-8")[-20:]
    write_results(plan, report, results, Units.METRIC)
    assert {path.name for path in results.iterdir()} == {*RESULTS, LIST}


def small_tank(name: str) -> str:
    """A tank that is quickly computed, of some name."""
    return f'''name = "{name}"
[tank]
inside = ["20 cm", "15 cm", "20 cm"]
[[layer]]
material = "sand"
depth = "3 cm"
'''


def test_litres_are_told_in_gallons(tmp_path: Path) -> None:
    (tmp_path / "tank.toml").write_text(small_tank("Small"), encoding="utf-8")
    litres = read_json("plumbstone plan tank.toml", tmp_path)["water"]["dosing_l"]["mid"]
    told = type_in("plumbstone plan tank.toml --units us", tmp_path).stdout
    assert f"Dose for {litres / 3.785411784:.2f} gal" in told  # 231 in³, exact


@pytest.mark.usefixtures("undrawn")
def test_two_runs_into_one_folder_do_not_mix(tmp_path: Path) -> None:
    fork, runs, results = multiprocessing.get_context("fork"), [], tmp_path / "results"
    for name in ("Tank one", "Tank two"):
        (tmp_path / "tank.toml").write_text(small_tank(name), encoding="utf-8")
        plan = Layout(read_scape(tmp_path / "tank.toml")).plan(0.01)
        words = (plan, report_of(plan), results, Units.METRIC)
        runs.append(fork.Process(target=write_results, args=words))
    for run in runs:
        run.start()
    for run in runs:
        run.join()
        assert run.exitcode == 0
    name = json.loads((results / "plan.json").read_text("utf-8"))["name"]
    assert f"<h1>{name}</h1>" in (results / "build-sheet.html").read_text("utf-8")
    assert {p.name for p in results.iterdir()} == {*RESULTS, LIST}


@pytest.mark.usefixtures("undrawn")
def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path) -> None:
    """No file may grow over 50 kB, as if the disk were full: the sheet alone is larger."""
    (tmp_path / "tank.toml").write_text(small_tank("Tank"), encoding="utf-8")
    line = "plumbstone plan tank.toml --out results --grid 8"
    assert type_in(line, tmp_path).returncode == 0
    before = {p: p.read_bytes() for p in (tmp_path / "results").iterdir()}
    assert max(map(len, before.values())) > 50_000
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, hard))
    try:
        told = refuse(line, tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert "cannot be written" in told
    assert {p: p.read_bytes() for p in (tmp_path / "results").iterdir()} == before
    assert {p.name for p in tmp_path.iterdir()} == {"tank.toml", "results"}


def test_limits_are_told_and_can_be_raised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "tank.toml").write_text(small_tank("Tank"), encoding="utf-8")
    monkeypatch.setattr(pouring, "MOST_CELLS", 20 * 15 * 12)
    assert "raise --limits" in refuse("plumbstone bed tank.toml --grid 2.5", tmp_path)
    done = type_in("plumbstone --limits 2 bed tank.toml --grid 2.5", tmp_path)
    assert done.returncode == 0, done.stderr


def test_ranges_add_as_independent_figures() -> None:
    # Independent errors add as squares: 3-4-5.
    total = Range.total([Range(7, 10, 13), Range(16, 20, 24)])
    assert (total.low, total.mid, total.high) == pytest.approx((25, 30, 35))
    with pytest.raises(ValueError, match="rising order"):
        Range(2, 1, 3)


def test_ctrl_c_while_libraries_load_ends_without_a_word() -> None:
    code = """
import sys
class Stop:
    def find_spec(self, name, *_):
        if name == "typer":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stop())
from plumbstone.cli.start import run
run()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


@pytest.mark.parametrize(
    ("line", "spared"),
    [
        ("--help", {"numpy", "json", "multiprocessing", "plumbstone.cli.output"}),
        ("weigh --size '20 x 15 x 10 cm' -m granite", {"numpy", "pydantic", "multiprocessing"}),
        (
            "bed tank.toml",
            {"scipy", "numpy.ma", "pydantic", "plumbstone.volumes.holding.hold_down"},
        ),
    ],
)
def test_a_command_loads_no_more_than_it_uses(line: str, spared: set[str], tmp_path: Path) -> None:
    (tmp_path / "tank.toml").write_text(STARTER.read_text(encoding="utf-8"), encoding="utf-8")
    code = f"""
import sys
from plumbstone.cli.main import answer
try:
    answer({shlex.split(line)!r})
finally:
    print(*sorted({spared!r} & set(sys.modules)), file=sys.__stderr__)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert done.stderr.split() == []


def test_wood_is_judged_alike_with_and_without_litres() -> None:
    layout = Layout(read_scape(ROOM))
    alone = [hold_figures(hold) for hold in layout.holds(0.006)]
    assert alone
    assert alone == [hold_figures(hold) for hold in layout.plan(0.006).holds]
