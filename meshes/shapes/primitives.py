"""Simple solids and natural shapes as closed, outward meshes with known volumes."""

from collections.abc import Callable, Mapping, Sequence
from functools import cache, lru_cache

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.mending.solids import mesh_of, solid_of, together
from plumbstone.meshes.piece import Floats, Indices, Piece

CAP_RINGS = 4  # rings of corners in each round end of a limb
CAP_LENGTH = 0.25  # of a round end, over the diameter there
CAP_FLAT = 0.5  # of that diameter, flat in the middle of the end: sawn and worn, so it can stand
FOOT = 0.14  # share of a boulder's height that is ground off below, so that it stands
ROUND_SIDES = 64  # corners around a cylinder; its polygon is scaled to the circle's area
_ICOSAHEDRON = (
    (0, 8, 4), (4, 9, 2), (5, 0, 2), (2, 0, 4), (10, 1, 8),
    (10, 0, 5), (8, 0, 10), (6, 9, 4), (4, 8, 6), (8, 1, 6),
    (1, 3, 6), (6, 3, 9), (9, 3, 11), (11, 2, 9), (5, 2, 11),
    (7, 10, 5), (7, 3, 1), (1, 10, 7), (7, 11, 3), (5, 11, 7),
)  # rows of the twelve corners, counter-clockwise seen from outside  # fmt: skip


class FormError(PlumbstoneError, ValueError):
    """Sizes from which no solid can be made."""


def box(size: Sequence[float]) -> Piece:
    """Cuboid of length × width × height [m], its floor at z = 0, centred in x and y."""
    length, width, height = _sizes(size)
    x, y = length / 2, width / 2
    vertices = np.array(
        [[sx * x, sy * y, z] for z in (0.0, height) for sy in (-1, 1) for sx in (-1, 1)]
    )
    faces = np.array(
        [
            [0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4],
            [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5],
        ]
    )  # fmt: skip
    return Piece(vertices, faces, "box", source="box")


def slab(size: Sequence[float], bevel: float = 0.1) -> Piece:
    """Flat stone: a cuboid whose upper rim is bevelled.

    Of a length, width and height [m]; the bevel is as wide and deep as a share of the height. Its
    volume is that of the cuboid below the bevel plus the frustum above it.
    """
    length, width, height = _sizes(size)
    step = bevel * height
    rings = [(0.0, 0.0), (height - step, 0.0), (height, step)]
    outline = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    loops = [
        np.column_stack([outline * [length - 2 * inset, width - 2 * inset], np.full(4, z)])
        for z, inset in rings
    ]
    return Piece(*_skin(loops), "slab", source="slab")


def cylinder(diameter: float, length: float, sides: int = ROUND_SIDES) -> Piece:
    """Upright cylinder on z = 0; the polygon around has the circle's area [m]."""
    diameter, length, _ = _sizes((diameter, length, 1.0))
    loops = [_ring(diameter / 2, sides) + np.array([0, 0, z]) for z in (0.0, length)]
    return Piece(*_skin(loops), "cylinder", source="cylinder")


def ellipsoid(size: Sequence[float], subdivisions: int = 5) -> Piece:
    """Ellipsoid with the given three diameters [m], lowest point at z = 0.

    Inscribed: at five subdivisions its volume is 0.05 % below 4/3 π a b c.
    """
    axes = np.array(_sizes(size))
    vertices, faces = unit_sphere(subdivisions)
    vertices = vertices * axes / 2 + [0, 0, axes[2] / 2]
    return Piece(vertices, faces, "ellipsoid", source="ellipsoid")


def boulder(size: Sequence[float], seed: int = 0, subdivisions: int = 5) -> Piece:
    """Seeded stone of a natural look: flat fracture faces, worn edges, rough skin, a flat foot.

    Parameters
    ----------
    size : (3,) floats
        Length, width and height of the box around it [m].
    seed : int
        Same seed, same stone.
    subdivisions : int
        Of the sphere it is cut from; 5 gives 20 480 faces.

    Returns
    -------
    Piece
        Lowest point at z = 0, centred in x and y; star-shaped, so never self-crossing.
    """
    extent = np.array(_sizes(size))
    vertices, faces = _unit_boulder(seed, subdivisions)
    vertices = vertices.copy()
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    vertices[:, 2] = np.maximum(vertices[:, 2], low[2] + FOOT * (high[2] - low[2]))
    low = vertices.min(axis=0)
    vertices = (vertices - (low + high) / 2) / (high - low) * extent
    vertices[:, 2] += extent[2] / 2
    return Piece(vertices, faces, "boulder", source=f"boulder, seed {seed}")


