"""Wood that is tied together, and the stones that hold it down, as the scape file says."""

from collections.abc import Mapping
from dataclasses import dataclass

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.materials import Material, find_material
from plumbstone.volumes.sections import Section

HOLDS = ("strapped", "hanging", "standing", "laid on")
FACTOR = 1.3  # common practice, no source


@dataclass(frozen=True, slots=True)
class Sinker:
    """A stone that holds wood down."""

    mass: float  # dry [kg]
    material: Material
    how: str  # one of HOLDS
    at: tuple[float, float, float] | None  # where its tie meets the wood, tank frame [m]
    slack: float  # of the tie [m]
    stone: str  # name of the piece it is, empty for one without a place

    def in_water(self, water: float) -> float:
        """Mass that it still weighs under water of a density [kg/m³] → [kg]."""
        density = self.material.density
        assert density is not None
        return self.mass * (1 - water / density.mid)


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
    sinkers: tuple[Sinker, ...]
    tub: TubTest | None
    factor: float  # on the lift, after unlucky densities
    tie_points: tuple[tuple[float, float, float], ...]  # allowed places for sinkers [m]
    log: tuple[tuple[float, float], ...]  # (day in the water, drained mass [kg])


def group_from(
    section: Section,
    materials: Mapping[str, Material],
    masses: Mapping[str, tuple[float, Material]],
) -> Group:
    """Read one [[group]]; `masses` gives mass and material of stones named as sinkers."""
    tub = section.section("just_sinks_with", None)
    group = Group(
        name=section.text("name", "Wood"),
        wood=section.texts("wood"),
        sinkers=tuple(_sinker_from(s, materials, masses) for s in section.sections("sinkers")),
        tub=None if tub is None else _tub_from(tub, materials),
        factor=section.number("factor", FACTOR, least=1, most=10),
        tie_points=_points_from(section),
        log=tuple(_weighing_from(entry) for entry in section.sections("log")),
    )
    if not group.wood:
        raise section.error("wood", "is missing; name the pieces of wood in this group.")
    section.done()
    return group


def _weighing_from(section: Section) -> tuple[float, float]:
    """Read one weighing of soaking wood: `day` and `mass`."""
    weighing = section.number("day", least=0), section.quantity("mass", "mass", least=1e-6)
    section.done()
    return weighing


def _points_from(section: Section) -> tuple[tuple[float, float, float], ...]:
    """Read `tie_points`, a list of ["x", "y", "z"]."""
    points = section.raw("tie_points", [])
    if not isinstance(points, list):
        raise section.error("tie_points", 'must be a list of ["x", "y", "z"] points.')
    rows = Section(
        {str(i): p for i, p in enumerate(points, 1)}, section.path, f"{section.where}.tie_points"
    )
    return tuple(rows.quantities(str(i), "length", count=3) for i in range(1, len(points) + 1))


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
        material = _material(section, materials)
    sinker = Sinker(
        mass=mass,
        material=material,
        how=section.choice("how", HOLDS, "hanging"),
        at=section.quantities("at", "length", None, count=3),
        slack=section.quantity("slack", "length", 0.0, least=0),
        stone=stone,
    )
    section.done()
    return sinker


def _tub_from(section: Section, materials: Mapping[str, Material]) -> TubTest:
    """Read what the group just sank with."""
    tub = TubTest(section.quantity("mass", "mass", least=1e-6), _material(section, materials))
    section.done()
    return tub


def _material(section: Section, materials: Mapping[str, Material]) -> Material:
    """Find a sinker's material; it must have a density."""
    try:
        material = find_material(section.text("material"), materials)
    except PlumbstoneError as error:
        raise section.error("material", str(error)) from None
    if material.density is None:
        raise section.error("material", f"{material.name} has no density; name a stone.")
    return material
