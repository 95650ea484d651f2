"""`plumbstone plan`: everything about a scape, into a folder."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from plumbstone.cli.bed import GridOption, print_bed
from plumbstone.cli.output import JsonOption, UnitsOption, emit_json, plain_errors, table, working
from plumbstone.cli.wording.units import Units

if TYPE_CHECKING:
    from plumbstone.volumes.holding.hold_down import HoldResult
    from plumbstone.volumes.plan import Plan


def plan(
    scape: Annotated[Path, typer.Argument(help="The scape file.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the results, made if missing.")
    ] = None,
    grid: GridOption = None,
    salt: Annotated[
        float | None, typer.Option("--salt", help="Grams of salt mix per litre.")
    ] = None,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Compute everything from a scape file; --out writes it into a folder."""
    with plain_errors():
        run_plan(scape, out, None if grid is None else grid * 1e-3, salt, as_json, units)


def run_plan(
    path: Path,
    out: Path | None,
    spacing: float | None,
    salt: float | None,
    as_json: bool,
    units: Units,
) -> None:
    """Compute, write and print a plan."""
    from plumbstone.cli.documents import plan_document
    from plumbstone.volumes.plan import make_plan
    from plumbstone.volumes.scape.scape import read_scape

    with working("Laying out the tank ..."):
        result = make_plan(read_scape(path), spacing, salt)
        document = plan_document(result)
        if out is not None:
            from plumbstone.cli.results import write_results

            write_results(result, document, out)
    if as_json:
        emit_json(document)
        return
    print_plan(result, units)
    if out is not None:
        typer.echo(f"Results are in {out}: open {out / 'build-sheet.html'}")


def print_plan(result: "Plan", units: Units) -> None:
    """Print pieces, bed, water, load and what stays down."""
    from plumbstone.cli.documents import CAUTIONS

    _print_pieces(result, units)
    if result.purchases:
        print_bed(result.scape.name, result.purchases, units)
    _print_ground(result, units)
    _print_water(result, units)
    print_holds(result.holds, units)
    _print_standing(result, units)
    _print_load(result, units)
    for text in (*result.warnings, *result.guesses):
        typer.echo(f"Mind: {text}")
    for text in CAUTIONS:
        typer.echo(f"Caution: {text}")


def _print_pieces(result: "Plan", units: Units) -> None:
    from plumbstone.cli.wording.units import mass_words, place_words, volume_words

    if not result.bodies:
        return
    rows = [
        [
            body.entry.name,
            body.entry.material.name,
            volume_words(body.volume, units, 2),
            mass_words(body.mass, units),
            place_words(body.entry.at[0], units),
            place_words(body.entry.at[1], units),
        ]
        for body in result.bodies
    ]
    columns = ["Piece", "Material", "Volume", "Dry mass", "From left", "From front"]
    table(f"{result.scape.name}: stones and wood", columns, rows)


def _print_ground(result: "Plan", units: Units) -> None:
    from plumbstone.cli.wording.bed import (
        footing_sentence,
        gap_sentence,
        heave_sentence,
        rest_sentence,
        swallowed_sentence,
    )

    texts: list[str | None] = [swallowed_sentence(s, units) for s in result.swallowed]
    texts += [rest_sentence(rest, units) for rest in result.rests]
    texts += [heave_sentence(heave, units) for heave in result.heaves]
    if result.border is not None:
        texts += [gap_sentence(gap, units) for gap in result.border.gaps]
        texts.append(footing_sentence(result.border))
    for text in filter(None, texts):
        typer.echo(text)


def _print_water(result: "Plan", units: Units) -> None:
    from plumbstone.cli.wording.units import mass_words, place_words, volume_words
    from plumbstone.meshes.ranges import Range

    if result.dosing is None or result.parts is None:
        return
    dosing, box = result.dosing, Range.exact(result.parts.box)
    typer.echo(
        f"Dose for {volume_words(dosing.dosing, units)}, not the "
        f"{volume_words(box, units)} of the empty box up to the line. "
        f"Filling takes {volume_words(dosing.fill, units)}."
    )
    if dosing.per_centimetre > 0:
        slice_of = 2.54 if units is Units.US else 1.0
        one = volume_words(Range.exact(dosing.per_centimetre * slice_of), units)
        name = "inch" if units is Units.US else "centimetre"
        typer.echo(f"One {name} of water just below the line is {one}.")
    for share, level in dosing.marks:
        mark = place_words(level, units)
        typer.echo(f"For a {share:.0%} change, drain to {mark} above the glass.")
    if dosing.salt_mix is not None:
        salt = mass_words(dosing.salt_mix, units)
        typer.echo(f"Salt mix: {salt}; mix it apart, measure, top up.")
    back = result.drain_back
    if back is not None:
        amount = volume_words(Range.exact(back.volume), units)
        ending = "more than the sump has room for." if back.overflows else "check the sump's room."
        typer.echo(f"When the pump stops, {amount} drain back: {ending}")


def print_holds(holds: "tuple[HoldResult, ...]", units: Units) -> None:
    """Print what each group of wood needs, and where to stop filling."""
    from plumbstone.cli.wording.holding import hold_sentences

    for hold in holds:
        for text in hold_sentences(hold, units):
            typer.echo(text)
    if holds:
        typer.echo("Wedged feet and fresh soil over them are not counted as holding.")


def _print_standing(result: "Plan", units: Units) -> None:
    from plumbstone.cli.wording.holding import stack_sentence, standing_sentence

    for stone in result.standing:
        text = standing_sentence(stone, units) if stone.doubtful else stack_sentence(stone)
        if text is not None:
            typer.echo(text)


def _print_load(result: "Plan", units: Units) -> None:
    from plumbstone.cli.wording.units import mass_words, place_words
    from plumbstone.meshes.ranges import Range
    from plumbstone.volumes.water.loads import lift_caution

    load = result.load
    if load is None:
        return
    total = load.full.plus(load.glass or 0.0)
    glass = "with" if load.glass is not None else "without"
    sides = " × ".join(place_words(side, units) for side in load.footprint)
    typer.echo(
        f"Full: {mass_words(total, units)} {glass} the glass on {sides}; "
        "ask the stand maker; floor and stand are for local code and a licensed engineer to judge."
    )
    if load.cabinet > 0:
        typer.echo(
            f"Sump and filter hold {mass_words(Range.exact(load.cabinet), units)} of water more; "
            "the pressure on the floor counts it, the vessels themselves not."
        )
    typer.echo(
        f"For a move: drained to the bed {mass_words(load.drained, units)}, "
        f"stripped of stones {mass_words(load.stripped, units)}, without the glass."
    )
    if load.heaviest is not None:
        name, mass = load.heaviest
        caution = lift_caution(mass.high)
        if caution:
            typer.echo(f"Heaviest lift: {name}, {mass_words(mass, units)}. {caution}")
