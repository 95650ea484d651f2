"""What a layout gives: pieces where they stand, the bed, water, load, and what holds."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from plumbstone.meshes.measures.columns import Columns, Grid
from plumbstone.volumes import figures
from plumbstone.volumes.bed.bags import BagChoice, BagsIfWorse
from plumbstone.volumes.bed.results import BedResult, LayerResult
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.scape.scape import Scape

if TYPE_CHECKING:
    from plumbstone.volumes.holding.hold_down import HoldResult
    from plumbstone.volumes.holding.stability import Standing


@dataclass(frozen=True, slots=True, eq=False)
class Purchase:
    """One layer and the bags to buy for it."""

    result: LayerResult
    bags: BagChoice | None  # None where the file names no bags
    bags_if_worse: BagsIfWorse | None  # None where it takes the same


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """The pieces where they stand, and the bed around them."""

    bodies: tuple[Body, ...]  # in the order of the file
    grid: Grid
    columns: Columns  # of all pieces
    bed: BedResult | None
    purchases: tuple[Purchase, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Everything about a scape; SI units. Parts that need a water line are None without one."""

    scape: Scape
    water_density: float  # [kg/m³]
    bodies: tuple[Body, ...]  # in the order of work: a piece's number is its place, from one
    bed: BedResult | None
    purchases: tuple[Purchase, ...]
    water: figures.WaterFigures | None
    load: figures.LoadFigures | None
    drain_back: figures.DrainFigures | None
    border: figures.BorderFigures | None
    holds: "tuple[HoldResult, ...]"
    standing: "tuple[Standing, ...]"
    rests: tuple[figures.RestFigures, ...]
    swallowed: tuple[figures.RunFigures, ...]
    heaves: tuple[figures.HeaveFigures, ...]
    spots: tuple[figures.SpotFigures, ...]
    guesses: tuple[str, ...]
    covered: Mapping[str, float]  # by name of piece: share of it below the bed beside it
    air: Mapping[str, float]  # below the middles of stones that are set on the bed [m]


def set_after(body: Body, bodies: Sequence[Body], bed: BedResult | None) -> int | None:
    """Place in pouring order of the layer that a piece is set on; None: on the glass first.

    The topmost layer that is drawn where the middle of the piece is, for what rests on the
    bed or on something that does.
    """
    below = [body, *carriers(body, bodies)][-1]
    if below.entry.rests != "bed" or bed is None:
        return None
    cell = bed.grid.cell_at(*below.entry.at)
    levels = [0.0, *(float(result.drawn[cell]) for result in bed.layers)]
    lying = [k for k, (a, b) in enumerate(itertools.pairwise(levels)) if b > a + 1e-3]
    return lying[-1] if lying else None


def carriers(body: Body, bodies: Sequence[Body]) -> list[Body]:
    """List what a piece rests on, and what that rests on, downwards."""
    by_name = {other.entry.name: other for other in bodies}
    found: list[Body] = []
    while (below := by_name.get((found or [body])[-1].entry.rests)) is not None:
        found.append(below)
    return found


def on_wood(body: Body, bodies: Sequence[Body]) -> bool:
    """Whether a stone lies on wood, so that it is set after it."""
    below = carriers(body, bodies)
    return body.entry.kind == "stone" and any(b.entry.kind == "wood" for b in below)


def in_order_of_work(bodies: Sequence[Body], bed: BedResult | None) -> tuple[Body, ...]:
    """Sort pieces as they are set: on the glass first, then layer by layer; stones before wood.

    Stones that lie on wood come after it, and everything after what carries it.
    """

    def step(body: Body) -> tuple[int, int, int]:
        after, wood = set_after(body, bodies, bed), body.entry.kind == "wood"
        turn = 2 if on_wood(body, bodies) else int(wood)
        return -1 if after is None else after, turn, len(carriers(body, bodies))

    return tuple(sorted(bodies, key=step))
