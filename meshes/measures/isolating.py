"""Telling the scanned body from the table it stands on, from walls and floaters."""

from dataclasses import dataclass

import numpy as np
import scipy

from plumbstone.meshes.faces import corners_of
from plumbstone.meshes.measures.extents import across
from plumbstone.meshes.measures.faults import face_areas, picked_by_area, shells
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.piece import Flags, Floats, Indices

SAMPLES = 20_000
TRIES = 1500
SCORED = 4000  # samples that each try is scored on
NEAR = (0.004, 0.008, 0.016, 0.030)  # of the scan's extent: how far a table may lie from its plane
LEAST_NEAR, MOST_NEAR = 0.001, 0.010  # the same, at least and at most [m]
MOST_SPREAD = 0.006  # of the points of a table from its plane [m]; of a wrinkled cloth up to 4 mm
CLEARLY = 1.6  # times that: what lies farther below a plane speaks against a table
WIDER = 1.15  # area that the table covers, over that which all else covers from above
LEAST_TABLE = 0.08  # share of the area that must lie in a plane to be a table
FACING = 0.85  # cosine between a closed-in table and faces that belong to it
LEAST_ABOVE = 0.05  # share of the skin that stands on a closed-in table
ONE_SIDED = 0.97  # share of everything else that must lie on one side of it
LEAST_CUT = 0.0015  # height above the table that is taken for table [m]
SLENDER = 0.12  # width over length of what lies in a plane: less is no table
MOST_PLANES = 3  # table, floor and wall
EVEN = 0.85  # mean cosine between a further plane and its faces
MOST_BODIES = 50
CUT_SHARE, FLAT_TO, CUT_TRIES = 0.05, 0.0003, 200  # of the skin that a cut leaves flat; to how
# much [m]; places that are tried
SECTORS = 36  # in which a rim around a body is looked for
SQUARE, LEAST_FACES, LEAST_SQUARES = 0.025, 8, 9  # over which waves of a table are told [m]; faces
# in each, and squares
SECOND_BODY = 0.20  # of the largest body's area: smaller ones are floaters
GHOST_NEAR, GHOST_FAR = 0.001, 0.006  # [m] off the skin that a second layer of it may lie
LEAST_GHOST, MOST_GHOSTS = 0.002, 10  # of the area: smaller bits are floaters; how many are tried
GHOST_LIKE, GHOST_SHARE, GHOST_SAMPLES = 0.7, 0.8, 400  # cosine of the two layers' normals, share
# of the samples of a ghost that must lie so, and how many of them are taken
SPREAD, ASKED, ASIDE, APART = 40_000, 2000, 0.5, 0.0018  # points put on a skin, of how many the
# other layer is looked for, how far aside it may lie, over how far off, and the least of that [m]
LEAST_LAYERED = 0.04  # share of a skin that must lie double; of 45 that taught, with noise of many
# scales, 0.03 at most, of the others 0.002


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """Points with normal · p = offset; the body lies where it is larger."""

    normal: Floats  # (3,), unit
    offset: float  # [m]
    spread: float  # standard deviation of the table's points from it [m]

    def heights(self, points: Floats) -> Floats:
        """Height of points above the plane [m], (n,)."""
        return points @ self.normal - self.offset


def find_table(vertices: Floats, faces: Indices, bands: tuple[float, ...] = NEAR) -> Plane | None:
    """Find the plane that a scanned body stands on.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
        A scan with a patch of the table in it.
    bands : tuple of float
        How far its points may lie from a plane, as shares of the extent, narrowest first.

    Returns
    -------
    Plane or None
        None where no flat patch has nearly all the rest on one side of it.

    Notes
    -----
    RANSAC on samples spread evenly over the area, not on corners: where a body is
    scanned more finely than its table, corners would outvote the table.
    """
    some = picked_by_area(vertices, faces, SAMPLES, np.random.default_rng(1))
    return plane_of_samples(vertices[some].mean(axis=1), bands)


def plane_of_samples(points: Floats, bands: tuple[float, ...] = NEAR) -> Plane | None:
    """Find the table among samples of a scan, (k, 3) [m].

    The table is the plane with the most samples that has nearly all others on one side and
    reaches farther than they do: the flat top of a stone does not. How rough it is is not
    known beforehand, so bands of several widths are tried, the narrowest first.
    """
    extent = float(np.ptp(points, axis=0).max())
    for share in bands:
        near = min(max(share * extent, LEAST_NEAR), MOST_NEAR)
        found = _plane_within(points, near)
        if found is not None:
            return found
    return None


