"""`plumbstone mat`: a sheet of tags to scan stones on."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from plumbstone.cli.output import plain_errors
from plumbstone.meshes.errors import PlumbstoneError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from plumbstone.meshes.piece import Floats


def mat(
    file: Annotated[Path, typer.Argument(help="PDF to write.")] = Path("mat.pdf"),
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    sheets: Annotated[
        int, typer.Option(help="Pages with other tags, to lie side by side.", min=1, max=5)
    ] = 1,
    force: Annotated[bool, typer.Option("--force", help="Replace a file of that name.")] = False,
) -> None:
    """Write a mat of tags: print it at 100 %, put the stone on it, scan both with texture."""
    from plumbstone.cli.files import write_file
    from plumbstone.meshes.reading.mat import PAPERS

    with plain_errors():
        if paper not in PAPERS:
            raise PlumbstoneError(f'--paper "{paper}" is none of {", ".join(PAPERS)}.')
        if file.suffix.lower() != ".pdf":
            raise PlumbstoneError(f"{file}: the mat is a PDF; end its name in .pdf.")
        write_file(file, pages(file, paper, sheets), inputs=[], force=force)
    typer.echo(
        f"Wrote {file}. Print it at 100 % and measure its control line; stand the stone on it so "
        "that much of it shows, and scan both with texture. Then:  "
        'plumbstone weigh scan.glb --mat --mat-control "10.0 cm"'
    )


def pages(file: Path, paper: str, sheets: int) -> bytes:
    """Draw the pages of the mat as one PDF."""
    from plumbstone.cli.pictures.printed import pdf_of

    return pdf_of(_sheet(file, paper, sheet, sheets) for sheet in range(sheets))


def _sheet(file: Path, paper: str, sheet: int, sheets: int) -> "Figure":
    """Draw one sheet: its tags, the control line and what to do with it."""
    from plumbstone.cli.pictures.paper import POINT, Page, Panel, joined
    from plumbstone.meshes.reading.mat import CONTROL, PAPERS

    width, height = PAPERS[paper]
    page = Page.of_size(width / POINT, height / POINT, 7.0)
    tags = Panel(page, 0.0, 0.0, 1 / POINT, (width, height), framed=False)
    tags.fill(_squares(file, paper, sheet), color="black", linewidth=0.1)
    left, right, level, up = 0.020, 0.020 + CONTROL, 0.014, 0.003
    ends = [((x, level - up), (x, level + up)) for x in (left, right)]
    tags.line(*joined([((left, level), (right, level)), *ends]), color="black", linewidth=0.6)
    number = f" Sheet {sheet + 1} of {sheets}." if sheets > 1 else ""
    x, y = tags.at(right + 0.005, level + 0.001)
    told = f"{CONTROL * 1e3:.0f} mm: measure it with a ruler\n and give --mat-control.{number}"
    page.figure.text(x, y, told, transform=page.points, fontsize=7, va="center", color="black")
    return page.figure


def _squares(file: Path, paper: str, sheet: int) -> "list[Floats]":
    """Give the corners of every black square of the tags of one sheet [m]."""
    import numpy as np

    from plumbstone.meshes.reading.mat import TAG, tag_bits, tag_places

    size, corners = TAG / 8, np.array([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)])
    return [
        np.array(places[0]) + size * (corners + (column, -row - 1))
        for number, places in tag_places(paper, sheet).items()
        for row, column in np.argwhere(tag_bits(file, number))
    ]
