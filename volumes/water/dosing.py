"""How much water a tank really holds, what to dose for, and the marks for water changes."""

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.figures import DrainFigures

MOST_SALT = 60.0  # [g/L]


class SaltError(PlumbstoneError, ValueError):
    """An amount of salt mix that no tank is kept at."""


def salt_for(water: Range, grams_per_litre: float) -> Range:
    """Salt mix [kg] for a volume of water [m³] at grams of mix per litre.

    Raises
    ------
    SaltError
        If the amount lies outside 0 to 60 g/L.
    """
    if not 0 <= grams_per_litre <= MOST_SALT:
        message = f"{grams_per_litre:g} g of salt mix per litre lies outside 0 to {MOST_SALT:g}."
        raise SaltError(message)
    return water.times(grams_per_litre)


def level_after_change(levels: Floats, volumes: Floats, share: float) -> float | None:
    """Find the level to drain to for a change of a share of the tank's water, by its volumes alone.

    `volumes` of water lie below rising `levels`, (k,) each [m³, m], the last one the water line;
    the share is of the water there. None where the tank would run dry before.
    """
    left = volumes[-1] * (1 - share)
    if left < volumes[0]:
        return None
    return float(np.interp(left, volumes, levels))


def drain_back(area: float, drop: float, spare: float | None) -> DrainFigures:
    """Area [m²] × drop to the siphon break [m], against the sump's spare room [m³]."""
    volume = area * drop
    return DrainFigures(volume, spare, overflows=spare is not None and volume > spare)
