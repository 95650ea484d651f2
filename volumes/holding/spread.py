"""How what holds a group is spread when all that is uncertain is drawn by chance."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.buoyancy import lift_from_tub, sinker_at_worst
from plumbstone.volumes.holding.ends import End, joined, tub_end
from plumbstone.volumes.holding.equilibrium import all_stay
from plumbstone.volumes.holding.free_bodies import rig_of
from plumbstone.volumes.holding.hold_down import HoldResult

DRAWS = 200
SEED = 20
Z90 = 1.6448536269514722  # 95 % quantile of the normal: ranges hold the truth at 90 %
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """What many draws of the uncertain figures give."""

    lifts: Floats  # (n,) [kg]
    needed: Floats  # (n,) dry stone that just balances each [kg]
    staying: float | None  # share of draws in which the pose stays; None without a scape

    def quantiles(self, values: Floats) -> tuple[float, ...]:
        """Give the 5, 25, 50, 75 and 95 % quantiles of a column [kg]."""
        return tuple(float(v) for v in np.quantile(values, QUANTILES, method="nearest"))


def drawn(figure: Range, places: Floats) -> Floats:
    """Values of a range, in its own unit, at standard normal places; its bounds at 5 and 95 %."""
    return np.array([figure.at(float(place) / Z90) for place in places])


def drawn_end(wood: Sequence[Body], rng: np.random.Generator) -> End:
    """Draw the volume and the mass of each piece of wood, and how heavy all stone is."""
    volumes, masses = {}, {}
    for body, places in zip(wood, rng.standard_normal((len(wood), 2)) / Z90, strict=True):
        name = body.entry.name
        volumes[name], masses[name] = body.state(float(places[0]), float(places[1]))
    return End(volumes, masses, float(rng.standard_normal()) / Z90)


def spread_of_lift(lift: Range, stone: Range, water: float) -> Spread:
    """Spread the sinker that a lift [kg] needs, of stone of a density [kg/m³]."""
    rng = np.random.default_rng(SEED)
    lifts = drawn(lift, rng.standard_normal(DRAWS))
    stones = drawn(stone, rng.standard_normal(DRAWS))
    return Spread(lifts, _needed(lifts, stones, water), None)


def spread_of_hold(hold: HoldResult) -> Spread:
    """Draw volumes and masses of the wood and the stone's density, and judge each draw.

    Seeded, so the same group gives the same figures.
    """
    rng = np.random.default_rng(SEED)
    stage, tub = hold.stage, hold.group.tub
    wood, water = stage.wood_of(hold.number), hold.stage.water
    density = hold.sinker_material.dense
    others = [b for i in stage.together(hold.number)[1:] for b in stage.wood_of(i)]
    lifts, stones, staying = np.empty(DRAWS), np.empty(DRAWS), 0
    for i in range(DRAWS):
        end = drawn_end(wood, rng)
        if tub is not None:
            rho = float(drawn(tub.material.dense, rng.standard_normal(1))[0])
            lift = lift_from_tub(tub.mass, max(rho, water * 1.001), water)
            end = replace(tub_end(wood, lift, water), stones=end.stones)
        stones[i] = density.at(end.stones)
        lifts[i] = sum(end.volumes.values()) * water - sum(end.masses.values())
        if others:
            end = joined([end], [[drawn_end(others, rng)]])[0]
        staying += all_stay([rig_of(stage, end, hold.number, hold.group.friction)])
    return Spread(lifts, _needed(lifts, stones, water), staying / DRAWS)


def _needed(lifts: Floats, stones: Floats, water: float) -> Floats:
    """Stone of drawn densities that just balances drawn lifts [kg]; infinite if it floats."""
    pairs = zip(lifts, stones, strict=True)
    return np.array([sinker_at_worst(lift, stone, water) for lift, stone in pairs])
