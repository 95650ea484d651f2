"""Volume and mass of a stone or a piece of wood: from a scan, a tape, limbs or a scale."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.doubts import GOOD, Doubt, borne
from plumbstone.meshes.measures.rulers import FAR_OFF, FILE_ALONE, Ruler
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import Naming, Telling, metric, named, percent
from plumbstone.volumes.scape.materials import Material, find_material

if TYPE_CHECKING:
    from plumbstone.meshes.closing.bodies import ClosedScan
    from plumbstone.meshes.measures.openings import Extents
    from plumbstone.meshes.piece import Flags, Floats, Indices, Piece

SHAPE_FACTORS = Range(0.40, 0.50, 0.60)  # of the box around a stone; common practice, no source
WOOD_FACTORS = Range(0.05, 0.30, 0.80)  # of that around wood, forked roots to logs; the same
LONGEST_SIDE = 5.0  # [m]: a longer stone is a slip of the unit
LARGEST_BOX = 0.4  # [m³] around a stone of half a tonne: more is such a slip too
LEAST_FACTOR = 0.05  # of its box that a stone fills
BOX_SHARES = {"stone": 0.12, "wood": 0.02}  # of its box that any fills at least
TWIG = 0.02  # [m]: so thin a limb is likelier given by its thickness than by its girth
ON_ALL, HOLLOW = 0.75, 0.75  # share of its outline on which wood stands that may hide a hollow, and
# what of it that may be: six shells of bark 0.89 to 0.99 and 0.71 at most, branches and roots 0.59
SHELL = (
    "it stands on nearly all of its outline, and wood may be hollow there, as a shell of bark is: "
    "scan it turned over too (<same-stone>), or push it under in a bucket on a scale: <bucket-rise>"
)
TWICE = "two weighings"  # source of a density that the user measured
SLIP = 2.0  # a mass and a volume that differ by more than this cannot belong together
SLIPS = (0.1, 10.0, 1 / 2.20462, 2.20462, 1e-3, 1e3)  # a wrong point, pounds, grams
SPREADS = {"solid": 0.05, "boulder": 0.20, "limbs": 0.15}  # at 90 %; common practice, no source


WAYS = ("a scan", "size", "limb", "bucket-rise")  # to weigh a piece, each by itself
OF_SCANS = (
    "unit", "longest", "across", "mat", "known", "all", "same-stone", "one-piece", "rescale"
)  # fmt: skip
# What has an effect only beside one of others, and what these are for.
NEEDS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    *((name, WAYS[:1], "") for name in OF_SCANS),
    ("opening", WAYS[:2], ""),
    ("shape-factor", WAYS[1:2], ""),
    ("scale-step", ("in-water", "bucket-rise"), ""),
    ("scale-capacity", ("in-water", "bucket-rise"), ""),
    ("in-water", ("mass",), ", the dry mass on the same scale"),
    ("mat-control", ("mat",), ""),
    ("rescale", ("mass",), ", the measured mass to trust"),
)
CLASHES = (
    ("mass", "shape-factor", "With <mass> the volume follows from the mass; leave out "
     "<shape-factor>."),
    ("mat", "known", "Give <mat> or <known>, not both."),
    ("bucket-rise", "rescale", "<bucket-rise> tells the volume; leave out <rescale>."),
)  # fmt: skip


class WeighingError(PlumbstoneError, ValueError):
    """Measurements that cannot belong to one piece."""


@dataclass(frozen=True, slots=True)
class Confidence:
    """How far a figure can be trusted, in a word, and why."""

    word: str  # "good", "fair" or "poor"
    reason: str
    caveat: str = ""  # the reason in a word, such as "scale" or "underside"


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """One piece with its volume and mass."""

    name: str
    source: str  # the file, or how it was measured
    material: Material
    volume: Range  # outer envelope [m³]
    mass: Range  # dry [kg]
    size: tuple[float, ...]  # largest first for a scan, as given for a tape [m]; empty unknown
    confidence: Confidence
    changes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    piece: "Piece | None" = None
    seen: "Indices | None" = None  # faces of the piece that were scanned, not guessed
    away: "Floats | None" = None  # (k, 3, 3) corners of what was cut away beside it [m]
    extents: "Extents | None" = None  # of a scan
    other: "Flags | None" = None  # faces of the piece that may be another thing

    def __post_init__(self) -> None:
        """Bear no better word than the range of the volume does, whatever told it."""
        word = borne(self.confidence.word, self.volume.half_width)
        object.__setattr__(self, "confidence", replace(self.confidence, word=word))

    def told(self, name: Naming, figures: Telling = metric) -> "Weighed":
        """Name what its notes leave open, see `telling.named`."""
        trust = replace(self.confidence, reason=named(self.confidence.reason, name, figures))
        changes = tuple(named(text, name, figures) for text in self.changes)
        warnings = tuple(named(text, name, figures) for text in self.warnings)
        piece = self.piece and replace(self.piece, changes=changes, warnings=warnings)
        return replace(self, confidence=trust, changes=changes, warnings=warnings, piece=piece)

    def mass_in_water(self, water: float) -> Range:
        """Mass it shows hanging in water of a density [kg/m³], pores dry → [kg] (Archimedes)."""
        weighed = self.mass.low == self.mass.high
        mass = self.mass.mid if weighed else None
        return mass_in_water(self.volume, self.material, mass, water)

    def mass_in_water_soaked(self, water: float) -> Range:
        """Mass a porous stone shows in water once its pores are full [kg] (Archimedes)."""
        pairs = zip(self.volume, self.material.saturated_density(water), strict=True)
        return Range(*(volume * (rho - water) for volume, rho in pairs))


def refuse_idle(given: Mapping[str, object]) -> None:
    """Refuse what would have no effect, so that nothing is passed over in silence.

    Each thing that may be given goes by its name in `telling.PLACES`.

    Raises
    ------
    WeighingError
        If a piece shall be weighed in two ways, or something is given without what it needs.
    """
    typed = {name for name, value in given.items() if value is not None and value is not False}
    ways = [way for way in WAYS if way in typed]
    if len(ways) > 1 and ways != [WAYS[0], WAYS[3]]:  # water tells the volume of a scan
        raise WeighingError(f"Give {_place(ways[0])} or {_place(ways[1])}, not both.")
    for stem, needed, why in NEEDS:
        if stem in typed and not typed.intersection(needed):
            others = " or ".join(map(_place, needed))
            raise WeighingError(f"{_place(stem)} needs {others}{why}.")
    for *pair, problem in CLASHES:
        if typed.issuperset(pair):
            raise WeighingError(problem)


def _place(thing: str) -> str:
    """Leave open how a thing is called."""
    return thing if thing == WAYS[0] else f"<{thing}>"


def weigh_scan(
    path: Path,
    material: Material,
    ruler: Ruler = FILE_ALONE,
    mass: float | None = None,
    *,
    light: bool = False,
) -> Weighed:
    """Weigh the stone or wood in a scan.

    Parameters
    ----------
    path : Path
        Mesh or point cloud.
    material : Material
        With a density.
    ruler : Ruler
        What is known of the file's unit and the body's lengths.
    mass : float, optional
        Measured [kg]; replaces the computed mass and checks the volume.
    light : bool
        Give a form of few faces with the same volume, see `kept_scan`.

    Raises
    ------
    ScanError
        If the scan cannot be read or its volume cannot be told.
    """
    from plumbstone.meshes.closing.keeping import kept_scan

    weighed = weigh_closed(kept_scan(path, ruler, light=light), material, extents=False)
    return weighed if mass is None else checked_by_mass(weighed, mass)


def weigh_closed(scan: "ClosedScan", material: Material, *, extents: bool = True) -> Weighed:
    """Weigh a scan that was closed; `extents` finds the openings it passes, which takes longer."""
    from plumbstone.meshes.closing.underside import foot_share
    from plumbstone.meshes.measures.extents import extents_of

    unseen = material.kind == "wood" and any(doubt.what == "underside" for doubt in scan.doubts)
    if unseen and foot_share(scan.piece.vertices, scan.piece.faces) > ON_ALL:
        scan = scan.doubted(Doubt("hollow", HOLLOW, 0.0, SHELL, "poor"))
    volume, doubt = scan.volume, scan.doubt
    measured = extents_of(scan.piece.vertices) if extents else None
    sides = scan.piece.size.tolist() if measured is None else measured.sides
    return Weighed(
        name=scan.piece.name,
        source=scan.piece.source,
        material=material,
        volume=volume,
        mass=mass_of(volume, _density(material)),
        size=tuple(sorted(sides, reverse=True)),
        confidence=Confidence(scan.trust, doubt.says, doubt.what),
        changes=scan.piece.changes,
        warnings=scan.piece.warnings,
        piece=scan.piece,
        seen=scan.bare,
        away=scan.away,
        extents=measured,
        other=scan.other,
    )


def weigh_volume(volume: Range, material: Material, mass: float | None = None) -> Weighed:
    """Weigh a piece of known volume [m³], such as from the bucket on a scale."""
    doubt = Doubt(
        "bucket", volume.half_width, volume.half_width, "its volume was measured in water"
    )
    weighed = Weighed(
        "piece", "bucket", material, volume, mass_of(volume, _density(material)), (),
        Confidence(doubt.word, doubt.says, doubt.what),
    )  # fmt: skip
    return weighed if mass is None else checked_by_mass(weighed, mass)


def with_density(material: Material, density: Range) -> Material:
    """Put a measured density [kg/m³] in the place of the table's."""
    return replace(material, density=density, sources={**material.sources, "density": TWICE})


