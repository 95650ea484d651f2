"""From groups of wood and the stones around them to bodies, contacts and ties in balance."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.columns import Columns, Grid, Window, merged_columns
from plumbstone.meshes.piece import Floats, Indices
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.contacts import Pulls, Resting, gaps_below, resting_on
from plumbstone.volumes.holding.equilibrium import Rig
from plumbstone.volumes.holding.soaking import saturated_density
from plumbstone.volumes.scape.groups import Group, Sinker
from plumbstone.volumes.water.density import GRAVITY
from plumbstone.volumes.water.displacement import displaced_at_levels, mesh_centre

SINKER_HEIGHT = 0.06  # water over the floor that covers a sinker without a place [m]
LEAST = 1e-9  # volume [m³] or mass [kg] of a piece at the far end of a wide range


@dataclass(frozen=True, slots=True, eq=False)
class Wet:
    """What one piece displaces at every level."""

    shares: Floats  # (k,) of its volume
    centres: Floats  # (k, 2) of the wet part [m]
    middle: Floats  # (2,) of all of it [m]


@dataclass(frozen=True, slots=True, eq=False)
class Moving:
    """Pieces that move as one: a group with what is strapped to it, or one stone."""

    name: str
    pieces: tuple[Body, ...]
    columns: Columns
    group: Group | None = None  # None for a stone


@dataclass(frozen=True, slots=True)
class End:
    """One end of the ranges: what a piece displaces and weighs there."""

    volumes: Mapping[str, float]  # by piece [m³]
    masses: Mapping[str, float]  # [kg]


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """All bodies that may move, where they rest, and the water around them."""

    bodies: tuple[Moving, ...]
    resting: tuple[Resting, ...]
    wet: Mapping[str, Wet]  # by piece that can move or holds one that can
    placed: Mapping[str, Body]  # all pieces of the tank
    levels: Floats  # (k,) [m]
    water: float  # density [kg/m³]

    def wood_of(self, body: int) -> tuple[Body, ...]:
        """Pieces of wood of one body."""
        return tuple(b for b in self.bodies[body].pieces if b.entry.kind == "wood")

    def touching(self, body: int) -> tuple[int, ...]:
        """Numbers of the bodies that touch this one, directly or not, itself first."""
        found, waiting = [], [body]
        while waiting:
            here = waiting.pop()
            if here in found:
                continue
            found.append(here)
            waiting += [int(i) for i in self.resting[here].below if i >= 0]
            waiting += [i for i, rest in enumerate(self.resting) if here in rest.below]
        return tuple(found)


def stage_of(
    bodies: Sequence[Moving],
    windows: Mapping[str, Window],
    fixed: Sequence[str],
    placed: Mapping[str, Body],
    bed: Floats,
    grid: Grid,
    levels: Floats,
    water: float,
) -> Stage:
    """Find where all bodies rest and what they displace.

    Parameters
    ----------
    bodies : sequence of Moving
    windows : mapping of str to Window
        Columns of every piece.
    fixed : sequence of str
        Names of the pieces that stand and can carry others.
    placed : mapping of str to Body
    bed : (rows, columns) float array
        Surface of the bed [m]; it carries only what was set on it.
    grid : Grid
    levels : (k,) float array
        [m]
    water : float
        [kg/m³]
    """
    others = [(-1, merged_columns([windows[name]], grid)) for name in fixed]
    cut = {b.entry.name for moving in bodies for b in moving.pieces}
    cut |= {s.stone for m in bodies if m.group for s in m.group.sinkers if s.stone in placed}
    wet = {name: _wet(placed[name], levels) for name in cut}
    resting = []
    for i, moving in enumerate(bodies):
        ground = np.zeros(bed.shape)
        for body in moving.pieces:
            if body.entry.rests == "bed":
                window = windows[body.entry.name]
                on = np.isfinite(window.lowest())
                ground[window.place][on] = bed[window.place][on]
        carried_by = others + [(j, b.columns) for j, b in enumerate(bodies) if j != i]
        gaps, below = gaps_below(moving.columns, ground, carried_by)
        masses, places = _weights(moving, wet, {})
        centre = np.average(places, axis=0, weights=masses)
        pulling = [s for s in pulling_sinkers(moving.group) if s.slack == 0]
        held = Pulls(
            np.array([tie_place(s, moving) for s in pulling]).reshape(-1, 2),
            np.array([s.mass / sum(masses) for s in pulling]),
        )
        resting.append(resting_on(gaps, below, grid, centre, held))
    return Stage(tuple(bodies), tuple(resting), wet, placed, levels, water)


def rig_of(stage: Stage, end: End, body: int) -> Rig:
    """Put a body and all that touch it into one rig, at one end of the ranges; it comes first."""
    order = stage.touching(body)
    place = {number: i for i, number in enumerate(order)}
    masses, centres, lifts, lift_centres = [], [], [], []
    contacts, uppers, lowers = [], [], []
    ties, tied, least, most = [], [], [], []
    for i, number in enumerate(order):
        moving, rest = stage.bodies[number], stage.resting[number]
        mass, centre, lift, at = _loads(stage, moving, end)
        masses.append(mass)
        centres.append(centre)
        lifts.append(lift)
        lift_centres.append(at)
        contacts.append(rest.places)
        uppers += [i] * len(rest.places)
        lowers += [place.get(int(b), -1) for b in rest.below]
        pulling = pulling_sinkers(moving.group)
        weights = sinker_weights(pulling, stage)
        taut = np.array([s.slack == 0 for s in pulling], dtype=bool)
        hanging = np.array([s.how != "standing" for s in pulling], dtype=bool)
        ties.append(np.array([tie_place(s, moving) for s in pulling]).reshape(-1, 2))
        tied += [i] * len(pulling)
        most.append(np.where(taut, weights, 0.0))
        least.append(np.where(hanging & taut, weights, 0.0))
    return Rig(
        masses=np.array(masses),
        centres=np.array(centres),
        lifts=np.array(lifts).T,
        lift_centres=np.stack(lift_centres, axis=1),
        contacts=np.concatenate(contacts),
        uppers=_indices(uppers),
        lowers=_indices(lowers),
        ties=np.concatenate(ties),
        tied=_indices(tied),
        least_pulls=np.hstack(least),
        most_pulls=np.hstack(most),
    )


def ends_of(group: Group, wood: Sequence[Body], lift: Range, water: float) -> tuple[End, ...]:
    """List the ends of the ranges: least and greatest lift of all wood, then of each piece.

    Parameters
    ----------
    group : Group
    wood : sequence of Body
        Its pieces.
    lift : Range
        Of all of them, covered [kg].
    water : float
        [kg/m³].

    Notes
    -----
    The pieces are independent, so all of them at once go only as far as the root of the sum
    of squares does; one alone goes to its own end. More weight at one end tips too.
    """
    middle = middle_end(group, wood, lift, water)
    spans = [(_end_lift(b, water, -1), _end_lift(b, water, 1)) for b in wood]
    mids = [middle.volumes[b.entry.name] * water - middle.masses[b.entry.name] for b in wood]
    ends = []
    for sign in (-1, 1):
        whole = lift.low - lift.mid if sign < 0 else lift.high - lift.mid
        if group.tub is not None:
            ends.append(tub_end(wood, (lift.low, lift.mid, lift.high)[sign + 1], water))
            continue
        single = [span[(sign + 1) // 2] - mid for span, mid in zip(spans, mids, strict=True)]
        share = whole / sum(single) if sum(single) else 0.0
        ends.append(_shifted(middle, wood, [sign * share] * len(wood)))
    if len(wood) > 1 and group.tub is None:
        for i in range(len(wood)):
            for sign in (-1, 1):
                ends.append(_shifted(middle, wood, [sign * (i == j) for j in range(len(wood))]))
    return tuple(ends)


def with_factor(end: End, factor: float, water: float) -> End:
    """Multiply the net lift of every piece that floats by a factor, at its own mass."""
    volumes = {}
    for name, volume in end.volumes.items():
        mass = end.masses[name]
        lift = water * volume - mass
        volumes[name] = (mass + lift * (factor if lift > 0 else 1.0)) / water
    return End(volumes, end.masses)


def wood_lift(stage: Stage, end: End) -> Floats:
    """Net lift of the wood of one end of the ranges at each level, without stones (k,) [kg]."""
    lift = np.zeros(len(stage.levels))
    for name, volume in end.volumes.items():
        lift += volume * stage.water * stage.wet[name].shares - end.masses[name]
    return lift


def soaked_end(group: Group, wood: Sequence[Body], lift: Range, water: float) -> End:
    """Wood whose pores are full, as it is when the tank is drained after some months."""
    middle = middle_end(group, wood, lift, water)
    masses = {}
    for name, volume in middle.volumes.items():
        basic = middle.masses[name] / volume / 1000
        masses[name] = max(middle.masses[name], saturated_density(basic, water) * volume)
    return End(middle.volumes, masses)


def middle_end(group: Group, wood: Sequence[Body], lift: Range, water: float) -> End:
    """Middle densities; by the tub test where there is one."""
    if group.tub is not None:
        return tub_end(wood, lift.mid, water)
    return End({b.entry.name: b.volume.mid for b in wood}, {b.entry.name: b.mass.mid for b in wood})


def pulling_sinkers(group: Group | None) -> list[Sinker]:
    """Sinkers that pull by a tie or lie on the wood; strapped ones are part of it."""
    return [] if group is None else [s for s in group.sinkers if s.how != "strapped"]


def sinker_weights(sinkers: Sequence[Sinker], stage: Stage) -> Floats:
    """Weight of each sinker at each level (k, n) [N]."""
    columns = [(s.mass - _displaced(s, stage) * stage.water) * GRAVITY for s in sinkers]
    return np.array(columns).reshape(len(sinkers), len(stage.levels)).T


def tie_place(sinker: Sinker, moving: Moving) -> Floats:
    """Where a sinker pulls, from above: as given, or at the lowest point of the wood [m]."""
    if sinker.at is not None:
        return np.array(sinker.at[:2])
    corners = np.concatenate([b.piece.vertices for b in moving.pieces if b.entry.kind == "wood"])
    lowest = corners[corners[:, 2] < corners[:, 2].min() + 0.01]
    place: Floats = lowest[:, :2].mean(axis=0)
    return place


def loose_strapped(moving: Moving) -> list[Sinker]:
    """Sinkers strapped to a body that are no pieces of their own."""
    named = {b.entry.name for b in moving.pieces}
    sinkers = moving.group.sinkers if moving.group else ()
    return [s for s in sinkers if s.how == "strapped" and s.stone not in named]


def _weights(
    moving: Moving, wet: Mapping[str, Wet], masses: Mapping[str, float]
) -> tuple[list[float], list[Floats]]:
    """Masses [kg] of what a body is made of, first its pieces, and their places (2,) [m]."""
    strapped = loose_strapped(moving)
    heavy = [masses.get(b.entry.name, b.mass.mid) for b in moving.pieces]
    places = [wet[b.entry.name].middle for b in moving.pieces]
    return heavy + [s.mass for s in strapped], places + [tie_place(s, moving) for s in strapped]


def _loads(stage: Stage, moving: Moving, end: End) -> tuple[float, Floats, Floats, Floats]:
    """Mass, its centre, lift (k,) and its centres (k, 2) of one body with what is strapped."""
    masses, places = _weights(moving, stage.wet, end.masses)
    volumes, centres = [], []
    for body in moving.pieces:
        wet = stage.wet[body.entry.name]
        volumes.append(end.volumes.get(body.entry.name, body.volume.mid) * wet.shares)
        centres.append(wet.centres)
    for sinker, place in zip(loose_strapped(moving), places[len(volumes) :], strict=True):
        volumes.append(_displaced(sinker, stage))
        centres.append(np.broadcast_to(place, (len(stage.levels), 2)))
    lifts = [volume * stage.water * GRAVITY for volume in volumes]
    total = np.sum(lifts, axis=0)
    moments = np.sum([lift[:, None] * at for lift, at in zip(lifts, centres, strict=True)], axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        at = np.where(total[:, None] > 0, moments / total[:, None], 0.0)
    centre = np.average(places, axis=0, weights=masses)
    return float(sum(masses)), np.asarray(centre, dtype=float), total, at


def _displaced(sinker: Sinker, stage: Stage) -> Floats:
    """Volume that a sinker displaces at each level [m³]."""
    assert sinker.material.density is not None
    whole = sinker.mass / sinker.material.density.mid
    if sinker.stone in stage.wet:
        shares: Floats = stage.wet[sinker.stone].shares
        return whole * shares
    tied = sinker.at is not None and sinker.how != "standing"
    foot = max(0.0, sinker.at[2] - SINKER_HEIGHT) if tied and sinker.at is not None else 0.0
    return whole * covered_shares(stage.levels - foot)


def covered_shares(levels: Floats) -> Floats:
    """Share of a sinker without a place that is under water at levels above its foot."""
    return np.clip(levels / SINKER_HEIGHT, 0, 1)


def _wet(body: Body, levels: Floats) -> Wet:
    """Cut a piece at every level."""
    vertices, faces = body.piece.vertices, body.piece.faces
    volumes, centres = displaced_at_levels(vertices, faces, levels)
    middle = mesh_centre(vertices, faces)[:2]
    return Wet(volumes / body.mesh_volume, np.nan_to_num(centres[:, :2]), middle)


def tub_end(wood: Sequence[Body], lift: float, water: float) -> End:
    """Displaced volumes that give the measured lift, shared out by the forms."""
    whole = sum(b.mesh_volume for b in wood)
    full = (lift + sum(b.mass.mid for b in wood)) / water
    return End(
        {b.entry.name: full * b.mesh_volume / whole for b in wood},
        {b.entry.name: b.mass.mid for b in wood},
    )


def _end_lift(body: Body, water: float, sign: int) -> float:
    """Lift of one piece at one end of its ranges [kg]: more volume, less mass."""
    if sign > 0:
        return water * body.volume.high - body.mass.low
    return water * body.volume.low - body.mass.high


def _shifted(middle: End, wood: Sequence[Body], shares: Sequence[float]) -> End:
    """Move each piece by a share of the way to its end: more volume and less mass above 0."""
    volumes, masses = dict(middle.volumes), dict(middle.masses)
    for body, share in zip(wood, shares, strict=True):
        volumes[body.entry.name] = max(LEAST, body.volume.at(share))
        masses[body.entry.name] = max(LEAST, body.mass.at(-share))
    return End(volumes, masses)


def _indices(values: Sequence[int]) -> Indices:
    return np.array(values, dtype=np.int64)
