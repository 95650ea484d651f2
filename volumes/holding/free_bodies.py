"""From groups of wood and the stones around them to bodies, contacts and ties in balance."""

import itertools
import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from plumbstone.meshes.measures.columns import Grid, Window, columns_of
from plumbstone.meshes.measures.displacement import displaced_at_levels, mesh_centre
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.piece import Flags, Floats, Indices
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bodies.contacts import off_hull
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.holding import touching
from plumbstone.volumes.holding.ends import End, stone_state
from plumbstone.volumes.holding.equilibrium import Rig
from plumbstone.volumes.holding.ties import Moving, Tie, loose_strapped, ties_of
from plumbstone.volumes.holding.touching import Form, Resting
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.groups import Group, Sinker

BESIDE_FOOT = 0.02  # [m]: 0.3 mm of cord turn wood by 1° about an edge so near its tie
SINKER_HEIGHT = 0.06  # water over the floor that covers a sinker without a place [m]
SHRUNK = 5e-4  # [m]: so far inside its corners a patch is counted on
SIDES = 8  # of the pyramid that stands for a cone of friction
SOIL_FRICTION = 0.36  # tan 20°, two thirds of a repose of 30°; from memory
# Of its length, by which the middle of mass of wood is tried aside: as if its density rose evenly
# by a fifth along it. Within a kind it varies by about a tenth: Wood Handbook, from memory.
DENSER = 1 / 60
GRIPS = 0.8  # the best friction that dry rough wood may have; from memory


@dataclass(frozen=True, slots=True, eq=False)
class Wet:
    """What one piece displaces at every level."""

    shares: Floats  # (k,) of its volume
    centres: Floats  # (k, 2) of the wet part [m]
    middle: Floats  # (2,) of all of it [m]
    aside: Floats  # (2,) by which that lies off where it is denser at one end [m]


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """All bodies that may move, where they rest, and the water around them."""

    bodies: tuple[Moving, ...]
    resting: tuple[Resting, ...]
    ties: tuple[tuple[Tie, ...], ...]  # of each body
    wet: Mapping[str, Wet]  # by piece that can move or holds one that can
    placed: Mapping[str, Body]  # all pieces of the tank
    levels: Floats  # (k,) [m]
    water: float  # density [kg/m³]

    def wood_of(self, body: int) -> tuple[Body, ...]:
        """Pieces of wood of one body."""
        return tuple(b for b in self.bodies[body].pieces if b.entry.kind == "wood")

    def group_of(self, body: int) -> Group:
        """Give the group that a body of wood is."""
        group = self.bodies[body].group
        assert group is not None
        return group

    def above(self, body: int) -> tuple[int, ...]:
        """Numbers of the bodies that lie on this one."""
        return touching.lying_on(body, self.resting)

    def load(self, body: int) -> list[int]:
        """Numbers of a body and of all that lies on it, on these and so on."""
        found = [body]
        for here in found:  # grows as it is walked
            found += [i for i in self.above(here) if i not in found]
        return found

    def load_alone(self, body: int) -> list[int]:
        """Numbers of a body and of all that it carries by itself: what others carry is shared."""
        found = [body]
        for i in self.load(body)[1:]:
            found += [i] if {*self.resting[i].carriers()} <= {*found} else []
        return found

    def into(self, body: int) -> str:
        """Name of the body that this one is drawn into deepest; empty where that is none."""
        deepest = self.resting[body].into
        return self.bodies[deepest].name if deepest >= 0 else ""

    def together(self, body: int) -> tuple[int, ...]:
        """Numbers of the bodies that are judged with this one, itself first.

        All that lies on it, all that carries these, what else may tip these, and the stones that
        they are tied to.
        """
        return _together(body, self.resting, self.ties, self.bodies)

    def at_levels(self, levels: Floats) -> "Stage":
        """Give the same stage at other water levels [m]."""
        wet = {name: _wet(self.placed[name], levels) for name in self.wet}
        return replace(self, wet=wet, levels=levels)

    def with_group(self, body: int, group: Group) -> "Stage":
        """Give the same stage with other sinkers on one group; where it rests stays."""
        bodies = list(self.bodies)
        bodies[body] = replace(bodies[body], group=group)
        ties = list(self.ties)
        ties[body] = ties_of(bodies[body], self.placed)
        return replace(self, bodies=tuple(bodies), ties=tuple(ties))

    def with_feet(self, body: int, places: Floats) -> "Stage":
        """Give the same stage with firm feet under one body as it is drawn, at (f, 3) [m]."""
        resting = list(self.resting)
        resting[body] = resting[body].with_feet(places)
        held = replace(self, resting=tuple(resting))  # as drawn it may lie on other bodies
        names = [b.entry.name for i in held.together(body) for b in self.bodies[i].pieces]
        more = {n: _wet(self.placed[n], self.levels) for n in names if n not in self.wet}
        return replace(held, wet={**self.wet, **more})


