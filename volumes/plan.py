"""The whole plan of a scape: bodies set, bed solved, bags, water, load and what stays down."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.columns import Grid, columns_of, merged_columns
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.bags import BagChoice, cheapest_bags
from plumbstone.volumes.bed.border import BorderResult, judge_border
from plumbstone.volumes.bed.interfaces import (
    Heave,
    Swallowed,
    heaving_layers,
    swallowed_layers,
    zone_faults,
)
from plumbstone.volumes.bed.pouring import (
    BedError,
    BedResult,
    LayerResult,
    SpotDepth,
    bed_heights,
    chosen_spacing,
    depths_at,
    solve_bed,
)
from plumbstone.volumes.bed.slump import Rest, come_to_rest
from plumbstone.volumes.bodies.placement import Body, body_of, set_on_bed, set_on_floor
from plumbstone.volumes.holding.hold_down import HoldResult, Surroundings, judge_groups
from plumbstone.volumes.holding.stability import Standing, judge_stones
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.scape import Lump, Scape
from plumbstone.volumes.water.density import water_density
from plumbstone.volumes.water.displacement import displaced_volume
from plumbstone.volumes.water.dosing import (
    Dosing,
    DrainBack,
    TankParts,
    drain_back,
    level_after_change,
    salt_for,
)
from plumbstone.volumes.water.loads import Load, glass_mass, pressure_on

CHANGES = (0.30, 0.50)
SINKER_STONE = "granite"


@dataclass(frozen=True, slots=True, eq=False)
class Purchase:
    """One layer and the bags to buy for it."""

    result: LayerResult
    bags: BagChoice | None  # None where the file names no bags


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Everything about a scape; SI units. Parts that need a water line are None without one."""

    scape: Scape
    water_density: float  # [kg/m³]
    bodies: tuple[Body, ...]
    bed: BedResult | None
    purchases: tuple[Purchase, ...]
    parts: TankParts | None
    dosing: Dosing | None
    load: Load | None
    drain_back: DrainBack | None
    border: BorderResult | None
    holds: tuple[HoldResult, ...]
    standing: tuple[Standing, ...]
    rests: tuple[Rest, ...]
    swallowed: tuple[Swallowed, ...]
    heaves: tuple[Heave, ...]
    spots: tuple[SpotDepth, ...]
    warnings: tuple[str, ...]
    guesses: tuple[str, ...]

    def set_after(self, body: Body) -> int | None:
        """Place in pouring order of the layer that a piece is set on; None: on the glass first.

        The topmost layer that is drawn where the middle of the piece is, for what rests on the
        bed or on something that does.
        """
        by_name = {other.entry.name: other for other in self.bodies}
        below = body
        while below.entry.rests in by_name:
            below = by_name[below.entry.rests]
        if below.entry.rests != "bed" or self.bed is None:
            return None
        cell = self.bed.grid.cell_at(*below.entry.at)
        levels = [0.0, *(float(result.drawn[cell]) for result in self.bed.layers)]
        lying = [k for k, (a, b) in enumerate(itertools.pairwise(levels)) if b > a + 1e-3]
        return lying[-1] if lying else None


def lay_bed(
    scape: Scape, spacing: float | None = None
) -> tuple[tuple[Body, ...], BedResult | None, tuple[Purchase, ...]]:
    """Set the pieces, pour the layers and choose bags.

    Main pieces stand first; the bed is poured; pieces that rest on it are pressed in;
    then it is solved again around all of them.
    """
    bodies = set_on_floor(scape)
    if not any(layer.profile for layer in scape.layers):
        return _settled_without_bed(scape, bodies), None, ()
    floor = (scape.tank.length, scape.tank.depth)
    if spacing is None:
        stones = [b for b in bodies if b.entry.kind == "stone"]
        narrowest = min((float(b.piece.size[:2].min()) for b in stones), default=math.inf)
        spacing = chosen_spacing(*floor, narrowest)
    buried = sum(lump.volume.mid * lump.below_soil for lump in scape.lumps)
    if any(body.entry.rests == "bed" for body in bodies):
        standing = [(b.piece, b.mesh_volume) for b in bodies if b.entry.rests != "bed"]
        first = solve_bed(floor, scape.layers, scape.border, standing, spacing, buried)
        heights = np.nan_to_num(bed_heights(first), nan=0.0)
        tops = np.maximum(heights, first.columns.highest())
        bodies = set_on_bed(bodies, tops, first.grid)
    standing = [(body.piece, body.mesh_volume) for body in bodies]
    bed = solve_bed(floor, scape.layers, scape.border, standing, spacing, buried)
    if not any(body.entry.rests == "bed" for body in bodies):
        bodies = set_on_bed(bodies, bed.surface, bed.grid)
    _check_rim(scape, bed)
    purchases = tuple(Purchase(result, _bags_for(result)) for result in bed.layers)
    return bodies, bed, purchases


