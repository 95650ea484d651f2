"""`plumbstone plan`: everything about a scape, into a folder."""

import shutil
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from plumbstone.cli.bed import GridOption, print_bed
from plumbstone.cli.output import (
    ForceOption,
    JsonOption,
    TrustOption,
    UnitsOption,
    emit_json,
    plain_errors,
    table,
    working,
)
from plumbstone.cli.wording.units import Units

if TYPE_CHECKING:
    from plumbstone.volumes.figures import Report
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
    check: Annotated[
        bool, typer.Option("--check", help="Exit with 1 where something has to be mended first.")
    ] = False,
    force: ForceOption = False,
    trust: TrustOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Compute everything from a scape file; --out writes it into a folder."""
    from plumbstone.meshes.beside import trust as trust_folders
    from plumbstone.volumes.findings import Severity

    trust_folders(trust)
    with plain_errors():
        spacing = None if grid is None else grid * 1e-3
        report = run_plan(scape, out, spacing, salt, as_json, units, force)
    if check and any(finding.severity is Severity.STOP for finding in report.findings):
        raise typer.Exit(1)


def run_plan(
    path: Path,
    out: Path | None,
    spacing: float | None,
    salt: float | None,
    as_json: bool,
    units: Units,
    force: bool,
) -> "Report":
    """Compute, write and print a plan; give its report."""
    from plumbstone.cli.documents import plan_document
    from plumbstone.volumes.layout import make_plan
    from plumbstone.volumes.report import report_of
    from plumbstone.volumes.sanity import checked
    from plumbstone.volumes.scape.scape import read_scape

    with working("Laying out the tank ..."):
        scape = read_scape(path)
        if out is not None:
            from plumbstone.cli.results import refuse_results, write_results

            refuse_results(scape, out, force=force)
        result = make_plan(scape, spacing, salt)
        report = checked(report_of(result))
        if out is not None:
            write_results(result, report, out, units, force=force)
    if as_json:
        emit_json(plan_document(report))
        return report
    print_plan(result, report, units)
    if out is not None:
        typer.echo(f"Results are in {out}: open {out / 'build-sheet.html'}")
    return report


def print_plan(result: "Plan", report: "Report", units: Units) -> None:
    """Print what to mend and to buy, then pieces, bed, water, and what stays down."""
    from plumbstone.cli.documents import CAUTIONS
    from plumbstone.cli.wording.report import first_lines, later_findings, moving_line, water_lines

    print_lines([report.name, *first_lines(report, units), ""])
    _print_pieces(report, units)
    if report.layers:
        print_bed(report.name, report.layers, units)
    print_lines(water_lines(report, units))
    print_holds(result.holds, units, told_before=True)
    _print_standing(result)
    if report.load is not None:
        print_lines([moving_line(report.load, units)])
    print_lines(later_findings(report, units))
    print_lines(f"Mind: {text}" for text in report.guesses)
    print_lines(f"Caution: {text}" for text in CAUTIONS)


def print_lines(lines: Iterable[str]) -> None:
    """Print lines, wrapped at words to the width of the terminal."""
    width = min(shutil.get_terminal_size((100, 24)).columns, 100)
    for line in lines:
        typer.echo(
            textwrap.fill(
                line, max(width, 20), subsequent_indent="  ", break_on_hyphens=False,
                break_long_words=False,
            )
        )  # fmt: skip


def _print_pieces(report: "Report", units: Units) -> None:
    """Print one row a piece, under the number that it has everywhere."""
    from plumbstone.cli.wording.units import mass_words, place_words, volume_words

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
    table(f"{report.name}: stones and wood", columns, rows)


def print_holds(
    holds: "tuple[HoldResult, ...]", units: Units, *, told_before: bool = False
) -> None:
    """Print what each group of wood needs, and where to stop filling."""
    from plumbstone.cli.wording.holding import hold_sentences

    for hold in holds:
        print_lines(hold_sentences(hold, units, told_before=told_before))
    if holds:
        typer.echo("Wedged feet and fresh soil over them are not counted as holding.")


def _print_standing(result: "Plan") -> None:
    from plumbstone.cli.wording.holding import stack_sentence

    print_lines(filter(None, map(stack_sentence, result.standing)))