def stage_of(
    bodies: Sequence[Moving],
    placed: Mapping[str, Body],
    bed: Floats,
    grid: Grid,
    levels: Floats,
    water: float,
    judged: Iterable[int],
    memo: Memo,
    *,
    soil: bool = True,
) -> Stage:
    """Find where all bodies rest and what they displace.

    Bodies are all pieces but those that hang or lie on wood as sinkers; those of the numbers
    `judged` will be. `bed` is its surface beside the pieces [m], (rows, columns): where `soil` says
    so it carries what was set on it, else its lowest place alone does, but for what was turned
    until it rests on it. `levels` are those of the water, (k,) [m], and `water` its density
    [kg/m³]. Where one body rests hangs on what is near and on it alone, so the memo remembers it.
    """
    forms = [tuple(_form_on(b, grid, memo, soil=soil) for b in moving.pieces) for moving in bodies]
    ties = [ties_of(moving, placed) for moving in bodies]

    def rest_of(i: int, load: Sequence[int]) -> Resting:
        others = [
            (j, form)
            for j, parts in enumerate(forms)
            for form in parts
            if j != i and any(_may_touch(own, form, grid, memo) for own in forms[i])
        ]
        parts = [_weights(bodies[j], placed, memo) for j in load]
        masses = [mass for heavy, _ in parts for mass in heavy]
        centre = np.average([at for _, places in parts for at in places], axis=0, weights=masses)
        pulling = [tie for tie in ties[i] if tie.taut and tie.direction[2] < 0]
        tied_at = np.array([tie.place[:2] for tie in pulling]).reshape(-1, 2)
        shares = np.array([tie.sinker.mass / sum(masses) for tie in pulling])
        under = bed if any(form.ground is None for form in forms[i]) else np.empty(0)
        found: Resting = memo(
            touching.resting_of, forms[i], tuple(others), under, grid, centre, tied_at, shares
        )
        return found

    resting = tuple(rest_of(i, [i]) for i in range(len(bodies)))
    stage = Stage(tuple(bodies), resting, tuple(ties), {}, placed, levels, water)
    held = {i: rest_of(i, stage.load_alone(i)) for i, rest in enumerate(resting) if rest.lean > 0}
    # What lies on it may keep it as drawn; whether it tips it, the balance tells.
    stage = replace(stage, resting=tuple(held.get(i, rest) for i, rest in enumerate(resting)))
    needed: set[str] = set()
    for i in judged:
        for j in stage.together(i):
            needed |= {b.entry.name for b in bodies[j].pieces}
            needed |= {t.sinker.stone for t in ties[j] if t.sinker.stone in placed}
    return replace(stage, wet={name: memo(_wet, placed[name], levels) for name in needed})


def drawn_into_strapped(stage: Stage, number: int, grid: Grid, memo: Memo) -> tuple[float, str]:
    """How deep wood of a body is drawn into a stone that is strapped to it [m], and which."""
    form = partial(_form_on, grid=grid, memo=memo, soil=True)
    stones = [b for b in stage.bodies[number].pieces if b.entry.kind == "stone"]
    pairs = [(form(wood), form(stone), stone.entry.name)
             for wood in stage.wood_of(number) for stone in stones]  # fmt: skip
    deep = [
        (memo(touching.shared_depth, a, b, grid), n)
        for a, b, n in pairs
        if touching.beside(a.window, b.window)
    ]
    return max(deep, default=(0.0, ""))


