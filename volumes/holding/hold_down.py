"""Whether groups of wood stay down as the water rises and falls, and how they would move."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.columns import Grid, columns_of, merged_columns
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.thinning import thinned
from plumbstone.volumes.bed.pouring import BedResult, soil_line
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.buoyancy import Balance, balance_from_tub, balance_from_volume
from plumbstone.volumes.holding.burial import burial_bonus
from plumbstone.volumes.holding.equilibrium import (
    Rig,
    Verdicts,
    forces_at,
    greatest_pulls,
    hinge,
    judge,
    lifts_whole,
)
from plumbstone.volumes.holding.floating import Afloat, float_at_rest
from plumbstone.volumes.holding.free_bodies import (
    End,
    Moving,
    Stage,
    ends_of,
    middle_end,
    pulling_sinkers,
    rig_of,
    sinker_weights,
    soaked_end,
    stage_of,
    with_factor,
    wood_lift,
)
from plumbstone.volumes.holding.offers import Offers, offers_for
from plumbstone.volumes.holding.soaking import Soaking, fit_weighings
from plumbstone.volumes.scape.groups import Group
from plumbstone.volumes.scape.materials import Material
from plumbstone.volumes.water.density import GRAVITY
from plumbstone.volumes.water.displacement import mesh_volume

LEVELS = 40  # water levels tried while the tank fills
FINEST_AFLOAT = 5_000  # faces; a finer mesh is thinned before it floats
AFLOAT_CELLS = 28  # along each thinned mesh
TIE_REACH = 0.03  # a tie farther than this from all wood is not on it [m]


class HoldError(PlumbstoneError, ValueError):
    """A group that cannot be judged as described."""


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """How a body first leaves its pose."""

    level: float  # of the water [m]
    manner: str  # in words
    edge: tuple[tuple[float, float], ...]  # ends of the edge it tips about [m]; may be empty


@dataclass(frozen=True, slots=True, eq=False)
class HoldResult:
    """What holds one group, and from which water level on it would move."""

    group: Group
    balance: Balance
    sinker_material: Material
    levels: Floats  # [m]
    moves: NDArray[np.bool_]  # at each level, at any end of the ranges
    first_move: Move | None  # while the tank fills
    drained_move: Move | None  # while the tank is drained, the wood soaked
    margin: float  # further lift that it bears at its worst level, as a mass [kg]; may be -inf
    held_factor: float  # the lift times this is still held; inf where nothing lifts
    reserve: bool  # whether it stays with the factor on its lift
    still_held: bool  # whether all sinkers together outweigh the greatest lift
    tie_forces: tuple[float, ...]  # at the line, middle densities [N]
    greatest_ties: tuple[float, ...]  # the most that each may pull at any level [N]
    afloat: Afloat | None  # of the group without its sinkers; None: sinks
    soaking: Soaking | None  # from the log of weighings, if there is one
    lean: float  # tilt until it rests on what is below [degrees]
    carries: tuple[str, ...]  # stones that lie on it
    burial: float  # what the settled bed over standing sinkers adds later [kg]
    offers: Offers
    has_choice: bool  # whether stones at hand were named
    stage: Stage
    number: int  # of this group among the bodies of the stage
    rigs: tuple[Rig, ...]  # at the ends of the ranges

    @property
    def moves_at(self) -> float | None:
        """Lowest water level at which it moves while the tank fills [m]."""
        return None if self.first_move is None else self.first_move.level

    @property
    def stays(self) -> bool:
        """Whether the pose holds at every level, with the factor on the lift."""
        return self.moves_at is None and self.reserve


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What lies around the wood."""

    water: float  # density [kg/m³]
    water_line: float  # the highest level [m]
    grid: Grid
    bed: BedResult | None
    stone: Material  # of sinkers that are still to be chosen
    at_hand: tuple[Body, ...]  # stones to choose from

    @property
    def ground(self) -> Floats:
        """Surface of the bed, (rows, columns), pieces showing through; zero without a bed [m]."""
        if self.bed is None:
            return np.zeros((self.grid.ny, self.grid.nx))
        return self.bed.surface

    @property
    def soil_line(self) -> Floats:
        """Height of the bed beside the pieces, (rows, columns); zero without a bed [m]."""
        return self.ground if self.bed is None else soil_line(self.bed)


