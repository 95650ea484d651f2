"""The ends of the ranges at which wood is tried: what each piece displaces and weighs there."""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.buoyancy import least_reserve
from plumbstone.volumes.holding.soaking import saturated_density
from plumbstone.volumes.scape.groups import Group, Sinker

LIFTS = 2  # corners of a piece that are such by their lift; the others are by their mass
AMISS = 1e-3  # [m]: so far off its drawn place a middle of mass is tried
UNLIKE = ((0, 2), (2, 0), (4, 6), (6, 4))  # places among ends: most and least lift, mass
MIXED = 3  # sinkers, light and heavy in all ways; of more, one at a time is unlike the others


@dataclass(frozen=True, slots=True)
class End:
    """One end of the ranges: what a piece displaces and weighs there."""

    volumes: Mapping[str, float]  # of the wood, by piece [m³]
    masses: Mapping[str, float]  # of the wood [kg]
    stones: float = 0.0  # -1: stones as light in water as they may be, 1: as heavy
    amiss: tuple[float, float] = (0.0, 0.0)  # by which middles of mass lie off [m]
    denser: float = 0.0  # -1: wood is denser at its one end, 1: at the other
    hung: bool = False  # whether stones that stand close beside a foot hang on their taut cords
    others: tuple[Sinker, ...] = ()  # sinkers that are at the other end of `stones`

    def sign_of(self, sinker: Sinker) -> float:
        """Whether a sinker is as light (-1) or as heavy (1) in water as it may be."""
        return -self.stones if sinker in self.others else self.stones


def ends_of(group: Group, wood: Sequence[Body], lift: Range, water: float) -> tuple[End, ...]:
    """List the ends of the ranges: least and greatest lift of all wood, then of each piece.

    The lift is that of all pieces of wood, covered [kg]; `water` is a density [kg/m³].

    Notes
    -----
    The pieces are independent, so all of them at once go only as far as the root of the sum
    of squares does; one alone goes to its own end. More weight at one end tips too, and so does
    more of both. A tub test tells the lift of all together: where one goes to its own most or
    least, the others share the rest.
    """
    corners = [_corners(body, water) for body in wood]
    if group.tub is not None:
        ends = [tub_end(wood, lift.at(sign), water) for sign in (1, -1)]
        if len(wood) > 1:
            for body, own in zip(wood, corners, strict=True):
                ends += [_beside(body, goal, wood, lift.high, water) for goal in own[:2]]
        return _with_stones(ends)
    middle = middle_end(group, wood, lift, water)
    ends = []
    for k in range(max(map(len, corners))):
        goals = [own[k % len(own)] for own in corners]
        far = np.array(goals) - [body.state(0.0, 0.0) for body in wood]
        steps = np.abs(far @ [water, -1.0] if k < LIFTS else far[:, 1])
        share = float(np.linalg.norm(steps) / steps.sum()) if steps.any() else 1.0
        ends.append(_towards(middle, wood, goals, share))
    if len(wood) > 1:
        for body, own in zip(wood, corners, strict=True):
            ends += [_towards(middle, [body], [goal], 1.0) for goal in own]
    return _with_stones(ends)


def joined(ends: Sequence[End], others: Sequence[Sequence[End]]) -> tuple[End, ...]:
    """Join each end with those of other wood: the most lift of all of it, the least, the heaviest.

    Each list begins with these and the lightest, at both ends of the stones, as `ends_of` gives
    it. Of several others, one is also at the other end than the rest, while this lifts most or
    is lightest.
    """
    count = len(others)
    tried = [(end, (which,) * count) for end in ends for which in (0, 2, 4)]
    if count > 1:
        unlike = itertools.product(UNLIKE, range(count), (*ends[:2], *ends[6:8]))
        tried += [
            (end, tuple(one if i == k else rest for i in range(count)))
            for (one, rest), k, end in unlike
            if count > 2 or k == 0  # of two it is the same the other way round
        ]
    found = []
    for end, way in tried:
        parts = [end, *(other[i % len(other)] for i, other in zip(way, others, strict=True))]
        volumes = {name: value for part in parts for name, value in part.volumes.items()}
        masses = {name: value for part in parts for name, value in part.masses.items()}
        found.append(replace(end, volumes=volumes, masses=masses))
    return tuple(found)


def mixed_ends(ends: Iterable[End], group: Group) -> tuple[End, ...]:
    """Add ends at which some sinkers are light and some heavy: each may be covered by itself.

    What stands on the floor holds at most with its weight, so its light end is the bad one.
    """
    loose = [s for s in group.sinkers if s.how != "standing"]
    few = range(1, len(loose)) if len(loose) <= MIXED else (1,)
    chosen = [one for count in few for one in itertools.combinations(loose, count)]
    found = tuple(ends)
    return (*found, *(replace(end, others=one) for end in found for one in chosen
                      if len(loose) > MIXED or end.stones < 0))  # fmt: skip