@lru_cache(maxsize=64)  # a quarter of a megabyte each
def _unit_boulder(seed: int, subdivisions: int) -> tuple[Floats, Indices]:
    """Give the same of no size, without its foot; corners (n, 3)."""
    rng = np.random.default_rng(seed)
    directions, faces = unit_sphere(subdivisions)
    radius = _faceted_radius(directions, rng) * (1 + _roughness(directions, rng))
    return directions * radius[:, None], faces


def upright_cylinder(size: Sequence[float]) -> Piece:
    """Upright cylinder that fills the box of a length, width and height [m]; it may be oval."""
    piece = cylinder(1.0, 1.0)
    return piece.moved_to(piece.vertices * _sizes(size))


# What a scape file may call a solid: name → the form that fills a box of that size [m].
SOLIDS: Mapping[str, Callable[[Sequence[float]], Piece]] = {
    "box": box,
    "slab": slab,
    "ellipsoid": ellipsoid,
    "cylinder": upright_cylinder,
}


def stone_of_size(size: Sequence[float], shape_factor: float = 0.5) -> Piece:
    """Stone that fills a given share of the box around it.

    Parameters
    ----------
    size : (3,) floats
        Length, width and height of that box [m].
    shape_factor : float
        Volume over that of the box; a superellipsoid reaches 0.2 to 0.95
        (an ellipsoid is π/6 = 0.52).

    Returns
    -------
    Piece
        Its volume is `shape_factor` times that of the box, to 1e-9.

    Raises
    ------
    FormError
        If the factor lies outside 0.2 to 0.95.
    """
    extent = np.array(_sizes(size))
    if not 0.2 <= shape_factor <= 0.95:
        raise FormError(f"A shape factor of {shape_factor:.2f} is no stone's; give 0.2 to 0.95.")
    directions, faces = unit_sphere(4)

    def formed(power: float) -> tuple[Floats, float]:
        norm = (np.abs(directions) ** np.exp(power)).sum(axis=1) ** np.exp(-power)
        unit = directions / norm[:, None]
        return unit, enclosed_volume(unit, faces) / 8 - shape_factor

    (a, b), steps = np.log([0.7, 60.0]), 60
    before, (unit, off) = formed(a)[1], formed(b)
    while abs(off) > 1e-12 and (steps := steps - 1):  # regula falsi, Illinois
        power = (a * off - b * before) / (off - before)
        unit, found = formed(power)
        a, before = (b, off) if found * off < 0 else (a, before / 2)
        b, off = power, found
    vertices = unit * extent / 2 + [0, 0, extent[2] / 2]
    return Piece(vertices, faces, "stone", source="size and shape factor")