def lots_of(bodies: Sequence[Body], grid: Grid, memo: Memo) -> list[tuple[Body, ...]]:
    """Part pieces into lots of those that may touch each other, soil left out."""
    forms = [_form_on(body, grid, memo, soil=False) for body in bodies]
    lot = list(range(len(bodies)))
    for i, j in itertools.permutations(range(len(bodies)), 2):
        if lot[i] != lot[j] and _may_touch(forms[i], forms[j], grid, memo):
            lot = [lot[i] if k == lot[j] else k for k in lot]
    return [
        tuple(b for b, k in zip(bodies, lot, strict=True) if k == number)
        for number in dict.fromkeys(lot)
    ]


def rig_of(stage: Stage, end: End, body: int, friction: Range | None) -> Rig:
    """Put a body and all that is judged with it into one rig at one end; friction is [-]."""
    return rigs_of(stage, [end], body, friction)[0]


def rigs_of(
    stage: Stage, ends: Iterable[End], body: int, friction: Range | None, alone: Sequence[int] = ()
) -> list[Rig]:
    """Put a body and all that is judged with it into one rig, at some ends of the ranges.

    The body comes first, and the rigs differ in their loads alone. Of the friction of wood and
    stone, wet, the low end is counted on: contacts push straight up, as far as they are no steeper,
    and give way to ties that pull aside within what is left of the cone. None asks what could be at
    best: all that nearly touches pushes within a cone of the highest friction around its normal,
    wedged or not, panes too; if it does not rest as drawn, all that is near it there. Where `alone`
    names bodies, the first of them the body, only these move and the others stand firm.
    """
    order = tuple(alone) or stage.together(body)
    number = {which: i for i, which in enumerate(order)}
    aside = any(abs(t.direction[2]) < 1 - 1e-9 for w in order for t in stage.ties[w] if t.taut)
    contacts, pushes, uppers, lowers = [], [], [], []
    for i, which in enumerate(order):
        rest = stage.resting[which]
        near = rest.near(drawn=which == body and rest.lean > touching.LEANS)
        places, rays, kept = _pushing(rest, friction, aside, near)
        contacts.append(places)
        pushes.append(rays)
        uppers += [i] * len(places)
        lowers += [number.get(int(b), -1) for b in rest.below[kept]]
    tied = [(i, tie) for i, which in enumerate(order) for tie in stage.ties[which]]
    runs_to = [number.get(_index(stage.bodies, tie.to), -1) for _, tie in tied]
    moving = [stage.bodies[which] for which in order]
    strapped = [loose_strapped(one, stage.placed) for one in moving]

    same = {
        "contacts": np.concatenate(contacts),
        "pushes": np.concatenate(pushes),
        "uppers": _indices(uppers),
        "lowers": _indices(lowers),
        "ties": np.array([tie.place for _, tie in tied]).reshape(-1, 3),
        "pulls": np.array([tie.direction for _, tie in tied]).reshape(-1, 3),
        "tied": _indices([i for i, _ in tied]),
        "ends": _indices(runs_to),
    }

    known: dict[Hashable, Any] = {}  # many ends differ in other bodies alone

    def once(key: Hashable, work: Callable[..., Any], *given: Any) -> Any:
        if key not in known:
            known[key] = work(stage, *given)
        return known[key]

    def at(end: End) -> tuple[Rig, Floats]:
        parts, states = [], []
        for one, tied_on in zip(moving, strapped, strict=True):
            names = [b.entry.name for b in one.pieces]
            states.append((one.name, *((end.masses.get(n), end.volumes.get(n)) for n in names)))
            signs = end.stones, *(end.sign_of(sinker) for sinker, _ in tied_on)
            parts.append(once((states[-1], signs), _loads, one, tied_on, end))
        masses, centres, asides, lifts, lift_centres = zip(*parts, strict=True)
        bounds = [
            once((k, end.sign_of(t.sinker), end.hung), _pulling, t, end, friction, contacts[i])
            for k, (i, t) in enumerate(tied)
        ]
        least, most = np.array(bounds).reshape(-1, 2, len(stage.levels)).transpose(1, 2, 0)
        rig = Rig(
            masses=np.array(masses),
            centres=np.array(centres),
            lifts=np.array(lifts).T,
            lift_centres=np.stack(lift_centres, axis=1),
            least_pulls=least,
            most_pulls=most,
            wood_centres=once(states[0], _wood_centres, body, end),
            **same,
        )
        return rig, np.array(asides)

    rigs, last = [], None
    for end in ends:  # many differ by where middles of mass lie alone
        if (plain := replace(end, amiss=(0.0, 0.0), denser=0.0)) != last:
            last, (rig, asides) = plain, at(plain)
        centres = rig.centres + end.amiss + end.denser * asides
        rigs.append(replace(rig, centres=centres))
    return rigs


