"""Scans as phones and apps really give them: fused surfaces with what else was in view.

A stone and its surroundings are put into one distance field, as depth fusion does, so that they
melt into one skin; what cameras around it do not see is cut away. Truth is the stone alone.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from phone_scans import (
    Stone,
    _corner_normals,
    _direction,
    standing_poses,
    thinner,
    turn_to,
    united,
    unseen,
)
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist
from skimage.measure import marching_cubes

from plumbstone.meshes.mending.welding import compacted
from plumbstone.meshes.reading.open3d_library import open3d

CELLS = 88  # of the field along the longer side of the scene
FINE_STEPS = 0.0015, 0.0030  # of the field [m], as apps write stones of 25 cm; the same number of
# faces on larger ones
FINE = {
    "table in view", "noise of many scales, 1 mm", "on a wrinkled cloth", "a flank missing",
    "cropped flat, no table",
}  # fmt: skip
NEAR, CLOSER = 0.7, 0.75  # of the stone's size: least half of a view; of the reach of a coarse one
Mesh = tuple[np.ndarray, np.ndarray]
Field = Callable[[np.ndarray], np.ndarray]
Rough = Callable[[Mesh, np.random.Generator, float, float, float], Mesh]


@dataclass
class Scene:
    """What is put into one field; lengths in metres."""

    stone: Mesh
    volume: float
    size: float
    extras: list[Field]
    ground: Field | None = None
    blur: float = 0.0
    swell: float = 0.0
    lift: float = 0.0
    cells: int = CELLS
    step: float = 0.0  # of a lattice as phones have it [m]; the view is closer then
    noise: Rough | None = None  # waves of three lengths where there is none

    def rough(
        self, mesh: Mesh, rng: np.random.Generator, white: float, waves: float, reach: float = 0.02
    ) -> Mesh:
        return (self.noise or roughened)(mesh, rng, white, waves, reach)


@dataclass(frozen=True)
class Made:
    vertices: np.ndarray
    faces: np.ndarray  # (0, 3) for a cloud
    volume: float
    longest: float  # true greatest length, as a caliper finds it [m]
    wrong: float  # lengths of the file over the true ones


def standing(stone: Stone, rng: np.random.Generator, scale: float = 1.0) -> Scene:
    """A stone on the ground z = 0."""
    _, vertices, faces = stone
    if len(faces) > 20_000:
        vertices, faces = thinner(vertices, faces, 12_000)
    vertices = vertices * scale
    vertices = vertices @ standing_poses(vertices, rng, 1)[0].T
    vertices = vertices - [*vertices[:, :2].mean(axis=0), vertices[:, 2].min()]
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    volume = float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
    size = float(np.ptp(vertices, axis=0).max())
    return Scene((vertices, faces), volume, size, [], ground=lambda p: p[:, 2])


def diameter(vertices: np.ndarray) -> float:
    """Greatest distance of two corners [m]."""
    return float(pdist(vertices[ConvexHull(vertices).vertices]).max())


def distance_to(mesh: Mesh) -> Field:
    """Signed distance to a closed mesh, negative inside."""
    o3d = open3d()
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(mesh[0].astype(np.float32), mesh[1].astype(np.uint32))
    return lambda p: scene.compute_signed_distance(o3d.core.Tensor(p.astype(np.float32))).numpy()


def capsule(a: np.ndarray, b: np.ndarray, radius: float) -> Field:
    def field(p: np.ndarray) -> np.ndarray:
        along = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        return np.linalg.norm(p - a - along[:, None] * (b - a), axis=1) - radius

    return field


def drum(radius: float, low: float, high: float) -> Field:
    def field(p: np.ndarray) -> np.ndarray:
        aside = np.hypot(p[:, 0], p[:, 1]) - radius
        return np.maximum(aside, np.maximum(low - p[:, 2], p[:, 2] - high))

    return field


def fused(scene: Scene, reach: float, below: float = 0.02) -> Mesh:
    """The zero level of the union of all fields in a box around the stone."""
    vertices = scene.stone[0] + [0, 0, scene.lift]
    half = scene.size * (max(NEAR, CLOSER * reach) if scene.step else reach)
    low = np.array([-half, -half, -below])
    high = np.array([half, half, float(vertices[:, 2].max()) + 0.02])
    step = scene.step or 2 * half / scene.cells
    shape = tuple(len(np.arange(lo, hi, step)) for lo, hi in zip(low, high, strict=True))
    parts = [distance_to((vertices, scene.stone[1])), *scene.extras]
    parts += [scene.ground] if scene.ground else []
    field = np.min([sampled(part, low, step, shape) for part in parts], axis=0) - scene.swell
    if scene.blur:
        field = gaussian_filter(field, scene.blur / step, mode="nearest")
    found, faces, _, _ = marching_cubes(field, 0.0)
    return found * step + low, faces.astype(np.int64)


def sampled(part: Field, low: np.ndarray, step: float, shape: tuple[int, ...]) -> np.ndarray:
    """A field on a lattice: on every fourth point, every second, and all of them near its zero."""
    fourth = np.stack(np.meshgrid(*[np.arange(0, n, 4) for n in shape], indexing="ij"), axis=-1)
    field = part(low + fourth.reshape(-1, 3) * step).reshape(fourth.shape[:3]).astype(np.float32)
    for stride, near in ((2, 5 * step), (1, 2.5 * step)):
        field = doubled(field, [-(-n // stride) for n in shape])
        close = np.argwhere(np.abs(field) < near)
        field[tuple(close.T)] = part(low + close * (stride * step))
    return field


def doubled(field: np.ndarray, shape: list[int]) -> np.ndarray:
    """A field with a point more between each two, as far as a shape goes."""
    for axis, n in enumerate(shape):
        along = np.moveaxis(field, axis, 0)
        more = np.repeat(along, 2, axis=0)[:n]
        between = more[1 : 2 * len(along) - 2 : 2]
        between[:] = ((along[:-1] + along[1:]) / 2)[: len(between)]
        field = np.moveaxis(more, 0, axis)
    return field


def roughened(
    mesh: Mesh, rng: np.random.Generator, white: float, waves: float, reach: float = 0.02
) -> Mesh:
    """White noise and noise of several wave lengths along the normals [m]."""
    vertices, faces = mesh
    off = rng.normal(0, white, len(vertices))
    for length in (reach / 4, reach / 2, reach):
        ways = rng.normal(size=(8, 3)) / length
        off += np.sin(vertices @ ways.T + rng.uniform(0, 6.28, 8)).sum(axis=1) * waves / 4 / 1.7
    return vertices + off[:, None] * _corner_normals(vertices, faces), faces


def drifted(
    mesh: Mesh, rng: np.random.Generator, white: float, waves: float, reach: float = 0.02
) -> Mesh:
    """Noise of another making, as strong: random fields of five lengths up to a reach, heavy tails.

    Each is white noise on a lattice that was blurred, so that it has no waves.
    """
    vertices, faces = mesh
    low, size = vertices.min(axis=0), float(np.ptp(vertices, axis=0).max())
    off = white * rng.standard_t(5, len(vertices)) * np.sqrt(3 / 5)
    for length in reach * 2.0 ** -np.arange(5):
        cell = max(length / 2, size / 90)
        shape = np.ceil(np.ptp(vertices, axis=0) / cell).astype(int) + 2
        field = gaussian_filter(rng.normal(size=shape), 1.0, mode="wrap")
        places = (vertices - low) / cell
        off += map_coordinates(field / field.std(), places.T, order=1) * waves / 2 / np.sqrt(5)
    return vertices + off[:, None] * _corner_normals(vertices, faces), faces


def seen_of(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """What cameras around see of it."""
    vertices, faces = mesh
    lifted = vertices + [0, 0, 0.03]  # so that the ground counts too
    return compacted(vertices, faces[~unseen(lifted, faces, rng, "cameras")])


def finished(mesh: Mesh, scene: Scene, rng: np.random.Generator, scale: float) -> Made:
    """Turned, moved and wrong in scale by some per cent, as phones are."""
    wrong = float(np.exp(rng.normal(0, scale)))
    vertices = mesh[0] @ turn_to(_direction(rng)) * wrong + rng.uniform(-0.3, 0.3, 3)
    return Made(vertices, mesh[1], scene.volume, diameter(scene.stone[0]), wrong)


def plain(scene: Scene, rng: np.random.Generator) -> Mesh:
    return scene.rough(seen_of(fused(scene, 1.0), rng), rng, 0.0002, 0.0006)


def noisy(scene: Scene, rng: np.random.Generator) -> Mesh:
    mesh = seen_of(fused(scene, 0.9), rng)
    amount = 0.002 * scene.size / 0.3 if scene.size > 0.2 else 0.0013
    return scene.rough(mesh, rng, amount, amount / 2)


def of_many_scales(scene: Scene, rng: np.random.Generator) -> Mesh:
    """As `noisy`, half as strong, but up to lengths of 6 cm."""
    amount = 0.004 * scene.size
    return scene.rough(seen_of(fused(scene, 0.9), rng), rng, amount / 2, amount, 0.06)


def on_cloth(scene: Scene, rng: np.random.Generator) -> Mesh:
    height = rng.uniform(0.0015, 0.004)
    ways = rng.normal(size=(10, 2)) / rng.uniform(0.006, 0.03, (10, 1))
    phases = rng.uniform(0, 6.28, 10)

    def cloth(p: np.ndarray) -> np.ndarray:
        folds = np.sin(p[:, :2] @ ways.T + phases).sum(axis=1) * height / np.sqrt(5)
        return p[:, 2] - folds

    return plain(replace(scene, ground=cloth), rng)


def on_stand(scene: Scene, rng: np.random.Generator) -> Mesh:
    height, radius = rng.uniform(0.2, 0.45) * scene.size, rng.uniform(0.2, 0.45) * scene.size
    stand = drum(radius, 0.0, height + 0.004)
    return plain(replace(scene, extras=[stand], lift=height), rng)


def in_hand(scene: Scene, rng: np.random.Generator) -> Mesh:
    return plain(held(scene, rng), rng)


def held(scene: Scene, rng: np.random.Generator) -> Scene:
    """A hand with four fingers at the stone, its arm out of view."""
    angle = rng.uniform(0, 6.28)
    out = np.array([np.cos(angle), np.sin(angle), 0.15])
    vertices = scene.stone[0]
    edge = float((vertices @ out).max())
    middle = np.array([0, 0, 0.5 * vertices[:, 2].max()])
    palm = middle + out * (edge + 0.005)
    side = np.cross(out, [0, 0, 1.0])
    parts = [capsule(palm, palm + out * 0.4, rng.uniform(0.025, 0.04))]
    for k in range(4):
        root = palm + side * 0.018 * (k - 1.5)
        parts.append(capsule(root, root - out * 0.07 + [0, 0, 0.02], 0.009))
    return replace(scene, extras=parts)


def painted(vertices: np.ndarray, scene: Scene, rng: np.random.Generator) -> np.ndarray:
    """Colours that a camera gives corners: grey rock, skin, a brown table; blotched and shaded."""
    fields = [distance_to(scene.stone), *scene.extras, scene.ground]
    nearest = np.abs([field(vertices) for field in fields if field]).argmin(axis=0)
    base = np.array([[120, 122, 125], *[[205, 150, 125]] * len(scene.extras), [130, 95, 60]])
    ways = rng.normal(size=(5, 3)) * 60
    blotches = np.sin(vertices @ ways.T + rng.uniform(0, 6.28, 5)).sum(axis=1) * 0.06
    shade = 0.8 + 0.2 * vertices[:, 2] / vertices[:, 2].max() + blotches
    seen = base[nearest] * shade[:, None] + rng.normal(0, 6, (len(vertices), 3))
    return np.clip(seen, 0, 255).astype(np.uint8)


def with_neighbour(scene: Scene, rng: np.random.Generator) -> Mesh:
    vertices, faces = scene.stone
    shrunk = vertices * rng.uniform(0.5, 0.75)
    turn = rng.uniform(0, 6.28)
    cos, sin = np.cos(turn), np.sin(turn)
    shrunk = shrunk @ np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]]).T
    way = np.array([cos, sin, 0])
    gap = distance_to(scene.stone)
    far, near = 2 * scene.size, 0.0
    for _ in range(20):
        half = (far + near) / 2
        near, far = (half, far) if gap(shrunk + way * half).min() < -0.003 else (near, half)
    other = distance_to((shrunk + way * far, faces))
    return plain(replace(scene, extras=[other]), rng)


def slab(scene: Scene, rng: np.random.Generator) -> Mesh:
    thick = rng.uniform(0.005, 0.03)
    half = rng.uniform(0.7, 1.0) * scene.size

    def plate(p: np.ndarray) -> np.ndarray:
        aside = np.abs(p[:, :2]).max(axis=1) - half
        return np.maximum(aside, np.maximum(-thick - p[:, 2], p[:, 2]))

    whole = fused(replace(scene, ground=plate), 1.1, below=thick + 0.02)
    return scene.rough(whole, rng, 0.0002, 0.0006)


def poisson(scene: Scene, rng: np.random.Generator) -> Mesh:
    o3d = open3d()
    vertices, faces = plain(scene, rng)
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(vertices))
    cloud.normals = o3d.utility.Vector3dVector(_corner_normals(vertices, faces))
    mesh, _ = o3d.geometry.TriangleMesh.create_from_point_cloud_poisson(cloud, depth=7, n_threads=1)
    return np.asarray(mesh.vertices), np.asarray(mesh.triangles).astype(np.int64)


def without_flank(scene: Scene, rng: np.random.Generator) -> Mesh:
    vertices, faces = plain(scene, rng)
    middle = vertices[faces].mean(axis=1)
    angle, half = rng.uniform(0, 6.28), np.radians(rng.uniform(30, 55))
    off = (np.arctan2(middle[:, 1], middle[:, 0]) - angle + np.pi) % (2 * np.pi) - np.pi
    lost = (np.abs(off) < half) & (middle[:, 2] < rng.uniform(0.6, 0.85) * vertices[:, 2].max())
    return compacted(vertices, faces[~(lost & (middle[:, 2] > 0.002))])


def by_lidar(scene: Scene, rng: np.random.Generator) -> Mesh:
    blur = rng.uniform(0.003, 0.005)
    mesh = seen_of(fused(replace(scene, blur=blur, swell=rng.uniform(0, 0.004)), 1.0), rng)
    return scene.rough(mesh, rng, 0.0, 0.0003, 0.05)


def ghosted(scene: Scene, rng: np.random.Generator) -> Mesh:
    vertices, faces = plain(scene, rng)
    middle = vertices[faces].mean(axis=1)
    spot = middle[rng.integers(len(middle))]
    part = np.linalg.norm(middle - spot, axis=1) < 0.3 * scene.size
    ghost, inner = compacted(vertices, faces[part])
    ghost = ghost + _corner_normals(ghost, inner) * rng.uniform(0.002, 0.004)
    return np.concatenate([vertices, ghost]), np.concatenate([faces, inner + len(vertices)])


def wide_table(scene: Scene, rng: np.random.Generator) -> Mesh:
    vertices, faces = plain(scene, rng)
    half, n = rng.uniform(0.8, 1.4), 120
    x, y = np.meshgrid(np.linspace(-half, half, n), np.linspace(-half, half, n))
    flat = np.column_stack([x.ravel(), y.ravel(), rng.normal(0, 4e-4, n * n)])
    k = np.arange(n * n).reshape(n, n)
    a, b, c, d = (q.ravel() for q in (k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]))
    more = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    more = more[np.abs(flat[more].mean(axis=1)[:, :2]).max(axis=1) > scene.size]
    return np.concatenate([vertices, flat]), np.concatenate([faces, more + len(vertices)])


def cropped_flat(scene: Scene, rng: np.random.Generator) -> Mesh:
    mesh = scene.rough(fused(replace(scene, ground=None), 0.7), rng, 0.0002, 0.0006)
    vertices, faces = mesh
    keep = (vertices[faces][:, :, 2] > rng.uniform(0.002, 0.008)).all(axis=1)
    return compacted(vertices, faces[keep])


def torn(scene: Scene, rng: np.random.Generator) -> Mesh:
    """A scanner's mesh in about thirty patches that came apart by tenths of a millimetre."""
    vertices, faces = plain(scene, rng)
    middle = vertices[faces].mean(axis=1)
    seeds = middle[rng.choice(len(middle), 33, replace=False)]
    patch = np.linalg.norm(middle[:, None] - seeds, axis=2).argmin(axis=1)
    shifts = rng.normal(0, 4e-4, (33, 3))
    parts = [compacted(vertices + shifts[k], faces[patch == k]) for k in range(33)]
    return united(parts)


