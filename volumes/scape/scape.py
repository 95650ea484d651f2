"""The scape file: what a user writes about one tank, read and checked in one place."""

import itertools
import math
import re
import stat
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from plumbstone.meshes.errors import NOT_UTF8, unreadable
from plumbstone.meshes.limits import MOST_AT_HAND, MOST_CORNERS, MOST_WOOD, raised
from plumbstone.meshes.piece import Piece, piece_from
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.shapes.primitives import SOLIDS
from plumbstone.volumes.scape.groups import Group, group_from, with_tied
from plumbstone.volumes.scape.layers import Border, Layer, Spot, borders_from, layer_from, spot_from
from plumbstone.volumes.scape.materials import Material, load_materials, material_from, material_of
from plumbstone.volumes.scape.quantities import in_us_units
from plumbstone.volumes.scape.sections import ScapeError, Section
from plumbstone.volumes.scape.tank import Tank, tank_from

DEEPEST = 9  # tables and lists in each other; none of a scape file lies so deep
LARGEST_FILE = 2_000_000  # [bytes]
DEEPEST_KEY = 20
WORDS = re.compile(r"\"[^\"\n]*\"|'[^'\n]*'|[A-Za-z0-9_-]+|\S")
PLACE = re.compile(r"\(at (line \d+, column \d+|end of document)\)")
LEAST_MASS = 1e-6  # [kg]
SHAPE_FACTOR = 0.5  # mid of 0.40-0.60, common practice, no source


@dataclass(frozen=True, slots=True)
class Limb:
    """One limb of a branch: a polyline, or a length alone, and the girth at both ends."""

    path: tuple[tuple[float, float, float], ...]  # [m]; empty where only a length is given
    length: float  # [m]
    girths: tuple[float, float]  # around the limb, at its start and end [m]


@dataclass(frozen=True, slots=True)
class Shape:
    """How the form of a piece is known; exactly one of the ways is used."""

    scan: Path | None = None
    mesh: Piece | None = None  # in memory, closed, in metres; only in code
    unit: str | None = None
    solid: str = ""  # one of `SOLIDS`, or "boulder", whose form is made up from a seed
    size: tuple[float, float, float] | None = None  # length, width, height [m]
    shape_factor: float | None = None  # volume over that of the box around it
    seed: int = 0
    limbs: tuple[Limb, ...] = ()

    @property
    def form_given(self) -> bool:
        """Whether more is known than a size or a mass, whose form is a guess."""
        return bool(self.scan or self.mesh or self.solid or self.limbs)


@dataclass(frozen=True, slots=True)
class PieceEntry:
    """A stone or a piece of wood as the file describes it."""

    name: str
    kind: str  # "stone" or "wood"
    shape: Shape
    material: Material
    mass: float | None  # measured [kg]
    at: tuple[float, float] = (0.0, 0.0)  # middle of its outline from above [m]
    turn: float = 0.0  # seen from above, anticlockwise [degrees]
    tilt: float = 0.0  # [degrees]
    lean: float = 0.0  # direction it tilts to, from +x [degrees]
    rests: str = "floor"  # "floor", "bed" or the name of another piece
    pressed: float = 0.0  # below the bed surface [m]
    settle: bool = False  # it turns until it rests, instead of staying as drawn
    tied_to: tuple[str, ...] = ()
    price: float | None = None  # per kilogram


@dataclass(frozen=True, slots=True)
class Prices:
    """Prices of small things [money of the user], each of one; None where none is given."""

    tie: float | None = None
    pad: float | None = None
    strip: float | None = None  # behind one border
    fabric: float | None = None  # under one layer


@dataclass(frozen=True, slots=True)
class Lump:
    """Stones or wood without a place: only how many, how heavy, how deep."""

    name: str
    kind: str
    count: int
    mass: Range  # together, dry [kg]
    volume: Range  # outer envelope, together [m³]
    material: Material
    below_soil: float  # fraction of the volume
    pores_filled: bool  # its pores hold water, so only its grains displace
    price: float | None = None  # per kilogram


