"""How `weigh` tells its results: sentences, a table, JSON, CSV, the mended mesh."""

import csv
import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from plumbstone.cli.output import table, tell
from plumbstone.cli.weigh_request import WATER, Failures
from plumbstone.cli.wording.bodies import lift_words
from plumbstone.cli.wording.units import (
    POUND,
    Units,
    figures_in,
    mass_words,
    ranged,
    show_length,
    volume_words,
)
from plumbstone.cli.wording.weighing import budget_words, trust_words, weighed_sentence
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import Naming, as_option
from plumbstone.volumes.bodies.weighing import TWICE, Weighed

Opening = tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Prices:
    """What is paid: by the kilogram, or for the piece."""

    per_kg: float | None = None
    per_piece: float | None = None
    budget: float | None = None

    @classmethod
    def of(
        cls,
        per_kg: float | None,
        per_piece: float | None,
        budget: float | None,
        found: list[Weighed],
    ) -> "Prices":
        """Check prices [€, any money] against each other and the pieces."""
        if per_kg is not None and per_piece is not None:
            raise PlumbstoneError("Give --price-per-kg or --price, not both.")
        if per_piece is not None and len(found) > 1:
            raise PlumbstoneError("--price is that of one piece; weigh one with it.")
        if min(per_kg or 0.0, per_piece or 0.0, budget or 0.0) < 0:
            raise PlumbstoneError("A price must not be less than nothing.")
        if budget is not None and per_kg is None and per_piece is None:
            raise PlumbstoneError("--budget needs --price-per-kg, or --price.")
        return cls(per_kg, per_piece, budget)

    def price(self, weighed: Weighed) -> Range | None:
        """Price of a piece [€, any money]; None where none was given."""
        if self.per_piece is not None:
            return Range.exact(self.per_piece)
        return None if self.per_kg is None else weighed.mass.times(self.per_kg)


def document(
    weighed: Weighed, prices: Prices, opening: Opening, name: Naming, units: Units
) -> dict[str, Any]:
    """Give one weighed piece as JSON; its notes name things and tell figures as its reader does."""
    from plumbstone.cli.documents import document_of, keyed

    weighed = weighed.told(name, figures_in(units))
    price, extents = prices.price(weighed), weighed.extents
    density = weighed.material.dense
    found = {
        "file": weighed.source,
        "name": weighed.name,
        "material": weighed.material.name,
        **keyed(
            {
                "volume_m3": weighed.volume,
                "density_kg_per_m3": density,
                "mass_kg": weighed.mass,
                "mass_in_water_kg": weighed.mass_in_water(WATER),
            }
        ),
        "price": document_of(price),
        "size_cm": [side * 1e2 for side in weighed.size],
        "lowest_cm": None if extents is None else extents.lowest * 1e2,
        "smallest_opening_cm": None if extents is None else [s * 1e2 for s in extents.smallest],
        "confidence": weighed.confidence.word,
        "confidence_reason": weighed.confidence.reason,
        "caveat": weighed.confidence.caveat,
        "mended": list(weighed.changes),
        "warnings": list(weighed.warnings),
    }
    if prices.per_piece is not None:
        found["price_per_kg"] = prices.per_piece / weighed.mass.mid
    if weighed.material.grain_pores > 0 and weighed.material.kind == "stone":
        found["mass_in_water_soaked_kg"] = document_of(weighed.mass_in_water_soaked(WATER))
    if opening is not None:
        found["passes_opening"] = passes(weighed, opening)
    return found


def passes(weighed: Weighed, opening: tuple[float, float]) -> bool:
    """Tell whether a piece passes an opening [m], turned as it may be."""
    if weighed.extents is not None:
        return weighed.extents.passes(*opening)
    two = sorted(weighed.size)[:2]
    return two[0] <= min(opening) and two[1] <= max(opening)


def mesh_content(found: list[Weighed], path: Path) -> bytes:
    """Give the mended mesh of the one piece that was weighed, as PLY."""
    from plumbstone.meshes.writing import kept_bytes

    piece = found[0].piece if len(found) == 1 else None
    if piece is None:
        raise PlumbstoneError("--keep writes one mesh; weigh one scan with it.")
    if path.suffix.lower() != ".ply":
        raise PlumbstoneError(f"{path}: --keep writes PLY; end its name in .ply.")
    one = found[0]
    trust = [one.confidence.word, one.confidence.reason, one.confidence.caveat]
    kept = {"volume_m3": [*one.volume], "trust": trust}
    return kept_bytes(piece.vertices, piece.faces, json.dumps(kept))


