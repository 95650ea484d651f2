"""Rims, holes and what lies under a rim, on bodies whose volumes are known, closed for trimesh."""

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation
from shapely import Polygon

from plumbstone.meshes.closing.bodies import CALMED
from plumbstone.meshes.closing.underside import (
    boundary_parts,
    close_below,
    fan,
    filled,
    invented_volume,
    measure_rim,
    part_size,
    rims_and_holes,
    seen_below,
    skirt_volume,
    solidity,
    stood_on_rim,
    undercut,
)
from plumbstone.meshes.measures.calipers import smoothed

Mesh = tuple[np.ndarray, np.ndarray]


def boxed(size: tuple[float, float, float], foot: float) -> Mesh:
    """A closed box over (0, 0) whose underside lies at a height [m]; many small faces."""
    mesh = trimesh.creation.box(size)
    for _ in range(3):
        mesh = mesh.subdivide()
    return np.array(mesh.vertices) + [0, 0, foot + size[2] / 2], np.array(mesh.faces)


def without(vertices: np.ndarray, faces: np.ndarray, gone: np.ndarray) -> Mesh:
    return vertices, faces[~gone]


def bottomless(size: tuple[float, float, float], foot: float) -> Mesh:
    vertices, faces = boxed(size, foot)
    return without(vertices, faces, vertices[faces][:, :, 2].max(axis=1) < foot + 1e-9)


SIZE = (0.10, 0.08, 0.06)


def test_open_parts_are_told_apart_longest_first() -> None:
    vertices, faces = boxed(SIZE, 0.0)
    middle = vertices[faces].mean(axis=1)
    low, back = middle[:, 2] < 1e-9, middle[:, 1] > 0.04 - 1e-9
    parts = boundary_parts(faces[~(low | (back & (np.abs(middle[:, 0]) < 0.02)))], len(vertices))
    assert len(parts) <= 2
    parts = boundary_parts(faces[~low], len(vertices))
    assert [part_size(vertices, part) for part in parts] == pytest.approx([2 * (0.10 + 0.08)])
    high = middle[:, 2] > 0.06 - 1e-9
    small = (np.abs(middle[:, :2]) < 0.012).all(axis=1) & high
    parts = boundary_parts(faces[~(low | small)], len(vertices))
    sizes = [part_size(vertices, part) for part in parts]
    assert len(parts) == 2
    assert sizes[0] == pytest.approx(0.36)
    assert sizes[1] < sizes[0]
    assert boundary_parts(faces, len(vertices)) == []
    # One lies on the table and looks down, one is a hole; the area vector of each is its own.
    rims, holes = rims_and_holes(vertices, parts, on_table=True)
    assert (len(rims), len(holes)) == (1, 1)
    assert fan(vertices, rims[0])[0] == pytest.approx([0, 0, -0.10 * 0.08])
    assert fan(vertices, holes[0])[0][2] > 0
    assert fan(vertices, rims[0])[1] == pytest.approx([0, 0, 0], abs=1e-12)
    # Without a table only a wide opening can be one.
    assert [len(found) for found in rims_and_holes(vertices, parts, on_table=False)] == [1, 1]
    assert [len(found) for found in rims_and_holes(vertices, parts[1:], on_table=False)] == [0, 1]


@pytest.mark.parametrize("foot", [0.0, 0.02])
@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_a_share_of_what_lies_under_a_rim_is_added(foot: float, share: float) -> None:
    vertices, faces = bottomless(SIZE, foot)
    (edges,) = boundary_parts(faces, len(vertices))
    rim = measure_rim(vertices, edges)
    under = 0.10 * 0.08 * foot
    assert rim.under == pytest.approx(under)
    assert rim.area == pytest.approx(0.10 * 0.08)
    assert skirt_volume(vertices, faces) == pytest.approx(0.10 * 0.08 * (0.06 + foot))
    closed = trimesh.Trimesh(*close_below(vertices, faces, rim, share), process=False)
    assert closed.is_watertight
    assert closed.is_winding_consistent
    assert closed.volume == pytest.approx(0.10 * 0.08 * 0.06 + share * under)
    assert closed.bounds[0][2] == pytest.approx(foot * (1 - share), abs=1e-12)


@pytest.mark.parametrize("cut", [0.03, 0.05, 0.08])
def test_a_ball_cut_off_is_measured_at_its_rim(cut: float) -> None:
    # The part of a ball of radius 10 cm above a height: V = π h² (3R - h) / 3, h = 2R - cut
    # (Weisstein, "Spherical Cap", MathWorld); under its rim a cylinder of that height.
    ball = trimesh.creation.icosphere(subdivisions=5, radius=0.1)
    whole = ball.slice_plane([0, 0, cut - 0.1], [0, 0, 1])
    whole.merge_vertices()
    vertices, faces = np.array(whole.vertices) + [0, 0, 0.1], np.array(whole.faces)
    (edges,) = boundary_parts(faces, len(vertices))
    rim = measure_rim(vertices, edges)
    area = np.pi * (0.1**2 - (0.1 - cut) ** 2)
    cap = np.pi * (0.2 - cut) ** 2 * (0.3 - (0.2 - cut)) / 3
    assert rim.area == pytest.approx(area, rel=5e-3)
    assert rim.under == pytest.approx(area * cut, rel=5e-3)
    assert skirt_volume(vertices, faces) == pytest.approx(cap + area * cut, rel=5e-3)
    # A ball leans inward by (R - z) / √(z (2R - z)); the skin from the rim to 1 cm above it tells.
    seen = cut + np.array([0.01, 0.0])
    free = cut * (0.1 - seen) / (seen * (0.2 - seen)) ** 0.5 / (area / np.pi) ** 0.5
    assert free[0] < undercut(vertices, faces, [rim]) < 1.01 * free[1]
    assert solidity(vertices, faces, [rim]) == pytest.approx(1, abs=5e-3)


