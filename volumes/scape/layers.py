"""Layers of substrate: where each lies, how deep it is drawn, and the border between them."""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from plumbstone.meshes.limits import MOST_POINTS
from plumbstone.meshes.loops import signed_distances
from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.scape.maps import MapError, picture_levels, table_levels
from plumbstone.volumes.scape.materials import Material, material_of
from plumbstone.volumes.scape.quantities import is_quantity, parse_quantity, without_comma
from plumbstone.volumes.scape.sections import Section

ON_EDGE = 1e-9  # [m]: places on the edge that two zones share are of both
NAMED_ZONES = (
    "all", "behind border", "before border", "along border",
    "border gaps", "front strip", "back strip", "left strip", "right strip", "along line",
)  # fmt: skip
FAR = 100.0  # [m], beyond any pane
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
        section.quantities("at", "length", count=2, least=0),
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


def zone_distance(
    zone: Zone, border: Border | None, grid: Grid, points: tuple[Floats, Floats] | None = None
) -> Floats | None:
    """Signed distance to the edge of a zone [m], positive inside.

    At the middle of each cell, or at points (x, y) of its own if given. Returns None for a
    zone without an edge (the whole floor). The panes are walls, not edges, so zones that
    reach a pane are drawn on beyond it.
    """
    if zone.name == "all":
        return None
    x, y = grid.centres if points is None else points
    if zone.polygon:
        found = polygon_distance(np.array(zone.polygon), x, y)
        return np.where(np.abs(found) < ON_EDGE, ON_EDGE, found)
    if zone.name == "along line":
        return zone.width / 2 - line_distance(np.array(zone.line), x, y)
    if zone.by_border:
        assert border is not None
        behind = _border_distance(border, x, y)
        if zone.name == "along border":
            return zone.width / 2 - np.abs(behind)
        return behind if zone.name == "behind border" else -behind
    gap = {"front": y, "back": grid.depth - y, "left": x, "right": grid.length - x}
    return zone.width - gap[zone.name.split()[0]]


def drawn_level(profile: Profile, edge: Floats | None, grid: Grid, slope: float = np.inf) -> Floats:
    """Depth or height that a profile asks for at each cell [m].

    The edge is the signed distance to that of the zone [m], (rows, columns), as of `zone_distance`;
    the front and back of the profile are those of the zone. No step of terraces and paths rises
    faster than the slope [-] from its foot, wherever in a cell that lies. Never below zero.
    """
    first, last = _extent(edge, grid)
    v = np.clip((grid.y[:, None] - first) / (last - first), 0, 1)
    left, right = _extent(edge, grid, across=True)
    u = np.clip((grid.x - left.T) / (right - left).T, 0, 1)
    x, y = np.meshgrid(grid.x, grid.y)
    if profile.heightmap is not None:
        level = _heightmap_level(profile.heightmap, u, v)
    elif profile.points:
        level = _through_points(profile.points, x, y)
    elif profile.terraces:
        level = _terraced(profile.terraces, v * (last - first), slope)
    else:
        level = _between_sides(profile, u, v)
    for mound in profile.mounds:
        reach = np.hypot(x - mound.at[0], y - mound.at[1]) / mound.radius
        level = level + np.where(reach < 1, mound.rise * (1 + np.cos(np.pi * reach)) / 2, 0.0)
    for path in profile.paths:
        beyond = line_distance(np.array(path.line), x, y) - path.width / 2
        ramp = slope * np.maximum(np.abs(beyond), 1e-12)
        inside, outside = np.minimum(path.level, level + ramp), np.minimum(level, path.level + ramp)
        level = np.where(beyond <= 0, inside, outside)
    return np.maximum(level, 0.0)


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
        section.quantities("at", "length", count=2),
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
    x, y = section.quantities("at", "length", count=2)
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
        raise table.error("map", f"{path.name} {error}") from None


def _border_distance(border: Border, x: Floats, y: Floats) -> Floats:
    """Signed distance to the border line [m], positive behind it."""
    line = [(-FAR, border.line[0][1]), *border.line, (FAR, border.line[-1][1])]
    around = np.array([*line, (FAR, FAR), (-FAR, FAR)])
    return polygon_distance(around, x, y)


def polygon_distance(polygon: Floats, x: Floats, y: Floats) -> Floats:
    """Signed distance to a polygon [m], positive inside."""
    corners = np.ascontiguousarray(polygon, dtype=np.float64)
    return signed_distances(corners, x.ravel(), y.ravel()).reshape(x.shape)


