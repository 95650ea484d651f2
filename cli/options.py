"""Options that several commands share."""

from pathlib import Path
from typing import Annotated, Any

import typer

from plumbstone.volumes.scape.quantities import bare_number

TrustOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--trust",
        exists=True,
        file_okay=False,
        help="A scape file may also name scans and maps in this folder; repeat it.",
    ),
]


def number_like(text: str) -> float:
    """Read a number as people type it: "4,50", "5 €", "45 %"."""
    return bare_number(text, "%" if "%" in text else "€")


NUMBER: dict[str, Any] = {"parser": number_like, "metavar": "<number>"}  # of an option
ForceOption = Annotated[
    bool, typer.Option("--force", help="Replace files that are not plumbstone's own or changed.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document on stdout.")]
