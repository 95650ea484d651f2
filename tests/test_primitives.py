"""Solids against closed forms, checked by trimesh and manifold3d."""

from math import pi

import manifold3d
import numpy as np
import pytest
import trimesh

from plumbstone.meshes.piece import Piece
from plumbstone.meshes.shapes import primitives
from plumbstone.volumes.bodies.weighing import limb_volume

AXIS = np.array([[0.0, 0.0, 0.0], [0.1, 0.0, 0.1], [0.2, 0.1, 0.12]])
SIDE = np.array([[0.08, 0.0, 0.08], [0.1, 0.1, 0.2]])


def trimesh_of(piece: Piece) -> trimesh.Trimesh:
    return trimesh.Trimesh(piece.vertices, piece.faces, process=False)


SOLIDS = [
    (primitives.box((0.3, 0.2, 0.1)), 0.006, 1e-12),
    # prism below the bevel + frustum above it, step 0.005: h (A1 + A2 + sqrt(A1 A2)) / 3 holds
    # only for similar ends; the exact prismatoid (Simpson) is used here.
    (
        primitives.slab((0.3, 0.2, 0.05)),
        0.3 * 0.2 * 0.045 + 0.005 * (0.06 + 4 * 0.295 * 0.195 + 0.29 * 0.19) / 6,
        1e-12,
    ),
    (primitives.cylinder(0.2, 0.5), pi * 0.01 * 0.5, 1e-12),
    (primitives.ellipsoid((0.2, 0.3, 0.1)), 4 / 3 * pi * 0.1 * 0.15 * 0.05, 6e-4),
    (primitives.stone_of_size((0.28, 0.19, 0.15), 0.5), 0.28 * 0.19 * 0.15 / 2, 1e-9),
    (primitives.stone_of_size((0.28, 0.19, 0.15), 0.8), 0.28 * 0.19 * 0.15 * 0.8, 1e-9),
    (
        primitives.limbs([0.2], [(pi * 0.04, pi * 0.04)]),
        # A cylinder and two segments of ellipsoids, 10 mm high, between discs of 40 and 20 mm:
        # π h (3 a² + 3 b² + k² h²) / 6 with a = 20, b = 10 and k h = √(20² - 10²) mm, as of a
        # sphere of 20 mm (Weisstein, "Spherical Segment", MathWorld) pressed to that height.
        pi * 0.02**2 * 0.18 + 2 * pi * 0.01 * (3 * 4 + 3 * 1 + 3) * 1e-4 / 6,
        4e-3,
    ),
    (
        primitives.limbs([0.3, 0.2], [(pi * 0.04, pi * 0.02), (pi * 0.02, pi * 0.02)]),
        # A taper of 1 in 30 from 19.667 to 10.167 mm between round ends of 10 and 5 mm:
        # h (R² + R r + r²) π / 3, and such segments at each end: π r² h (3 + 3/4 + 3/4) / 6.
        pi / 3 * 0.285 * (19.6667**2 + 19.6667 * 10.1667 + 10.1667**2) * 1e-6
        + 0.75 * pi * (19.6667**2 * 10 + 10.1667**2 * 5) * 1e-9
        + pi * 0.01**2 * (0.19 + 2 * 0.75 * 0.005),
        2e-3,
    ),
]


@pytest.mark.parametrize(("piece", "volume", "share"), SOLIDS, ids=lambda v: getattr(v, "name", ""))
def test_known_volumes(piece: Piece, volume: float, share: float) -> None:
    assert trimesh_of(piece).volume == pytest.approx(volume, rel=share)


@pytest.mark.parametrize(
    "piece",
    [s[0] for s in SOLIDS]
    + [primitives.boulder((0.25, 0.17, 0.22), seed) for seed in range(5)]
    + [primitives.branch(AXIS, np.array([0.03, 0.01]))]
    + [primitives.fork([AXIS, SIDE], [np.array([0.03, 0.01])] * 2)],
    ids=lambda p: p.name,
)
def test_closed_and_outward(piece: Piece) -> None:
    mesh = trimesh_of(piece)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0