def weigh_size(
    size: tuple[float, float, float],
    material: Material,
    factor: float | None = None,
    mass: float | None = None,
) -> Weighed:
    """Weigh a piece by length × width × height [m]; a measured mass [kg] beats the table."""
    density = _density(material)
    if mass is not None:
        box = math.prod(size)
        _refuse_slip(mass, Range(BOX_SHARES[material.kind] * box, box / 2, box), material)
        return replace(weigh_mass(mass, material), size=size, source="size and mass")
    volume = size_volume(size, factor, material.kind)
    reason = "a tape tells the box around the stone, not how much of it the stone fills"
    if material.kind == "wood":
        reason = (
            "a tape tells the box around it, of which forked wood fills little; limbs tell more"
        )
    return Weighed(
        material.kind, "length × width × height", material, volume, mass_of(volume, density), size,
        Confidence("poor", reason, "tape"),
    )  # fmt: skip


def weigh_limbs(
    limbs: Sequence[tuple[float, float, float]], material: Material, mass: float | None = None
) -> Weighed:
    """Weigh wood by the length and the girth at both ends [m] of each limb."""
    volume = tape_spread(sum(limb_volume(*limb) for limb in limbs), "limbs")
    reason = "limbs are measured as even tapers; bark, knots and twigs are left out"
    weighed = Weighed(
        material.kind, "limbs by length and girth", material, volume,
        mass_of(volume, _density(material)), (), Confidence("fair", reason, "limbs"),
    )  # fmt: skip
    if mass is not None:
        return checked_by_mass(weighed, mass, "girths read wrong, wet wood")
    thickest = max(max(limb[1:]) for limb in limbs) / math.pi
    if thickest >= TWIG:
        return weighed
    told = f"by its girths it is <{thickest * 1e3:.0f} mm> thick at most; a girth runs all around."
    return replace(weighed, warnings=(told,))


