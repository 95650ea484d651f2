"""Bodies of two parts, and stands below them, on solids whose parts are known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from phone_scans import thinner
from shapely import Point, Polygon
from shapely import box as rectangle

from plumbstone.meshes.closing import parting
from plumbstone.meshes.closing.attached import CUTS, LEVELS, halves_of, stand_below
from plumbstone.meshes.closing.bodies import ClosedScan, open_body
from plumbstone.meshes.closing.clouds import cloud_surface
from plumbstone.meshes.closing.doubting import invented_doubts, mouth_doubt, whole_doubts
from plumbstone.meshes.closing.scans import ON_BOX, closed_scan, with_scale
from plumbstone.meshes.measures.doubts import Doubt
from plumbstone.meshes.measures.isolating import Plane, cut_plane, is_around
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.mending.occupancy import occupied_volume
from plumbstone.meshes.mending.welding import compacted
from plumbstone.meshes.reading.open3d_library import open3d
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.shapes.primitives import boulder, box
from plumbstone.meshes.writing import ply_bytes


def joined(*parts: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    """The union of solids (manifold3d), standing on z = 0."""
    whole = trimesh.boolean.union(parts)
    return np.array(whole.vertices) - [0, 0, whole.bounds[0][2]], np.array(whole.faces)


def ball(radius: float, at: tuple[float, float, float]) -> trimesh.Trimesh:
    return trimesh.creation.icosphere(subdivisions=4, radius=radius).apply_translation(at)


@pytest.mark.parametrize("small", [0.04, 0.06])
def test_two_balls_that_touch_are_cut_between_them(small: float) -> None:
    # Centres 10 cm apart along x; the plane of their crease: Weisstein, "Sphere-Sphere
    # Intersection", MathWorld.
    apart = 0.10
    vertices, faces = joined(ball(0.07, (0, 0, 0)), ball(small, (apart, 0, 0)))
    crease = (apart**2 - small**2 + 0.07**2) / (2 * apart)
    found = halves_of(vertices, faces)
    along = vertices[faces].mean(axis=1)[:, 0]
    assert found.other[along > crease + 0.02].mean() > 0.95
    assert found.other[along < crease - 0.02].mean() < 0.05
    cap = np.pi * (small + apart - crease) ** 2 * (3 * small - (small + apart - crease)) / 3
    whole = trimesh.Trimesh(vertices, faces).volume
    # Cuts are tried at even places: it may lie a step aside, over a section of the large ball.
    step = (0.07 + apart + small) / (CUTS + 1)
    aside = np.pi * 0.07**2 * step / whole
    assert found.smaller == pytest.approx(cap / whole, abs=aside)
    assert found.gain > 0.5 * found.hollow > 0  # one cut takes most of the hollow away


def test_a_small_ball_is_told_from_a_dented_one_that_it_leans_on() -> None:
    # The cut along their crease, and what hollow it takes away: hulls by manifold3d.
    dents = [ball(0.05, (-0.1, 0, 0)), ball(0.05, (0, 0.1, 0)), ball(0.05, (0, -0.1, 0))]
    stone = trimesh.boolean.difference([ball(0.07, (0, 0, 0)), *dents])
    whole = trimesh.boolean.union([stone, ball(0.03, (0.09, 0, 0))])
    crease = (0.09**2 - 0.03**2 + 0.07**2) / (2 * 0.09)
    halves = [whole.slice_plane([crease, 0, 0], [side, 0, 0]).convex_hull for side in (1, -1)]
    most = (whole.convex_hull.volume - sum(half.volume for half in halves)) / whole.volume
    found = halves_of(np.array(whole.vertices), np.array(whole.faces))
    assert found.are_two
    assert 0.5 * most < found.gain < most
    assert not halves_of(np.array(stone.vertices), np.array(stone.faces)).are_two  # dents alone


def test_one_convex_body_gains_nothing_by_a_cut() -> None:
    whole = ball(0.1, (0, 0, 0))
    found = halves_of(np.array(whole.vertices), np.array(whole.faces))
    assert found.gain == pytest.approx(0, abs=0.02)
    assert found.hollow == pytest.approx(0, abs=0.05)


@pytest.mark.parametrize(("wide", "high"), [(0.04, 0.05), (0.05, 0.03), (0.05, 0.01)])
def test_an_upright_stand_ends_where_the_stone_begins(wide: float, high: float) -> None:
    stand = trimesh.creation.cylinder(wide / 2, high, sections=48).apply_translation(
        [0, 0, high / 2]
    )
    stone = ball(0.06, (0, 0, high + 0.055))
    found = stand_below(*joined(stand, stone))
    assert found is not None
    assert found.straight
    assert found.height == pytest.approx(high, abs=0.008)


def test_only_walls_along_a_circle_or_a_rectangle_are_surely_of_a_stand() -> None:
    across = 0.06 * np.exp(1j * np.array([0.2, 1.1, 2.7, 3.6, 5.2]))  # a block of five sides
    block = Polygon(np.column_stack([across.real, across.imag]))
    for outline, sure in ((Point(0, 0).buffer(0.05), True), (rectangle(-0.05, -0.04, 0.05, 0.04), True),
                          (block, False)):  # fmt: skip
        stand = trimesh.creation.extrude_polygon(outline, 0.05).subdivide_to_size(0.01)
        found = stand_below(*joined(stand, ball(0.03, (0, 0, 0.075))))
        assert found is not None
        assert found.straight
        assert found.sure == sure
    # Walls that wave by 2 mm broke so, where a table of the scan is flat to 0.3 mm; to 2 mm they
    # may be as made.
    stand = trimesh.creation.box((0.1, 0.08, 0.05)).subdivide_to_size(0.004)
    stand.vertices[:, :2] *= 1 + 0.04 * np.sin(150 * stand.vertices.sum(axis=1))[:, None]
    vertices, faces = joined(stand, ball(0.03, (0, 0, 0.05)))
    assert [stand_below(vertices, faces, 0.0, spread).sure for spread in (3e-4, 2e-3)] == [
        False,
        True,
    ]


def test_a_waist_is_a_stand_of_another_form() -> None:
    cone = trimesh.creation.cone(0.05, 0.09, sections=48)  # its tip lies in the stone
    found = stand_below(*joined(cone, ball(0.06, (0, 0, 0.115))))
    assert found is not None
    assert not found.straight
    assert 0.04 < found.height < 0.09


def test_stones_stand_on_nothing() -> None:
    for seed in range(3):
        stone = boulder((0.2, 0.15, 0.12), seed, subdivisions=4)
        assert stand_below(stone.vertices - [0, 0, stone.vertices[:, 2].min()], stone.faces) is None


@pytest.mark.parametrize("torn", [0.0, 0.01])
def test_points_inside_tell_the_volume_of_a_skin_with_holes(torn: float) -> None:
    # Of the 500 points within, as many by chance as tell 3 % at 90 %; a cap of 1 cm that is
    # open lets hardly any slip out.
    whole = ball(0.1, (0, 0, 0))
    vertices, faces = np.array(whole.vertices), np.array(whole.faces)
    gone = vertices[faces].mean(axis=1)[:, 2] > 0.1 - torn
    order = np.concatenate([faces[~gone], faces[gone]])
    found = occupied_volume(vertices, order, slice(int((~gone).sum()), len(order)), whole.volume)
    assert found == pytest.approx(whole.volume, rel=0.06)


def test_what_lies_on_a_wider_block_with_a_rounded_foot_may_stand_on_it() -> None:
    # Two boxes of known sizes, the lower one flared at the table as fusion leaves it.
    block, stone = box((0.08, 0.08, 0.09)), box((0.05, 0.04, 0.05))
    v = block.vertices.copy()
    v[v[:, 2] < 1e-9, :2] *= 1.05
    vertices = np.concatenate([v, stone.vertices + [0, 0, 0.0895]])
    faces = np.concatenate([block.faces, stone.faces + len(v)])
    found = stand_below(vertices, faces)
    assert found is not None
    assert not found.sure
    assert found.height == pytest.approx(0.09, abs=2 * 0.14 / LEVELS)
    slope = block.vertices * [1, 1, 1]
    slope[slope[:, 2] > 0.05, :2] *= 0.4
    assert stand_below(slope, block.faces) is None


def test_a_stand_is_ruled_out_where_only_all_of_it_is_as_long_as_measured() -> None:
    piece = box((0.05, 0.05, 0.3))
    other = piece.vertices[piece.faces][:, :, 2].mean(axis=1) < piece.vertices[:, 2].max() - 0.01
    stand = (Doubt("stand", 0.7, 0.05, "its lower part may be a stand", "poor"),)
    scan = ClosedScan(piece, stand, piece.faces, other=other)
    long = float(np.linalg.norm(piece.size))
    assert parting.stand_by_length(Path(), scan, Ruler(longest=long)).doubts == ()
    assert parting.stand_by_length(Path(), scan, Ruler(longest=0.8 * long)).doubts == stand
    assert parting.stand_by_length(Path(), scan, Ruler()).doubts == stand


def test_a_width_that_a_missing_limb_made_too_small_is_set_aside() -> None:
    # A bar whose arm was not seen is as long as measured and a fifth too narrow; one whose end
    # was not seen is shorter than its own file's lengths allow, and either may be wrong.
    piece = box((0.3, 0.1, 0.05))
    side, hand = (Doubt(what, 0.1, 0.4, "", "poor") for what in ("side", "attached"))
    scan = ClosedScan(piece, (side,), piece.faces)
    long, wide = scan.caliper.longest, 1.25 * scan.caliper.across[1]
    both = Ruler(longest=long, across=wide)
    found = parting.by_one_length(both, scan)
    assert (found.longest, found.across, found.aside) == (long, None, pytest.approx(0.2))
    assert parting.by_one_length(both, scan.doubted(hand)) == found  # as long as its own file
    kept = [
        (both, replace(scan, doubts=())),
        (Ruler(longest=1.7 * long, across=wide), scan),
        (Ruler(longest=1.1 * long, across=1.1 * wide), scan.doubted(hand)),
        (Ruler(longest=long, across=wide / 1.25), scan),
    ]
    assert all(parting.by_one_length(ruler, of) == ruler for ruler, of in kept)


def test_an_open_end_leads_into_a_log_and_a_patch_that_was_missed_does_not() -> None:
    # A cylinder of 10 cm whose end is open: pi r². A ball that lacks a patch as wide on its side.
    log = trimesh.creation.cylinder(0.05, 0.3, sections=48).subdivide_to_size(0.005)
    log.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0]))
    whole = trimesh.creation.icosphere(5, 0.1)
    found = []
    for mesh, end in ((log, 0.147), (whole, 0.0866)):
        mesh.apply_translation([0, 0, -mesh.bounds[0, 2]])
        along, _, high = mesh.triangles_center.T
        faces = mesh.faces[((high > 0.003) | (along > 0.13)) & (along < end)]
        table, away = Plane(np.array([0.0, 0.0, 1.0]), 0.0, 0.0), np.zeros((0, 3, 3))
        found.append(open_body(*compacted(mesh.vertices, faces), table, (), away))
    assert [body.mouth for body in found] == [pytest.approx(np.pi * 0.05**2, rel=0.02), 0]
    # Bored out to 30 mm and scanned with its mouth a step narrower: pi r² l of it is air.
    narrowed = replace(found[0], mouth=np.pi * (0.03 - found[0].step) ** 2)
    bored = mouth_doubt(narrowed, log.volume)
    assert bored is not None
    assert bored.below == pytest.approx(np.pi * 0.03**2 * 0.3 / log.volume, rel=0.02)


def test_the_rim_of_a_tray_runs_around_what_lies_in_it_and_a_neighbour_does_not() -> None:
    stone = boulder((0.1, 0.08, 0.05), 3).vertices
    rim = trimesh.creation.annulus(0.12, 0.13, 0.03, sections=96).vertices
    assert is_around(rim, stone)
    assert not is_around(rim[rim[:, 0] < 0.05], stone)  # open to one side
    assert not is_around(stone, rim)
    assert not is_around(np.concatenate([rim, [[0, 0, 0.1]]]), stone)  # a lid over it


def test_a_stone_that_was_closed_flat_is_told_from_one_that_was_seen_all_around() -> None:
    # A ball cut at a fifth of its height has 0.16 / 0.8 of its skin in the cut.
    whole = trimesh.creation.icosphere(5, 0.05)
    cut = whole.slice_plane([0, 0, -0.03], [0, 0, 1], cap=True).subdivide_to_size(0.004)
    assert cut_plane(np.array(cut.vertices), np.array(cut.faces))
    assert not cut_plane(np.array(whole.vertices), np.array(whole.faces))
    doubts, coarse = whole_doubts(
        np.array(cut.vertices), np.array(cut.faces), cut.volume, is_cut=True
    )
    assert [(d.what, d.word) for d in (*doubts, *coarse)] == [
        ("underside", "fair"), ("resolution", "fair")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("depth", "spread"),
    [
        (7, 0.5e-3),
        pytest.param(8, 0.2e-3, marks=pytest.mark.slow),
        pytest.param(8, 1e-3, marks=pytest.mark.slow),
    ],
)
def test_what_an_app_invented_round_is_doubted(tmp_path: Path, depth: int, spread: float) -> None:
    # Half axes of 10, 8 and 7 cm, cut flat at half the lowest: a b c π (4/3 - h² (3 - h) / 3), h = 1/2.
    # Poisson surface reconstruction by Open3D of points on the rest makes it a third larger.
    half, pipeline, rng = np.array([0.10, 0.08, 0.07]), open3d(), np.random.default_rng(0)
    ways = rng.normal(size=(20_000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    ways = ways[ways[:, 2] > -0.5]
    points = ways * half + rng.normal(scale=spread, size=ways.shape)
    cloud = pipeline.geometry.PointCloud(pipeline.utility.Vector3dVector(points))
    cloud.normals = pipeline.utility.Vector3dVector(ways / half)
    cloud.normalize_normals()
    mesh, _ = pipeline.geometry.TriangleMesh.create_from_point_cloud_poisson(
        cloud, depth=depth, n_threads=1
    )
    path = tmp_path / "round.ply"
    path.write_bytes(ply_bytes(np.asarray(mesh.vertices), np.asarray(mesh.triangles)))
    found = closed_scan(path, Ruler("m", longest=0.2))
    true = float(half.prod() * np.pi * (4 / 3 - 0.25 * 2.5 / 3))
    assert found.volume.mid > 1.2 * true
    assert found.volume.low < true < found.volume.high
    assert (found.trust, found.doubt.what) == ("poor", "foot")


def test_a_length_in_the_wrong_unit_is_told_and_not_weighed_as_tonnes(tmp_path: Path) -> None:
    # An ellipsoid of 29 cm with half axes of 14.5, 12 and 9 cm holds 4/3 π a b c = 6.56 L, one of
    # 2.9 m a thousand times as much.
    path = tmp_path / "egg.ply"
    trimesh.creation.icosphere(4, 0.145).apply_scale([1, 12 / 14.5, 9 / 14.5]).export(path)
    assert closed_scan(path, Ruler("m", longest=0.29)).volume.mid == pytest.approx(
        6.56e-3, rel=0.02
    )
    with pytest.raises(ScanError, match=r"check the unit of that length, as it is 29\.\d cm by"):
        closed_scan(path, Ruler("m", longest=2.9))


def test_a_pointed_stone_on_an_upturned_bucket_stands_on_it() -> None:
    # A cone frustum that narrows upwards, and two cones on it by a narrow place, 15 cm up.
    profile = [[0, 0], [0.09, 0], [0.07, 0.15], [0.02, 0.152], [0.06, 0.2], [0, 0.3]]
    both = trimesh.creation.revolve(np.array(profile), sections=48)
    stand = stand_below(np.array(both.vertices), np.array(both.faces))
    assert stand is not None
    assert stand.height == pytest.approx(0.152, abs=0.01)
    stone = trimesh.creation.revolve(np.array(profile[2:]) - [0, 0.15], sections=48)
    assert stand_below(np.array(stone.vertices), np.array(stone.faces)) is None


@pytest.mark.parametrize("count", [pytest.param(20000, marks=pytest.mark.slow), 4000])
def test_a_foot_that_an_app_made_up_is_told_by_its_calm_skin_however_thinned(count: int) -> None:
    # A ball of 10 cm with noise all over, and one whose lowest fifth nobody saw: there is none. A
    # cap of height h has 2 pi r h of its 4 pi r² of skin (closed form).
    ball = trimesh.creation.icosphere(6, 0.1)
    noise = np.random.default_rng(5).normal(0, 0.003, (len(ball.vertices), 1))
    for low, most in ((-0.1, 0.0), (-0.06, 0.45)):
        vertices = ball.vertices * (1 + noise * (ball.vertices[:, 2:] > low))
        found = invented_doubts(*thinner(vertices, ball.faces, count), ball.volume)
        assert [d.word for d in found] == ["poor"] * (most > 0)
        assert most / 3 <= sum(d.below for d in found) <= most  # twice its share of the skin


@pytest.mark.parametrize("measured", ["longest", "across"])
def test_who_gave_the_length_is_not_asked_for_it(measured: str) -> None:
    piece = box((0.1, 0.2, 0.3))
    stand = Doubt("stand", 0.5, 0.05, f"scan it alone{parting.TO_MEASURE}; or not", "poor")
    scan = ClosedScan(piece, (stand,), piece.faces)
    told = with_scale(Path(), (scan,), Ruler(**{measured: 0.3}))[0].doubts[0].says
    assert told.removeprefix("scan it alone").removesuffix("; or not") == (
        parting.MEASURED if measured == "longest" else parting.TO_MEASURE
    )


@pytest.mark.parametrize(
    ("split", "radius", "noise", "lidar"),
    [(5, 0.1, 0.0, True), (5, 0.1, 0.0005, False), (6, 0.05, 0.0, False)],
)
def test_points_without_noise_and_far_apart_may_be_the_corners_of_a_lidar(
    split: int, radius: float, noise: float, lidar: bool
) -> None:
    # Corners of a ball, 3.5 or 0.9 mm apart, whose foot was not seen.
    points = trimesh.creation.icosphere(split, radius).vertices
    points = points + np.random.default_rng(6).normal(0, noise, points.shape)
    assert (cloud_surface(Path(), points[points[:, 2] > -0.9 * radius]).pictured is False) == lidar


@pytest.mark.parametrize(("corners", "told"), [(4, True), (9, False)])
def test_the_outline_of_a_crate_is_told_where_no_length_was_measured(
    corners: int, told: bool, tmp_path: Path
) -> None:
    # A prism on its table: a square, and nine corners, whose hull fills 0.83 of a square or so.
    prism = trimesh.creation.cylinder(0.1, 0.12, sections=corners).subdivide_to_size(0.01)
    prism.apply_translation([0, 0, 0.06])
    sides = prism.submesh([prism.triangles_center[:, 2] > 1e-6], append=True)
    table = trimesh.creation.box((0.5, 0.5, 0.001)).subdivide_to_size(0.02)
    table.apply_translation([0, 0, -0.0005])
    trimesh.util.concatenate([sides, table]).export(tmp_path / "a.ply")
    found = closed_scan(tmp_path / "a.ply").piece.warnings
    assert (ON_BOX in found) == told


def test_two_lengths_that_fit_a_file_of_no_scale_are_not_of_a_part_of_it() -> None:
    # A bar of 10 x 20 x 30 cm in a file three times too large, which may be two things.
    piece = box((0.3, 0.6, 0.9))
    scan = ClosedScan(piece, (Doubt("attached", 0.5, 0.05, "", "poor"),), piece.faces)
    long, wide = (side / 3 for side in (scan.caliper.longest, scan.caliper.across[1]))
    with pytest.raises(ScanError, match=r"3\.00 times as long as measured"):
        with_scale(Path(), (scan,), Ruler(longest=long))
    found = with_scale(Path(), (scan,), Ruler(longest=long, across=wide))[0]
    assert found.volume.mid == pytest.approx(0.1 * 0.2 * 0.3, rel=1e-3)
    assert found.trust == "poor"


def test_a_stone_of_one_skin_with_its_turntable_is_doubted_and_one_cut_flat_is_not() -> None:
    # A ball of 10 cm cut flat, and one on a disc of 7 x 3 cm that it is sunk into.
    ball = trimesh.creation.icosphere(5, 0.05)
    cut = ball.slice_plane([0, 0, -0.02], [0, 0, 1], cap=True)
    disc = trimesh.creation.cylinder(0.035, 0.03, sections=96)
    disc.apply_translation([0, 0, -0.06])
    both = trimesh.boolean.union([ball, disc.subdivide_to_size(0.008)], engine="manifold")
    for mesh, stands in ((cut.subdivide_to_size(0.008), False), (both, True)):
        piece = replace(box((1, 1, 1)), vertices=mesh.vertices, faces=mesh.faces)
        flat = cut_plane(piece.vertices, piece.faces)
        found = parting.off_its_slab(Path(), ClosedScan(piece, (), piece.faces, cut=flat))
        assert ("stand" in [doubt.what for doubt in found.doubts]) == stands
