"""The glass box of a scape file: its sides, its water and what stands below it."""

from dataclasses import dataclass

from plumbstone.meshes.piece import Floats
from plumbstone.volumes.scape.sections import Section

SALINITY = {"fresh": 0.0, "brackish": 10.0, "salt": 35.0}  # [g/kg], common practice, no source
LEAST_LINE = 0.01  # [m]
LONGEST_SIDE, HIGHEST = 5.0, 1.5  # tanks beyond are told, as a slip of the unit may be [m]
LINE_BELOW_RIM = 0.03  # [m], common practice, no source


@dataclass(frozen=True, slots=True)
class Sump:
    """The vessel below a tank."""

    water: float  # while the pump runs [m³]
    area: float | None  # of the tank or weir that drains back [m²]
    drop: float | None  # from the running level to the siphon break [m]
    spare: float | None  # room left in the sump while the pump runs [m³]


@dataclass(frozen=True, slots=True)
class Tank:
    """The glass box, inside dimensions, and its water."""

    length: float  # along x [m]
    depth: float  # along y, front to back [m]
    height: float | None  # [m]; None where only the floor was measured
    glass: float | None  # pane thickness [m]
    water_line: float | None  # above the glass floor [m]
    celsius: float
    salinity: float  # [g/kg]
    bracing: float  # width of the rim brace [m]
    lamp_height: float | None  # above the rim [m]
    filter_water: float  # [m³]
    sump: Sump | None
    stand: tuple[float, float] | None  # footprint [m]
    guesses: tuple[str, ...] = ()

    @property
    def room(self) -> float:
        """Its height; where that was not measured, what is drawn and offered of it [m]."""
        return self.height or max(self.water_line or 0.0, self.depth)

    def nearest_pane(self, low: Floats, high: Floats) -> tuple[float, str]:
        """Tell which pane a box (3,) to (3,) [m] is nearest to, and how near; below zero: through.

        The distance comes first [m].
        """
        gaps = (low[0], self.length - high[0], low[1], self.depth - high[1])
        return min(zip(map(float, gaps), ("left", "right", "front", "back"), strict=True))


def tank_from(section: Section) -> Tank:
    """Read [tank]."""
    glass = section.quantity("glass", "length", None, least=0)
    sides = _inside(section, glass)
    guesses: tuple[str, ...] = ()
    height = sides[2] if len(sides) == 3 else None
    line = section.quantity("water_line", "length", None, least=0)
    if line is not None and line < LEAST_LINE:
        raise section.error("water_line", "is no depth of water; leave it out for a dry tank.")
    if line is None and height is not None:
        line = max(height - LINE_BELOW_RIM, 0.0)
        guesses = (f"water line taken <{LINE_BELOW_RIM * 100:.0f} cm> below the rim",)
    if line is not None and height is not None and line > height:
        raise section.error("water_line", "lies above the rim; lower it or raise the height.")
    if max(sides) > LONGEST_SIDE or (height or 0.0) > HIGHEST:
        told = " × ".join(f"{side:g} m" for side in sides)
        guesses = (*guesses, f"a tank of {told}: see that its units are right")
    water = section.choice("water", tuple(SALINITY), "fresh")
    stand = section.lengths("stand", None, count=2, least=0.05)
    tank = Tank(
        length=sides[0],
        depth=sides[1],
        height=height,
        glass=glass,
        water_line=line,
        celsius=section.quantity("temperature", "temperature", 25.0),
        salinity=section.number("salinity", SALINITY[water], least=0, most=42),
        bracing=section.quantity("bracing", "length", 0.0, least=0),
        lamp_height=section.quantity("lamp_height", "length", None, least=0),
        filter_water=section.quantity("filter_water", "volume", 0.0, least=0),
        sump=section.table("sump", _sump_from),
        stand=stand,
        guesses=guesses,
    )
    if not 0 <= tank.celsius <= 40:
        raise section.error("temperature", "lies outside 0-40 °C; water tables end there.")
    if 2 * tank.bracing >= min(tank.length, tank.depth):
        raise section.error("bracing", "leaves no opening; give the width of the brace.")
    return tank


def _inside(section: Section, glass: float | None) -> tuple[float, ...]:
    """Give the inside dimensions from `inside`, or from `outside` and the glass."""
    inside = section.lengths("inside", None, least=0)
    outside = section.lengths("outside", None, least=0)
    if (inside is None) == (outside is None):
        raise section.error(
            "inside", 'give either inside = ["60 cm", "30 cm", "36 cm"] or outside.'
        )
    key, sides = ("inside", inside) if inside is not None else ("outside", outside)
    if len(sides) not in (2, 3):
        raise section.error(key, "must be length, depth and, if known, height.")
    if key == "outside":
        if glass is None:
            raise section.error("glass", "is missing; outside dimensions need it.")
        sides = tuple(side - walls * glass for side, walls in zip(sides, (2, 2, 1), strict=False))
    if min(sides) < 0.05 or max(sides) > 10:
        raise section.error(key, "must lie between 5 cm and 10 m inside; check the unit.")
    return sides


def _sump_from(section: Section) -> Sump:
    """Read [tank.sump]."""
    return Sump(
        water=section.quantity("water", "volume", least=0),
        area=section.quantity("area", "area", None, least=0),
        drop=section.quantity("drop", "length", None, least=0),
        spare=section.quantity("spare", "volume", None, least=0),
    )
