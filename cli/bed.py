"""`plumbstone bed`: litres, kilograms and bags of every layer."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from plumbstone.cli.output import (
    JsonOption,
    Units,
    UnitsOption,
    emit_json,
    plain_errors,
    table,
    working,
)

if TYPE_CHECKING:
    from plumbstone.volumes.plan import Purchase

GridOption = Annotated[float | None, typer.Option("--grid", help="Width of a grid cell in mm.")]


def bed(
    scapes: Annotated[list[Path], typer.Argument(help="A scape file, or two to compare.")],
    grid: GridOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Say how many litres, kilograms and bags each layer takes."""
    from plumbstone.cli.documents import bed_document
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.plan import lay_bed
    from plumbstone.volumes.scape import read_scape

    spacing = None if grid is None else grid * 1e-3
    with plain_errors():
        if len(scapes) > 2:
            raise PlumbstoneError("bed compares two scapes at most; name one or two.")
        with working("Laying the bed ..."):
            read = [read_scape(path) for path in scapes]
            beds = [lay_bed(scape, spacing)[2] for scape in read]
        documents = [bed_document(s, b) for s, b in zip(read, beds, strict=True)]
    if as_json:
        emit_json(documents[0] if len(documents) == 1 else {"scapes": documents})
        return
    for scape, purchases in zip(read, beds, strict=True):
        print_bed(scape.name, purchases, units)
    if len(documents) == 2:
        print_difference(documents, units)


def print_difference(documents: "list[dict[str, Any]]", units: Units) -> None:
    """Print what the second scape takes more or less than the first, layer by layer."""
    from plumbstone.cli import wording
    from plumbstone.meshes.ranges import Range

    first, second = ({layer["name"]: layer for layer in d["layers"]} for d in documents)
    rows = []
    for name in [*first, *(name for name in second if name not in first)]:
        a, b = first.get(name, {}), second.get(name, {})
        litres = b.get("poured_l", 0.0) - a.get("poured_l", 0.0)
        bags = sum(bag["count"] for bag in b.get("bags", []))
        bags -= sum(bag["count"] for bag in a.get("bags", []))
        cost = (b.get("cost") or 0.0) - (a.get("cost") or 0.0)
        sign = "+" if litres >= 0 else "-"
        words = wording.volume_words(Range.exact(abs(litres) * 1e-3), units, 2)
        rows.append([name, f"{sign}{words}", f"{bags:+d}", f"{cost:+.2f}"])
    title = f"{documents[1]['name']} against {documents[0]['name']}"
    table(title, ["Layer", "Pour", "Bags", "Cost"], rows)


def print_bed(title: str, purchases: "tuple[Purchase, ...]", units: Units) -> None:
    """Print the table of layers and what to mind."""
    from plumbstone.cli import wording
    from plumbstone.meshes.ranges import Range

    if not purchases:
        typer.echo("No layer of substrate in this scape.")
        return
    rows = []
    for purchase in purchases:
        result, bags = purchase.result, purchase.bags
        rows.append(
            [
                result.layer.name,
                wording.volume_words(Range.exact(result.poured), units, 2),
                wording.volume_words(Range.exact(result.settled), units, 2),
                wording.mass_words(result.mass, units),
                wording.bag_words(bags, units),
                "-" if bags is None or bags.cost is None else f"{bags.cost:.2f}",
            ]
        )
    table(f"{title}: the bed", ["Layer", "Pour", "Settled", "Dry mass", "Bags", "Cost"], rows)
    for purchase in purchases:
        result = purchase.result
        notes = [
            wording.left_over_sentence(result, purchase.bags, units),
            wording.slide_sentence(result, units),
            wording.slope_sentence(result),
        ]
        for note in filter(None, notes):
            typer.echo(note)
