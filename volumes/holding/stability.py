"""Stones that stand or lie on each other: how far they may lean, what push tips them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.measures.displacement import mesh_centre
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.holding.ends import End, amiss_ends, apart
from plumbstone.volumes.holding.equilibrium import all_stay, stays_at
from plumbstone.volumes.holding.free_bodies import (
    Stage,
    lots_of,
    rigs_of,
    stage_of,
)
from plumbstone.volumes.holding.gaps import beside
from plumbstone.volumes.holding.proof import CARRIER_LEANS
from plumbstone.volumes.holding.ties import Moving
from plumbstone.volumes.holding.touching import DRAWN_THROUGH
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.groups import FRICTION

UPRIGHT = 1.2  # height over the narrower side of its outline: from here on it stands
LEANS = 5.0  # [degrees]: from here on a piece does not rest as it is drawn
EDGE = 5.0  # [degrees]: what tips by less lies on an edge or a point
SMALL_ANGLE = 15.0  # [degrees]; common practice, no source
OVERHANG = 0.25  # of its weight, pressed on what sticks out, that tips it; common practice, no
# source
PEBBLE = 0.5  # [kg]: lighter and low, pressed into the bed, it hurts nothing if fish dig it out;
# common practice, no source
STICKS_OUT = 0.02  # [m]: less than that beyond an edge bears no hand


@dataclass(frozen=True, slots=True)
class Standing:
    """One piece on its foot; soil and ties are not counted, fish dig."""

    name: str
    tip_angle: float  # about its nearest edge [degrees]; 0 where it does not stand by itself
    push_dry: float  # sideways at the top that tips it [N]
    push_wet: float
    upright: bool  # taller than its outline is narrow
    to_pane: float  # from its outline to the nearest pane [m]
    on: tuple[str, ...] = ()  # stones that it lies on
    lean: float = 0.0  # tilt until it rests on what is below [degrees]
    falls_at: float | None = None  # water level at which its stack falls as drawn [m]
    unsure: bool = False  # whether it is not proved that it stays as drawn
    through: float = 0.0  # how deep it is drawn into another [m]
    into: str = ""  # the piece that this is
    may_float: bool = False  # whether it is a stone that floats at some end of its range
    floats: bool = False  # whether it does so at its middle
    foot_known: bool = True  # not where its size or its mass alone is given
    pointed: bool = False  # drawn as an ellipsoid, which stands on a point as no stone does
    load: tuple[str, ...] = ()  # stones that lie on it, and on these
    press: float = math.inf  # down on what sticks out over an edge that tips it [N, under water]
    overhangs: bool = False  # whether that is little of what it weighs with its load
    turned: bool = False  # whether it was turned until it rested
    carries: bool = False  # whether other pieces lie on it, which move with it
    aside: tuple[str, ...] = ()  # pieces on whose flanks it leans, for friction to hold it
    bedded: bool = False  # whether it is a pebble that is pressed into the bed and bears nothing

    @property
    def tips(self) -> bool:
        """Whether a small lean tips it."""
        stands = self.upright or bool(self.on)
        return self.tip_angle < (SMALL_ANGLE if stands else EDGE)

    @property
    def leans(self) -> bool:
        """Whether it tilts until it rests, so far that it is not drawn as it will lie."""
        doubted = self.aside or (self.carries and self.unsure)
        return not doubted and self.lean > (CARRIER_LEANS if self.carries else LEANS)

    @property
    def doubtful(self) -> bool:
        """Whether it tips easily, lies on an edge, is drawn into another or may not stay."""
        amiss = self.leans or self.through > DRAWN_THROUGH or self.may_float
        moves = self.falls_at is not None or self.unsure or bool(self.aside)
        if self.bedded and not self.through > DRAWN_THROUGH and not self.may_float:
            return False
        return self.tips or self.overhangs or amiss or moves


def tip_angle(inside: float, height: float) -> float:
    """Lean [degrees] that brings a centre of mass, a height [m] up, over its edge [m] (statics)."""
    return math.degrees(math.atan2(max(inside, 0.0), height))


def top_push(weight: float, inside: float, top: float) -> float:
    """Sideways push [N] at a height [m] that tips a weight [N] about an edge so far off [m].

    Moments about that edge: OpenStax, College Physics 2e, section 9.2.
    """
    return weight * max(inside, 0.0) / top


def judge_stones(
    bodies: Sequence[Body],
    water: float,
    line: float,
    floor: tuple[float, float],
    grid: Grid,
    bed: Floats,
    tied: Sequence[str],
    memo: Memo,
) -> tuple[Standing, ...]:
    """Judge every stone that rests on the floor, the bed or other stones, and upright wood.

    Stones on wood are judged with the wood, and wood to which something is `tied` with that.
    `water` is a density [kg/m³], `line` the highest level [m], `floor` the length and depth of the
    tank [m], `bed` its surface beside the pieces, (rows, columns) [m]; empty: none.

    Notes
    -----
    Stones that lie on each other are one program, dry and at three depths: the stack falls
    where no pushes balance it. Soil is not counted, but for what was turned until it rests on
    it: without soil that would lie on an edge. What leans on the flank of a stone beside it may
    hold by friction, which is not counted there, so that it falls is not proved.
    """
    stones = {b.entry.name for b in bodies if b.entry.kind == "stone"}
    carries = {"floor", "bed", *stones}
    judged = [b for b in bodies if b.entry.rests in carries and _stands(b, tied)]
    if not judged:
        return ()
    levels = np.linspace(0, line, 4)
    lots = lots_of(judged, grid, memo)
    found = []
    for lot in lots:
        turned = any(b.entry.settle and b.entry.rests == "bed" for b in lot)
        under = (bed if bed.size else np.zeros((grid.ny, grid.nx))) if turned else np.empty(0)
        found.append(memo(_judged_together, lot, water, levels, floor, grid, under, memo))
    by_name = {piece.name: piece for lot in found for piece in lot}
    leaning: set[str] = set()
    for body in sorted(judged, key=lambda body: float(body.piece.low[2])):
        piece = by_name[body.entry.name]
        counted = {piece.name, *piece.on, *piece.load}
        on_leaning = not leaning.isdisjoint(piece.on)
        if piece.falls_at is not None and (on_leaning or beside((body,), bodies, counted, memo)):
            by_name[piece.name] = replace(piece, falls_at=None, unsure=True)
            leaning.add(piece.name)
    return tuple(by_name[body.entry.name] for body in judged)


def _judged_together(
    lot: tuple[Body, ...],
    water: float,
    levels: Floats,
    floor: tuple[float, float],
    grid: Grid,
    bed: Floats,
    memo: Memo,
) -> tuple[Standing, ...]:
    """Judge pieces that may touch each other and nothing else."""
    placed, count = {b.entry.name: b for b in lot}, len(lot)
    moving = [Moving(name, (body,)) for name, body in placed.items()]
    stage = stage_of(moving, placed, bed, grid, levels, water, range(count), memo, soil=False)
    found = [_judged(stage, number, floor) for number in range(count)]
    amiss = [i for i, piece in enumerate(found) if piece.falls_at is not None or piece.unsure]
    own = {i for i in amiss if not _stays_on(stage, i, at_best=found[i].falls_at is not None)}
    falling = {i for i in own if found[i].falls_at is not None}
    for i in amiss:
        # It is told of the uppermost that does not stay on what is below it, were that firm.
        blamed = own if found[i].falls_at is None else falling
        told = i in blamed and not blamed.intersection(stage.load(i)[1:])
        if not told and blamed.intersection(stage.together(i)):
            found[i] = replace(found[i], falls_at=None, unsure=False)
    return tuple(found)


def _ends(stage: Stage, load: Sequence[int]) -> tuple[End, ...]:
    """Give the ends of the ranges of what lies on each other, by its numbers."""
    return apart([End({}, {})], [stage.bodies[i].pieces[0] for i in load], stage.water)


def _stays_on(stage: Stage, number: int, *, at_best: bool) -> bool:
    """Tell whether a body stays with its load where what carries it stands firm."""
    alone = stage.load(number)
    if at_best:
        return bool(_at_best(stage, number, alone).all())
    return all_stay(rigs_of(stage, amiss_ends(_ends(stage, alone)), number, FRICTION, alone))


def _at_best(stage: Stage, number: int, alone: Sequence[int] = ()) -> Flags:
    """Tell at which levels a body stays where all goes well: at all, if any end lets it stay."""
    ends = _ends(stage, stage.load(number))
    found = [stays_at(rig) for rig in rigs_of(stage, ends, number, None, alone)]
    return next((stays for stays in found if stays.all()), found[0])


def _stands(body: Body, tied: Sequence[str]) -> bool:
    """Whether a piece is a stone, or wood that stands and is tied to nothing."""
    free = not body.entry.tied_to and body.entry.name not in tied
    return body.entry.kind == "stone" or (_upright(body) and free)


def _upright(body: Body) -> bool:
    """Whether a piece is taller than its outline is narrow."""
    size = body.piece.size
    return bool(size[2] > UPRIGHT * min(size[0], size[1]))


def _bedded(body: Body) -> bool:
    """Whether a piece is a low pebble that is pressed into the bed, which takes its form."""
    pressed = body.entry.rests == "bed" and body.entry.pressed > 0
    return pressed and body.mass.high < PEBBLE and not _upright(body)


def _judged(stage: Stage, number: int, floor: tuple[float, float]) -> Standing:
    """Judge one piece about every edge of the hull of its contacts, and with its stack."""
    rest, body = stage.resting[number], stage.bodies[number].pieces[0]
    vertices = body.piece.vertices
    low, high = body.piece.low, body.piece.high
    on = stage.load(number)
    load = [stage.bodies[i].pieces[0] for i in stage.load_alone(number)]
    weights = [b.mass.mid * GRAVITY for b in load]
    centres = [mesh_centre(b.piece.vertices, b.piece.faces) for b in load]
    middle = np.average(centres, axis=0, weights=weights)
    touching = rest.places[rest.touching()]
    foot = float(touching[:, 2].min()) if len(touching) else float(low[2])
    inside, out = _inside_hull(touching[:, :2], middle[:2], vertices[:, :2])
    up, top = max(1e-6, float(middle[2]) - foot), max(1e-6, float(high[2]) - foot)
    in_water = body.mass_in_water(stage.water)
    wet = max(0.0, sum(_weight_in(stage, b) for b in load))
    grounded = body.entry.rests not in stage.placed  # what lies on a piece slides off it
    aside = tuple(stage.bodies[i].name for i in rest.leans_on() if grounded)
    amiss = any(stage.resting[i].through > DRAWN_THROUGH for i in stage.together(number)[1:])
    rests = all_stay(rigs_of(stage, amiss_ends(_ends(stage, on)), number, FRICTION))
    firm = rests and not (len(on) > 1 and rest.lean > CARRIER_LEANS)
    falls = stage.levels[:0] if firm else stage.levels[~_at_best(stage, number)]
    sure = firm or (rests and len(falls) > 0)  # another load may keep it as it is drawn
    return Standing(
        name=body.entry.name,
        tip_angle=tip_angle(inside, up),
        push_dry=top_push(sum(weights), inside, top),
        push_wet=top_push(wet, inside, top),
        upright=_upright(body),
        to_pane=float(min(low[0], low[1], floor[0] - high[0], floor[1] - high[1])),
        on=tuple(sorted(stage.bodies[i].name for i in rest.carriers())),
        lean=rest.lean,
        falls_at=None if sure or not len(falls) else float(falls[0]),
        unsure=not sure and not amiss,
        through=rest.through,
        into=stage.into(number),
        may_float=body.entry.kind == "stone" and in_water.low < 0,
        floats=body.entry.kind == "stone" and in_water.mid < 0,
        foot_known=body.entry.shape.form_given,
        pointed=body.entry.shape.solid == "ellipsoid",
        load=tuple(b.entry.name for b in load[1:]),
        press=wet * out,
        overhangs=bool(rest.carriers()) and out < OVERHANG,
        turned=body.entry.settle,
        carries=len(on) > 1,
        aside=aside if rest.lean > LEANS else (),
        bedded=_bedded(body) and not load[1:],
    )


def _weight_in(stage: Stage, body: Body) -> float:
    """Weight of a piece with the water at its line [N]."""
    lifted = body.mass.mid - body.mass_in_water(stage.water).mid
    share = float(stage.wet[body.entry.name].shares[-1])
    return (body.mass.mid - lifted * share) * GRAVITY


def _inside_hull(contacts: Floats, middle: Floats, outline: Floats) -> tuple[float, float]:
    """Tell how near the edge of the hull of some contacts a weight is.

    Returns
    -------
    inside : float
        Distance from the middle of the weight to the nearest edge [m]; 0 outside of it.
    out : float
        The least share of the weight that tips it, pressed on the point of an outline that
        sticks out farthest over an edge; infinite where none does.
    """
    hull = hull_of(contacts)
    if hull is None:
        return 0.0, math.inf
    ways, offs = hull.equations[:, :2], hull.equations[:, 2]
    inside = np.maximum(0.0, -(ways @ middle + offs))
    out = (outline @ ways.T + offs).max(axis=0)
    far = out > STICKS_OUT
    return float(inside.min()), float((inside[far] / out[far]).min(initial=math.inf))
