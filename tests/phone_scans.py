"""Makes scans as a phone gives them out of complete ones."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import ConvexHull

from plumbstone.meshes.mending.welding import compacted
from plumbstone.meshes.reading.open3d_library import open3d
from plumbstone.meshes.shapes.primitives import boulder, ellipsoid, fork, unit_sphere

Stone = tuple[str, np.ndarray, np.ndarray]
SIGHTS = ("cameras", "slope", "level")


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
    up = hull.equations[:, :3]
    a, b, c = (vertices[hull.simplices[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    foot = middle - (up @ middle + hull.equations[:, 3])[:, None] * up
    inside = np.all(
        [
            (np.cross(q - p, foot - p) * across).sum(axis=1) >= 0
            for p, q in ((a, b), (b, c), (c, a))
        ],
        axis=0,
    )
    poses, areas = -up[inside], np.linalg.norm(across[inside], axis=1) / 2
    chosen = rng.choice(len(poses), count, p=areas / areas.sum())
    return [turn_to(poses[k]) for k in chosen]


def turn_to(up: np.ndarray) -> np.ndarray:
    side = np.cross(np.eye(3)[np.abs(up).argmin()], up)
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(up, side), up])


def phone_scan(
    vertices: np.ndarray,
    faces: np.ndarray,
    pose: np.ndarray,
    rng: np.random.Generator,
    sight: str | None = None,
) -> PhoneScan:
    """Cut, roughen, puncture, add a table and floaters, turn and rescale one standing body."""
    vertices = vertices @ pose.T
    vertices = vertices - [*vertices[:, :2].mean(axis=0), vertices[:, 2].min()]
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    volume = float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
    size = float(np.ptp(vertices, axis=0).max())
    hidden = unseen(vertices, faces, rng, sight or str(rng.choice(SIGHTS)))
    middle = (a + b + c) / 3
    for _ in range(int(rng.integers(1, 5))):
        spot = middle[rng.integers(len(middle))]
        hidden |= np.linalg.norm(middle - spot, axis=1) < rng.uniform(0.02, 0.06) * size
    table = _table(vertices, size, rng)
    vertices = vertices + _noise(vertices, rng)[:, None] * _corner_normals(vertices, faces)
    if rng.random() < 0.3:
        vertices = _melted_into_table(vertices, rng.uniform(0.001, 0.004))
    vertices, faces = compacted(vertices, faces[~hidden])
    if rng.random() < 0.3 and len(faces) > 10_000:
        vertices, faces = thinner(vertices, faces, int(len(faces) * rng.uniform(0.2, 0.6)))
    parts = [(vertices, faces), table]
    for _ in range(int(rng.integers(0, 4))):
        bit = ellipsoid((0.004, 0.003, 0.003), subdivisions=1)
        where = rng.uniform(-0.7, 0.7, 3) * size + [0, 0, size]
        parts.append((bit.vertices + where, bit.faces))
    points, joined = united(parts)
    unit = float(rng.choice([1.0, 1e-3]))
    points = (points @ turn_to(_direction(rng)) + rng.uniform(-0.3, 0.3, 3)) / unit
    return PhoneScan(points, joined, volume, unit)


def unseen(
    vertices: np.ndarray, faces: np.ndarray, rng: np.random.Generator, sight: str
) -> np.ndarray:
    """Which faces of a body standing on z = 0 a phone does not see.

    "cameras" walks a phone around it and tests each line of sight; "slope" drops overhangs
    near the table; "level" drops all below a height.
    """
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1)[:, None] + 1e-300
    middle, height = (a + b + c) / 3, vertices[:, 2].max()
    if sight == "cameras":
        return ~_seen_by_cameras(vertices, faces, middle, normals, rng)
    if sight == "level":
        return middle[:, 2] < rng.uniform(0.002, 0.08 * height + 0.002)
    hidden = (normals[:, 2] < -rng.uniform(0.25, 0.5)) & (
        middle[:, 2] < rng.uniform(0.25, 0.4) * height
    )
    return hidden | (middle[:, 2] < rng.uniform(0.002, 0.004))


def _seen_by_cameras(
    vertices: np.ndarray,
    faces: np.ndarray,
    middle: np.ndarray,
    normals: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """Faces seen at 75° or less from their normal by two rounds and a look from above."""
    o3d = open3d()
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(vertices.astype(np.float32), faces.astype(np.uint32))
    size = float(np.ptp(vertices, axis=0).max())
    seen = np.zeros(len(faces), dtype=bool)
    low, high = rng.uniform(8, 25), rng.uniform(35, 60)
    rounds = [(low, k) for k in range(12)] + [(high, k) for k in range(12)] + [(85.0, 0)]
    start = rng.uniform(0, 2 * np.pi)
    for degrees, k in rounds:
        up, around = np.radians(degrees), start + k * np.pi / 6
        eye = 2.5 * size * np.array(
            [np.cos(up) * np.cos(around), np.cos(up) * np.sin(around), np.sin(up)]
        )  # fmt: skip
        ray = eye - middle
        far = np.linalg.norm(ray, axis=1)
        facing = np.einsum("ij,ij->i", ray, normals) > 0.26 * far
        facing &= ~seen & (middle[:, 2] > 0.001)
        at = np.flatnonzero(facing)
        if len(at) == 0:
            continue
        unit = ray[at] / far[at, None]
        rays = np.column_stack([middle[at] + 1e-4 * size * normals[at], unit]).astype(np.float32)
        seen[at] = ~scene.test_occlusions(o3d.core.Tensor(rays), 0.0, float(3 * size)).numpy()
    return seen


def united(parts: list[tuple[np.ndarray, np.ndarray]]) -> tuple[np.ndarray, np.ndarray]:
    """Put meshes side by side in one array."""
    points, faces, count = [], [], 0
    for part_v, part_f in parts:
        points.append(part_v)
        faces.append(part_f + count)
        count += len(part_v)
    return np.concatenate(points), np.concatenate(faces)


def thinner(vertices: np.ndarray, faces: np.ndarray, wanted: int) -> tuple[np.ndarray, np.ndarray]:
    """Decimate by quadrics, as phone apps do."""
    o3d = open3d()
    mesh = o3d.geometry.TriangleMesh(
        o3d.utility.Vector3dVector(vertices), o3d.utility.Vector3iVector(faces)
    )
    mesh = mesh.simplify_quadric_decimation(wanted)
    return np.asarray(mesh.vertices), np.asarray(mesh.triangles).astype(np.int64)


def _direction(rng: np.random.Generator) -> np.ndarray:
    v = rng.normal(size=3)
    return v / np.linalg.norm(v)


def _noise(vertices: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Correlated noise of about a millimetre, wave lengths of centimetres, and white noise."""
    waves = rng.normal(size=(12, 3)) / rng.uniform(0.006, 0.02, (12, 1))
    phases = rng.uniform(0, 2 * np.pi, 12)
    smooth = np.sin(vertices @ waves.T + phases).sum(axis=1) * np.sqrt(2 / 12)
    return 0.8e-3 * smooth + rng.normal(0, 0.2e-3, len(vertices))


