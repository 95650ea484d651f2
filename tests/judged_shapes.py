"""Stones and wood of several makers; on some of them nothing is ever learned.

Hewn, ledged and pitted stones and gnarled wood teach (`learn_underside.py`, seeds from 51000) and were looked
at while rules were made. Flaked, blocky and worn stones and stumps only judge. Each is the zero level of a distance-like field on a lattice, so that it is closed and its volume
is that of its mesh.
"""

from collections.abc import Callable

import numpy as np
from phone_scans import Stone, _direction
from skimage.measure import marching_cubes

LATTICE = 72  # cells along the longer side
CLOSE = 0.12  # how far off its skin a field of limbs is worked out
Field = Callable[[np.ndarray], np.ndarray]


def hewn(rng: np.random.Generator) -> Field:
    """Broken rock: planes in all directions, a few of them close, and a rough skin."""
    ways = np.array([_direction(rng) for _ in range(rng.integers(9, 18))])
    ways = np.concatenate([ways, np.eye(3), -np.eye(3)])
    offsets = rng.uniform(0.55, 0.95, len(ways)) * np.linalg.norm(
        ways * [1, rng.uniform(0.5, 0.9), rng.uniform(0.4, 0.9)], axis=1
    )
    skin = relief(rng, 0.012)
    return lambda p: (p @ ways.T - offsets).max(axis=1) + skin(p)


def ledged(rng: np.random.Generator) -> Field:
    """Layered rock: slabs of different outline on one another, tilted."""
    tilt, ledges = _direction(rng), []
    for low in np.arange(-0.6, 0.6, 0.17):
        ways = np.array([[np.cos(a), np.sin(a), 0] for a in rng.uniform(0, 6.28, 7)])
        corners = np.array([[np.cos(a), np.sin(a), 0] for a in np.arange(4) * 1.57])
        ledges.append((low, np.concatenate([ways, corners]), rng.uniform(0.5, 0.95, 11)))
    skin = relief(rng, 0.01)
    turn = np.linalg.qr(np.column_stack([_direction(rng), tilt, _direction(rng)]))[0]

    def field(p: np.ndarray) -> np.ndarray:
        q = p @ turn
        slabs = [
            np.maximum((q @ ways.T - reach).max(axis=1), np.abs(q[:, 2] - low) - 0.1)
            for low, ways, reach in ledges
        ]
        return np.min(slabs, axis=0) + skin(p)

    return field


def pitted(rng: np.random.Generator) -> Field:
    """Weathered limestone: an uneven core with rounded hollows and a few deep ones."""
    sides = np.array([1, rng.uniform(0.6, 0.9), rng.uniform(0.5, 0.85)]) * 0.9
    hollows = [
        (_direction(rng) * sides * rng.uniform(0.9, 1.15), rng.uniform(0.08, 0.28))
        for _ in range(rng.integers(10, 25))
    ]
    skin = relief(rng, 0.02)

    def field(p: np.ndarray) -> np.ndarray:
        core = (np.linalg.norm(p / sides, axis=1) - 1) * sides.min() + skin(p)
        for middle, radius in hollows:
            core = blended(core, radius - np.linalg.norm(p - middle, axis=1))
        return core

    return field


def gnarled(rng: np.random.Generator) -> Field:
    """Root wood: a bent trunk and three to five limbs that wander and taper."""
    bits: list[tuple[np.ndarray, np.ndarray, float, float]] = []
    walk(bits, np.array([-0.9, 0, 0]), np.array([1.0, 0.1, 0.1]), 0.14, 0.05, 10, rng)
    for _ in range(rng.integers(3, 6)):
        start = bits[rng.integers(1, 9)][0]
        way = _direction(rng) + [0.4, 0, 0]
        walk(bits, start, way, rng.uniform(0.06, 0.1), 0.03, 5, rng)
    return limbs(bits, relief(rng, 0.006))


