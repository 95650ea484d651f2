"""Whether groups of wood stay down as the water rises and falls, and how they would move."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.measures.nearest import distance_to
from plumbstone.meshes.mending.solids import together
from plumbstone.meshes.mending.thinning import thinned
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.results import BedResult
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.figures import SoakingFigures
from plumbstone.volumes.holding import free_bodies, gaps, ties
from plumbstone.volumes.holding.buoyancy import Balance, Hung, balance_of, density_by_lift
from plumbstone.volumes.holding.burial import burial_bonus
from plumbstone.volumes.holding.ends import End
from plumbstone.volumes.holding.equilibrium import Rig, all_stay, forces_at, greatest_pulls, judge
from plumbstone.volumes.holding.floating import Afloat, FloatError, float_at_rest
from plumbstone.volumes.holding.free_bodies import Stage
from plumbstone.volumes.holding.moves import Move, drained_move, first_move
from plumbstone.volumes.holding.offers import Offers, feet_for, offers_for
from plumbstone.volumes.holding.proof import UNJUDGED, Case, Doubt, case_of
from plumbstone.volumes.holding.soaking import SoakingError, fit_weighings
from plumbstone.volumes.holding.ties import Moving, Tie
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.groups import Group, Sinker
from plumbstone.volumes.scape.materials import Material

LEVELS = 40  # water levels tried while the tank fills
FINEST_AFLOAT = 1_500  # faces; a finer mesh is thinned before it floats
AFLOAT_CELLS = 16  # along each thinned mesh
NO_ROOM = 0.01  # [m]: no stone hangs so near above the ground
STRAPPED_IN = 5e-3  # [m]: a strap presses a stone no deeper into wood
STRAPPED_OFF = 0.02  # [m]: a strap holds nothing that is farther off


class HoldError(PlumbstoneError, ValueError):
    """A group that cannot be judged as described."""


class Verdict(StrEnum):
    """What can be said of a group as it is described."""

    STAYS = "stays"  # proved at every level, with the reserve, at the bad end of every range
    UNSURE = "unsure"  # neither proved
    MOVES = "moves"  # in no balance at some level, even where all goes well


@dataclass(frozen=True, slots=True, eq=False)
class HoldResult:
    """What holds one group, and from which water level on it would move."""

    group: Group
    verdict: Verdict
    doubts: tuple[Doubt, ...]  # why it is not proved; none where it stays
    balance: Balance
    sinker_material: Material
    levels: Floats  # [m]
    moves: Flags  # at each level, at any end of the ranges
    first_move: Move | None  # while the tank fills, at the bad end; it may move there
    drained_move: Move | None  # while the tank is drained, the wood soaked
    margin: float  # further lift that it bears at its worst level, as a mass [kg]; may be -inf
    held_factor: float  # the lift times this is still held; inf where nothing lifts
    still_held: bool  # whether a tie keeps it under water even once it has moved
    ties: tuple[Tie, ...]
    tie_rooms: tuple[float, ...]  # from each down to the bed or the glass [m]
    tie_forces: tuple[float, ...]  # at the line, middle densities [N]
    greatest_ties: tuple[float, ...]  # the most that each may pull at any level [N]
    afloat: Afloat | None  # of the group without its sinkers; None: sinks
    soaking: SoakingFigures | None  # from the log of weighings, if there is one
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
    hinges: tuple[str, ...] = ()  # stones without whose straps it does not lie, as on one place

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
        strapped = ties.loose_strapped(own, self.stage.placed)
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

    Raises as `cases_of` does.
    """
    return tuple(_judge_group(case, around) for case in cases_of(groups, bodies, around))


