"""The first layout of a new tank, written from a few answers."""

import math
from dataclasses import dataclass, field
from typing import Any

from tomlkit import item

from plumbstone.cli.page.measures import Measures
from plumbstone.volumes.scape.writing import with_added, with_keys

SIDES = (0.60, 0.30, 0.36)  # of the tank that is offered first [m]
STONE = 0.10  # about how wide a border stone is [m]
WIDER = 1.3  # than high is a border stone that stands
SEEDS = range(11, 18)  # of boulders that stand well
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

    sides: tuple[float, ...]
    bags: tuple[tuple[str, float | None], ...]
    glass: float | None
    name: str = "My tank"
    soil: str = "baked-clay soil"
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
    text = with_keys("", "", None, {"name": start.name})
    text = with_added(text, "tank", _tank(start, measures), listed=False)
    if steps > 1:
        zone = "behind border" if start.row and steps > 2 else "all"
        text = with_added(text, "layer", _soil(start, measures, zone))
    if steps > 2 and start.row:
        text = _with_row(text, start, measures)
    if steps > 3 and start.wood:
        text = with_added(text, "piece", _wood(start, measures))
    return text


def _tank(start: Start, measures: Measures) -> dict[str, Any]:
    """Give the keys of the tank."""
    inside = list(map(measures.written, start.sides))
    return {"inside": inside, "glass": measures.shown_pane(start.glass) or None}


def _soil(start: Start, measures: Measures, zone: str) -> dict[str, Any]:
    """Give the keys of the soil, with its bags."""
    bags = [
        {"holds": holds} | ({} if price is None else {"price": price})
        for holds, price in start.bags
    ]
    levels = {
        key: measures.written(measures.snapped(start.length(key))) for key in ("front", "back")
    }
    return {
        "name": "Soil", "material": start.soil, "zone": zone, "height": levels,
        "bags": bags or None,
    }  # fmt: skip


def _with_row(text: str, start: Start, measures: Measures) -> str:
    """Add a row of stones from pane to pane, and sand before it."""
    length, line = start.sides[0], list[tuple[float, float]]()
    high = measures.snapped(start.length("high"))
    wide = length / max(2, math.ceil(length / max(STONE, WIDER * high)))
    size = (wide - SLACK, 0.75 * wide, high)
    names = [f"Border {i + 1}" for i in range(round(length / wide))]
    for i, name in enumerate(names):
        line.append(((i + 0.5) * wide, start.length("from_front") + WAVE[i % len(WAVE)]))
        keys = {
            "name": name, "kind": "stone", "material": start.rock, "solid": "boulder",
            "seed": SEEDS[i % len(SEEDS)], "size": list(map(measures.written, size)),
            "at": list(map(measures.written, line[-1])),
        }  # fmt: skip
        text = with_added(text, "piece", keys)
    line = [(0.0, line[0][1]), *line, (length, line[-1][1])]
    strip = item(True).comment("floss behind the stones, hidden by the soil")
    points = [list(map(measures.written, point)) for point in line]
    keys = {"line": points, "stones": names, "strip": strip}
    text = with_added(text, "border", keys, listed=False)
    sand = {
        "name": "Front sand", "material": "sand", "zone": "before border",
        "depth": measures.written(measures.snapped(SAND)),
    }  # fmt: skip
    return with_added(text, "layer", sand)


def _wood(start: Start, measures: Measures) -> dict[str, Any]:
    """Give the keys of a piece of wood on three feet, right of the middle."""
    (length, depth, _), scale = start.sides, start.length("long") / LIMBS_FOR
    front = start.length("from_front") if start.row else 0.0
    at = (0.62 * length, front + 0.55 * (depth - front))
    limbs = [
        {
            "path": [[measures.written(scale * v) for v in place] for place in path],
            "girth": [measures.written(start.length("girth") * share) for share in shares],
        }
        for path, shares in LIMBS
    ]
    return {
        "name": "Wood", "kind": "wood", "material": start.kind,
        "mass": item(start.mass).comment("dry") if start.mass else None,
        "at": [measures.written(measures.snapped(v)) for v in at], "turn": 180,
        "settle": item(True).comment("it turns until it stands on its feet"), "limbs": limbs,
    }  # fmt: skip