def weigh_mass(mass: float, material: Material) -> Weighed:
    """Tell the volume of a piece of known mass [kg]."""
    volume = _density(material).dividing(mass)
    return Weighed(
        "piece", "mass alone", material, volume, Range.exact(mass), (),
        _by_mass(volume, "its volume follows from the density of the material"),
    )  # fmt: skip


def _by_mass(volume: Range, how: str) -> Confidence:
    """Trust a volume that a mass told, as far as its density was known."""
    known = percent(volume.half_width)
    wide = f", known to {known} only; a bucket on a scale (<bucket-rise>) tells more"
    return Confidence("good", f"weighed; {how}{wide if volume.half_width > GOOD else ''}")


def checked_by_mass(weighed: Weighed, mass: float, amiss: str = "") -> Weighed:
    """Replace the mass by a measured one [kg]; trust nothing where it contradicts the volume.

    What may be amiss is that of a scan if not given.

    The scan keeps its volume: a wrong scale and a wrongly guessed underside look the same.
    """
    limbs = weighed.confidence.caveat == "limbs"
    _refuse_slip(mass, _widened(weighed.volume), weighed.material, limbs=limbs)
    implied = _density(weighed.material).dividing(mass)
    warnings, trust = weighed.warnings, weighed.confidence
    if implied.parts_from(weighed.volume):
        scale = (implied.mid / weighed.volume.mid) ** (1 / 3)
        trusts = "an underside guessed wrong, or a wrong material. <rescale> trusts the scale."
        warnings = (
            *warnings,
            f"<{mass:.9g} kg> of {weighed.material.name} is <{implied.mid * 1e3:.2f} L>, the form "
            f"says <{weighed.volume.mid * 1e3:.2f} L>: lengths off by × {scale:.3f}, "
            + (f"{amiss}, or a wrong material." if amiss else trusts),
        )
        trust = Confidence("poor", "its mass and its form disagree", "mass")
    return replace(weighed, mass=Range.exact(mass), warnings=warnings, confidence=trust)


