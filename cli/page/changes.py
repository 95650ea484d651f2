"""Changes that the page makes to a scape file: texts in, texts out."""

import functools
import operator
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from plumbstone.cli.page.folder import Kept
from plumbstone.cli.page.measures import Measures, degrees
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.scape.groups import weighed_stone
from plumbstone.volumes.scape.layers import Profile
from plumbstone.volumes.scape.scape import PieceEntry, Scape
from plumbstone.volumes.scape.writing import free_name, with_added, with_keys

Edit = Callable[[str], str]
Place = tuple[float, float]
Box = tuple[Sequence[float], Sequence[float]]  # least and greatest x and y of an outline [m]
MOUND = {"rise": 0.03, "radius": 0.10}  # of a new one [m]
SAND = 0.02  # depth of a new layer [m]
BORDER = "Border"


def layer_rows(text: str) -> list[dict[str, Any]]:
    """Give the layers of a file that have a name, as they are written."""
    rows = tomllib.loads(text).get("layer", [])
    return [row for row in rows if isinstance(row, dict) and isinstance(row.get("name"), str)]


def layer_row(text: str, name: str) -> dict[str, Any]:
    """Give one layer as it is written."""
    found = next((row for row in layer_rows(text) if row["name"] == name), None)
    if found is None:
        raise PlumbstoneError(f'There is no layer "{name}" any more.')
    return found


def level_key(row: Mapping[str, Any]) -> str:
    """Name the key that a layer's heights stand under."""
    return "depth" if "depth" in row else "height"


def with_in_layer(text: str, layer: str, way: Sequence[str | int], value: Any) -> str:
    """Set one value deep inside a layer; None takes it away."""
    row = layer_row(text, layer)
    if len(way) > 1:
        at = held_in(row, way[:-1])
        if value is None:
            del at[way[-1]]
        else:
            at[way[-1]] = value
        value = row[str(way[0])] or None
    return with_keys(text, "layer", layer, {str(way[0]): value})


def held_in(row: Mapping[str, Any], way: Sequence[str | int]) -> Any:
    """Give what is held deep inside a row."""
    return functools.reduce(operator.getitem, way, row)  # type: ignore[arg-type]


def with_part(text: str, layer: str, key: str, part: Mapping[str, Any]) -> str:
    """Add a part to a list in a layer: a mound or a bag."""
    parts = layer_row(text, layer).get(key, [])
    return with_keys(text, "layer", layer, {key: [*parts, part]})


def with_mound(text: str, layer: str, at: Place, measures: Measures) -> str:
    """Add a mound to a layer at a place [m]."""
    part = {
        "at": [measures.written(v) for v in at],
        **{key: measures.written(measures.snapped(value)) for key, value in MOUND.items()},
    }
    return with_part(text, layer, "mounds", part)


def with_terraces(text: str, layer: str, scape: Scape, measures: Measures) -> str:
    """Turn a slope into two steps, or add one step more behind the last."""
    key, profile = level_key(layer_row(text, layer)), _profile(scape, layer)
    steps = list(profile.terraces)
    if steps:
        start, level = steps[-1]
        steps.append((start + (scape.tank.depth - start) / 3, level + SAND))
    else:
        low, high = min(profile.corners), max(profile.corners)
        steps = [(0.0, low), (scape.tank.depth / 3, max(high, low + SAND))]
    written = [
        {"from": measures.written(measures.snapped(a)), "level": measures.written(b)}
        for a, b in steps
    ]
    return with_keys(text, "layer", layer, {key: {"terraces": written}})


def with_slope(text: str, layer: str, scape: Scape, measures: Measures, *, apart: bool) -> str:
    """Give a layer a level at the front and one at the back, or one at each corner."""
    key, profile = level_key(layer_row(text, layer)), _profile(scape, layer)
    corners = profile.corners
    if profile.terraces:
        corners = (*(profile.terraces[0][1],) * 2, *(profile.terraces[-1][1],) * 2)
    if apart:
        names: Sequence[str] = ("front_left", "front_right", "back_left", "back_right")
    else:
        names, corners = ("front", "back"), (corners[0], corners[2])  # type: ignore[assignment]
    levels = {name: measures.written(v) for name, v in zip(names, corners, strict=True)}
    return with_keys(text, "layer", layer, {key: levels})


def _profile(scape: Scape, layer: str) -> Profile:
    """Give the heights of a layer that has them."""
    profile = next(la.profile for la in scape.layers if la.name == layer)
    assert profile is not None
    return profile


def with_new_layer(text: str, material: str, zone: str, measures: Measures) -> str:
    """Add a layer on top."""
    taken = [row["name"] for row in layer_rows(text)]
    keys = {
        "name": free_name(material.capitalize(), taken), "material": material, "zone": zone,
        "depth": measures.written(measures.snapped(SAND)),
    }  # fmt: skip
    return with_added(text, "layer", keys)


