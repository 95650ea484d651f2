"""Displaced volumes against closed forms, manifold3d and trimesh."""

from math import pi
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.measures.displacement import (
    displaced_at_levels,
    displaced_volume,
)
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.piece import Piece
from plumbstone.meshes.shapes.primitives import box, ellipsoid

SCANS = ("epfl_stone_S02.stl", "ibois_stone_0.ply", "asteroid_216_kleopatra_km.obj")


@pytest.mark.parametrize("immersion", [0.0, 0.3, 1.0, 1.7, 2.0])
def test_sphere_matches_the_spherical_cap(immersion: float) -> None:
    # V = pi h^2 (3R - h) / 3: Weisstein, "Spherical Cap", MathWorld.
    ball = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    cap = pi * immersion**2 * (3 - immersion) / 3
    found = displaced_volume(ball.vertices, ball.faces, water_level=immersion - 1)
    assert found == pytest.approx(cap, rel=2e-3, abs=1e-6)  # facets of the inscribed sphere


@pytest.mark.parametrize("immersion", [0.4, 1.0, 1.5])
def test_centre_of_a_spherical_cap(immersion: float) -> None:
    # Centroid from the sphere's centre 3 (2R - h)^2 / (4 (3R - h)): Weisstein, "Spherical Cap".
    ball = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    below = 3 * (2 - immersion) ** 2 / (4 * (3 - immersion))
    centre = displaced_at_levels(ball.vertices, ball.faces, [immersion - 1])[1][0]
    assert centre == pytest.approx([0, 0, -below], abs=2e-3)


def test_frustum_of_a_pyramid() -> None:
    # V = h (A1 + A2 + sqrt(A1 A2)) / 3: Weisstein, "Pyramidal Frustum", MathWorld.
    base = np.array([[-2, -2, 0], [2, -2, 0], [2, 2, 0], [-2, 2, 0], [0, 0, 4.0]])
    faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    assert displaced_volume(base, faces, 1.0) == pytest.approx((16 + 9 + 12) / 3, rel=1e-12)


def test_ellipsoid_half_under_water() -> None:
    # V = 4/3 pi a b c; the half below its middle plane has half of it.
    body = ellipsoid((0.2, 0.3, 0.1), subdivisions=6)
    whole = 4 / 3 * pi * 0.1 * 0.15 * 0.05
    assert enclosed_volume(body.vertices, body.faces) == pytest.approx(whole, rel=3e-4)
    assert displaced_volume(body.vertices, body.faces, 0.05) == pytest.approx(whole / 2, rel=3e-4)


def test_a_dry_piece_displaces_nothing() -> None:
    cube = box((1.0, 1.0, 1.0))
    assert displaced_volume(cube.vertices, cube.faces, -0.1) == 0.0
    assert np.isnan(displaced_at_levels(cube.vertices, cube.faces, [-0.1])[1]).all()


def test_levels_at_corners_are_exact() -> None:
    cube = box((1.0, 2.0, 3.0))
    volumes, centres = displaced_at_levels(cube.vertices, cube.faces, [3.0, 0.0, 1.5, 9.0])
    assert volumes == pytest.approx([6.0, 0.0, 3.0, 6.0], abs=1e-12)
    assert centres[2] == pytest.approx([0, 0, 0.75], abs=1e-12)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_coordinates_must_be_finite(bad: float) -> None:
    cube = box((1.0, 1.0, 1.0))
    vertices = cube.vertices.copy()
    vertices[3, 1] = bad
    with pytest.raises(ValueError, match="Vertex 3"):
        displaced_volume(vertices, cube.faces, 0.5)
    with pytest.raises(ValueError, match="not finite"):
        displaced_volume(cube.vertices, cube.faces, bad)


def manifold_below(piece: Piece, level: float) -> manifold3d.Manifold:
    mesh = manifold3d.Mesh64(
        vert_properties=piece.vertices, tri_verts=piece.faces.astype(np.uint64)
    )
    return manifold3d.Manifold(mesh).trim_by_plane((0, 0, -1), -level)


@pytest.mark.parametrize("name", SCANS)
def test_scans_agree_with_manifold3d_and_trimesh(scans: Path, name: str) -> None:
    piece = closed_scan(scans / name).piece
    low, high = piece.vertices[:, 2].min(), piece.vertices[:, 2].max()
    levels = low + (high - low) * np.array([0.2, 0.5, 0.83, 1.0])
    volumes, centres = displaced_at_levels(piece.vertices, piece.faces, levels)
    mesh = trimesh.Trimesh(piece.vertices, piece.faces, process=False)
    for level, volume, centre in zip(levels, volumes, centres, strict=True):
        assert displaced_volume(piece.vertices, piece.faces, level) == pytest.approx(
            volume, rel=1e-9
        )
        assert manifold_below(piece, level).volume() == pytest.approx(volume, rel=1e-6)
        part = mesh
        if level < high:
            part = trimesh.intersections.slice_mesh_plane(mesh, [0, 0, -1], [0, 0, level], cap=True)
        assert part.volume == pytest.approx(volume, rel=1e-6)
        assert part.center_mass == pytest.approx(centre, abs=1e-6 * (high - low))