def judge_groups(
    groups: Sequence[Group], bodies: Sequence[Body], around: Surroundings
) -> tuple[HoldResult, ...]:
    """Judge all groups of wood at every water level while the tank fills and is drained.

    Parameters
    ----------
    groups : sequence of Group
        What is tied together.
    bodies : sequence of Body
        All pieces, set.
    around : Surroundings

    Raises
    ------
    HoldError
        If a tie lies off the wood, or nothing carries or holds a group.
    """
    if not groups:
        return ()
    placed = {body.entry.name: body for body in bodies}
    groups = [_with_masses(group, placed) for group in groups]
    levels = np.linspace(0, around.water_line, LEVELS + 1)
    stage = set_stage(groups, bodies, around.water, levels, around.grid, around.ground)
    soil = around.soil_line
    return tuple(_judge_group(i, group, stage, around, soil) for i, group in enumerate(groups))


def set_stage(
    groups: Sequence[Group],
    bodies: Sequence[Body],
    water: float,
    levels: Floats,
    grid: Grid,
    bed: Floats,
) -> Stage:
    """Tell what can move (groups, stones that lie on wood) from what stands, and where they rest.

    The groups come first, in their order.
    """
    placed = {body.entry.name: body for body in bodies}
    windows = {n: columns_of(b.piece.vertices, b.piece.faces, grid) for n, b in placed.items()}
    moving, loose = [], set()
    for group in groups:
        names = [*group.wood, *(s.stone for s in group.sinkers if s.how == "strapped" and s.stone)]
        _check_ties(group, [placed[name] for name in group.wood])
        columns = merged_columns([windows[name] for name in names], grid)
        moving.append(Moving(group.name, tuple(placed[n] for n in names), columns, group))
        loose |= {*names, *(s.stone for s in group.sinkers if s.how in ("hanging", "laid on"))}
    for name in stones_on_wood(bodies):
        if name not in loose:
            columns = merged_columns([windows[name]], grid)
            moving.append(Moving(name, (placed[name],), columns))
            loose.add(name)
    fixed = [name for name in placed if name not in loose]
    return stage_of(moving, windows, fixed, placed, bed, grid, levels, water)


def stones_on_wood(bodies: Sequence[Body]) -> list[str]:
    """Names of the stones that rest on wood, directly or on one another."""
    wood = {body.entry.name for body in bodies if body.entry.kind == "wood"}
    found: list[str] = []
    for _ in bodies:
        carrying = wood | set(found)
        found += [
            b.entry.name
            for b in bodies
            if b.entry.kind == "stone" and b.entry.rests in carrying and b.entry.name not in found
        ]
    return found


def balance_of(group: Group, wood: Sequence[Body], material: Material, water: float) -> Balance:
    """Balance a group vertically, by tub test or by volumes."""
    assert material.density is not None
    hung = sum(sinker.mass for sinker in group.sinkers)
    mass = Range.total(body.mass for body in wood)
    if group.tub is not None:
        assert group.tub.material.density is not None
        tub = (group.tub.mass, group.tub.material.density)
        return balance_from_tub(mass.mid, tub, material.density, water, hung, group.factor)
    volume = Range.total(body.volume for body in wood)
    return balance_from_volume(volume, mass, material.density, water, hung, group.factor)


def _with_masses(group: Group, placed: Mapping[str, Body]) -> Group:
    """Take the masses of sinkers that are pieces of the tank from their bodies."""
    sinkers = tuple(
        replace(s, mass=placed[s.stone].mass.mid) if s.stone in placed else s for s in group.sinkers
    )
    return replace(group, sinkers=sinkers)