def with_border(text: str, scape: Scape, row: Sequence[str], measures: Measures) -> str:
    """Draw the border through stones, from the left pane to the right one.

    It is the border that has most of these stones; where none has any, one without stones, else
    a new one.
    """
    places = sorted(entry.at for entry in scape.pieces if entry.name in row)
    line = [(0.0, places[0][1]), *places, (scape.tank.length, places[-1][1])]
    points = [[measures.written(x), measures.written(y)] for x, y in line]
    ordered = [entry.name for entry in sorted(scape.pieces, key=lambda e: e.at)]
    keys = {"line": points, "stones": [name for name in ordered if name in row]}
    old = max(scape.borders, key=lambda b: len({*b.stones} & {*row}), default=None)
    if old is not None and not {*old.stones} & {*row}:
        old = next((border for border in scape.borders if not border.stones), None)
        if old is None:
            return _with_new_border(text, scape, keys)
    return with_keys(text, "border", old.name or None if old else None, keys)


def _with_new_border(text: str, scape: Scape, keys: Mapping[str, Any]) -> str:
    """Add a border beside others; each of several needs a name, and a table of a list."""
    taken = [border.name for border in scape.borders]
    if taken == [""]:
        text = re.sub(r"(?m)^([ \t]*)\[\s*border\s*\]", r"\1[[border]]", text, count=1)
        text, taken = with_keys(text, "border", None, {"name": BORDER}), [BORDER]
    return with_added(text, "border", {"name": free_name(BORDER, taken), **keys})


def with_tub_test(text: str, scape: Scape, wood: str, told: str) -> str:
    """Set with which stone the group of a piece of wood just sinks, "520 g granite"; or none."""
    tub = None
    if told.strip():
        mass, material = weighed_stone(told)
        tub = {"mass": f"{round(mass * 1e3, 2):g} g", "material": material.key}
    rows = tomllib.loads(text).get("group", [])
    row = next((row for row in rows if wood in row.get("wood", ())), None)
    if row is not None:
        return with_keys(text, "group", row.get("name"), {"just_sinks_with": tub})
    group = next(group for group in scape.groups if wood in group.wood)
    keys = {"name": group.name, "wood": [*group.wood], "just_sinks_with": tub}
    return with_added(text, "group", keys) if tub else text


def mirrored(entry: PieceEntry, scape: Scape, measures: Measures) -> dict[str, Any]:
    """Give the keys of a piece on the other side of the middle, turned the other way.

    Nobody mirrors a real piece; turned so, wood that points to one side points to the other.
    """
    x, y = scape.tank.length - entry.at[0], entry.at[1]
    half = 180 if entry.kind == "wood" else 0
    keys: dict[str, Any] = {
        "at": [measures.written(x), measures.written(y)],
        "turn": degrees(half - entry.turn),
    }
    return {**keys, "lean": degrees(180 - half - entry.lean)} if entry.tilt else keys


def of_stock(kept: Kept, measures: Measures) -> dict[str, Any]:
    """Give the keys of a piece from the stock."""
    keys: dict[str, Any] = {"name": kept.name, "kind": kept.kind, "material": kept.material}
    if kept.scan:
        keys |= {"scan": kept.scan, "unit": "m"}
    else:
        keys["size"] = [measures.written(side) for side in kept.size]
    if kept.mass:
        keys["mass"] = kept.mass
    if kept.price is not None:
        keys["price"] = round(kept.price, 4)
    return keys


def added_somewhere(
    keys: Mapping[str, Any], size: Sequence[float], others: Sequence[Box], scape: Scape,
    measures: Measures,
) -> Iterator[Edit]:  # fmt: skip
    """Give edits that set a new piece of a size [m] at ever other places, free ones first."""
    shares = [i / 10 for i in range(1, 10)]
    spread = sorted(
        ((x, y) for x in shares for y in shares), key=lambda p: abs(p[0] - 0.5) + abs(p[1] - 0.5)
    )
    places = [(x * scape.tank.length, y * scape.tank.depth) for x, y in spread]
    for at in sorted(places, key=lambda at: not is_free(at, size, others)):
        row = {**keys, "at": [measures.written(measures.snapped(v)) for v in at]}
        yield lambda text, row=row: with_added(text, "piece", row)  # type: ignore[misc]


def is_free(at: Place, size: Sequence[float], others: Sequence[Box]) -> bool:
    """Whether the outline of a piece of a size [m] at a place overlaps that of no other."""
    reach = (size[0] / 2, size[1] / 2)
    return not any(
        all(low[i] - reach[i] < at[i] < high[i] + reach[i] for i in (0, 1)) for low, high in others
    )


def places_beside(
    at: Place, size: Sequence[float], floor: Place, measures: Measures
) -> Iterator[Place]:
    """Give places around a piece, the nearest first [m]."""
    (wide, deep), step = size[:2], measures.step
    for ring in (1, 2, 3):
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1)):
            x = measures.snapped(at[0] + dx * ring * (wide + step))
            y = measures.snapped(at[1] + dy * ring * (deep + step))
            inside = wide / 2 <= x <= floor[0] - wide / 2 and deep / 2 <= y <= floor[1] - deep / 2
            if inside:
                yield x, y
