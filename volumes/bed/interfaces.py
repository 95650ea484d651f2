"""What layers do to each other: fine runs into coarse, light filler heaves, slopes creep."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plumbstone.volumes.bed.pouring import BedResult, LayerResult, zone_edge
from plumbstone.volumes.scape.materials import Material

RETAINS = 5.0  # D15 of the coarse layer over D85 of the fine one; Terzaghi, read on HDS-6 pages
LASTING = 0.6  # of the tangent of repose, for a bare slope; common practice, no source

LEAST_FAULT = 0.01  # of the floor: smaller faults of zones are not told
NESTED = 0.98  # of the smaller zone: it lies wholly in the other, as drawn


@dataclass(frozen=True, slots=True)
class Swallowed:
    """A fine layer that lies on a coarse one and runs into its voids."""

    fine: str
    coarse: str
    ratio: float  # D15 of the coarse one over D85 of the fine one
    most: float  # volume that the voids could take [m³]


@dataclass(frozen=True, slots=True)
class Heave:
    """A light filler under a cover that is too thin to hold it down while it is dry."""

    filler: str
    cover: str
    lacking: float  # further cover that would hold it [m]


def lasting_slope(material: Material) -> float:
    """Slope [degrees] that a bare bed keeps for long: 0.6 of the tangent of repose."""
    assert material.repose is not None
    return math.degrees(math.atan(LASTING * math.tan(math.radians(material.repose.mid))))


def filter_ratio(coarse: Material, fine: Material) -> float:
    """D15 of the coarse grains over D85 of the fine ones; up to 4 or 5 the fine ones stay out."""
    assert coarse.d15 is not None
    assert fine.d85 is not None
    return coarse.d15 / fine.d85


def swallowed_layers(layers: Sequence[LayerResult], cell_area: float) -> tuple[Swallowed, ...]:
    """Find layers that run into the voids of the layer below.

    Parameters
    ----------
    layers : sequence of LayerResult
        In pouring order, on one grid.
    cell_area : float
        Of that grid [m²].
    """
    found = []
    for lower, upper in itertools.pairwise(layers):
        ratio = filter_ratio(lower.layer.material, upper.layer.material)
        if ratio <= RETAINS:
            continue
        over = upper.surface > upper.below + 1e-4
        thickness = np.where(over, lower.surface - lower.below, 0.0)
        volume = float(np.clip(thickness, 0, None).sum()) * cell_area
        if volume > 0:
            voids = 1 - lower.mass.mid / lower.settled / _envelope(lower.layer.material)
            found.append(
                Swallowed(upper.layer.name, lower.layer.name, ratio, volume * max(voids, 0.0))
            )
    return tuple(found)


def heaving_layers(layers: Sequence[LayerResult], water: float) -> tuple[Heave, ...]:
    """Find fillers that float while dry and lift the cover above them.

    Per area, the lift of the filler (1 - n)(ρ_w - ρ_dry) h against the weight under water
    of what lies on it.
    """
    found = []
    for lower, upper in itertools.pairwise(layers):
        grain = _envelope(lower.layer.material)
        share = lower.mass.mid / lower.settled / grain
        lift = share * (water - grain)
        if lift <= 0:
            continue
        weight = upper.mass.mid / upper.settled * (1 - water / _grain(upper.layer.material))
        over = (upper.surface > upper.below + 1e-4) & (lower.surface > lower.below + 1e-4)
        if not over.any() or weight <= 0:
            continue
        needed = lift * (lower.surface - lower.below)[over] / weight
        lacking = float(np.median(needed - (upper.surface - upper.below)[over]))
        if lacking > 0:
            found.append(Heave(lower.layer.name, upper.layer.name, lacking))
    return tuple(found)


def _envelope(material: Material) -> float:
    """Density of a dry grain with its inner pores [kg/m³]."""
    return material.grain_envelope_density.mid


def _grain(material: Material) -> float:
    """Density of a grain without pores [kg/m³]."""
    assert material.grain_density is not None
    return material.grain_density.mid


def zone_faults(bed: BedResult) -> tuple[str, ...]:
    """Tell of floor that no layer covers, and of drawn zones that overlap in part."""
    grid = bed.grid
    covered = np.zeros((grid.ny, grid.nx), dtype=bool)
    zones: list[tuple[str, NDArray[np.bool_]]] = []
    for result in bed.layers:
        covered |= result.surface > result.below + 1e-4
        edge = zone_edge(result.layer.zone, bed.rows, grid)
        if edge is not None and (result.layer.zone.polygon or "strip" in result.layer.zone.name):
            zones.append((result.layer.name, edge > 0))
    bare = ~covered & (bed.columns.solid_below(np.inf) == 0)
    found = []
    share = float(bare.mean())
    if share > LEAST_FAULT:
        row, column = (float(np.median(part)) for part in np.nonzero(bare))
        area = float(bare.sum()) * grid.cell_area * 1e4
        place = f"({(column + 0.5) * grid.spacing[0] * 1e2:.0f}, "
        place += f"{(row + 0.5) * grid.spacing[1] * 1e2:.0f}) cm"
        found.append(f"{area:.0f} cm² of the floor stay bare, around {place} from left and front.")
    for (one, first), (other, second) in itertools.combinations(zones, 2):
        both = float((first & second).sum())
        smaller = float(min(first.sum(), second.sum()))
        if LEAST_FAULT * grid.nx * grid.ny < both < NESTED * smaller:
            area = both * grid.cell_area * 1e4
            found.append(
                f"{one} and {other} overlap over {area:.0f} cm²; there {other} lies on {one}."
            )
    return tuple(found)
