"""What the finished tank weighs, full, drained and stripped, and what a person must lift."""

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.density import GRAVITY

GLASS_DENSITY = 2500.0  # [kg/m³] EN 572-1, read on a secondary page
HEAVY = 0.6  # of what one person may lift: from here on a caution is due
ONE_PERSON = 25.0  # [kg] L23 filter for men, close to the body; read on a secondary page


def lift_code(mass: Range) -> str:
    """Tell by a code who lifts a piece [kg], at the high end of its range; empty: anybody."""
    if mass.high < HEAVY * ONE_PERSON:
        return ""
    return "one person" if mass.high <= ONE_PERSON else "help"


def glass_mass(length: float, depth: float, height: float, thickness: float) -> float:
    """Mass of five panes around an open box of these inside dimensions [m] → [kg].

    The long panes overlap the short ones; the floor lies under all four. Density by EN 572-1.
    """
    outer_length, outer_depth = length + 2 * thickness, depth + 2 * thickness
    floor = outer_length * outer_depth
    walls = 2 * outer_length * height + 2 * depth * height
    return (floor + walls) * thickness * GLASS_DENSITY


def pressure_on(mass: Range, footprint: tuple[float, float]) -> Range:
    """Mean pressure [Pa] of a mass [kg] on a footprint [m]: weight over area, by definition."""
    return mass.times(GRAVITY / (footprint[0] * footprint[1]))