def checked_by_table(weighed: Weighed) -> Weighed:
    """Warn where the measured density of a piece [kg/m³] is none of its material's."""
    table, found = find_material(weighed.material.name).density, _density(weighed.material)
    if table is None or not found.parts_from(table):
        return weighed
    odd = (
        f"<{found.mid:.0f} kg/m³> does not fit {weighed.material.name} (<{table.low:.0f} kg/m³> "
        f"to <{table.high:.0f} kg/m³>): read both weighings again, or name another material."
    )
    trust = weighed.confidence
    word = "fair" if trust.word == "good" else trust.word
    return replace(weighed, warnings=(*weighed.warnings, odd), confidence=replace(trust, word=word))


def rescaled_to_mass(weighed: Weighed, mass: float) -> Weighed:
    """Trust a measured mass [kg] over the lengths of a scan: scale it so that they agree."""
    _refuse_slip(mass, _widened(weighed.volume), weighed.material)
    implied = _density(weighed.material).dividing(mass)
    scale = (implied.mid / weighed.volume.mid) ** (1 / 3)
    trust = _by_mass(implied, "the scan was scaled to the mass, by the density")
    off = abs(math.log(scale))
    if 3 * off > math.log(1 + FAR_OFF):
        reason = f"scan and mass disagree: lengths × {scale:.2f}; see that they are of one stone"
        trust = Confidence("poor" if off > math.log(1 + FAR_OFF) else "fair", reason, "scale")
    said = f"lengths × {scale:.3f} so that volume and mass agree"
    scaled = _scaled(weighed, scale, said)
    return replace(scaled, volume=implied, mass=Range.exact(mass), confidence=trust)