def make_plan(scape: Scape, spacing: float | None = None, salt: float | None = None) -> Plan:
    """Compute everything about a scape.

    Parameters
    ----------
    scape : Scape
        As read from its file.
    spacing : float, optional
        Width of a grid cell [m]; chosen if not given.
    salt : float, optional
        Grams of salt mix per litre, to give the mass of mix.

    Raises
    ------
    PlumbstoneError
        If pieces, layers or materials contradict each other; the message says where.
    """
    bodies, bed, purchases = lay_bed(scape, spacing)
    water = water_density(scape.tank.celsius, scape.tank.salinity)
    parts = dosing = load = None
    if scape.tank.water_line is not None:
        parts = tank_parts(scape, bodies, bed)
        dosing = _dosing(scape, bodies, bed, parts, salt)
        load = _load(scape, bodies, bed, parts, water)
    holds = _holds(scape, bodies, bed, water)
    floor = (scape.tank.length, scape.tank.depth)
    line = scape.tank.water_line or 0.0
    grid = bed.grid if bed else _plain_grid(scape)
    standing = judge_stones(bodies, water, line, floor, grid)
    sump = scape.tank.sump
    back = None
    if sump is not None and sump.area is not None and sump.drop is not None:
        back = drain_back(sump.area, sump.drop, sump.spare)
    spots = depths_at(scape.spots, bed) if bed else ()
    border = None
    if scape.border is not None and bed is not None:
        border = judge_border(scape.border, bodies, bed, water)
    return Plan(
        scape, water, bodies, bed, purchases, parts, dosing, load, back, border, holds, standing,
        _rests(scape, bed),
        swallowed_layers(bed.layers, bed.grid.cell_area) if bed else (),
        heaving_layers(bed.layers, water) if bed else (),
        spots, _warnings(scape, bodies, bed, spots), scape.tank.guesses,
    )  # fmt: skip


def tank_parts(scape: Scape, bodies: Sequence[Body], bed: BedResult | None) -> TankParts:
    """Split the box below the water line into its parts, each computed on its own way.

    Stones and wood by their meshes, the bed by column integrals and the mass of its
    grains, free water by column integrals over the bed.
    """
    tank = scape.tank
    line = tank.water_line
    assert line is not None
    stone = Range.total(
        [_wet_volume(b, line) for b in bodies if b.entry.kind == "stone"]
        + [_lump_volume(lump) for lump in scape.lumps if lump.kind == "stone"]
    )
    wood = Range.total(
        [_wet_volume(b, line) for b in bodies if b.entry.kind == "wood"]
        + [_lump_volume(lump) for lump in scape.lumps if lump.kind == "wood"]
    )
    grains = Range.total(_grain_volume(result) for result in bed.layers) if bed else _zero()
    settled = bed.settled if bed else 0.0
    free = (
        _free_water(bed, line) if bed else float(_free_beside(scape, bodies, np.array([line]))[0])
    )
    above = sum(lump.volume.mid * (1 - lump.below_soil) for lump in scape.lumps)
    filled = sum(lump.volume.mid - _lump_volume(lump).mid for lump in scape.lumps)
    return TankParts(
        box=tank.length * tank.depth * line,
        stone=stone,
        wood=wood,
        grains=grains,
        between_grains=grains.negative().plus(settled),
        free_water=Range.exact(free - above + filled),
    )


def _rests(scape: Scape, bed: BedResult | None) -> tuple[Rest, ...]:
    """Find where layers come to rest that are drawn too steep."""
    found = (come_to_rest(r, bed, scape.border) for r in bed.layers) if bed else ()
    return tuple(rest for rest in found if rest is not None)


def _holds(
    scape: Scape, bodies: Sequence[Body], bed: BedResult | None, water: float
) -> tuple[HoldResult, ...]:
    """Judge every group of wood; none without a water line."""
    line = scape.tank.water_line
    if line is None or not scape.groups:
        return ()
    around = Surroundings(
        water=water,
        water_line=line,
        grid=bed.grid if bed else _plain_grid(scape),
        bed=bed,
        stone=find_material(SINKER_STONE),
        at_hand=tuple(body_of(entry) for entry in scape.at_hand),
    )
    return judge_groups(scape.groups, bodies, around)


def _plain_grid(scape: Scape) -> Grid:
    """Give the grid of a tank without a bed."""
    length, depth = scape.tank.length, scape.tank.depth
    return Grid.of_spacing(length, depth, chosen_spacing(length, depth))


