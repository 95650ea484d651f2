"""Other libraries on the same jobs, a whole plan, and how time grows with the input."""

import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from bench_scan import OURS, measured
from timing import timed

Row = tuple[str, float, float, float, str]
LOAD_ALL = (
    "import sys, trimesh\nfor path in sys.argv[1:]:\n    mesh = trimesh.load(path)\n    mesh.volume"
)


def rows() -> list[Row]:
    """All rows of this file."""
    return [*libraries(), *whole_plan(), *fine_bed(), *growth()]


def libraries() -> list[Row]:
    """Load, closedness, volume and clipped volume of a stone of 327 680 faces."""
    import manifold3d
    import open3d as o3d
    import pyvista
    import trimesh

    from plumbstone.meshes.measures.displacement import displaced_at_levels, displaced_volume
    from plumbstone.meshes.measures.faults import enclosed_volume, is_closed
    from plumbstone.meshes.measures.rulers import FILE_ALONE
    from plumbstone.meshes.reading.scans import read_raw
    from plumbstone.meshes.shapes.primitives import boulder
    from plumbstone.meshes.writing import ply_bytes

    stone = boulder((0.3, 0.22, 0.25), 5, 7)
    vertices, faces, level = stone.vertices, stone.faces, 0.11
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "stone.ply"
        path.write_bytes(ply_bytes(vertices, faces))
        load = timed(lambda: read_raw(path, FILE_ALONE))
        theirs = {
            "Open3D": timed(lambda: o3d.io.read_triangle_mesh(str(path))),
            "PyVista": timed(lambda: pyvista.read(str(path))),
        }
    found = [_row(f"load {len(faces):,} faces, against {n}", load, t) for n, t in theirs.items()]
    mesh = o3d.geometry.TriangleMesh(
        o3d.utility.Vector3dVector(vertices), o3d.utility.Vector3iVector(faces.astype(np.int32))
    )
    closed = timed(lambda: is_closed(faces, len(vertices)))
    edges = timed(lambda: mesh.is_edge_manifold(allow_boundary_edges=False))
    found.append(_row("closed or not, against Open3D's edge check", closed, edges))
    volume = timed(lambda: enclosed_volume(vertices, faces))
    plain = trimesh.Trimesh(vertices, faces, process=False)
    found.append(_row("volume, against trimesh", volume, timed(lambda: fresh_volume(plain))))
    surface = pyvista.PolyData(vertices, np.column_stack([np.full(len(faces), 3), faces]).ravel())
    found.append(_row("volume, against PyVista", volume, timed(lambda: surface.volume)))
    clipped = timed(lambda: displaced_volume(vertices, faces, level))
    origin = (0.0, 0.0, level)
    clip = timed(lambda: surface.clip_closed_surface((0, 0, -1), origin=origin).volume, 2)
    found.append(_row("clipped volume, against PyVista", clipped, clip))
    solid = manifold3d.Manifold(
        manifold3d.Mesh(vertices.astype(np.float32), faces.astype(np.uint32))
    )
    trim = timed(lambda: solid.trim_by_plane((0, 0, -1), -level).volume())
    found.append(_row("clipped volume, against manifold3d (mesh built before)", clipped, trim))
    centre = timed(lambda: displaced_at_levels(vertices, faces, [level]))
    found.append(_row("centre of buoyancy, against capytaine", centre, hydrostatics(level)))
    return found


def fresh_volume(mesh: Any) -> float:
    """Volume by trimesh without what it keeps from an earlier call."""
    mesh._cache.clear()
    return float(mesh.volume)


def hydrostatics(level: float) -> float:
    """Seconds that capytaine takes for the same stone, with a hundredth of its faces."""
    import logging

    import capytaine

    logging.getLogger("capytaine").setLevel(logging.ERROR)
    from plumbstone.meshes.shapes.primitives import boulder

    stone = boulder((0.3, 0.22, 0.25), 5, 4)
    panels = np.column_stack([stone.faces, stone.faces[:, 2]])

    def work() -> None:
        mesh = capytaine.Mesh(vertices=stone.vertices - [0, 0, level], faces=panels)
        body = capytaine.FloatingBody(mesh=mesh, center_of_mass=(0.0, 0.0, 0.0))
        body.add_all_rigid_body_dofs()
        body.immersed_part().compute_hydrostatics(rho=1000.0)

    return timed(work, 1)


