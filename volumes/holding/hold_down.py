"""Whether groups of wood stay down as the water rises and falls, and how they would move."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.measures.nearest import nearest_on
from plumbstone.meshes.mending.thinning import thinned
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.results import BedResult
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.holding.buoyancy import (
    Balance,
    Hung,
    balance_of,
    density_by_lift,
    lift_by_tub,
)
from plumbstone.volumes.holding.burial import burial_bonus
from plumbstone.volumes.holding.ends import (
    End,
    amiss_ends,
    ends_of,
    joined,
    middle_end,
    mixed_ends,
    soaked_end,
    with_reserve,
)
from plumbstone.volumes.holding.equilibrium import (
    Rig,
    Verdicts,
    all_stay,
    first_moving,
    forces_at,
    greatest_pulls,
    hinge,
    judge,
    lifts_whole,
)
from plumbstone.volumes.holding.floating import Afloat, FloatError, float_at_rest
from plumbstone.volumes.holding.free_bodies import (
    Moving,
    Stage,
    Tie,
    drawn_into_strapped,
    lies_as_body,
    loose_strapped,
    nearest_point,
    rig_of,
    rigs_of,
    sinker_state,
    sinker_weight,
    stage_of,
    widest_gap,
    with_hung,
    wood_lift,
)
from plumbstone.volumes.holding.offers import Offers, feet_for, offers_for
from plumbstone.volumes.holding.soaking import Soaking, SoakingError, fit_weighings
from plumbstone.volumes.holding.touching import DRAWN_THROUGH, LEANS
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.groups import Group, Sinker
from plumbstone.volumes.scape.materials import Material

LEVELS = 40  # water levels tried while the tank fills
FINEST_AFLOAT = 1_500  # faces; a finer mesh is thinned before it floats
AFLOAT_CELLS = 16  # along each thinned mesh
FINER = 10  # steps of a level in which the first motion is looked for
SOONER = 5e-3  # of level [m]: if only what is amiss makes it move so much sooner, it may move
STRAPPED_IN = 5e-3  # [m]: a strap presses a stone no deeper into wood
STRAPPED_OFF = 0.02  # [m]: a strap holds nothing that is farther off
TIE_REACH = 0.03  # a tie farther than this from all wood is not on it [m]
CARRIER_LEANS = 2.0  # the same of stones below and on it


class HoldError(PlumbstoneError, ValueError):
    """A group that cannot be judged as described."""


class Verdict(StrEnum):
    """What can be said of a group as it is described."""

    STAYS = "stays"  # proved at every level, with the reserve, at the bad end of every range
    UNSURE = "unsure"  # neither proved
    MOVES = "moves"  # in no balance at some level, even where all goes well


class Doubt(StrEnum):
    """Why it is not proved that a group stays."""

    MOVES = "moves"  # at some level, at the bad end of the ranges
    SHORT = "short"  # the reserve lacks
    LEANS = "leans"  # it does not rest as drawn
    THROUGH = "through"  # it is drawn into what carries it
    STEEP = "steep"  # what it lies on is too steep to be counted on
    CARRIER = "carrier"  # what carries it, or lies on it, does not rest as drawn
    APART = "apart"  # what is tied together does not touch
    PANE = "pane"  # it comes near a pane, which is not counted on
    SOAKED = "soaked"  # full of water it moves when the tank is drained


UNJUDGED = frozenset({Doubt.THROUGH, Doubt.CARRIER, Doubt.APART})  # it has to be drawn anew


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """How a body first leaves its pose."""

    level: float  # of the water [m]
    manner: str  # in words
    edge: tuple[tuple[float, float], ...]  # ends of the edge it tips about [m]; may be empty
    end: End | None = None  # of the ranges, at which it moves there
    doubtful: bool = False  # whether it stays longer where the stones at its cords all stand and
    # the middles of mass lie as drawn


@dataclass(frozen=True, slots=True, eq=False)
class HoldResult:
    """What holds one group, and from which water level on it would move."""

    group: Group
    verdict: Verdict
    doubts: tuple[Doubt, ...]  # why it is not proved; none where it stays
    balance: Balance
    sinker_material: Material
    levels: Floats  # [m]
    moves: NDArray[np.bool_]  # at each level, at any end of the ranges
    first_move: Move | None  # while the tank fills, at the bad end; it may move there
    drained_move: Move | None  # while the tank is drained, the wood soaked
    margin: float  # further lift that it bears at its worst level, as a mass [kg]; may be -inf
    held_factor: float  # the lift times this is still held; inf where nothing lifts
    still_held: bool  # whether a tie keeps it under water even once it has moved
    ties: tuple[Tie, ...]
    tie_forces: tuple[float, ...]  # at the line, middle densities [N]
    greatest_ties: tuple[float, ...]  # the most that each may pull at any level [N]
    afloat: Afloat | None  # of the group without its sinkers; None: sinks
    soaking: Soaking | None  # from the log of weighings, if there is one
    lean: float  # tilt until it rests on what is below [degrees]
    through: float  # how deep it is drawn into what is beside or below it [m]
    into: str  # what that is; empty: glass or bed
    gap: float  # the widest between pieces that are to move as one [m]
    off: str  # the piece beyond it
    carries: tuple[str, ...]  # stones that lie on it
    doubtful: tuple[str, ...]  # bodies below or on it that do not rest as drawn
    burial: float  # what the settled bed over standing sinkers adds later [kg]
    offers: Offers
    has_choice: bool  # whether stones at hand were named
    stage: Stage
    number: int  # of this group among the bodies of the stage
    rigs: tuple[Rig, ...]  # at the ends of the ranges

    @property
    def moves_at(self) -> float | None:
        """Level at which it moves as the tank fills [m]; None where it may, or does before."""
        first = self.first_move
        sure = self.verdict is Verdict.MOVES and Doubt.LEANS not in self.doubts
        return first.level if sure and first is not None and not first.doubtful else None

    @property
    def assumed(self) -> tuple[tuple[Sinker, tuple[float, ...]], ...]:
        """Sinkers for which no place is given, and where they are taken to be tied [m]."""
        own = self.stage.bodies[self.number]
        strapped = loose_strapped(own, self.stage.placed)
        tied = [(tie.sinker, tie.place) for tie in self.ties]
        tied += [(s, (float(x), float(y), float(z))) for s, (x, y, z) in strapped]
        return tuple((sinker, place) for sinker, place in tied if sinker.at is None)

    @property
    def stays(self) -> bool:
        """Whether it is proved to stay."""
        return self.verdict is Verdict.STAYS


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What lies around the wood."""

    water: float  # density [kg/m³]
    water_line: float  # the highest level [m]
    grid: Grid
    bed: BedResult | None
    stone: Material  # of sinkers that are still to be chosen
    at_hand: tuple[Body, ...]  # stones to choose from
    offers: bool = True  # whether sinkers are sought where it is not proved that wood stays
    memo: Memo = field(default_factory=Memo, repr=False)

    @property
    def soil_line(self) -> Floats:
        """Height of the bed beside the pieces, (rows, columns); zero without a bed [m]."""
        if self.bed is None:
            return np.zeros((self.grid.ny, self.grid.nx))
        return self.bed.soil_line


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
        If a tie lies off the wood, or a stone is strapped to two groups.
    """
    if not groups:
        return ()
    placed = {body.entry.name: body for body in bodies}
    groups = [_with_masses(group, placed) for group in groups]
    levels, soil = np.linspace(0, around.water_line, LEVELS + 1), around.soil_line
    stage = set_stage(groups, bodies, around.water, levels, around.grid, soil, around.memo)
    return tuple(_judge_group(i, group, stage, around, soil) for i, group in enumerate(groups))


def set_stage(
    groups: Sequence[Group],
    bodies: Sequence[Body],
    water: float,
    levels: Floats,
    grid: Grid,
    bed: Floats,
    memo: Memo,
) -> Stage:
    """Tell what can move (groups, stones that lie on wood) from what stands, and where they rest.

    The groups come first, in their order.
    """
    placed = {body.entry.name: body for body in bodies}
    moving, taken = [], set()
    for group in groups:
        names = [*group.wood, *(s.stone for s in group.sinkers if s.how == "strapped" and s.stone)]
        _check_ties(group, [placed[name] for name in group.wood])
        for name in names:
            if name in taken:
                message = (
                    f'"{name}" is strapped to two groups, so they move as one; put all their '
                    "wood into one [[group]]."
                )
                raise HoldError(message)
        moving.append(Moving(group.name, tuple(placed[n] for n in names), group))
        taken |= {*names, *(s.stone for s in group.sinkers if s.how == "hanging")}
        taken |= {
            s.stone for s in group.sinkers if s.how == "laid on" and not lies_as_body(s, placed)
        }
    moving += [Moving(name, (body,)) for name, body in placed.items() if name not in taken]
    judged = range(len(groups))
    return stage_of(moving, placed, bed, grid, levels, water, judged, memo)


def group_lift(group: Group, wood: Sequence[Body], water: float) -> Range:
    """Lift of the covered wood of a group, by its tub test or by its forms [kg]."""
    if group.tub is None:
        return Range.total(body.mass_in_water(water).negative() for body in wood)
    return lift_by_tub((group.tub.mass, group.tub.material.dense), water)


def _balance(
    stage: Stage, number: int, stone: Material, plain: Sequence[End], strained: Sequence[End]
) -> Balance:
    """Balance a group vertically at the line; each stone by its own density."""
    wood, water, group = stage.wood_of(number), stage.water, stage.group_of(number)
    hung = Hung(
        sum(s.mass for s in group.sinkers),
        Range(*(sum(_in_water(s, stage, sign) for s in group.sinkers) for sign in (-1, 0, 1))),
    )
    lift = group_lift(group, wood, water)
    middle = middle_end(group, wood, lift, water)
    mid, *pulls = (float(wood_lift(stage, number, end)[-1]) for end in (middle, *plain))
    asked = max(float(wood_lift(stage, number, end)[-1]) for end in strained)
    volumes = [body.volume.mid for body in wood]
    density = Range(
        *np.average([[*body.density] for body in wood], axis=0, weights=volumes).tolist()
    )
    if group.tub is not None:
        density = density_by_lift(sum(body.mass.mid for body in wood), lift, water)
    pull = Range(min(mid, *pulls), mid, max(mid, *pulls))
    tub = group.tub is not None
    return balance_of(lift, pull, asked, density, stone.dense, water, hung, from_tub=tub)


def _in_water(sinker: Sinker, stage: Stage, sign: float) -> float:
    """Mass that a covered sinker still weighs at one end of its range [kg]."""
    mass, volume = sinker_state(sinker, stage, sign)
    return mass - stage.water * volume


def _with_masses(group: Group, placed: Mapping[str, Body]) -> Group:
    """Take the masses of sinkers that are pieces of the tank from their bodies."""
    sinkers = tuple(
        replace(s, mass=placed[s.stone].mass.mid) if s.stone in placed else s for s in group.sinkers
    )
    return replace(group, sinkers=sinkers)


def proved(
    stage: Stage, number: int, ends: Sequence[End], strained: Sequence[End], friction: Range
) -> bool:
    """Whether a body stays at every level: with its reserve, and wherever its middle may lie."""
    group = stage.group_of(number)
    tried = (*mixed_ends(strained, group), *amiss_ends(mixed_ends(ends, group)))
    return all_stay(rigs_of(stage, tried, number, friction))


def _judge_group(
    number: int, group: Group, stage: Stage, around: Surroundings, soil: Floats
) -> HoldResult:
    """Judge one group of a stage at all ends of the ranges."""
    wood, water = stage.wood_of(number), stage.water
    material = group.sinkers[0].material if group.sinkers else around.stone
    plain, strained, soaked = _ends_together(stage, number)
    balance = _balance(stage, number, material, plain, strained)
    ends = mixed_ends(plain, group)
    middle = middle_end(group, wood, balance.lift, water)
    *rigs, full, even = rigs_of(stage, (*ends, soaked, middle), number, group.friction)
    verdicts = [judge(rig) for rig in rigs]
    margins = np.array([verdict.margins for verdict in verdicts])
    moving = not all(verdict.stays.all() for verdict in verdicts)
    first = _first_move(stage, ends, number, group.friction, known=moving)
    if first is not None:
        standing = [end for end in ends if not end.hung]
        known = moving and len(standing) == len(ends)
        later = _first_move(stage, standing, number, group.friction, amiss=False, known=known)
        if later is None or later.level > first.level + SOONER:
            first = replace(first, doubtful=True)
        else:  # it goes as it does where nothing is amiss
            first = replace(later, level=first.level, end=first.end)
    drained = _drained_move(stage, full)
    doubts = _doubts(stage, number, plain, strained, soaked)
    through, into = stage.resting[number].through, stage.into(number)
    strapped = drawn_into_strapped(stage, number, around.grid, around.memo)
    if strapped[0] > max(STRAPPED_IN, through):
        through, into = strapped
        doubts = tuple(dict.fromkeys((*doubts, Doubt.THROUGH)))
    gap, off = widest_gap(stage, number, around.memo)
    if gap > STRAPPED_OFF:
        doubts = (*doubts, Doubt.APART)
    at_best = not doubts or all_stay([rig_of(_as_drawn(stage, number), middle, number, None)])
    at_line, most = _tie_forces(even, rigs)
    verdict = Verdict.UNSURE if doubts else Verdict.STAYS
    if doubts and not at_best and not UNJUDGED & {*doubts}:
        verdict = Verdict.MOVES
    return HoldResult(
        group=group,
        verdict=verdict,
        doubts=doubts,
        balance=balance,
        sinker_material=material,
        levels=stage.levels,
        moves=~np.all([v.stays for v in verdicts], axis=0),
        first_move=first,
        drained_move=drained,
        margin=float(margins.min()) / GRAVITY,
        held_factor=_held_factor(stage, number, ends, margins),
        still_held=_still_held(stage, number, ends),
        ties=stage.ties[number],
        tie_forces=at_line,
        greatest_ties=most,
        afloat=around.memo(_afloat, wood, balance, water),
        soaking=_soaking(group, balance, wood, water),
        lean=stage.resting[number].lean,
        through=through,
        into=into,
        gap=gap,
        off=off,
        carries=tuple(stage.bodies[i].name for i in stage.above(number)),
        doubtful=_doubtful(stage, number),
        burial=_burial(group, stage.placed, around),
        offers=_offers(stage, number, plain, strained, soaked, soil, material, around, doubts),
        has_choice=bool(around.at_hand),
        stage=stage,
        number=number,
        rigs=tuple(rigs),
    )


def _ends_together(stage: Stage, number: int) -> tuple[tuple[End, ...], tuple[End, ...], End]:
    """List the ends of the ranges of a group, the same with the reserve, and full of water.

    Wood of other groups that is judged with it is light or heavy at each of them.
    """
    group = stage.group_of(number)
    own = _ends_alone(stage, number)
    others = [
        _ends_alone(stage, i)
        for i in stage.together(number)[1:]
        if stage.bodies[i].group is not None
    ]
    ends, strained, soaked = (
        joined(own[k], [other[k] for other in others]) if others else own[k] for k in range(3)
    )
    return (
        with_hung(ends, stage, number, group.friction),
        with_hung(strained, stage, number, group.friction),
        soaked[0],
    )


def _ends_alone(stage: Stage, number: int) -> tuple[tuple[End, ...], ...]:
    """Give the same of one group alone; the most lift comes first, then the least."""
    group, wood, water = stage.group_of(number), stage.wood_of(number), stage.water
    lift = group_lift(group, wood, water)
    ends = ends_of(group, wood, lift, water)
    unlucky = ends
    if group.tub is not None:  # it speaks of the real wood, so the reserve is on its middle
        middle = middle_end(group, wood, lift, water)
        unlucky = (replace(middle, stones=-1.0), replace(middle, stones=1.0))
    strained = tuple(with_reserve(end, group, lift, water) for end in unlucky)
    return ends, strained, (soaked_end(group, wood, lift, water),)


def _offers(
    stage: Stage,
    number: int,
    ends: Sequence[End],
    strained: Sequence[End],
    soaked: End,
    soil: Floats,
    material: Material,
    around: Surroundings,
    doubts: Sequence[Doubt],
) -> Offers:
    """Seek sinkers where it is not proved that a group stays, or places are named for them.

    Where none hold it, places for one or two more feet are sought; where it leans, such on
    which it rests dry as drawn.
    """
    group = stage.group_of(number)
    found = Offers(np.empty((0, 3)), "", ())
    held = not doubts and not group.tie_points
    if not around.offers or held or UNJUDGED & {*doubts}:
        return found

    def strained_rigs(bare: Stage) -> list[Rig]:
        return rigs_of(bare, strained, number, group.friction)

    def stays(held: Stage) -> bool:
        return proved(held, number, (*ends, soaked), strained, group.friction)

    def stays_set_anew(held: Stage) -> bool:
        """Where it rests hangs on what is tied on, too."""
        bodies, grid = held.bodies, around.grid
        anew = stage_of(
            bodies, held.placed, soil, grid, held.levels, held.water, (number,), around.memo
        )
        return not _doubts(anew, number, ends, strained, soaked)

    if not _doubts_of_pose(stage, number):
        found = offers_for(
            stage, number, strained_rigs, stays_set_anew, soil, around.grid, material,
            around.at_hand,
        )  # fmt: skip
    if found.best or not doubts:
        return found
    return replace(found, feet=feet_for(_as_drawn(stage, number), number, stays))


def _as_drawn(stage: Stage, number: int) -> Stage:
    """Leave the dry tank alone where a body leaves its drawn pose before any water comes."""
    return stage.at_levels(stage.levels[:1]) if stage.resting[number].lean > LEANS else stage


def _doubtful(stage: Stage, number: int) -> tuple[str, ...]:
    """Name bodies judged with a group that do not rest as drawn, whatever the group does."""
    others = ((i, stage.resting[i]) for i in stage.together(number)[1:])
    return tuple(
        stage.bodies[i].name
        for i, rest in others
        if rest.lean > CARRIER_LEANS or (rest.through > DRAWN_THROUGH and rest.into != number)
    )


def _doubts(
    stage: Stage, number: int, ends: Sequence[End], strained: Sequence[End], soaked: End
) -> tuple[Doubt, ...]:
    """List why it is not proved that a group stays."""
    rest, group = stage.resting[number], stage.group_of(number)
    found = _doubts_of_balance(stage, number, ends, strained, soaked)
    found += _doubts_of_pose(stage, number)
    steep = np.tan(np.radians(rest.steepness)) > group.friction.low
    if found and bool((steep & rest.touching() & ~rest.soil).any()):
        found.append(Doubt.STEEP)
    if found and rest.panes():
        found.append(Doubt.PANE)
    return tuple(found)


def _doubts_of_pose(stage: Stage, number: int) -> list[Doubt]:
    """List what is amiss in the drawn pose, whatever is tied on."""
    rest = stage.resting[number]
    asked = (
        (Doubt.LEANS, rest.lean > LEANS),
        (Doubt.THROUGH, rest.through > DRAWN_THROUGH),
        (Doubt.CARRIER, bool(_doubtful(stage, number))),
    )
    return [doubt for doubt, applies in asked if applies]


def _doubts_of_balance(
    stage: Stage, number: int, ends: Sequence[End], strained: Sequence[End], soaked: End
) -> list[Doubt]:
    """List what lacks in the balance; one program answers where nothing does."""
    group = stage.group_of(number)
    if proved(stage, number, (*ends, soaked), strained, group.friction):
        return []
    if not all_stay(rigs_of(stage, mixed_ends(ends, group), number, group.friction)):
        return [Doubt.MOVES]
    asked = (
        (Doubt.SHORT, proved(stage, number, ends, strained, group.friction)),
        (Doubt.SOAKED, proved(stage, number, [soaked], [], group.friction)),
    )
    return [doubt for doubt, holds in asked if not holds]


def _still_held(stage: Stage, number: int, ends: Sequence[End]) -> bool:
    """Whether one tie keeps a group under water whatever it does.

    Its stone outweighs the whole lift, and the wood at the end of its tie cannot reach the
    surface.
    """
    wood = np.concatenate([b.piece.vertices for b in stage.wood_of(number)])
    lift = max(float(wood_lift(stage, number, end)[-1]) for end in ends) * GRAVITY
    for tie in stage.ties[number]:
        if tie.sinker.how not in ("standing", "hanging"):
            continue
        place = np.array(tie.place)
        foot = stage.placed[tie.to].piece.high[2] if tie.to else 0.0
        length = max(0.0, place[2] - foot) + tie.sinker.slack
        if tie.to:
            length = float(np.linalg.norm(place - _anchor(stage, tie))) + tie.sinker.slack
        reach = float(np.linalg.norm(wood - place, axis=1).max())
        heavy = float(sinker_weight(tie.sinker, stage, -1)[-1]) >= lift
        if heavy and foot + length + reach <= stage.levels[-1]:
            return True
    return False


def _anchor(stage: Stage, tie: Tie) -> Floats:
    return nearest_point(stage.placed[tie.to], np.array(tie.place))


def _burial(group: Group, placed: Mapping[str, Body], around: Surroundings) -> float:
    """Mass that the bed over the group's standing stones adds once it has settled [kg]."""
    stones = [placed[s.stone] for s in group.sinkers if s.how == "standing" and s.stone in placed]
    if around.bed is None or not stones:
        return 0.0
    return burial_bonus(stones, around.bed, around.water)