def flaked(rng: np.random.Generator) -> Field:
    """Glassy rock: a round core from which shells were struck, with sharp ridges between them."""
    sides = np.array([1, rng.uniform(0.55, 0.9), rng.uniform(0.5, 0.85)]) * 0.95
    struck = []
    for _ in range(rng.integers(7, 14)):
        way, radius = _direction(rng), rng.uniform(0.35, 1.4)
        struck.append((way * (sides * rng.uniform(0.62, 0.9) + radius), radius))
    skin = relief(rng, 0.005)

    def field(p: np.ndarray) -> np.ndarray:
        core = (np.linalg.norm(p / sides, axis=1) - 1) * sides.min()
        hollows = [radius - np.linalg.norm(p - middle, axis=1) for middle, radius in struck]
        return np.maximum(core, np.max(hollows, axis=0)) + skin(p)

    return field


def blocky(rng: np.random.Generator) -> Field:
    """Jointed rock: blocks at slightly different angles that grew together, edges a little worn."""
    frame = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    blocks = []
    for _ in range(rng.integers(4, 9)):
        turn = np.linalg.qr(frame + 0.15 * rng.normal(size=(3, 3)))[0]
        middle = rng.uniform(-0.35, 0.35, 3) * [1, 0.7, 0.6]
        blocks.append((turn, middle, rng.uniform(0.22, 0.6, 3)))
    worn, skin = rng.uniform(0.01, 0.08), relief(rng, 0.015)

    def field(p: np.ndarray) -> np.ndarray:
        apart = []
        for turn, middle, half in blocks:
            over = np.abs((p - middle) @ turn) - half + worn
            aside = np.linalg.norm(np.maximum(over, 0), axis=1)
            apart.append(aside + np.minimum(over.max(axis=1), 0) - worn)
        return np.min(apart, axis=0) + skin(p)

    return field


def worn(rng: np.random.Generator) -> Field:
    """River stone: a superellipsoid, bent, with faint hollows."""
    sides, power = np.array([1, rng.uniform(0.6, 0.9), rng.uniform(0.35, 0.8)]), rng.uniform(1.8, 4)
    ways, phases = rng.normal(size=(9, 3)) * 1.8, rng.uniform(0, 6.28, (9,))
    pull, skin = rng.normal(size=(9, 3)) * 0.05, relief(rng, 0.008)

    def field(p: np.ndarray) -> np.ndarray:
        q = (p + np.sin(p @ ways.T + phases) @ pull) / sides / 0.95
        reach = (np.abs(q) ** power).sum(axis=1) ** (1 / power)
        return (reach - 1) * sides.min() + skin(p)

    return field


def stump(rng: np.random.Generator) -> Field:
    """Wood: a short thick stem from which four to seven roots spread, fork and thin out."""
    bits: list[tuple[np.ndarray, np.ndarray, float, float]] = []
    thick = rng.uniform(0.13, 0.22)
    walk(bits, np.zeros(3), np.array([0.1, 0, 1.0]), thick, 0.8 * thick, 3, rng)
    for angle in np.linspace(0, 6.28, rng.integers(4, 8), endpoint=False):
        way = np.array([np.cos(angle), np.sin(angle), rng.uniform(-0.6, 0.1)])
        first = len(bits)
        walk(bits, np.zeros(3), way, rng.uniform(0.6, 0.9) * thick, 0.05, 5, rng)
        fork, turned = bits[first + 2][1], way + 0.8 * _direction(rng)
        walk(bits, fork, turned, bits[first + 2][3], 0.03, 3, rng)
    return limbs(bits, relief(rng, 0.008))


def limbs(bits: list[tuple[np.ndarray, np.ndarray, float, float]], skin: Field) -> Field:
    """Tapering bits grown together."""

    def field(p: np.ndarray) -> np.ndarray:
        found = np.full(len(p), 9.0)
        for a, b, thick, thin in bits:
            low, high = np.minimum(a, b) - thick - CLOSE, np.maximum(a, b) + thick + CLOSE
            near = np.flatnonzero(((p > low) & (p < high)).all(axis=1))
            way = p[near] - a
            along = np.clip(way @ (b - a) / ((b - a) @ (b - a)), 0, 1)
            radius = thick + (thin - thick) * along
            gap = np.linalg.norm(way - along[:, None] * (b - a), axis=1) - radius
            found[near] = -blended(-found[near], -gap, 0.02)
        near = np.flatnonzero(np.abs(found) < CLOSE)
        found[near] += skin(p[near])
        return found

    return field


