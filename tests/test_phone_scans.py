"""Scans as a phone gives them, made from complete ones, against the true volume.

Truth is the volume of the complete mesh before it was cut, roughened and turned. The stones
judged here are others than those on which the underside was learned.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from commands import read_json
from phone_scans import (
    SIGHTS,
    finer,
    lumpy_stones,
    phone_scan,
    scanned_stones,
    seeded_stones,
    seeded_wood,
    standing_poses,
    united,
)
from scan_conditions import Scene, fused, plain, roughened, seen_of, standing
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist
from shapely import Polygon
from skimage.measure import marching_cubes

from plumbstone.meshes.closing.joining import joined_scan
from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.closing.underside import bulged, invented_volume, unseen_side
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.calipers import measured
from plumbstone.meshes.measures.faults import enclosed_volume, is_closed, open_edges
from plumbstone.meshes.measures.isolating import waves_of
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.shapes.primitives import boulder, box
from plumbstone.meshes.telling import litres, metric
from plumbstone.meshes.writing import ply_bytes
from plumbstone.volumes.bodies.weighing import weigh_scan
from plumbstone.volumes.scape.materials import find_material


def diameter(vertices: np.ndarray) -> float:
    """Greatest distance of two corners, as a caliper finds it on the true stone [m]."""
    return float(pdist(vertices[ConvexHull(vertices).vertices]).max())


def judged(folder: Path, stones: list, poses: int, scale: float = 1.0) -> np.ndarray:
    """Relative error, half-width and whether the range held the truth, a row a scan.

    The ways of not seeing take turns, so that each is met equally often.
    """
    rows = []
    for k, (_, vertices, faces) in enumerate(stones):
        rng = np.random.default_rng(1000 + k)
        for i, pose in enumerate(standing_poses(vertices * scale, rng, poses)):
            scan = phone_scan(vertices * scale, faces, pose, rng, SIGHTS[(i + k) % 3])
            path = folder / "scan.ply"
            path.write_bytes(ply_bytes(scan.vertices, scan.faces))
            try:
                found = closed_scan(path, Ruler(longest=diameter(vertices * scale)))
            except PlumbstoneError:
                rows.append((np.nan, np.nan, False))
                continue
            assert is_closed(found.piece.faces, len(found.piece.vertices))
            own = enclosed_volume(found.piece.vertices, found.piece.faces)
            assert own == pytest.approx(found.volume.mid, rel=1e-6)
            inside = found.volume.low <= scan.volume <= found.volume.high
            rows.append((found.volume.mid / scan.volume - 1, found.volume.half_width, inside))
    return np.array(rows)


def report(name: str, rows: np.ndarray) -> str:
    refused = int(np.isnan(rows[:, 0]).sum())
    rows = rows[~np.isnan(rows[:, 0])]
    error = np.abs(rows[:, 0])
    return (
        f"{name}: {len(rows)} scans, {refused} refused, median {np.median(error):.3f}, "
        f"95 % {np.quantile(error, 0.95):.3f}, worst {error.max():.3f}, "
        f"range holds {rows[:, 2].mean():.2f}, half-width {np.median(rows[:, 1]):.3f}"
    )


def stones_to_judge(scans: Path) -> list:
    """Twelve boulders, eight lumps and every second complete scan, none of which taught."""
    return seeded_stones(12, 500) + lumpy_stones(8, 700) + scanned_stones(scans)[1::2]


def test_large_stones(tmp_path: Path) -> None:
    rows = judged(tmp_path, seeded_stones(4, 500) + lumpy_stones(3, 700), 1)
    told = report("15 cm and more", rows)
    assert np.median(np.abs(rows[:, 0])) <= 0.02, told
    assert rows[:, 2].mean() >= 0.85, told
    assert np.abs(rows[:, 0]).max() <= 0.15, told
    assert np.median(rows[:, 1]) <= 0.06, told


def test_small_volumes_are_told_in_millilitres() -> None:
    assert metric(litres(1.23e-3, 4e-5)) == "1.23 L and 0.04 L"
    assert metric(litres(3.456e-6, 4e-5)) == "3.46 mL and 40.00 mL"


@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_an_arch_on_legs_may_be_hollow_below(tmp_path: Path, seed: int) -> None:
    # A block of 24 x 10 x 14 cm with a tunnel below: half an ellipse of 14 x 9 cm, V = wlh - πabl/4.
    bow = np.linspace(0, np.pi, 40)
    inner = np.column_stack([0.07 * np.cos(bow), 0.09 * np.sin(bow)])
    outline = Polygon([(-0.12, 0), (-0.12, 0.14), (0.12, 0.14), (0.12, 0), *inner])
    arch = trimesh.creation.extrude_polygon(outline, 0.10).subdivide_to_size(0.004)
    turned = np.array(arch.vertices) @ np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]])
    volume = 0.24 * 0.14 * 0.10 - np.pi * 0.07 * 0.09 / 2 * 0.10
    rng = np.random.default_rng(seed)
    scan = phone_scan(turned, np.array(arch.faces), np.eye(3), rng, "cameras")
    assert scan.volume == pytest.approx(volume, rel=2e-3)
    path = tmp_path / "scan.ply"
    path.write_bytes(ply_bytes(scan.vertices, scan.faces))
    found = closed_scan(path, Ruler(longest=diameter(turned)))
    assert found.volume.low < volume < found.volume.high
    assert found.volume.mid == pytest.approx(volume, rel=0.05)
    assert "hollow below" in next(d.says for d in found.doubts if d.what == "underside")


def test_a_low_arch_is_told_by_the_table_that_is_seen_below_it(tmp_path: Path) -> None:
    # A slab of 24 x 20 x 10 cm on two feet, 14 cm apart and 4 cm high.
    outline = Polygon(np.array(
        [(-12, 0), (-12, 14), (12, 14), (12, 0), (7, 0), (7, 4), (-7, 4), (-7, 0)]
    ) / 100)  # fmt: skip
    slab = trimesh.creation.extrude_polygon(outline, 0.20).subdivide_to_size(0.01)
    upright = np.array(slab.vertices) @ np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]])
    upright -= [*upright[:, :2].mean(axis=0), 0]
    volume = 0.20 * (0.24 * 0.14 - 0.14 * 0.04)
    stone = Scene((upright, np.array(slab.faces)), volume, 0.24, [], lambda p: p[:, 2], step=0.0025)
    path = tmp_path / "slab.ply"
    path.write_bytes(ply_bytes(*plain(stone, np.random.default_rng(0))))
    found = closed_scan(path, Ruler("m"))
    assert found.volume.mid == pytest.approx(volume, rel=0.03)
    assert found.volume.low < volume < found.volume.high
    assert "hollow below" in next(d.says for d in found.doubts if d.what == "underside")


@pytest.mark.parametrize(("material", "held"), [("driftwood", True), ("granite", False)])
def test_wood_that_stands_on_all_of_its_outline_may_be_a_shell(
    tmp_path: Path, material: str, held: bool
) -> None:
    # A dome of 20 cm with walls of 2 cm shows what a solid one shows; V = 2/3 π (R³ - (R - t)³).
    ball = trimesh.creation.icosphere(subdivisions=6, radius=0.1)
    dome = ball.slice_plane([0, 0, 0], [0, 0, 1], cap=True)
    scan = phone_scan(
        np.array(dome.vertices), np.array(dome.faces), np.eye(3), np.random.default_rng(0),
        "cameras",
    )  # fmt: skip
    path = tmp_path / "dome.ply"
    path.write_bytes(ply_bytes(scan.vertices, scan.faces))
    found = weigh_scan(path, find_material(material), Ruler(longest=0.2))
    shell = 2 / 3 * np.pi * (0.1**3 - 0.08**3)
    assert (found.volume.low < shell < found.volume.high) is held
    assert found.volume.low < dome.volume < found.volume.high
    assert (found.confidence.word, "shell of bark" in found.confidence.reason) == (
        ("poor", True) if held else ("fair", False)
    )


@pytest.mark.parametrize(
    ("white", "waves", "word"), [(2e-4, 6e-4, "fair"), (1.5e-4, 1.5e-3, "poor")]
)
def test_a_coarse_scan_whose_table_is_wavy_is_a_lidars(
    tmp_path: Path, white: float, waves: float, word: str
) -> None:
    # Depths of a LiDAR are smooth over centimetres, and so is what errs in them.
    _, vertices, faces = seeded_stones(1, 56000)[0]
    scene = standing(("", vertices, faces), np.random.default_rng(0))
    rng = np.random.default_rng(1)
    mesh = seen_of(fused(replace(scene, step=0.0045), 1.0), rng)
    path = tmp_path / "stone.ply"
    path.write_bytes(ply_bytes(*roughened(mesh, rng, white, waves, 0.03)))
    found = closed_scan(path, Ruler("m", longest=diameter(vertices)))
    assert found.trust == word
    assert found.volume.low < scene.volume < found.volume.high
    assert any("wavy as by LiDAR" in doubt.says for doubt in found.doubts) == (word == "poor")


@pytest.mark.slow
def test_large_stones_in_full(tmp_path: Path, scans: Path) -> None:
    rows = judged(tmp_path, stones_to_judge(scans), 3)
    told = report("15 cm and more", rows)
    print(told)
    error = np.abs(rows[:, 0])
    assert np.median(error) <= 0.02, told
    assert np.quantile(error, 0.95) <= 0.06, told
    assert error.max() <= 0.15, told
    assert rows[:, 2].mean() >= 0.90, told
    assert np.median(rows[:, 1]) <= 0.06, told


@pytest.mark.slow
def test_small_stones_in_full(tmp_path: Path, scans: Path) -> None:
    rows = judged(tmp_path, stones_to_judge(scans), 3, scale=0.4)
    told = report("about 10 cm", rows)
    print(told)
    error = np.abs(rows[:, 0])
    assert np.median(error) <= 0.04, told
    assert np.quantile(error, 0.95) <= 0.10, told
    assert rows[:, 2].mean() >= 0.90, told
    assert np.median(rows[:, 1]) <= 0.10, told


@pytest.mark.slow
def test_wood_in_full(tmp_path: Path) -> None:
    # Wood has no bar of its own: limbs lift off the table and hide their undersides. Published
    # volumes of wood by photographs differ by up to 19 % among methods (Spreitzer et al. 2019,
    # Geomorphology 346, 106851).
    rows = judged(tmp_path, seeded_wood(8, 900), 3)
    told = report("wood", rows)
    print(told)
    rows = rows[~np.isnan(rows[:, 0])]
    assert len(rows) >= 18, (
        told
    )  # the others are refused, as their range is over ± 80 % of its middle
    assert np.median(np.abs(rows[:, 0])) <= 0.19, told
    assert rows[:, 2].mean() >= 0.80, told


def pair(folder: Path, stone: tuple, seed: int) -> tuple[Path, Path, float]:
    """Two scans of a stone, upright and turned over, so that opposite undersides are missing."""
    _, vertices, faces = stone
    rng = np.random.default_rng(seed)
    up = standing_poses(vertices, rng, 1)[0]
    paths = []
    for name, pose in (("up", up), ("over", np.diag([1.0, -1.0, -1.0]) @ up)):
        scan = phone_scan(vertices, faces, pose, rng)
        paths.append(folder / f"{name}{seed}.ply")
        paths[-1].write_bytes(ply_bytes(scan.vertices, scan.faces))
    return paths[0], paths[1], scan.volume


@pytest.mark.slow  # test_weigh joins two scans, and refuses those of two stones, as they are typed
def test_two_scans_of_one_stone(tmp_path: Path) -> None:
    first, second, volume = pair(tmp_path, seeded_stones(1, 500)[0], 0)
    found = joined_scan(first, second)
    assert is_closed(found.piece.faces, len(found.piece.vertices))
    assert found.volume.mid == pytest.approx(volume, rel=0.01)
    assert "seen twice" in found.piece.changes[-1]


@pytest.mark.slow
def test_scans_of_two_stones_do_not_join(tmp_path: Path) -> None:
    first, _, _ = pair(tmp_path, lumpy_stones(1, 700)[0], 1)
    second, _, _ = pair(tmp_path, seeded_stones(1, 500)[0], 2)
    with pytest.raises(PlumbstoneError, match="does not match"):
        joined_scan(first, second)


@pytest.mark.slow
def test_two_scans_in_full(tmp_path: Path, scans: Path) -> None:
    errors = []
    for k, stone in enumerate(stones_to_judge(scans)):
        first, second, volume = pair(tmp_path, stone, k)
        errors.append(abs(joined_scan(first, second).volume.mid / volume - 1))
    told = f"joined: {len(errors)} pairs, median {np.median(errors):.4f}, worst {max(errors):.4f}"
    print(told)
    assert np.median(errors) <= 0.01, told


def test_the_phone_scan_of_a_stone_that_was_scanned_better(scans: Path) -> None:
    # Manifest of the scans: this file closes to about 1.68 L; a structured scan of the same
    # stone to 1.49-1.55 L, so the phone's own lengths are about 3 % too long.
    found = closed_scan(scans / "epfl_stone11_iphone_truedepth.stl")
    assert found.volume.mid * 1e3 == pytest.approx(1.68, abs=0.015)


def cloud(seed: int, count: int, noise: float, cut: float) -> tuple[np.ndarray, float]:
    """Points on a standing boulder, its lowest part unseen."""
    stone = boulder((0.22, 0.17, 0.15), seed)
    return points_on(stone.vertices, stone.faces, count, noise, cut, seed)


def points_on(
    vertices: np.ndarray, faces: np.ndarray, count: int, noise: float, cut: float, seed: int
) -> tuple[np.ndarray, float]:
    """Noisy points spread evenly over a mesh, none below a height."""
    rng = np.random.default_rng(seed)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    pick = rng.choice(len(areas), count, p=areas / areas.sum())
    u, v = rng.uniform(size=(2, count, 1))
    flip = u + v > 1
    u, v = np.where(flip, 1 - u, u), np.where(flip, 1 - v, v)
    points = a[pick] + u * (b - a)[pick] + v * (c - a)[pick]
    points = points[points[:, 2] > cut]
    return points + rng.normal(0, noise, points.shape), enclosed_volume(vertices, faces)


@pytest.mark.parametrize(
    ("count", "stones"),
    [
        (5_000, 1),
        *(pytest.param(n, 6, marks=pytest.mark.slow) for n in (5000, 20_000, 50_000)),
    ],
)
def test_point_clouds(tmp_path: Path, count: int, stones: int) -> None:
    errors = []
    for seed in range(20, 20 + stones):
        points, volume = cloud(seed, count, 0.0005, 0.004)
        path = tmp_path / "cloud.xyz"
        np.savetxt(path, points, fmt="%.6f")
        errors.append(abs(closed_scan(path).volume.mid / volume - 1))
    assert np.median(errors) <= 0.04


def test_a_stray_point_adds_nothing_to_the_length_of_a_cloud(tmp_path: Path) -> None:
    points, volume = cloud(21, 5000, 0.0005, 0.004)
    longest = float(pdist(points[ConvexHull(points).vertices]).max())  # SciPy
    tip = points[points[:, 0].argmax()]
    np.savetxt(tmp_path / "cloud.xyz", [*points, tip + 0.014], fmt="%.6f")
    found = closed_scan(tmp_path / "cloud.xyz", Ruler("m", longest))
    assert found.volume.mid == pytest.approx(volume, rel=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("count", [5_000, 50_000, 200_000])
def test_point_clouds_of_scans(tmp_path: Path, scans: Path, count: int) -> None:
    errors = []
    for k, (_, vertices, faces) in enumerate(scanned_stones(scans)):
        rng = np.random.default_rng(k)
        vertices = vertices @ standing_poses(vertices, rng, 1)[0].T
        vertices[:, 2] -= vertices[:, 2].min()
        points, volume = points_on(vertices, faces, count, 0.0007, 0.008, k)
        path = tmp_path / "cloud.xyz"
        np.savetxt(path, points, fmt="%.6f")
        errors.append(abs(closed_scan(path).volume.mid / volume - 1))
    told = f"clouds of {count}: median {np.median(errors):.3f}, worst {max(errors):.3f}"
    print(told)
    assert np.median(errors) <= 0.04, told


def test_a_torn_surface_is_taken_for_points(tmp_path: Path) -> None:
    # A complete stone cut into some thirty patches that came apart by a millimetre: 1.56 L or
    # so by its own points, as with a scanner's mesh of 33 pieces.
    stone = boulder((0.2, 0.15, 0.13), 12, subdivisions=5)
    rng = np.random.default_rng(4)
    middle = stone.vertices[stone.faces].mean(axis=1)
    seeds = middle[rng.choice(len(middle), 33, replace=False)]
    patch = np.linalg.norm(middle[:, None] - seeds, axis=2).argmin(axis=1)
    vertices = stone.vertices[stone.faces] + rng.normal(0, 4e-4, (33, 3))[patch][:, None]
    parts = []
    for k in range(33):
        corners, faces = np.unique(vertices[patch == k].reshape(-1, 3), axis=0, return_inverse=True)
        parts.append((corners, faces.reshape(-1, 3)))
    path = tmp_path / "torn.ply"
    path.write_bytes(ply_bytes(*united(parts)))
    scan = closed_scan(path)
    volume = enclosed_volume(stone.vertices, stone.faces)
    assert scan.volume.mid == pytest.approx(volume, rel=0.02)
    assert scan.volume.low < volume < scan.volume.high
    assert any("torn" in said for said in scan.piece.changes)


def test_a_flat_crop_is_closed(tmp_path: Path) -> None:
    stone = boulder((0.2, 0.15, 0.13), 12, subdivisions=5)
    mesh = trimesh.Trimesh(stone.vertices, stone.faces)
    low = stone.vertices[:, 2].min() + 0.004
    crop = mesh.slice_plane([0, 0, low], [0, 0, 1])
    path = tmp_path / "crop.ply"
    path.write_bytes(ply_bytes(crop.vertices, crop.faces.astype(np.int64)))
    scan = closed_scan(path)
    volume = enclosed_volume(stone.vertices, stone.faces)
    assert scan.volume.low < volume < scan.volume.high


def test_skin_that_looks_straight_down_was_invented() -> None:
    solid = box((0.2, 0.1, 0.05))
    vertices, faces = finer(solid.vertices, solid.faces, 0.01)
    vertices = vertices - [0, 0, vertices[:, 2].min() - 0.03]
    # Below its lower face, by hand, but for the ring of faces whose corners lie on edges.
    assert 0.8 * 0.6 < invented_volume(vertices, faces) * 1e3 <= 0.6
    turned = vertices @ np.diag([1.0, -1.0, -1.0]) + [0, 0, 0.11]
    upper = faces[turned[faces][:, :, 2].min(axis=1) > 0.04]
    assert invented_volume(turned, upper) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("slope", [0.6, 1.0])
def test_tips_that_a_coarse_mesh_cuts_off_count(slope: float) -> None:
    # Two cones, base to base; their tips are 20 cm apart, by hand.
    rng, step = np.random.default_rng(1), 0.005
    low = np.array([-0.07, -0.07, -0.11])[:, None, None, None] + rng.uniform(0, step, (3, 1, 1, 1))
    x, y, z = np.mgrid[0:28, 0:28, 0:44] * step + low
    found, faces, _, _ = marching_cubes(np.abs(z) * slope + np.hypot(x, y) - 0.1 * slope, 0.0)
    found = found.astype(float) * step
    seen, caliper = diameter(found), measured(found, faces.astype(np.int64))
    assert abs(caliper.longest - 0.2) < 0.75 * abs(seen - 0.2)
    assert abs(caliper.longest / 0.2 - 1) < caliper.noise


def test_a_cap_is_pushed_out_to_hold_more() -> None:
    solid = box((0.2, 0.1, 0.1))
    vertices, faces = solid.vertices, solid.faces
    side = (vertices[faces][:, :, 0] > 0.099).all(axis=1)
    kept, ring = faces[~side], open_edges(faces[~side])
    tip = np.append(vertices, [[0.1, 0.0, 0.05]], axis=0)
    tip[-1, 2] = vertices[:, 2].mean()
    closed = np.concatenate([kept, np.column_stack([ring[:, ::-1], np.full(len(ring), 8)])])
    moved, whole = bulged(tip, closed, len(kept), 1e-4)
    assert is_closed(whole, len(moved))
    assert np.array_equal(whole[: len(kept)], kept)
    assert enclosed_volume(moved, whole) == pytest.approx(0.002 + 1e-4)
    # A frustum on 100 cm², three quarters as wide on its other end.
    assert moved[8, 0] == pytest.approx(0.1 + 3 * 1e-4 / 0.01 / (1 + 0.75 + 0.75**2))


def test_a_side_that_was_not_seen_is_named() -> None:
    # A pear from above: its heavier end at x = 0, its stalk towards + x.
    x = np.append(np.linspace(-0.05, 0.05, 400), np.linspace(0.05, 0.3, 20))
    pear = np.column_stack([x, 0.02 * np.sin(40 * x), np.zeros(len(x))])
    assert unseen_side(pear, np.array([1.0, 0.2])) == "its thinner end"
    assert unseen_side(pear, np.array([-1.0, 0.2])) == "its heavier end"
    assert "away from you" in unseen_side(pear, np.array([0.2, 1.0]))
    assert "towards you" in unseen_side(pear, np.array([0.2, -1.0]))


def test_a_table_shows_waves_and_no_white_noise() -> None:
    rng = np.random.default_rng(5)
    corners = np.append(rng.uniform(-0.3, 0.3, (60_000, 1, 2)), np.zeros((60_000, 1, 1)), axis=2)
    table = np.repeat(corners, 3, axis=1)
    table[:, :, 2] += rng.normal(0, 0.001, (60_000, 1))
    # White noise of 1 mm: what is left of it in the mean of about 100 faces.
    assert waves_of(table) == pytest.approx(0.001 / np.sqrt(60_000 / 24**2), rel=0.1)
    table[:, :, 2] += 0.002 * np.sin(table[:, :, 0] * 2 * np.pi / 0.2)
    # A sine's root mean square, and what squares of an eighth of its length leave of it.
    whole = 0.002 / np.sqrt(2) * np.sinc(0.025 / 0.2)
    assert waves_of(table) == pytest.approx(np.hypot(whole, 1e-4), rel=0.03)
    assert waves_of(table[:50]) == 0.0


def test_a_kept_mesh_reads_back_with_its_range(tmp_path: Path) -> None:
    _, vertices, faces = seeded_stones(1, 500)[0]
    scan = phone_scan(vertices, faces, np.eye(3), np.random.default_rng(1), "slope")
    (tmp_path / "scan.ply").write_bytes(ply_bytes(scan.vertices, scan.faces))
    first = read_json("plumbstone weigh scan.ply --keep kept.ply", tmp_path)["pieces"][0]
    again = read_json("plumbstone weigh kept.ply", tmp_path)["pieces"][0]
    for name in ("low", "mid", "high"):
        assert again["volume_l"][name] == pytest.approx(first["volume_l"][name], rel=1e-9)
    assert again["confidence_reason"] == first["confidence_reason"]


@pytest.mark.parametrize(("cuts", "told"), [(3, True), (5, False)])
def test_a_coarse_skin_is_doubted_by_the_files_own_lengths(
    tmp_path: Path, cuts: int, told: bool
) -> None:
    ball = trimesh.creation.icosphere(subdivisions=cuts, radius=0.08)
    faces = ball.faces[ball.triangles_center[:, 2] > -0.05]
    (tmp_path / "ball.ply").write_bytes(ply_bytes(ball.vertices, faces))
    found = closed_scan(tmp_path / "ball.ply")
    assert any(d.what == "resolution" and d.trust == "poor" for d in found.doubts) == told
    assert found.volume.low < 4 / 3 * np.pi * 0.08**3 < found.volume.high


@pytest.mark.parametrize("radius", [0.006, 0.012])
def test_few_faces_of_a_limb_may_lie_inside_it(tmp_path: Path, radius: float) -> None:
    # A round rod, pi r² l; a prism of six sides within holds 3 sqrt(3) / 2 r² l, 17 % less.
    prism = trimesh.creation.cylinder(radius, 0.3, sections=6)
    prism.export(tmp_path / "rod.ply")
    found = closed_scan(tmp_path / "rod.ply", Ruler("m", longest=diameter(prism.vertices)))
    assert found.volume.low <= np.pi * radius**2 * 0.3 <= found.volume.high


@pytest.mark.parametrize("corners", [120, 300])
def test_a_round_stone_of_few_faces_is_held(tmp_path: Path, corners: int) -> None:
    # Corners on a capsule, pi r² (h + 4/3 r), cut off 3 to 10 % of it; those of a box nothing.
    radius, height = 0.05, 0.06
    points = trimesh.creation.capsule(height, radius, count=[64, 64]).sample(corners, seed=62010)
    stone = trimesh.convex.convex_hull(points)
    stone.export(tmp_path / "stone.ply")
    found = closed_scan(tmp_path / "stone.ply", Ruler("m", longest=diameter(stone.vertices)))
    truth = np.pi * radius**2 * (height + 4 / 3 * radius)
    assert found.volume.low <= truth <= found.volume.high
    assert stone.volume < 0.97 * truth
    block = box((0.2, 0.15, 0.1))
    (tmp_path / "box.ply").write_bytes(ply_bytes(block.vertices, block.faces))
    drawn = closed_scan(tmp_path / "box.ply", Ruler("m", longest=diameter(block.vertices)))
    assert drawn.volume.half_width < 0.03 < found.volume.half_width


def test_a_cloud_of_limbs_is_poor_at_best(tmp_path: Path) -> None:
    limb = trimesh.creation.capsule(height=0.3, radius=0.02)
    limb.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    limb.apply_translation([0, 0, 0.02])
    points = np.asarray(trimesh.sample.sample_surface(limb, 20000, seed=1)[0])
    table = np.random.default_rng(2).uniform([-0.2, -0.3, 0], [0.2, 0.3, 0], (30000, 3))
    seen = np.concatenate([points[points[:, 2] > 0.012], table])
    np.savetxt(tmp_path / "limb.xyz", seen + np.random.default_rng(3).normal(0, 3e-4, seen.shape))
    found = closed_scan(tmp_path / "limb.xyz", Ruler("m", longest=0.34))
    assert [d.trust for d in found.doubts if d.what == "points"] == ["poor"]
    truth = np.pi * 0.02**2 * (0.3 + 4 / 3 * 0.02)
    assert found.volume.low < truth < found.volume.high
