"""`plumbstone mat`: a sheet of tags to scan stones on."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from plumbstone.cli.output import plain_errors

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MILLIMETRES_PER_INCH = 25.4


def mat(
    file: Annotated[Path, typer.Argument(help="PDF to write.")] = Path("mat.pdf"),
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    sheets: Annotated[
        int,
        typer.Option("--sheets", help="Pages with other tags, to lie side by side.", min=1, max=5),
    ] = 1,
    force: Annotated[bool, typer.Option("--force", help="Replace a file of that name.")] = False,
) -> None:
    """Write a mat of tags: print it at 100 %, put the stone on it, scan both with texture."""
    from plumbstone.cli.files import write_file
    from plumbstone.meshes.errors import PlumbstoneError
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
    import io

    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure

    from plumbstone.meshes.reading.mat import PAPERS

    width, height = (side * 1e3 for side in PAPERS[paper])
    stream = io.BytesIO()
    with PdfPages(stream, metadata={"CreationDate": None}) as book:
        for sheet in range(sheets):
            inches = (width / MILLIMETRES_PER_INCH, height / MILLIMETRES_PER_INCH)
            figure = Figure(figsize=inches)
            axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
            axes.set_xlim(0, width)
            axes.set_ylim(0, height)
            axes.axis("off")
            _draw_tags(axes, file, paper, sheet)
            _draw_control(axes, sheet, sheets)
            book.savefig(figure)
    return stream.getvalue()


def _draw_tags(axes: "Axes", file: Path, paper: str, sheet: int) -> None:
    """Draw every tag of one sheet, in millimetres."""
    import numpy as np
    from matplotlib.collections import PolyCollection

    from plumbstone.meshes.reading.mat import TAG, tag_bits, tag_places

    squares = []
    for number, corners in tag_places(paper, sheet).items():
        rows, columns = np.nonzero(tag_bits(file, number))
        left, top = corners[0]
        size = TAG / 8
        for row, column in zip(rows, columns, strict=True):
            x, y = left + column * size, top - (row + 1) * size
            squares.append([(x, y), (x + size, y), (x + size, y + size), (x, y + size)])
    axes.add_collection(
        PolyCollection(
            (np.array(squares) * 1e3).tolist(),
            facecolors="black",
            edgecolors="black",
            linewidths=0.1,
        )
    )


def _draw_control(axes: "Axes", sheet: int, sheets: int) -> None:
    """Draw the control line and what to do with it."""
    from plumbstone.meshes.reading.mat import CONTROL

    left, right, level = 20.0, 20.0 + CONTROL * 1e3, 14.0
    axes.plot([left, right], [level, level], color="black", linewidth=0.6)
    for end in (left, right):
        axes.plot([end, end], [level - 3, level + 3], color="black", linewidth=0.6)
    words = f"{CONTROL * 1e3:.0f} mm: measure it with a ruler and give --mat-control."
    number = f" Sheet {sheet + 1} of {sheets}." if sheets > 1 else ""
    axes.text(right + 5, level + 1, f"{words[:31]}\n{words[31:]}{number}", fontsize=7, va="center")