def walk(
    bits: list[tuple[np.ndarray, np.ndarray, float, float]],
    start: np.ndarray,
    way: np.ndarray,
    thick: float,
    thin: float,
    steps: int,
    rng: np.random.Generator,
) -> None:
    """Add bits of a limb that wanders."""
    way = way / np.linalg.norm(way)
    radii = np.linspace(thick, thin, steps + 1)
    for k in range(steps):
        end = start + way * 0.16
        bits.append((start, end, float(radii[k]), float(radii[k + 1])))
        start, way = end, way + 0.35 * _direction(rng)
        way /= np.linalg.norm(way)


def relief(rng: np.random.Generator, height: float) -> Field:
    """Waves of four lengths."""
    ways = np.concatenate([rng.normal(size=(6, 3)) * 4 * 2.0**k for k in range(4)])
    heights, phases = np.repeat(0.6 ** np.arange(4), 6) * height / 2, rng.uniform(0, 6.28, 24)
    return lambda p: np.sin(p @ ways.T + phases) @ heights


def blended(a: np.ndarray, b: np.ndarray, soft: float = 0.03) -> np.ndarray:
    """The larger of two fields with its crease rounded."""
    near = np.maximum(soft - np.abs(a - b), 0) / soft
    return np.maximum(a, b) + near**2 * soft / 4


def meshed(name: str, field: Field, size: float) -> Stone:
    """The zero level of a field within ± 1.25, its longest extent brought to a size [m]."""
    axis = np.linspace(-1.25, 1.25, LATTICE)
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    values = field(grid.reshape(-1, 3)).reshape(grid.shape[:3])
    values[[0, -1]] = values[:, [0, -1]] = values[:, :, [0, -1]] = 1.0
    vertices, faces, _, _ = marching_cubes(values, 0.0)
    vertices, faces = largest(vertices.astype(np.float64), faces.astype(np.int64))
    return name, vertices * size / np.ptp(vertices, axis=0).max(), faces


def largest(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The shell with the most faces, outward."""
    from plumbstone.meshes.measures.faults import enclosed_volume, shells
    from plumbstone.meshes.mending.welding import compacted

    number = shells(faces, len(vertices))
    vertices, faces = compacted(vertices, faces[number == np.bincount(number).argmax()])
    return vertices, faces if enclosed_volume(vertices, faces) > 0 else faces[:, ::-1]


def other_stones(count: int, first: int) -> list[Stone]:
    """Hewn, ledged and pitted stones in turn, 14 to 36 cm: may teach."""
    return _in_turn((hewn, ledged, pitted), count, first, (0.14, 0.36))


def judged_stones(count: int, first: int) -> list[Stone]:
    """Flaked, blocky and worn stones in turn, 14 to 36 cm: only judge."""
    return _in_turn((flaked, blocky, worn), count, first, (0.14, 0.36))


def other_wood(count: int, first: int) -> list[Stone]:
    """Root wood of 25 to 60 cm: may teach."""
    return _in_turn((gnarled,), count, first, (0.25, 0.6))


def judged_wood(count: int, first: int) -> list[Stone]:
    """Stumps with roots of 25 to 60 cm: only judge."""
    return _in_turn((stump,), count, first, (0.25, 0.6))


def _in_turn(
    makers: tuple[Callable[[np.random.Generator], Field], ...],
    count: int,
    first: int,
    sizes: tuple[float, float],
) -> list[Stone]:
    found = []
    for seed in range(first, first + count):
        rng = np.random.default_rng(seed)
        make = makers[seed % len(makers)]
        found.append(meshed(f"{make.__name__} {seed}", make(rng), rng.uniform(*sizes)))
    return found
