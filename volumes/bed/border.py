"""The row of border stones: its gaps, what comes through them, and whether each stone holds."""

import math
from collections.abc import Sequence

import numpy as np

from plumbstone.meshes.piece import Flags
from plumbstone.volumes.bed import passing
from plumbstone.volumes.bed.results import BedResult, LayerResult
from plumbstone.volumes.bed.row import WIDEST, Row
from plumbstone.volumes.bed.zones import polygon_distance
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.figures import BorderFigures, FootingFigures, GapFigures
from plumbstone.volumes.scape.materials import Material, find_material

Sides = tuple[Flags, Flags]
SLIDING, TIPPING = 1.5, 2.0  # least reserves of a stone; common practice, no source
FALLS = 0.5  # of the thrust: what bears less is pushed over even if its friction is underrated
FRICTION = 0.3  # stone on wet glass, mid of 0.2-0.4; no source, be cautious


def rankine_active(phi: float, beta: float = 0.0) -> float:
    """Active earth pressure coefficient, a share, by repose and slope behind a wall [degrees].

    References
    ----------
    Rankine's formula for inclined backfill, thrust parallel to the surface; as quoted in
    Caltrans, Trenching and Shoring Manual (2025), ch. 7, for the level case.
    """
    if beta > phi:
        raise ValueError(f"A slope of {beta:g}° is steeper than the angle of repose {phi:g}°.")
    b, p = math.radians(beta), math.radians(phi)
    root = math.sqrt(max(math.cos(b) ** 2 - math.cos(p) ** 2, 0.0))
    return math.cos(b) * (math.cos(b) - root) / (math.cos(b) + root)


def submerged_unit_weight(settled: float, mass: float, grain_density: float, water: float) -> float:
    """Buoyant unit weight [N/m³] of a bed [m³] with a dry grain mass [kg] (Archimedes)."""
    return max(0.0, mass / settled * (1 - water / grain_density)) * GRAVITY


def judge_borders(bodies: Sequence[Body], bed: BedResult, water: float) -> BorderFigures | None:
    """Judge the rows of stones along all borders; None where no soil lies behind one.

    The pieces are set, the bed is solved; water is given by its density [kg/m³].
    """
    gaps: list[GapFigures] = []
    stones: list[FootingFigures] = []
    strip = False
    for row in bed.rows:
        behind = passing.lying_in("behind border", row, bed.layers, bed.rows)
        if not behind or not row.gaps:
            continue
        soil = behind[-1]
        sides = _sides(soil, bed)
        x, y = bed.grid.scattered
        nearest = np.argmin([np.hypot(x - c.at[0], y - c.at[1]) for c in row.gaps], axis=0)
        own = [_gap(row, k, nearest == k, sides, soil, bed) for k in range(len(row.gaps))]
        widths = {(gap.left, gap.right): min(gap.width_m, WIDEST) for gap in own}
        for body in (b for b in bodies if b.entry.name in row.border.stones):
            beside = sum(w for pair, w in widths.items() if body.entry.name in pair) / 2
            stones.append(_footing(body, beside, sides, soil, bed, water))
        gaps += own
        strip |= row.border.strip
    reserves = {
        min(f.sliding_factor, f.tipping_factor): f.name
        for f in reversed(stones)
        if f.sliding_factor is not None and f.tipping_factor is not None
    }
    weakest = reserves[min(reserves)] if reserves else None
    return BorderFigures(strip, tuple(gaps), tuple(stones), weakest) if gaps else None


def cure_for(
    width: float, soil: Material, *, strip: bool = False, pressed: Sequence[Material] = ()
) -> str:
    """Say what to put into a gap [m] so that a soil stays behind it, with what is in it already.

    Where a strip stands behind it that is too low, a higher one is the cure.
    """
    if strip:
        return "set a higher strip behind it"
    finer = [find_material(name) for name in ("gravel", "wedge gravel")]  # finest first
    for material in finer:
        if passing.closes([material], soil, width):
            return f"press {material.name} into it"
    for material in finer:
        if any(passing.stays_in(filler, width) for filler in pressed):
            if passing.closes([*pressed, material], soil, width):
                return f"press {material.name} in behind it, or set a hidden strip there"
        elif passing.closes([find_material("stone chips"), material], soil, width):
            return f"set a hidden strip behind it, or pack stone chips first, then {material.name}"
    return "set a hidden strip behind it"


