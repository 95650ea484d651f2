"""Whether a group of wood stays down as the water rises, and how it would move."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.columns import Grid, columns_of, merged_columns
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.buoyancy import Balance, balance_from_tub, balance_from_volume
from plumbstone.volumes.displacement import displaced_at_levels
from plumbstone.volumes.equilibrium import (
    Rig,
    judge_level,
    least_sinkers,
    resting_contacts,
    tipping_direction,
)
from plumbstone.volumes.floating import float_at_rest
from plumbstone.volumes.groups import Group, Sinker
from plumbstone.volumes.materials import Material
from plumbstone.volumes.setting import Body
from plumbstone.volumes.soaking import Soaking, fit_log
from plumbstone.volumes.water import GRAVITY

LEVELS = 40  # water levels tried while the tank fills
TOUCHING = 0.003  # [m]: nearer than this to where it rests, wood touches
SINKER_HEIGHT = 0.06  # water over the floor that covers a sinker without a place [m]
FINEST_AFLOAT = 20_000  # faces; a finer mesh would take long to float
TIE_REACH = 0.03  # a tie farther than this from all wood is not on it [m]


class HoldError(PlumbstoneError, ValueError):
    """A group that cannot be judged as described."""


@dataclass(frozen=True, slots=True, eq=False)
class HoldResult:
    """What holds one group, and from which water level on it would move."""

    group: Group
    balance: Balance
    sinker_material: Material
    levels: Floats  # [m]
    moves: NDArray[np.bool_]  # at each level, for light or heavy wood
    moves_at: float | None  # lowest such level [m]
    manner: str  # how it moves first, in words; empty where it stays
    margin: float  # further lift that it bears at its worst level, as a mass [kg]; may be -inf
    still_held: bool  # whether all sinkers together outweigh the greatest lift
    tie_forces: tuple[float, ...]  # at the line, middle densities [N]
    least_masses: tuple[float, ...] | None  # at `group.tie_points` [kg]; None: none holds
    draught: float | None  # of the group afloat without its sinkers [m]; None: sinks, or too fine
    soaking: Soaking | None  # from the log of weighings, if there is one

    @property
    def stays(self) -> bool:
        """Whether the pose holds at every level, with the factor on the lift."""
        return self.moves_at is None and (self.balance.stays or self.balance.lift.high <= 0)


def judge_group(
    group: Group,
    bodies: Mapping[str, Body],
    water: float,
    water_line: float,
    stone: Material,
    grid: Grid,
    support: Floats,
) -> HoldResult:
    """Judge one group at every water level while the tank fills.

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
    grid : Grid
    support : (rows, columns) float array
        What the wood can rest on: the bed, or stones and other pieces above it [m].

    Raises
    ------
    HoldError
        If a tie lies off the wood.
    """
    wood = [bodies[name] for name in group.wood]
    _check_ties(group, wood)
    material = group.sinkers[0].material if group.sinkers else stone
    balance = _balance(group, wood, material, water)
    levels = np.linspace(0, water_line, LEVELS + 1)
    lifts = (balance.lift.low, balance.lift.mid, balance.lift.high)
    light, middle, heavy = (
        _rig(group, wood, bodies, lift, levels, water, grid, support) for lift in lifts
    )
    verdicts = [[judge_level(rig, k) for k in range(len(levels))] for rig in (light, heavy)]
    moves = np.array([not (a.stays and b.stays) for a, b in zip(*verdicts, strict=True)])
    margin = min(verdict.margin for row in verdicts for verdict in row) / GRAVITY
    first = int(np.argmax(moves)) if moves.any() else None
    pulls = judge_level(middle, len(levels) - 1).pulls
    greatest = max(float(rig.lifts.max()) - rig.mass * GRAVITY for rig in (light, heavy))
    tied = [s for s in group.sinkers if s.how != "strapped"]
    weights = _weights(tied, bodies, levels, water)[-1]
    held = float(weights.sum())
    pulls = np.where(np.isnan(pulls), weights, pulls)  # what has moved may pull with it all
    return HoldResult(
        group=group,
        balance=balance,
        sinker_material=material,
        levels=levels,
        moves=moves,
        moves_at=None if first is None else float(levels[first]),
        manner="" if first is None else _manner(group, heavy, first),
        margin=margin,
        still_held=held >= greatest,
        tie_forces=tuple(float(p) for p in pulls),
        least_masses=_least(group, heavy, levels, material, water),
        draught=_draught(wood, balance, water),
        soaking=_soaking(group, balance, wood, water),
    )


def _balance(group: Group, wood: Sequence[Body], material: Material, water: float) -> Balance:
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


def _rig(
    group: Group,
    wood: Sequence[Body],
    bodies: Mapping[str, Body],
    lift: float,
    levels: Floats,
    water: float,
    grid: Grid,
    support: Floats,
) -> Rig:
    """Put the group together for one net lift of the covered wood [kg]."""
    parts = [displaced_at_levels(b.piece.vertices, b.piece.faces, levels) for b in wood]
    wet = np.sum([volumes for volumes, _ in parts], axis=0)
    moments = np.sum([v[:, None] * np.nan_to_num(c[:, :2]) for v, c in parts], axis=0)
    whole = sum(body.mesh_volume for body in wood)
    mass = sum(body.mass.mid for body in wood)
    full = lift + mass  # of water that the covered wood displaces [kg]
    lifts = full * wet / whole * GRAVITY
    with np.errstate(invalid="ignore", divide="ignore"):
        centres = np.where(wet[:, None] > 0, moments / wet[:, None], 0.0)
    weights = [b.mass.mid for b in wood]
    places = [displaced_at_levels(b.piece.vertices, b.piece.faces, [1e3])[1][0, :2] for b in wood]
    strapped = [s for s in group.sinkers if s.how == "strapped"]
    for sinker in strapped:
        place = _tie_place(sinker, wood)
        weights.append(sinker.mass)
        places.append(place)
        pull = _displaced(sinker, bodies, levels) * water * GRAVITY
        total = lifts + pull
        with np.errstate(invalid="ignore", divide="ignore"):
            mixed = (lifts[:, None] * centres + pull[:, None] * place) / total[:, None]
        centres = np.where(total[:, None] > 0, mixed, 0.0)
        lifts = total
    centre = np.average(places, axis=0, weights=weights)
    tied = [s for s in group.sinkers if s.how != "strapped"]
    taut = np.array([s.slack == 0 for s in tied], dtype=bool)
    most = np.where(taut, _weights(tied, bodies, levels, water), 0.0)
    hanging = np.array([s.how == "hanging" for s in tied], dtype=bool)
    return Rig(
        mass=float(sum(weights)),
        centre=np.asarray(centre, dtype=float),
        lifts=lifts,
        lift_centres=centres,
        contacts=_contacts(wood, grid, support, centre),
        ties=np.array([_tie_place(s, wood) for s in tied]).reshape(-1, 2),
        least_pulls=np.where(hanging, most, 0.0),
        most_pulls=most,
    )


def _weights(
    sinkers: Sequence[Sinker], bodies: Mapping[str, Body], levels: Floats, water: float
) -> Floats:
    """Weight of each sinker at each level (k, n) [N]."""
    columns = [(s.mass - _displaced(s, bodies, levels) * water) * GRAVITY for s in sinkers]
    return np.array(columns).reshape(len(sinkers), len(levels)).T


def _displaced(sinker: Sinker, bodies: Mapping[str, Body], levels: Floats) -> Floats:
    """Volume that a sinker displaces at each level [m³]."""
    assert sinker.material.density is not None
    whole = sinker.mass / sinker.material.density.mid
    if sinker.stone in bodies:
        piece = bodies[sinker.stone].piece
        volumes, _ = displaced_at_levels(piece.vertices, piece.faces, levels)
        share: Floats = volumes / bodies[sinker.stone].mesh_volume
        return whole * share
    return whole * np.clip(levels / SINKER_HEIGHT, 0, 1)


def _tie_place(sinker: Sinker, wood: Sequence[Body]) -> Floats:
    """Where a sinker pulls, from above: as given, or at the lowest point of the wood [m]."""
    if sinker.at is not None:
        return np.array(sinker.at[:2])
    corners = np.concatenate([body.piece.vertices for body in wood])
    lowest = corners[corners[:, 2] < corners[:, 2].min() + 0.01]
    place: Floats = lowest[:, :2].mean(axis=0)
    return place


def _contacts(wood: Sequence[Body], grid: Grid, support: Floats, centre: Floats) -> Floats:
    """Where the group rests on what is below once it has settled, (n, 2)."""
    windows = [columns_of(b.piece.vertices, b.piece.faces, grid) for b in wood]
    columns = merged_columns(windows, grid)
    if len(columns.bottoms) == 0:
        return np.empty((0, 2))
    gaps = np.where(np.isfinite(columns.bottoms[0]), columns.bottoms[0] - support, np.inf)
    return resting_contacts(gaps, grid.x, grid.y, centre, TOUCHING)


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


def _draught(wood: Sequence[Body], balance: Balance, water: float) -> float | None:
    """Depth of the lowest point of the wood when it floats untied [m]."""
    count = sum(len(body.piece.faces) for body in wood)
    if balance.lift.mid <= 0 or count > FINEST_AFLOAT:
        return None
    offsets = np.cumsum([0, *(len(body.piece.vertices) for body in wood)])
    vertices = np.concatenate([body.piece.vertices for body in wood])
    faces = np.concatenate(
        [body.piece.faces + first for body, first in zip(wood, offsets, strict=False)]
    )
    mass = sum(body.mass.mid for body in wood)
    share = mass / (mass + balance.lift.mid)
    return float_at_rest(vertices, faces, share * water, water).draught


def _soaking(group: Group, balance: Balance, wood: Sequence[Body], water: float) -> Soaking | None:
    """Fit the log of weighings; the displaced volume comes from the lift."""
    if not group.log:
        return None
    dry = sum(body.mass.mid for body in wood)
    days, masses = zip(*group.log, strict=True)
    return fit_log(days, masses, (dry + balance.lift.mid) / water, dry, water)


def _manner(group: Group, rig: Rig, level: int) -> str:
    """Say how a group moves when it first does; a slack tie cannot pull before it has."""
    if any(sinker.slack > 0 for sinker in group.sinkers):
        return "rises as far as its slack tie lets it"
    direction = tipping_direction(rig, level)
    if not direction.any():
        return "lifts off whole"
    names = (("right", "left"), ("back", "front"))
    axis = int(np.abs(direction).argmax())
    return f"tips up at its {names[axis][0 if direction[axis] > 0 else 1]} end"


def _least(
    group: Group, rig: Rig, levels: Floats, material: Material, water: float
) -> tuple[float, ...] | None:
    """Least masses at the allowed tie points, beside what is there already [kg]."""
    if not group.tie_points:
        return None
    assert material.density is not None
    shares = 1 - water / material.density.mid * np.clip(levels / SINKER_HEIGHT, 0, 1)
    points = np.array([point[:2] for point in group.tie_points])
    masses = least_sinkers(rig, points, shares, group.factor)
    return None if masses is None else tuple(float(m) for m in masses)