def branch(points: Floats, diameters: Floats, sides: int = 16) -> Piece:
    """Tapered limb along a polyline, worn round at both ends.

    Parameters
    ----------
    points : (k, 3) float array
        Axis of the limb from tip to tip [m].
    diameters : (2,) or (k,) float array
        At its two ends (even taper along the length), or at each point [m].
    sides : int
        Corners around; the polygon has the circle's area.

    Returns
    -------
    Piece
        In the frame of `points`, closed. Its round ends lie within its length: segments of
        ellipsoids, `CAP_LENGTH` diameters long, at most half of the first or last step, with a
        disc of `CAP_FLAT` of their width in front. A straight one holds its frustum and
        π r² h (2 + `CAP_FLAT`²) / 3 in each end, of radius r and length h; the facets take 2 %
        of what is in the ends.

    Raises
    ------
    FormError
        If there are fewer than two points, two coincide, or a diameter is not positive.
    """
    points, diameters = np.asarray(points, dtype=float), np.asarray(diameters, dtype=float)
    steps = np.diff(points, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    if len(points) < 2 or not (lengths > 0).all() or not (diameters > 0).all():
        raise FormError("A limb needs two or more different points and diameters above zero.")
    if len(diameters) != len(points):
        along = np.concatenate([[0], np.cumsum(lengths)]) / lengths.sum()
        diameters = np.interp(along, np.linspace(0, 1, len(diameters)), diameters)
    frames = _frames(steps / lengths[:, None])
    first, last = _cap(points[:2], diameters[:2]), _cap(points[:-3:-1], diameters[:-3:-1])
    middle = [(*row, frame) for *row, frame in zip(points, diameters, frames, strict=True)][1:-1]
    axis = [(*row, frames[0]) for row in first] + middle
    axis += [(*row, frames[-1]) for row in reversed(last)]
    circle = _ring(1.0, sides)[:, :2]
    loops = [
        point + d / 2 * (circle[:, :1] * side + circle[:, 1:] * other)
        for point, d, (side, other) in axis
    ]
    skin = _skin(loops, (points[0], points[-1]))
    return Piece(*skin, "branch", source="limb by length and girth")


def fork(paths: Sequence[Floats], diameters: Sequence[Floats], sides: int = 16) -> Piece:
    """Several limbs grown together: the true union of `branch` solids as one closed mesh.

    Each limb has an axis (k, 3) and diameters as in `branch` [m], and so many corners around; the
    union lies in the frame of the paths.
    """
    parts = [branch(p, d, sides) for p, d in zip(paths, diameters, strict=True)]
    joined, *others = (solid_of(part.vertices, part.faces) for part in parts)
    for other in others:
        joined = joined + other
    return Piece(*mesh_of(joined), "fork", source="limbs, united")


def limbs(lengths: Sequence[float], girths: Sequence[Sequence[float]]) -> Piece:
    """Straight limbs by length and girth at both ends, lying side by side on z = 0.

    Lengths (k,) and k pairs of girths [m] make bodies that do not touch, each a `branch` of its
    length.
    """
    rods, y = [], 0.0
    for length, girth in zip(lengths, girths, strict=True):
        ends = np.array(girth, dtype=float) / np.pi
        radius = ends.max() / 2
        rise = np.clip((ends[1] - ends[0]) / 2, -length / 2, length / 2)  # its underside is level
        x = np.sqrt(length**2 - rise**2) / 2
        axis = np.array([[-x, y + radius, radius], [x, y + radius, radius + rise]])
        rod = branch(axis, ends, ROUND_SIDES)
        rods.append((rod.vertices, rod.faces))
        y += 2.2 * radius
    vertices, faces = together(rods)
    vertices -= [0, y / 2, vertices[:, 2].min()]
    return Piece(vertices, faces, "limbs", source="limbs by length and girth")


def _sizes(size: Sequence[float]) -> tuple[float, float, float]:
    """Check three lengths."""
    sizes = np.asarray(size, dtype=float)
    if sizes.shape != (3,) or not np.isfinite(sizes).all() or not (sizes > 0).all():
        raise FormError(f"{size} is no size; give three lengths above zero.")
    return float(sizes[0]), float(sizes[1]), float(sizes[2])


def _ring(radius: float, sides: int) -> Floats:
    """Regular polygon in the plane z = 0 with the area of a circle, flat below, (sides, 3)."""
    turn = 2 * np.pi / sides
    radius *= np.sqrt(turn / np.sin(turn))
    angles = turn * (np.arange(sides) + 0.5)
    return np.column_stack([radius * np.cos(angles), radius * np.sin(angles), np.zeros(sides)])


def _cap(points: Floats, diameters: Floats) -> list[tuple[Floats, float]]:
    """Middle and diameter of the rings of a round end, from the first of two points inwards."""
    length = np.linalg.norm(points[1] - points[0])
    share = min(CAP_LENGTH * diameters[0] / length, 0.5)  # of the step that is round
    base = diameters[0] + share * (diameters[1] - diameters[0])
    angles = np.linspace(np.arcsin(CAP_FLAT), np.pi / 2, CAP_RINGS)
    inwards = share * (1 - np.cos(angles) / np.cos(angles[0]))
    return [
        (points[0] + along * (points[1] - points[0]), float(base * sine))
        for along, sine in zip(inwards, np.sin(angles), strict=True)
    ]


def _skin(
    loops: Sequence[Floats], tips: tuple[Floats, Floats] | None = None
) -> tuple[Floats, Indices]:
    """Join equal loops, counter-clockwise seen along the axis from its end, into a closed skin.

    The ends are fans around two tips; flat ones around the middle of the first and last loop
    where none are given.
    """
    n = len(loops[0])
    ring = np.arange(n)
    after = (ring + 1) % n
    faces = [np.column_stack([after, ring, np.full(n, n * len(loops))])]
    for k in range(len(loops) - 1):
        a, b, c, d = k * n + ring, k * n + after, (k + 1) * n + after, (k + 1) * n + ring
        faces += [np.column_stack([a, b, c]), np.column_stack([a, c, d])]
    last = (len(loops) - 1) * n
    faces.append(np.column_stack([last + ring, last + after, np.full(n, n * len(loops) + 1)]))
    ends = np.array(tips or (loops[0].mean(axis=0), loops[-1].mean(axis=0)))
    return np.concatenate([*loops, ends]), np.concatenate(faces)


def _frames(tangents: Floats) -> list[tuple[Floats, Floats]]:
    """Two unit vectors across a polyline at each of its points, carried along without twist."""
    joints = np.concatenate([tangents[:1], tangents[:-1] + tangents[1:], tangents[-1:]])
    norms = np.linalg.norm(joints, axis=1)
    if (norms < 1e-6).any():
        raise FormError("A limb turns back on itself; move that point aside.")
    joints = joints / norms[:, None]
    side = np.cross(joints[0], np.eye(3)[np.abs(joints[0]).argmin()])
    frames = []
    for joint in joints:
        side = side - joint * (side @ joint)
        side = side / np.linalg.norm(side)
        frames.append((side, np.cross(joint, side)))
    return frames


@cache
def unit_sphere(subdivisions: int) -> tuple[Floats, Indices]:
    """Make a unit sphere from a subdivided icosahedron: corners (n, 3) [-], faces (20 · 4^k, 3).

    The same arrays are given each time, so they cannot be written to.
    """
    golden = (1 + 5**0.5) / 2
    base = np.array([[0, s, t * golden] for s in (-1, 1) for t in (-1, 1)], dtype=float)
    vertices = np.concatenate([np.roll(base, shift, axis=1) for shift in range(3)])
    faces = np.array(_ICOSAHEDRON, dtype=np.int64)
    vertices = vertices / np.linalg.norm(vertices, axis=1)[:, None]
    for _ in range(subdivisions):
        vertices, faces = _subdivided(vertices, faces)
    vertices.flags.writeable = faces.flags.writeable = False
    return vertices, faces


def _subdivided(vertices: Floats, faces: Indices) -> tuple[Floats, Indices]:
    """Split each face of a unit sphere in four."""
    edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    keys, inverse = np.unique(edges @ [len(vertices), 1], return_inverse=True)
    middles = vertices[np.column_stack(np.divmod(keys, len(vertices)))].sum(axis=1)
    middles /= np.linalg.norm(middles, axis=1)[:, None]
    ab, bc, ca = (inverse.reshape(-1, 3) + len(vertices)).T
    a, b, c = faces.T
    split = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return (
        np.concatenate([vertices, middles]),
        np.concatenate([np.column_stack(part) for part in split]),
    )


def _faceted_radius(directions: Floats, rng: np.random.Generator) -> Floats:
    """Distance to a polyhedron of random planes, its edges worn by a smooth minimum."""
    count = int(rng.integers(12, 20))
    normals = rng.normal(size=(count, 3))
    normals = np.concatenate([normals, -normals[: count // 3]])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    offsets = rng.uniform(0.75, 1.15, len(normals))
    reach = np.clip(directions @ normals.T, 0, None) / offsets
    sharpness = rng.uniform(14, 30)
    soft: Floats = (reach**sharpness).sum(axis=1) ** (-1 / sharpness)
    return np.clip(soft, 0.3, 1.6)


def _roughness(directions: Floats, rng: np.random.Generator) -> Floats:
    """Relative relief: waves in random directions, finer ones lower."""
    relief = np.zeros(len(directions))
    for octave in range(5):
        waves = rng.normal(size=(6, 3)) * 2.2 * 1.9**octave
        phases = rng.uniform(0, 2 * np.pi, 6)
        relief += np.sin(directions @ waves.T + phases).sum(axis=1) * 0.012 * 0.52**octave
    return relief
