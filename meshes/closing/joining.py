"""Two scans of one stone, turned over in between, joined into one closed surface."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy

from plumbstone.meshes.closing.bodies import ClosedScan, OpenBody
from plumbstone.meshes.closing.doubting import MOST_HOLLOW, PER_MADE
from plumbstone.meshes.closing.finishing import PATCHY, skin_doubts
from plumbstone.meshes.closing.parting import doubted_if_two
from plumbstone.meshes.closing.scans import body_of, check_useful, with_scale, wound_raw
from plumbstone.meshes.measures.doubts import Doubt
from plumbstone.meshes.measures.faults import enclosed_volume, face_areas, is_closed, shells
from plumbstone.meshes.measures.rulers import FILE_ALONE, Ruler
from plumbstone.meshes.mending.welding import compacted
from plumbstone.meshes.piece import Floats, Indices, Piece, longest_side
from plumbstone.meshes.reading.open3d_library import open3d, poisson_surface
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.telling import percent

COARSE, FINE = 40, 150  # lattice cells along the stone: for features, for the last fit
TRIES = 6  # alignments from different seeds, of which the best is taken
SURFACE_POINTS = 40_000  # of each scan that the joined surface is put through
FOOT = 0.04  # of the height: skin so near the table is left to the other scan
LEAST_OVERLAP = 0.35  # share of points with a partner in the other scan
CLEAR_OVERLAP = 0.55  # beyond doubt: no further tries
LARGEST_RESIDUAL = 0.012  # of the stone's length
FAR = 0.02  # of the stone's length: what lies farther from all points was seen by neither scan;
# 0 of the skin of 3 stones turned over in between, 0.20 to 0.21 of 2 that were not
JOINED_NOISE = 0.015  # of the skin of two scans, share at 90 %; from memory


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """How one scan comes to lie on the other."""

    turn: Floats  # (4, 4)
    overlap: float  # share of points with a partner
    residual: float  # root mean square distance of partners [m]


def joined_scan(first: Path, second: Path, ruler: Ruler = FILE_ALONE) -> ClosedScan:
    """Register two scans of one stone and close it by both.

    Parameters
    ----------
    first, second : Path
        Meshes; the stone was turned over in between, so that each shows the other's underside.
    ruler : Ruler
        What is known of the unit of both files and the stone's lengths.

    Raises
    ------
    ScanError
        If one cannot be used, or the two do not match.

    Notes
    -----
    Fast point feature histograms and RANSAC (Rusu et al. 2009), then ICP point to plane; the
    surface is Poisson's (Kazhdan and Hoppe 2013). All by Open3D; references from memory.
    """
    bodies = [body_of(path, wound_raw(path, ruler)) for path in (first, second)]
    size = max(float(np.ptp(body.vertices, axis=0).max()) for body in bodies)
    clouds = [_cloud(body, seed) for seed, body in enumerate(bodies)]
    fit = _registered(clouds[1], clouds[0], size)
    if fit.overlap < LEAST_OVERLAP or fit.residual > LARGEST_RESIDUAL * size:
        problem = (
            f"does not match {second}: {percent(fit.overlap)} of the skin finds a partner, "
            f"<{fit.residual * 1e3:.1f} mm> off. Are they one stone? Scan more of its "
            "sides; stand a flat one on edge for one of the two."
        )
        raise ScanError(first, problem)
    clouds[1].transform(fit.turn)
    both = clouds[0] + clouds[1]
    vertices, faces = _surface(first, both)
    volume = enclosed_volume(vertices, faces)
    said = (
        f"joined with {second.name}: {percent(fit.overlap)} of the skin seen twice, "
        f"<{fit.residual * 1e3:.1f} mm> apart"
    )
    area = float(face_areas(vertices, faces).sum())
    noise = float(np.hypot(JOINED_NOISE, fit.residual * 0.3 * area / volume))
    piece = Piece(vertices, faces, first.stem, source=f"{first}, {second}", changes=(said,))
    doubt = Doubt("noise", noise, noise, "seen from all sides by two scans; its noise remains")
    skins = [d for body in bodies for d in skin_doubts(replace(body, area=area), volume)]
    worst = {d.what: d for d in sorted(skins, key=lambda d: d.below + d.above)}
    waviness = max(body.waviness for body in bodies)
    unseen = _unseen_by_both(piece, np.asarray(both.points))
    missed = () if unseen == 0 else (_missed_doubt(unseen),)
    scan = ClosedScan(piece, (doubt, *missed, *worst.values()), faces, waviness=waviness)
    scan = scan if ruler.single else doubted_if_two(scan)
    scaled = with_scale(first, (scan,), ruler)[0]
    if not ruler.weighed:
        check_useful(first, scaled)
    return scaled


def _unseen_by_both(piece: Piece, points: Floats) -> float:
    """Share of a joined surface that lies far from all points of either scan."""
    areas = face_areas(piece.vertices, piece.faces)
    middles = piece.vertices[piece.faces].mean(axis=1)
    far = scipy.spatial.cKDTree(points).query(middles)[0] > FAR * longest_side(piece.vertices)
    return float(areas[far].sum() / areas.sum())


def _missed_doubt(unseen: float) -> Doubt:
    """Doubt skin that is made up where neither scan saw the stone, as that of an app."""
    says = f"{percent(unseen)} of its skin was seen by neither scan; turn it over in between"
    off = min(MOST_HOLLOW, PER_MADE * unseen)
    return Doubt("underside", off, off, says, "poor" if unseen > PATCHY else "fair")


def _cloud(body: OpenBody, seed: int) -> Any:
    """Sample the seen skin of a body evenly, without its foot, with outward normals."""
    o3d = open3d()
    corners = body.vertices[body.seen]
    height = float(body.vertices[:, 2].max())
    if body.rims:
        corners = corners[corners[:, :, 2].min(axis=1) > FOOT * height]
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1)
    rng = np.random.default_rng(seed)
    pick = rng.choice(len(corners), SURFACE_POINTS, p=area / area.sum())
    u, v = rng.uniform(size=(2, SURFACE_POINTS, 1))
    u, v = np.where(u + v > 1, 1 - u, u), np.where(u + v > 1, 1 - v, v)
    cloud = o3d.geometry.PointCloud()
    points = a[pick] + u * (b - a)[pick] + v * (c - a)[pick]
    cloud.points = o3d.utility.Vector3dVector(points)
    cloud.normals = o3d.utility.Vector3dVector(normal[pick] / area[pick, None])
    return cloud


def _registered(moving: Any, fixed: Any, size: float) -> Fit:
    """Find how one cloud lies on the other: features first, then all points."""
    o3d = open3d()
    pipeline = o3d.pipelines.registration
    cell = size / COARSE
    small = [cloud.voxel_down_sample(cell) for cloud in (moving, fixed)]
    search = o3d.geometry.KDTreeSearchParamHybrid(radius=5 * cell, max_nn=100)
    features = [pipeline.compute_fpfh_feature(cloud, search) for cloud in small]
    fine = [cloud.voxel_down_sample(size / FINE) for cloud in (moving, fixed)]
    checks = [
        pipeline.CorrespondenceCheckerBasedOnEdgeLength(0.9),
        pipeline.CorrespondenceCheckerBasedOnDistance(1.5 * cell),
        pipeline.CorrespondenceCheckerBasedOnNormal(0.6),
    ]

    def improved(clouds: list[Any], turn: Floats, reaches: tuple[float, ...]) -> Fit:
        for reach in reaches:
            turn = pipeline.registration_icp(
                *clouds, reach, turn, pipeline.TransformationEstimationPointToPlane()
            ).transformation
        found = pipeline.evaluate_registration(*clouds, 0.3 * cell, turn)
        return Fit(np.asarray(turn), float(found.fitness), float(found.inlier_rmse))

    best = Fit(np.eye(4), 0.0, np.inf)
    for seed in range(TRIES):
        o3d.utility.random.seed(seed)
        rough = pipeline.registration_ransac_based_on_feature_matching(
            small[0], small[1], features[0], features[1], True, 1.5 * cell,
            pipeline.TransformationEstimationPointToPoint(False), 3, checks,
            pipeline.RANSACConvergenceCriteria(50_000, 0.999),
        )  # fmt: skip
        found = improved(small, rough.transformation, (1.5 * cell, 0.5 * cell))
        if found.overlap > best.overlap:
            best = found
        if best.overlap > CLEAR_OVERLAP:
            break
    return improved(fine, best.turn, (0.5 * cell, 0.25 * cell))


def _surface(path: Path, cloud: Any) -> tuple[Floats, Indices]:
    """Put a closed surface through oriented points; its largest shell."""
    vertices, faces = poisson_surface(cloud)
    number = shells(faces, len(vertices))
    vertices, faces = compacted(vertices, faces[number == np.bincount(number).argmax()])
    if not is_closed(faces, len(vertices)):
        raise ScanError(path, "and its partner leave a gap; scan both again with more overlap.")
    if enclosed_volume(vertices, faces) < 0:
        faces = faces[:, ::-1]
    return vertices, faces