@dataclass(frozen=True, slots=True)
class Scape:
    """One tank with all that goes into it, as the file says."""

    name: str
    path: Path
    tank: Tank
    pieces: tuple[PieceEntry, ...]
    lumps: tuple[Lump, ...]
    layers: tuple[Layer, ...]
    borders: tuple[Border, ...]
    groups: tuple[Group, ...]
    spots: tuple[Spot, ...]  # whose depth is asked for
    at_hand: tuple[PieceEntry, ...]  # stones that could be hung on wood, not in the tank
    prices: Prices = Prices()
    files: tuple[Path, ...] = field(default=(), repr=False)  # all that it was read from
    us: bool = False  # the file gives the tank in inches or feet

    @property
    def loose(self) -> tuple[Lump, ...]:
        """All that goes into the tank without a place: lumps, and sinkers that are no piece."""
        sinkers = [(g.name, s) for g in self.groups for s in g.sinkers if not s.stone]
        return self.lumps + tuple(
            Lump(name, "stone", 1, Range.exact(s.mass), s.material.dense.dividing(s.mass),
                 s.material, below_soil=0.0, pores_filled=False)
            for name, s in sinkers
        )  # fmt: skip


def read_scape(path: Path | str) -> Scape:
    """Read a scape file and check that it makes sense.

    Parameters
    ----------
    path : Path or str
        A TOML file; scans and maps that it names lie beside or below it.

    Returns
    -------
    Scape
        Everything in SI units.

    Raises
    ------
    ScapeError
        If the file cannot be read, or a key is missing, unknown or impossible.
    """
    path = Path(path)
    return scape_from(_read_toml(path), path)


def _listed(value: object, depth: int = 0) -> object:
    """Give tuples, as code may write them, as the lists of a file; a mesh stays as it is."""
    if depth > DEEPEST:
        return value
    if isinstance(value, Mapping):
        return {k: v if k == "mesh" else _listed(v, depth + 1) for k, v in value.items()}
    return [_listed(v, depth + 1) for v in value] if isinstance(value, (list, tuple)) else value


def scape_from(values: Mapping[str, object], path: Path | str = "scape") -> Scape:
    """Make a scape from the keys and values of a scape file, and check that it makes sense.

    Parameters
    ----------
    values : mapping
        As TOML gives them: tables are mappings, quantities texts with a unit. A piece may
        also have a `mesh` in memory: a `Piece`, a trimesh, or a pair of vertices [m] and faces.
    path : Path or str
        Whose folder scan files are taken from; errors name it.

    Raises
    ------
    ScapeError
        If a key is missing, unknown or impossible.
    """
    path = Path(path)
    if not isinstance(values, Mapping):
        raise ScapeError(path, "", 'must be a mapping such as {"tank": {"inside": [...]}}.')
    top = Section({key: _listed(value) for key, value in values.items()}, path)
    own = top.tables("material", material_from, load_materials())
    materials = {**load_materials(), **{material.key: material for material in own}}
    tank: Any = None  # else what is amiss is refused below
    with top.gathering():
        tank = top.section("tank").read_by(tank_from)
    scape = Scape(
        name=top.text("name", path.stem),
        path=path,
        tank=tank,
        pieces=top.tables("piece", _piece_from, materials),
        lumps=top.tables("lump", _lump_from, materials),
        layers=top.tables("layer", layer_from, materials),
        borders=borders_from(top),
        groups=(),
        spots=top.tables("spot", spot_from),
        at_hand=top.tables("at_hand", _at_hand_from, materials, most=MOST_AT_HAND),
        prices=top.table("prices", _prices_from) or Prices(),
        us=tank is not None and _in_us_units(values["tank"]),
    )
    top.refuse()
    masses = {p.name: _mass_and_material(p) for p in scape.pieces if p.kind == "stone"}
    written = top.tables("group", group_from, materials, masses)
    ties = [(piece.name, piece.kind, piece.tied_to) for piece in scape.pieces]
    groups = with_tied(written, ties, masses)
    _refuse(path, _twice(groups))
    _refuse(path, _across_groups(groups, ties))
    scape = replace(scape, groups=groups, files=tuple(top.files))
    top.done()
    _refuse(path, _dangling(scape))
    return scape


