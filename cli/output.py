"""What every command shares: plain errors, JSON, units for people, tables, progress."""

import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from plumbstone.cli.wording.units import Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range

if TYPE_CHECKING:
    from rich.progress import Progress


TrustOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--trust",
        help="A scape file may also name scans and maps in this folder; repeat it.",
    ),
]
ForceOption = Annotated[
    bool, typer.Option("--force", help="Replace files that are not plumbstone's own or changed.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document on stdout.")]
UnitsOption = Annotated[Units, typer.Option("--units", help="Units of the tables.")]


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn what the user can put right into one message on stderr and exit code 1."""
    try:
        yield
    except PlumbstoneError as error:
        typer.echo(f"plumbstone: {error}", err=True)
        raise typer.Exit(1) from None
    except MemoryError:
        typer.echo("plumbstone: not enough memory; use smaller scans or a wider --grid.", err=True)
        raise typer.Exit(1) from None


def emit_json(document: dict[str, Any]) -> None:
    """Print one JSON document and nothing else on stdout."""
    plain = not (sys.stdout.encoding or "").lower().startswith("utf")
    typer.echo(json.dumps(document, ensure_ascii=plain, indent=2, allow_nan=False))


def range_json(figure: Range, per_unit: float = 1.0) -> dict[str, float]:
    """Give a range as JSON; `per_unit` is the SI size of the unit in the key (1e-3 for litres)."""
    return {name: getattr(figure, name) / per_unit for name in ("low", "mid", "high")}


def table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table; the first column is text, the others figures set to the right."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    grid = Table(title=escape(title) or None, title_justify="left", pad_edge=False)
    narrowest = 1
    for i, column in enumerate(zip(columns, *rows, strict=True)):
        longest = min(max(len(word) for cell in column for word in f"{cell} -".split()), 20)
        narrowest += longest + 4
        justify: Literal["left", "right"] = "left" if i == 0 else "right"
        grid.add_column(escape(column[0]), justify=justify, overflow="fold", min_width=longest)
    for row in rows:
        grid.add_row(*(escape(cell) for cell in row))
    console = Console(file=sys.stdout, highlight=False, color_system=None)
    width = console.width if console.is_terminal else 100
    # A terminal that is too narrow breaks the lines; that is better than words or columns broken.
    console.width = max(width, narrowest)
    console.print(grid)


@contextmanager
def working(label: str) -> Iterator[None]:
    """Show on stderr that work goes on, while it is a terminal."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(file=sys.__stderr__).status(label):
        yield


@contextmanager
def progress(label: str, total: int) -> Iterator["Progress | None"]:
    """Show a progress bar on stderr while it is a terminal; yields None elsewhere.

    Advance it with ``bar.advance(bar.task_ids[0])``.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(file=sys.__stderr__), transient=True) as bar:
        bar.add_task(label, total=total)
        yield bar
