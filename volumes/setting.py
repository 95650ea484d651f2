"""From the entries of a scape file to bodies with a form, a weight and a place."""

from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.piece import Piece
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.displacement import mesh_volume
from plumbstone.volumes.scape import PieceEntry, Shape

SHAPE_FACTORS = Range(0.40, 0.50, 0.60)  # of the box around a stone; common practice, no source
MASS_ONLY_PROPORTIONS = np.array([1.3, 1.0, 0.8])  # common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A piece with its form and weight; `piece` stands in the tank once it is set."""

    entry: PieceEntry
    piece: Piece
    volume: Range  # outer envelope [m³]
    mass: Range  # dry [kg]
    how_known: str  # where volume and mass come from, a plain phrase
    warnings: tuple[str, ...] = ()


def body_of(entry: PieceEntry) -> Body:
    """Make the mesh of an entry, its volume and its dry mass with their ranges.

    A measured mass beats the table; where the form is only guessed from a size, the
    mass also gives the volume. A scan keeps its volume and is checked by the mass.
    """
    shape, density = entry.shape, entry.material.density
    if shape.scan is None and not shape.solid and not shape.limbs and entry.mass is not None:
        return _from_mass(entry, entry.mass)
    piece, volume, how = _form(entry)
    piece = replace(piece, name=entry.name, material=entry.material.key)
    if entry.mass is None:
        mass = Range(volume.low * density.low, volume.mid * density.mid, volume.high * density.high)
        return Body(entry, piece, volume, mass, f"{how}, density from the table")
    return Body(
        entry,
        piece,
        volume,
        Range.exact(entry.mass),
        f"{how}, weighed",
        _contradiction(entry, volume, entry.mass),
    )


def _form(entry: PieceEntry) -> tuple[Piece, Range, str]:
    """Make the mesh and the range of its volume [m³]."""
    from plumbstone.meshes import primitives

    shape = entry.shape
    if shape.scan is not None:
        return _scanned(shape)
    if shape.limbs:
        piece = _branch(shape)
        return piece, _around(mesh_volume(piece.vertices, piece.faces), 0.15), "limbs by tape"
    assert shape.size is not None
    if shape.solid:
        make = getattr(primitives, shape.solid)
        piece = make(shape.size, shape.seed) if shape.solid == "boulder" else make(shape.size)
        return piece, _around(mesh_volume(piece.vertices, piece.faces), 0.05), f"a {shape.solid}"
    factors = SHAPE_FACTORS if shape.shape_factor is None else Range.exact(shape.shape_factor)
    around = float(np.prod(shape.size))
    return (
        primitives.stone_of_size(shape.size, factors.mid),
        factors.times(around),
        "tape: length × width × height × shape factor",
    )


def _scanned(shape: Shape) -> tuple[Piece, Range, str]:
    """Read, mend and measure a scan."""
    from plumbstone.volumes.weighing import weigh_scan

    assert shape.scan is not None
    weighed = weigh_scan(shape.scan, unit=shape.unit)
    return weighed.piece, weighed.volume, "scan"


def _branch(shape: Shape) -> Piece:
    """Make one closed mesh of limbs; those without a path lie side by side as rods."""
    from plumbstone.meshes import primitives

    drawn = [limb for limb in shape.limbs if limb.path]
    if drawn:
        return primitives.fork(
            [np.array(limb.path) for limb in drawn],
            [np.array(limb.girths) / np.pi for limb in drawn],
        )
    return primitives.limbs(
        [limb.length for limb in shape.limbs], [limb.girths for limb in shape.limbs]
    )


def _from_mass(entry: PieceEntry, mass: float) -> Body:
    """Take the volume from a measured mass; the form from the size, or a rounded stone."""
    from plumbstone.meshes import primitives

    density = entry.material.density
    volume = Range(mass / density.high, mass / density.mid, mass / density.low)
    size, warnings = entry.shape.size, ()
    if size is None:
        factor = SHAPE_FACTORS.mid
        scale = (volume.mid / factor / float(np.prod(MASS_ONLY_PROPORTIONS))) ** (1 / 3)
        size = tuple(float(s) for s in scale * MASS_ONLY_PROPORTIONS)
    else:
        factor = volume.mid / float(np.prod(size))
    if not 0.2 <= factor <= 0.95:
        problem = (
            f"{mass:g} kg of {entry.material.name} would fill {factor:.0%} of the box around it; "
            "check size, mass and material."
        )
        raise PieceError(entry.name, problem)
    piece = primitives.stone_of_size(size, factor)
    piece = replace(piece, name=entry.name, material=entry.material.key)
    return Body(
        entry, piece, volume, Range.exact(mass), "weighed, density from the table", warnings
    )


def _contradiction(entry: PieceEntry, volume: Range, mass: float) -> tuple[str, ...]:
    """Warn where mass and volume together fall outside the material's densities."""
    density = entry.material.density
    least, most = mass / volume.high, mass / volume.low
    if most >= density.low and least <= density.high:
        return ()
    return (
        f"{entry.name}: {mass:g} kg and {volume.mid * 1e3:.2f} L give "
        f"{mass / volume.mid:.0f} kg/m³, but {entry.material.name} has "
        f"{density.low:.0f}-{density.high:.0f}; check scale of the form, mass and material.",
    )


def _around(value: float, share: float) -> Range:
    """Spread a value by a share to both sides."""
    return Range(value * (1 - share), value, value * (1 + share))