def no_toml(error: Exception) -> str:
    """Say where a text is no TOML, without quoting it, and what is mostly amiss."""
    where = PLACE.search(str(error))
    return (
        f"is not valid TOML{f' at {where[1]}' if where else ''}; what has a unit, a sign or a "
        'comma stands in straight quotation marks, with a comma between two, ["30 cm", "16 cm"]; '
        "each piece stands below its own [[piece]]."
    )


def us_by(path: Path) -> bool:
    """Whether a scape file that may be faulty gives its tank in inches or feet."""
    with suppress(ScapeError, LookupError, TypeError, AttributeError):
        return _in_us_units(_read_toml(path)["tank"])
    return False


def _in_us_units(tank: Any) -> bool:
    """Whether the first side of a tank is written in inches or feet."""
    sides = tank.get("inside", tank.get("outside"))
    return in_us_units(str(sides[0]))


def _read_toml(path: Path) -> dict[str, object]:
    """Read the file as TOML, with one plain message for all that can go wrong."""
    try:
        state = path.stat()
        if not stat.S_ISREG(state.st_mode):
            raise ScapeError(path, "", "is no plain file; name a scape file.")
        if state.st_size > LARGEST_FILE:
            raise ScapeError(path, "", "is over 2 MB; a scape file is a page of text.")
        text = path.read_text(encoding="utf-8-sig")
        if _deepest_key(text) > DEEPEST_KEY:
            raise ScapeError(path, "", "has a key of too many parts.")
        return tomllib.loads(text)
    except ScapeError:
        raise
    except OSError as error:
        raise ScapeError(path, "", unreadable(path, error)) from None
    except UnicodeDecodeError:
        raise ScapeError(path, "", NOT_UTF8) from None
    except tomllib.TOMLDecodeError as error:
        raise ScapeError(path, "", f"{no_toml(error)} See the example of plumbstone new.") from None
    except (RecursionError, ValueError):
        raise ScapeError(path, "", "holds a value that is too deep or too long.") from None


def _deepest_key(text: str) -> int:
    """Count the dots in the longest dotted key; quoted texts count as one word."""
    deepest = run = 0
    before = ""
    for found in WORDS.finditer(text):
        word = found[0]
        run = run + 1 if word == "." else run if before == "." else 0
        deepest, before = max(deepest, run), word
    return deepest


def _prices_from(section: Section) -> Prices:
    """Read [prices]."""
    names = (f.name for f in fields(Prices))
    return Prices(*(section.number(name, None, least=0, sign="€") for name in names))


def _piece_from(section: Section, materials: Mapping[str, Material]) -> PieceEntry:
    """Read one [[piece]]."""
    material = material_of(section, materials, "a stone")
    mass = section.quantity("mass", "mass", None, least=LEAST_MASS)
    return PieceEntry(
        name=section.text("name"),
        kind=_kind_of(section, material),
        shape=_shape_from(section, mass),
        material=material,
        mass=mass,
        at=section.lengths("at", count=2),
        turn=section.number("turn", 0.0, least=-360, most=360, sign="°"),
        tilt=section.number("tilt", 0.0, least=-180, most=180, sign="°"),
        lean=section.number("lean", 90.0, least=-360, most=360, sign="°"),
        rests=section.text("rests", "floor"),
        pressed=section.quantity("pressed", "length", 0.0, least=0),
        settle=section.flag("settle"),
        tied_to=section.texts("tied_to"),
        price=section.number("price", None, least=0, sign="€/kg"),
    )


def _at_hand_from(section: Section, materials: Mapping[str, Material]) -> PieceEntry:
    """Read one [[at_hand]]: a stone that was weighed, measured or scanned."""
    mass = section.quantity("mass", "mass", None, least=LEAST_MASS)
    return PieceEntry(
        name=section.text("name"),
        kind="stone",
        shape=_shape_from(section, mass),
        material=material_of(section, materials, "a stone"),
        mass=mass,
        price=section.number("price", None, least=0, sign="€/kg"),
    )


