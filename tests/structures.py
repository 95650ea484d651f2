"""Scapes, logs, maps and scans by structure: sound ones at random, then bent where it hurts."""

import copy
import io
import json
import math
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
from PIL import Image

from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes

Rng = np.random.Generator
HOSTILE: tuple[Any, ...] = (
    0, -1, 1e308, -1e308, math.nan, math.inf, 10**30, True, "", " ", "x", [], {}, [[]], [1, 2, 3],
    "0 cm", "-3 cm", "1e300 cm", "1e-9 m", "0.1 mm", "99 m", "8 in", "3 kg", "0 kg", "1e5 kg",
    "1e-4 kg", "0 L", "900 L", "nan cm", "cm", "9**9 cm", "٣ cm", "8 °C", "39 °C", "\u202ecm 8",
    "a\0b", "\x1b[2J", "../x.ply", "/etc/passwd", "floor", "bed", "A0", "A1", "wood", "granite",
    "sand", ["0 cm", "0 cm"], ["1 cm", "1 cm", "1 cm"], ["30 cm", "12 cm"], [["0 cm", "1 cm"]] * 3,
    ["-5 cm", "999 cm"], ["0.1 mm", "0.1 mm", "0.1 mm"], ["5 m", "5 m", "5 m"], 0.5, 1, 359, -180,
)  # fmt: skip


def pick(rng: Rng, options: Any) -> Any:
    return options[int(rng.integers(len(options)))]


def cm(rng: Rng, low: float, high: float) -> str:
    return f"{rng.uniform(low, high):.1f} cm"