def _plane_within(points: Floats, near: float) -> Plane | None:
    """Find a table whose points lie within a distance of its plane."""
    rng = np.random.default_rng(2)
    few = points[rng.choice(len(points), min(len(points), SCORED), replace=False)]
    tried = points[rng.integers(0, len(points), (TRIES, 3))]
    starts, normals, lie = _planes_through(tried, few, near)
    for k in np.argsort(-lie, kind="stable"):
        if lie[k] <= LEAST_TABLE * len(few):
            break
        start, normal = starts[k], normals[k]
        gap = (few - start) @ normal
        above, below = map(np.count_nonzero, (gap > CLEARLY * near, gap < -CLEARLY * near))
        if above + below and max(above, below) < ONE_SIDED * (above + below):
            continue
        if _reaches_farther(few, np.abs(gap) < near, normal):
            return _refined(points, start, normal if above >= below else -normal, near)
    return None


def _planes_through(tried: Floats, points: Floats, near: float) -> tuple[Floats, Floats, Indices]:
    """Give a point and the unit normal of planes through three points each, (k, 3, 3).

    And of how many points each comes near.
    """
    normals = np.cross(tried[:, 1] - tried[:, 0], tried[:, 2] - tried[:, 0])
    lengths = np.linalg.norm(normals, axis=1)
    usable = lengths > 1e-12
    starts, normals = tried[usable, 0], normals[usable] / lengths[usable, None]
    planes = np.column_stack([normals, -np.einsum("ij,ij->i", starts, normals)])
    places = np.vstack([points.T, np.ones(len(points))])
    gaps, close = np.empty((16, len(points))), np.empty((16, len(points)), dtype=bool)
    lie = []
    for some in (planes[k : k + len(gaps)] for k in range(0, len(planes), len(gaps))):
        gap = np.matmul(some, places, out=gaps[: len(some)])
        np.less(np.abs(gap, out=gap), near, out=close[: len(some)])
        lie += [np.count_nonzero(row) for row in close[: len(some)]]
    return starts, normals, np.array(lie)


def table_within(vertices: Floats, faces: Indices) -> Plane | None:
    """Find a table that an app closed into the skin of a body, as a slab or a bulge below it.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
        Closed, outward.

    Returns
    -------
    Plane or None
        A flat part that looks to the side on which a narrower rest stands, all around it.

    Notes
    -----
    A facet of a stone has nothing above it, and a cut through a stone has no skin in it.
    """
    rng = np.random.default_rng(3)
    points, normals = _middles(vertices, picked_by_area(vertices, faces, SCORED, rng))
    near = max(NEAR[0] * float(np.ptp(points, axis=0).max()), LEAST_NEAR)
    best, best_count = None, LEAST_TABLE * SCORED
    tried = points[rng.integers(0, SCORED, (TRIES, 3))]
    for start, normal, lie in zip(*_planes_through(tried, points, near), strict=True):
        if lie <= best_count:
            continue
        gap, along = (points - start) @ normal, normals @ normal
        facing = (np.abs(gap) < near) & (np.abs(along) > FACING)
        side = 1.0 if along[facing].sum() > 0 else -1.0
        facing &= along * side > 0
        above = gap * side > CLEARLY * near
        if facing.sum() <= best_count or above.mean() < LEAST_ABOVE:
            continue
        if _surrounds(points[facing], points[above], normal):
            best, best_count = (start, normal * side), int(facing.sum())
    if best is None:
        return None
    lying = (np.abs((points - best[0]) @ best[1]) < near) & (normals @ best[1] > FACING)
    return _refined(points[lying], *best, near)


def _surrounds(lying: Floats, above: Floats, normal: Floats) -> bool:
    """Tell whether points in a plane reach around all that stands on it."""
    up = turn_up(normal)[:2].T
    lying, above = lying @ up, above @ up
    if not _may_be_wider(lying, above):
        return False
    table, body = hull_of(lying), hull_of(above)
    if table is None or body is None:
        return False
    ring = above[body.vertices]
    beyond = (ring @ table.equations[:, :2].T + table.equations[:, 2]).max()
    reach = float(np.sqrt(body.volume))
    return bool(table.volume > WIDER * body.volume and beyond < 0.02 * reach)


