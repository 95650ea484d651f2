"""Lift of wood and the sinkers it needs, by vertical balance and Archimedes' principle.

Its check values are those of OpenStax, College Physics 2e, section 11.7.
"""

import math
from dataclasses import dataclass

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range


class SinkerError(PlumbstoneError, ValueError):
    """A sinker that cannot hold anything down."""


LEAST_RESERVE = 0.05  # of wood that sinks or nearly does [kg]; common practice, no source
RESERVE_SHARE = 0.05  # the same, of its weight in air


@dataclass(frozen=True, slots=True)
class Hung:
    """All stone that is on the wood."""

    dry: float  # [kg]
    wet: Range  # what it weighs under water, as a mass [kg]; below 0 it floats

    def plus(self, other: "Hung") -> "Hung":
        """Add more stone; the bad ends may meet."""
        ends = zip(self.wet, other.wet, strict=True)
        return Hung(self.dry + other.dry, Range(*map(sum, ends)))


@dataclass(frozen=True, slots=True)
class Balance:
    """Vertical balance of wood and sinkers; masses as they show on a scale [kg]."""

    lift: Range  # net upward pull of the covered wood, as a mass; below 0 it sinks
    density: Range | None  # of the wood [kg/m³]; None where its mass is not known
    least_sinker: Range  # dry stone that just holds it
    asked_sinker: float  # dry stone for the unlucky end of the wood, with the reserve
    asked_surely: float  # the same where that stone is as light as it may be
    short: float  # dry stone that lacks where all stone is as light as it may be
    asked_pull: float  # what that stone weighs under water, as a mass
    hung: float  # dry stone that is there
    wet: float  # what it weighs under water at least, as a mass
    spare: Range  # of the hung stone under water, as a mass; below 0 it lifts
    from_tub: bool

    @property
    def enough(self) -> bool:
        """Whether the stone that is there outweighs the lift with the reserve, at its light end."""
        return self.wet >= self.asked_pull


def least_reserve(mass: float) -> float:
    """Reserve of wood of a mass that sinks or nearly does [kg]; common practice, no source."""
    return max(LEAST_RESERVE, RESERVE_SHARE * mass)


def hung_stone(mass: float, density: Range, water: float) -> Hung:
    """Give what a stone of a mass [kg] and a density [kg/m³] weighs, in water too (Archimedes)."""
    return Hung(mass, Range(*(mass * (1 - water / rho) for rho in density)))


def lift_of(volume: float, mass: float, water: float) -> float:
    """Lift ρ V - m as a mass [kg] (Archimedes) of a covered body of a volume [m³] and mass [kg]."""
    return water * volume - mass


def sinker_for(lift: float, stone_density: float, water: float) -> float:
    """Dry mass of stone [kg] whose weight in water balances a lift [kg] (Archimedes).

    Raises
    ------
    SinkerError
        If the stone is no denser than the water.
    """
    if stone_density <= water:
        raise SinkerError(
            f"A stone of {stone_density:.0f} kg/m³ floats in water of {water:.0f}; "
            "take a denser one."
        )
    return max(0.0, lift) / (1 - water / stone_density)


def lift_from_tub(mass: float, stone_density: float, water: float) -> float:
    """Lift [kg] of wood that just sinks with a stone of that dry mass [kg] (Archimedes)."""
    if stone_density <= water:
        sinker_for(1.0, stone_density, water)
    return mass * (1 - water / stone_density)


def balance_from_density(
    mass: float, wood: Range, stone: Range, water: float, hung: Hung, factor: float
) -> Balance:
    """Balance wood of a dry mass [kg] whose density [kg/m³] is known from a table.

    Wood, stone and water are densities [kg/m³]; `hung` is tied on, and the factor is on the lift,
    after the unlucky densities.
    """
    lift = Range(*(lift_of(mass / rho, mass, water) for rho in (wood.high, wood.mid, wood.low)))
    asked = asked_pull(lift.high, lift, mass, factor)
    return balance_of(lift, lift, asked, wood, stone, water, hung)


def balance_from_tub(
    wood_mass: float | None,
    tub: tuple[float, Range],
    stone: Range,
    water: float,
    hung: Hung,
    factor: float,
) -> Balance:
    """Balance wood that just sank with a stone: `tub` is its dry mass [kg] and density.

    The measurement beats any table; without the wood's own mass its density stays unknown.
    """
    lift = lift_by_tub(tub, water)
    asked = asked_pull(lift.mid, lift, wood_mass or 0.0, factor)
    wood = None if wood_mass is None else density_by_lift(wood_mass, lift, water)
    return balance_of(lift, lift, asked, wood, stone, water, hung, from_tub=True)


def lift_by_tub(tub: tuple[float, Range], water: float) -> Range:
    """Lift [kg] of wood that just sinks with a stone of a dry mass [kg] and a density [kg/m³]."""
    mass, density = tub
    return Range(*(lift_from_tub(mass, rho, water) for rho in density))


def density_by_lift(mass: float, lift: Range, water: float) -> Range:
    """Density [kg/m³] of wood of a dry mass [kg] and a lift [kg] (Archimedes)."""
    return Range(*(water * mass / (mass + pull) for pull in (lift.high, lift.mid, lift.low)))


def asked_pull(unlucky: float, lift: Range, mass: float, factor: float) -> float:
    """Weight under water, as a mass [kg], that holds an unlucky lift [kg] with the reserve.

    The factor is common practice, no source. A tub test already speaks of the real wood, so its
    unlucky end is the middle. Wood of a lift that sinks or may sink asks for a reserve of its own,
    by its mass [kg].
    """
    asked = factor * max(0.0, unlucky)
    return max(asked, unlucky + least_reserve(mass)) if lift.low <= 0 else asked


def balance_of(
    lift: Range,
    pull: Range,
    asked: float,
    wood: Range | None,
    stone: Range,
    water: float,
    hung: Hung,
    *,
    from_tub: bool = False,
) -> Balance:
    """Put the sinker figures to the pull of wood at the line [kg]; see `Balance`."""
    asked = max(0.0, asked)
    return Balance(
        lift=lift,
        density=wood,
        least_sinker=Range(
            sinker_for(pull.low, stone.high, water),
            sinker_for(pull.mid, stone.mid, water),
            sinker_at_worst(pull.high, stone.low, water),
        ),
        asked_sinker=sinker_for(asked, stone.mid, water),
        asked_surely=sinker_at_worst(asked, stone.low, water),
        short=sinker_at_worst(asked - hung.wet.low, stone.low, water),
        asked_pull=asked,
        hung=hung.dry,
        wet=hung.wet.low,
        spare=Range(hung.wet.low - pull.high, hung.wet.mid - pull.mid, hung.wet.high - pull.low),
        from_tub=from_tub,
    )


def sinker_at_worst(lift: float, stone: float, water: float) -> float:
    """Stone of a density [kg/m³] that balances a lift [kg], dry [kg]; infinite where it floats."""
    return sinker_for(lift, stone, water) if stone > water else math.inf
