"""`plumbstone bed`: litres, kilograms and bags of every layer."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from plumbstone.cli.options import GridOption, JsonOption, TrustOption
from plumbstone.cli.output import UnitsOption, emit_json, plain_errors, print_lines, table, working
from plumbstone.cli.wording.units import Units

if TYPE_CHECKING:
    from plumbstone.volumes.bed.results import BedResult, SpotDepth
    from plumbstone.volumes.figures import LayerFigures
    from plumbstone.volumes.plan import Purchase


def bed(
    scapes: Annotated[list[Path], typer.Argument(help="A scape file, or two to compare.")],
    grid: GridOption = None,
    jug: Annotated[
        str | None, typer.Option("--jug", help='Pour by jugs of this size: "1 L".')
    ] = None,
    _trust: TrustOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Say how many litres, kilograms and bags each layer takes."""
    from plumbstone.cli.documents import document_of
    from plumbstone.cli.wording.report import marked
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.bed.results import depths_at
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.sanity import checked
    from plumbstone.volumes.scape.scape import read_scape

    with plain_errors():
        jug_size = None if jug is None else _jug(jug)
        if len(scapes) > 2:
            raise PlumbstoneError("bed compares two scapes at most; name one or two.")
        with working("Laying the bed ..."):
            read = [read_scape(path) for path in scapes]
            layouts = [Layout(scape) for scape in read]
            grounds = [layout.ground(grid) for layout in layouts]
            figures = [checked(layout.bed(grid)) for layout in layouts]
            documents = [document_of(each) for each in figures]
            beds = [(ground.bed, ground.purchases) for ground in grounds]
        spots = [depths_at(s.spots, b) if b else () for s, (b, _) in zip(read, beds, strict=True)]
    if as_json:
        emit_json(documents[0] if len(documents) == 1 else {"scapes": documents})
        return
    for each, (laid, purchases), places in zip(figures, beds, spots, strict=True):
        print_bed(each.name, each.layers, units)
        if laid is not None:
            print_depths(laid, places, units)
        for finding in each.findings:
            typer.echo(marked(finding, units))
        if jug_size is not None:
            print_pouring(purchases, jug_size, units)
    if len(documents) == 2:
        print_difference(documents, units)


def _jug(text: str) -> float:
    """Parse the size of a jug [m³]."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.scape.quantities import parse_quantity

    size = parse_quantity(text, "volume")
    if not 5e-5 <= size <= 0.05:
        raise PlumbstoneError(f'--jug "{text}": name a size from 50 mL to 50 L.')
    return size


def print_depths(laid: "BedResult", spots: "tuple[SpotDepth, ...]", units: Units) -> None:
    """Print how high the bed stands at front, middle, back and at named places."""
    from plumbstone.cli.wording.units import place_words

    levels = [f"{place_words(depth, units)} {name}" for name, depth in laid.depths]
    if levels:
        typer.echo(f"Above the glass: {', '.join(levels)}.")
    for found in spots:
        words = f"{found.spot.name}: {place_words(found.height, units)} above the glass, "
        words += f"{place_words(found.depth, units)} of it substrate"
        if found.lacking > 1e-3:
            words += f"; its roots need {place_words(found.lacking, units)} more"
        typer.echo(f"{words}.")


def print_pouring(purchases: "tuple[Purchase, ...]", jug: float, units: Units) -> None:
    """Print the order in which to pour, in jugs; a filler in sacks is laid by the sack."""
    from plumbstone.cli.wording.units import written

    for number, purchase in enumerate(purchases, 1):
        result = purchase.result
        sacks = result.layer.sacks
        if sacks:
            size = written(sacks.holds, "volume", units)
            step, count = "Lay", f"{result.sacks} sacks of {size}"
        else:
            step, count = "Pour", _jugs(result.poured, jug, units)
        where = "" if result.layer.zone.name == "all" else f", {result.layer.zone.name}"
        typer.echo(f"{step} {number}: {result.layer.name}{where}, {count}.")


def _jugs(poured: float, jug: float, units: Units) -> str:
    """Count full jugs and what is poured beside them, never less than a volume [m³]."""
    from plumbstone.cli.wording.units import Toward, written

    size, full = written(jug, "volume", units), int(poured / jug + 1e-6)
    rest = poured - full * jug
    part = written(rest, "volume", units, Toward.UP) if rest > 1e-6 * jug else ""
    if part == size:
        full, part = full + 1, ""
    return " and ".join([f"{full} × {size}"] * bool(full) + [part] * bool(part))


def print_difference(documents: "list[dict[str, Any]]", units: Units) -> None:
    """Print what the second scape takes more or less than the first, layer by layer."""
    from plumbstone.cli.wording.units import written

    first, second = ({layer["name"]: layer for layer in d["layers"]} for d in documents)
    rows = []
    for name in [*first, *(name for name in second if name not in first)]:
        a, b = first.get(name, {}), second.get(name, {})
        litres = b.get("poured_l", 0.0) - a.get("poured_l", 0.0)
        bags = sum(bag["count"] for bag in b.get("bags", []))
        bags -= sum(bag["count"] for bag in a.get("bags", []))
        cost = (b.get("cost") or 0.0) - (a.get("cost") or 0.0)
        sign = "+" if litres >= 0 else "-"
        words = written(abs(litres) * 1e-3, "volume", units)
        rows.append([name, f"{sign}{words}", f"{bags:+d}", f"{cost:+.2f}"])
    title = f"{documents[1]['name']} against {documents[0]['name']}"
    table(title, ["Layer", "Pour", "Bags", "Cost"], rows)


def print_bed(title: str, layers: "Sequence[LayerFigures]", units: Units) -> None:
    """Print the table of layers and what to mind."""
    from plumbstone.cli.wording.bed import bag_words, layer_sentences
    from plumbstone.cli.wording.units import mass_words, volume_words, written

    if not layers:
        typer.echo("No layer of substrate in this scape.")
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
    table(
        f"{title}: the bed", ["Layer", "Drawn", "Stays", "Pour", "Dry mass", "Bags", "Cost"], rows
    )
    for layer in layers:
        print_lines(layer_sentences(layer, units))
