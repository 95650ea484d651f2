"""What the bed over a buried sinker adds to its weight, once the bed has settled."""

from collections.abc import Sequence

import numpy as np

from plumbstone.meshes.measures.columns import columns_of, merged_columns
from plumbstone.volumes.bed.results import BedResult
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.scape.materials import Material


def submerged_excess(material: Material, water: float) -> float:
    """Mass of covered substrate less that of the water it displaces [kg/m³], at least 0.

    Buoyant unit weight of soil mechanics, (1 - n) (ρ_grain,saturated - ρ_w), n the voids between
    the grains: grains with water in their pores weigh little there (derived).
    """
    assert material.bulk_density is not None
    solid = material.bulk_density.mid / material.grain_envelope_density.mid  # 1 - n
    return max(0.0, solid * (material.saturated_density(water).mid - water))


def burial_bonus(stones: Sequence[Body], bed: BedResult, water: float) -> float:
    """Mass that the bed over stones adds to their weight under water [kg].

    The stones are set in the tank; where their outlines overlap the bed counts once. `water` is a
    density [kg/m³].

    Notes
    -----
    The prism over the outlines from above, a lower bound: no friction at its sides.
    """
    windows = [columns_of(s.piece.vertices, s.piece.faces, bed.grid) for s in stones]
    columns = merged_columns(windows, bed.grid)
    if len(columns.tops) == 0:
        return 0.0
    over = np.isfinite(columns.tops[0])
    tops = columns.highest
    total = 0.0
    for result in bed.layers:
        thick = np.clip(result.surface - np.maximum(result.below, tops), 0, None)
        litres = float(thick[over].sum()) * bed.grid.cell_area
        total += litres * submerged_excess(result.layer.material, water)
    return total
