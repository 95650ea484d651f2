"""`plumbstone bed`: litres, kilograms and bags of every layer."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from plumbstone.cli import output
from plumbstone.cli.documents import document_of
from plumbstone.cli.options import GridOption, JsonOption, TrustOption
from plumbstone.cli.output import ScapeUnitsOption, tell
from plumbstone.cli.wording.bed import bag_words, layer_sentences
from plumbstone.cli.wording.findings import together
from plumbstone.cli.wording.report import marked
from plumbstone.cli.wording.units import (
    Toward,
    Units,
    mass_words,
    place_words,
    volume_words,
    written,
)
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.figures import BedFigures, LayerFigures
from plumbstone.volumes.sanity import checked
from plumbstone.volumes.scape.quantities import parse_quantity

NO_LAYER = (0.0, 0.0, 0.0)


def bed(
    scapes: Annotated[list[Path], typer.Argument(help="A scape file, or two to compare.")],
    grid: GridOption = None,
    jug: Annotated[str | None, typer.Option(help='Pour by jugs of this size: "1 L".')] = None,
    _trust: TrustOption = None,
    as_json: JsonOption = False,
    units: ScapeUnitsOption = None,
) -> None:
    """Say how many litres, kilograms and bags each layer takes."""
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.scape.scape import read_scape

    with output.plain_errors(units, scape=scapes[0]):
        jug_size = None if jug is None else _jug(jug)
        if len(scapes) > 2:
            raise PlumbstoneError("bed compares two scapes at most; name one or two.")
        with output.working("Laying the bed ..."):
            read = [read_scape(path) for path in scapes]
            units = output.units_of(units, read[0])
            layouts = [Layout(scape) for scape in read]
            figures = [checked(layout.bed(grid)) for layout in layouts]
    if as_json:
        documents = [document_of(each) for each in figures]
        output.emit_json(documents[0] if len(documents) == 1 else {"scapes": documents})
        return
    for each in figures:
        print_bed(each.name, each.layers, units)
        print_depths(each, units)
        for alike in together(each.findings):
            tell(marked(alike, units))
        if jug_size is not None:
            print_pouring(each.layers, jug_size, units)
    if len(figures) == 2:
        print_difference(figures[0], figures[1], units)


def _jug(text: str) -> float:
    """Parse the size of a jug [m³]."""
    size = parse_quantity(text, "volume")
    if not 5e-5 <= size <= 0.05:
        raise PlumbstoneError(f'--jug "{text}": name a size from 50 mL to 50 L.')
    return size


def print_depths(laid: BedFigures, units: Units) -> None:
    """Print how high the bed stands at front, middle, back and at named places."""
    levels = [f"{place_words(depth, units)} {name}" for name, depth in laid.depths_m.items()]
    if levels:
        tell(f"Above the glass: {', '.join(levels)}.")
    for spot in laid.spots:
        words = f"{spot.name}: {place_words(spot.height_m, units)} above the glass, "
        words += f"{place_words(spot.depth_m, units)} of it substrate"
        if spot.lacking_m > 1e-3:
            words += f"; its roots need {place_words(spot.lacking_m, units)} more"
        tell(f"{words}.")


def print_pouring(layers: Sequence[LayerFigures], jug: float, units: Units) -> None:
    """Print the order in which to pour, in jugs [m³]; a filler in sacks is laid by the sack."""
    for number, layer in enumerate(layers, 1):
        if layer.sack_m3 is not None:
            size = written(layer.sack_m3, "volume", units)
            step, count = "Lay", f"{layer.sacks} sacks of {size}"
        else:
            step, count = "Pour", _jugs(layer.poured_m3, jug, units)
        where = "" if layer.zone == "all" else f", {layer.zone}"
        tell(f"{step} {number}: {layer.name}{where}, {count}.")


def _jugs(poured: float, jug: float, units: Units) -> str:
    """Count full jugs and what is poured beside them, never less than a volume [m³]."""
    size, full = written(jug, "volume", units), int(poured / jug + 1e-6)
    rest = poured - full * jug
    part = written(rest, "volume", units, Toward.UP) if rest > 1e-6 * jug else ""
    if part == size:
        full, part = full + 1, ""
    return " and ".join([f"{full} × {size}"] * bool(full) + [part] * bool(part))


def print_difference(first: BedFigures, second: BedFigures, units: Units) -> None:
    """Print what the second scape takes more or less than the first, layer by layer."""
    before, after = (
        {
            la.name: (la.poured_m3, sum(b.count for b in la.bags), la.cost or 0.0)
            for la in bed.layers
        }
        for bed in (first, second)
    )
    rows = []
    for name in {**before, **after}:
        ends = zip(before.get(name, NO_LAYER), after.get(name, NO_LAYER), strict=True)
        poured, bags, cost = (round(b - a, 6) for a, b in ends)
        words = written(abs(poured), "volume", units)
        sign = "+" if poured >= 0 else "-"
        rows.append([name, f"{sign}{words}", f"{bags:+.0f}", f"{cost:+.2f}"])
    files = f"{Path(second.file).name} against {Path(first.file).name}"  # both may have one name
    output.table(files, ["Layer", "Pour", "Bags", "Cost"], rows)


def print_bed(title: str, layers: Sequence[LayerFigures], units: Units) -> None:
    """Print the table of layers and what to mind."""
    if not layers:
        tell("No layer of substrate in this scape.")
        return
    rows = [
        [
            layer.name,
            written(layer.drawn_m3, "volume", units),
            written(layer.stays_m3, "volume", units),
            volume_words(layer.poured_range_m3, units),
            mass_words(layer.mass_kg, units),
            bag_words(layer.bags, units) or "-",
            "-" if layer.cost is None else f"{layer.cost:.2f}",
        ]
        for layer in layers
    ]
    output.table(
        f"{title}: the bed", ["Layer", "Drawn", "Stays", "Pour", "Dry mass", "Bags", "Cost"], rows
    )
    for layer in layers:
        output.print_lines(layer_sentences(layer, units))
