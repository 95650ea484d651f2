"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

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