def _melted_into_table(vertices: np.ndarray, reach: float) -> np.ndarray:
    """Push the foot of a body outward, as depth sensors round off the edge to the table."""
    low = np.clip(1 - vertices[:, 2] / reach, 0, 1) ** 2 * reach
    outward = vertices[:, :2] / (np.linalg.norm(vertices[:, :2], axis=1)[:, None] + 1e-9)
    return vertices + np.column_stack([outward * low[:, None], np.zeros(len(vertices))])


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
    step, half = size / 60, rng.uniform(0.6, 1.3) * size
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


def seeded_stones(count: int, first: int = 100) -> list[Stone]:
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


def lumpy_stones(count: int, first: int) -> list[Stone]:
    """Worn stones of another making: smooth hollows and bulges on an ellipsoid, 15 to 35 cm."""
    rng = np.random.default_rng(first)
    directions, faces = unit_sphere(5)
    stones = []
    for seed in range(first, first + count):
        relief = np.ones(len(directions))
        for _ in range(10):
            spot, width = _direction(rng), rng.uniform(0.2, 0.8)
            near = np.exp(-(((directions - spot) ** 2).sum(axis=1)) / width**2)
            relief += rng.uniform(-0.3, 0.25) * near
        for octave in range(4):
            waves, phases = rng.normal(size=(6, 3)) * 4 * 1.9**octave, rng.uniform(0, 6.28, 6)
            relief += np.sin(directions @ waves.T + phases).sum(axis=1) * 0.008 * 0.5**octave
        vertices = directions * relief[:, None] * [1, rng.uniform(0.6, 0.95), rng.uniform(0.4, 0.9)]
        vertices *= rng.uniform(0.15, 0.35) / np.ptp(vertices, axis=0).max()
        stones.append((f"lump {seed}", vertices, faces))
    return stones