def _judge_group(
    number: int, group: Group, stage: Stage, around: Surroundings, soil: Floats
) -> HoldResult:
    """Judge one group of a stage at all ends of the ranges."""
    wood, water = stage.wood_of(number), stage.water
    material = group.sinkers[0].material if group.sinkers else around.stone
    balance = balance_of(group, wood, material, water)
    ends = ends_of(group, wood, balance.lift, water)
    middle = middle_end(group, wood, balance.lift, water)
    rigs = tuple(rig_of(stage, end, number) for end in ends)
    # A tub test speaks of the real wood, so the factor is on its middle.
    unlucky = (middle,) if group.tub is not None else ends
    strained = [rig_of(stage, with_factor(e, group.factor, water), number) for e in unlucky]
    if not len(rigs[0].contacts) and not len(rigs[0].ties):
        message = (
            f'Group "{group.name}": nothing carries it and no tie holds it as drawn; give '
            "`rests` or a sinker."
        )
        raise HoldError(message)
    verdicts = [judge(rig) for rig in rigs]
    margins = np.array([verdict.margins for verdict in verdicts])
    soaked = rig_of(stage, soaked_end(group, wood, balance.lift, water), number)
    weights = sinker_weights(pulling_sinkers(group), stage)[-1]
    greatest = max(float(r.lifts[:, 0].max() - r.masses[0] * GRAVITY) for r in rigs)
    at_line, most = _tie_forces(rig_of(stage, middle, number), rigs, weights)
    on_it = [i for i, b in enumerate(stage.bodies) if number in stage.resting[i].below]
    return HoldResult(
        group=group,
        balance=balance,
        sinker_material=material,
        levels=stage.levels,
        moves=~np.all([verdict.stays for verdict in verdicts], axis=0),
        first_move=_first_move(stage, rigs, verdicts),
        drained_move=_drained_move(stage, soaked),
        margin=float(margins.min()) / GRAVITY,
        held_factor=_held_factor(stage, ends, margins),
        reserve=all(bool(judge(rig).stays.all()) for rig in strained),
        still_held=float(weights.sum()) >= greatest,
        tie_forces=at_line,
        greatest_ties=most,
        afloat=_afloat(wood, balance, water),
        soaking=_soaking(group, balance, wood, water),
        lean=stage.resting[number].lean,
        carries=tuple(stage.bodies[i].name for i in on_it),
        burial=_burial(group, stage.placed, around),
        offers=offers_for(stage, number, strained, soil, around.grid, material, around.at_hand),
        has_choice=bool(around.at_hand),
        stage=stage,
        number=number,
        rigs=rigs,
    )


def _burial(group: Group, placed: Mapping[str, Body], around: Surroundings) -> float:
    """Mass that the bed over the group's standing stones adds once it has settled [kg]."""
    stones = [placed[s.stone] for s in group.sinkers if s.how == "standing" and s.stone in placed]
    if around.bed is None or not stones:
        return 0.0
    return burial_bonus(stones, around.bed, around.water)


def _first_move(stage: Stage, rigs: Sequence[Rig], verdicts: Sequence[Verdicts]) -> Move | None:
    """Find the lowest level at which any end of the ranges moves, and how it does."""
    stays = np.array([verdict.stays for verdict in verdicts])
    moving = np.flatnonzero(~stays.all(axis=0))
    if not len(moving):
        return None
    level = int(moving[0])
    worst = int(np.argmin([verdict.margins[level] for verdict in verdicts]))
    return _move(stage, rigs[worst], verdicts[worst], level)


def _drained_move(stage: Stage, soaked: Rig) -> Move | None:
    """Find the highest level at which soaked wood moves while the tank is drained."""
    verdicts = judge(soaked)
    moving = np.flatnonzero(~verdicts.stays)
    return _move(stage, soaked, verdicts, int(moving[-1])) if len(moving) else None


