"""`plumbstone bed`: litres, kilograms and bags of every layer."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    from plumbstone.volumes.plan import lay_bed
    from plumbstone.volumes.scape import read_scape

    spacing = None if grid is None else grid * 1e-3
    with plain_errors():
        if len(scapes) > 2:
            raise typer.BadParameter("compare two scapes at most.")
        with working("Laying the bed ..."):
            read = [read_scape(path) for path in scapes]
            beds = [lay_bed(scape, spacing)[2] for scape in read]
        documents = [bed_document(s, b) for s, b in zip(read, beds, strict=True)]
    if as_json:
        emit_json(documents[0] if len(documents) == 1 else {"scapes": documents})
        return
    for scape, purchases in zip(read, beds, strict=True):
        print_bed(scape.name, purchases, units)


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
            f"{result.layer.name}: slope {result.slope_degrees:.1f}° from front to back."
            if result.slope_degrees > 1
            else None,
        ]
        for note in filter(None, notes):
            typer.echo(note)