def water_below(bed: BedResult, parts: TankParts, levels: Floats) -> Floats:
    """Water in the tank below each level [m³]: free, and between the grains, (k,)."""
    area = bed.grid.cell_area
    lower = bed.columns.free_below(bed.surface)
    pores = parts.between_grains.mid / max(bed.settled, 1e-12)
    free, soaked = [], []
    for level in levels:
        open_ = bed.columns.free_below(np.maximum(level, bed.surface)) - lower
        free.append(float(open_.sum()) * area)
        dipped = bed.columns.free_below(np.minimum(level, bed.surface))
        soaked.append(float(np.clip(dipped, 0, None).sum()) * area)
    share = parts.free_water.mid / max(free[-1], 1e-12)
    bed_share = bed.settled / max(soaked[-1], 1e-12)
    return np.array(free) * share + np.array(soaked) * bed_share * pores


def _settled_without_bed(scape: Scape, bodies: tuple[Body, ...]) -> tuple[Body, ...]:
    """Check overlaps where there is no bed; what rests on the bed rests on the glass."""
    grid = _plain_grid(scape)
    return set_on_bed(bodies, np.zeros((grid.ny, grid.nx)), grid)


def _bags_for(result: LayerResult) -> BagChoice | None:
    """Choose bags for a layer and what it keeps as spare."""
    layer = result.layer
    if not layer.bags:
        return None
    bulk = layer.material.bulk_density
    assert bulk is not None
    return cheapest_bags(result.poured * (1 + layer.spare), layer.bags, bulk.mid)


def _check_rim(scape: Scape, bed: BedResult) -> None:
    """Refuse a layer that is drawn above the rim."""
    height = scape.tank.height
    for result in bed.layers:
        top = float(result.drawn.max())
        if height is not None and top > height + 1e-6:
            message = (
                f'{scape.path}: layer "{result.layer.name}": reaches {top * 1e2:.1f} cm, above '
                f"the rim at {height * 1e2:.1f} cm; lower it."
            )
            raise BedError(message)


def _zero() -> Range:
    return Range.exact(0.0)


def _wet_volume(body: Body, line: float) -> Range:
    """Envelope of a body below the water line [m³], by its mesh."""
    covered = float(body.piece.vertices[:, 2].max()) <= line
    wet = body.mesh_volume
    if not covered:
        wet = displaced_volume(body.piece.vertices, body.piece.faces, line)
    share = wet / body.mesh_volume
    low, high = body.volume.low * share, body.volume.high * share
    # The mesh is what the columns see too; the range keeps its relative width around it.
    scale = wet / (body.volume.mid * share) if share > 0 else 0.0
    return Range(low * scale, wet, high * scale)


def _lump_volume(lump: Lump) -> Range:
    """Give what a lump displaces [m³]: its grains alone where water fills its pores."""
    grain = lump.material.grain_density
    if lump.pores_filled and grain is not None:
        return Range(
            lump.mass.low / grain.high, lump.mass.mid / grain.mid, lump.mass.high / grain.low
        )
    return lump.volume


def _grain_volume(result: LayerResult) -> Range:
    """Volume of the grains' envelopes in a layer [m³], from the mass that was poured."""
    grain = result.layer.material.grain_envelope_density
    mass = result.mass
    volume = Range(mass.low / grain.mid, mass.mid / grain.mid, mass.high / grain.mid)
    most = 0.75 * result.settled  # no heap of loose grains is denser
    return Range(min(volume.low, most), min(volume.mid, most), min(volume.high, most))


def _free_water(bed: BedResult, line: float) -> float:
    """Free space over the bed up to the line [m³], by columns."""
    lower = bed.columns.free_below(np.minimum(bed.surface, line))
    space = bed.columns.free_below(line) - lower
    return float(space.sum()) * bed.grid.cell_area


def _free_beside(scape: Scape, bodies: Sequence[Body], levels: Floats) -> Floats:
    """Free space beside the pieces below each level where there is no bed [m³], by columns."""
    grid = _plain_grid(scape)
    windows = [columns_of(b.piece.vertices, b.piece.faces, grid, b.mesh_volume) for b in bodies]
    columns = merged_columns(windows, grid)
    return np.array([float(columns.free_below(h).sum()) for h in levels]) * grid.cell_area


def _soaked_grains(bed: BedResult | None) -> Range:
    """Water that the pores of the grains take up [m³]."""
    if bed is None:
        return _zero()
    return Range.total(
        _grain_volume(result).times(result.layer.material.grain_pores) for result in bed.layers
    )


