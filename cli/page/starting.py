"""The first layout of a new tank, written from a few answers."""

import json
import math
from dataclasses import dataclass, field

from plumbstone.cli.page.measures import Measures

SIDES = (0.60, 0.30, 0.36)  # of the tank that is offered first [m]
STONE = 0.10  # about how wide a border stone is [m]
SLACK = 0.002  # between two stones of a row, so that none is drawn into the other [m]
WAVE = (0.0, 0.008, 0.012, 0.004)  # by how much the stones of a row stand back and forth [m]
SAND = 0.02  # depth of the front sand [m]
# A piece of wood on three feet, for a length of 40 cm: paths and girths [m].
LIMBS = (
    (((0, 0, 0.04), (0.14, 0.01, 0.05), (0.28, -0.01, 0.17), (0.40, -0.03, 0.26)), (1.0, 0.45)),
    (((0.08, 0.02, 0.04), (0.12, 0.08, 0.035), (0.17, 0.11, 0.025)), (0.6, 0.3)),
    (((0.09, -0.01, 0.04), (0.14, -0.06, 0.035), (0.20, -0.08, 0.025)), (0.55, 0.28)),
)
LIMBS_FOR = 0.40  # [m]
# Lengths that are offered first, as a share of one side of the tank; nothing hangs on them.
SHARES = {
    "front": (2, 0.08), "back": (2, 0.22), "from_front": (1, 0.34), "high": (2, 0.17),
    "long": (0, 0.45), "girth": (0, 0.33),
}  # fmt: skip


@dataclass(slots=True)
class Start:
    """The answers; lengths in metres."""

    name: str = "My tank"
    sides: tuple[float, float, float] = SIDES
    glass: float | None = 0.006
    soil: str = "baked-clay soil"
    bags: tuple[tuple[str, float | None], ...] = ()
    row: bool = True
    rock: str = "basalt"
    wood: bool = True
    kind: str = "driftwood"
    mass: str = ""
    pulled: dict[str, float] = field(default_factory=dict)  # of `SHARES`, where they were set

    def length(self, name: str) -> float:
        """Give a length as it was set, else one that suits the tank [m]."""
        side, share = SHARES[name]
        offered = share * self.sides[side]
        if name == "long":  # its feet spread by half of that
            offered = min(offered, 0.9 * self.sides[1])
        return self.pulled.get(name, offered)


def first_layout(start: Start, measures: Measures, steps: int = 4) -> str:
    """Write the scape file of the first steps: tank, slope, border, wood."""
    parts = [_tank, _soil, _row, _wood]
    texts = [part(start, measures) for part in parts[:steps]]
    row = start.row and steps > 2
    zone = "behind border" if row else "all"
    return "\n".join(texts).replace("ZONE", zone)


def _tank(start: Start, measures: Measures) -> str:
    length, depth, height = map(measures.written, start.sides)
    glass = f"\nglass = {_text(f'{start.glass * 1e3:g} mm')}" if start.glass else ""
    return (
        f"name = {_text(start.name)}\n\n[tank]\n"
        f"inside = [{_text(length)}, {_text(depth)}, {_text(height)}]{glass}\n"
    )


def _soil(start: Start, measures: Measures) -> str:
    bags = ", ".join(
        f"{{ holds = {_text(holds)}{'' if price is None else f', price = {price:g}'} }}"
        for holds, price in start.bags
    )
    return (
        f'[[layer]]\nname = "Soil"\nmaterial = {_text(start.soil)}\nzone = "ZONE"\n'
        f"height = {{ front = {_text(measures.written(measures.snapped(start.length('front'))))}, "
        f"back = {_text(measures.written(measures.snapped(start.length('back'))))} }}\n"
        + (f"bags = [{bags}]\n" if bags else "")
    )


def _row(start: Start, measures: Measures) -> str:
    """Write a row of stones from pane to pane, and sand before it."""
    if not start.row:
        return ""
    length = start.sides[0]
    count = max(2, math.ceil(length / STONE))
    wide = length / count
    names, texts, line = [], [], []
    for i in range(count):
        at = ((i + 0.5) * wide, start.length("from_front") + WAVE[i % len(WAVE)])
        size = (wide - SLACK, 0.75 * wide, measures.snapped(start.length("high")))
        names.append(_text(f"Border {i + 1}"))
        line.append(at)
        texts.append(
            f'[[piece]]\nname = "Border {i + 1}"\nkind = "stone"\nmaterial = {_text(start.rock)}\n'
            f'solid = "boulder"\nseed = {11 + i}\nsize = [{_list(size, measures)}]\n'
            f"at = [{_list(at, measures)}]\n"
        )
    line = [(0.0, line[0][1]), *line, (length, line[-1][1])]
    points = ", ".join(f"[{_list(point, measures)}]" for point in line)
    border = f"[border]\nline = [{points}]\nstones = [{', '.join(names)}]\n"
    border += "strip = true  # floss behind the stones, hidden by the soil\n"
    sand = (
        '[[layer]]\nname = "Front sand"\nmaterial = "sand"\nzone = "before border"\n'
        f"depth = {_text(measures.written(measures.snapped(SAND)))}\n"
    )
    return "\n".join([*texts, border, sand])


def _wood(start: Start, measures: Measures) -> str:
    """Write a piece of wood on three feet, right of the middle."""
    if not start.wood:
        return ""
    scale = start.length("long") / LIMBS_FOR
    limbs = []
    for path, shares in LIMBS:
        points = ", ".join(f"[{_list([scale * v for v in p], measures)}]" for p in path)
        girths = _list([start.length("girth") * share for share in shares], measures)
        limbs.append(f"  {{ path = [{points}], girth = [{girths}] }},\n")
    length, depth, _ = start.sides
    mass = f"mass = {_text(start.mass)}  # dry\n" if start.mass else ""
    front = start.length("from_front") if start.row else 0.0
    at = (0.62 * length, front + 0.55 * (depth - front))
    return (
        f'[[piece]]\nname = "Wood"\nkind = "wood"\nmaterial = {_text(start.kind)}\n{mass}'
        f"at = [{_list([measures.snapped(v) for v in at], measures)}]\nturn = 180\n"
        f"settle = true  # it turns until it stands on its feet\nlimbs = [\n{''.join(limbs)}]\n"
    )


def _list(values: "tuple[float, ...] | list[float]", measures: Measures) -> str:
    return ", ".join(_text(measures.written(value)) for value in values)


def _text(value: str) -> str:
    """Quote a text as TOML does."""
    return json.dumps(value, ensure_ascii=False)
