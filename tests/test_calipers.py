"""A caliper, a ruler and the noise of a skin, against SciPy, closed forms and noise we know."""

import numpy as np
import pytest
import trimesh
from scipy.spatial.distance import pdist

from plumbstone.meshes.measures.calipers import (
    Caliper,
    corner_normals,
    diameter,
    factor_by,
    measured,
    own_scale,
    ruled_scale,
    skin_noise,
)
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.shapes.primitives import box

BALL = trimesh.creation.icosphere(subdivisions=5, radius=0.1)


@pytest.mark.parametrize("dimensions", [2, 3])
def test_the_greatest_distance_is_that_of_all_pairs(dimensions: int) -> None:
    rng = np.random.default_rng(dimensions)
    for _ in range(5):
        points = rng.normal(size=(80, dimensions))
        length, way = diameter(points)
        assert length == pytest.approx(pdist(points).max())
        assert np.ptp(points @ way) == pytest.approx(length)
    flat = np.column_stack([rng.normal(size=(30, 2)), np.zeros(30)])  # no hull in space
    assert diameter(flat)[0] == pytest.approx(pdist(flat).max())


def test_normals_at_the_corners_of_a_ball_point_outwards() -> None:
    found = corner_normals(BALL.vertices, BALL.faces)
    assert (found * BALL.vertices / 0.1).sum(axis=1) == pytest.approx(1, abs=1e-4)
    lonely = np.vstack([BALL.vertices, [9.0, 9, 9]])
    assert corner_normals(lonely, BALL.faces)[-1].tolist() == [0, 0, 0]


@pytest.mark.parametrize("noise", [1e-4, 3e-4])
def test_noise_that_was_put_on_is_found_again(noise: float) -> None:
    # White noise along the normals, of a standard deviation that we chose.
    rng = np.random.default_rng(7)
    out = BALL.vertices / 0.1
    rough = BALL.vertices + out * rng.normal(0, noise, (len(out), 1))
    found, calm = skin_noise(rough, BALL.faces)
    assert found == pytest.approx(noise, rel=0.15)
    assert calm < found
    assert skin_noise(BALL.vertices, BALL.faces)[0] < 0.1 * noise


def test_a_caliper_on_a_drawn_box_is_its_diagonal() -> None:
    # Few faces are drawn, not scanned: the diagonal of 12 × 4 × 3 cm is 13 cm (Pythagoras twice).
    solid = box((0.12, 0.04, 0.03))
    fine = trimesh.Trimesh(solid.vertices, solid.faces).subdivide()
    found = measured(np.array(fine.vertices), np.array(fine.faces))
    assert found.longest == pytest.approx(0.13, rel=1e-9)


def test_a_caliper_on_few_faces_goes_by_their_corners() -> None:
    # An app's coarsest export: its corners lie on the stone. Greatest distance by SciPy's pdist.
    rng = np.random.default_rng(62000)
    for _ in range(4):
        coarse = trimesh.convex.convex_hull(rng.normal(size=(150, 3)) * [0.06, 0.04, 0.03])
        found = measured(coarse.vertices, coarse.faces)
        assert found.longest == pytest.approx(pdist(coarse.vertices).max(), rel=1e-9)


def test_a_noisy_ball_is_not_longer_than_it_is() -> None:
    rng = np.random.default_rng(2)
    out = BALL.vertices / 0.1
    rough = BALL.vertices + out * rng.normal(0, 5e-4, (len(out), 1))
    raw = diameter(rough)[0]
    found = measured(rough, BALL.faces)
    assert raw > 0.2015  # spikes of both ends
    assert abs(found.longest - 0.2) < raw - 0.2
    assert found.across == pytest.approx((0.2, 0.2), rel=0.02)


def test_without_noise_a_round_form_is_as_long_as_it_is() -> None:
    assert measured(BALL.vertices, BALL.faces).longest == pytest.approx(0.2, rel=1e-3)