def _dosing(
    scape: Scape,
    bodies: Sequence[Body],
    bed: BedResult | None,
    parts: TankParts,
    salt: float | None,
) -> Dosing:
    """Water by its uses, and the marks for changes."""
    tank = scape.tank
    line = tank.water_line
    assert line is not None
    outside = tank.filter_water + (tank.sump.water if tank.sump else 0.0)
    spread = Range.total([parts.stone.negative(), parts.wood.negative(), parts.grains.negative()])
    inside = parts.free_water.mid + parts.between_grains.mid
    water = spread.plus(inside - spread.mid + outside)
    levels = np.linspace(0, line, 121)
    if bed is not None:
        below = water_below(bed, parts, levels)
    else:
        below = _free_beside(scape, bodies, levels)
        below *= inside / max(below[-1], 1e-12)
    per_cm = float(below[-1] - np.interp(line - 0.01, levels, below))
    marks = []
    for share in CHANGES:
        # The filter keeps its water, so the tank must give all of the share.
        level = level_after_change(levels, below, share * water.mid / below[-1])
        if level is not None:
            marks.append((share, level))
    return Dosing(
        dosing=water,
        fill=Range.total([water, _soaked_grains(bed)]),
        per_centimetre=per_cm,
        marks=tuple(marks),
        salt_mix=None if salt is None else salt_for(water, salt),
    )


def _load(
    scape: Scape, bodies: Sequence[Body], bed: BedResult | None, parts: TankParts, water: float
) -> Load:
    """Masses on the stand."""
    tank = scape.tank
    stones = Range.total([b.mass for b in bodies] + [lump.mass for lump in scape.lumps])
    substrate = Range.total(r.mass for r in bed.layers) if bed else _zero()
    soaked = _soaked_grains(bed)
    pores = Range.total([parts.between_grains, soaked]).times(water)
    wet_bed = Range.total([substrate, pores])
    full = Range.total([stones, wet_bed]).plus(parts.free_water.mid * water)
    glass = None
    if tank.glass is not None and tank.height is not None:
        glass = glass_mass(tank.length, tank.depth, tank.height, tank.glass)
    outside = tank.filter_water + (tank.sump.water if tank.sump else 0.0)
    rim = 2 * (tank.glass or 0.0)
    footprint = tank.stand or (tank.length + rim, tank.depth + rim)
    masses = [(b.entry.name, b.mass) for b in bodies]
    return Load(
        glass=glass,
        full=full,
        drained=Range.total([stones, wet_bed]),
        stripped=wet_bed,
        footprint=footprint,
        cabinet=outside * water,
        pressure=pressure_on(full.plus((glass or 0.0) + outside * water), footprint),
        heaviest=max(masses, key=lambda named: named[1].mid, default=None),
    )


def _way_in(body: Body, scape: Scape) -> list[str]:
    """Warn of a piece that does not pass the opening, or reaches the lamp."""
    tank, name = scape.tank, body.entry.name
    opening = sorted((tank.length - 2 * tank.bracing, tank.depth - 2 * tank.bracing))
    smallest = np.sort(body.piece.size)[:2]
    found = []
    if smallest[0] > opening[0] or smallest[1] > opening[1]:
        found.append(
            f"{name}: does not pass the opening inside the bracing; set it in another way."
        )
    if tank.height is not None and tank.lamp_height is not None:
        above = float(body.piece.vertices[:, 2].max()) - tank.height - tank.lamp_height
        if above > 0:
            found.append(f"{name}: reaches {above * 1e2:.1f} cm above the lamp's lower edge.")
    return found


def _shallow(found: SpotDepth) -> str:
    """Say that a plant's place is not deep enough."""
    assert found.spot.root_depth is not None
    return (
        f"{found.spot.name}: {found.depth * 1e2:.1f} cm of substrate, its roots need "
        f"{found.spot.root_depth * 1e2:.1f} cm; raise it by {found.lacking * 1e2:.1f} cm there."
    )


def _warnings(
    scape: Scape, bodies: Sequence[Body], bed: BedResult | None, spots: Sequence[SpotDepth]
) -> tuple[str, ...]:
    """Collect what the user should know."""
    found = [f"{body.entry.name}: {text}" for body in bodies for text in body.warnings]
    height = scape.tank.height
    for body in bodies:
        top = float(body.piece.vertices[:, 2].max())
        if height is not None and top > height:
            found.append(f"{body.entry.name}: stands {(top - height) * 1e2:.1f} cm above the rim.")
        found += _way_in(body, scape)
    if bed is not None:
        found += zone_faults(bed, scape.border)
    found += [_shallow(spot) for spot in spots if spot.lacking > 1e-3]
    for result in bed.layers if bed else ():
        if result.slide.volume > 0.02 * result.settled and result.slide.drop > 0.005:
            litres, lower = result.slide.volume * 1e3, result.slide.drop * 1e2
            found.append(
                f"{result.layer.name}: {litres:.1f} L would slide; {result.slide.where} ends "
                f"about {lower:.1f} cm lower than drawn."
            )
    return tuple(found)