def _move(stage: Stage, rig: Rig, verdicts: Verdicts, level: int) -> Move:
    """Say how a body first moves; a slack tie cannot pull before it has."""
    motion, at = verdicts.motions[level], float(stage.levels[level])
    falls = not np.isfinite(verdicts.margins[level])
    if not falls and lifts_whole(rig, motion):
        slack = bool((rig.tied == 0).any()) and not rig.most_pulls[:, rig.tied == 0].any()
        return Move(at, "rises as far as its slack tie lets it" if slack else "lifts off whole", ())
    edge = tuple((float(x), float(y)) for x, y in hinge(rig, motion))
    direction = np.asarray(motion[0, 1:]) * (-1 if falls else 1)
    end = end_name(direction)
    if falls:
        return Move(at, f"tips over by its own weight, down at its {end} end", edge)
    return Move(at, f"tips up at its {end} end", edge)


def end_name(direction: Floats) -> str:
    """Name the end of a body that lies in a direction (2,)."""
    axis = int(np.abs(direction).argmax())
    return (("right", "left"), ("back", "front"))[axis][0 if direction[axis] > 0 else 1]


def _held_factor(stage: Stage, ends: Sequence[End], margins: Floats) -> float:
    """Least factor on the lift of the wood that is still held, over all ends and levels."""
    found = np.inf
    for end, row in zip(ends, margins, strict=True):
        lift = wood_lift(stage, end) * GRAVITY
        up = lift > 1e-6
        if up.any():
            found = min(found, float((1 + row[up] / lift[up]).min()))
    return found


def _tie_forces(
    middle: Rig, rigs: Sequence[Rig], weights: Floats
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Pull of each tie of the group at the line, and the most at any level and end [N]."""
    own = middle.tied == 0
    pulls = forces_at(middle, middle.levels - 1)[1][own]
    pulls = np.where(np.isnan(pulls), weights, pulls)  # what has moved may pull with it all
    most = np.max([greatest_pulls(rig)[own] for rig in rigs], axis=0) if own.any() else pulls
    most = np.maximum(most, pulls)
    return tuple(float(p) for p in pulls), tuple(float(p) for p in most)


def _check_ties(group: Group, wood: Sequence[Body]) -> None:
    """Refuse a tie that is nowhere near the wood."""
    from trimesh.triangles import closest_point

    faces = np.concatenate([body.piece.vertices[body.piece.faces] for body in wood])
    places = [s.at for s in group.sinkers if s.at is not None] + list(group.tie_points)
    for place in places:
        nearest = closest_point(faces, np.broadcast_to(place, (len(faces), 3)))
        gap = float(np.linalg.norm(nearest - np.array(place), axis=1).min())
        if gap > TIE_REACH:
            where = ", ".join(f"{v * 1e2:.1f}" for v in place)
            message = (
                f'Group "{group.name}": the tie at ({where}) cm is {gap * 1e2:.1f} cm off the '
                "wood; places count from the left pane, the front pane and the glass floor."
            )
            raise HoldError(message)


def _afloat(wood: Sequence[Body], balance: Balance, water: float) -> Afloat | None:
    """Find how the wood floats when it is untied; fine meshes are thinned for it."""
    if balance.lift.mid <= 0:
        return None
    meshes = [(b.piece.vertices, b.piece.faces) for b in wood]
    if sum(len(faces) for _, faces in meshes) > FINEST_AFLOAT:
        meshes = [thinned(*mesh, cells=AFLOAT_CELLS) for mesh in meshes]
        if any(mesh_volume(*mesh) <= 0 for mesh in meshes):
            return None
    offsets = np.cumsum([0, *(len(vertices) for vertices, _ in meshes)])
    vertices = np.concatenate([vertices for vertices, _ in meshes])
    faces = np.concatenate(
        [faces + first for (_, faces), first in zip(meshes, offsets, strict=False)]
    )
    mass = sum(body.mass.mid for body in wood)
    share = mass / (mass + balance.lift.mid)
    return float_at_rest(vertices, faces, share * water, water)


def _soaking(group: Group, balance: Balance, wood: Sequence[Body], water: float) -> Soaking | None:
    """Fit the log of weighings; the displaced volume comes from the lift."""
    if not group.log:
        return None
    dry = sum(body.mass.mid for body in wood)
    return fit_weighings(group.log, (dry + balance.lift.mid) / water, dry, water)
