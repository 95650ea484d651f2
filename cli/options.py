"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

from plumbstone.meshes.reading.beside import trust

TrustOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--trust",
        help="A scape file may also name scans and maps in this folder; repeat it.",
        callback=trust,
    ),
]
GridOption = Annotated[
    float | None,
    typer.Option(
        "--grid",
        help="Width of a grid cell in mm.",
        callback=lambda wide: None if wide is None else wide * 1e-3,  # in metres from here on
    ),
]
ForceOption = Annotated[
    bool, typer.Option("--force", help="Replace files that are not plumbstone's own or changed.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document on stdout.")]