def _first_move(
    stage: Stage,
    ends: Sequence[End],
    number: int,
    friction: Range,
    *,
    amiss: bool = True,
    known: bool = False,
) -> Move | None:
    """Find the lowest level at which any end of the ranges moves, and how it does.

    Between the levels that were tried it is looked for in finer steps; the last one at which
    all stays is told, so that the warning does not come late. Where it counts wherever the
    middle of mass may lie, what stands on an edge falls without water. Whether one moves at all
    is not asked where it is `known` to.
    """
    if not known and all_stay(rigs_of(stage, ends, number, friction)):
        return None
    tried = (*ends, *(amiss_ends(ends) if amiss else ()))
    coarse = first_moving(rigs_of(stage, tried, number, friction))
    if coarse is None:
        return None
    level = coarse[0]
    below = stage.levels[level - 1] if level else stage.levels[0]
    finer = stage.at_levels(np.linspace(below, stage.levels[level], FINER + 1))
    rigs = rigs_of(finer, tried, number, friction)
    first, worst = first_moving(rigs) or (FINER, coarse[1])
    move = _move(finer, rigs[worst], judge(rigs[worst]), first)
    return replace(move, level=float(finer.levels[max(0, first - 1)]), end=tried[worst])


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
    direction = np.asarray(motion[0, 1:3]) * (-1 if falls else 1)
    end = end_name(direction)
    if falls:
        return Move(at, f"tips over by its own weight, down at its {end} end", edge)
    return Move(at, f"tips up at its {end} end", edge)


