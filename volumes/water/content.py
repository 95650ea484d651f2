"""What is in the tank up to the water line: stone, wood, grains, water, and what all weighs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.columns import Columns, Grid
from plumbstone.meshes.measures.displacement import displaced_volume
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.results import BedResult, LayerResult
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.figures import HeaviestFigures, LoadFigures, MarkFigures, WaterFigures
from plumbstone.volumes.scape.scape import Lump
from plumbstone.volumes.scape.tank import Tank
from plumbstone.volumes.water.dosing import level_after_change, salt_for
from plumbstone.volumes.water.loads import glass_mass, pressure_on

CHANGES = (0.30, 0.50)
STEPS = 120  # of the level, for the marks of changes
DENSEST_HEAP = 0.75  # share of grains that no heap of loose ones reaches


@dataclass(frozen=True, slots=True, eq=False)
class LevelCurve:
    """A volume that grows with the level, exact at every level.

    A sum of ramps: ∑ sign (level - height)⁺ × area of a cell, in groups of one sign each.
    """

    ramps: tuple[tuple[Floats, Floats], ...]  # rising heights (n,) [m], their sums from 0 (n + 1,)
    signs: tuple[float, ...]
    area: float  # of a cell [m²]

    def at(self, levels: Floats | float) -> Floats:
        """Volume below each level [m³]."""
        levels = np.asarray(levels, dtype=float)
        volume = np.zeros(levels.shape)
        for (heights, sums), sign in zip(self.ramps, self.signs, strict=True):
            below = np.searchsorted(heights, levels)
            volume += sign * (below * levels - sums[below])
        return volume * self.area


def ramp_of(heights: Floats) -> tuple[Floats, Floats]:
    """Sort heights at which ramps begin, any shape [m], and sum them from 0."""
    rising = np.sort(heights, axis=None)
    return rising, np.concatenate([[0.0], np.cumsum(rising)])


@dataclass(frozen=True, slots=True, eq=False)
class OpenSpace:
    """Space beside the pieces, over the bed and in it, below every level."""

    over_bed: LevelCurve
    in_bed: LevelCurve


def open_space(columns: Columns, surface: Floats, grid: Grid) -> OpenSpace:
    """Measure the space beside the pieces from the floor up.

    The columns are those of all pieces; `surface` is that of the bed, (rows, columns), 0 where
    there is none [m].
    """
    solid = np.isfinite(columns.bottoms)
    ground = np.broadcast_to(surface, columns.bottoms.shape)
    bottoms, tops, ground = columns.bottoms[solid], columns.tops[solid], ground[solid]
    floor, line = ramp_of(np.zeros(surface.size)), ramp_of(surface)
    ends = [  # the two ends of a solid cancel where both lie on the other side of the surface
        ramp_of(beyond(part[some], ground[some]))
        for beyond, some in ((np.maximum, tops > ground), (np.minimum, bottoms < ground))
        for part in (bottoms, tops)
    ]
    over = LevelCurve((line, ends[0], ends[1]), (1, -1, 1), grid.cell_area)
    within = LevelCurve((floor, line, ends[2], ends[3]), (1, -1, -1, 1), grid.cell_area)
    return OpenSpace(over, within)


def water_of(
    tank: Tank,
    bodies: Sequence[Body],
    lumps: Sequence[Lump],
    bed: BedResult | None,
    space: OpenSpace,
    salt: float | None,
) -> WaterFigures:
    """Split the box below the water line into its parts [m³], each computed on its own way.

    Stones and wood by their meshes, the bed by column integrals and the mass of its
    grains, free water by column integrals over the bed; `salt` is mix in water [g/L].
    """
    line = tank.water_line
    assert line is not None
    stone, wood = (
        Range.total(
            [_wet_volume(b, line) for b in bodies if b.entry.kind == kind]
            + [_lump_volume(lump) for lump in lumps if lump.kind == kind]
        )
        for kind in ("stone", "wood")
    )
    wet = [(result, _share_below(result, line)) for result in bed.layers] if bed else []
    grains = Range.total(_grain_volume(result).times(share) for result, share in wet)
    between = grains.negative().plus(sum(r.settled * share for r, share in wet))
    above = sum(lump.volume.mid * (1 - lump.below_soil * bool(bed)) for lump in lumps)
    empty = max((r.void for r, _ in wet), default=0.0)  # no grains run there, but water does
    filled = sum(lump.volume.mid - _lump_volume(lump).mid for lump in lumps)
    free = Range.exact(float(space.over_bed.at(line)) - above + filled + empty)
    spread = Range.total([stone.negative(), wood.negative(), grains.negative()])
    mixing = spread.plus(free.mid + between.mid - spread.mid + _beside_tank(tank))
    levels = np.linspace(0, line, STEPS + 1)
    below = _water_below(free.mid, between.mid, space, levels)
    # The filter keeps its water, so the tank must give all of the share.
    drained = (level_after_change(levels, below, s * mixing.mid / below[-1]) for s in CHANGES)
    pairs = zip(CHANGES, drained, strict=True)
    box = tank.length * tank.depth * line
    return WaterFigures(
        box_m3=box,
        stone_m3=stone,
        wood_m3=wood,
        grains_m3=grains,
        between_grains_m3=between,
        free_m3=free,
        parts_over_box=sum(part.mid for part in (stone, wood, grains, between, free)) / box,
        dosing_m3=mixing,
        fill_m3=Range.total([mixing, _soaked_grains(bed)]),
        per_cm_m3=float(below[-1] - np.interp(line - 0.01, levels, below)),
        marks=tuple(MarkFigures(100 * s, level) for s, level in pairs if level is not None),
        salt_mix_kg=None if salt is None else salt_for(mixing, salt),
    )


def _water_below(free: float, between: float, space: OpenSpace, levels: Floats) -> Floats:
    """Water in the tank below each level [m³], of what is free and between grains in all, (k,)."""
    over, within = space.over_bed.at(levels), space.in_bed.at(levels)
    water: Floats = over * (free / max(float(over[-1]), 1e-12))
    return water + within * (between / max(float(within[-1]), 1e-12))


def _beside_tank(tank: Tank) -> float:
    """Water in filter and sump [m³]."""
    return tank.filter_water + (tank.sump.water if tank.sump else 0.0)


def load_of(
    tank: Tank,
    bodies: Sequence[Body],
    lumps: Sequence[Lump],
    bed: BedResult | None,
    parts: WaterFigures,
    water: float,
) -> LoadFigures:
    """Masses on the stand; `water` is a density [kg/m³]."""
    stones = Range.total([b.mass for b in bodies] + [lump.mass for lump in lumps])
    substrate = Range.total(r.mass for r in bed.layers) if bed else Range.exact(0.0)
    pores = Range.total([parts.between_grains_m3, _soaked_grains(bed)]).times(water)
    wet_bed = Range.total([substrate, pores])
    full = Range.total([stones, wet_bed]).plus(parts.free_m3.mid * water)
    glass = None
    if tank.glass is not None and tank.height is not None:
        glass = glass_mass(tank.length, tank.depth, tank.height, tank.glass)
    cabinet = _beside_tank(tank) * water
    rim = 2 * (tank.glass or 0.0)
    footprint = tank.stand or (tank.length + rim, tank.depth + rim)
    masses = [HeaviestFigures(b.entry.name, b.mass) for b in bodies]
    # The heaviest of several weighs at least their mean.
    masses += [
        HeaviestFigures(lump.name, lump.mass.times(1 / lump.count))
        for lump in lumps
        if lump.count > 1
    ]
    return LoadFigures(
        glass_kg=glass,
        full_without_glass_kg=full,
        full_kg=None if glass is None else full.plus(glass),
        drained_without_glass_kg=Range.total([stones, wet_bed]),
        stripped_without_glass_kg=wet_bed,
        cabinet_water_kg=cabinet,
        footprint_m=footprint,
        pressure_pa=pressure_on(full.plus((glass or 0.0) + cabinet), footprint),
        heaviest=max(masses, key=lambda piece: piece.mass_kg.mid, default=None),
    )


def _wet_volume(body: Body, line: float) -> Range:
    """Envelope of a body below the water line [m³], by its mesh."""
    covered = float(body.piece.high[2]) <= line
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


def _share_below(result: LayerResult, line: float) -> float:
    """Share of a layer that lies below the water line."""
    whole, wet = (
        float((np.minimum(result.surface, top) - np.minimum(result.below, top)).sum())
        for top in (np.inf, line)
    )
    return wet / whole if whole > 0 else 1.0


def _grain_volume(result: LayerResult) -> Range:
    """Volume of the grains' envelopes in a layer [m³], from the mass that was poured."""
    grain = result.layer.material.grain_envelope_density
    most = DENSEST_HEAP * result.settled
    return Range(*(min(mass / grain.mid, most) for mass in result.mass))


def _soaked_grains(bed: BedResult | None) -> Range:
    """Water that the pores of the grains take up [m³]."""
    if bed is None:
        return Range.exact(0.0)
    return Range.total(
        _grain_volume(result).times(result.layer.material.grain_pores) for result in bed.layers
    )
