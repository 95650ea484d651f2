"""`plumbstone mat`: a sheet of tags to scan stones on."""

from pathlib import Path
from typing import Annotated

import typer

from plumbstone.cli.files import write_file
from plumbstone.cli.output import plain_errors
from plumbstone.meshes.errors import PlumbstoneError


def mat(
    file: Annotated[Path, typer.Argument(help="PDF to write.")] = Path("mat.pdf"),
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    sheets: Annotated[
        int, typer.Option(help="Pages with other tags, to lie side by side.", min=1, max=5)
    ] = 1,
    force: Annotated[bool, typer.Option("--force", help="Replace a file of that name.")] = False,
) -> None:
    """Write a mat of tags: print it at 100 %, put the stone on it, scan both with texture."""
    from plumbstone.meshes.reading.mat import PAPERS

    with plain_errors():
        if paper not in PAPERS:
            raise PlumbstoneError(f'--paper "{paper}" is none of {", ".join(PAPERS)}.')
        if file.suffix.lower() != ".pdf":
            raise PlumbstoneError(f"{file}: the mat is a PDF; end its name in .pdf.")
        from plumbstone.cli.pictures.printed import mat_pdf

        write_file(file, mat_pdf(file, paper, sheets), inputs=[], force=force)
    typer.echo(
        f"Wrote {file}. Print it at 100 % and measure its control line; stand the stone on it so "
        "that much of it shows, and scan both with texture. Then:  "
        'plumbstone weigh scan.glb --mat --mat-control "10.0 cm"'
    )
