"""Small tanks for tests of drawings and sheets: made-up layouts that are quick to compute."""

import random
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from plumbstone.cli.pictures.paper import FRAME
from plumbstone.cli.pictures.sight import Sight, look_at
from plumbstone.cli.sheet import build_sheet
from plumbstone.volumes.figures import Report
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.plan import Plan
from plumbstone.volumes.report import report_of
from plumbstone.volumes.scape.scape import read_scape

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.transforms import Bbox

SOIL = """
[[layer]]
name = "Soil"
material = "baked-clay soil"
height = { front = "3 cm", back = "9 cm" }
bags = [{ holds = "9 L", price = 24 }, { holds = "3 L", price = 10 }]
"""
CUBE = (
    """name = "Window cube"
[tank]
inside = ["45 cm", "45 cm", "45 cm"]
glass = "8 mm"
"""
    + "".join(
        f"""
[[piece]]
name = "{name}"
material = "slate"
solid = "{solid}"
size = [{size}]
at = [{at}]
{more}
"""
        for name, solid, size, at, more in (
            ("Tall slate", "box", '"16 cm", "5 cm", "26 cm"', '"20 cm", "26 cm"', "price = 3.5"),
            ("Side slate", "slab", '"12 cm", "4 cm", "14 cm"', '"33 cm", "20 cm"', "turn = -35"),
            ("Foot", "boulder", '"9 cm", "7 cm", "6 cm"', '"10 cm", "12 cm"', "seed = 3"),
            ("Hidden foot", "boulder", '"8 cm", "6 cm", "3 cm"', '"36 cm", "37 cm"', "seed = 4"),
            (
                "Laid stone",
                "boulder",
                '"7 cm", "6 cm", "5 cm"',
                '"10 cm", "36 cm"',
                'rests = "bed"',
            ),
        )
    )
    + SOIL
)
LOOSE_WOOD = """
[[piece]]
name = "Loose root"
kind = "wood"
material = "driftwood"
solid = "cylinder"
size = ["20 cm", "5 cm", "5 cm"]
at = ["22 cm", "12 cm"]
rests = "bed"
"""
ROW = (
    """name = "Row of stones"
[tank]
inside = ["60 cm", "30 cm", "36 cm"]
glass = "6 mm"
"""
    + "".join(
        f"""
[[piece]]
name = "Border {k}"
material = "granite"
solid = "boulder"
size = ["9.5 cm", "7 cm", "8 cm"]
seed = {k}
at = ["{5 + 10 * (k - 1)} cm", "10 cm"]
"""
        for k in range(1, 7)
    )
    + """
[border]
line = [["0 cm", "10 cm"], ["30 cm", "11 cm"], ["60 cm", "10 cm"]]
stones = ["Border 1", "Border 2", "Border 3", "Border 4", "Border 5", "Border 6"]
[[layer]]
name = "Soil"
material = "baked-clay soil"
zone = "behind border"
height = { front = "5 cm", back = "10 cm" }
[[layer]]
name = "Sand"
material = "sand"
zone = "before border"
depth = "2 cm"
"""
)


def forty() -> str:
    """A tank with forty stones of three materials, most of them below the bed."""
    chance = random.Random(5)
    placed: list[tuple[float, float, float]] = []
    while len(placed) < 40:
        s = chance.uniform(4, 10)
        x, y = chance.uniform(0.75 * s, 120 - 0.75 * s), chance.uniform(0.75 * s, 50 - 0.75 * s)
        if all(((x - a) ** 2 + (y - b) ** 2) ** 0.5 > 0.58 * (s + c) for a, b, c in placed):
            placed.append((x, y, s))
    stones = "".join(
        f"""
[[piece]]
name = "Stone {k}"
material = "{("granite", "sandstone", "lava rock")[k % 3]}"
solid = "boulder"
size = ["{s:.1f} cm", "{0.75 * s:.1f} cm", "{0.6 * s:.1f} cm"]
seed = {k}
at = ["{x:.1f} cm", "{y:.1f} cm"]
{"rests = 'bed'" if k % 4 == 3 else ""}
"""
        for k, (x, y, s) in enumerate(placed, 1)
    )
    return f"""name = "Forty stones"
[tank]
inside = ["120 cm", "50 cm", "50 cm"]
glass = "12 mm"
{stones}{SOIL}"""


def written_to(folder: Path, text: str, name: str = "tank.toml") -> Path:
    """Write a scape file."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def planned(folder: Path, text: str, spacing: float | None = None) -> Plan:
    """Write a scape file and lay it out."""
    scape = read_scape(written_to(folder, text))
    return Layout(scape).plan(spacing)


def without_drawings(patch: pytest.MonkeyPatch) -> None:
    """Let build sheets be made of their words and their view in 3D alone."""
    patch.setattr(build_sheet, "DRAWINGS", dict.fromkeys(build_sheet.DRAWINGS, lambda *_: None))
    patch.setattr(build_sheet, "svg_text", lambda *_: "<svg></svg>")
    patch.setattr(build_sheet, "still_picture", lambda *_: b"drawn")


def frames_of(figure: "Figure") -> "list[Bbox]":
    """Give the frames of the drawings on a page [pixels]."""
    named = figure.findobj(lambda artist: artist.get_gid() == FRAME)
    return [frame.get_window_extent() for frame in named]


def seen(path: Path) -> tuple[Sight, Report]:
    """Lay out a scape on a coarse grid, for its pictures and figures."""
    plan = Layout(read_scape(path)).plan(0.004)
    return look_at(plan), report_of(plan)
