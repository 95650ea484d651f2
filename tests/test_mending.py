"""Meshes welded, wound, thinned and cut, against trimesh and closed forms."""

import numpy as np
import pytest
import trimesh

from plumbstone.meshes.measures.columns import Grid, columns_of, merged_columns, signed_hits
from plumbstone.meshes.mending.thinning import HEAVY, layer_solid, lightened, simplified, thinned
from plumbstone.meshes.mending.welding import (
    compacted,
    distinct,
    outer_shell,
    welded,
    without_crowded,
    wound,
)
from plumbstone.meshes.shapes.primitives import boulder, box

BALL = trimesh.creation.icosphere(subdivisions=3, radius=0.1)


def soup(mesh: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    """A mesh whose faces share no corners, as in an STL file."""
    return mesh.triangles.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3)


def united(*parts: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    whole = trimesh.util.concatenate(parts)
    return np.array(whole.vertices), np.array(whole.faces)


def volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    return float(trimesh.Trimesh(vertices, faces, process=False).volume)


def test_a_soup_of_triangles_is_welded_to_one_surface() -> None:
    vertices, faces = soup(BALL)
    found, joined = welded(vertices, faces)
    assert len(found) == len(BALL.vertices)
    mesh = trimesh.Trimesh(found, joined, process=False)
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(BALL.volume)
    # Doubled faces and faces with two equal corners go.
    again = np.concatenate([joined, joined[:7, [1, 2, 0]], joined[:3][:, [0, 0, 1]]])
    assert len(distinct(again)) == len(joined)
    assert len(welded(np.ones((4, 3)), np.array([[0, 1, 2]]))[1]) == 0


def test_corners_that_nobody_uses_go() -> None:
    faces = BALL.faces[:20]
    vertices, numbered = compacted(BALL.vertices, faces)
    assert len(vertices) == len(np.unique(faces))
    assert vertices[numbered] == pytest.approx(BALL.vertices[faces])


@pytest.mark.parametrize("seed", range(3))
def test_faces_turned_by_chance_are_turned_back(seed: int) -> None:
    rng = np.random.default_rng(seed)
    apart = BALL.copy().apply_translation([0.5, 0, 0])
    vertices, faces = united(BALL, apart)
    wrong = rng.random(len(faces)) < 0.4
    faces[wrong] = faces[wrong][:, ::-1]
    found, turned = wound(vertices, faces)
    mesh = trimesh.Trimesh(vertices, found, process=False)
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(2 * BALL.volume)
    assert turned == wrong.sum()
    assert wound(vertices, found)[1] == 0


def test_shells_are_told_apart() -> None:
    bubble = trimesh.creation.icosphere(subdivisions=2, radius=0.05)
    bit = trimesh.creation.icosphere(subdivisions=1, radius=0.01).apply_translation([0.3, 0, 0])
    other = trimesh.creation.icosphere(subdivisions=2, radius=0.06).apply_translation([0, 0.4, 0])
    vertices, faces = united(BALL, bubble, bit, other)
    main, changes, others = outer_shell(vertices, faces)
    assert volume(vertices, main) == pytest.approx(BALL.volume)
    assert [volume(vertices, part) for part in others] == pytest.approx([other.volume])
    assert changes == (
        "removed 1 shell(s) inside the surface (no real holes)",
        "removed 1 loose bit(s)",
    )
    # What sticks out of an open surface is no bubble in it.
    open_vertices, open_faces = united(BALL, bubble)
    torn = np.delete(open_faces, range(40), axis=0)
    assert len(outer_shell(open_vertices, torn)[2]) == 1


def test_leaves_of_a_book_go_at_its_spine() -> None:
    spine = [[0, 1, 2], [1, 0, 3], [0, 1, 4]]  # three faces on the edge 0-1
    far = [[5, 6, 7]]
    assert without_crowded(np.array(spine + far)).tolist() == far


def test_thinning_moves_no_corner_out_of_its_cell() -> None:
    fine = trimesh.creation.icosphere(subdivisions=5, radius=0.1)
    vertices, faces = thinned(fine.vertices, fine.faces, cells=16)
    assert len(faces) < len(fine.faces) / 8
    away = np.abs(trimesh.proximity.closest_point(fine, vertices)[1])
    assert away.max() <= 0.2 / 16 * 3**0.5
    assert volume(vertices, faces) == pytest.approx(fine.volume, rel=0.05)


def test_a_light_mesh_keeps_its_volume_and_place() -> None:
    fine = trimesh.creation.icosphere(subdivisions=6, radius=0.1).apply_translation([1, 2, 3])
    fine.apply_scale([1, 0.8, 0.6])
    assert len(fine.faces) > HEAVY
    vertices, faces = lightened(fine.vertices, fine.faces)
    light = trimesh.Trimesh(vertices, faces, process=False)
    assert len(faces) < 0.6 * len(fine.faces)
    assert light.volume == pytest.approx(fine.volume, rel=1e-9)
    assert light.center_mass == pytest.approx(fine.center_mass, abs=2e-4)
    assert light.extents == pytest.approx(fine.extents, abs=2e-3)
    # A sheet thinner than the cells would be lost, so it stays as it is.
    thin = fine.copy().apply_transform(np.diag([1, 1, 0.01, 1]))
    assert lightened(thin.vertices, thin.faces)[1] is thin.faces
    assert lightened(BALL.vertices, BALL.faces)[0] is BALL.vertices


def test_an_open_mesh_is_thinned_too() -> None:
    faces = BALL.subdivide().subdivide().faces
    vertices = BALL.subdivide().subdivide().vertices
    found = simplified(np.array(vertices), np.array(faces[50:]), 2000)
    assert 100 < len(found[1]) < len(faces) / 2


def test_a_layer_is_a_prism_between_its_surfaces() -> None:
    # A wedge from 1 to 5 cm over 40 × 30 cm: 3 cm on average, and the plane area of its slope.
    x, y = np.linspace(0, 0.4, 9), np.linspace(0, 0.3, 7)
    low = np.full((7, 9), 0.02)
    high = low + 0.01 + 0.1 * x
    vertices, faces = layer_solid(x, y, low, high)
    solid = trimesh.Trimesh(vertices, faces, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume == pytest.approx(0.4 * 0.3 * 0.03)
    slope = 0.4 * 0.3 * (1 + 0.1**2) ** 0.5
    assert solid.area == pytest.approx(0.12 + slope + 2 * 0.4 * 0.03 + 0.3 * (0.01 + 0.05))
    # It lies where it is thick: half of it is a wedge of half the length.
    half = np.where(x > 0.2, high, low)
    vertices, faces = layer_solid(x, y, low, half)
    part = trimesh.Trimesh(vertices, faces, process=False)
    assert part.is_watertight
    assert part.bounds[0] == pytest.approx([0.2, 0, 0.02])
    assert len(layer_solid(x, y, low, low)[1]) == 0


@pytest.mark.parametrize("seed", range(2))
def test_columns_are_where_rays_of_a_general_library_hit(seed: int) -> None:
    grid = Grid.of_spacing(0.4, 0.3, 0.02)
    stone = boulder((0.25, 0.2, 0.15), seed)
    vertices = stone.vertices + [0.2, 0.15, 0.0]
    window = columns_of(vertices, stone.faces, grid)
    mesh = trimesh.Trimesh(vertices, stone.faces, process=False)
    x, y = np.meshgrid(grid.x, grid.y)
    below = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, -1.0)])
    hits, rays, _ = mesh.ray.intersects_location(below, np.tile([0.0, 0, 1], (x.size, 1)))
    found = np.full((grid.ny, grid.nx), np.inf)
    found[window.place] = window.lowest()
    first = np.full(x.size, np.inf)
    np.minimum.at(first, rays, hits[:, 2])
    same = np.isfinite(first) == np.isfinite(found.ravel())
    assert same.mean() > 0.99  # but for rays that graze it
    seen = np.isfinite(first) & np.isfinite(found.ravel())
    assert found.ravel()[seen] == pytest.approx(first[seen], abs=1e-4)
    # Every line that enters leaves again; upward and downward faces take turns.
    cells, heights, upward = signed_hits(
        (vertices - [0, 0, 0]) / [*grid.spacing, 1.0], stone.faces, grid.ny, grid.nx
    )
    order = np.lexsort((heights, cells))
    assert (~upward[order][::2]).all()
    assert upward[order][1::2].all()


def test_bodies_that_overlap_count_once() -> None:
    # 10 × 10 × 10 cm and the same moved by 4 cm and up by 3: 2 L less what both share, 0.42 L.
    grid = Grid.of_spacing(0.4, 0.3, 0.005)
    one = box((0.1, 0.1, 0.1)).vertices + [0.15, 0.15, 0.0]
    other = one + [0.04, 0.0, 0.03]
    faces = box((0.1, 0.1, 0.1)).faces
    parts = [columns_of(corners, faces, grid) for corners in (one, other)]
    both = merged_columns(parts, grid)
    assert both.solid.sum() * grid.cell_area == pytest.approx(2e-3 - 0.06 * 0.1 * 0.07, rel=1e-6)
    # Stretched to a volume that is known, they hold just that.
    more = columns_of(one, faces, grid, volume=1.1e-3)
    solid = np.isfinite(more.bottoms)
    high = more.tops[solid] - more.bottoms[solid]
    assert high.sum() * grid.cell_area == pytest.approx(1.1e-3)
    raised = parts[0].raised(0.2)
    assert raised.lowest()[np.isfinite(raised.lowest())] == pytest.approx(0.2)
