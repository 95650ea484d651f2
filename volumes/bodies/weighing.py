"""Volume and mass of a stone or a piece of wood: from a scan, a tape, limbs or a scale."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.extents import Extents, extents_of
from plumbstone.meshes.piece import Floats, Indices, Piece
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.scape.materials import Material

if TYPE_CHECKING:
    from plumbstone.meshes.closing import ClosedScan

SHAPE_FACTORS = Range(0.40, 0.50, 0.60)  # of the box around a stone; common practice, no source
SPREADS = {"solid": 0.05, "boulder": 0.20, "limbs": 0.15}  # at 90 %; common practice, no source


class WeighingError(PlumbstoneError, ValueError):
    """Measurements that cannot belong to one piece."""


@dataclass(frozen=True, slots=True)
class Confidence:
    """How far a figure can be trusted, in a word, and why."""

    word: str  # "good", "fair" or "poor"
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """One piece with its volume and mass."""

    name: str
    source: str  # the file, or how it was measured
    material: Material
    volume: Range  # outer envelope [m³]
    mass: Range  # dry [kg]
    size: tuple[float, ...]  # largest first for a scan, as given for a tape [m]; empty unknown
    confidence: Confidence
    changes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    piece: Piece | None = None
    seen: Indices | None = None  # faces of the piece that were scanned, not guessed
    away: Floats | None = None  # (k, 3, 3) corners of what was cut away beside it [m]
    extents: Extents | None = None  # of a scan

    def mass_in_water(self, water: float) -> Range:
        """Mass it shows hanging in water of a density [kg/m³], pores full of air → [kg]."""
        density = self.material.density
        assert density is not None
        factors = [1 - water / rho for rho in (density.low, density.mid, density.high)]
        return Range(*sorted(m * f for m, f in zip(_triple(self.mass), factors, strict=True)))

    def mass_in_water_soaked(self, water: float) -> Range:
        """Mass a porous stone shows in water once its pores are full [kg]."""
        full = self.material.saturated_density(water)
        return Range(
            self.volume.low * (full.low - water),
            self.volume.mid * (full.mid - water),
            self.volume.high * (full.high - water),
        )


def weigh_scan(
    path: Path,
    material: Material,
    unit: str | None = None,
    longest: float | None = None,
    mass: float | None = None,
) -> Weighed:
    """Weigh the stone or wood in a scan.

    Parameters
    ----------
    path : Path
        Mesh or point cloud.
    material : Material
        With a density.
    unit : str, optional
        Of the file's coordinates.
    longest : float, optional
        Known longest side [m]; rescales the scan.
    mass : float, optional
        Measured [kg]; replaces the computed mass and checks the volume.

    Raises
    ------
    ScanError
        If the scan cannot be read or its volume cannot be told.
    """
    from plumbstone.meshes.closing import closed_scan

    weighed = weigh_closed(closed_scan(path, unit, longest), material, extents=False)
    return weighed if mass is None else checked_by_mass(weighed, mass)


def weigh_closed(scan: "ClosedScan", material: Material, *, extents: bool = True) -> Weighed:
    """Weigh a scan that was closed; `extents` finds the openings it passes, which takes longer."""
    return Weighed(
        name=scan.piece.name,
        source=scan.piece.source,
        material=material,
        volume=scan.volume,
        mass=mass_of(scan.volume, _density(material)),
        size=tuple(sorted((float(s) for s in scan.piece.size), reverse=True)),
        confidence=_confidence(scan.volume, scan.reason),
        changes=scan.piece.changes,
        warnings=scan.piece.warnings,
        piece=scan.piece,
        seen=scan.bare,
        away=scan.away,
        extents=extents_of(scan.piece.vertices) if extents else None,
    )


def weigh_volume(volume: Range, material: Material, mass: float | None = None) -> Weighed:
    """Weigh a piece of known volume [m³], such as from the bucket on a scale."""
    reason = "its volume was measured in water"
    weighed = Weighed(
        "piece", "bucket", material, volume, mass_of(volume, _density(material)), (),
        _confidence(volume, reason),
    )  # fmt: skip
    return weighed if mass is None else checked_by_mass(weighed, mass)


def with_density(material: Material, density: Range, source: str) -> Material:
    """Put a measured density [kg/m³] in the place of the table's."""
    return replace(material, density=density, sources={**material.sources, "density": source})


def weigh_size(
    size: tuple[float, float, float],
    material: Material,
    factor: float | None = None,
    mass: float | None = None,
) -> Weighed:
    """Weigh a stone by length × width × height [m]; a measured mass [kg] beats the table."""
    density = _density(material)
    if mass is not None:
        return replace(weigh_mass(mass, material), size=size, source="size and mass")
    volume = size_volume(size, factor)
    reason = "a tape tells the box around the stone, not how much of it the stone fills"
    return Weighed(
        "stone", "length × width × height", material, volume, mass_of(volume, density), size,
        Confidence("poor" if factor is None else "fair", reason),
    )  # fmt: skip


def weigh_limbs(
    limbs: Sequence[tuple[float, float, float]], material: Material, mass: float | None = None
) -> Weighed:
    """Weigh wood by the length and the girth at both ends [m] of each limb."""
    volume = tape_spread(sum(limb_volume(*limb) for limb in limbs), "limbs")
    reason = "limbs are measured as even tapers; bark, knots and twigs are left out"
    weighed = Weighed(
        "wood", "limbs by length and girth", material, volume,
        mass_of(volume, _density(material)), (), Confidence("fair", reason),
    )  # fmt: skip
    return weighed if mass is None else checked_by_mass(weighed, mass)


