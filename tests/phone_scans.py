"""Makes scans as a phone gives them out of complete ones."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import ConvexHull

from plumbstone.meshes.mending import compacted
from plumbstone.meshes.primitives import boulder, ellipsoid


@dataclass(frozen=True)
class PhoneScan:
    vertices: np.ndarray  # in the file's unit
    faces: np.ndarray
    volume: float  # truth [m³]
    unit: float  # of the file [m]


def standing_poses(vertices: np.ndarray, rng: np.random.Generator, count: int) -> list[np.ndarray]:
    """Rotations that let a body stand on a face of its hull, below its middle."""
    hull = ConvexHull(vertices)
    middle = vertices[hull.vertices].mean(axis=0)
    poses, weights = [], []
    for equation, simplex in zip(hull.equations, hull.simplices, strict=True):
        a, b, c = vertices[simplex]
        area = np.linalg.norm(np.cross(b - a, c - a)) / 2
        foot = middle - (equation[:3] @ middle + equation[3]) * equation[:3]
        inside = all(
            np.cross(q - p, foot - p) @ np.cross(b - a, c - a) >= 0
            for p, q in ((a, b), (b, c), (c, a))
        )
        if inside:
            poses.append(-equation[:3])
            weights.append(area)
    chosen = rng.choice(len(poses), count, p=np.array(weights) / np.sum(weights))
    return [turn_to(poses[k]) for k in chosen]


def turn_to(up: np.ndarray) -> np.ndarray:
    side = np.cross(np.eye(3)[np.abs(up).argmin()], up)
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(up, side), up])


def phone_scan(
    vertices: np.ndarray, faces: np.ndarray, pose: np.ndarray, rng: np.random.Generator
) -> PhoneScan:
    """Cut, roughen, puncture, add a table and floaters, turn and rescale one standing body."""
    vertices = vertices @ pose.T
    vertices = vertices - [*vertices[:, :2].mean(axis=0), vertices[:, 2].min()]
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    volume = float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1)[:, None] + 1e-300
    middle, height = (a + b + c) / 3, vertices[:, 2].max()
    hidden = (normals[:, 2] < -rng.uniform(0.25, 0.5)) & (
        middle[:, 2] < rng.uniform(0.25, 0.4) * height
    )
    hidden |= middle[:, 2] < rng.uniform(0.002, 0.004)
    size = np.ptp(vertices, axis=0).max()
    for _ in range(int(rng.integers(1, 5))):
        spot = middle[rng.integers(len(middle))]
        hidden |= np.linalg.norm(middle - spot, axis=1) < rng.uniform(0.02, 0.06) * size
    vertices = vertices + _noise(vertices, rng)[:, None] * _corner_normals(vertices, faces)
    vertices, faces = compacted(vertices, faces[~hidden])
    parts = [(vertices, faces), _table(vertices, size, rng)]
    for _ in range(int(rng.integers(0, 4))):
        bit = ellipsoid((0.004, 0.003, 0.003), subdivisions=1)
        where = rng.uniform(-0.7, 0.7, 3) * size + [0, 0, size]
        parts.append((bit.vertices + where, bit.faces))
    joined_v, joined_f, count = [], [], 0
    for part_v, part_f in parts:
        joined_v.append(part_v)
        joined_f.append(part_f + count)
        count += len(part_v)
    turn = turn_to(_direction(rng))
    unit = float(rng.choice([1.0, 1e-3]))
    points = (np.concatenate(joined_v) @ turn + rng.uniform(-0.3, 0.3, 3)) / unit
    return PhoneScan(points, np.concatenate(joined_f), volume, unit)


def _direction(rng: np.random.Generator) -> np.ndarray:
    v = rng.normal(size=3)
    return v / np.linalg.norm(v)


def _noise(vertices: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Correlated noise of about a millimetre, wave lengths of centimetres, and white noise."""
    waves = rng.normal(size=(12, 3)) / rng.uniform(0.006, 0.02, (12, 1))
    phases = rng.uniform(0, 2 * np.pi, 12)
    smooth = np.sin(vertices @ waves.T + phases).sum(axis=1) * np.sqrt(2 / 12)
    return 0.8e-3 * smooth + rng.normal(0, 0.2e-3, len(vertices))


def _corner_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    total = np.stack(
        [
            sum(np.bincount(faces[:, k], normal[:, i], len(vertices)) for k in range(3))
            for i in range(3)
        ],
        axis=1,
    )
    return total / (np.linalg.norm(total, axis=1)[:, None] + 1e-300)


def _table(
    vertices: np.ndarray, size: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """A rough flat patch around the foot of the body, with a gap to it."""
    step, half = size / 60, rng.uniform(0.7, 1.3) * size
    n = int(2 * half / step)
    x, y = np.meshgrid(np.linspace(-half, half, n), np.linspace(-half, half, n))
    points = np.column_stack([x.ravel(), y.ravel(), rng.normal(0, 0.3e-3, n * n)])
    k = np.arange(n * n).reshape(n, n)
    a, b, c, d = k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]
    faces = np.concatenate(
        [np.column_stack([a.ravel(), b.ravel(), c.ravel()]),
         np.column_stack([a.ravel(), c.ravel(), d.ravel()])]
    )  # fmt: skip
    hull = ConvexHull(vertices[:, :2])
    middle = points[faces].mean(axis=1)[:, :2]
    gap = rng.uniform(-0.002, 0.004)
    outside = (middle @ hull.equations[:, :2].T + hull.equations[:, 2]).max(axis=1) > gap
    return compacted(points, faces[outside])


def seeded_stones(count: int, first: int = 100) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Boulders of 15 to 35 cm as stones whose volume is known."""
    rng = np.random.default_rng(first)
    stones = []
    for seed in range(first, first + count):
        size = rng.uniform(0.15, 0.35) * np.array(
            [1.0, rng.uniform(0.6, 0.9), rng.uniform(0.45, 0.9)]
        )
        piece = boulder(tuple(size), seed)
        stones.append((f"boulder {seed}", piece.vertices, piece.faces))
    return stones


def scanned_stones(folder: Path) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Complete, consistently wound scans by others, brought to 18 to 30 cm."""
    from plumbstone.meshes.faults import is_closed
    from plumbstone.meshes.reading import read_scan

    names = [
        "epfl_stone_02.stl", "epfl_stone_10.stl", "epfl_stone_14.stl", "epfl_stone_18.stl",
        "epfl_stone_S01.stl", "epfl_stone_S02.stl", "asteroid_6489_golevka_km.ply",
        "asteroid_4769_castalia_km.obj", "ibois_stone_0.ply",
    ]  # fmt: skip
    stones = []
    for i, name in enumerate(names):
        piece = read_scan(folder / name)
        assert is_closed(piece.faces, len(piece.vertices))
        wanted = 0.18 + 0.013 * i
        vertices = piece.vertices * wanted / np.ptp(piece.vertices, axis=0).max()
        stones.append((name, vertices, piece.faces))
    return stones
