"""Wood that is tied together, and the stones that hold it down, as the scape file says."""

import datetime
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.scape.materials import Material, find_material, material_of
from plumbstone.volumes.scape.quantities import parse_quantity
from plumbstone.volumes.scape.sections import Section

HOLDS = ("strapped", "hanging", "standing", "laid on")
KEPT = ("strapped", "laid on")  # those that stay where other sinkers are offered
FACTOR = 1.3  # common practice, no source
FRICTION = Range(math.tan(math.radians(15)), math.tan(math.radians(27)), 0.8)
# of wet wood on stone: slippery, common, rough; from memory
MOST_TIE_POINTS = 8  # all sets of three of them are tried


@dataclass(frozen=True, slots=True)
class Weighing:
    """One line of a log of soaking wood."""

    day: float  # in the water
    mass: float  # as the scale shows it [kg]
    in_water: bool = False  # weighed hanging in the water, not drained in air


@dataclass(frozen=True, slots=True)
class Sinker:
    """A stone that holds wood down."""

    mass: float  # dry [kg]
    material: Material
    how: str  # one of HOLDS
    at: tuple[float, float, float] | None = None  # where its tie meets the wood, tank frame [m]
    slack: float = 0.0  # of the tie [m]
    stone: str = ""  # name of the piece it is, empty for one without a place
    price: float | None = None  # per kilogram


@dataclass(frozen=True, slots=True)
class TubTest:
    """What the user measured: the group just sinks with this stone hung on it."""

    mass: float  # [kg]
    material: Material


@dataclass(frozen=True, slots=True)
class Group:
    """Pieces of wood that move as one, and what holds them."""

    name: str
    wood: tuple[str, ...]  # names of pieces
    sinkers: tuple[Sinker, ...] = ()
    tub: TubTest | None = None
    factor: float = FACTOR  # on the lift, after unlucky densities
    tie_points: tuple[tuple[float, float, float], ...] = ()  # allowed places for sinkers [m]
    log: tuple[Weighing, ...] = ()
    friction: Range = FRICTION


def group_from(
    section: Section,
    materials: Mapping[str, Material],
    masses: Mapping[str, tuple[float, Material]],
) -> Group:
    """Read one [[group]]; `masses` gives mass [kg] and material of stones named as sinkers."""
    friction = section.number("friction", None, least=0.05, most=1.5)
    group = Group(
        name=section.text("name", "Wood"),
        wood=section.texts("wood"),
        sinkers=section.tables("sinkers", _sinker_from, materials, masses),
        tub=section.table("just_sinks_with", _tub_from, materials),
        factor=section.number("factor", FACTOR, least=1, most=10),
        tie_points=section.points(
            "tie_points", (), axes="xyz", least_count=0, most=MOST_TIE_POINTS
        ),
        log=_log_from(section),
        friction=FRICTION if friction is None else Range.exact(friction),
    )
    if not group.wood:
        raise section.error("wood", "is missing; name the pieces of wood in this group.")
    return group


def weighed_stone(text: str) -> tuple[float, Material]:
    """Read "520 g granite" as a mass [kg] and the material of a stone.

    Raises
    ------
    PlumbstoneError
        If it is no such text, or the material is no stone.
    """
    found = re.fullmatch(r"\s*(.*\d)\s*([^\W\d]+)\s+(.+)", text)
    if found is None:
        raise PlumbstoneError(f'"{text}": write a mass and a stone, such as "520 g granite".')
    mass, material = parse_quantity(f"{found[1]} {found[2]}", "mass"), find_material(found[3])
    if material.kind != "stone":
        raise PlumbstoneError(f"{material.name} is no stone; name the stone that pulls.")
    if not mass > 0:
        raise PlumbstoneError(f'"{text}": a mass must be more than nothing.')
    return mass, material


