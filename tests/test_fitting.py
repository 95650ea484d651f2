"""Boxes and cans laid into skins whose scale is known by closed forms."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plumbstone.meshes.measures.fitting import Fit, fits
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.reading.known import LEAST_SEEN, MOST_STRAY, OFF_SIDE

SCALE, NOISE = 1.37, 0.0004  # of the skin's lengths over true ones; of its points [m]


def skin_of(sides: tuple[float, ...], turn: Rotation) -> tuple[Floats, Floats]:
    """Points and normals of what is seen of a box, or of a can, that stands on z = 0."""
    rng = np.random.default_rng(1)
    at = rng.uniform(-1, 1, (4000, 3))
    if len(sides) == 3:
        half = np.array(sides) / 2
        areas = np.array([half[1] * half[2], half[0] * half[2], half[0] * half[1]])
        axis = rng.choice(3, len(at), p=areas / areas.sum())
        normals = np.eye(3)[axis] * np.sign(at)
        points = np.where(normals != 0, normals, at) * half
    else:
        radius, height = sides[0] / 2, sides[1]
        way = np.column_stack([np.cos(np.pi * at[:, 0]), np.sin(np.pi * at[:, 0]), 0 * at[:, 0]])
        lid = rng.uniform(size=len(at)) < radius / (radius + height)
        up = np.outer(np.sign(at[:, 1]), [0, 0, 1])
        inward = radius * ((at[:, 2:] + 1) / 2) ** 0.5 * way + up * height / 2
        wall = radius * way + np.outer(at[:, 1], [0, 0, height / 2])
        points, normals = np.where(lid[:, None], inward, wall), np.where(lid[:, None], up, way)
    points, normals = turn.apply(points), turn.apply(normals)
    x, y, z = np.abs(turn.as_matrix()[2])  # a box reaches down by its corner, a can by its rim
    points[:, 2] += (
        [x, y, z] @ half if len(sides) == 3 else z * height / 2 + np.hypot(x, y) * radius
    )
    seen = normals[:, 2] > -0.5
    noisy = points[seen] + rng.normal(0, NOISE, (seen.sum(), 3))
    return SCALE * noisy[:1200], normals[seen][:1200]


def is_thing(fit: Fit) -> bool:
    return fit.off < OFF_SIDE and fit.stray < MOST_STRAY and fit.seen > LEAST_SEEN


@pytest.mark.parametrize(
    ("sides", "tilt"),
    [  # each solid and each tilt more than once
        pytest.param(sides, tilt, marks=[pytest.mark.slow] * ((k + j) % 3 == 1))
        for k, sides in enumerate([(0.2, 0.1, 0.05), (0.12, 0.11, 0.1), (0.066, 0.115)])
        for j, tilt in enumerate([0.0, 25.0, 90.0])
    ],
)
def test_a_solid_in_any_pose_tells_its_scale(sides: tuple[float, ...], tilt: float) -> None:
    points, normals = skin_of(sides, Rotation.from_euler("zyx", [40.0, 0.0, tilt], degrees=True))
    kind = "box" if len(sides) == 3 else "can"
    found = [fit for fit in fits(points, normals, kind, sides) if is_thing(fit)]
    assert found[0].factor == pytest.approx(1 / SCALE, rel=0.003)
    for fit in found:  # sides of a box that is nearly a cube may be taken for each other
        assert fit.factor == pytest.approx(1 / SCALE, rel=0.01)


@pytest.mark.parametrize(
    ("sides", "other"),
    [
        ((0.2, 0.1, 0.05), (0.2, 0.1, 0.054)),
        ((0.143, 0.097, 0.022), (0.194, 0.116, 0.026)),  # two of its sides agree
        ((0.2, 0.1, 0.05), (0.066, 0.115)),
        ((0.066, 0.115), (0.07, 0.114)),
        ((0.09, 0.08), (0.09, 0.09, 0.08)),
    ],
)
def test_a_solid_of_other_proportions_is_none(
    sides: tuple[float, ...], other: tuple[float, ...]
) -> None:
    points, normals = skin_of(sides, Rotation.from_euler("z", 0.4))
    kind = "box" if len(other) == 3 else "can"
    assert not [fit for fit in fits(points, normals, kind, other) if is_thing(fit)]


def test_a_round_stone_is_no_can() -> None:
    way = np.random.default_rng(2).normal(size=(1200, 3))
    way /= np.linalg.norm(way, axis=1)[:, None]
    points = way * [0.05, 0.05, 0.04] + [0, 0, 0.04]
    normals = way / [0.05, 0.05, 0.04]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    for known in ((0.1, 0.08), (0.09, 0.07)):
        assert not [fit for fit in fits(points, normals, "can", known) if is_thing(fit)]
