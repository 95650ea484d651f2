"""Scans: the whole of `weigh`, start-up included, against what one would otherwise run."""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

Row = tuple[str, float, float, float, str]
PEAK = (
    "import atexit, os\n"
    "def report():\n"
    "    lines = [x for x in open('/proc/self/status') if x.startswith('VmHWM')]\n"
    "    open(os.environ['PEAK'], 'w').write(lines[0].split()[1])\n"
    "atexit.register(report)\n"
)
OURS = "from plumbstone.cli.main import run; run()"
THEIRS = "import sys, trimesh; m = trimesh.load(sys.argv[1]); print(m.is_watertight, m.volume)"


def rows() -> list[Row]:
    """Time and peak memory on a closed PLY of 1.3 million faces; time on a phone-like scan."""
    from plumbstone.meshes.shapes.primitives import boulder
    from plumbstone.meshes.writing import ply_bytes

    with tempfile.TemporaryDirectory() as folder:
        stone = boulder((0.3, 0.22, 0.25), seed=5, subdivisions=8)
        path = Path(folder) / "stone.ply"
        path.write_bytes(ply_bytes(stone.vertices, stone.faces))
        ours = [measured([OURS, "weigh", str(path)], folder) for _ in range(3)]
        theirs = [measured([THEIRS, str(path)], folder) for _ in range(3)]
        fast, slow = (min(seconds for seconds, _ in runs) for runs in (ours, theirs))
        small, large = (max(memory for _, memory in runs) for runs in (ours, theirs))
        phone = Path(folder) / "phone.ply"
        count = write_phone_scan(phone)
        seconds = min(measured([OURS, "weigh", str(phone)], folder)[0] for _ in range(2))
    name = f"weigh a PLY of {len(stone.faces):,} faces, against trimesh"
    return [
        (name, fast, slow, slow / fast, "≥ 1"),
        ("the same, peak memory [GB]", small, large, large / small, "≥ 1"),
        (
            f"weigh a phone-like scan of {count:,} faces, against 5 s",
            seconds,
            5.0,
            5 / seconds,
            "≥ 1",
        ),
    ]


def measured(arguments: list[str], folder: str) -> tuple[float, float]:
    """Seconds and peak memory [GB] of a Python program; nothing is taken from a cache.

    The program reports its own peak: what the system says of a child counts this process too.
    """
    cache = tempfile.mkdtemp(dir=folder)
    peak = Path(cache) / "peak"
    command = [sys.executable, "-c", PEAK + arguments[0], *arguments[1:]]
    environment = {**os.environ, "XDG_CACHE_HOME": cache, "PEAK": str(peak)}
    start = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, env=environment, check=True)
    return time.perf_counter() - start, int(peak.read_text()) / 1e6


def write_phone_scan(path: Path) -> int:
    """Write a stone on its table with holes and noise; how many faces it has."""
    from phone_scans import phone_scan, turn_to

    from plumbstone.meshes.shapes.primitives import boulder
    from plumbstone.meshes.writing import ply_bytes

    stone = boulder((0.25, 0.2, 0.18), seed=8, subdivisions=7)
    rng = np.random.default_rng(7)
    scan = phone_scan(stone.vertices, stone.faces, turn_to(np.array([0.0, 0, 1])), rng, "slope")
    path.write_bytes(ply_bytes(scan.vertices, scan.faces))
    return len(scan.faces)


if __name__ == "__main__":
    for row in rows():
        print(*row, sep="  ")