def end_name(direction: Floats) -> str:
    """Name the end of a body that lies in a direction (2,)."""
    axis = int(np.abs(direction).argmax())
    return (("right", "left"), ("back", "front"))[axis][0 if direction[axis] > 0 else 1]


def _held_factor(stage: Stage, number: int, ends: Sequence[End], margins: Floats) -> float:
    """Least factor on the lift of the wood that is still held, over all ends and levels."""
    found = np.inf
    for end, row in zip(ends, margins, strict=True):
        lift = wood_lift(stage, number, end) * GRAVITY
        up = lift > 1e-6
        if up.any():
            found = min(found, float((1 + row[up] / lift[up]).min()))
    return max(found, 0.0)  # nothing of it is held at all


def _tie_forces(middle: Rig, rigs: Sequence[Rig]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Pull of each tie of the group at the line, and the most at any level and end [N]."""
    own = middle.tied == 0
    pulls = forces_at(middle, middle.levels - 1)[1][own]
    pulls = np.where(
        np.isnan(pulls), middle.most_pulls[-1][own], pulls
    )  # what has moved may pull with it all
    most = np.max([greatest_pulls(rig)[own] for rig in rigs], axis=0) if own.any() else pulls
    most = np.maximum(most, pulls)
    return tuple(float(p) for p in pulls), tuple(float(p) for p in most)


def _check_ties(group: Group, wood: Sequence[Body]) -> None:
    """Refuse a tie that is nowhere near the wood."""
    faces = np.concatenate([body.piece.vertices[body.piece.faces] for body in wood])
    places = [s.at for s in group.sinkers if s.at is not None] + list(group.tie_points)
    for place in places:
        gap = float(np.linalg.norm(nearest_on(faces, np.array(place)) - place))
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
        if any(enclosed_volume(*mesh) <= 0 for mesh in meshes):
            return None
    offsets = np.cumsum([0, *(len(vertices) for vertices, _ in meshes)])
    vertices = np.concatenate([vertices for vertices, _ in meshes])
    faces = np.concatenate(
        [faces + first for (_, faces), first in zip(meshes, offsets, strict=False)]
    )
    mass = sum(body.mass.mid for body in wood)
    share = mass / (mass + balance.lift.mid)
    try:
        return float_at_rest(vertices, faces, share * water, water)
    except FloatError:  # a thinned skin through itself: not told rather than guessed
        return None


def _soaking(group: Group, balance: Balance, wood: Sequence[Body], water: float) -> Soaking | None:
    """Fit the log of weighings; the displaced volume comes from the lift."""
    if len({weighing.day for weighing in group.log}) < 2:  # one weighing tells no trend
        return None
    dry = sum(body.mass.mid for body in wood)
    lift = balance.lift
    volume = Range(*((dry + v) / water for v in (lift.low, lift.mid, lift.high)))
    try:
        return fit_weighings(group.log, volume, dry, water)
    except SoakingError as error:
        raise HoldError(f'group "{group.name}".log: {error}') from None
