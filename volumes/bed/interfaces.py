"""What layers do to each other: fine runs into coarse, light filler heaves, slopes creep."""

import itertools
import math
from collections.abc import Sequence

import numpy as np

from plumbstone.meshes.piece import Flags
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.results import BedResult, LayerResult
from plumbstone.volumes.figures import HeaveFigures, RunFigures
from plumbstone.volumes.scape.materials import Material

BORDERLINE = 4.0  # below it the fine grains stay out; Terzaghi, read on secondary pages
RESERVE = 1.3  # on the lift of a floating filler
RETAINS = 5.0  # D15 of the coarse layer over D85 of the fine one; Terzaghi, read on HDS-6 pages
LASTING = 0.6  # of the tangent of repose, for a bare slope; common practice, no source

LEAST_FAULT = 0.01  # of the floor: smaller faults of zones are not told
NESTED = 0.98  # of the smaller zone: it lies wholly in the other, as drawn


def lasting_slope(repose: Range) -> float:
    """Slope that lasts, 0.6 of the tangent of repose, both [degrees]; common practice."""
    return math.degrees(math.atan(LASTING * math.tan(math.radians(repose.mid))))


def filter_ratio(coarse: Material, fine: Material) -> float:
    """D15 of coarse grains over D85 of fine ones [m/m]; up to 4 these stay out (Terzaghi)."""
    if coarse.d15 is None or fine.d85 is None:
        return 0.0  # sizes are not known
    return coarse.d15 / fine.d85


def swallowed_layers(layers: Sequence[LayerResult], cell_area: float) -> tuple[RunFigures, ...]:
    """Find layers that run into the voids of the layer below, where no fabric lies between.

    The layers lie on one grid, in pouring order; `cell_area` is that of its cells [m²].
    """
    found = []
    for lower, upper in itertools.pairwise(layers):
        ratio = filter_ratio(lower.layer.material, upper.layer.material)
        if ratio <= BORDERLINE or upper.layer.fabric:
            continue
        thickness = np.where(upper.lies, lower.surface - lower.below, 0.0)
        volume = float(np.clip(thickness, 0, None).sum()) * cell_area
        if volume > 0:
            voids = (
                1 - lower.mass.mid / lower.settled / lower.layer.material.grain_envelope_density.mid
            )
            most = min(volume * max(voids, 0.0), upper.settled)
            found.append(RunFigures(upper.layer.name, lower.layer.name, ratio, most))
    return tuple(found)


def heaving_layers(
    layers: Sequence[LayerResult], water: float, cell_area: float
) -> tuple[HeaveFigures, ...]:
    """Find fillers whose grains float while dry and lift what lies on them, or would drift off.

    In water of a density [kg/m³], on cells of an area [m²]: the lift (1 - n)(ρ_w - ρ_dry) V of the
    filler at the bad end of its range, times a reserve, against the weight under water of all that
    lies on it.
    """
    found = []
    for i, lower in enumerate(layers):
        grain = lower.layer.material.grain_envelope_density
        share = lower.mass.mid / grain.mid
        lift = share * (water - grain.low)
        if lift <= 0:
            continue
        filled = lower.lies
        names, press, depth, area = [], 0.0, 0.0, float(filled.sum()) * cell_area
        for upper in layers[i + 1 :]:
            over = np.where(filled, upper.surface - upper.below, 0.0)
            volume = float(np.clip(over, 0, None).sum()) * cell_area
            weight = upper.mass.low / upper.settled * (1 - water / _grain(upper.layer.material))
            if volume > 1e-6:
                names.append(upper.layer.name)
                press, depth = press + volume * weight, depth + volume / area
        if press >= RESERVE * lift:
            continue
        needed = depth * RESERVE * lift / press if press > 0 else 0.0
        cover = " and ".join(names)
        found.append(HeaveFigures(lower.layer.name, cover, needed - depth, needed, lift, press))
    return tuple(found)


def _grain(material: Material) -> float:
    """Density of a grain without pores [kg/m³]."""
    assert material.grain_density is not None
    return material.grain_density.mid


def bare_floor(bed: BedResult) -> tuple[tuple[float, float, float], ...]:
    """Floor that no layer covers: its area [m²] and its middle [m]; empty where it is small."""
    grid = bed.grid
    covered = bed.poured > 1e-4 if bed.poured.size else bed.surface > 1e-4
    bare = ~covered & (bed.columns.solid == 0)
    if float(bare.mean()) <= LEAST_FAULT:
        return ()
    row, column = (float(np.median(part)) for part in np.nonzero(bare))
    place = (column + 0.5) * grid.spacing[0], (row + 0.5) * grid.spacing[1]
    return ((float(bare.sum()) * grid.cell_area, *place),)


def overlaps(bed: BedResult) -> tuple[tuple[str, str, float], ...]:
    """Drawn zones that overlap in part, by the names of their layers, and the area [m²]."""
    grid = bed.grid
    zones: list[tuple[str, Flags]] = []
    for result in bed.layers:
        edge = result.edge
        if edge is not None and (result.layer.zone.polygon or "strip" in result.layer.zone.name):
            zones.append((result.layer.name, edge > 0))
    found = []
    for (one, first), (other, second) in itertools.combinations(zones, 2):
        both = float((first & second).sum())
        smaller = float(min(first.sum(), second.sum()))
        if LEAST_FAULT * grid.nx * grid.ny < both < NESTED * smaller:
            found.append((one, other, both * grid.cell_area))
    return tuple(found)
