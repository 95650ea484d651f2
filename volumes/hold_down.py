"""Whether a group of wood stays down, as the water rises."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.buoyancy import Balance, balance_from_tub, balance_from_volume
from plumbstone.volumes.displacement import displaced_at_levels
from plumbstone.volumes.groups import Group
from plumbstone.volumes.materials import Material
from plumbstone.volumes.setting import Body

LEVELS = 60  # water levels tried while the tank fills


@dataclass(frozen=True, slots=True, eq=False)
class HoldResult:
    """What holds one group, and from which water level on it would move."""

    group: Group
    balance: Balance
    sinker_material: Material
    levels: Floats  # [m]
    pull: Floats  # net upward pull of wood less sinkers at each level, mid, as a mass [kg]
    moves_at: float | None  # lowest level at which it lifts, mid densities [m]


def judge_group(
    group: Group,
    bodies: Mapping[str, Body],
    water: float,
    water_line: float,
    stone: Material,
) -> HoldResult:
    """Judge one group by vertical balance at every water level.

    Parameters
    ----------
    group : Group
        What is tied together.
    bodies : mapping of str to Body
        Set pieces by name.
    water : float
        Density [kg/m³].
    water_line : float
        The highest level [m].
    stone : Material
        For sinkers that are still to be chosen.
    """
    wood = [bodies[name] for name in group.wood]
    hung = sum(sinker.mass for sinker in group.sinkers)
    material = group.sinkers[0].material if group.sinkers else stone
    assert material.density is not None
    mass = Range.total(body.mass for body in wood)
    if group.tub is not None:
        density = group.tub.material.density
        assert density is not None
        tub = (group.tub.mass, density)
        balance = balance_from_tub(mass.mid, tub, material.density, water, hung, group.factor)
    else:
        volume = Range.total(body.volume for body in wood)
        balance = balance_from_volume(volume, mass, material.density, water, hung, group.factor)
    levels = np.linspace(0, water_line, LEVELS + 1)
    pull = _pull(group, wood, bodies, balance, levels, water)
    rising = np.flatnonzero(pull > 1e-9)
    moves = float(levels[rising[0]]) if len(rising) else None
    return HoldResult(group, balance, material, levels, pull, moves)


def _pull(
    group: Group,
    wood: Sequence[Body],
    bodies: Mapping[str, Body],
    balance: Balance,
    levels: Floats,
    water: float,
) -> Floats:
    """Upward pull at each level [kg]: wood displaces as it gets wet, sinkers get lighter.

    Meshes give how the displaced volume grows; the balance gives what it amounts to.
    """
    wet = sum(displaced_at_levels(b.piece.vertices, b.piece.faces, levels)[0] for b in wood)
    whole = sum(body.mesh_volume for body in wood)
    mass = sum(body.mass.mid for body in wood)
    pull = (balance.lift.mid + mass) * wet / whole - mass
    for sinker in group.sinkers:
        assert sinker.material.density is not None
        share = np.clip(levels / 0.1, 0, 1)
        if sinker.stone in bodies:
            piece = bodies[sinker.stone].piece
            volumes, _ = displaced_at_levels(piece.vertices, piece.faces, levels)
            share = volumes / bodies[sinker.stone].mesh_volume
        pull -= sinker.mass * (1 - share * water / sinker.material.density.mid)
    return np.asarray(pull, dtype=float)
