"""What every command shares: plain errors, JSON, units for people, tables, progress."""

import errno
import io
import json
import os
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar

import typer

from plumbstone.cli.wording.page_labels import as_field
from plumbstone.cli.wording.units import JOINTS, Units, figures_in
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.telling import Naming, as_option
from plumbstone.volumes.scape.quantities import in_us_units

if TYPE_CHECKING:
    from pathlib import Path

    from plumbstone.volumes.scape.scape import Scape

Item = TypeVar("Item")
RANGES = re.compile(r"(?<=\w) (?=\(\d[^ ]*\))")  # between a figure and its range
READER = "PLUMBSTONE_READER"  # variable: "page" where that reads what this process writes
GLUE = "\ue000"  # stands for a blank at which no line is broken

ScapeUnitsOption = Annotated[
    Units | None,
    typer.Option("--units", help="Units of what is told; as typed or as the tank, if not given."),
]


def units_of(asked: Units | None, scape: "Scape") -> Units:
    """Give the units that are asked for, or those in which a file gives its tank."""
    return asked or (Units.US if scape.us else Units.METRIC)


def units_typed(asked: Units | None, typed: Iterable[object]) -> Units:
    """Give the units that are asked for, or in which something is typed."""
    us = any(in_us_units(str(text)) for text in typed)
    return asked or (Units.US if us else Units.METRIC)


def naming() -> Naming:
    """Give how the reader of this process calls things: on the command line, or on the page."""
    return as_field if os.environ.get(READER) == "page" else as_option


@contextmanager
def plain_errors(
    asked: Units | None = None, typed: Iterable[object] = (), scape: "Path | None" = None
) -> Iterator[None]:
    """Turn what the user can put right into one message on stderr and exit code 1.

    It is told in the units that are asked for, or in which something is typed, or a tank.
    """
    try:
        yield
    except PlumbstoneError as error:
        units = units_typed(asked, typed)
        if asked is None and scape is not None:
            from plumbstone.volumes.scape.scape import us_by

            units = Units.US if us_by(scape) else units
        typer.echo(f"plumbstone: {error.told(naming(), figures_in(units))}", err=True)
        raise typer.Exit(1) from None
    except MemoryError:
        typer.echo("plumbstone: not enough memory; use smaller scans or a wider --grid.", err=True)
        raise typer.Exit(1) from None
    except OSError as error:
        if error.filename is None or error.errno != errno.ENAMETOOLONG:
            raise
        typer.echo(f"plumbstone: {error.filename}: is too long a name; check it.", err=True)
        raise typer.Exit(1) from None


def emit_json(document: dict[str, Any]) -> None:
    """Print one JSON document and nothing else on stdout."""
    plain = not (sys.stdout.encoding or "").lower().startswith("utf")
    typer.echo(json.dumps(document, ensure_ascii=plain, indent=2, allow_nan=False))


def table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table; the first column is text, the others figures set to the right.

    Where it does not fit the terminal, each row becomes a few lines of words.
    """
    from rich.cells import cell_len
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    least, wide = [], []
    for column in zip(columns, *rows, strict=True):
        cells = (column[0], *map(unbroken, column[1:]))  # a heading may be broken
        least.append(min(max(cell_len(word) for cell in cells for word in f"{cell} -".split()), 30))
        wide.append(max(least[-1], *map(cell_len, cells)))
    room = width() - 3 * len(columns) + 1  # lines and blanks between them
    if sum(least) > room:
        print_lines([title, *map(partial(_told_row, columns), rows)])
        return
    while sum(wide) > room:
        widest = max(range(len(wide)), key=lambda k: (wide[k] > least[k], wide[k]))
        wide[widest] -= 1
    grid = Table(title=escape(title) or None, title_justify="left", pad_edge=False)
    for i, name in enumerate(columns):
        justify: Literal["left", "right"] = "left" if i == 0 else "right"
        grid.add_column(escape(name), justify=justify, overflow="fold", width=wide[i])
    for row in rows:
        grid.add_row(*(escape(unbroken(cell)) for cell in row))
    drawn = io.StringIO()
    Console(file=drawn, highlight=False, color_system=None, width=width()).print(grid)
    typer.echo(drawn.getvalue().replace(GLUE, " "), nl=False)


def width() -> int:
    """Give the columns of the terminal, 100 where there is none."""
    return max(20, min(shutil.get_terminal_size((100, 24)).columns, 100))


def unbroken(line: str) -> str:
    """Tie figures to their units and to the figures that they belong to."""
    return JOINTS.sub(GLUE, line)


def wrapped(line: str, columns: int) -> list[str]:
    """Break a line at words, never within a figure; what hangs over goes two columns in."""
    parts = textwrap.wrap(
        RANGES.sub(GLUE, unbroken(line)), columns, subsequent_indent="  ", break_on_hyphens=False,
        break_long_words=False,
    )  # fmt: skip
    return [part.replace(GLUE, " ") for part in parts] or [""]


def print_lines(lines: Iterable[str]) -> None:
    """Print lines, wrapped to the width of the terminal."""
    for line in lines:
        typer.echo("\n".join(wrapped(line, width())))


def tell(line: str) -> None:
    """Print a line: wrapped in a terminal, else in one piece, to be searched."""
    if sys.stdout.isatty():
        print_lines([line])
    else:
        typer.echo(line)


def _told_row(columns: Sequence[str], row: Sequence[str]) -> str:
    """Write one row of a table as words."""
    pairs = zip(columns[1:], row[1:], strict=True)
    told = (f"{name} {cell}" for name, cell in pairs if cell != "-")
    return f"{row[0]}: {'; '.join(told)}"


@contextmanager
def working(label: str) -> Iterator[None]:
    """Show on stderr that work goes on, while it is a terminal."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(file=sys.__stderr__).status(label):
        yield


def counted(items: Iterable[Item], label: str, total: int) -> Iterable[Item]:
    """Give items as they come, with a bar of progress on stderr while it is a terminal."""
    if not sys.stderr.isatty():
        return items
    from rich.console import Console
    from rich.progress import track

    console = Console(file=sys.__stderr__)
    return track(items, label, total, console=console, transient=True)