def apart(ends: Iterable[End], stones: Sequence[Body], water: float) -> tuple[End, ...]:
    """Add ends at which some stones, each by itself, are light and the others heavy.

    One of two on a seesaw may be of another density than the other; `water` is one [kg/m³].
    """
    found, count = tuple(ends), len(stones)
    few = range(1, count) if count <= MIXED else (1, count - 1)
    states = {
        stone.entry.name: [stone_state(stone, water, sign) for sign in (-1.0, 1.0)]
        for stone in stones
    }
    added = []
    for heavy in (one for n in few for one in itertools.combinations(range(count), n)):
        chosen = {name: both[i in heavy] for i, (name, both) in enumerate(states.items())}
        masses = {name: mass for name, (mass, _) in chosen.items()}
        volumes = {name: volume for name, (_, volume) in chosen.items()}
        added += [
            replace(end, volumes={**end.volumes, **volumes}, masses={**end.masses, **masses})
            for end in found
            if end.stones <= 0
        ]
    return (*found, *added)


def stone_state(body: Body, water: float, sign: float) -> tuple[float, float]:
    """Mass [kg] and displaced volume [m³] of a stone, light (-1) or heavy (1) in water."""
    in_water = body.mass_in_water(water)
    dry, wet = body.mass.at(sign), in_water.at(sign)
    return dry, max(0.0, dry - wet) / water


def amiss_ends(ends: Iterable[End]) -> tuple[End, ...]:
    """Move the middles of mass to three sides: no pose may hang on a hair's breadth."""
    turns = np.arange(3) * 2 * np.pi / 3
    sides = [(AMISS * float(np.cos(t)), AMISS * float(np.sin(t))) for t in turns]
    return tuple(replace(end, amiss=side) for end in ends for side in sides)


def denser_ends(ends: Iterable[End]) -> tuple[End, ...]:
    """Move the middle of mass of all wood towards both of its ends: one may be denser."""
    return tuple(replace(end, denser=way) for end in ends for way in (-1.0, 1.0))


def with_reserve(end: End, group: Group, lift: Range, water: float) -> End:
    """Add the reserve to the lift of wood [kg], at its own mass; water is a density [kg/m³].

    The factor multiplies what floats. Wood that sinks or may sink gets a reserve of its own,
    as a factor on nothing is nothing.
    """
    volumes = {}
    whole = sum(end.masses.values())
    for name, volume in end.volumes.items():
        mass = end.masses[name]
        own = water * volume - mass
        more = (group.factor - 1) * own if own > 0 else 0.0
        if lift.low <= 0:
            more = max(more, least_reserve(whole) * mass / whole)
        volumes[name] = volume + more / water
    return replace(end, volumes=volumes)


def soaked_end(group: Group, wood: Sequence[Body], lift: Range, water: float) -> End:
    """Wood whose pores are full, as once it is drained after months; a lift [kg], water [kg/m³]."""
    middle = middle_end(group, wood, lift, water)
    masses = {}
    for name, volume in middle.volumes.items():
        basic = middle.masses[name] / volume / 1000
        masses[name] = max(middle.masses[name], saturated_density(basic, water) * volume)
    return End(middle.volumes, masses)


def middle_end(group: Group, wood: Sequence[Body], lift: Range, water: float) -> End:
    """Middle densities [kg/m³]; by the tub test, with its lift [kg], where there is one."""
    if group.tub is not None:
        return tub_end(wood, lift.mid, water)
    return End({b.entry.name: b.volume.mid for b in wood}, {b.entry.name: b.mass.mid for b in wood})


def tub_end(wood: Sequence[Body], lift: float, water: float) -> End:
    """Displaced volumes [m³] that give the measured lift [kg], shared out by the forms."""
    whole = sum(b.mesh_volume for b in wood)
    full = (lift + sum(b.mass.mid for b in wood)) / water
    return End(
        {b.entry.name: full * b.mesh_volume / whole for b in wood},
        {b.entry.name: b.mass.mid for b in wood},
    )


def _beside(
    body: Body, goal: tuple[float, float], wood: Sequence[Body], lift: float, water: float
) -> End:
    """Take one piece to a volume [m³] and mass [kg]; the others have what is left of a lift."""
    volume, mass = goal
    others = [b for b in wood if b is not body]
    end = tub_end(others, lift - (water * volume - mass), water)
    name = body.entry.name
    return replace(end, volumes={**end.volumes, name: volume}, masses={**end.masses, name: mass})


def _with_stones(ends: Iterable[End]) -> tuple[End, ...]:
    """Give each end twice: stones as light in water as they may be, and as heavy."""
    return tuple(replace(end, stones=stones) for end in ends for stones in (-1.0, 1.0))


def _corners(body: Body, water: float) -> list[tuple[float, float]]:
    """Volumes [m³] and masses [kg] at the ends of a piece: most lift, least, heaviest, lightest."""
    most, *others, least = sorted(body.corners, key=lambda c: c[1] - water * c[0])
    return [most, least, *sorted(others, key=lambda c: -c[1])]


def _towards(
    middle: End, wood: Sequence[Body], goals: Sequence[tuple[float, float]], share: float
) -> End:
    """Move pieces by a share of the way to volumes [m³] and masses [kg]."""
    volumes, masses = dict(middle.volumes), dict(middle.masses)
    for body, (volume, mass) in zip(wood, goals, strict=True):
        name = body.entry.name
        volumes[name] += share * (volume - volumes[name])
        masses[name] += share * (mass - masses[name])
    return End(volumes, masses)
