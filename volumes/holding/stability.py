"""Stones that stand or lie on each other: how far they may lean, what push tips them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.equilibrium import all_stay, stays_at
from plumbstone.volumes.holding.free_bodies import (
    End,
    Moving,
    Stage,
    amiss_ends,
    lots_of,
    rig_of,
    rigs_of,
    stage_of,
)
from plumbstone.volumes.holding.touching import DRAWN_THROUGH
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.groups import FRICTION
from plumbstone.volumes.water.density import GRAVITY
from plumbstone.volumes.water.displacement import mesh_centre

UPRIGHT = 1.2  # height over the narrower side of its outline: from here on it stands
LEANS = 5.0  # [degrees]: from here on a piece does not rest as it is drawn
EDGE = 5.0  # [degrees]: what tips by less lies on an edge or a point
SMALL_ANGLE = 15.0  # [degrees]; common practice, no source


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

    @property
    def doubtful(self) -> bool:
        """Whether it tips easily, lies on an edge, is drawn into another or may not stay."""
        stands = self.upright or bool(self.on)
        tips = self.tip_angle < (SMALL_ANGLE if stands else EDGE)
        amiss = self.lean > LEANS or self.through > DRAWN_THROUGH or self.may_float
        return tips or amiss or self.falls_at is not None or self.unsure


def tip_angle(inside: float, height: float) -> float:
    """Lean [degrees] at which a body tips: centre of mass a height [m] up, inside its edge [m]."""
    return math.degrees(math.atan2(max(inside, 0.0), height))


def top_push(weight: float, inside: float, top: float) -> float:
    """Sideways push [N] at a height [m] that tips a weight [N], its edge that far off [m]."""
    return weight * max(inside, 0.0) / top


def judge_stones(
    bodies: Sequence[Body],
    water: float,
    line: float,
    floor: tuple[float, float],
    grid: Grid,
    tied: Sequence[str],
    memo: Memo,
) -> tuple[Standing, ...]:
    """Judge every stone that rests on the floor, the bed or other stones, and upright wood.

    Parameters
    ----------
    bodies : sequence of Body
        All pieces, set in the tank. Stones on wood are judged with the wood.
    water : float
        Density [kg/m³].
    line : float
        Highest water level [m].
    floor : (float, float)
        Length and depth of the tank [m].
    grid : Grid
    tied : sequence of str
        Names of wood that something is tied to, which is judged with that.
    memo : Memo
        Remembers columns and where single pieces rest.

    Notes
    -----
    Stones that lie on each other are one program, dry and at three depths: the stack falls
    where no pushes balance it. Soil is not counted.
    """
    stones = {b.entry.name for b in bodies if b.entry.kind == "stone"}
    carries = {"floor", "bed", *stones}
    judged = [b for b in bodies if b.entry.rests in carries and _stands(b, tied)]
    if not judged:
        return ()
    levels = np.linspace(0, line, 4)
    lots = lots_of(judged, grid, memo)
    found = [memo(_judged_together, lot, water, levels, floor, grid, memo) for lot in lots]
    by_name = {piece.name: piece for lot in found for piece in lot}
    return tuple(by_name[body.entry.name] for body in judged)


def _judged_together(
    lot: tuple[Body, ...],
    water: float,
    levels: Floats,
    floor: tuple[float, float],
    grid: Grid,
    memo: Memo,
) -> tuple[Standing, ...]:
    """Judge pieces that may touch each other and nothing else."""
    placed, count = {b.entry.name: b for b in lot}, len(lot)
    moving = [Moving(name, (body,)) for name, body in placed.items()]
    stage = stage_of(
        moving, placed, np.empty(0), grid, levels, water, range(count), memo, soil=False
    )
    found = [_judged(stage, number, floor) for number in range(count)]
    amiss = [piece.falls_at is not None or piece.unsure for piece in found]
    for number in range(count):
        # Where what lies on it falls or slides, that is told of the upper piece.
        if any(amiss[i] for i in stage.above(number)):
            found[number] = replace(found[number], falls_at=None, unsure=False)
    return tuple(found)


def _stands(body: Body, tied: Sequence[str]) -> bool:
    """Whether a piece is a stone, or wood that stands and is tied to nothing."""
    size = body.piece.size
    upright = bool(size[2] > UPRIGHT * min(size[0], size[1]))
    free = not body.entry.tied_to and body.entry.name not in tied
    return body.entry.kind == "stone" or (upright and free)


def _judged(stage: Stage, number: int, floor: tuple[float, float]) -> Standing:
    """Judge one piece about every edge of the hull of its contacts, and with its stack."""
    rest, body = stage.resting[number], stage.bodies[number].pieces[0]
    vertices = body.piece.vertices
    low, high = body.piece.low, body.piece.high
    middle = mesh_centre(vertices, body.piece.faces)
    touching = rest.places[rest.touching()]
    foot = float(touching[:, 2].min()) if len(touching) else float(low[2])
    inside = _inside_hull(touching[:, :2], middle[:2])
    up, top = max(1e-6, float(middle[2]) - foot), max(1e-6, float(high[2]) - foot)
    dry = body.mass.mid * GRAVITY
    in_water = body.mass_in_water(stage.water)
    wet = max(0.0, in_water.mid) * GRAVITY
    size = high - low
    beside = any(stage.resting[i].through > DRAWN_THROUGH for i in stage.together(number)[1:])
    sure = all_stay(rigs_of(stage, amiss_ends([End({}, {})]), number, FRICTION))
    at_best = np.full(len(stage.levels), sure)
    if not sure:
        at_best = stays_at(rig_of(stage, End({}, {}), number, None))
    return Standing(
        name=body.entry.name,
        tip_angle=tip_angle(inside, up),
        push_dry=top_push(dry, inside, top),
        push_wet=top_push(wet, inside, top),
        upright=bool(size[2] > UPRIGHT * min(size[0], size[1])),
        to_pane=float(min(low[0], low[1], floor[0] - high[0], floor[1] - high[1])),
        on=tuple(sorted(stage.bodies[i].name for i in rest.carriers())),
        lean=rest.lean,
        falls_at=None if at_best.all() else float(stage.levels[int(np.argmin(at_best))]),
        unsure=not sure and not beside,
        through=rest.through,
        into=stage.into(number),
        may_float=body.entry.kind == "stone" and in_water.low < 0,
        floats=body.entry.kind == "stone" and in_water.mid < 0,
        foot_known=body.entry.shape.form_given,
    )


def _inside_hull(contacts: Floats, middle: Floats) -> float:
    """Distance from a point to the nearest edge of the hull of contacts [m]; 0 outside of it."""
    from scipy.spatial import ConvexHull, QhullError

    if len(contacts) < 3:
        return 0.0
    try:
        edges = ConvexHull(contacts).equations
    except QhullError:
        return 0.0
    return max(0.0, float(-(edges[:, :2] @ middle + edges[:, 2]).max()))
