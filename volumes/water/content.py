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
from plumbstone.volumes.scape.scape import Lump
from plumbstone.volumes.scape.tank import Tank
from plumbstone.volumes.water.dosing import Dosing, TankParts, level_after_change, salt_for
from plumbstone.volumes.water.loads import Load, glass_mass, pressure_on

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


def tank_parts(
    tank: Tank,
    bodies: Sequence[Body],
    lumps: Sequence[Lump],
    bed: BedResult | None,
    space: OpenSpace,
) -> TankParts:
    """Split the box below the water line into its parts, each computed on its own way.

    Stones and wood by their meshes, the bed by column integrals and the mass of its
    grains, free water by column integrals over the bed.
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
    above = sum(lump.volume.mid * (1 - lump.below_soil) for lump in lumps)
    empty = max((r.void for r, _ in wet), default=0.0)  # no grains run there, but water does
    filled = sum(lump.volume.mid - _lump_volume(lump).mid for lump in lumps)
    return TankParts(
        box=tank.length * tank.depth * line,
        stone=stone,
        wood=wood,
        grains=grains,
        between_grains=grains.negative().plus(sum(r.settled * share for r, share in wet)),
        free_water=Range.exact(float(space.over_bed.at(line)) - above + filled + empty),
    )


def water_below(
    parts: TankParts, bed: BedResult | None, space: OpenSpace, levels: Floats
) -> Floats:
    """Water in the tank below each level [m³]: free, and between the grains, (k,)."""
    free = space.over_bed.at(levels)
    water = free * (parts.free_water.mid / max(float(free[-1]), 1e-12))
    if bed is None:
        return water
    soaked = space.in_bed.at(levels)
    return water + soaked * (parts.between_grains.mid / max(float(soaked[-1]), 1e-12))


def dosing_of(
    tank: Tank, bed: BedResult | None, parts: TankParts, space: OpenSpace, salt: float | None
) -> Dosing:
    """Water by its uses, and the marks for changes; `salt` is mix in water [g/L]."""
    line = tank.water_line
    assert line is not None
    outside = tank.filter_water + (tank.sump.water if tank.sump else 0.0)
    spread = Range.total([parts.stone.negative(), parts.wood.negative(), parts.grains.negative()])
    inside = parts.free_water.mid + parts.between_grains.mid
    water = spread.plus(inside - spread.mid + outside)
    levels = np.linspace(0, line, STEPS + 1)
    below = water_below(parts, bed, space, levels)
    marks = []
    for share in CHANGES:
        # The filter keeps its water, so the tank must give all of the share.
        level = level_after_change(levels, below, share * water.mid / below[-1])
        if level is not None:
            marks.append((share, level))
    return Dosing(
        dosing=water,
        fill=Range.total([water, _soaked_grains(bed)]),
        per_centimetre=float(below[-1] - np.interp(line - 0.01, levels, below)),
        marks=tuple(marks),
        salt_mix=None if salt is None else salt_for(water, salt),
    )


def load_of(
    tank: Tank,
    bodies: Sequence[Body],
    lumps: Sequence[Lump],
    bed: BedResult | None,
    parts: TankParts,
    water: float,
) -> Load:
    """Masses on the stand; `water` is a density [kg/m³]."""
    stones = Range.total([b.mass for b in bodies] + [lump.mass for lump in lumps])
    substrate = Range.total(r.mass for r in bed.layers) if bed else _zero()
    pores = Range.total([parts.between_grains, _soaked_grains(bed)]).times(water)
    wet_bed = Range.total([substrate, pores])
    full = Range.total([stones, wet_bed]).plus(parts.free_water.mid * water)
    glass = None
    if tank.glass is not None and tank.height is not None:
        glass = glass_mass(tank.length, tank.depth, tank.height, tank.glass)
    cabinet = (tank.filter_water + (tank.sump.water if tank.sump else 0.0)) * water
    rim = 2 * (tank.glass or 0.0)
    footprint = tank.stand or (tank.length + rim, tank.depth + rim)
    masses = [(b.entry.name, b.mass) for b in bodies]
    return Load(
        glass=glass,
        full=full,
        drained=Range.total([stones, wet_bed]),
        stripped=wet_bed,
        footprint=footprint,
        cabinet=cabinet,
        pressure=pressure_on(full.plus((glass or 0.0) + cabinet), footprint),
        heaviest=max(masses, key=lambda named: named[1].mid, default=None),
    )


def _zero() -> Range:
    return Range.exact(0.0)


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
        return _zero()
    return Range.total(
        _grain_volume(result).times(result.layer.material.grain_pores) for result in bed.layers
    )
