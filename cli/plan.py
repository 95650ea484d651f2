"""`plumbstone plan`: everything about a scape, into a folder."""

import bisect
import itertools
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from plumbstone.cli import output
from plumbstone.cli.bed import print_bed
from plumbstone.cli.documents import CAUTIONS, RESULTS, plan_document
from plumbstone.cli.files import refuse_foreign
from plumbstone.cli.options import ForceOption, GridOption, JsonOption, SaltOption, TrustOption
from plumbstone.cli.output import ScapeUnitsOption
from plumbstone.cli.wording.findings import together
from plumbstone.cli.wording.holding import hold_sentences, stack_sentence
from plumbstone.cli.wording.report import (
    SIGNS,
    first_lines,
    marked,
    moving_line,
    not_yet,
    told_first,
    water_lines,
)
from plumbstone.cli.wording.units import Units, figures_in, mass_words, place_words, volume_words
from plumbstone.meshes.errors import shown
from plumbstone.volumes.figures import Report
from plumbstone.volumes.findings import Finding, Severity
from plumbstone.volumes.sanity import checked

if TYPE_CHECKING:
    from plumbstone.volumes.holding.hold_down import HoldResult
    from plumbstone.volumes.plan import Plan

MOST_LINES = 25  # before the tables


def plan(
    scape: Annotated[Path, typer.Argument(help="The scape file.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder for the results, made if missing.")
    ] = None,
    grid: GridOption = None,
    salt: SaltOption = None,
    check: Annotated[
        bool, typer.Option("--check", help="Exit with 1 where something has to be mended first.")
    ] = False,
    force: ForceOption = False,
    _trust: TrustOption = None,
    as_json: JsonOption = False,
    units: ScapeUnitsOption = None,
) -> None:
    """Compute everything from a scape file; --out writes it into a folder."""
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.report import report_of
    from plumbstone.volumes.scape.scape import read_scape

    with output.plain_errors(units, scape=scape):
        with output.working("Laying out the tank ..."):
            read = read_scape(scape)
            units = output.units_of(units, read)
            if out is not None:
                refuse_foreign(out, RESULTS, inputs=read.files, force=force, of=scape)
            result = Layout(read).plan(grid, salt)
            report = checked(report_of(result))
            if out is not None:
                from plumbstone.cli.results import write_results

                write_results(result, report, out, units, force=force)
        if as_json:
            output.emit_json(plan_document(report))
        else:
            print_plan(result, report, units)
            if out is not None:
                typer.echo(shown(f"Results are in {out}: open {out / 'build-sheet.html'}"))
    if check and not_yet(report):
        raise typer.Exit(1)


def print_plan(result: "Plan", report: Report, units: Units) -> None:
    """Print what to mend and to buy, then pieces, bed, water, and what stays down."""
    lines, later = first_block(report, units, output.width())
    typer.echo("\n".join([*lines, ""]))
    _print_pieces(report, units)
    if report.layers:
        print_bed(report.name, report.layers, units)
    output.print_lines(water_lines(report, units))
    output.print_lines(hold_lines(result.holds, units, told_before=True))
    output.print_lines(filter(None, map(stack_sentence, result.standing)))
    if report.load is not None:
        output.print_lines([moving_line(report.load, units)])
    later += together(f for f in report.findings if f.severity is Severity.NOTE)
    output.print_lines(signed(alike, units) for alike in later)
    output.print_lines(f"Mind: {text}" for text in map(figures_in(units), report.guesses))
    output.print_lines(f"Caution: {text}" for text in CAUTIONS)


def first_block(
    report: Report, units: Units, columns: int
) -> tuple[list[str], list[tuple[Finding, ...]]]:
    """Give the lines before the tables, and the findings that find no room there.

    Findings come worst first, as many as `MOST_LINES` bear beside what is to be bought.
    """
    told = told_first(report)
    head, *rest = (output.wrapped(line, columns) for line in first_lines(report, units))
    blocks = [output.wrapped(signed(alike, units), columns) for alike in told]
    room = MOST_LINES - 3 - len(head) - sum(map(len, rest))
    taken = list(itertools.accumulate(map(len, blocks)))
    shown = max(1, bisect.bisect_right(taken, room))
    later = told[shown:]
    if later:
        stops = sum(alike[0].severity is Severity.STOP for alike in later)
        ending = f", {stops} of them to mend first" if stops else ""
        blocks[shown:] = [
            output.wrapped(f"and {len(later)} more{ending}: below the tables.", columns)
        ]
    return [report.name, *itertools.chain.from_iterable([head, *blocks, *rest])], later


def signed(alike: tuple[Finding, ...], units: Units) -> str:
    """Write findings that are told once so that a warning looks like one without colour."""
    return SIGNS[alike[0].severity] + marked(alike, units)


def _print_pieces(report: Report, units: Units) -> None:
    """Print one row a piece, under the number that it has everywhere."""
    if not report.pieces:
        return
    rows = [
        [
            f"{piece.number}. {piece.name}",
            piece.material,
            volume_words(piece.volume_m3, units),
            mass_words(piece.mass_kg, units),
            place_words(piece.from_left_m, units),
            place_words(piece.from_front_m, units),
        ]
        for piece in report.pieces
    ]
    columns = ["Piece", "Material", "Volume", "Dry mass", "From left", "From front"]
    output.table(f"{report.name}: stones and wood", columns, rows)


def hold_lines(
    holds: "tuple[HoldResult, ...]", units: Units, *, told_before: bool = False
) -> list[str]:
    """Tell what each group of wood needs, and where to stop filling."""
    told = [line for h in holds for line in hold_sentences(h, units, told_before=told_before)]
    not_counted = ["Wedged feet and fresh soil over them are not counted as holding."]
    return told + (not_counted if holds else [])