def cases_of(
    groups: Sequence[Group], bodies: Sequence[Body], around: Surroundings
) -> tuple[Case, ...]:
    """Set all groups of wood on one stage, each at all ends of its ranges.

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
    return tuple(case_of(stage, i) for i in range(len(groups)))


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
        _check_ties(group, ties.skin_of([placed[name] for name in group.wood]), bed, grid)
        for name in names:
            if name in taken:
                raise HoldError(
                    f'"{name}" is strapped to two groups, so they move as one; put all their '
                    "wood into one [[group]]."
                )
        moving.append(Moving(group.name, tuple(placed[n] for n in names), group))
        taken |= {*names, *(s.stone for s in group.sinkers if s.how == "hanging")}
        laid = [s for s in group.sinkers if s.how == "laid on"]
        taken |= {s.stone for s in laid if not ties.lies_as_body(s, placed)}
    moving += [Moving(name, (body,)) for name, body in placed.items() if name not in taken]
    judged = range(len(groups))
    return free_bodies.stage_of(moving, placed, bed, grid, levels, water, judged, memo)


def _wedged(case: Case, memo: Memo) -> bool:
    """Whether flanks of pieces that are not counted may keep it where it is said to move.

    It may lean on one where it falls dry, and jam between two, or one and a pane, where it floats.
    """
    stage, own = case.stage, case.stage.bodies[case.number].pieces
    counted = [b for i in {*case.rest.below.tolist()} if i >= 0 for b in stage.bodies[i].pieces]
    names = {body.entry.name for body in (*own, *counted)}
    flanks = gaps.beside(own, stage.placed.values(), names, memo)
    judged = {b.entry.name for i in stage.together(case.number) for b in stage.bodies[i].pieces}
    jams = len({*flanks} - judged)
    if not flanks or (jams and jams + len(case.rest.panes()) > 1):
        return bool(flanks)
    dry = stage.at_levels(stage.levels[:1])
    return not all_stay([free_bodies.rig_of(dry, case.middle, case.number, None)])


def _balance(case: Case, stone: Material) -> Balance:
    """Balance a group vertically at the line; each stone by its own density."""
    stage, wood, group, lift = case.stage, case.wood, case.group, case.lift
    hung = Hung(
        sum(s.mass for s in group.sinkers),
        Range(*(sum(_in_water(s, stage, sign) for s in group.sinkers) for sign in (-1, 0, 1))),
    )
    mid, *pulls = _lifts(case, (case.middle, *case.ends))
    volumes = [body.volume.mid for body in wood]
    density = Range(
        *np.average([[*body.density] for body in wood], axis=0, weights=volumes).tolist()
    )
    if group.tub is not None:
        density = density_by_lift(sum(body.mass.mid for body in wood), lift, stage.water)
    return balance_of(
        lift,
        Range(min(mid, *pulls), mid, max(mid, *pulls)),
        max(_lifts(case, case.strained)),
        density,
        stone.dense,
        stage.water,
        hung,
        from_tub=group.tub is not None,
    )


def _lifts(case: Case, ends: Iterable[End]) -> list[float]:
    """Net lift of the covered wood at some ends of the ranges [kg]."""
    return [float(free_bodies.wood_lift(case.stage, case.number, end)[-1]) for end in ends]


def _in_water(sinker: Sinker, stage: Stage, sign: float) -> float:
    """Mass that a covered sinker still weighs at one end of its range [kg]."""
    mass, volume = free_bodies.sinker_state(sinker, stage, sign)
    return mass - stage.water * volume


def _with_masses(group: Group, placed: Mapping[str, Body]) -> Group:
    """Take the masses of sinkers that are pieces of the tank from their bodies."""
    sinkers = tuple(
        replace(s, mass=placed[s.stone].mass.mid) if s.stone in placed else s for s in group.sinkers
    )
    return replace(group, sinkers=sinkers)


def _judge_group(case: Case, around: Surroundings) -> HoldResult:
    """Judge one group of a stage at all ends of the ranges."""
    stage, number, group, rest, wood = case.stage, case.number, case.group, case.rest, case.wood
    material = group.sinkers[0].material if group.sinkers else around.stone
    balance = _balance(case, material)
    ends = case.mixed
    *rigs, full, even = case.rigs((*ends, case.soaked, case.middle))
    verdicts = [judge(rig) for rig in rigs]
    margins = np.array([verdict.margins for verdict in verdicts])
    moving = not all(verdict.stays.all() for verdict in verdicts)
    doubts = case.doubts()
    deep, (gap, off), amiss = straps_of(case, around.grid, around.memo)
    through, into = deep if Doubt.THROUGH in amiss else (rest.through, stage.into(number))
    doubts = tuple(dict.fromkeys((*doubts, *amiss)))
    at_best = not doubts or case.as_drawn().may_stay()
    at_line, most = _tie_forces(even, rigs)
    verdict = Verdict.UNSURE if doubts else Verdict.STAYS
    if not at_best and not UNJUDGED & {*doubts} and not _wedged(case, around.memo):
        verdict = Verdict.MOVES
    return HoldResult(
        group=group,
        verdict=verdict,
        doubts=doubts,
        balance=balance,
        sinker_material=material,
        levels=stage.levels,
        moves=~np.all([v.stays for v in verdicts], axis=0),
        first_move=first_move(case, ends, moving=moving),
        drained_move=drained_move(stage, full),
        margin=float(margins.min()) / GRAVITY,
        held_factor=_held_factor(case, ends, margins),
        still_held=_still_held(case, ends),
        ties=stage.ties[number],
        tie_rooms=tuple(
            _room(ties.skin_of(wood), np.array(tie.place), around.soil_line, around.grid)
            for tie in stage.ties[number]
        ),
        tie_forces=at_line,
        greatest_ties=most,
        afloat=around.memo(_afloat, wood, balance, stage.water),
        soaking=_soaking(group, balance, wood, stage.water),
        lean=rest.lean,
        through=through,
        into=into,
        gap=gap,
        off=off,
        carries=tuple(stage.bodies[i].name for i in stage.above(number)),
        doubtful=case.doubtful(),
        burial=_burial(group, stage.placed, around),
        offers=_offers(case, material, around, doubts),
        has_choice=bool(around.at_hand),
        stage=stage,
        number=number,
        rigs=tuple(rigs),
    )


def straps_of(
    case: Case, grid: Grid, memo: Memo
) -> tuple[tuple[float, str], tuple[float, str], tuple[Doubt, ...]]:
    """Tell how deep a strapped stone is drawn into wood, and how far a piece lies off the others.

    Each with its name [m]; last what follows of them.
    """
    deep = free_bodies.drawn_into_strapped(case.stage, case.number, grid, memo)
    gap = gaps.widest_gap(case.stage.bodies[case.number].pieces, memo)
    asked = (
        (Doubt.THROUGH, deep[0] > max(STRAPPED_IN, case.rest.through)),
        (Doubt.APART, gap[0] > STRAPPED_OFF),
    )
    return deep, gap, tuple(doubt for doubt, applies in asked if applies)


def _offers(
    case: Case, material: Material, around: Surroundings, doubts: Sequence[Doubt]
) -> Offers:
    """Seek sinkers where it is not proved that a group stays, or places are named for them.

    Where none hold it, places for one or two more feet are sought; where it leans, such on
    which it rests dry as drawn.
    """
    found = Offers(np.empty((0, 3)), "", ())
    held = not doubts and not case.group.tie_points
    if not around.offers or held or UNJUDGED & {*doubts}:
        return found
    number, soil, grid = case.number, around.soil_line, around.grid

    def stays_set_anew(held: Stage) -> bool:
        """Where it rests hangs on what is tied on, too."""
        anew = free_bodies.stage_of(
            held.bodies, held.placed, soil, grid, held.levels, held.water, (number,), around.memo
        )
        return case.on(anew).stays()

    if not case.of_pose():
        found = offers_for(
            case.stage, number, lambda bare: case.on(bare).rigs(case.strained), stays_set_anew,
            soil, grid, material, around.at_hand,
        )  # fmt: skip
    if found.best or not doubts:
        return found
    feet = feet_for(case.as_drawn().stage, number, lambda footed: case.on(footed).proved())
    return replace(found, feet=feet)


def _still_held(case: Case, ends: Sequence[End]) -> bool:
    """Whether one tie keeps a group under water whatever it does.

    Its stone outweighs the whole lift, and the wood at the end of its tie cannot reach the
    surface.
    """
    stage, wood = case.stage, np.concatenate([b.piece.vertices for b in case.wood])
    lift = max(_lifts(case, ends)) * GRAVITY
    for tie in stage.ties[case.number]:
        if tie.sinker.how not in ("standing", "hanging"):
            continue
        place = np.array(tie.place)
        foot = stage.placed[tie.to].piece.high[2] if tie.to else 0.0
        length = max(0.0, place[2] - foot) + tie.sinker.slack
        if tie.to:
            anchor = ties.nearest_point(stage.placed[tie.to], place)
            length = float(np.linalg.norm(place - anchor)) + tie.sinker.slack
        reach = float(np.linalg.norm(wood - place, axis=1).max())
        heavy = float(free_bodies.sinker_weight(tie.sinker, stage, -1)[-1]) >= lift
        if heavy and foot + length + reach <= stage.levels[-1]:
            return True
    return False


def _burial(group: Group, placed: Mapping[str, Body], around: Surroundings) -> float:
    """Mass that the bed over the group's standing stones adds once it has settled [kg]."""
    stones = [placed[s.stone] for s in group.sinkers if s.how == "standing" and s.stone in placed]
    if around.bed is None or not stones:
        return 0.0
    return burial_bonus(stones, around.bed, around.water)


