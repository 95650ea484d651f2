"""What is to be bought for a scape, each with its cost where the file names a price."""

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.figures import CostFigures, LayerFigures, PieceFigures, ShoppingFigures
from plumbstone.volumes.scape.groups import Sinker
from plumbstone.volumes.scape.scape import PieceEntry, Scape

TIED = ("strapped", "hanging", "standing")  # ways to hold wood that take a tie


def shopping_of(
    scape: Scape, layers: Iterable[LayerFigures], pieces: Iterable[PieceFigures]
) -> tuple[ShoppingFigures, ...]:
    """List bags, pieces, lumps, sinkers, ties, pads, strips and fabric, in this order."""
    pieces = tuple(pieces)
    return (
        *(item for layer in layers for item in _bags(layer)),
        *(
            ShoppingFigures(p.kind, p.name, p.material, 1, mass_kg=p.mass_kg, cost=p.cost)
            for p in pieces
        ),
        *(
            ShoppingFigures(
                "lump", lump.name, lump.material.name, lump.count, mass_kg=lump.mass,
                cost=_by_mass(lump.mass, lump.price),
            )
            for lump in scape.lumps
        ),
        *(
            _sinker(group.name, sinker)
            for group in scape.groups
            for sinker in group.sinkers
            if not sinker.stone
        ),
        *_sundries(scape, pieces),
    )  # fmt: skip


def costs_of(shopping: Sequence[ShoppingFigures]) -> CostFigures:
    """Add up what has a price; None where nothing has one."""

    def together(items: Iterable[ShoppingFigures]) -> Range | None:
        priced = [item.cost for item in items if item.cost is not None]
        return Range.total(priced) if priced else None

    bags = together(item for item in shopping if item.what == "bag")
    return CostFigures(
        bags=None if bags is None else bags.mid,
        pieces=together(item for item in shopping if item.what in ("stone", "wood")),
        total=together(shopping),
        without_price=tuple(item.name or item.what for item in shopping if item.cost is None),
    )


def _bags(layer: LayerFigures) -> Iterator[ShoppingFigures]:
    """List each size of bag, or the loose amount where the file names no bags."""
    for bag in layer.bags:
        mass = None if bag.holds_kg is None else Range.exact(bag.holds_kg * bag.count)
        volume = None if bag.holds_m3 is None else bag.holds_m3 * bag.count
        cost = None if bag.price is None else Range.exact(bag.price * bag.count)
        yield ShoppingFigures(
            "bag", layer.name, layer.material, bag.count, mass, volume, label=bag.label, cost=cost
        )
    if not layer.bags and layer.poured_m3 > 0:
        yield ShoppingFigures("loose", layer.name, layer.material, 1, volume_m3=layer.poured_m3)


def _sinker(group: str, sinker: Sinker) -> ShoppingFigures:
    """Take one sinker that is no piece of the scape."""
    mass = Range.exact(sinker.mass)
    return ShoppingFigures(
        "sinker", group, sinker.material.name, 1, mass_kg=mass, cost=_by_mass(mass, sinker.price)
    )


def _sundries(scape: Scape, pieces: Sequence[PieceFigures]) -> Iterator[ShoppingFigures]:
    """Count ties, pads under stones, strips behind rows and fabric under layers."""
    tied = sum(s.how in TIED for group in scape.groups for s in group.sinkers)
    pads = sum(p.kind == "stone" and p.rests == "floor" for p in pieces)
    strips = [_along(border.line) for border in scape.borders if border.strip]
    fabric = sum(layer.fabric for layer in scape.layers)
    found = {
        "tie": tied + len(_wood_to_wood(scape.pieces)),
        "pad": pads,
        "strip": len(strips),
        "fabric": fabric,
    }
    for what, count in found.items():
        if count:
            each = getattr(scape.prices, what)
            cost = None if each is None else Range.exact(each * count)
            length = sum(strips) if what == "strip" else None
            yield ShoppingFigures(what, "", "", count, length_m=length, cost=cost)


def _wood_to_wood(pieces: Sequence[PieceEntry]) -> set[frozenset[str]]:
    """Pairs of wood that are tied together."""
    wood = {piece.name for piece in pieces if piece.kind == "wood"}
    return {
        frozenset((p.name, other)) for p in pieces for other in p.tied_to if {p.name, other} <= wood
    }


def _along(line: Sequence[tuple[float, float]]) -> float:
    """Length of a line [m]."""
    return sum(math.dist(a, b) for a, b in itertools.pairwise(line))


def _by_mass(mass: Range, price: float | None) -> Range | None:
    """Cost of a mass at the price of a kilogram."""
    return None if price is None else mass.times(price)