def whole_plan() -> list[Row]:
    """A plan of 20 stones of 327 680 faces, against trimesh loading them and their volumes."""
    with tempfile.TemporaryDirectory() as folder:
        paths = write_stones(Path(folder), 20, 7)
        ours = [measured([OURS, "plan", f"{folder}/t.toml", "--json"], folder) for _ in range(2)]
        theirs = [measured([LOAD_ALL, *paths], folder) for _ in range(2)]
    fast, slow = min(s for s, _ in ours), min(s for s, _ in theirs)
    small, large = max(m for _, m in ours), max(m for _, m in theirs)
    return [
        ("plan of 20 scans of 327 680 faces, against trimesh", fast, slow, slow / fast, "≥ 0.67"),
        ("the same, peak memory [GB]", small, large, large / small, ""),
    ]


def fine_bed() -> list[Row]:
    """A bed of 120 × 50 cm at 1 mm with 20 stones of 81 920 faces: peak memory of `bed`."""
    with tempfile.TemporaryDirectory() as folder:
        write_stones(Path(folder), 20, 6)
        seconds, memory = measured([OURS, "bed", f"{folder}/t.toml", "--grid", "1"], folder)
    name = f"bed at 1 mm, 600 000 cells, 20 scans ({memory:.2f} GB at most), against 10 s"
    return [(name, seconds, 10.0, 10 / seconds, "")]


def write_stones(folder: Path, count: int, subdivisions: int) -> list[str]:
    """Write scans of stones and a scape with all of them."""
    from plumbstone.meshes.shapes.primitives import boulder
    from plumbstone.meshes.writing import ply_bytes

    text = '[tank]\ninside = ["120 cm", "50 cm", "50 cm"]\nwater_line = "46 cm"\n'
    paths = []
    for k in range(count):
        stone = boulder((0.14, 0.10, 0.11), k, subdivisions)
        path = folder / f"s{k}.ply"
        path.write_bytes(ply_bytes(stone.vertices, stone.faces))
        paths.append(str(path))
        place = f'["{12 + 24 * (k % 5)} cm", "{7 + 12 * (k // 5)} cm"]'
        text += f'[[piece]]\nname = "S{k}"\nmaterial = "granite"\nscan = "s{k}.ply"\n'
        text += f'unit = "m"\nat = {place}\n'
    text += '[[layer]]\nmaterial = "baked-clay soil"\ndepth = { front = "3 cm", back = "12 cm" }\n'
    (folder / "t.toml").write_text(text, encoding="utf-8")
    return paths


def growth() -> list[Row]:
    """Exponents of time against faces and against cells, by least squares in logarithms."""
    from plumbstone.meshes.closing.scans import closed_scan
    from plumbstone.meshes.measures.displacement import displaced_at_levels
    from plumbstone.meshes.shapes.primitives import boulder
    from plumbstone.meshes.writing import ply_bytes
    from plumbstone.volumes.bed.heightfield import stable_surface

    levels = np.linspace(0.01, 0.24, 60)
    counts, cut, whole = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for subdivisions in (5, 6, 7, 8):
            stone = boulder((0.3, 0.22, 0.25), 5, subdivisions)
            path = Path(folder) / f"{subdivisions}.ply"
            path.write_bytes(ply_bytes(stone.vertices, stone.faces))
            counts.append(len(stone.faces))
            cut.append(
                timed(lambda s=stone: displaced_at_levels(s.vertices, s.faces, levels))  # type: ignore[misc]
            )
            whole.append(timed(lambda p=path: closed_scan(p)))  # type: ignore[misc]
    cells, solve = [], []
    for rows_ in (150, 300, 600, 1200):
        y, x = np.mgrid[:rows_, : 2 * rows_] / rows_
        target = 0.05 + 0.1 * y + 0.05 * np.exp(-((x - 1) ** 2 + (y - 0.5) ** 2) * 20)
        target[: rows_ // 5] = 0.0
        ground = np.zeros(target.shape)
        cells.append(target.size)
        solve.append(timed(lambda t=target, g=ground, r=rows_: stable_surface(t, g, 0.6, 0.5 / r)))  # type: ignore[misc]
    found = []
    for name, sizes, seconds in (
        ("60 water levels against faces", counts, cut),
        ("a closed scan against faces", counts, whole),
        ("the surface against cells", cells, solve),
    ):
        exponent = float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])
        found.append((f"time of {name}: exponent", exponent, 1.1, 1.1 / exponent, "exponent ≤ 1.1"))
    return found


def _row(name: str, ours: float, theirs: float) -> Row:
    return name, ours, theirs, theirs / ours, ""


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    for row in rows():
        print(*row, sep="  ")
