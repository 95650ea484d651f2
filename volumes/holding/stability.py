"""Stones that stand or lie on each other: how far they may lean, what push tips them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.columns import Grid, columns_of, merged_columns
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.contacts import Resting
from plumbstone.volumes.holding.equilibrium import judge
from plumbstone.volumes.holding.free_bodies import End, Moving, Stage, rig_of, stage_of
from plumbstone.volumes.water.density import GRAVITY
from plumbstone.volumes.water.displacement import mesh_centre

FOOT = 0.003  # [m]: nearer than this to its lowest point, a stone touches
UPRIGHT = 1.2  # height over the narrower side of its outline: from here on it stands
LEANS = 5.0  # [degrees]: from here on a piece does not rest as it is drawn
EDGE = 3.0  # [degrees]: a flat stone that tips by less lies on an edge or a point
SMALL_ANGLE = 15.0  # [degrees]; common practice, no source


@dataclass(frozen=True, slots=True)
class Standing:
    """One stone on its foot; soil is not counted, fish dig."""

    name: str
    tip_angle: float  # about its nearest edge [degrees]; 0 where it does not stand by itself
    push_dry: float  # sideways at the top that tips it [N]
    push_wet: float
    upright: bool  # taller than its outline is narrow
    to_pane: float  # from its outline to the nearest pane [m]
    on: tuple[str, ...] = ()  # stones that it lies on
    lean: float = 0.0  # tilt until a stacked stone rests on what is below [degrees]
    falls_at: float | None = None  # water level at which its stack falls as drawn [m]

    @property
    def doubtful(self) -> bool:
        """Whether it tips easily, lies on an edge or a point, or does not hold."""
        stands = self.upright or bool(self.on)
        tips = self.tip_angle < (SMALL_ANGLE if stands else EDGE)
        return tips or self.lean > LEANS or self.falls_at is not None


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
) -> tuple[Standing, ...]:
    """Judge every stone that rests on the floor, the bed or other stones.

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

    Notes
    -----
    Stones that lie on each other are one program, dry and at three depths: the stack falls
    where no pushes balance it. Soil is not counted.
    """
    stones = {b.entry.name: b for b in bodies if b.entry.kind == "stone"}
    alone = {n: b for n, b in stones.items() if b.entry.rests in ("floor", "bed")}
    stacked = {n: b for n, b in stones.items() if b.entry.rests in stones}
    stage = _stack_stage(stacked, stones, water, line, grid)
    found = []
    for name, body in stones.items():
        if name in stacked:
            found.append(_judge_stacked(name, body, stage, water, floor))
        elif name in alone:
            found.append(judge_standing(body, water, floor))
    return tuple(found)


def judge_standing(
    body: Body, water: float, floor: tuple[float, float], contacts: Floats | None = None
) -> Standing:
    """Judge one stone about every edge of the hull of its contacts.

    Parameters
    ----------
    body : Body
        Set in the tank.
    water : float
        Density [kg/m³].
    floor : (float, float)
        Length and depth of the tank [m].
    contacts : (n, 2) float array, optional
        Where it rests [m]; what is nearest its lowest point if not given.
    """
    vertices = body.piece.vertices
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    middle = mesh_centre(vertices, body.piece.faces)
    if contacts is None:
        contacts = vertices[vertices[:, 2] < low[2] + FOOT][:, :2]
    inside = _inside_hull(contacts, middle[:2])
    up, top = float(middle[2] - low[2]), float(high[2] - low[2])
    dry = body.mass.mid * GRAVITY
    wet = max(0.0, body.mass_in_water(water).mid) * GRAVITY
    size = high - low
    panes = (low[0], low[1], floor[0] - high[0], floor[1] - high[1])
    return Standing(
        name=body.entry.name,
        tip_angle=tip_angle(inside, up),
        push_dry=top_push(dry, inside, top),
        push_wet=top_push(wet, inside, top),
        upright=bool(size[2] > UPRIGHT * min(size[0], size[1])),
        to_pane=float(min(panes)),
    )


def _stack_stage(
    stacked: Mapping[str, Body],
    stones: Mapping[str, Body],
    water: float,
    line: float,
    grid: Grid,
) -> Stage | None:
    """Make one stage of all stones that lie on others and of those below them."""
    if not stacked:
        return None
    names = list(stacked)
    for name in names:
        below = stones[name].entry.rests
        if below in stones and below not in names:
            names.append(below)
    windows = {n: columns_of(b.piece.vertices, b.piece.faces, grid) for n, b in stones.items()}
    moving = [Moving(n, (stones[n],), merged_columns([windows[n]], grid)) for n in names]
    fixed = [name for name in stones if name not in names]
    levels = np.linspace(0, line, 4)
    ground = np.zeros((grid.ny, grid.nx))
    for name in names:
        if stones[name].entry.rests == "bed":  # what was pressed into the bed rests where it is
            ground[windows[name].place] = np.where(
                np.isfinite(windows[name].lowest()), windows[name].lowest(), 0.0
            )
    return stage_of(moving, windows, fixed, stones, ground, grid, levels, water)


def _judge_stacked(
    name: str, body: Body, stage: Stage | None, water: float, floor: tuple[float, float]
) -> Standing:
    """Judge a stone that lies on others, alone and with its whole stack."""
    assert stage is not None
    names = [moving.name for moving in stage.bodies]
    number = names.index(name)
    rest: Resting = stage.resting[number]
    verdicts = judge(rig_of(stage, End({}, {}), number))
    falls = np.flatnonzero(~np.isfinite(verdicts.margins))
    on = sorted({names[i] for i in rest.below if i >= 0})
    return replace(
        judge_standing(body, water, floor, rest.places),
        on=tuple(on) or (body.entry.rests,),
        lean=rest.lean,
        falls_at=float(stage.levels[falls[0]]) if len(falls) else None,
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