def _reaches_farther(points: Floats, lying: Flags, normal: Floats) -> bool:
    """Tell whether the points of a plane spread wider over it than all others do."""
    flat = points @ turn_up(normal)[:2].T
    table, rest = flat[lying], flat[~lying]
    if len(rest) < 10:
        return True
    if not _may_be_wider(table, rest):
        return False
    widths = np.linalg.svd(table - table.mean(axis=0), compute_uv=False)
    if widths[1] < SLENDER * widths[0]:  # a thin limb lies near a plane too
        return False
    outer, inner = hull_of(table), hull_of(rest)
    return outer is not None and inner is not None and outer.volume > WIDER * inner.volume


def _may_be_wider(table: Floats, rest: Floats) -> bool:
    """Tell of points (n, 2) by a box around the one and four corners of the other."""
    (a, b), (c, d) = rest[rest.argmax(axis=0)] - rest[rest.argmin(axis=0)]
    return bool(np.ptp(table, axis=0).prod() >= WIDER * abs(a * d - b * c) / 2)


def bodies_on_ground(
    vertices: Floats,
    faces: Indices,
    table: Plane | None = None,
    least: float = SECOND_BODY,
) -> tuple[Floats, list[Indices], Plane | None, tuple[str, ...]]:
    """Tell bodies from the table or floor they stand on, from walls and floaters.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
    table : Plane, optional
        Where it is known already.
    least : float
        Area of a body over that of the largest; smaller ones are floaters.

    Returns
    -------
    vertices : (n, 3) float array
        Turned and lifted so that the table is z = 0, if there is one.
    bodies : list of (k, 3) int arrays
        Largest first.
    ground : Plane or None
    said : tuple of str
        What was cut away.
    """
    said: list[str] = []
    planes: list[Plane] = []
    floaters, standing, bodies = 0, faces, [faces]
    known = table
    while len(planes) < MOST_PLANES and bodies:
        bands = NEAR[:2] if planes else NEAR
        table, known = known or find_table(vertices, standing, bands), None
        if table is None or table.spread > MOST_SPREAD:
            break
        if planes and not _is_even(vertices, standing, table):
            break
        planes.append(table)
        cut = max(3 * table.spread, LEAST_CUT)
        above = standing[(table.heights(vertices)[standing] > cut).all(axis=1)]
        bodies, more = split_bodies(vertices, above, least)
        floaters += more
        said.append(f"cut away a flat surface and all below <{cut * 1e3:.1f} mm> over it")
        standing = np.concatenate([*bodies, faces[:0]])
    if not planes:
        bodies, floaters = split_bodies(vertices, faces, least)
    ground = None
    if planes and bodies:
        feet = [float(plane.heights(vertices[corners_of(bodies[0])]).min()) for plane in planes]
        ground = planes[int(np.argmin(feet))]
        vertices = upright(vertices, ground)
    if floaters:
        said.append(f"removed {floaters} floating bit(s)")
    return vertices, bodies, ground, tuple(said)


def waves_of(table: Floats) -> float:
    """Give the standard deviation of a table's heights over squares of 25 mm [m], 0 if it has few.

    Parameters
    ----------
    table : (k, 3, 3) float array
        Corners of its faces, z up. It is known to be flat, so this is what a scan's noise leaves
        over centimetres, where that of the body is told from its shape by nothing.
    """
    middle = table.mean(axis=1)
    cell = np.floor(middle[:, :2] / SQUARE).astype(np.int64)
    cell -= cell.min(axis=0, initial=0)
    number = cell[:, 0] * (cell[:, 1].max(initial=0) + 1) + cell[:, 1]
    _, square, count = np.unique(number, return_inverse=True, return_counts=True)
    mean = np.bincount(square, middle[:, 2]) / count
    full = mean[count >= LEAST_FACES]
    return float(np.std(full)) if len(full) >= LEAST_SQUARES else 0.0


