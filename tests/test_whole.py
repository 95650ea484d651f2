"""Properties over the whole chain: scaling, turning, order of work, writing whole or not at all."""

import json
import os
import signal
import subprocess
import time
from pathlib import Path

import pytest
from commands import PROGRAM, read_json, type_in
from hypothesis import given, settings
from hypothesis import strategies as st

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.plan import make_plan
from plumbstone.volumes.scape import read_scape

ROOM = Path(__file__).parent.parent / "cli" / "reading-room.toml"

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
    return make_plan(read_scape(path), spacing=0.004 * k)


@settings(max_examples=8, deadline=None)
@given(k=st.floats(0.6, 2.0), turn=st.integers(0, 359), seed=st.integers(0, 50))
def test_scaling_turning_and_closure(
    tmp_path_factory: pytest.TempPathFactory, k: float, turn: int, seed: int
) -> None:
    folder = tmp_path_factory.mktemp("p")
    one, large = plan_of(folder, 1.0, 0, seed), plan_of(folder, k, 0, seed)
    assert large.bed.settled == pytest.approx(k**3 * one.bed.settled, rel=2e-3)
    assert large.load.full.mid == pytest.approx(k**3 * one.load.full.mid, rel=2e-3)
    turned = plan_of(folder, 1.0, turn, seed)
    assert turned.bodies[0].mesh_volume == pytest.approx(one.bodies[0].mesh_volume, rel=1e-9)
    for plan in (one, large, turned):
        assert abs(plan.parts.closure) <= 2e-3


def test_same_input_same_bytes(tmp_path: Path) -> None:
    line = f"plumbstone plan {ROOM} --json"
    first, second = (type_in(line, tmp_path).stdout for _ in range(2))
    assert first == second
    assert json.loads(first)["name"] == "Reading-room tank"


def test_us_units_agree_with_the_document(tmp_path: Path) -> None:
    document = read_json(f"plumbstone plan {ROOM}", tmp_path)
    told = type_in(f"plumbstone plan {ROOM} --units us", tmp_path).stdout
    gallons = document["water"]["dosing_l"]["mid"] / 3.785411784  # 231 in³, exact
    assert f"Dose for {gallons:.2f} gal" in told


@pytest.mark.parametrize("delay", [0.4, 0.9, 1.3, 1.7, 2.1, 2.6])
def test_killed_at_any_moment_leaves_whole_results_or_none(tmp_path: Path, delay: float) -> None:
    scape = tmp_path / "tank.toml"
    scape.write_bytes(ROOM.read_bytes())
    command = [*PROGRAM, "plan", "tank.toml", "--out", "results"]
    with subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as run:
        time.sleep(delay)
        os.kill(run.pid, signal.SIGKILL)
    results = tmp_path / "results"
    if results.exists():
        names = {path.name for path in results.iterdir()}
        assert {"plan.json", "build-sheet.html", "scape.glb", "shopping.csv"} <= names
        json.loads((results / "plan.json").read_text(encoding="utf-8"))
    assert scape.read_bytes() == ROOM.read_bytes()


def test_ranges_add_as_independent_figures() -> None:
    # Independent errors add as squares: 3-4-5.
    total = Range.total([Range(7, 10, 13), Range(16, 20, 24)])
    assert (total.low, total.mid, total.high) == pytest.approx((25, 30, 35))
    with pytest.raises(ValueError, match="rising order"):
        Range(2, 1, 3)
