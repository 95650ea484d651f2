"""Volume and mass of a stone or a piece of wood: from a scan, a tape, limbs or a scale."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from plumbstone.meshes.faults import is_closed
from plumbstone.meshes.piece import Piece
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.reading import ScanError, read_scan
from plumbstone.volumes.displacement import mesh_volume

SHAPE_FACTORS = Range(0.40, 0.50, 0.60)  # of the box around a stone; common practice, no source
SPREADS = {  # share to both sides at 90 %; common practice, no source
    "solid": 0.05,
    "boulder": 0.20,
    "limbs": 0.15,
    "scan": 0.03,
}


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """A scan with its volume."""

    piece: Piece
    volume: Range  # [m³]


def weigh_scan(path: Path, unit: str | None = None) -> Weighed:
    """Read a scan, close it and measure its volume."""
    piece = read_scan(path, unit)
    if not is_closed(piece.faces, len(piece.vertices)):
        raise ScanError(path, "has holes.")
    return Weighed(piece, tape_spread(mesh_volume(piece.vertices, piece.faces), "scan"))


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
    return Range(volume.low * density.low, volume.mid * density.mid, volume.high * density.high)


def volume_of_mass(mass: float, density: Range) -> Range:
    """Volume [m³] of a weighed mass [kg]."""
    return Range(mass / density.high, mass / density.mid, mass / density.low)