def csv_content(found: list[Weighed], failed: Failures, prices: Prices) -> bytes:
    """Give one row a piece as CSV."""
    from plumbstone.cli.files import plain_cell

    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(
        ["file", "name", "material", "volume_l_low", "volume_l", "volume_l_high",
         "mass_kg_low", "mass_kg", "mass_kg_high", "price", "problem"]
    )  # fmt: skip
    for weighed in found:
        cost = prices.price(weighed)
        price = "" if cost is None else f"{cost.mid:.2f}"
        volume = (f"{v * 1e3:.4f}" for v in weighed.volume)
        mass = (f"{m:.4f}" for m in weighed.mass)
        names = [plain_cell(weighed.source), plain_cell(weighed.name), weighed.material.name]
        writer.writerow([*names, *volume, *mass, price, ""])
    for row in failed:
        writer.writerow([plain_cell(row["file"]), *[""] * 9, plain_cell(row["reason"])])
    return stream.getvalue().encode()


def print_pieces(
    found: list[Weighed], failed: Failures, prices: Prices, units: Units, opening: Opening
) -> None:
    """Print a sentence for one piece, a table for several, and what was mended."""
    found = [weighed.told(as_option, figures_in(units)) for weighed in found]
    if len(found) == 1:
        _print_one(found[0], prices, units)
    elif found:
        rows = []
        for weighed in found:
            cost = prices.price(weighed)
            rows.append(
                [
                    weighed.name,
                    volume_words(weighed.volume, units),
                    mass_words(weighed.mass, units),
                    "-" if cost is None else f"{cost.mid:.2f}",
                    trust_words(weighed.confidence),
                ]
            )
        table("Weighed, heaviest first", ["Piece", "Volume", "Mass", "Price", "Trust"], rows)
        _print_all(found, prices, units)
    for weighed in found:
        label = f"{weighed.name}: " if len(found) > 1 else ""
        if opening is not None:
            does = "passes" if passes(weighed, opening) else "does not pass"
            sides = " × ".join(show_length(side, units) for side in opening)
            tell(f"{label}It {does} the opening of {sides}.")
        cost = prices.price(weighed)
        if prices.budget is not None and cost is not None:
            tell(f"{label}{budget_words(cost, prices.budget)}")
        for text in weighed.warnings:
            tell(f"{label}Mind: {text}")
        if lift := lift_words(weighed.mass):
            tell(f"{label}Caution: {lift}.")
    for row in failed:
        tell(f"Not weighed: {row['reason']}")


def _print_all(found: list[Weighed], prices: Prices, units: Units) -> None:
    """Print what all pieces come to."""
    from plumbstone.cli.wording.report import money_words

    mass = Range.alike(weighed.mass for weighed in found)
    told = [f"All together: {mass_words(mass, units)}."]
    if prices.per_kg is not None:
        cost = mass.times(prices.per_kg)
        told.append(f"Price {money_words(cost)}.")
        if prices.budget is not None:
            told.append(budget_words(cost, prices.budget))
    tell(" ".join(told))


def _print_one(weighed: Weighed, prices: Prices, units: Units) -> None:
    """Print all that is known of one piece."""
    tell(weighed_sentence(weighed, prices.per_kg, units))
    if prices.per_piece is not None:
        unit, of = (POUND, "pound") if units is Units.US else (1.0, "kilogram")
        each = prices.per_piece / weighed.mass.mid * unit
        tell(f"At {prices.per_piece:.2f}: {each:.2f} a {of}.")
    if weighed.material.sources.get("density") == TWICE:
        tell(f"Density: {ranged(weighed.material.dense, 'density', units)}.")
    sinking = weighed.mass_in_water(WATER)
    hangs = f"Hanging in water: {mass_words(sinking, units)}."
    if sinking.high <= 0:
        hangs = "It floats; see plumbstone hold."
    elif sinking.low <= 0:
        hangs = "It may float or sink; see plumbstone hold."
    if weighed.extents is not None:
        sides = " × ".join(show_length(side, units) for side in weighed.size)
        short, long = (show_length(side, units) for side in weighed.extents.smallest)
        low = show_length(weighed.extents.lowest, units)
        tell(f"{sides}; laid down {low} high; passes an opening of {short} × {long}. {hangs}")
    if weighed.material.grain_pores > 0 and weighed.material.kind == "stone":
        soaked = mass_words(weighed.mass_in_water_soaked(WATER), units)
        tell(f"Once its pores are full, in water: {soaked}.")
    for text in weighed.changes:
        tell(f"Mended or guessed: {text}")
    tell(f"Trust: {weighed.confidence.word}; {weighed.confidence.reason}.")
