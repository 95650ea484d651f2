"""Surfaces that pass through themselves or each other, made into one skin around all of them."""

import numpy as np
import scipy
from numpy.typing import NDArray

from plumbstone.meshes.faces import cut_faces
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.mending.solids import mesh_of, together
from plumbstone.meshes.piece import Flags, Floats, Indices

PLANES, LINES = 9, 9  # planes through the outline and vertical lines in each, for crossings
LATTICE = 72  # cells along the longest side
ROUND = 0.7  # of a cell: how far the lattice is smoothed before a skin is put around it
SHARED = 1e-6  # of the smaller volume: shells that share more than this are one body


def crossed_share(vertices: Floats, faces: Indices) -> float:
    """Share of the skin of a closed mesh, met by vertical lines, where it lies in itself.

    0 for a clean mesh of corners (n, 3) [m] and outward faces (m, 3), where each crossing leads
    from outside (winding number 0) to inside (1) or back; elsewhere the surface passes through
    itself.
    """
    y = vertices[:, 1]
    low, high = float(y.min()), float(y.max())
    crossings, wrong = 0, 0
    shares = (np.arange(PLANES) + 0.5173) / PLANES  # off the middle, where meshes have edges
    levels = low + shares * (high - low)
    planes, met = cut_faces(y, faces, levels)
    for plane, level in enumerate(levels):
        corners = vertices[faces[met[planes == plane]]]
        if len(corners) == 0:
            continue
        first, last = float(corners[:, :, 0].min()), float(corners[:, :, 0].max())
        for part in (np.arange(LINES) + 0.5173) / LINES:
            line = first + part * (last - first)
            steps = _steps_along(corners, line, level)
            turns = np.cumsum(steps)
            before = turns - steps
            wrong += int(((turns < 0) | (turns > 1) | (before < 0) | (before > 1)).sum())
            crossings += len(steps)
    return wrong / crossings if crossings else 0.0


def _steps_along(corners: Floats, x: float, y: float) -> NDArray[np.int64]:
    """Change of the winding number at each face that a vertical line meets, from below up."""
    a, b, c = (corners[:, k, :2] - (x, y) for k in range(3))
    weights = [p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] for p, q in ((b, c), (c, a), (a, b))]
    up = np.all([w > 0 for w in weights], axis=0)
    met = np.flatnonzero(up | np.all([w < 0 for w in weights], axis=0))
    shares = np.stack([w[met] for w in weights])
    heights = (shares * corners[met, :, 2].T).sum(axis=0) / shares.sum(axis=0)
    return np.where(up[met], -1, 1)[np.argsort(heights)]


def united(
    vertices: Floats, shells: tuple[Indices, ...]
) -> tuple[Floats, tuple[Indices, ...], int]:
    """Unite closed shells that pass through each other.

    Gives corners (n, 3) [m], the faces (k, 3) of bodies that do not touch, largest first, and how
    many shells went into another.

    Notes
    -----
    Exact booleans by manifold3d. Shells that it does not take as solids stay as they are.
    """
    import manifold3d

    solids = []
    for shell in shells:
        mesh = manifold3d.Mesh64(
            vert_properties=np.ascontiguousarray(vertices),
            tri_verts=np.ascontiguousarray(shell, dtype=np.uint64),
        )
        mesh.merge()
        solid = manifold3d.Manifold(mesh)
        if solid.status() != manifold3d.Error.NoError or solid.volume() <= 0:
            return vertices, shells, 0
        solids.append(solid)
    bodies: list[tuple[manifold3d.Manifold, list[int]]] = []
    for number, solid in enumerate(solids):
        members = [number]
        apart = []
        for other, inside in bodies:
            both = (other ^ solid).volume()
            if both > SHARED * min(other.volume(), solid.volume()):
                solid, members = solid + other, members + inside
            else:
                apart.append((other, inside))
        bodies = [*apart, (solid, members)]
    joined = len(shells) - len(bodies)
    if joined == 0:
        return vertices, shells, 0
    bodies.sort(key=lambda body: -body[0].volume())
    meshes = [mesh_of(solid) for solid, _ in bodies]
    points, faces = together(meshes)
    ends = np.cumsum([len(own) for _, own in meshes])[:-1]
    return points, tuple(np.split(faces, ends)), joined