def bare_cloud(scene: Scene, rng: np.random.Generator) -> Mesh:
    """Points of the stone alone, what the table hides left out."""
    vertices, _ = cropped_flat(scene, rng)
    return vertices + rng.normal(0, 0.0004, vertices.shape), np.empty((0, 3), dtype=np.int64)


def as_cloud(scene: Scene, rng: np.random.Generator) -> Mesh:
    vertices, _ = plain(scene, rng)
    return vertices + rng.normal(0, 0.0004, vertices.shape), np.empty((0, 3), dtype=np.int64)


CONDITIONS: dict[str, Callable[[Scene, np.random.Generator], Mesh]] = {
    "table in view": plain,
    "table in view, coarse": plain,
    "rough skin, 2 mm": noisy,
    "noise of many scales, 1 mm": of_many_scales,
    "on a wrinkled cloth": on_cloth,
    "on a stand": on_stand,
    "held in a hand": in_hand,
    "touching a neighbour": with_neighbour,
    "table closed to a slab": slab,
    "closed by Poisson": poisson,
    "a flank missing": without_flank,
    "smoothed by LiDAR": by_lidar,
    "ghost layer": ghosted,
    "wide table": wide_table,
    "cropped flat, no table": cropped_flat,
    "torn to patches": torn,
    "cloud with its table": as_cloud,
    "cloud without a table": bare_cloud,
}


def made(
    name: str,
    stone: Stone,
    seed: int,
    scale: float = 1.0,
    off: float = 0.015,
    unlike: bool = False,
    fine: bool = False,
) -> Made:
    """One scan under a condition, the same for the same seed.

    `unlike` takes noise of another making and a lattice of another width: to judge. `fine` takes
    a lattice as phones have it, for what is in `FINE`.
    """
    rng = np.random.default_rng([seed, sum(map(ord, name))])
    scene = standing(stone, rng, scale)
    if unlike:
        scene = replace(scene, noise=drifted, cells=int(rng.integers(70, 110)))
    if fine and name in FINE:
        scene = replace(scene, step=rng.uniform(*FINE_STEPS) * max(1.0, scene.size / 0.25))
    return finished(CONDITIONS[name](scene, rng), scene, rng, off)