def _gap(
    row: Row, number: int, beside: Flags, sides: Sides, soil: LayerResult, bed: BedResult
) -> GapFigures:
    """Describe one gap, to which the cells `beside` are nearer than to any other."""
    gap = row.gaps[number]
    passed = [p for p in bed.passed if p.row is row and p.gap == number]
    upper, lower = _levels_beside(gap.at, sides, soil, bed)
    width = float(gap.between(min(lower, upper), upper).max())
    width = max((p.width for p in passed), default=width)
    material = soil.layer.material
    state = passing.state_of(width, material) if passed else "holds"
    fillers = passing.lying_in("border gaps", row, bed.layers, bed.rows)
    grains, strip = [f.layer.material for f in fillers], row.border.strip
    closed = passing.closed_up_to(passing.fillers_of(fillers), material, width, gap.at, bed.grid)
    own = beside.copy()  # hulls of neighbours share the stone between them
    own[own] = polygon_distance(gap.hull, *(axis[own] for axis in bed.grid.scattered)) > 0
    cure = cure_for(width, material, strip=strip, pressed=grains)
    if passing.closes(grains, material, width):
        cure = f"press {' and '.join(f.layer.name for f in fillers)} in up to the soil"
    return GapFigures(
        gap.left,
        gap.right,
        *gap.at,
        width,
        max(0.0, upper - lower),
        state,
        sum(p.volume for p in passed),
        max((p.reach for p in passed), default=0.0),
        "" if state == "holds" else cure,
        _room(own, upper, bed) - _room(own, min(closed, upper), bed),
    )


def _room(own: Flags, height: float, bed: BedResult) -> float:
    """Space of some cells from the glass up to a height [m³], as what is pressed in takes it."""
    return float(bed.columns.free_below(height)[own].sum()) * bed.grid.cell_area


def _sides(soil: LayerResult, bed: BedResult) -> Sides:
    """Cells behind and before a row in which no stone stands out."""
    edge = soil.edge
    assert edge is not None
    free = bed.columns.highest <= np.where(edge > 0, soil.surface, bed.surface) - 1e-9
    return free & (edge > 0), free & (edge <= 0)


def _levels_beside(
    at: tuple[float, float], sides: Sides, soil: LayerResult, bed: BedResult
) -> tuple[float, float]:
    """Height of the poured soil behind a place of the line, and of what lies before it [m]."""
    behind, before = sides
    upper = passing.nearest_level(soil.surface, behind, at, bed.grid)
    return upper or 0.0, passing.nearest_level(bed.poured, before, at, bed.grid) or 0.0


def wall_factors(
    push: float, height: float, weight: float, toe: float, friction: float
) -> tuple[float, float]:
    """Reserve of a stone that earth leans on against sliding and against tipping about its toe.

    By Rankine the level push of the earth [N] acts at a third of the soil's height at its back [m],
    against its weight under water [N], its toe so far before its middle [m], and its friction on
    what it stands on [-].
    """
    return friction * weight / push, weight * toe / (push * height / 3)


def _footing(
    body: Body, gaps: float, sides: Sides, soil: LayerResult, bed: BedResult, water: float
) -> FootingFigures:
    """Sliding and tipping of one stone against the submerged soil behind it."""
    vertices = body.piece.vertices
    # The soil behind half of both gaps leans on it too.
    x, width = float(vertices[:, 0].mean()), float(body.piece.size[0]) + gaps
    y = float(vertices[:, 1].mean())
    upper, lower = _levels_beside((x, y), sides, soil, bed)
    height = min(max(0.0, upper - lower), float(body.piece.high[2]))
    material = soil.layer.material
    assert material.grain_density is not None
    phi = soil.layer.repose.mid
    beta = min(max(soil.slope_degrees, 0.0), phi)
    weight = submerged_unit_weight(soil.settled, soil.mass.mid, material.grain_density.mid, water)
    thrust = rankine_active(phi, beta) * weight * height**2 / 2 * width
    push = thrust * math.cos(math.radians(beta))
    own = max(0.0, body.mass_in_water(water).mid) * GRAVITY
    feet = vertices[vertices[:, 2] < body.piece.low[2] + 0.01]
    # A stone drawn on a rounded foot has no toe before its centre: it needs bedding in.
    toe = max(0.0, float(vertices[:, 1].mean() - feet[:, 1].min()))
    name = body.entry.name
    if thrust <= 0:
        return FootingFigures(name, thrust, None, None)
    return FootingFigures(name, thrust, *wall_factors(push, height, own, toe, FRICTION))