def share_along(start: Floats, end: Floats, x: Floats, y: Floats) -> Floats:
    """Share of the way from a start to an end (2,) [m] that lies nearest to places, 0 to 1."""
    step = end - start
    share = ((x - start[0]) * step[0] + (y - start[1]) * step[1]) / max(float(step @ step), 1e-18)
    return np.asarray(np.clip(share, 0, 1), dtype=float)


def line_distance(line: Floats, x: Floats, y: Floats) -> Floats:
    """Distance to a polyline [m]."""
    nearest = np.full(x.shape, np.inf)
    for start, end in itertools.pairwise(line):
        along, step = share_along(start, end, x, y), end - start
        gap = np.hypot(x - start[0] - along * step[0], y - start[1] - along * step[1])
        nearest = np.minimum(nearest, gap)
    return nearest


def _extent(edge: Floats | None, grid: Grid, *, across: bool = False) -> tuple[Floats, Floats]:
    """Where the zone begins and ends in each column of cells [m], (1, nx).

    Across, in each row instead, (1, ny). Columns without it take the ends of their neighbours.
    """
    size, step = (grid.length, grid.spacing[0]) if across else (grid.depth, grid.spacing[1])
    if edge is None:
        ends = np.zeros((1, grid.ny if across else grid.nx))
        return ends, ends + size
    inner = edge.T if across else edge
    has = (inner > 0).any(axis=0)
    lines = np.arange(inner.shape[1])
    if not has.any():
        return np.zeros((1, len(lines))), np.full((1, len(lines)), size)
    first = np.interp(lines, lines[has], _first_inside(inner[:, has], step))
    last = size - np.interp(lines, lines[has], _first_inside(inner[::-1, has], step))
    return first[None], last[None]


def _first_inside(inner: Floats, step: float) -> Floats:
    """Place along the first axis where a signed distance turns positive [m]; 0 at a pane."""
    row = (inner > 0).argmax(axis=0)
    here = np.take_along_axis(inner, row[None], axis=0)[0]
    before = np.take_along_axis(inner, np.maximum(row - 1, 0)[None], axis=0)[0]
    share = np.where(row > 0, here / np.maximum(here - before, 1e-12), 0.5)
    return np.asarray((row + 0.5 - share) * step, dtype=float)


def _between_sides(profile: Profile, u: Floats, v: Floats) -> Floats:
    """Bilinear between the corners, bent to the levels in the middle of left and right."""
    fl, fr, bl, br = profile.corners
    level = (1 - v) * ((1 - u) * fl + u * fr) + v * ((1 - u) * bl + u * br)
    middles = ((profile.left, (fl + bl) / 2, 1 - 2 * u), (profile.right, (fr + br) / 2, 2 * u - 1))
    for wanted, bilinear, weight in middles:
        if wanted is not None:
            # Full at the middle of the side, nothing at the corners and in the middle of the tank.
            level = level + (wanted - bilinear) * np.clip(weight, 0, 1) * 4 * v * (1 - v)
    return level


def _terraced(
    terraces: tuple[tuple[float, float], ...], behind_front: Floats, slope: float
) -> Floats:
    """Level of the last terrace that begins at or before each place; steps rise from their feet."""
    starts = np.array([start for start, _ in terraces])
    levels = np.array([level for _, level in terraces])
    which = np.searchsorted(starts, behind_front, side="right") - 1
    level = levels[np.clip(which, 0, None)]
    for (_, one), (start, other) in itertools.pairwise(terraces):
        away = behind_front - start if other > one else start - behind_front
        ramp = min(one, other) + slope * np.maximum(away, 1e-12)
        level = np.where(away > 0, np.minimum(level, ramp), level)
    return level


def _through_points(points: tuple[tuple[float, float, float], ...], x: Floats, y: Floats) -> Floats:
    """Smooth surface through points, kept between the lowest and the highest of them."""
    from scipy.interpolate import RBFInterpolator

    known = np.array(points)
    if len(known) < 4 or np.linalg.matrix_rank(known[:, :2] - known[0, :2], tol=1e-9) < 2:
        weights = 1 / (np.hypot(x[..., None] - known[:, 0], y[..., None] - known[:, 1]) ** 2 + 1e-9)
        return (weights * known[:, 2]).sum(axis=-1) / weights.sum(axis=-1)
    fit = RBFInterpolator(known[:, :2], known[:, 2])
    level = fit(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)
    return np.clip(level, known[:, 2].min(), known[:, 2].max())


def _heightmap_level(values: Floats, u: Floats, v: Floats) -> Floats:
    """Bilinear reading of a map whose first row lies at the back."""
    from scipy.ndimage import map_coordinates

    rows = (1 - v) * (values.shape[0] - 1)
    columns = u * (values.shape[1] - 1)
    return map_coordinates(values, [rows, columns], order=1, mode="nearest")