def test_table_that_is_seen_below_a_rim_counts() -> None:
    vertices, faces = bottomless(SIZE, 0.02)
    rim = measure_rim(vertices, *boundary_parts(faces, len(vertices)))
    plate = trimesh.creation.box((0.4, 0.4, 0.0)).subdivide_to_size(0.004)
    top = plate.triangles[plate.face_normals[:, 2] > 0.5]
    x, y, _ = top.mean(axis=1).T
    hidden = (np.abs(x) < 0.03) & (np.abs(y) < 0.04)  # seen are 2 cm at either end of 10
    assert seen_below(vertices, [rim], top[~hidden]) == pytest.approx(0.4, abs=0.05)
    assert seen_below(vertices, [rim], top[(np.abs(x) > 0.05) | (np.abs(y) > 0.04)]) < 0.01
    assert seen_below(vertices, [rim], top[:0]) == 0


def test_smoothed_noise_takes_nothing_from_the_solidity_of_a_ball() -> None:
    ball = trimesh.creation.icosphere(subdivisions=5, radius=0.1)
    whole = ball.slice_plane([0, 0, -0.05], [0, 0, 1])
    whole.merge_vertices()
    vertices, faces = np.array(whole.vertices), np.array(whole.faces)
    noise = np.random.default_rng(5).normal(0, 0.001, (len(vertices), 1))
    rough = vertices * (1 + noise / 0.1) + [0, 0, 0.05]
    (edges,) = boundary_parts(faces, len(vertices))
    rims = [measure_rim(rough, edges)]
    assert solidity(rough, faces, rims) < 0.97  # spikes of 1 % and more widen the hull
    calm, _, _ = smoothed(rough, faces, CALMED)
    assert solidity(calm, faces, rims) == pytest.approx(1, abs=0.02)


def test_a_groove_takes_from_the_solidity_of_a_box() -> None:
    # A box of 10 x 8 x 6 cm of which 2 x 8 x 3 cm were taken off the middle of its top.
    outline = [(0, 0), (10, 0), (10, 6), (6, 6), (6, 3), (4, 3), (4, 6), (0, 6)]
    solid = trimesh.creation.extrude_polygon(Polygon(outline), 8)
    vertices = np.array(solid.subdivide_to_size(0.3).vertices)[:, [0, 2, 1]] / 100
    faces = np.array(solid.subdivide_to_size(0.3).faces)[:, ::-1]
    faces = faces[(vertices[faces][:, :, 2] > 1e-9).any(axis=1)]
    (edges,) = boundary_parts(faces, len(vertices))
    found = solidity(vertices, faces, [measure_rim(vertices, edges)])
    assert found == pytest.approx(1 - 2 * 3 / (10 * 6), abs=1e-6)


def test_skin_that_no_camera_can_have_seen() -> None:
    # A slab that hangs 2 cm over the table: its underside looks straight down.
    vertices, faces = boxed(SIZE, 0.02)
    assert invented_volume(vertices, faces) == pytest.approx(0.10 * 0.08 * 0.02, rel=0.15)
    assert invented_volume(*boxed(SIZE, 0.0)) == pytest.approx(0, abs=1e-9)
    open_below = bottomless(SIZE, 0.02)
    assert invented_volume(*open_below) == 0


def test_a_hole_in_a_ball_is_closed_by_a_bulge() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=0.1)
    vertices, faces = np.array(ball.vertices), np.array(ball.faces)
    gone = vertices[faces].mean(axis=1)[:, 2] > 0.085
    torn = faces[~gone]
    parts = boundary_parts(torn, len(vertices))
    found, closed, (area,) = filled(vertices, torn, parts)
    solid = trimesh.Trimesh(found, closed, process=False)
    assert solid.is_watertight
    # A flat lid would lose the cap; the bulge gives back more than half of it.
    high = 0.1 - vertices[np.unique(parts[0]), 2].mean()
    cap = np.pi * high**2 * (0.3 - high) / 3
    assert 0 < ball.volume - solid.volume < 0.6 * cap
    flat = np.pi * (0.1**2 - (0.1 - high) ** 2)
    assert area >= 0.95 * flat
    assert len(filled(vertices, faces, [])[2]) == 0


@pytest.mark.parametrize("seed", range(4))
def test_a_body_is_stood_on_its_rim_however_it_lies(seed: int) -> None:
    vertices, faces = bottomless(SIZE, 0.0)
    (edges,) = boundary_parts(faces, len(vertices))
    rng = np.random.default_rng(seed)
    lying = vertices @ Rotation.random(rng=seed).as_matrix().T + rng.uniform(-1, 1, 3)
    stood = stood_on_rim(lying, edges)
    assert stood[np.unique(edges), 2] == pytest.approx(0, abs=1e-9)
    assert stood[:, 2].max() == pytest.approx(0.06)
    sides = np.linalg.norm(stood[faces[:, 0]] - stood[faces[:, 1]], axis=1)
    assert sides == pytest.approx(
        np.linalg.norm(vertices[faces[:, 0]] - vertices[faces[:, 1]], axis=1)
    )
    assert skirt_volume(stood, faces) == pytest.approx(0.10 * 0.08 * 0.06)