def with_tied(
    groups: Sequence[Group],
    ties: Iterable[tuple[str, str, tuple[str, ...]]],
    masses: Mapping[str, tuple[float, Material]],
) -> tuple[Group, ...]:
    """Put every piece of wood into a group, with the stones that are tied to it.

    Ties are told of all pieces: a name, its kind, and the names it is tied to; masses [kg] of the
    stones. What the file writes comes first, then one group for each piece of wood, or pieces tied
    together or to one stone, that none names. A stone tied to wood that is no sinker of it yet is
    strapped to it.
    """
    ties = list(ties)
    wood = {name for name, kind, _ in ties if kind == "wood"}
    named = {name for group in groups for name in group.wood}
    pairs = {(name, other) for name, _, to in ties for other in to}
    pairs |= {(other, name) for name, other in pairs}
    found = list(groups)
    for name, _, _ in ties:
        if name not in wood - named:
            continue
        part = [name]
        for member in part:  # grows as it is walked
            part += [n for a, n in pairs if a == member and n not in {*part, *named}]
        named |= {*part} & wood
        together = tuple(n for n, _, _ in ties if n in part and n in wood)
        found.append(Group(" and ".join(together), together))
    return tuple(_with_strapped(group, pairs, masses) for group in found)


def _with_strapped(
    group: Group, pairs: Iterable[tuple[str, str]], masses: Mapping[str, tuple[float, Material]]
) -> Group:
    """Add the stones that are tied to the wood of a group and are no sinkers of it yet."""
    known = {sinker.stone for sinker in group.sinkers}
    stones = sorted({b for a, b in pairs if a in group.wood and b in masses and b not in known})
    added = tuple(Sinker(*masses[name], "strapped", stone=name) for name in stones)
    return replace(group, sinkers=(*group.sinkers, *added))


def _log_from(section: Section) -> tuple[Weighing, ...]:
    """Read the weighings of soaking wood; days count from the first date, if dates are given."""
    dated = section.tables("log", _weighing_from)
    if len({isinstance(day, datetime.date) for day, _ in dated}) > 1:
        raise section.error("log", "give every weighing a date, or every one a day.")
    days = [day.toordinal() if isinstance(day, datetime.date) else day for day, _ in dated]
    first = min(days) if dated and isinstance(dated[0][0], datetime.date) else 0.0
    found = (
        replace(weighing, day=float(day - first))
        for day, (_, weighing) in zip(days, dated, strict=True)
    )
    return tuple(sorted(found, key=lambda weighing: weighing.day))


def _weighing_from(section: Section) -> tuple[float | datetime.date, Weighing]:
    """Read one weighing: `day` or `date`, `mass`, and whether it hung in water."""
    day: float | datetime.date = 0.0
    if section.has("date"):
        day = section.raw("date")
        if not isinstance(day, datetime.date):
            raise section.error("date", "must be a date without quotation marks: 2026-03-01.")
    else:
        day = section.number("day", least=0)
    in_water = section.choice("weighed", ("air", "water"), "air") == "water"
    least = -100 if in_water else 1e-6  # what still floats pulls the scale up
    return day, Weighing(0.0, section.quantity("mass", "mass", least=least), in_water)


def _sinker_from(
    section: Section,
    materials: Mapping[str, Material],
    masses: Mapping[str, tuple[float, Material]],
) -> Sinker:
    """Read one sinker: a named stone, or a mass of a material."""
    stone = section.text("stone", "")
    if stone and stone not in masses:
        raise section.error("stone", f'"{stone}" is no stone of this scape with a mass or a size.')
    if stone:
        mass, material = masses[stone]
    else:
        mass = section.quantity("mass", "mass", least=1e-6)
        material = material_of(section, materials, "a stone")
    return Sinker(
        mass=mass,
        material=material,
        how=section.choice("how", HOLDS, "hanging"),
        at=section.lengths("at", None, count=3),
        slack=section.quantity("slack", "length", 0.0, least=0),
        stone=stone,
        price=section.number("price", None, least=0, sign="€/kg"),
    )


def _tub_from(section: Section, materials: Mapping[str, Material]) -> TubTest:
    """Read what the group just sank with."""
    mass = section.quantity("mass", "mass", least=1e-6)
    return TubTest(mass, material_of(section, materials, "a stone"))