def _shape_from(section: Section, mass: float | None) -> Shape:
    """Read the keys that tell a piece's form, and see that they don't contradict."""
    scan, unit = section.file("scan", None), section.text("unit", None)
    mesh = _mesh_from(section)
    solid = section.choice("solid", (*SOLIDS, "boulder"), "")
    size = section.lengths("size", None, count=3, least=1e-4)
    factor = section.number("shape_factor", None, least=0.05, most=1.0, sign="%")
    seed = section.whole("seed", 0)
    limbs = section.tables("limbs", _limb_from)
    if len({bool(limb.path) for limb in limbs}) > 1:
        raise section.error("limbs", "give every limb a path, or every limb a length alone.")
    ways = [bool(scan), mesh is not None, size is not None, bool(limbs)]
    if sum(ways) > 1:
        raise section.error("scan", "only one of scan, size and limbs can give the form.")
    if solid and size is None:
        raise section.error("size", f"is missing; solid = {solid!r} needs length, width, height.")
    if factor is not None and (size is None or solid or mass is not None):
        raise section.error(
            "shape_factor", "goes with a size alone, without solid or mass; drop it."
        )
    if unit is not None and scan is None:
        raise section.error("unit", "is that of a scan; drop it.")
    if not any(ways) and mass is None:
        raise section.error("scan", "give a scan, a size, limbs, or at least a mass.")
    return Shape(scan, mesh, unit, solid, size, factor, seed, limbs)


def _mesh_from(section: Section) -> Piece | None:
    """Take a mesh in memory: a Piece, or anything with vertices and faces, or a pair of them."""
    mesh = section.raw("mesh", None)
    if mesh is None:
        return None
    try:
        return piece_from(mesh, section.peek("name") or "mesh")
    except ValueError as problem:
        raise section.error("mesh", str(problem)) from None


def _limb_from(section: Section) -> Limb:
    """Read one limb: {path | length, girth = [start, end]}."""
    path = section.points("path", (), axes="xyz", least_count=2)
    if path:
        length = sum(math.dist(a, b) for a, b in itertools.pairwise(path))
    else:
        length = section.quantity("length", "length", least=1e-3)
    return Limb(path, length, section.lengths("girth", count=2, least=1e-3))


def _lump_from(section: Section, materials: Mapping[str, Material]) -> Lump:
    """Read one [[lump]]."""
    material = material_of(section, materials, "a stone or a wood")
    mass = section.quantity("mass", "mass", None, least=LEAST_MASS)
    volume = section.quantity("volume", "volume", None, least=1e-6)
    if (mass is None) == (volume is None):
        raise section.error("mass", "give the mass of all of them together, or their volume.")
    density = material.dense
    return Lump(
        name=section.text("name", "Loose stones"),
        kind=_kind_of(section, material),
        count=section.whole("count", 1, least=1),
        mass=density.times(volume) if mass is None else Range.exact(mass),
        volume=density.dividing(mass) if volume is None else Range.exact(volume),
        material=material,
        below_soil=section.number("below_soil", 0.0, least=0, most=1, sign="%"),
        pores_filled=section.flag("pores_filled"),
        price=section.number("price", None, least=0, sign="€/kg"),
    )


def _kind_of(section: Section, material: Material) -> str:
    """Tell stone from wood, as the material says where the file does not."""
    made = "wood" if material.kind == "wood" else "stone"
    kind: str = section.choice("kind", ("stone", "wood"), made)
    if kind != made:
        raise section.error("kind", f'is "{kind}", but {material.name} is {material.kind}.')
    return kind


def _mass_and_material(piece: PieceEntry) -> tuple[float, Material]:
    """Mass of a stone as far as the file alone tells it [kg], and its material."""
    if piece.mass is not None:
        return piece.mass, piece.material
    factor = piece.shape.shape_factor or SHAPE_FACTOR
    volume = math.prod(piece.shape.size or (0.0,)) * factor
    return volume * piece.material.dense.mid, piece.material


