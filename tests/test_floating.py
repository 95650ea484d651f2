"""Floating bodies against printed hydrostatics."""

import numpy as np
import pytest

from plumbstone.meshes.measures.displacement import displaced_at_levels
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.shapes import primitives
from plumbstone.meshes.shapes.primitives import box, cylinder
from plumbstone.volumes.holding.floating import (
    FloatError,
    draught_of,
    float_at_rest,
)


@pytest.mark.parametrize(
    ("share", "upright"), [(0.15, True), (0.20, True), (0.30, False), (0.70, False), (0.85, True)]
)  # square section: upright is stable only for s < 0.2113 or s > 0.7887; derived
def test_square_log(share: float, upright: bool) -> None:
    log = box((6, 1, 1))
    turn = float_at_rest(log.vertices, log.faces, 1000 * share, 1000.0).turn
    flat = np.abs(turn[2, 1:]).max()  # cosine of the angle between a face and the water
    assert bool(flat > 0.999) is upright
    assert abs(turn[2, 0]) < 0.01  # along it lies in the water


def test_draught_of_a_cylinder() -> None:
    # Upright, the wet share of the height is the density ratio (Archimedes).
    piece = cylinder(0.2, 0.5)
    assert draught_of(piece.vertices, piece.faces, 0.7) == pytest.approx(0.35, abs=1e-9)


def test_a_long_log_lies_down() -> None:
    # 70 % of a lying cylinder is wet: chord depth d with area share 0.7, d / D = 0.660.
    log = cylinder(0.04, 0.40)
    afloat = float_at_rest(log.vertices, log.faces, 700.0, 1000.0)
    axis = afloat.turn @ np.array([0, 0, 1.0])
    assert abs(axis[2]) < 0.02
    assert afloat.draught / 0.04 == pytest.approx(0.660, abs=0.01)
    with pytest.raises(FloatError, match="does not float"):
        float_at_rest(log.vertices, log.faces, 1100.0, 1000.0)


def fork() -> tuple[np.ndarray, np.ndarray]:
    """A forked branch of three limbs, closed."""
    piece = primitives.fork(
        [
            np.array([[0, 0, 0], [0.14, 0.02, 0.06], [0.30, -0.02, 0.10]]),
            np.array([[0.13, 0.02, 0.06], [0.20, 0.09, 0.14]]),
            np.array([[0.16, 0.02, 0.07], [0.24, -0.08, 0.09]]),
        ],
        [np.array([0.06, 0.035]), np.array([0.04, 0.02]), np.array([0.04, 0.02])],
        sides=8,
    )
    return piece.vertices, piece.faces


def hydrostatics(vertices: np.ndarray, faces: np.ndarray, centre: np.ndarray) -> dict[str, float]:
    """Volume, centre of buoyancy and stiffness by a general hydrostatics library.

    It samples each face at its middle, an error of second order in their size: volume and centre
    are extrapolated. Of the stiffness, which takes longest, only its signs are asked.
    """
    import trimesh

    cpt = pytest.importorskip("capytaine", reason="capytaine is not installed here")
    bodies = []
    for _ in range(2):
        vertices, faces = trimesh.remesh.subdivide(vertices, faces)
        mesh = cpt.Mesh(
            vertices=vertices, faces=np.column_stack([faces, faces[:, 2]]), auto_clean=False,
            auto_check=False,
        )  # fmt: skip
        body = cpt.FloatingBody(
            mesh=mesh.immersed_part(),
            dofs=cpt.rigid_body_dofs(only=("Heave", "Roll", "Pitch"), rotation_center=centre),
            center_of_mass=centre,
        )
        bodies.append(body)
    coarse, fine = bodies
    return {
        "volume": (4 * fine.disp_volume - coarse.disp_volume) / 3,
        "centre": (4 * fine.center_of_buoyancy - coarse.center_of_buoyancy) / 3,
        "stiffness": coarse.compute_hydrostatic_stiffness(rho=1000.0).values,
    }


@pytest.mark.slow  # its library takes longer to load than all else here
def test_a_forked_branch_against_a_general_library() -> None:
    """Attitude, centre of buoyancy, and volume of a branch afloat that rights itself."""
    vertices, faces = fork()
    afloat = float_at_rest(vertices, faces, 700.0, 1000.0)
    middle = displaced_at_levels(vertices, faces, [1.0])[1][0]
    turned = (vertices - middle) @ afloat.turn.T
    level = turned[:, 2].min() + afloat.draught
    at_water = turned - [0, 0, level]
    centre = np.array([0.0, 0.0, -level])  # of mass; the branch is of even density
    theirs = hydrostatics(at_water, faces, centre)
    assert theirs["volume"] == pytest.approx(0.7 * enclosed_volume(vertices, faces), rel=1e-4)
    ours = displaced_at_levels(at_water, faces, [0.0])[1][0]
    assert theirs["centre"] == pytest.approx(ours, abs=5e-6)
    # At rest the centre of buoyancy lies under the centre of mass, and it rights itself.
    assert theirs["centre"][:2] == pytest.approx(centre[:2], abs=2e-4)
    # It rights itself in roll and pitch, heave free to follow: C44 - C34²/C33 > 0, and about y.
    stiffness = theirs["stiffness"]
    for turn in (1, 2):
        assert stiffness[turn, turn] > stiffness[0, turn] ** 2 / stiffness[0, 0]