def _held_factor(case: Case, ends: Sequence[End], margins: Floats) -> float:
    """Least factor on the lift of the wood that is still held, over all ends and levels."""
    found = np.inf
    for end, row in zip(ends, margins, strict=True):
        lift = free_bodies.wood_lift(case.stage, case.number, end) * GRAVITY
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


def _room(wood: Floats, place: Floats, bed: Floats, grid: Grid) -> float:
    """Height from where a cord leaves wood (n, 3, 3) down to the bed or the glass [m]."""
    return ties.hung_from(wood, place) - float(bed[grid.cell_at(place[0], place[1])])


def _check_ties(group: Group, faces: Floats, bed: Floats, grid: Grid) -> None:
    """Refuse a tie that is nowhere near the wood, or a stone that hangs where wood stands."""
    for sinker in group.sinkers:
        if sinker.how not in ("hanging", "standing") or sinker.stone or sinker.at is None:
            continue
        tied = np.array(sinker.at)
        thick, room = sinker.at[2] - ties.hung_from(faces, tied), _room(faces, tied, bed, grid)
        if thick > ties.TIE_REACH and room < NO_ROOM:
            raise HoldError(
                f'Group "{group.name}": below a tie are <{thick * 1e2:.1f} cm> of wood, down to '
                "the ground, so no cord runs there; write at = [...] where its cord leaves the "
                'wood, or how = "strapped".'
            )
    places = [s.at for s in group.sinkers if s.at is not None] + list(group.tie_points)
    for place in places:
        gap = distance_to(faces, np.array(place))
        if gap > ties.TIE_REACH:
            where = ", ".join(f"<{v * 1e2:.1f} cm>" for v in place)
            raise HoldError(
                f'Group "{group.name}": the tie at ({where}) is <{gap * 1e2:.1f} cm> off the '
                "wood; places count from the left pane, the front pane and the glass floor."
            )