def weigh_mass(mass: float, material: Material) -> Weighed:
    """Tell the volume of a piece of known mass [kg]."""
    volume = volume_of_mass(mass, _density(material))
    return Weighed(
        "piece", "mass alone", material, volume, Range.exact(mass), (),
        Confidence("good", "weighed; its volume follows from the density of the material"),
    )  # fmt: skip


def checked_by_mass(weighed: Weighed, mass: float) -> Weighed:
    """Replace the mass by a measured one [kg]; warn where it contradicts the volume.

    The scan keeps its volume: a wrong scale and a wrongly guessed underside look the same.
    """
    density = _density(weighed.material)
    implied = volume_of_mass(mass, density)
    fits = implied.low <= weighed.volume.high and implied.high >= weighed.volume.low
    warnings = weighed.warnings
    if not fits:
        scale = (implied.mid / weighed.volume.mid) ** (1 / 3)
        warnings = (
            *warnings,
            f"{mass:g} kg of {weighed.material.name} is {implied.mid * 1e3:.2f} L, the form says "
            f"{weighed.volume.mid * 1e3:.2f} L: lengths off by × {scale:.3f}, a wrong material, "
            "or an underside guessed wrong. --rescale trusts the scale.",
        )
    return replace(weighed, mass=Range.exact(mass), warnings=warnings)


def rescaled_to_mass(weighed: Weighed, mass: float) -> Weighed:
    """Trust a measured mass [kg] over the lengths of a scan: scale it so that they agree."""
    implied = volume_of_mass(mass, _density(weighed.material))
    scale = (implied.mid / weighed.volume.mid) ** (1 / 3)
    piece = weighed.piece
    return replace(
        weighed,
        volume=implied,
        mass=Range.exact(mass),
        size=tuple(side * scale for side in weighed.size),
        piece=None if piece is None else piece.moved_to(piece.vertices * scale),
        away=None if weighed.away is None else weighed.away * scale,
        extents=None if weighed.extents is None else weighed.extents.times(scale),
        changes=(*weighed.changes, f"lengths × {scale:.3f} so that volume and mass agree"),
        confidence=Confidence("good", "weighed; the scan was scaled to the mass"),
    )


def density_of_two_weighings(dry: float, submerged: float, step: float, water: float) -> Range:
    """Density [kg/m³] from a dry and a submerged reading [kg] of a scale with this step [kg].

    Raises
    ------
    WeighingError
        If the readings are too close for the scale, or the wrong way round.
    """
    low, high = dry - submerged - step, dry - submerged + step
    if low <= 0 or submerged < 0:
        message = (
            f"{dry:g} kg dry and {submerged:g} kg in water differ by less than the scale's step; "
            "weigh again, or use a finer scale."
        )
        raise WeighingError(message)
    return Range(dry * water / high, dry * water / (dry - submerged), dry * water / low)


def volume_by_bucket(rise: float, step: float, capacity: float | None, water: float) -> Range:
    """Volume [m³] of a piece pushed under in a bucket on a scale, from the reading's rise [kg].

    Raises
    ------
    WeighingError
        If the rise lies within the scale's step or the bucket is beyond its capacity [kg].
    """
    if rise <= 2 * step:
        message = f"A rise of {rise:g} kg is no more than the scale's step; use a finer scale."
        raise WeighingError(message)
    if capacity is not None and rise > capacity:
        message = f"A rise of {rise:g} kg is beyond the scale's {capacity:g} kg; use a larger one."
        raise WeighingError(message)
    return Range((rise - step) / water, rise / water, (rise + step) / water)


def limb_volume(length: float, girth0: float, girth1: float) -> float:
    """Volume [m³] of a frustum by its length and girths [m]."""
    return length * (girth0**2 + girth0 * girth1 + girth1**2) / (12 * np.pi)


def tape_spread(volume: float, kind: str) -> Range:
    """Spread a volume [m³] by what its kind of form is known to, a key of `SPREADS`."""
    share = SPREADS[kind]
    return Range(volume * (1 - share), volume, volume * (1 + share))


def size_volume(size: tuple[float, float, float], factor: float | None = None) -> Range:
    """Volume [m³] of a stone by length × width × height [m] × shape factor."""
    box = float(np.prod(size))
    return (SHAPE_FACTORS if factor is None else Range.exact(factor)).times(box)


def mass_of(volume: Range, density: Range) -> Range:
    """Mass [kg] of a volume [m³]: the ends of both ranges together, so on the wide side."""
    return Range(*(v * rho for v, rho in zip(_triple(volume), _triple(density), strict=True)))


def volume_of_mass(mass: float, density: Range) -> Range:
    """Volume [m³] of a weighed mass [kg]."""
    return Range(mass / density.high, mass / density.mid, mass / density.low)


def _triple(figure: Range) -> tuple[float, float, float]:
    return figure.low, figure.mid, figure.high


def _density(material: Material) -> Range:
    """Density of a material that has one."""
    if material.density is None:
        message = f"{material.name} has no density of its own; name a stone or a wood."
        raise WeighingError(message)
    return material.density


def _confidence(volume: Range, reason: str) -> Confidence:
    """Put the width of a range into a word."""
    width = volume.half_width
    return Confidence("good" if width <= 0.05 else "fair" if width <= 0.12 else "poor", reason)
