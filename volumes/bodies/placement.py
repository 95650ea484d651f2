"""From the entries of a scape file to bodies with a form, a weight and a place."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Grid, Window, columns_of
from plumbstone.meshes.measures.displacement import mesh_centre
from plumbstone.meshes.measures.faults import enclosed_volume, is_closed
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.piece import Floats, Piece
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.shapes import placing, primitives
from plumbstone.meshes.telling import as_option, percent
from plumbstone.volumes.bodies import weighing
from plumbstone.volumes.bodies.contacts import lean_of, settling_slopes
from plumbstone.volumes.bodies.weighing import Weighed
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.scape.materials import Material
from plumbstone.volumes.scape.scape import PieceEntry, Shape
from plumbstone.volumes.scape.tank import Tank

THROUGH_GLASS = 1e-4  # [m]: less is rounding
LEAST = 1e-9  # volume [m³] or density [kg/m³] of a piece at the far end of a wide range
THREADS = 2  # that make bodies side by side; more only wait for memory
MASS_ONLY_PROPORTIONS = np.array([1.3, 1.0, 0.8])  # common practice, no source
CONTACT_GRID = 0.002  # [m], for setting pieces down and finding overlaps
DENSEST_WOOD = 1316.0  # saturated, basic specific gravity 0.9 [kg/m³], derived
SETTLING_STEPS = 40
LARGEST_STEP = 8.0  # of one turn while a piece comes to rest [degrees]
SETTLED = 0.5  # it rests where it would turn by no more [degrees]
OVERLAP = 0.05  # of the smaller piece: drawn through each other


class PlacingError(PlumbstoneError, ValueError):
    """A piece that cannot be where the file puts it."""


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A piece with its form, weight and place."""

    entry: PieceEntry
    piece: Piece  # in the tank frame once it is set
    volume: Range  # outer envelope [m³]
    mass: Range  # dry [kg]
    how_known: str  # where volume and mass come from, a plain phrase
    mesh_volume: float  # exact volume of its mesh [m³]
    warnings: tuple[str, ...] = ()

    def state(self, form: float, heaviness: float) -> tuple[float, float]:
        """Give volume [m³] and dry mass [kg] at places in the ranges of form and density.

        The places are those of `Range.at`. A weighed piece has one mass; in that of any other its
        volume counts.
        """
        volume = max(LEAST, self.volume.at(form))
        if self.entry.mass is not None:
            return volume, self.entry.mass
        return volume, volume * max(LEAST, self.density.at(heaviness))

    @property
    def density(self) -> Range:
        """Density of its material, or of wood that was weighed, by its form [kg/m³]."""
        table, mass = self.entry.material.density, self.entry.mass
        assert table is not None
        if mass is None or self.entry.kind == "stone":
            return table
        return self.volume.dividing(mass)

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """Volumes [m³] and dry masses [kg] at all ends of its ranges, each once."""
        places = itertools.product((-1.0, 1.0), repeat=2)
        return tuple(dict.fromkeys(self.state(*place) for place in places))

    def mass_in_water(self, water: float) -> Range:
        """Give what it weighs under water [kg/m³], its pores dry → [kg]; below 0 it lifts."""
        return weighing.mass_in_water(self.volume, self.entry.material, self.entry.mass, water)


def body_of(entry: PieceEntry, stamp: object, memo: Memo) -> Body:
    """Make the mesh of an entry, its volume and its dry mass with their ranges.

    A measured mass beats the table; where the form is only guessed from a size, the
    mass also gives the volume. A scan keeps its volume and is checked by the mass.
    `stamp` and `memo` are as for `solid_of`.
    """
    shape, density = entry.shape, entry.material.dense
    formed = shape.scan or shape.mesh or shape.solid or shape.limbs
    if entry.mass is not None and not formed:
        return _from_mass(entry, entry.mass)
    piece, volume, how = _form(entry, stamp, memo)
    piece = placing.renamed(piece, entry.name, entry.material.key)
    form = enclosed_volume(piece.vertices, piece.faces)
    if entry.kind == "wood" and entry.mass is not None:
        _check_wood(entry.mass, volume)
    if entry.mass is None:
        mass = weighing.mass_of(volume, density)
        how = f"{how}; density from the table"
        return Body(entry, piece, volume, mass, how, form, piece.warnings)
    warnings = (*piece.warnings, *_contradiction(entry, volume, entry.mass))
    if entry.kind == "wood":
        volume = _as_its_kind(volume, entry.mass, density)
    return Body(entry, piece, volume, Range.exact(entry.mass), f"{how}; weighed", form, warnings)


