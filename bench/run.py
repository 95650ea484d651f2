"""One table of ratios: plumbstone against what one would otherwise use, in one run."""

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from timing import timed

Row = tuple[str, float, float, float, str]


def rough_ball(subdivisions: int) -> Any:
    """A closed stone of 20 · 4^n faces."""
    from plumbstone.meshes.shapes.primitives import boulder

    return boulder((0.3, 0.22, 0.25), seed=5, subdivisions=subdivisions)


def displaced() -> Row:
    """Clipped volume of a stone of 1.3 million faces."""
    import trimesh

    from plumbstone.meshes.measures.displacement import displaced_volume

    stone = rough_ball(8)
    level = 0.11
    mesh = trimesh.Trimesh(stone.vertices, stone.faces, process=False)

    def theirs() -> float:
        part = trimesh.intersections.slice_mesh_plane(mesh, [0, 0, -1], [0, 0, level], cap=True)
        return float(part.volume)

    ours = displaced_volume(stone.vertices, stone.faces, level)
    difference = abs(ours / theirs() - 1)
    fast = timed(lambda: displaced_volume(stone.vertices, stone.faces, level))
    slow = timed(theirs, 1)
    goal = "≥ 8 and equal to 1e-9"
    name = f"displaced volume, {len(stone.faces):,} faces (differs by {difference:.0e})"
    return name, fast, slow, slow / fast, goal


def surface() -> list[Row]:
    """Largest stable surface on 500 × 1200 cells with 20 stones and mounds."""
    import skfmm

    from plumbstone.volumes.bed.heightfield import stable_surface

    rng = np.random.default_rng(0)
    y, x = np.mgrid[:500, :1200]
    target = 0.05 + 0.1 * y / 500
    ground = np.zeros(target.shape)
    for _ in range(20):
        cx, cy, radius = rng.uniform(0, 1200), rng.uniform(0, 500), rng.uniform(20, 60)
        target += 0.05 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 3000)
        cx, cy = rng.uniform(0, 1200), rng.uniform(0, 500)
        dome = radius**2 - (x - cx) ** 2 - (y - cy) ** 2
        ground = np.maximum(ground, 0.002 * np.sqrt(np.maximum(dome, 0)))
    target[:100] = 0.0
    start = time.perf_counter()
    stable_surface(target, ground, 0.6, 0.001)
    cold = time.perf_counter() - start
    warm = timed(lambda: stable_surface(target, ground, 0.6, 0.001), 5)
    phi = np.where(ground > 0, -1.0, 1.0)
    theirs = timed(lambda: skfmm.distance(phi, 0.001))
    name = f"stable surface, 600 000 cells, warm (first call {cold:.2f} s)"
    return [(name, warm, theirs, theirs / warm, "≥ 4 against one scikit-fmm distance")]


def columns() -> Row:
    """Columns of 20 stones of 82 000 faces on a 1 mm grid, against trimesh loading them."""
    import trimesh

    from plumbstone.meshes.measures.columns import Grid, columns_of, merged_columns
    from plumbstone.meshes.shapes.placing import stood_at
    from plumbstone.meshes.shapes.primitives import boulder
    from plumbstone.meshes.writing import ply_bytes

    grid = Grid.of_spacing(1.2, 0.5, 0.001)
    rng = np.random.default_rng(3)
    stones = [
        stood_at(boulder((0.12, 0.1, 0.1), seed, 6), rng.uniform(0.1, 1.1), rng.uniform(0.1, 0.4))
        for seed in range(20)
    ]

    def ours() -> None:
        merged_columns([columns_of(s.vertices, s.faces, grid) for s in stones], grid)

    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{i}.ply" for i in range(len(stones))]
        for path, stone in zip(paths, stones, strict=True):
            path.write_bytes(ply_bytes(stone.vertices, stone.faces))
        slow = timed(lambda: [trimesh.load(path) for path in paths], 1)
    ours()
    fast = timed(ours)
    return "columns of 20 stones at 1 mm", fast, slow, slow / fast, "≥ 3.3 against trimesh loading"


def levels() -> Row:
    """Sixty water levels of a group of six pieces, against six cuts of one by trimesh."""
    import trimesh

    from plumbstone.meshes.measures.displacement import displaced_at_levels
    from plumbstone.meshes.shapes.primitives import boulder

    pieces = [boulder((0.3, 0.2, 0.2), seed, 7) for seed in range(6)]
    heights = np.linspace(0.01, 0.19, 60)
    mesh = trimesh.Trimesh(pieces[0].vertices, pieces[0].faces, process=False)

    def theirs() -> None:
        for height in heights[::10]:
            trimesh.intersections.slice_mesh_plane(mesh, [0, 0, -1], [0, 0, height], cap=True)

    fast = timed(lambda: [displaced_at_levels(p.vertices, p.faces, heights) for p in pieces], 2)
    slow = timed(theirs, 1)
    name = f"60 levels of 6 pieces of {len(pieces[0].faces):,} faces, against 6 cuts of one"
    return name, fast, slow, slow / fast, "≥ 1"


def start_up() -> Row:
    """`--help` against a Typer app of two commands."""
    code = (
        "import typer\napp = typer.Typer()\n@app.command()\ndef a(x: int = 1): pass\n"
        "@app.command()\ndef b(x: int = 1): pass\napp()"
    )
    ours = [sys.executable, "-c", "from plumbstone.cli.start import run; run()", "--help"]
    fast = timed(lambda: run(ours), 7)
    slow = timed(lambda: run([sys.executable, "-c", code, "--help"]), 7)
    return "plumbstone --help", fast, slow, slow / fast, "≥ 1"


def run(command: list[str]) -> None:
    """Run a program and drop what it prints."""
    subprocess.run(command, check=True, capture_output=True)


def main() -> None:
    """Print the table."""
    from bench_layout import changed_layouts
    from bench_others import rows as other_rows
    from bench_page import main as page_drags
    from bench_scan import rows as scan_rows

    rows = [start_up(), displaced(), levels(), *surface(), columns(), *scan_rows()]
    rows += [*other_rows(), *changed_layouts()]
    print(f"{'what':70} {'ours s':>8} {'theirs s':>9} {'ratio':>7}  goal")
    for name, ours, theirs, ratio, goal in rows:
        print(f"{name:70} {ours:8.3f} {theirs:9.3f} {ratio:7.2f}  {goal}")
    page_drags()


if __name__ == "__main__":
    main()