def _is_even(vertices: Floats, faces: Indices, table: Plane) -> bool:
    """Tell whether what lies in a plane also looks along its normal, as a wall or table does."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    normals = np.cross(b - a, c - a)
    lying = np.abs(table.heights((a + b + c) / 3)) < max(3 * table.spread, LEAST_CUT)
    areas = np.linalg.norm(normals[lying], axis=1)
    along = np.abs(normals[lying] @ table.normal).sum()
    return bool(along > EVEN * areas.sum() and areas.sum() > 0)


def split_bodies(
    vertices: Floats, faces: Indices, least: float = SECOND_BODY
) -> tuple[list[Indices], int]:
    """Shells that are large enough for a body, largest first, and the number of others."""
    if len(faces) == 0:
        return [], 0
    number = shells(faces, len(vertices))
    areas = np.bincount(number, weights=face_areas(vertices, faces))
    order = np.argsort(-areas)
    large = [k for k in order[:MOST_BODIES] if areas[k] >= least * areas[order[0]]]
    return [faces[number == k] for k in large], len(order) - len(large)


def is_around(body: Floats, other: Floats) -> bool:
    """Tell whether a body, (n, 3) corners, z up, surrounds another as the rim of a tray does.

    Seen from the other's middle it lies in every direction, and nothing of it over the other.
    """
    way = body[:, :2] - (other[:, :2].min(axis=0) + other[:, :2].max(axis=0)) / 2
    sector = np.floor(np.arctan2(way[:, 1], way[:, 0]) / (2 * np.pi) * SECTORS).astype(np.int64)
    if len(np.unique(sector % SECTORS)) < SECTORS:  # most neighbours; it spares their hulls
        return False
    inner = hull_of(other[:, :2])
    if inner is None:
        return False
    out = body[:, :2] @ inner.equations[:, :2].T + inner.equations[:, 2]
    return bool(out.max(axis=1).min() >= 0)


def ghosts_in(vertices: Floats, faces: Indices, crowded: bool = False) -> tuple[Flags, float]:
    """Find patches of a skin that are there twice, as where a phone lost its place for a while.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
    crowded : bool
        Whether three faces or more meet at some edges; sheets are told apart there too.

    Returns
    -------
    ghost : (m,) bool array
        Faces of sheets that run along larger ones, millimetres off them.
    between : float
        Volume between the layers [m³]: which of them is true is not known.
    """
    number = _sheets(faces) if crowded else shells(faces, len(vertices))
    areas = face_areas(vertices, faces)
    area = np.bincount(number, weights=areas)
    order = np.argsort(-area)[: MOST_GHOSTS + 1]
    ghost, between = np.zeros(len(faces), dtype=bool), 0.0
    for k in order[:0:-1][area[order[:0:-1]] > LEAST_GHOST * area[order[0]]]:
        gap = _gap_along(vertices, faces[~ghost & (number != k)], faces[number == k])
        if GHOST_NEAR < gap < GHOST_FAR:
            ghost |= number == k
            between += gap * float(area[k])
    return ghost, between


def _sheets(faces: Indices) -> Indices:
    """Give the number of each face's sheet, (m,); faces connect across edges of two."""
    ends = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    order = np.lexsort(ends.T)
    same = (ends[order][1:] == ends[order][:-1]).all(axis=1)
    alone = np.concatenate([[False], same, [False]])
    first = np.flatnonzero(same & ~alone[:-2] & ~alone[2:])
    links = order[first] // 3, order[first + 1] // 3
    near = scipy.sparse.coo_array((np.ones(len(first)), links), shape=(len(faces), len(faces)))
    return np.asarray(scipy.sparse.csgraph.connected_components(near)[1], dtype=np.int64)


def layers_in(vertices: Floats, faces: Indices) -> float:
    """Measure the volume between layers of a skin [m³]; 0 where hardly any of it lies double.

    Of a closed skin the next one behind looks the other way, and so does the next one before it; a
    second layer that was joined to the first by triangles looks the same way, millimetres off.
    """
    if np.ptp(vertices, axis=0).max() < 4 * GHOST_FAR:  # all of it is near all of it
        return 0.0
    (points, ways), wide = spread_over(vertices, faces, SPREAD), 1 + ASIDE**2
    area = float(face_areas(vertices, faces).sum())
    # What counts lies in a ball over a point or in one below it, the skin around it in neither.
    over = wide * (APART + GHOST_FAR) / 2
    away = over * np.concatenate([ways[:ASKED], -ways[:ASKED]])
    some, every = (scipy.spatial.cKDTree(p, balanced_tree=False, compact_nodes=False)
                   for p in (np.tile(points[:ASKED], (2, 1)) + away, points))  # fmt: skip
    reach = 1.0001 * np.hypot(GHOST_FAR - over, ASIDE * GHOST_FAR)
    near = some.sparse_distance_matrix(every, reach, output_type="ndarray")
    one, other = near["i"] % ASKED, near["j"]
    apart = points.take(other, 0) - points.take(one, 0)
    off = np.abs(np.einsum("ij,ij->i", apart, ways.take(one, 0)))
    square = np.einsum("ij,ij->i", apart, apart)
    kept = np.flatnonzero((off > APART) & (square < wide * off**2))
    one, other, apart, square = one[kept], other[kept], apart[kept], square[kept]
    off = np.minimum(off[kept], np.abs(np.einsum("ij,ij->i", apart, ways[other])))
    double = (off > APART) & (off < GHOST_FAR) & (square < wide * off**2)
    double &= np.einsum("ij,ij->i", ways[one], ways[other]) > GHOST_LIKE
    gaps = np.full(ASKED, np.inf)
    np.minimum.at(gaps, one[double], off[double])
    gaps = gaps[np.isfinite(gaps)]
    if len(gaps) < LEAST_LAYERED * ASKED:
        return 0.0
    found = -np.expm1(-SPREAD / area * np.pi * (ASIDE * gaps) ** 2)  # share of those so far apart
    return float((gaps / found).sum()) / ASKED * area / 2