def _pulling(
    stage: Stage, tie: Tie, end: End, friction: Range | None, foot: Floats
) -> tuple[Floats, Floats]:
    """Least and most pull of a tie of a body with a foot (c, 3) [m], at each level (k,) [N]."""
    weight = np.zeros(len(stage.levels))
    if tie.taut:
        weight = sinker_weight(tie.sinker, stage, end.sign_of(tie.sinker), tie.place[2])
    # At best something beside a stone at the end of a tie keeps it from sliding along.
    steep = max(0.2, -tie.direction[2]) if friction is None and tie.to else 1.0
    most, off = np.maximum(weight, 0), _off_foot(tie, foot)
    if tie.exact or (end.hung and 0 < off < BESIDE_FOOT):
        return most, most / steep
    if friction is not None and abs(off) < BESIDE_FOOT:  # dry, so short a lever holds too late
        most = np.where(stage.levels > 0, most, 0.0)
    return np.zeros(len(most)), most / steep


def _off_foot(tie: Tie, foot: Floats) -> float:
    """How far a taut cord straight down to its stone lies off a foot (c, 3) [m]; inf for others.

    Below zero within the foot. A cord tied so tight that its stone hangs pulls with all its weight,
    until the wood has tipped far enough to set it down: the less far the tie lies from the edge of
    the foot, the farther. Over the foot it tips nothing.
    """
    straight = tie.direction[2] < -1 + 1e-9
    if tie.exact or not tie.taut or not straight or not len(foot):
        return math.inf
    off = float(off_hull(np.array([tie.place[:2]]), foot[:, :2])[0])
    hull = hull_of(foot[:, :2]) if off <= 0 else None
    return off if hull is None else float((hull.equations @ [*tie.place[:2], 1.0]).max())


def _pushing(
    rest: Resting, friction: Range | None, aside: bool, near: Flags
) -> tuple[Floats, Floats, Indices]:
    """Places and directions of pushes (c, 3) and the contacts that they belong to (c,)."""
    if friction is None:
        kept = touching.patch_corners(rest, near)
        rays = _cones(rest.normals[kept], np.full(len(kept), math.atan(GRIPS)))
        places = rest.places[kept]
    else:
        stays = np.where(rest.soil, max(SOIL_FRICTION, friction.low), friction.low)
        spare = np.arctan(stays) - np.radians(rest.steepness)
        counted = rest.firm() & (spare >= 0)
        kept = touching.patch_corners(rest, counted)
        places = _shrunk(rest.places[kept])
        if not aside:
            return places, np.tile([0.0, 0.0, 1.0], (len(kept), 1)), kept
        rays = _cones(np.tile([0.0, 0.0, 1.0], (len(kept), 1)), spare[kept])
    return np.repeat(places, SIDES, axis=0), rays.reshape(-1, 3), np.repeat(kept, SIDES)


def _cones(axes: Floats, halves: Floats) -> Floats:
    """Edges of pyramids in cones about axes (c, 3) of half angles (c,) [rad], (c, SIDES, 3)."""
    aside = np.cross(axes, [1.0, 0.0, 0.0])
    aside = np.where(np.abs(axes[:, :1]) > 0.9, np.cross(axes, [0.0, 1.0, 0.0]), aside)
    aside /= np.maximum(np.linalg.norm(aside, axis=1), 1e-12)[:, None]
    other = np.cross(axes, aside)
    turns = np.arange(SIDES) * 2 * np.pi / SIDES
    across = np.cos(turns)[None, :, None] * aside[:, None]
    around = across + np.sin(turns)[None, :, None] * other[:, None]
    return np.cos(halves)[:, None, None] * axes[:, None] + np.sin(halves)[:, None, None] * around


def _shrunk(places: Floats) -> Floats:
    """Move places towards their middle by what is uncertain, (c, 3)."""
    if not len(places):
        return places
    off = places - places.mean(axis=0)
    far = np.linalg.norm(off[:, :2], axis=1)
    share = 1 - np.minimum(1.0, SHRUNK / np.maximum(far, 1e-12))
    return places.mean(axis=0) + off * share[:, None]