def _refuse(path: Path, problems: Iterable[tuple[str, str]]) -> None:
    """Refuse a scape for the first problem that is found: where it is, and what."""
    for where, problem in problems:
        raise ScapeError(path, where, problem)


def _dangling(scape: Scape) -> Iterator[tuple[str, str]]:
    """Find names that are taken twice or refer to nothing, and what is outside or too much."""
    names = [piece.name for piece in scape.pieces]
    for name in names:
        if names.count(name) > 1 or name in ("floor", "bed"):
            yield f'piece "{name}"', "this name is taken; choose another."
    for piece in scape.pieces:
        for target in (piece.rests, *piece.tied_to):
            if target not in (*names, "floor", "bed") or target == piece.name:
                problem = f'refers to "{target}", which is no other piece, "floor" or "bed".'
                yield f'piece "{piece.name}"', problem
    for spot in scape.spots:
        if spot.at[0] > scape.tank.length or spot.at[1] > scape.tank.depth:
            problem = "lies outside the tank; places count from the left and the front pane."
            yield f'spot "{spot.name}".at', problem
    wooden = {piece.name for piece in scape.pieces if piece.kind == "wood"}
    most = raised(MOST_WOOD)
    if len(wooden) > most:
        yield "piece", f"holds over {most} pieces of wood; take fewer, or raise <limits>."
    for group in scape.groups:
        for name in group.wood:
            if name not in wooden:
                problem = f'names "{name}", which is no piece of wood in this scape.'
                yield f'group "{group.name}"', problem
    zones = (layer.zone.polygon + layer.zone.line for layer in scape.layers)
    corners = sum(map(len, (*zones, *(border.line for border in scape.borders))))
    if corners > raised(MOST_CORNERS):
        problem = f"zones and borders of {corners} points in all, over {raised(MOST_CORNERS)}; "
        yield "", f"{problem}draw them with fewer, or raise <limits>."
    yield from _too_large(scape)
    for name in (name for border in scape.borders for name in border.stones):
        if name not in names:
            yield "border.stones", f'"{name}" is no piece of this scape.'
    rows = [border.name for border in scape.borders]
    for layer in scape.layers:
        if layer.zone.border and layer.zone.border not in rows:
            problem = f'names the border "{layer.zone.border}", which is not in this scape.'
            yield f'layer "{layer.name}".border', problem


def _twice(groups: Sequence[Group]) -> Iterator[tuple[str, str]]:
    """Find wood that moves with two groups, and stones that hold twice."""
    wood: set[str] = set()
    stones: set[str] = set()
    for group in groups:
        for name in group.wood:
            if name in wood:
                problem = f'names "{name}" once more; a piece of wood moves with one group.'
                yield f'group "{group.name}".wood', problem
            wood.add(name)
        for sinker in group.sinkers:
            if sinker.stone in stones:
                problem = f'names "{sinker.stone}" once more; one stone holds once: put the wood '
                problem += "that it holds into one group, or take another stone."
                yield f'group "{group.name}".sinkers', problem
            stones |= {sinker.stone} - {""}


def _across_groups(
    groups: Sequence[Group], ties: Iterable[tuple[str, str, tuple[str, ...]]]
) -> Iterator[tuple[str, str]]:
    """Find ties that join wood of two groups: what is tied together moves as one."""
    group_of = {name: group for group in groups for name in group.wood}
    for name, _, others in ties:
        for other in others:
            one, two = group_of.get(name), group_of.get(other)
            if one and two and one is not two:
                problem = f'is tied to "{other}" of the group "{two.name}"; name both in one group.'
                yield f'piece "{name}".tied_to', problem


def _too_large(scape: Scape) -> Iterator[tuple[str, str]]:
    """Find loose stones and wood that do not fit into the tank at all."""
    tank = scape.tank
    box = tank.length * tank.depth * (tank.height or tank.water_line or math.inf)
    for lump in scape.lumps:
        if lump.volume.mid > box:
            problem = (
                f"is <{lump.volume.mid * 1e3:.0f} L>, more than the tank of <{box * 1e3:.0f} L>."
            )
            yield f'lump "{lump.name}".mass', f"{problem} Check the unit."
