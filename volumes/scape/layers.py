"""Layers of substrate: where each lies, how deep it is drawn, and the border between them."""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from plumbstone.meshes.limits import MOST_POINTS
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.scape.maps import MapError, picture_levels, table_levels
from plumbstone.volumes.scape.materials import Material, material_of
from plumbstone.volumes.scape.quantities import is_quantity, parse_quantity, without_comma
from plumbstone.volumes.scape.sections import Section

NAMED_ZONES = (
    "all", "behind border", "before border", "along border",
    "border gaps", "front strip", "back strip", "left strip", "right strip", "along line",
)  # fmt: skip
SACK_GAPS = 0.15  # of 0.10-0.20; common practice, no source
STRIP_WIDTH = 0.03  # [m]
WIDE = ("strip", "along border", "along line")  # endings of zones that have a width of their own


@dataclass(frozen=True, slots=True)
class Zone:
    """Where a layer may lie: a name of `NAMED_ZONES`, or a polygon on the floor."""

    name: str = "all"
    width: float = STRIP_WIDTH  # of a strip, or across a line [m]
    polygon: tuple[tuple[float, float], ...] = ()
    line: tuple[tuple[float, float], ...] = ()  # of a path [m]
    border: str = ""  # name of the border it refers to; the first one if empty

    @property
    def by_border(self) -> bool:
        """Whether a border bounds it."""
        return "border" in self.name

    @property
    def pressed(self) -> bool:
        """Whether it is pressed into the gaps of a row by hand, from the glass upwards."""
        return self.name == "border gaps"


@dataclass(frozen=True, slots=True)
class Mound:
    """A smooth rise, or a hollow where it is negative: full in the middle, 0 at the radius."""

    at: tuple[float, float]  # [m]
    rise: float  # [m]
    radius: float  # [m]


@dataclass(frozen=True, slots=True)
class Trail:
    """A path through the layer: along a line, the surface lies at one level."""

    line: tuple[tuple[float, float], ...]  # [m]
    width: float  # [m]
    level: float  # depth or height, as the profile's [m]


@dataclass(frozen=True, slots=True)
class Profile:
    """The drawn surface, as depth over what lies below or as height above the glass [m].

    `corners` are front left, front right, back left, back right; `left` and `right` are
    the levels in the middle of these sides where they are given apart.
    """

    above_glass: bool
    corners: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    left: float | None = None
    right: float | None = None
    terraces: tuple[tuple[float, float], ...] = ()  # (from this far behind the front, level)
    points: tuple[tuple[float, float, float], ...] = ()  # (x, y, level)
    mounds: tuple[Mound, ...] = ()
    paths: tuple[Trail, ...] = ()
    heightmap: Floats | None = field(default=None, compare=False)  # rows from the back


@dataclass(frozen=True, slots=True)
class Sacks:
    """Small sacks that a filler is laid in, with gaps between them."""

    holds: float  # [m³]
    gaps: float  # share of the layer


@dataclass(frozen=True, slots=True)
class Bag:
    """One size of bag, sold by volume or by mass."""

    holds: float  # [m³] or [kg]
    by_mass: bool
    price: float | None = None
    text: str = ""  # as the user wrote it

    def volume(self, bulk_density: float) -> float:
        """Poured volume of its content [m³] at a bulk density [kg/m³]."""
        return self.holds / bulk_density if self.by_mass else self.holds


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of substrate, in pouring order."""

    name: str
    material: Material
    zone: Zone
    profile: Profile | None  # None for a strip, which has no volume
    settling: float  # share of the poured depth lost when it settles
    bags: tuple[Bag, ...]
    spare: float  # share to keep for topping up
    sacks: Sacks | None = None
    fabric: bool = False  # a separating fabric lies under it

    @property
    def repose(self) -> Range:
        """Angle of repose [degrees]."""
        assert self.material.repose is not None
        return self.material.repose

    @property
    def slope(self) -> float:
        """Tangent of the angle of repose [m/m]."""
        return float(np.tan(np.radians(self.repose.mid)))

    @property
    def settles(self) -> Range:
        """By what share of what is poured it may settle [-]; common practice, no source.

        5-15 % where about so much is stated, 0-5 % for coarse grains that settle by less.
        """
        least, most = (0.0, 0.05) if self.settling < 0.05 else (0.05, 0.15)
        return Range(min(least, self.settling), self.settling, max(most, self.settling))


@dataclass(frozen=True, slots=True)
class Border:
    """The line along which stones hold the soil back."""

    line: tuple[tuple[float, float], ...]  # from the left pane to the right one [m]
    stones: tuple[str, ...]  # names of pieces, from left to right
    strip: bool  # a hidden strip stands behind the stones
    divider: bool = False  # a divider stands on the line while pouring, and is pulled afterwards
    name: str = ""
    height: float | None = None  # of strip or divider [m]; None: as high as the stones beside it

    @property
    def held(self) -> bool:
        """Whether something on the line holds the soil while it is poured."""
        return self.strip or self.divider


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on the floor whose depth is asked for."""

    name: str
    at: tuple[float, float]  # [m]
    root_depth: float | None  # that a plant there needs [m]


