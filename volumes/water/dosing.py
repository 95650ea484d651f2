"""How much water a tank really holds, what to dose for, and the marks for water changes."""

from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range

MOST_SALT = 60.0  # [g/L]


class SaltError(PlumbstoneError, ValueError):
    """An amount of salt mix that no tank is kept at."""


@dataclass(frozen=True, slots=True)
class TankParts:
    """What fills the box below the water line; each part is computed on its own way [m³]."""

    box: float
    stone: Range  # envelopes of stones, without pores that water has filled
    wood: Range
    grains: Range  # grain envelopes of the substrate
    between_grains: Range  # water between the grains
    free_water: Range

    @property
    def closure(self) -> float:
        """Sum of the parts as a share of the box, less one; 0 where the ways agree."""
        parts = (self.stone, self.wood, self.grains, self.between_grains, self.free_water)
        return sum(part.mid for part in parts) / self.box - 1


@dataclass(frozen=True, slots=True)
class Dosing:
    """Water by its uses."""

    dosing: Range  # all water that mixes [m³]
    fill: Range  # what it takes to fill the finished tank [m³]
    per_centimetre: float  # just below the line [m³/cm]
    marks: tuple[tuple[float, float], ...]  # (share changed, water level to stop at [m])
    salt_mix: Range | None  # [kg]


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
    """Find the level to drain to for a change of a given share of the tank's water.

    `volumes` of water lie below rising `levels`, (k,) each [m³, m], the last one the water line;
    the share is of the water there. None where the tank would run dry before.
    """
    left = volumes[-1] * (1 - share)
    if left < volumes[0]:
        return None
    return float(np.interp(left, volumes, levels))


@dataclass(frozen=True, slots=True)
class DrainBack:
    """What runs from the tank into the sump when the pump stops."""

    volume: float  # [m³]
    spare: float | None  # room in the sump [m³]

    @property
    def overflows(self) -> bool:
        """Whether more comes down than the sump has room for."""
        return self.spare is not None and self.volume > self.spare


def drain_back(area: float, drop: float, spare: float | None) -> DrainBack:
    """Area [m²] × drop to the siphon break [m], against the sump's spare room [m³]."""
    return DrainBack(area * drop, spare)