def at_rest(entry: PieceEntry) -> PieceEntry:
    """Give the entry without a place: what its form, volume and mass hang on, and no more."""
    return PieceEntry(entry.name, entry.kind, entry.shape, entry.material, entry.mass)


def solid_of(form: PieceEntry, stamp: object, path: Path, memo: Memo) -> Body:
    """Make the body of an entry at rest.

    Its form is that of `at_rest`, its stamp tells one state of its file from another, the path is
    that of the scape file. The memo remembers scans, so that one that serves several pieces is
    weighed once.

    Raises
    ------
    PlacingError
        If it cannot be made; the message names the file and the piece.
    """
    try:
        return body_of(form, stamp, memo)
    except PlumbstoneError as error:
        raise PlacingError(f'{path}: piece "{form.name}": {error.told(_as_key, str)}') from None


def _as_key(thing: str, value: str) -> str:
    """Name what a scan lacks as a scape file gives it."""
    if thing == "unit":
        return f'the key unit = "{value}"' if value else "the key unit"
    if thing == "source":
        return "the file"
    if thing == "limits":
        return "<limits>"  # who tells it names them
    return f"plumbstone weigh {as_option(thing)}{' --keep' * (thing == 'longest')}"


def posed(solid: Body, entry: PieceEntry) -> Body:
    """Tilt, turn and stand a body at its place on the floor."""
    piece = placing.tilted(solid.piece, entry.tilt, entry.lean) if entry.tilt else solid.piece
    piece = placing.turned(piece, entry.turn) if entry.turn else piece
    return replace(solid, entry=entry, piece=placing.stood_at(piece, *entry.at))


def order_of_setting(pieces: Sequence[PieceEntry]) -> list[PieceEntry]:
    """Sort entries so that each comes after the one it rests on.

    Raises
    ------
    PlacingError
        If pieces rest on each other in a circle, or on one that is not there.
    """
    names = {"floor", "bed"}
    found: list[PieceEntry] = []
    waiting = list(pieces)
    while waiting:
        ready = [entry for entry in waiting if entry.rests in names]
        if not ready:
            missing = {e.rests for e in waiting} - names - {e.name for e in waiting}
            if missing:
                raise PlacingError(f'No piece "{min(missing)}" is there to rest on.')
            circle = ", ".join(entry.name for entry in waiting)
            raise PlacingError(f"These pieces rest on each other in a circle: {circle}.")
        found += ready
        names |= {entry.name for entry in ready}
        waiting = [entry for entry in waiting if entry.name not in names]
    return found


def upon_bed(pieces: Sequence[PieceEntry]) -> frozenset[str]:
    """Name the pieces that rest on the bed, or on one that does."""
    found: set[str] = set()
    for entry in order_of_setting(pieces):
        if entry.rests == "bed" or entry.rests in found:
            found.add(entry.name)
    return frozenset(found)


def set_down(body: Body, surface: Floats, grid: Grid, memo: Memo) -> Body:
    """Lower a body onto a surface as it is turned, or let it come to rest there.

    What rests on the bed is then pressed in as its entry says. A body that settles turns by the
    plane by which it would sink onto what is below, step by step, until it rests on enough places
    around its middle. It stands at its place on the floor, above a surface (rows, columns) [m]. By
    the memo one that comes to rest where it did before is the same body.
    """
    piece, entry = body.piece, body.entry
    window = memo(columns_of, piece.vertices, piece.faces, grid)
    if entry.settle:
        piece, by = _settled(piece, window, surface, grid), 0.0
    else:
        by = placing.resting_height(window, surface)
    if entry.rests == "bed":
        by -= min(entry.pressed, by + float(piece.low[2]))
    if entry.settle:
        return _moved_up(replace(body, piece=piece), by)
    return memo(_moved_up, body, by)