def spot_from(section: Section) -> Spot:
    """Read one [[spot]]: `name`, `at` and, for a plant, `root_depth`."""
    return Spot(
        section.text("name"),
        section.lengths("at", count=2, least=0),
        section.quantity("root_depth", "length", None, least=0),
    )


def borders_from(top: Section) -> tuple[Border, ...]:
    """Read [border], or several [[border]] with names of their own."""
    if isinstance(top.peek("border"), dict):
        return (top.section("border").read_by(_border_from),)
    sections = top.sections("border")
    borders = tuple(section.read_by(_border_from) for section in sections)
    for i, border in enumerate(borders):
        if len(borders) > 1 and border.name in ("", *(b.name for b in borders[:i])):
            raise sections[i].error("name", "must be given, and differ from border to border.")
    return borders


def _border_from(section: Section) -> Border:
    """Read [border]: `line` from left to right, `stones`, `strip`, `divider` and their height."""
    name = section.text("name", "")
    line = section.points("line", least_count=2)
    if any(b[0] <= a[0] for a, b in itertools.pairwise(line)):
        aside = "a bank at one side is a layer whose zone is a list of points, over its stones"
        raise section.error(
            "line", f"must run from left to right, each point further right; {aside}."
        )
    strip, low = _wall_from(section, "strip")
    divider, high = _wall_from(section, "divider")
    height = low if strip else high
    return Border(line, section.texts("stones"), strip, divider, name, height)


def _wall_from(section: Section, key: str) -> tuple[bool, float | None]:
    """Read a strip or divider: true, or its height above the glass."""
    if isinstance(section.peek(key), str):
        return True, section.quantity(key, "length", least=1e-3)
    return section.flag(key), None


def layer_from(section: Section, materials: Mapping[str, Material]) -> Layer:
    """Read one [[layer]].

    Raises
    ------
    ScapeError
        If a key is missing, unknown or impossible.
    """
    material = material_of(section, materials)
    if material.kind not in ("substrate", "strip"):
        raise section.error("material", f"is a {material.kind}; a layer needs substrate.")
    name = section.text("name", material.name.capitalize())
    zone = _zone_from(section)
    profile = _profile_from(section) if material.kind == "substrate" else None
    repose = section.number("repose", None, least=5, most=60, sign="°")
    if repose is not None:
        material = replace(material, repose=Range.exact(repose))
    return Layer(
        name=name,
        material=material,
        zone=zone,
        profile=profile,
        settling=section.number("settling", material.settling, least=0, most=0.5, sign="%"),
        bags=section.tables("bags", _bag_from),
        spare=section.number("spare", 0.0, least=0, most=1, sign="%"),
        sacks=section.table("sacks", _sacks_from),
        fabric=section.flag("fabric"),
    )


def _bag_from(section: Section) -> Bag:
    """Read one bag: `holds` ("9 L" or "10 kg") and `price`."""
    text = section.raw("holds", like='"9 L"')
    by_mass = is_quantity(text, "mass")
    kind = "mass" if by_mass else "volume"
    if not by_mass and not is_quantity(text, "volume"):
        how = without_comma(text) or 'write litres or kilograms, such as "9 L"'
        raise section.error("holds", f"is {text!r}; {how}.")
    holds = parse_quantity(text, kind)
    if holds < 1e-6:
        raise section.error("holds", "must be more than nothing.")
    return Bag(holds, by_mass, section.number("price", None, least=0, sign="€"), str(text))


def _sacks_from(section: Section) -> Sacks:
    """Read `sacks`: what one holds, and the share of gaps between them."""
    return Sacks(
        section.quantity("holds", "volume", least=1e-5),
        section.number("gaps", SACK_GAPS, least=0, most=0.5, sign="%"),
    )


