"""Tanks with wood that is to be held, written as in a scape file."""

from pathlib import Path

from small_tanks import planned

from plumbstone.volumes.holding.hold_down import HoldResult
from plumbstone.volumes.plan import Plan

TANK = (
    '[tank]\ninside = ["120 cm", "50 cm", "50 cm"]\nwater_line = "46 cm"\ntemperature = "20 °C"\n'
)


WOOD = (
    '[[piece]]\nname = "{name}"\nkind = "wood"\nsolid = "box"\nmaterial = "driftwood"\n'
    'size = ["{x} cm", "{y} cm", "{z} cm"]\nmass = "{mass} kg"\nat = ["{at} cm", "25 cm"]\n{more}\n'
)


STONE = (
    '[[piece]]\nname = "{name}"\nsolid = "box"\nmaterial = "granite"\n'
    'size = ["{x} cm", "{y} cm", "{z} cm"]\nat = ["{at} cm", "25 cm"]\n{more}\n'
)


def plan_of(folder: Path, *parts: str) -> Plan:
    return planned(folder, TANK + "".join(parts))


def wood(
    name: str, size: tuple[float, float, float], mass: float, at: float, more: str = ""
) -> str:
    x, y, z = size
    return WOOD.format(name=name, x=x, y=y, z=z, mass=mass, at=at, more=more)


def stone(name: str, size: tuple[float, float, float], at: float, more: str = "") -> str:
    x, y, z = size
    return STONE.format(name=name, x=x, y=y, z=z, at=at, more=more)


def hold_of(folder: Path, *parts: str) -> HoldResult:
    return plan_of(folder, *parts).holds[0]


def tied(*sinkers: str, wood: str = '"Log"', more: str = "") -> str:
    """Write a group with some sinkers."""
    return f"[[group]]\nwood = [{wood}]\nsinkers = [{', '.join(sinkers)}]\n{more}\n"


def hung(what: str, x: float, z: float, how: str = "hanging") -> str:
    """Write granite of a mass, or a stone by its name, at a place of the wood [cm]."""
    what = f'mass = "{what}", material = "granite"' if what[0].isdigit() else f'stone = "{what}"'
    return f'{{ {what}, how = "{how}", at = ["{x} cm", "25 cm", "{z} cm"] }}'


LOG = wood("Log", (40, 6, 6), 1.1, 45)


def judged(folder: Path, sinkers: str) -> HoldResult:
    """A block 40 × 6 × 6 cm of 1.1 kg that just sinks with 520 g of granite."""
    text = (
        '[tank]\ninside = ["90 cm", "45 cm", "45 cm"]\nwater_line = "41 cm"\n'
        'temperature = "25 °C"\n[[piece]]\nname = "Log"\nkind = "wood"\nsolid = "box"\n'
        'size = ["40 cm", "6 cm", "6 cm"]\nmass = "1.1 kg"\nmaterial = "driftwood"\n'
        'at = ["45 cm", "22 cm"]\n[[group]]\nwood = ["Log"]\n'
        f'just_sinks_with = {{ mass = "520 g", material = "granite" }}\n{sinkers}\n'
    )
    return planned(folder, text).holds[0]


def stump(height: int, line: int) -> str:
    """A box of driftwood that was not weighed, 12 × 12 cm, upright in water up to a line [cm]."""
    return (
        f'[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\nwater_line = "{line} cm"\n'
        'temperature = "25 °C"\n[[piece]]\nname = "Stump"\nmaterial = "driftwood"\n'
        f'solid = "box"\nsize = ["12 cm", "12 cm", "{height} cm"]\nat = ["30 cm", "15 cm"]\n'
    )