def rescaled_to_volume(weighed: Weighed, volume: Range) -> Weighed:
    """Trust a volume that was measured in water [m³] over a scan: scale it so that they agree."""
    scale = (volume.mid / weighed.volume.mid) ** (1 / 3)
    trust = Confidence("good", "its volume was measured in water; the scan was scaled to it")
    if not weighed.volume.low <= volume.mid <= weighed.volume.high:
        reason = f"water and scan disagree: lengths × {scale:.2f}; see that they are of one piece"
        far = abs(math.log(scale)) > math.log(1 + FAR_OFF)
        trust = Confidence("poor" if far else "fair", reason)
    scaled = _scaled(weighed, scale, f"lengths × {scale:.3f}, from the volume in water")
    mass = mass_of(volume, _density(weighed.material))
    return replace(scaled, volume=volume, mass=mass, confidence=trust)


def _scaled(weighed: Weighed, scale: float, said: str) -> Weighed:
    """Scale all lengths of a scan."""
    piece, extents = weighed.piece, weighed.extents
    return replace(
        weighed,
        size=tuple(side * scale for side in weighed.size),
        piece=None if piece is None else piece.moved_to(piece.vertices * scale),
        away=None if weighed.away is None else weighed.away * scale,
        extents=None if extents is None else extents.times(scale),
        changes=(*weighed.changes, said),
    )


def density_of_two_weighings(
    dry: float, submerged: float, step: float, capacity: float | None, water: float
) -> Range:
    """Density [kg/m³] from a dry and a submerged reading [kg] of a scale with this step [kg].

    Archimedes' principle: OpenStax, College Physics 2e, section 11.7, which weighs a coin so.

    Raises
    ------
    WeighingError
        If the readings are too close for the scale, beyond its capacity [kg], or the wrong way
        round.
    """
    _refuse_beyond(dry, "A mass", capacity)
    low, high = dry - submerged - step, dry - submerged + step
    if submerged > dry:
        raise WeighingError(
            f"<{submerged:.9g} kg> in water is more than <{dry:.9g} kg> dry; see which "
            "reading is which."
        )
    if low <= 0 or submerged < 0:
        raise WeighingError(
            f"<{dry:.9g} kg> dry and <{submerged:.9g} kg> in water differ by less than the scale's "
            "step; weigh again, or use a finer scale."
        )
    return Range(dry * water / high, dry * water / (dry - submerged), dry * water / low)


def density_by_bucket(dry: float, volume: Range, material: Material) -> Range:
    """Density [kg/m³] of a piece of known mass [kg] and volume in water [m³].

    Raises
    ------
    WeighingError
        If the mass is a slip.
    """
    _refuse_slip(dry, _widened(volume), material)
    return volume.dividing(dry)


def volume_by_bucket(rise: float, step: float, capacity: float | None, water: float) -> Range:
    """Volume [m³] of a piece pushed under in a bucket on a scale, from the reading's rise [kg].

    The water is pressed down by as much as it lifts (Newton's third law, Archimedes' principle).

    Raises
    ------
    WeighingError
        If the rise lies within the scale's step or the bucket is beyond its capacity [kg].
    """
    if rise <= 2 * step:
        message = f"A rise of <{rise:.9g} kg> is no more than the scale's step; use a finer scale."
        raise WeighingError(message)
    _refuse_beyond(rise, "A rise", capacity)
    return Range((rise - step) / water, rise / water, (rise + step) / water)


def _refuse_beyond(reading: float, what: str, capacity: float | None) -> None:
    """Refuse a reading [kg] that its scale cannot show."""
    if capacity is not None and reading > capacity:
        most = f"<{capacity:.9g} kg>; take a larger."
        raise WeighingError(f"{what} of <{reading:.9g} kg> is beyond the scale's {most}")


def limb_volume(length: float, girth0: float, girth1: float) -> float:
    """Volume [m³] of a limb by its length and girths [m]: a frustum with round ends.

    A closed form. The ends lie within the length, as `meshes.primitives.branch` draws them.
    """
    import numpy as np

    from plumbstone.meshes.shapes.primitives import CAP_FLAT, CAP_LENGTH

    radii = np.array([girth0, girth1]) / (2 * np.pi)
    ends = np.minimum(2 * CAP_LENGTH * radii, length / 2)
    a, b = radii + (radii[::-1] - radii) * ends / length  # where the ends begin
    shaft = (length - ends.sum()) * (a * a + a * b + b * b) / 3
    round_off = (2 + CAP_FLAT**2) / 3
    return float(np.pi * (shaft + round_off * (a * a * ends[0] + b * b * ends[1])))