def _afloat(wood: Sequence[Body], balance: Balance, water: float) -> Afloat | None:
    """Find how the wood floats when it is untied; fine meshes are thinned for it."""
    if balance.lift.mid <= 0:
        return None
    meshes = [(b.piece.vertices, b.piece.faces) for b in wood]
    if sum(len(faces) for _, faces in meshes) > FINEST_AFLOAT:
        meshes = [thinned(*mesh, cells=AFLOAT_CELLS) for mesh in meshes]
        if any(enclosed_volume(*mesh) <= 0 for mesh in meshes):
            return None
    vertices, faces = together(meshes)
    mass = sum(body.mass.mid for body in wood)
    share = mass / (mass + balance.lift.mid)
    try:
        return float_at_rest(vertices, faces, share * water, water)
    except FloatError:  # a thinned skin through itself: not told rather than guessed
        return None


def _soaking(
    group: Group, balance: Balance, wood: Sequence[Body], water: float
) -> SoakingFigures | None:
    """Fit the log of weighings; the displaced volume comes from the lift."""
    if len({weighing.day for weighing in group.log}) < 2:  # one weighing tells no trend
        return None
    dry = sum(body.mass.mid for body in wood)
    lift = balance.lift
    volume = Range(*((dry + v) / water for v in (lift.low, lift.mid, lift.high)))
    try:
        return fit_weighings(group.log, volume, dry, water)
    except SoakingError as error:
        raise HoldError(f'group "{group.name}".log: {error.text}') from None