def with_hung(ends: Iterable[End], stage: Stage, body: int, friction: Range) -> tuple[End, ...]:
    """Add ends at which stones hang on their cords, where that can tip a body of a friction [-]."""
    found = tuple(ends)
    foot = rig_of(stage, found[0], body, friction)
    own = foot.contacts[foot.uppers == 0]
    if not any(0 < _off_foot(tie, own) < BESIDE_FOOT for tie in stage.ties[body]):
        return found
    return (*found, *(replace(end, hung=True) for end in found))


def wood_lift(stage: Stage, body: int, end: End) -> Floats:
    """Net lift of the wood of a body at one end of the ranges, at each level (k,) [kg].

    Archimedes' principle, as in `buoyancy.lift_of`, on what is covered.
    """
    lift = np.zeros(len(stage.levels))
    for name in (piece.entry.name for piece in stage.wood_of(body)):
        lift += end.volumes[name] * stage.water * stage.wet[name].shares - end.masses[name]
    return lift


def sinker_weight(sinker: Sinker, stage: Stage, sign: float, height: float = 0.0) -> Floats:
    """Weight of a sinker, its tie at a height [m], at each level (k,) [N] (Archimedes)."""
    mass, volume = sinker_state(sinker, stage, sign)
    shares = _covered(sinker, stage, sign, height)
    return (mass - volume * shares * stage.water) * GRAVITY


def sinker_state(sinker: Sinker, stage: Stage, sign: float) -> tuple[float, float]:
    """Mass [kg] and volume [m³] of a sinker."""
    if sinker.stone in stage.placed:
        return stone_state(stage.placed[sinker.stone], stage.water, sign)
    density = sinker.material.dense
    return sinker.mass, sinker.mass / density.at(sign)


def _weights(
    moving: Moving, placed: Mapping[str, Body], memo: Memo
) -> tuple[list[float], list[Floats]]:
    """Middle masses [kg] of what a body is made of, and their places (2,) [m]."""
    strapped = loose_strapped(moving, placed)
    heavy = [b.mass.mid for b in moving.pieces] + [s.mass for s, _ in strapped]
    places = [memo(mesh_centre, b.piece.vertices, b.piece.faces)[:2] for b in moving.pieces]
    return heavy, places + [place[:2] for _, place in strapped]


