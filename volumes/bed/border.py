"""The row of border stones: its gaps, what comes through them, and whether each stone holds."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.piece import Floats
from plumbstone.volumes.bed.pouring import BedResult, LayerResult
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.scape.layers import Border
from plumbstone.volumes.scape.materials import Material
from plumbstone.volumes.water.density import GRAVITY

FRICTION = 0.3  # stone on wet glass, mid of 0.2-0.4; no source, be cautious
HOLDS, RUNS = 0.7, 5.0  # gap over d15 and d50; 4.9 sphere diameters, from memory
SLICE = 0.004  # thickness of the slices in which gaps are measured [m]
FILTER_RATIO = 4.0  # D15 of the filter over D85 of the soil; Terzaghi, read on secondary pages
STAYS_RATIO = 1.2  # D85 of the filter over the gap; from memory
LONGEST_GAP = 0.5  # [m]


@dataclass(frozen=True, slots=True)
class Gap:
    """One gap of the row."""

    left: str  # name of the stone, or "left pane"
    right: str
    at: tuple[float, float]  # its middle on the border line [m]
    width: float  # widest opening below the soil line [m]
    retained: float  # soil minus front sand [m]
    state: str  # "holds", "may arch" or "runs"
    volume: float  # that comes through until it rests [m³]
    reach: float  # how far the fan reaches on the sand [m]
    cure: str
    fill: float  # volume of the gap itself, up to the soil line [m³]


@dataclass(frozen=True, slots=True)
class Footing:
    """One border stone against the thrust of the soil."""

    name: str
    thrust: float  # [N]
    sliding: float  # resistance over thrust
    tipping: float  # righting over tipping moment


@dataclass(frozen=True, slots=True)
class BorderResult:
    """The whole row."""

    gaps: tuple[Gap, ...]
    footings: tuple[Footing, ...]
    strip: bool

    @property
    def weakest(self) -> Footing | None:
        """The stone with the least reserve."""
        return min(self.footings, key=lambda f: min(f.sliding, f.tipping), default=None)


def rankine_active(phi: float, beta: float = 0.0) -> float:
    """Active earth pressure coefficient for a slope beta behind a wall, both in degrees.

    References
    ----------
    Rankine's formula for inclined backfill, thrust parallel to the surface; as quoted in
    Caltrans, Trenching and Shoring Manual (2025), ch. 7, for the level case.
    """
    if beta > phi:
        message = f"A slope of {beta:g}° is steeper than the angle of repose {phi:g}°."
        raise ValueError(message)
    b, p = math.radians(beta), math.radians(phi)
    root = math.sqrt(max(math.cos(b) ** 2 - math.cos(p) ** 2, 0.0))
    return math.cos(b) * (math.cos(b) - root) / (math.cos(b) + root)


def submerged_unit_weight(settled: float, mass: float, grain_density: float, water: float) -> float:
    """Effective unit weight [N/m³] under water of a bed [m³] with a dry grain mass [kg]."""
    return max(0.0, mass / settled * (1 - water / grain_density)) * GRAVITY


def fan(width: float, retained: float, slope: float) -> tuple[float, float]:
    """Volume [m³] that comes through a gap until it rests, and the reach of its fan [m].

    Behind a gap of a width w in a wall, a level bed of height h loses
    w h² / (2 tan) + 2 · π h³ / (12 tan²) down to the free foot of the gap. The same form
    builds up in front. Both are equal where the soil in the gap stands at h / 2.
    """
    half = retained / 2
    volume = width * half**2 / (2 * slope) + math.pi * half**3 / (6 * slope**2)
    return volume, half / slope


def judge_border(
    border: Border, bodies: Sequence[Body], bed: BedResult, water: float
) -> BorderResult | None:
    """Judge the row of stones along the border line; None where no soil lies behind it.

    Parameters
    ----------
    border : Border
        Line and names of its stones.
    bodies : sequence of Body
        Set pieces.
    bed : BedResult
        The solved bed.
    water : float
        Density [kg/m³].
    """
    soil = next((r for r in reversed(bed.layers) if r.layer.zone.name == "behind border"), None)
    row = sorted(
        (body for body in bodies if body.entry.name in border.stones),
        key=lambda body: float(body.piece.vertices[:, 0].mean()),
    )
    if soil is None or not row:
        return None
    gaps = tuple(_gap(border, pair, soil, bed) for pair in _pairs(row, bed.grid.length))
    footings = tuple(
        _footing(body, (before.width + after.width) / 2, border, soil, bed, water)
        for body, (before, after) in zip(row, itertools.pairwise(gaps), strict=True)
    )
    return BorderResult(gaps, footings, border.strip)


def cure_for(width: float, soil: Material, filters: Sequence[Material]) -> str:
    """Say what to put into a gap [m] so that a soil stays behind it."""
    for material in filters:
        if material.d15 is None or material.d85 is None or soil.d85 is None:
            continue
        holds_soil = material.d15 <= FILTER_RATIO * soil.d85
        stays = material.d85 >= STAYS_RATIO * width
        if holds_soil and stays:
            return f"wedge {material.name} into it"
    return "set a hidden strip behind it, or pack chips first, then wedge gravel"


def _pairs(row: Sequence[Body], length: float) -> list[tuple[str, Floats, str, Floats]]:
    """Neighbours along the row as names and corners; the panes stand at both ends."""
    heights = np.linspace(0, 0.5, 126)
    panes = [np.column_stack([np.full(126, x), np.full(126, np.nan), heights]) for x in (0, length)]
    names = ["left pane", *(body.entry.name for body in row), "right pane"]
    corners = [panes[0], *(body.piece.vertices for body in row), panes[1]]
    return [(names[i], corners[i], names[i + 1], corners[i + 1]) for i in range(len(names) - 1)]


def _gap(
    border: Border, pair: tuple[str, Floats, str, Floats], soil: LayerResult, bed: BedResult
) -> Gap:
    """Measure one gap, and what comes through it."""
    left, a, right, b = pair
    x = (float(a[:, 0].max()) + float(b[:, 0].min())) / 2
    x = min(max(x, 0.0), bed.grid.length)
    y = float(np.interp(x, *np.array(border.line).T))
    upper, lower = _levels_beside(soil, bed, x, y)
    retained = max(0.0, upper - lower)
    openings = _openings(a, b, lower, upper)
    width = min(max(openings, default=0.0), LONGEST_GAP)
    fill = float(np.clip(openings, 0, LONGEST_GAP).sum()) * SLICE * _thickness(a, b)
    material = soil.layer.material
    state = _state(width, material)
    if border.strip or retained < 1e-3:
        state = "holds"
    volume, reach = (0.0, 0.0) if state == "holds" else fan(width, retained, soil.layer.slope)
    cure = "" if state == "holds" else cure_for(width, material, _filters())
    return Gap(left, right, (x, y), width, retained, state, volume, reach, cure, fill)


def _filters() -> list[Material]:
    """Grains that go into gaps, finest first."""
    from plumbstone.volumes.scape.materials import find_material

    return [find_material(name) for name in ("gravel", "wedge gravel")]


def _state(width: float, soil: Material) -> str:
    """Tell whether grains pass a gap of a width [m]."""
    assert soil.d15 is not None
    assert soil.d50 is not None
    if width <= HOLDS * soil.d15:
        return "holds"
    return "runs" if width > RUNS * soil.d50 else "may arch"


def _levels_beside(soil: LayerResult, bed: BedResult, x: float, y: float) -> tuple[float, float]:
    """Height of the drawn soil behind the line and of the sand before it, at a place [m]."""
    grid = bed.grid
    column = int(grid.cell_at(x, y)[1])
    bare = bed.columns.highest()[:, column] > bed.surface[:, column] - 1e-9
    rows = np.flatnonzero(~bare)
    behind, before = rows[grid.y[rows] > y], rows[grid.y[rows] < y]
    upper = soil.drawn[behind[0], column] if len(behind) else 0.0
    lower = bed.surface[before[-1], column] if len(before) else 0.0
    near_sand = before[grid.y[before] < y - 0.03]
    if len(near_sand):
        lower = min(lower, bed.surface[near_sand[-1], column])
    return float(upper), float(lower)


def _openings(a: Floats, b: Floats, low: float, high: float) -> list[float]:
    """Narrowest openings between two bodies in slices between two levels [m]."""
    from scipy.spatial import cKDTree

    found = []
    for z in np.arange(low + SLICE / 2, max(high, low + SLICE), SLICE):
        one, other = (p[np.abs(p[:, 2] - z) <= SLICE] for p in (a, b))
        if len(one) == 0 or len(other) == 0:
            # One of them does not reach this height: the whole spacing of their outlines.
            found.append(float(b[:, 0].min() - a[:, 0].max()))
        elif np.isnan(one).any() or np.isnan(other).any():
            found.append(float(np.min(other[:, 0]) - np.max(one[:, 0])))
        else:
            found.append(float(cKDTree(one[:, :2]).query(other[:, :2])[0].min()))
    return found


def _thickness(a: Floats, b: Floats) -> float:
    """How deep a gap runs from front to back: half of the thinner of its stones [m]."""
    depths = [float(np.ptp(p[:, 1])) for p in (a, b) if not np.isnan(p[:, 1]).any()]
    return min(depths, default=0.0) / 2


def wall_factors(
    push: float, height: float, weight: float, toe: float, friction: float
) -> tuple[float, float]:
    """Reserve of a stone against sliding and against tipping about its toe.

    Parameters
    ----------
    push : float
        Level part of the earth pressure [N], acting at a third of the height.
    height : float
        Of the soil at its back [m].
    weight : float
        Of the stone under water [N].
    toe : float
        From its middle to the front edge it stands on [m].
    friction : float
        Between it and what it stands on.
    """
    if push <= 0:
        return math.inf, math.inf
    return friction * weight / push, weight * toe / (push * height / 3)


def _footing(
    body: Body, gaps: float, border: Border, soil: LayerResult, bed: BedResult, water: float
) -> Footing:
    """Sliding and tipping of one stone against the submerged soil behind it."""
    vertices = body.piece.vertices
    # The soil behind half of both gaps leans on it too.
    x, width = float(vertices[:, 0].mean()), float(np.ptp(vertices[:, 0])) + gaps
    y = float(np.interp(x, *np.array(border.line).T))
    upper, lower = _levels_beside(soil, bed, x, y)
    height = min(max(0.0, upper - lower), float(vertices[:, 2].max()))
    material = soil.layer.material
    assert material.repose is not None
    assert material.grain_density is not None
    phi = material.repose.mid
    beta = min(max(soil.slope_degrees, 0.0), phi)
    weight = submerged_unit_weight(soil.settled, soil.mass.mid, material.grain_density.mid, water)
    thrust = rankine_active(phi, beta) * weight * height**2 / 2 * width
    push = thrust * math.cos(math.radians(beta))
    own = max(0.0, body.mass_in_water(water).mid) * GRAVITY
    feet = vertices[vertices[:, 2] < vertices[:, 2].min() + 0.01]
    # A stone drawn on a rounded foot has no toe before its centre: it needs bedding in.
    toe = max(0.0, float(vertices[:, 1].mean() - feet[:, 1].min()))
    return Footing(body.entry.name, thrust, *wall_factors(push, height, own, toe, FRICTION))