def one_skin(vertices: Floats, faces: Indices) -> tuple[Floats, Indices, float]:
    """Put one skin around a closed mesh that passes through itself.

    Gives corners (n, 3) [m], closed faces (m, 3), and the volume that they hold [m³]: that of all
    space that the mesh winds around at least once, by vertical lines.

    Notes
    -----
    The winding number is counted along vertical lines of a lattice; a skin is put around
    where it is 1 or more (marching tetrahedra, by manifold3d), and scaled to that volume.
    """
    import manifold3d

    low, size = vertices.min(axis=0), np.ptp(vertices, axis=0)
    step = float(size.max()) / LATTICE
    shape = (np.ceil(size / step).astype(int) + 5).astype(int)
    origin = low - 2.5 * step
    inside, volume = wound_around((vertices - origin) / step, faces, tuple(shape))
    density = scipy.ndimage.gaussian_filter(inside.astype(np.float32), ROUND, mode="constant") - 0.5
    flat = density.ravel().tolist()
    nx, ny, nz = (int(n) for n in shape)

    def depth(x: float, y: float, z: float) -> float:
        i, j, k = int(x), int(y), int(z)
        if not (0 <= i < nx - 1 and 0 <= j < ny - 1 and 0 <= k < nz - 1):
            return -0.5
        u, v, w = x - i, y - j, z - k
        n = (i * ny + j) * nz + k
        m, o, p = n + ny * nz, n + nz, n + ny * nz + nz
        low_v: float = (flat[n] * (1 - w) + flat[n + 1] * w) * (1 - u)
        low_v += (flat[m] * (1 - w) + flat[m + 1] * w) * u
        high_v: float = (flat[o] * (1 - w) + flat[o + 1] * w) * (1 - u)
        high_v += (flat[p] * (1 - w) + flat[p + 1] * w) * u
        return low_v * (1 - v) + high_v * v

    bounds = [0.0, 0.0, 0.0, nx - 1.0, ny - 1.0, nz - 1.0]
    points, skin = mesh_of(manifold3d.Manifold.level_set(depth, bounds, 1.0))
    points = points * step + origin + step / 2
    wanted = volume * step**3
    middle = points.mean(axis=0)
    found = enclosed_volume(points, skin)
    if found <= 0:
        return points, skin, 0.0
    return (points - middle) * (wanted / found) ** (1 / 3) + middle, skin, wanted


def wound_around(vertices: Floats, faces: Indices, shape: tuple[int, ...]) -> tuple[Flags, float]:
    """Tell which points of a unit lattice a mesh winds around, and the volume it does [cells]."""
    nx, ny, nz = shape
    cells, heights, turns, steps = _turns(vertices, faces, ny, nx)
    same = np.append(cells[1:] == cells[:-1], False)
    above = np.append(heights[1:], 0.0)
    volume = float((above - heights)[(turns > 0) & same].sum())
    marks = np.zeros((nx * ny, nz + 1), dtype=np.int32)
    column = (cells % nx) * ny + cells // nx
    level = np.clip(np.ceil(heights - 0.5).astype(int), 0, nz)
    np.add.at(marks, (column, level), steps)
    inside = np.cumsum(marks[:, :nz], axis=1) > 0
    return inside.reshape(nx, ny, nz), volume


def _turns(
    vertices: Floats, faces: Indices, rows: int, columns: int
) -> tuple[Indices, Floats, Indices, Indices]:
    """Follow vertical lines upwards through a mesh: cell, height, winding after, and its step."""
    from plumbstone.meshes.measures.columns import signed_hits

    cells, heights, upward = signed_hits(vertices, faces, rows, columns)
    order = np.lexsort((heights, cells))
    cells, heights = cells[order], heights[order]
    steps = np.where(upward[order], -1, 1)
    turns = np.cumsum(steps)
    first = np.searchsorted(cells, cells)
    return cells, heights, turns - (turns - steps)[first], steps