def _loads(
    stage: Stage, moving: Moving, strapped: Sequence[tuple[Sinker, Floats]], end: End
) -> tuple[float, Floats, Floats, Floats, Floats]:
    """Mass, its centre, lift (k,) and its centres (k, 2) of one body with what is strapped.

    The centre is that of an end at which nothing is amiss; after it comes by how much it lies off
    that where wood is denser at one end.
    """
    masses, places, volumes, centres = [], [], [], []
    aside = np.zeros(2)
    for body in moving.pieces:
        name, wet = body.entry.name, stage.wet[body.entry.name]
        mass, volume = body.mass.mid, body.volume.mid
        if name in end.masses:
            mass, volume = end.masses[name], end.volumes[name]
        elif body.entry.kind == "stone":
            mass, volume = stone_state(body, stage.water, end.stones)
        masses.append(mass)
        places.append(wet.middle)
        aside += mass * wet.aside * (body.entry.kind == "wood")
        volumes.append(volume * wet.shares)
        centres.append(wet.centres)
    for sinker, place in strapped:
        sign = end.sign_of(sinker)
        mass, volume = sinker_state(sinker, stage, sign)
        masses.append(mass)
        places.append(place[:2])
        volumes.append(volume * _covered(sinker, stage, sign, float(place[2])))
        centres.append(np.broadcast_to(place[:2], (len(stage.levels), 2)))
    lifts = [volume * stage.water * GRAVITY for volume in volumes]
    total = np.sum(lifts, axis=0)
    moments = np.sum([lift[:, None] * at for lift, at in zip(lifts, centres, strict=True)], axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        at = np.where(total[:, None] > 0, moments / total[:, None], 0.0)
    whole = float(sum(masses))
    centre: Floats = (np.array(places) * np.array(masses)[:, None]).sum(axis=0) / whole
    return whole, centre, aside / whole, total, at


def _wood_centres(stage: Stage, body: int, end: End) -> Floats | None:
    """Centres of what the wood of a body displaces at each level, (k, 2) [m]; None without."""
    names = [name for b in stage.wood_of(body) if (name := b.entry.name) in end.volumes]
    if not names:
        return None
    states = [stage.wet[name] for name in names]
    places = [np.where(w.shares[:, None] > 0, w.centres, w.middle) for w in states]
    weights = [end.volumes[n] * w.shares + 1e-12 for n, w in zip(names, states, strict=True)]
    share = np.stack(weights) / np.sum(weights, axis=0)
    return (share[:, :, None] * np.stack(places)).sum(axis=0)


def _covered(sinker: Sinker, stage: Stage, sign: float, height: float) -> Floats:
    """Share of a sinker that is under water at each level, its tie at a height [m].

    One without a place counts as covered from the first water on where it shall be light, and
    as dry up to its tie where it shall be heavy: nobody said how long the cord is. What lies on
    wood is dry up to there.
    """
    if sinker.stone in stage.wet:
        return stage.wet[sinker.stone].shares
    if sign < 0:
        lowest = height if sinker.how == "laid on" else 0.0
        return np.where(stage.levels > lowest, 1.0, 0.0)
    foot = height if sign > 0 else height - SINKER_HEIGHT
    foot = 0.0 if sinker.how == "standing" else max(0.0, foot)
    return np.clip((stage.levels - foot) / SINKER_HEIGHT, 0, 1)


def _form_on(body: Body, grid: Grid, memo: Memo, *, soil: bool) -> Form:
    """Give the form of a body on a grid, from memory where it can."""
    window = memo(columns_of, body.piece.vertices, body.piece.faces, grid)
    return memo(_form, body, window, body.entry.rests == "bed" and (soil or body.entry.settle))


def _form(body: Body, window: Window, on_soil: bool) -> Form:
    """Give the surface of a piece and what carries it from below: soil, or its own lowest level."""
    vertices, ground = body.piece.vertices, 0.0
    if body.entry.rests == "bed":
        ground = float(vertices[:, 2].min())
    return Form(vertices, body.piece.faces, window, None if on_soil else ground)


def _may_touch(own: Form, other: Form, grid: Grid, memo: Memo) -> bool:
    """Tell whether one piece may touch another from above, or is drawn into it."""
    return touching.beside(own.window, other.window) and memo(touching.lies_over, own, other, grid)


def _index(bodies: Sequence[Moving], name: str) -> int:
    """Give the number of the body that a stone is; -1 if it is none."""
    names = ([b.entry.name for b in moving.pieces] for moving in bodies)
    return next((i for i, own in enumerate(names) if name in own), -1)


def _together(
    body: int, resting: Sequence[Resting], ties: Sequence[Sequence[Tie]], bodies: Sequence[Moving]
) -> tuple[int, ...]:
    """Numbers of a body, of what lies on it, of what carries and of what holds these.

    What else lies on these carriers counts where it may tip them: outside of their feet.
    """
    found, loaded = [body], {body}
    before = 0
    while before < len(found) + len(loaded):
        before = len(found) + len(loaded)
        for here in found:  # grows as it is walked
            lying = touching.lying_on(here, resting)
            if here in loaded or not touching.over_foot(here, lying, resting):
                loaded.update(lying)
                found += [i for i in lying if i not in found]
            below = [*resting[here].carriers(), *(_index(bodies, t.to) for t in ties[here])]
            found += [i for i in dict.fromkeys(below) if i >= 0 and i not in found]
    return tuple(found)


def _wet(body: Body, levels: Floats) -> Wet:
    """Cut a piece at every level."""
    vertices, faces = body.piece.vertices, body.piece.faces
    volumes, centres = displaced_at_levels(vertices, faces, levels)
    middle = mesh_centre(vertices, faces)[:2]
    axis = np.linalg.eigh(np.cov(vertices.T))[1][:, -1]
    aside = DENSER * np.ptp(vertices @ axis) * axis[:2] * (-1 if axis[0] < 0 else 1)
    return Wet(volumes / body.mesh_volume, np.nan_to_num(centres[:, :2]), middle, aside)


def _indices(values: Sequence[int]) -> Indices:
    return np.array(values, dtype=np.int64)