def seeded_wood(count: int, first: int) -> list[Stone]:
    """Forked branches of 30 to 60 cm, limbs of 2 to 6 cm, finely meshed."""
    rng = np.random.default_rng(first)
    found = []
    for seed in range(first, first + count):
        length, thick = rng.uniform(0.3, 0.6), rng.uniform(0.035, 0.06)
        bend = np.array([[0, 0, 0], [0.5, 0.06, 0.04], [1.0, 0.02, 0.1]]) * length
        side = bend[1] + np.array([[0, 0, 0], [0.25, 0.2, 0.1]]) * length
        other = bend[1] * 0.6 + np.array([[0, 0, 0], [0.15, -0.25, 0.12]]) * length
        piece = fork(
            [bend, side, other],
            [(thick, 0.6 * thick), (0.6 * thick, 0.02), (0.6 * thick, 0.02)],
            24,
        )
        found.append((f"branch {seed}", *finer(piece.vertices, piece.faces, 0.004)))
    return found


def finer(vertices: np.ndarray, faces: np.ndarray, longest: float) -> tuple[np.ndarray, np.ndarray]:
    """Split edges until none is longer than a length [m]; the body stays the same."""
    from trimesh.remesh import subdivide_to_size

    vertices, faces = subdivide_to_size(vertices, faces, longest, max_iter=12)
    _, first, inverse = np.unique(
        np.round(vertices / 1e-9), axis=0, return_index=True, return_inverse=True
    )
    return vertices[first], inverse.ravel()[faces]


SCANNED = (
    "epfl_stone_02.stl", "epfl_stone_10.stl", "epfl_stone_14.stl", "epfl_stone_18.stl",
    "epfl_stone_S01.stl", "epfl_stone_S02.stl", "asteroid_6489_golevka_km.ply",
    "asteroid_4769_castalia_km.obj", "ibois_stone_0.ply",
)  # fmt: skip


def scanned_stones(folder: Path) -> list[Stone]:
    """Complete, consistently wound scans by others, brought to 18 to 30 cm."""
    from plumbstone.meshes.closing.scans import closed_scan
    from plumbstone.meshes.measures.faults import is_closed

    stones = []
    for i, name in enumerate(SCANNED):
        piece = closed_scan(folder / name).piece
        assert is_closed(piece.faces, len(piece.vertices))
        wanted = 0.18 + 0.013 * i
        vertices = piece.vertices * wanted / np.ptp(piece.vertices, axis=0).max()
        faces = piece.faces
        if len(faces) < 5000:
            vertices, faces = finer(vertices, faces, 0.006)
        stones.append((name, vertices, faces))
    return stones