def test_fork_is_a_union() -> None:
    ends = np.array([0.03, 0.01])
    parts = []
    for path in (AXIS, SIDE):
        limb = primitives.branch(path, ends)
        mesh = manifold3d.Mesh64(limb.vertices, limb.faces.astype(np.uint64))
        parts.append(manifold3d.Manifold(mesh))
    union = (parts[0] + parts[1]).volume()
    whole = parts[0].volume() + parts[1].volume()
    found = trimesh_of(primitives.fork([AXIS, SIDE], [ends, ends])).volume
    assert found == pytest.approx(union, rel=1e-9)
    assert found < 0.99 * whole


def test_a_limb_is_as_long_as_the_tape_says_and_round_at_its_ends() -> None:
    limb = primitives.branch(np.array([[0.0, 0, 0], [0.3, 0, 0]]), np.array([0.04, 0.04]))
    assert limb.size[0] == pytest.approx(0.3, abs=1e-12)
    tip = limb.vertices[:-2][limb.vertices[:-2, 0] > 0.29 - 1e-9] - [0.29, 0, 0]
    # On an ellipsoid, whose half axis lies √3/2 along a sphere's where its disc begins; polygons
    # stand out by sqrt(2π / (n sin(2π / n))) = 1.3 % of its radius.
    axes = [0.01 / np.sqrt(0.75), 0.02, 0.02]
    assert np.linalg.norm(tip / axes, axis=1) == pytest.approx(1, rel=0.014)
    assert len(tip) > 40


def test_a_tapered_limb_lies_along_its_side() -> None:
    # A frustum on a table touches it along a generator; the facets of 64 are r (1 - cos(π / 64)) off.
    lying = trimesh_of(primitives.limbs([0.4], [(0.24, 0.16)]))
    for x, diameter in ((-0.15, 0.0732), (0.15, 0.0541)):
        cut = lying.section([1, 0, 0], [x, 0, 0])
        assert cut is not None
        assert cut.vertices[:, 2].min() < 2e-4
        assert np.ptp(cut.vertices[:, 2]) == pytest.approx(diameter, rel=0.01)


@pytest.mark.parametrize("limb", [(0.3, 0.12, 0.06), (0.05, 0.2, 0.1), (0.4, 0.25, 0.25)])
def test_tape_and_mesh_agree_on_a_limb(limb: tuple[float, float, float]) -> None:
    length, *girths = limb
    mesh = trimesh_of(primitives.limbs([length], [girths]))
    assert mesh.volume == pytest.approx(limb_volume(*limb), rel=0.04)  # facets of the ends
    # Between a cone frustum within the round ends and one around the limb.
    whole = length * (girths[0] ** 2 + girths[0] * girths[1] + girths[1] ** 2) / (12 * pi)
    assert 0.6 * whole < limb_volume(*limb) < whole


def test_boulder_fills_its_box_and_repeats() -> None:
    one = primitives.boulder((0.25, 0.17, 0.22), seed=7)
    assert one.size == pytest.approx([0.25, 0.17, 0.22], rel=1e-12)
    assert np.array_equal(one.vertices, primitives.boulder((0.25, 0.17, 0.22), seed=7).vertices)
    assert not np.array_equal(one.vertices, primitives.boulder((0.25, 0.17, 0.22), seed=8).vertices)
    # Shape factors of natural stones 0.40-0.60: common practice, no source.
    share = trimesh_of(one).volume / (0.25 * 0.17 * 0.22)
    assert 0.35 < share < 0.65


def test_impossible_sizes_are_refused() -> None:
    with pytest.raises(primitives.FormError, match="three lengths"):
        primitives.box((0.1, -0.2, 0.3))
    with pytest.raises(primitives.FormError, match="shape factor"):
        primitives.stone_of_size((0.1, 0.1, 0.1), 0.05)
    with pytest.raises(primitives.FormError, match="two or more"):
        primitives.branch(AXIS[:1], np.array([0.1, 0.1]))