@pytest.mark.parametrize("height", [0.06, 0.08, 0.09])
def test_an_edge_where_a_skin_ends_is_no_tip_that_a_mesh_cut_off(height: float) -> None:
    # A ball above a height over its middle is as wide as its section there, 2 √(R² - h²).
    cap = BALL.slice_plane([0, 0, height], [0, 0, 1])
    cap.merge_vertices()
    chord = 2 * (0.1**2 - height**2) ** 0.5
    assert measured(cap.vertices, cap.faces).longest == pytest.approx(chord, rel=1e-3)


def test_factors_bring_a_scan_to_its_measured_lengths() -> None:
    found = Caliper(0.2, (0.1, 0.1), 0.0)
    assert factor_by(Ruler(longest=0.3), found) == pytest.approx((1.5, 0.0))
    assert factor_by(Ruler(across=0.2), found) == pytest.approx((2.0, 0.0))
    # Both: the mean of 1.5 and 2, weighted by the lengths; they disagree by a third.
    factor, off = factor_by(Ruler(longest=0.3, across=0.2), found)
    assert factor == pytest.approx((0.3 * 1.5 + 0.2 * 2) / 0.5)
    assert off == pytest.approx(2 / 1.5 - 1)
    # Widths between 8 and 12 cm all pass for the one that was measured.
    wide = Caliper(0.2, (0.08, 0.12), 0.0)
    assert factor_by(Ruler(longest=0.3, across=0.135), wide) == pytest.approx((1.5, 0.0))
    assert factor_by(Ruler(across=0.1), wide) == pytest.approx((1.0, 0.4))


def test_a_skin_put_around_points_follows_them() -> None:
    # All lengths by as much, about to the outermost points; what is unsure grows by some of it.
    found = Caliper(0.20, (0.10, 0.12), 0.01).reaching(0.21)
    off = found.longest - 0.20
    assert 0.005 < off < 0.015
    assert found.across == pytest.approx((0.10 + off, 0.12 + off))
    assert 0.01 < found.noise <= 0.01 + off / 0.20
    assert Caliper(0.2, (0.1, 0.1), 0.01).reaching(0.0).noise == 0.01
    # Three deviations of the waves of the skin, independent of the other doubt.
    waved = Caliper(0.2, (0.1, 0.1), 0.01).waved(1e-3)
    assert waved.noise == pytest.approx((0.01**2 + (3e-3 / 0.2) ** 2) ** 0.5)


def test_folds_of_a_cloth_at_a_foot_make_lengths_unsure() -> None:
    # A ball of 20 cm to whose foot a flap clings, 2 cm long and 5 mm over the ground.
    found = Caliper(0.22, (0.2, 0.2), 0.003).clearing(0.20 / 0.22)
    assert found.longest == pytest.approx(0.21)
    assert found.noise * found.longest >= 0.0095  # either length lies about half of it off
    assert Caliper(0.2, (0.1, 0.1), 0.003).clearing(1.0) == Caliper(0.2, (0.1, 0.1), 0.003)


def test_lengths_that_were_checked_are_believed_more() -> None:
    alone, once = own_scale(), ruled_scale(0.2, 0.0, 1.0, twice=False)
    both = ruled_scale(0.2, 0.0, 1.0, twice=True)
    assert alone.above > once.above == both.above
    assert [doubt.trust for doubt in (alone, once, both)] == ["poor", "fair", "good"]
    assert ruled_scale(0.05, 0.0, 1.0, twice=True).above > both.above  # a step of the caliper
    coarse = ruled_scale(0.2, 0.0, 1.0, twice=True, read=0.01)
    assert (1 + coarse.above) ** (1 / 3) - 1 > 0.45 * 0.01 / 0.2  # 90 % of what rounds to it
    assert "200 mm" in coarse.says
    for factor in (1.5, 1 / 1.5):  # two lengths that agree are not both of the wrong stone
        far = [ruled_scale(0.2, 0.0, factor, twice=twice) for twice in (False, True)]
        assert [doubt.trust for doubt in far] == ["poor", "fair"]
        assert f"{factor:.3g}" in far[0].says