def cut_plane(vertices: Floats, faces: Indices) -> Plane | None:
    """Find the plane below a closed skin in which much of it lies, flatter than stones are."""
    points, ways = spread_over(vertices, faces[:: 1 + len(faces) // SCORED], SCORED)
    for point, way in zip(points[:CUT_TRIES], ways[:CUT_TRIES], strict=True):
        gap = (points - point) @ way
        lying = (np.abs(gap) < FLAT_TO) & (ways @ way > FACING)
        if gap.max() < CLEARLY * FLAT_TO and lying.mean() > CUT_SHARE:
            return Plane(-way, float(-way @ point), 0.0)
    return None


def spread_over(vertices: Floats, faces: Indices, count: int) -> tuple[Floats, Floats]:
    """Give points spread evenly over a skin, and its normals there, (k, 3) each."""
    rng = np.random.default_rng(4)
    some = picked_by_area(vertices, faces, count, rng)
    points: Floats = np.einsum("ij,ijk->ik", rng.dirichlet((1, 1, 1), count), vertices[some])
    return points, _middles(vertices, some)[1]


def _gap_along(vertices: Floats, skin: Indices, sheet: Indices) -> float:
    """Distance of a sheet that runs along the rest of a skin [m], infinite where it does not."""
    sheet = sheet[:: max(1, len(sheet) // GHOST_SAMPLES)]
    places, ways = _middles(vertices, sheet)
    low, high = places.min(axis=0) - GHOST_FAR, places.max(axis=0) + GHOST_FAR
    x, y, z = ((low[k] < side) & (side < high[k]) for k, side in enumerate(vertices.T))
    near = skin[(x & y & z)[skin[:, 0]]]
    if len(near) == 0:
        return np.inf
    middles, normals = _middles(vertices, near)
    gaps, nearest = scipy.spatial.cKDTree(middles).query(places)
    alike = np.abs(np.einsum("ij,ij->i", ways, normals[nearest])) > GHOST_LIKE
    along = alike & (gaps < 1.5 * GHOST_FAR)
    off = np.abs(np.einsum("ij,ij->i", places - middles[nearest], normals[nearest]))
    return float(np.median(off[along])) if along.mean() > GHOST_SHARE else np.inf


def _middles(vertices: Floats, faces: Indices) -> tuple[Floats, Floats]:
    """Middles and unit normals of faces, (m, 3) each."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1)[:, None] + 1e-300
    return (a + b + c) / 3, normals


def upright(vertices: Floats, table: Plane) -> Floats:
    """Turn and lift a scan (n, 3) [m] so that its table is z = 0 and the body stands above it."""
    return (vertices @ turn_up(table.normal).T) - [0.0, 0.0, table.offset]


def _refined(points: Floats, on: Floats, normal: Floats, near: float) -> Plane:
    """Fit the plane to its own points, three times closer."""
    middle = on
    for _ in range(3):
        gap = (points - middle) @ normal
        lying = np.abs(gap) < near
        middle = points[lying].mean(axis=0)
        _, _, axes = np.linalg.svd(points[lying] - middle, full_matrices=False)
        normal = axes[2] if axes[2] @ normal > 0 else -axes[2]
        spread = float(np.std((points[lying] - middle) @ normal))
        near = max(3 * spread, 1e-4)
    return Plane(normal, float(middle @ normal), spread)


def turn_up(normal: Floats) -> Floats:
    """Rotation matrix, (3, 3), that takes a normal of unit length to +z."""
    return np.vstack([across(normal), normal])