def _moved_up(body: Body, by: float) -> Body:
    """Move a body up by a distance [m]."""
    return replace(body, piece=placing.raised(body.piece, by))


def check_inside(body: Body, tank: Tank, path: Path) -> None:
    """Refuse a piece that stands outside the tank or through the glass."""
    gap, pane = tank.nearest_pane(body.piece.low, body.piece.high)
    if gap < -THROUGH_GLASS:
        raise PlacingError(
            f'{path}: piece "{body.entry.name}".at: reaches <{math.ceil(-gap * 1e3)} mm> through '
            f"the {pane} pane; move it, turn it or take a smaller one."
        )


def near_pairs(bodies: Sequence[Body]) -> list[tuple[Body, Body]]:
    """Give the pairs of stones whose upright boxes overlap."""
    stones = [body for body in bodies if body.entry.kind != "wood"]
    lows, highs = (np.array([getattr(b.piece, end) for b in stones]) for end in ("low", "high"))
    if not stones:
        return []
    meet = (lows[:, None] < highs[None]).all(axis=2)
    return [(stones[i], stones[j]) for i, j in np.argwhere(np.triu(meet & meet.T, 1))]


def check_apart(one: Body, other: Body, a: Window, b: Window, cell_area: float) -> None:
    """Refuse two stones in one place.

    Their columns are on one grid, whose cells have an area [m²].

    Raises
    ------
    PlacingError
        If they share more than a small part of the smaller one.
    """
    shared = placing.shared_volume(a, b, cell_area)
    smaller = min(one.mesh_volume, other.mesh_volume)
    if shared > OVERLAP * smaller:
        raise PlacingError(
            f'"{other.entry.name}" and "{one.entry.name}" stand in the same place: they '
            f"share {shared * 1e6:.0f} mL, {percent(shared / smaller)} of the smaller one. "
            "Move one of them (at, turn)."
        )


def _settled(piece: Piece, window: Window, surface: Floats, grid: Grid) -> Piece:
    """Set a piece down, its columns given, and turn it until it rests on a surface."""
    for step in range(SETTLING_STEPS + 1):
        by = placing.resting_height(window, surface)
        piece, window = placing.raised(piece, by), window.raised(by)
        centre = mesh_centre(piece.vertices, piece.faces)
        slopes = settling_slopes(window, surface, grid, centre[:2])
        lean = lean_of(slopes)
        if lean < SETTLED or step == SETTLING_STEPS:
            break
        share = min(1.0, LARGEST_STEP / lean)
        piece = placing.sunk(piece, (slopes[0] * share, slopes[1] * share), centre)
        piece = placing.raised(piece, -float(piece.low[2]))
        window = columns_of(piece.vertices, piece.faces, grid)
    return piece


def _weighed(_stamp: object, scan: Path, material: Material, ruler: Ruler) -> Weighed:
    """Weigh a scan in one state of its file."""
    return weighing.weigh_scan(scan, material, ruler, light=True).told(_as_key, str)