def tape_spread(volume: float, kind: str) -> Range:
    """Spread a volume [m³] by what its kind of form is known to; common practice, no source."""
    share = SPREADS[kind]
    return Range(volume * (1 - share), volume, volume * (1 + share))


def size_volume(
    size: tuple[float, float, float], factor: float | None = None, kind: str = "stone"
) -> Range:
    """Volume [m³] of a stone or wood by length × width × height [m] × its shape factor."""
    box = math.prod(size)
    if max(size) > LONGEST_SIDE or box > LARGEST_BOX:
        problem = f"{max(size):g} m long is no stone for a tank; check the unit of the size."
        raise WeighingError(problem)
    if factor is not None and not LEAST_FACTOR <= factor <= 1:
        problem = f"shape factor {factor:g}: a stone fills 0.05 to 1 of the box around it."
        raise WeighingError(problem)
    if factor is None:
        return (WOOD_FACTORS if kind == "wood" else SHAPE_FACTORS).times(box)
    found = SHAPE_FACTORS.times(factor / SHAPE_FACTORS.mid)  # a guess knows no more than a tape
    return Range(found.low, factor, max(factor, min(found.high, 1.0))).times(box)


def mass_of(volume: Range, density: Range) -> Range:
    """Mass [kg] of a volume [m³]: the ends of both ranges together, so on the wide side."""
    return Range(*(v * rho for v, rho in zip(volume, density, strict=True)))


def mass_in_water(volume: Range, material: Material, mass: float | None, water: float) -> Range:
    """Mass that a piece shows in water, pores full of air [kg] (Archimedes); below 0 it lifts.

    A measured mass [kg] of a stone tells by its density what it displaces; that of wood goes with
    the volume [m³]. Without one, volume and density meet at any of their ends. `water` is a density
    [kg/m³].
    """
    density = _density(material)
    if mass is None:
        ends = [v * (rho - water) for v in volume for rho in density]
    elif material.kind == "wood":
        ends = [mass - water * v for v in volume]
    else:
        ends = [mass * (1 - water / rho) for rho in density]
    return Range(min(ends), ends[len(ends) // 2], max(ends))


def _widened(volume: Range) -> Range:
    """Volumes that a piece could have at the very most [m³]."""
    return Range(volume.low / SLIP, volume.mid, volume.high * SLIP)


def _refuse_slip(mass: float, possible: Range, material: Material, *, limbs: bool = False) -> None:
    """Refuse a mass [kg] that no volume within a range [m³] can have; say what was likely meant."""
    density = _density(material)

    def fits(kilograms: float) -> bool:
        return not density.dividing(kilograms).parts_from(possible)

    if fits(mass):
        return
    off = {slip: abs(math.log(mass * slip / (possible.mid * density.mid))) for slip in SLIPS}
    likely = min((slip for slip in SLIPS if fits(mass * slip)), key=off.__getitem__, default=None)
    meant = "see the unit and the point"
    if likely is not None:
        meant = f"did you mean <{mass * likely:.4g} kg>? See the unit and the point"
    if limbs and fits(mass / math.pi**2):
        meant += ". Is a girth how thick it is? It runs around, 3.14 times that"
    raise WeighingError(
        f"<{mass:.9g} kg> of {material.name} is <{mass / density.mid * 1e3:.3g} L>, but the form "
        f"holds at most <{possible.high * 1e3:.3g} L> and at least "
        f"<{possible.low * 1e3:.2g} L>; {meant}."
    )


def _density(material: Material) -> Range:
    """Density of a material that has one."""
    if material.density is None:
        raise WeighingError(f"{material.name} has no density of its own; name a stone or a wood.")
    return material.density