def toml(value: Any) -> str:
    """Write a value as TOML, tables inline."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(str(k))} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value).replace("\x7f", "\\u007f")
    return repr(value)


def scape(rng: Rng) -> dict[str, Any]:
    """A scape that mostly makes sense."""
    wide, deep, high = rng.uniform(25, 90), rng.uniform(18, 50), rng.uniform(20, 50)
    found: dict[str, Any] = {"tank": {"inside": [f"{s:.1f} cm" for s in (wide, deep, high)]}}
    if rng.random() < 0.6:
        found["tank"]["water_line"] = cm(rng, high * 0.5, high)
    if rng.random() < 0.3:
        found["tank"] |= {"glass": "8 mm", "water": pick(rng, ["salt", "brackish"])}
        found["tank"]["sump"] = {
            "water": "10 L",
            "area": "900 cm^2",
            "drop": "2 cm",
            "spare": "3 L",
        }
    found["piece"] = [
        piece(rng, number, wide, deep) for number in range(pick(rng, [0, 1, 2, 2, 4]))
    ]
    wood = [p["name"] for p in found["piece"] if p["kind"] == "wood"]
    if rng.random() < 0.3:
        found["lump"] = [{"material": "granite", "mass": f"{rng.uniform(0.1, 9):.2f} kg",
                          "count": 3, "below_soil": float(rng.random())}]  # fmt: skip
    found["layer"] = [layer(rng, wide, deep) for _ in range(int(rng.integers(0, 3)))]
    if rng.random() < 0.3:
        line = [["0 cm", cm(rng, 3, deep / 2)], [f"{wide:.1f} cm", cm(rng, 3, deep / 2)]]
        found["border"] = {"line": line, "stones": [p["name"] for p in found["piece"]][:2],
                           pick(rng, ["strip", "divider"]): True}  # fmt: skip
        if found["layer"]:
            found["layer"][-1]["zone"] = pick(rng, ["behind border", "before border"])
    if wood and rng.random() < 0.6:
        group: dict[str, Any] = {"wood": wood[:1]}
        if rng.random() < 0.5:
            how = pick(rng, ["strapped", "hanging", "standing", "laid on"])
            group["sinkers"] = [{"mass": "400 g", "material": "granite", "how": how}]
        if rng.random() < 0.3:
            group["just_sinks_with"] = {"mass": "200 g", "material": "granite"}
        if rng.random() < 0.3:
            group["log"] = [{"day": float(d), "mass": f"{500 + 40 * d} g"} for d in (0, 3, 9)]
        found["group"] = [group]
    if rng.random() < 0.3:
        found["spot"] = [{"name": "S", "at": ["9 cm", "9 cm"], "root_depth": "4 cm"}]
        found["at_hand"] = [{"name": "H", "material": "slate", "mass": "600 g"}]
        found["material"] = [{"name": "Own", "like": "gravel", "repose": 33, "d50": "3 mm"}]
    return found


def piece(rng: Rng, number: int, wide: float, deep: float) -> dict[str, Any]:
    """A stone or a piece of wood."""
    size = [cm(rng, 3, 12) for _ in range(3)]
    kind = pick(rng, ["stone", "stone", "wood"])
    entry = {
        "name": f"A{number}", "kind": kind, "turn": int(rng.integers(0, 360)),
        "material": "granite" if kind == "stone" else "driftwood",
        "at": [cm(rng, 8, 10) if number == 0 else cm(rng, 18, max(wide - 8, 19)), cm(rng, 8, deep - 8)],
        "rests": pick(rng, ["floor", "bed", "A0"]),
    }  # fmt: skip
    if entry["rests"] == entry["name"]:
        entry["rests"] = "bed"
    if kind == "wood":
        entry["limbs"] = [{"length": cm(rng, 8, 16), "girth": ["9 cm", "6 cm"]}]
        if rng.random() < 0.5:
            entry["limbs"] = [{"path": [["0 cm", "0 cm", "0 cm"], ["9 cm", "2 cm", "3 cm"]],
                               "girth": ["9 cm", "6 cm"]}]  # fmt: skip
    elif rng.random() < 0.4:
        entry |= {"solid": pick(rng, ["box", "boulder", "ellipsoid", "slab"]), "size": size}
    elif rng.random() < 0.3:
        entry["mass"] = f"{rng.uniform(0.1, 3):.2f} kg"
    else:
        entry["size"] = size
    for key, value in (("settle", True), ("tilt", 25), ("pressed", "1 cm"), ("price", 4.5)):
        if rng.random() < 0.15:
            entry[key] = value
    return entry


def layer(rng: Rng, wide: float, deep: float) -> dict[str, Any]:
    """A layer in one of the ways to draw it."""
    point = [cm(rng, 0, wide), cm(rng, 0, deep)]
    shapes: list[Any] = [
        cm(rng, 1, 6),
        {"front": cm(rng, 0, 4), "back": cm(rng, 2, 12)},
        {"points": [{"at": [cm(rng, 0, wide), cm(rng, 0, deep)], "level": cm(rng, 1, 9)}
                    for _ in range(int(rng.integers(1, 8)))]},
        {"terraces": [{"from": "0 cm", "level": "2 cm"}, {"from": "9 cm", "level": "7 cm"}]},
        {"map": "map.csv"},
        {"map": "map.png", "black": "1 cm", "white": "6 cm"},
    ]  # fmt: skip
    entry = {"material": pick(rng, ["sand", "gravel", "baked-clay soil"]),
             pick(rng, ["depth", "height"]): pick(rng, shapes)}  # fmt: skip
    if rng.random() < 0.3:
        entry["zone"] = pick(
            rng, ["front strip", "left strip", [["1 cm", "1 cm"], point, ["2 cm", "9 cm"]]]
        )
        entry["width"] = "6 cm"
    if rng.random() < 0.2:
        entry["mounds"] = [{"at": point, "rise": "3 cm", "radius": "8 cm"}]
    if rng.random() < 0.3:
        entry["bags"] = [{"holds": pick(rng, ["5 L", "9 kg"]), "price": 9}]
    return entry


def places(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """All places in a tree of tables and lists."""
    found = [path] if path else []
    items = (
        tree.items()
        if isinstance(tree, dict)
        else enumerate(tree)
        if isinstance(tree, list)
        else ()
    )
    for key, value in items:
        found += places(value, (*path, key))
    return found


def bent(tree: dict[str, Any], rng: Rng) -> dict[str, Any]:
    """Change a few places: another value, one from elsewhere, gone, doubled, renamed."""
    tree = copy.deepcopy(tree)
    for _ in range(pick(rng, [0, 0, 1, 1, 1, 2])):
        all_places = places(tree)
        path = pick(rng, all_places)
        holder = tree
        for key in path[:-1]:
            holder = holder[key]
        key, way = path[-1], int(rng.integers(0, 6))
        if way <= 2:
            holder[key] = copy.deepcopy(pick(rng, HOSTILE))
        elif way == 3:
            other: Any = tree
            for step in pick(rng, all_places):
                other = other[step]
            holder[key] = copy.deepcopy(other)
        elif isinstance(holder, list):
            holder.append(copy.deepcopy(holder[key]))
        elif way == 4:
            del holder[key]
        else:
            holder[f"{key}x"] = holder[key]
    return tree


def log(rng: Rng) -> bytes:
    """Weighings as CSV, some of them bent."""
    cells = ["2026-03-01", "2026-03-0x", "1", "-4", "1e9", "nan", "", "500", "air", "water", "fog",
             "=1+1", "\u202e", '"', "0", "1e-9", "9" * 400, "group"]  # fmt: skip
    heads = [
        "date,grams,weighed",
        "date,grams",
        "grams,date",
        "date;grams",
        "\ufeffdate,grams,group",
    ]
    rows = [",".join(pick(rng, cells) for _ in range(int(rng.integers(1, 5)))) for _ in range(4)]
    sound = [f"{day},{500 + 30 * day},air" for day in range(int(rng.integers(0, 6)))]
    lines = [pick(rng, heads), *sound, *rows[: int(rng.integers(0, 3))]]
    return pick(rng, ["\n", "\r\n", "\r"]).join(lines).encode()


def table(rng: Rng) -> bytes:
    """A height map as CSV, some of it bent."""
    shape = tuple(rng.integers(1, 9, 2))
    rows = [[f"{v:.2f}" for v in row] for row in rng.uniform(0, 9, shape)]
    if rng.random() < 0.5:
        row = pick(rng, rows)
        row[0] = pick(rng, ["nan", "inf", "-1", "", "x", "1e308", "1;2", "0x9", "\u0663"])
    return pick(rng, ["\n", "\r\n"]).join(",".join(row) for row in rows).encode()


def picture(rng: Rng) -> bytes:
    """A grey picture of any depth and kind, some of it cut or bent."""
    shape = tuple(rng.integers(1, 40, 2))
    kind, depth = pick(rng, [("PNG", "u1"), ("PNG", "u2"), ("TIFF", "f4"), ("TIFF", "u2"),
                             ("JPEG", "u1"), ("GIF", "u1"), ("BMP", "u1")])  # fmt: skip
    top = 1.0 if depth == "f4" else np.iinfo(depth).max
    stream = io.BytesIO()
    Image.fromarray((rng.random(shape) * top).astype(depth)).save(stream, kind)
    data = bytearray(stream.getvalue())
    for at in rng.integers(0, len(data), int(rng.integers(0, 3))):
        data[at] = int(rng.integers(0, 256))
    return bytes(data[: len(data) if rng.random() < 0.7 else int(rng.integers(0, len(data)))])


def scan(rng: Rng) -> tuple[str, bytes]:
    """A small stone in a format, its corners, faces or header bent."""
    stone = boulder(
        (0.2, 0.15, 0.12), int(rng.integers(9)), subdivisions=pick(rng, [0, 1, 2, 3, 3])
    )
    vertices, faces = stone.vertices.copy(), stone.faces.copy()
    odd = pick(rng, [0.0, math.nan, math.inf, 1e30, -1e30, 1e-30, 5.0])
    bends: list[Callable[[], None]] = [
        lambda: None,
        lambda: vertices.__setitem__(slice(0, int(rng.integers(1, 9))), odd),
        lambda: faces.__setitem__(slice(0, int(rng.integers(1, 9))), int(rng.integers(-9, 99))),
        lambda: faces.__setitem__(slice(None), faces[:, pick(rng, [[0, 0, 1], [1, 0, 2]])]),
        lambda: vertices.__imul__(pick(rng, [1e-9, 1e9, 0.0, -1.0])),
    ]
    pick(rng, bends)()
    kind = pick(rng, ["ply", "glb", "obj", "off", "stl", "xyz"])
    if kind == "glb":
        return kind, _bent_glb(vertices, faces, rng)
    if kind == "ply":
        with np.errstate(all="ignore"):
            data = ply_bytes(vertices, faces)
        return kind, data.replace(b"double", pick(rng, [b"double", b"float", b"list"]), 1)
    rows = [" ".join(map(str, row)) for row in vertices.tolist()]
    if kind == "xyz":
        return kind, "\n".join(rows).encode()
    if kind == "obj":
        lines = [f"v {row}" for row in rows] + [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in faces]
        return kind, "\n".join(lines).encode()
    if kind == "off":
        count = pick(rng, [len(rows), 10**9, -1, 0])
        lines = [f"{count} {len(faces)} 0", *rows, *(f"3 {a} {b} {c}" for a, b, c in faces)]
        return kind, "\n".join(["OFF", *lines]).encode()
    body = "".join(
        f"facet normal 0 0 0\nouter loop\n{''.join(f'vertex {row}{chr(10)}' for row in corners)}"
        "endloop\nendfacet\n"
        for corners in ([rows[i % len(rows)] for i in face] for face in faces)
    )
    return kind, f"solid s\n{body}endsolid s\n".encode()


def _bent_glb(vertices: Any, faces: Any, rng: Rng) -> bytes:
    """A binary glTF whose tree is bent like a scape's."""
    with np.errstate(all="ignore"):
        data = vertices.astype("<f4").tobytes() + faces.astype("<u4").tobytes()
    at = len(vertices) * 12
    tree = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "children": [1]}, {"mesh": 0, "scale": [1, 1, 1]}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(vertices), "type": "VEC3"},
            {"bufferView": 1, "componentType": 5125, "count": faces.size, "type": "SCALAR"},
        ],
        "bufferViews": [{"buffer": 0, "byteOffset": 0, "byteLength": at},
                        {"buffer": 0, "byteOffset": at, "byteLength": len(data) - at}],
        "buffers": [{"byteLength": len(data)}],
    }  # fmt: skip
    text = json.dumps(bent(tree, rng)).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text
    body += struct.pack("<II", len(data), 0x004E4942) + data
    return b"glTF" + struct.pack("<II", 2, 12 + len(body)) + body