def _zone_from(section: Section) -> Zone:
    """Read `zone`, a name or a list of points, and `width`."""
    polygon: tuple[tuple[float, float], ...] = ()
    name = "polygon"
    if isinstance(section.peek("zone"), list):
        polygon = section.points("zone", least_count=3)
    else:
        name = section.choice("zone", NAMED_ZONES, "all")
    if section.peek("width") is not None and not name.endswith(WIDE):
        raise section.error("width", f"does not go with the zone {name}; drop it.")
    width = section.quantity("width", "length", STRIP_WIDTH, least=1e-3)
    line = section.points("line", least_count=2) if name == "along line" else ()
    zone = Zone(name, width, polygon, line, section.text("border", ""))
    if zone.border and not zone.by_border:
        raise section.error("border", f"does not go with the zone {name}; drop it.")
    return zone


def _profile_from(section: Section) -> Profile:
    """Read `depth` or `height` with what shapes it further."""
    given = [key for key in ("depth", "height") if section.has(key)]
    if len(given) != 1:
        problem = 'give depth (over what lies below) or height (above the glass), e.g. "4 cm".'
        raise section.error("depth", problem)
    key = given[0]
    profile = Profile(
        key == "height",
        mounds=section.tables("mounds", _mound_from),
        paths=section.tables("paths", _path_from),
    )
    if not isinstance(section.peek(key), dict):
        level = section.quantity(key, "length", least=0)
        return replace(profile, corners=(level,) * 4)
    return section.section(key).read_by(_shaped, profile)


def _shaped(table: Section, profile: Profile) -> Profile:
    """Read the table of a depth: sides, corners, points, terraces or a height map."""
    ways = [key for key in ("points", "terraces", "map") if table.has(key)]
    if len(ways) > 1:
        raise table.error(ways[1], f"cannot go with {ways[0]}; keep one of them.")
    if ways == ["points"]:
        points = table.tables("points", _level_at, most=MOST_POINTS)
        if len({(round(x, 4), round(y, 4)) for x, y, _ in points}) < max(len(points), 1):
            raise table.error("points", "must be places apart from each other, at least one.")
        profile = replace(profile, points=points)
    elif ways == ["terraces"]:
        terraces = sorted(table.tables("terraces", _terrace_from))
        profile = replace(profile, terraces=tuple(terraces))
    elif ways == ["map"]:
        profile = replace(profile, heightmap=_heightmap_from(table))
    else:
        profile = _sides_from(table, profile)
    return profile


def _sides_from(table: Section, profile: Profile) -> Profile:
    """Read front and back, then left and right or single corners."""
    front = table.quantity("front", "length", None, least=0)
    back = table.quantity("back", "length", front, least=0)
    front = back if front is None else front
    corners = tuple(
        table.quantity(f"{row}_{side}", "length", level, least=0)
        for row, level in (("front", front), ("back", back))
        for side in ("left", "right")
    )
    if None in corners:
        raise table.error("front", "is missing; give front and back, or all four corners.")
    left = table.quantity("left", "length", None, least=0)
    right = table.quantity("right", "length", None, least=0)
    return replace(profile, corners=corners, left=left, right=right)


def _mound_from(section: Section) -> Mound:
    """Read one mound or hollow."""
    return Mound(
        section.lengths("at", count=2),
        section.quantity("rise", "length"),
        section.quantity("radius", "length", least=1e-3),
    )


def _path_from(section: Section) -> Trail:
    """Read one path."""
    return Trail(
        section.points("line", least_count=2),
        section.quantity("width", "length", least=1e-3),
        section.quantity("level", "length", least=0),
    )


def _level_at(section: Section) -> tuple[float, float, float]:
    """Read one point: `at` and `level`."""
    x, y = section.lengths("at", count=2)
    return x, y, section.quantity("level", "length", least=0)


def _terrace_from(section: Section) -> tuple[float, float]:
    """Read one terrace: `from` (behind the front of the zone) and `level`."""
    return section.quantity("from", "length", least=0), section.quantity("level", "length", least=0)


def _heightmap_from(table: Section) -> Floats:
    """Read `map` (a CSV of centimetres, or a grey picture between `black` and `white`)."""
    path = table.file("map")
    black = table.quantity("black", "length", None, least=0)
    white = table.quantity("white", "length", None, least=0)
    try:
        if path.suffix.lower() == ".csv":
            return table_levels(path)
        if black is None or white is None:
            raise table.error("black", "is missing; a picture needs levels for black and white.")
        return picture_levels(path, black, white)
    except MapError as error:
        raise table.error("map", f"{path.name} {error.text}") from None
