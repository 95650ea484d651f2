"""Handles of a layer on the drawing: heights at the panes, terraces and mounds, to be pulled."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from plumbstone.cli.page.changes import layer_row, level_key
from plumbstone.cli.wording.page import CORNERS, level_line, place_line
from plumbstone.cli.wording.units import Units, show_length
from plumbstone.volumes.bed.results import BedResult, LayerResult
from plumbstone.volumes.scape.layers import Profile
from plumbstone.volumes.scape.quantities import parse_quantity
from plumbstone.volumes.scape.tank import Tank
from plumbstone.volumes.scape.writing import with_keys

INSET = {"front": 0.03, "back": 0.17}  # of the length: how far from the panes handles stand
LIES = 1e-6  # [m]
Written = Callable[[float], str]


@dataclass(frozen=True, slots=True)
class Handle:
    """One round handle; places in metres: x and y from above, x and height from the front."""

    key: str
    view: str  # "above" or "front"
    at: tuple[float, float]
    moves: str  # "x", "y" or "xy"
    words: str
    label: str
    most: float  # as far as it goes
    base: float = 0.0  # what its number counts from
    ring: float = 0.0  # radius of a mound
    across: bool = False  # a line runs through it from pane to pane
    far: bool = False  # at the back
    anchor: str = "middle"

    @property
    def which(self) -> str:
        """Which of its kind: a corner, or a number from 1 on."""
        what, _, which = self.key.partition("/")
        return which if what in ("corner", "map") else f"{int(which) + 1}"

    def told(self, layer: str, to: tuple[float, float], units: Units) -> str:
        """Say where it is pulled to [m]."""
        if self.moves == "xy":
            return place_line(*to, units)
        return level_line(layer, self.which, max(0.0, to[1] - self.base), units)

    def drawn(self) -> dict[str, Any]:
        """Give what the board draws, in millimetres."""
        return {
            "key": self.key, "view": self.view, "moves": self.moves, "words": self.words,
            "label": self.label, "value": self.words, "across": self.across, "far": self.far,
            "anchor": self.anchor, "at": [round(v * 1e3, 1) for v in self.at],
            "base": round(self.base * 1e3, 1), "most": round(self.most * 1e3, 1),
            "ring": round(self.ring * 1e3, 1),
        }  # fmt: skip


def handles_of(layer: str, bed: BedResult, tank: Tank, units: Units) -> list[Handle]:
    """Give the handles of one layer; none where its heights come from a map."""
    result = next((r for r in bed.layers if r.layer.name == layer), None)
    if result is None or result.layer.profile is None:
        return []
    profile = result.layer.profile
    found = list(_mounds(layer, profile, tank, units))
    if profile.terraces:
        found += _terraces(layer, result, bed, tank, units)
    elif profile.points:
        found += _points(layer, result, bed, tank, units)
    elif profile.heightmap is None:
        found += _corners(layer, result, tank, units)
    return found


def pulled(text: str, layer: str, handle: Handle, to: tuple[float, float], written: Written) -> str:
    """Write where a handle was pulled to [m] into the scape file."""
    row = layer_row(text, layer)
    what, _, which = handle.key.partition("/")
    key = level_key(row)
    if what == "mound":
        mounds = row["mounds"]
        mounds[int(which)]["at"] = [written(v) for v in to]
        return with_keys(text, "layer", layer, {"mounds": mounds})
    levels = row[key] if isinstance(row[key], dict) else {"front": row[key], "back": row[key]}
    number = written(max(0.0, to[1] - handle.base))
    if what == "point":
        levels["points"][int(which)]["at"] = [written(v) for v in to]
    elif what == "rise":
        levels["points"][int(which)]["level"] = number
    elif what == "corner":
        single = which.replace(" ", "_")
        levels[single if single in levels else which.split()[0]] = number
    else:
        steps = sorted(levels["terraces"], key=lambda step: parse_quantity(step["from"], "length"))
        steps[int(which)]["level" if what == "step" else "from"] = number
    return with_keys(text, "layer", layer, {key: levels})


def _corners(layer: str, result: LayerResult, tank: Tank, units: Units) -> Iterator[Handle]:
    """Give a handle for each corner of the zone."""
    assert result.layer.profile is not None
    for corner, level in zip(CORNERS, result.layer.profile.corners, strict=True):
        row, side = corner.split()
        base = 0.0 if result.layer.profile.above_glass else _below(result, row, side)
        inset = INSET[row] * tank.length
        yield Handle(
            key=f"corner/{corner}",
            view="front",
            at=(inset if side == "left" else tank.length - inset, base + level),
            moves="y",
            words=f"{row} {show_length(level, units)}",
            label=level_line(layer, corner, level, units),
            most=tank.room,
            base=base,
            far=row == "back",
            anchor="start" if side == "left" else "end",
        )


def _terraces(
    layer: str, result: LayerResult, bed: BedResult, tank: Tank, units: Units
) -> Iterator[Handle]:
    """Give two handles for each terrace: where it begins, and how high it is."""
    assert result.layer.profile is not None
    lying = np.flatnonzero((result.drawn > result.below + LIES)[:, bed.grid.nx // 2])
    first = float(bed.grid.y[lying[0]] - bed.grid.spacing[1] / 2) if len(lying) else 0.0
    first = 0.0 if first < bed.grid.spacing[1] else first
    steps = result.layer.profile.terraces
    for i, (start, level) in enumerate(steps):
        x = tank.length * (i + 1) / (len(steps) + 1)
        words = show_length(start, units)
        label = f"{layer}, {i + 1}"
        yield Handle(
            f"from/{i}", "above", (x, first + start), "y", words, f"{label}: {words}",
            tank.depth, base=first, across=True,
        )  # fmt: skip
        words = show_length(level, units)
        yield Handle(f"step/{i}", "front", (x, level), "y", words, f"{label}: {words}", tank.room)


def _points(
    layer: str, result: LayerResult, bed: BedResult, tank: Tank, units: Units
) -> Iterator[Handle]:
    """Give two handles for each point that a height is told of: its place, and its level."""
    assert result.layer.profile is not None
    for i, (x, y, level) in enumerate(result.layer.profile.points):
        above = result.layer.profile.above_glass
        base = 0.0 if above else float(result.below[bed.grid.cell_at(x, y)])
        words, label = show_length(level, units), f"{layer}, {i + 1}"
        place = f"{label}: {place_line(x, y, units)}"
        yield Handle(f"point/{i}", "above", (x, y), "xy", f"{i + 1}", place, tank.depth)
        yield Handle(
            f"rise/{i}", "front", (x, base + level), "y", f"{i + 1}: {words}", f"{label}: {words}",
            tank.room, base=base,
        )  # fmt: skip


def _mounds(layer: str, profile: Profile, tank: Tank, units: Units) -> Iterator[Handle]:
    """Give a handle for the middle of each mound."""
    for i, mound in enumerate(profile.mounds):
        words = show_length(mound.rise, units)
        label = f"{layer}, {i + 1}: {place_line(*mound.at, units)}"
        yield Handle(
            f"mound/{i}", "above", mound.at, "xy", words, label, tank.depth, ring=mound.radius
        )


def _below(result: LayerResult, row: str, side: str) -> float:
    """Height of what the layer lies on at a corner of its zone [m]."""
    lies = result.drawn > result.below + LIES
    columns = np.flatnonzero(lies.any(axis=0))
    if not len(columns):
        return 0.0
    column = columns[0 if side == "left" else -1]
    rows = np.flatnonzero(lies[:, column])
    return float(result.below[rows[0 if row == "front" else -1], column])