def _form(entry: PieceEntry, stamp: object, memo: Memo) -> tuple[Piece, Range, str]:
    """Make the mesh and the range of its volume [m³]."""
    shape = entry.shape
    if shape.scan is not None:
        weighed = memo(_weighed, stamp, shape.scan, entry.material, Ruler(shape.unit))
        assert weighed.piece is not None
        return weighed.piece, weighed.volume, "scan"
    if shape.mesh is not None:
        return shape.mesh, Range.exact(_closed_volume(shape.mesh)), "a mesh in memory"
    if shape.limbs:
        return _taped(_branch(shape), "limbs", "limbs by tape")
    assert shape.size is not None
    if shape.solid == "boulder":
        # The form of a boulder is made up, so its volume is no better known than by tape.
        boulder = primitives.boulder(shape.size, shape.seed)
        return _taped(boulder, "boulder", "a boulder of this size")
    if shape.solid:
        solid = primitives.SOLIDS[shape.solid](shape.size)
        return _taped(solid, "solid", f"a {shape.solid} by tape")
    volume_range = weighing.size_volume(shape.size, shape.shape_factor, entry.kind)
    factor = volume_range.mid / float(np.prod(shape.size))
    piece = primitives.stone_of_size(shape.size, factor)
    return piece, volume_range, "length × width × height × shape factor"


def _taped(piece: Piece, kind: str, how: str) -> tuple[Piece, Range, str]:
    """Give a form known by tape the range of its volume [m³]."""
    return piece, weighing.tape_spread(enclosed_volume(piece.vertices, piece.faces), kind), how


def _closed_volume(piece: Piece) -> float:
    """Volume of a mesh that must be closed and look outward [m³]."""
    if not is_closed(piece.faces, len(piece.vertices)):
        raise PlacingError("the mesh is open, or its faces do not look one way; close it first.")
    volume = enclosed_volume(piece.vertices, piece.faces)
    if volume <= 0:
        raise PlacingError("the faces of the mesh look inward; turn them over.")
    return volume


def _branch(shape: Shape) -> Piece:
    """Make one closed mesh of limbs; those without a path lie side by side as rods."""
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
    density = entry.material.dense
    volume = density.dividing(mass)
    size = entry.shape.size
    if size is None:
        scale = (volume.mid / 0.5 / float(np.prod(MASS_ONLY_PROPORTIONS))) ** (1 / 3)
        length, width, height = (float(s) for s in scale * MASS_ONLY_PROPORTIONS)
        size = (length, width, height)
    factor = volume.mid / float(np.prod(size))
    if not 0.2 <= factor <= 0.95:
        forked = entry.kind == "wood" and factor < 0.2
        slip = "check size, mass and material"
        cure = f"forked wood does: write its limbs, or {slip}" if forked else slip
        raise PlacingError(
            f"<{mass:.9g} kg> of {entry.material.name} would fill {percent(factor)} of the "
            f"box around it; {cure}."
        )
    piece = placing.renamed(primitives.stone_of_size(size, factor), entry.name, entry.material.key)
    form = enclosed_volume(piece.vertices, piece.faces)
    return Body(entry, piece, volume, Range.exact(mass), "weighed; density from the table", form)


def _check_wood(mass: float, volume: Range) -> None:
    """Refuse wood that would be denser than any whose pores are full of water."""
    if mass / volume.high > DENSEST_WOOD:
        raise PlacingError(
            f"by its mass and form it is {mass / volume.mid / 1e3:.2f} times as heavy as water, "
            f"denser than any wood full of it ({DENSEST_WOOD / 1e3:.2f}); check size, scale and "
            "mass."
        )


def _as_its_kind(volume: Range, mass: float, density: Range) -> Range:
    """Widen a volume [m³] that makes wood heavier or lighter than its kind [kg/m³] ever is.

    Form or kind is wrong then, and which one decides whether it floats: both are judged.
    """
    low, high = min(volume.low, mass / density.low), max(volume.high, mass / density.high)
    return Range(low, volume.mid, high)


def _contradiction(entry: PieceEntry, volume: Range, mass: float) -> tuple[str, ...]:
    """Warn where mass and volume together fall outside the material's densities."""
    density = entry.material.dense
    if mass / volume.low >= density.low and mass / volume.high <= density.high:
        return ()
    return (
        f"by its mass and form it is {mass / volume.mid / 1e3:.2f} times as heavy as water, but "
        f"{entry.material.name} is {density.low / 1e3:.2f}-{density.high / 1e3:.2f} times; check "
        "scale of the form, mass and material.",
    )
