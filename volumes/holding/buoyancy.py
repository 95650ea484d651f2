"""Lift of wood and the sinkers it needs, by vertical balance."""

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
        ends = zip(
            (self.wet.low, self.wet.mid, self.wet.high),
            (other.wet.low, other.wet.mid, other.wet.high),
            strict=True,
        )
        return Hung(self.dry + other.dry, Range(*(a + b for a, b in ends)))


@dataclass(frozen=True, slots=True)
class Balance:
    """Vertical balance of wood and sinkers; masses as they show on a scale [kg]."""

    lift: Range  # net upward pull of the covered wood, as a mass; below 0 it sinks
    density: Range | None  # of the wood [kg/m³]; None where its mass is not known
    least_sinker: Range  # dry stone that just holds it
    asked_sinker: float  # dry stone for the unlucky end of the wood, with the reserve
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
    """Reserve of wood of a mass that sinks or nearly does [kg]."""
    return max(LEAST_RESERVE, RESERVE_SHARE * mass)


def hung_stone(mass: float, density: Range, water: float) -> Hung:
    """Give what a stone of a mass [kg] and a density [kg/m³] weighs dry and under water."""
    wet = Range(*(mass * (1 - water / rho) for rho in (density.low, density.mid, density.high)))
    return Hung(mass, wet)


def lift_of(volume: float, mass: float, water: float) -> float:
    """Net upward pull ρ V - m as a mass [kg] of a covered body of volume [m³] and mass [kg]."""
    return water * volume - mass


def sinker_for(lift: float, stone_density: float, water: float) -> float:
    """Dry mass of stone [kg] whose weight in water balances a lift [kg].

    Raises
    ------
    SinkerError
        If the stone is no denser than the water.
    """
    if stone_density <= water:
        message = (
            f"A stone of {stone_density:.0f} kg/m³ floats in water of {water:.0f}; "
            "take a denser one."
        )
        raise SinkerError(message)
    return max(0.0, lift) / (1 - water / stone_density)


def lift_from_tub(mass: float, stone_density: float, water: float) -> float:
    """Lift [kg] of wood that just sinks with a stone of that dry mass [kg] hung on it."""
    if stone_density <= water:
        sinker_for(1.0, stone_density, water)
    return mass * (1 - water / stone_density)


def balance_from_density(
    mass: float, wood: Range, stone: Range, water: float, hung: Hung, factor: float
) -> Balance:
    """Balance wood of a dry mass [kg] whose density [kg/m³] is known from a table.

    Parameters
    ----------
    mass : float
        Of the dry wood [kg].
    wood, stone : Range
        Densities [kg/m³].
    water : float
        Density [kg/m³].
    hung : Hung
        The stone that is tied on.
    factor : float
        On the lift, after the unlucky densities.
    """
    lift = Range(*(lift_of(mass / rho, mass, water) for rho in (wood.high, wood.mid, wood.low)))
    return _balance(lift, mass, wood, stone, water, hung, factor, from_tub=False)


def balance_from_volume(
    volume: Range, mass: Range, stone: Range, water: float, hung: Hung, factor: float
) -> Balance:
    """Balance wood whose volume [m³] and mass [kg] are known; see `balance_from_density`."""
    lift = Range(
        lift_of(volume.low, mass.high, water),
        lift_of(volume.mid, mass.mid, water),
        lift_of(volume.high, mass.low, water),
    )
    wood = Range(mass.low / volume.high, mass.mid / volume.mid, mass.high / volume.low)
    return _balance(lift, mass.high, wood, stone, water, hung, factor, from_tub=False)


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
    mass, density = tub
    lift = Range(
        *(lift_from_tub(mass, rho, water) for rho in (density.low, density.mid, density.high))
    )
    wood = None
    if wood_mass is not None:
        wood = Range(
            *(water * wood_mass / (wood_mass + pull) for pull in (lift.high, lift.mid, lift.low))
        )
    return _balance(lift, wood_mass or 0.0, wood, stone, water, hung, factor, from_tub=True)


def _balance(
    lift: Range,
    mass: float,
    wood: Range | None,
    stone: Range,
    water: float,
    hung: Hung,
    factor: float,
    *,
    from_tub: bool,
) -> Balance:
    """Put the sinker figures to a lift.

    A tub test already speaks of the real wood, so its unlucky end is the middle. Wood that
    sinks or may sink asks for a reserve of its own.
    """
    unlucky = lift.mid if from_tub else lift.high
    asked = factor * max(0.0, unlucky)
    if lift.low <= 0:
        asked = max(asked, unlucky + least_reserve(mass))
    return Balance(
        lift=lift,
        density=wood,
        least_sinker=Range(
            sinker_for(lift.low, stone.high, water),
            sinker_for(lift.mid, stone.mid, water),
            _at_worst(lift.high, stone.low, water),
        ),
        asked_sinker=sinker_for(asked, stone.mid, water),
        short=_at_worst(asked - hung.wet.low, stone.low, water),
        asked_pull=max(0.0, asked),
        hung=hung.dry,
        wet=hung.wet.low,
        spare=Range(hung.wet.low - lift.high, hung.wet.mid - lift.mid, hung.wet.high - lift.low),
        from_tub=from_tub,
    )


def _at_worst(lift: float, stone: float, water: float) -> float:
    """Sinker of the lightest stone of its kind [kg]; infinite where that floats."""
    return sinker_for(lift, stone, water) if stone > water else math.inf
