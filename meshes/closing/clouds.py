"""A surface around a bare point cloud of one compact body."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy

from plumbstone.meshes.measures import isolating
from plumbstone.meshes.measures.calipers import diameter
from plumbstone.meshes.measures.isolating import Plane
from plumbstone.meshes.mending.welding import compacted
from plumbstone.meshes.piece import Flags, Floats, Indices
from plumbstone.meshes.reading.open3d_library import POISSON_DEPTH, open3d, poisson_surface
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.shapes.primitives import unit_sphere

LEAST_POINTS = 500
NEIGHBOURS = 8
LONE = 3.0  # times as far from its third neighbour as others: no part of the body; from memory
DIRECTIONS = 5  # subdivisions of the sphere of directions: 10 242 of them
GAP = 4.0  # nearest points farther off than this many spacings: not seen
ASIDE, BEYOND = 0.6, 0.3  # of their distance: neighbours that lie so far to one side, and spacings
# to the nearest of them, from which on they end there
ABOVE = 4.0  # spreads of the table over it that are left out with it
WAVES, MOST_WHITE = 0.55, 0.0018  # of a table's spread: what of it are waves over centimetres if
# pictures made it (0.22 to 0.52; a LiDAR leaves 0.58 at least); that spread at most [m]
SMOOTH, WIDE = 0.08, 0.0015  # of the spacing of points, and that spacing [m]: a cloud whose points
# lie closer to what curves through those around them, and farther apart, are corners of a skin that
# a depth camera may have made: 0.02 to 0.08 of 1.6 mm and more in 56 of 61, those of pictures 0.12
# to 0.50, or corners 1.3 mm apart. Of 30 that were "fair" 12 were false (four makers, seed 64500)
AROUND = 13  # points of which that is told
LEAST_REACH = 0.0035  # [m] over the table: what lies lower may be table that was not left out
ROUGHEST = 0.12  # spread of radii in one direction, over the radius, of a compact body
MOST_USED = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class CloudSurface:
    """A surface around points, open where nothing was seen."""

    vertices: Floats
    faces: Indices
    table: Plane | None  # that the points were cut off from
    reach: float  # greatest distance of the points [m]
    pictured: bool | None  # whether the table's noise is that of pictures; without a table, False
    # where a LiDAR may have made its points, else None
    said: str  # how it was made


def cloud_surface(path: Path, points: Floats) -> CloudSurface:
    """Put a surface around the points of one compact body, open where nothing was seen.

    Parameters
    ----------
    path : Path
        For messages.
    points : (n, 3) float array
        In metres, with or without the table below.

    Raises
    ------
    ScanError
        If there are too few points.

    Notes
    -----
    The radius from an inner point is smoothed over neighbouring directions, so the body
    must be visible from that point; stones are.
    """
    if len(points) < LEAST_POINTS:
        problem = f"has {len(points)} points; a body needs at least {LEAST_POINTS}. Scan again."
        raise ScanError(path, problem)
    if len(points) > MOST_USED:
        points = points[np.random.default_rng(4).choice(len(points), MOST_USED, replace=False)]
    body, table = _without_table(path, points)
    pictured = False if table is None and _is_smooth(body) else None
    if table is not None:
        pictured = _is_pictured(isolating.upright(points, table), table.spread)
    centre = _inner_point(body)
    directions, faces = unit_sphere(DIRECTIONS)
    radius, unseen, rough = _radii(body - centre, directions)
    said = f"put a surface around {len(body)} points"
    said += "" if table is None else ", its table left out"
    reach = diameter(body if table is None else body[table.heights(body) > LEAST_REACH])[0]
    if rough > ROUGHEST:
        return CloudSurface(
            *_poisson_surface(path, body), table, reach, pictured, f"{said} (Poisson)"
        )
    vertices = centre + directions * radius[:, None]
    vertices, faces = compacted(vertices, faces[~unseen[faces].any(axis=1)])
    return CloudSurface(vertices, faces, table, reach, pictured, said)


def _is_pictured(points: Floats, spread: float) -> bool:
    """Tell whether noise over a table at z = 0 goes from point to point, as that of pictures does.

    Depths of a LiDAR are smooth over centimetres, and so is their noise.
    """
    table = points[np.abs(points[:, 2]) < max(ABOVE * spread, isolating.LEAST_CUT)]
    return spread < MOST_WHITE and isolating.waves_of(table[:, None]) < WAVES * spread


def _is_smooth(points: Floats) -> bool:
    """Tell whether points lie without noise on a skin, and as far apart as those of a LiDAR."""
    picked = np.random.default_rng(6).choice(len(points), min(len(points), 1500), replace=False)
    apart, near = scipy.spatial.cKDTree(points).query(points[picked], k=AROUND)
    local = points[near] - points[near].mean(axis=1, keepdims=True)
    ways = np.linalg.eigh(local.swapaxes(1, 2) @ local)[1]
    up, y, x = np.moveaxis(local @ ways, 2, 0)
    curved = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    left = up - (curved @ (np.linalg.pinv(curved) @ up[..., None]))[..., 0]
    noise = float(np.median(np.sqrt((left**2).sum(axis=1) / (AROUND - 6))))
    return noise < SMOOTH * np.median(apart[:, 1:7].mean(axis=1)) and np.median(apart[:, 1]) > WIDE


def _poisson_surface(path: Path, points: Floats) -> tuple[Floats, Indices]:
    """Put a surface around a body of any form, open where points are far."""
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
    cloud.estimate_normals(o3d.geometry.KDTreeSearchParamKNN(16))
    try:
        cloud.orient_normals_consistent_tangent_plane(16)
    except RuntimeError:
        raise ScanError(path, "has all its points in one plane: it shows no body.") from None
    vertices, faces = poisson_surface(cloud)
    tree = scipy.spatial.cKDTree(points)
    spacing = float(np.median(tree.query(points[:: max(1, len(points) // 2000)], k=2)[0][:, 1]))
    edge = float(np.ptp(points, axis=0).max()) / 2**POISSON_DEPTH
    far = tree.query(vertices)[0] > max(GAP * spacing, 2 * edge)
    faces = faces[~far[faces].any(axis=1)]
    if len(faces) == 0:
        raise ScanError(path, "has points through which no surface can be put; export a mesh.")
    return compacted(vertices, faces)


def _without_table(path: Path, points: Floats) -> tuple[Floats, Plane | None]:
    """Leave out the table, if there is one, and floaters."""
    tree = scipy.spatial.cKDTree(points)
    sample = np.random.default_rng(5).choice(len(points), min(len(points), 6000), replace=False)
    distances, _ = tree.query(points[sample], k=2)
    spacing = float(np.median(distances[:, 1]))
    if spacing == 0:  # most of them are there twice
        return _without_table(path, np.unique(points, axis=0))
    table = isolating.plane_of_samples(points[sample])
    if table is not None:
        points = points[table.heights(points) > max(ABOVE * table.spread, isolating.LEAST_CUT)]
    if len(points) < LEAST_POINTS:
        raise ScanError(path, "shows a flat surface and too few points on it.")
    body = _largest_cluster(points, 6 * spacing)
    apart = scipy.spatial.cKDTree(body).query(body, k=4)[0][:, 3]
    return body[apart <= LONE * np.median(apart)], table


def _largest_cluster(points: Floats, reach: float) -> Floats:
    """Keep the largest group of points that are linked by steps of a reach [m]."""
    cells, place = np.unique(np.floor(points / reach).astype(np.int64), axis=0, return_inverse=True)
    pairs = scipy.spatial.cKDTree(cells).query_pairs(1.8, output_type="ndarray")
    shape = (len(cells), len(cells))
    graph = scipy.sparse.coo_array((np.ones(len(pairs)), pairs.T), shape=shape)
    _, label = scipy.sparse.csgraph.connected_components(graph, directed=False)
    member = label[place.ravel()]
    return points[member == np.bincount(member).argmax()]


def _inner_point(points: Floats) -> Floats:
    """Middle of the box around, pulled towards the mean of the points."""
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    return (middle + points.mean(axis=0)) / 2


def _radii(local: Floats, directions: Floats) -> tuple[Floats, Flags, float]:
    """Radius in each direction, where nothing was seen near it, and how much neighbours differ."""
    distance = np.linalg.norm(local, axis=1)
    tree = scipy.spatial.cKDTree(local / distance[:, None])
    gaps, near = tree.query(directions, k=NEIGHBOURS)
    radii = distance[near]
    rough = float(np.median(np.ptp(radii, axis=1) / radii.mean(axis=1)))
    spacing = np.sqrt(4 * np.pi / len(local))
    around = (local / distance[:, None])[near] - directions[:, None]
    aside = np.linalg.norm(around.mean(axis=1), axis=1) / gaps.mean(axis=1)
    beyond = (aside > ASIDE) & (gaps[:, 0] > BEYOND * spacing)
    return np.median(radii, axis=1), beyond | (gaps[:, 0] > GAP * spacing), rough
