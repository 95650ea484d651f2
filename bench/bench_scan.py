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
    "import atexit, os, resource\n"
    "def report():\n"
    "    lines = [x for x in open('/proc/self/status') if x.startswith('VmHWM')]\n"
    "    worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss\n"
    "    open(os.environ['PEAK'], 'w').write(str(max(int(lines[0].split()[1]), worker)))\n"
    "atexit.register(report)\n"
)
OURS = "from plumbstone.cli.main import run; run()"
LOAD = "import sys, trimesh; print(trimesh.load(sys.argv[1]).volume)"
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
        *others(),
    ]


def others() -> list[Row]:
    """Time on open scans with the table in view: a PLY, and a GLB with its texture."""
    from PIL import Image
    from trimesh import Trimesh
    from trimesh.visual import TextureVisuals

    from plumbstone.meshes.writing import ply_bytes

    found = []
    with tempfile.TemporaryDirectory() as folder:
        for across, goal in ((867, 0.5), (364, 0.83)):
            vertices, faces = stone_in_view(across)
            path = Path(folder) / f"{across}.{'ply' if across > 500 else 'glb'}"
            if path.suffix == ".ply":
                path.write_bytes(ply_bytes(vertices, faces))
            else:
                noise = np.random.default_rng(0).integers(60, 200, (2048, 2048, 3), dtype=np.uint8)
                looks = TextureVisuals(uv=vertices[:, :2] + 0.5, image=Image.fromarray(noise))
                Trimesh(vertices, faces, process=False, visual=looks).export(path)
            fast = min(measured([OURS, "weigh", str(path)], folder)[0] for _ in range(3))
            slow = min(measured([LOAD, str(path)], folder)[0] for _ in range(3))
            kind = "textured GLB" if path.suffix == ".glb" else "PLY with a table"
            name = f"weigh a {kind} of {len(faces):,} faces, against trimesh"
            found.append((name, fast, slow, slow / fast, f"≥ {goal}"))
    return found


def stone_in_view(across: int) -> tuple[np.ndarray, np.ndarray]:
    """A rough dome on a table, one skin of about twice the square of a number of faces."""
    rng = np.random.default_rng(3)
    x, y = np.meshgrid(*[np.linspace(-0.35, 0.35, across)] * 2)
    ways, phases = rng.normal(size=(12, 2)) * 25, rng.uniform(0, 6.28, 12)
    bumps = np.sin(x[..., None] * ways[:, 0] + y[..., None] * ways[:, 1] + phases).sum(axis=-1)
    dome = 1 - (x / 0.15) ** 2 - (y / 0.11) ** 2
    height = np.where(dome > 0, 0.16 * np.sqrt(np.maximum(dome, 0)) + 0.0015 * bumps, 0.0)
    points = np.stack([x, y, height], axis=-1).reshape(-1, 3)
    place = np.arange(across * across).reshape(across, across)
    corners = place[:-1, :-1], place[:-1, 1:], place[1:, 1:], place[1:, :-1]
    a, b, c, d = (corner.ravel() for corner in corners)
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return points + rng.normal(0, 1e-4, points.shape), faces


def measured(arguments: list[str], folder: str) -> tuple[float, float]:
    """Seconds and peak memory [GB] of a Python program; nothing is taken from a cache.

    The program reports its own peak, or that of a worker that it starts: what the system says of
    a child counts this process too.
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
