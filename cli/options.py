"""Options that several commands share."""

from pathlib import Path
from typing import Annotated, Any

import typer

from plumbstone.meshes.reading.beside import trust

TrustOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--trust",
        exists=True,
        file_okay=False,
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


def number_like(text: str) -> float:
    """Read a number as people type it: "4,50", "5 €", "45 %"."""
    return _read(text, "%" if "%" in text else "€")


def per_kilogram(text: str) -> float:
    """Read a price per kilogram, or by the pound where it says so: "$2/lb"."""
    return _read(text, "€/kg")


def _read(text: str, sign: str) -> float:
    """Read a number; what is none is told as Typer tells it."""
    from plumbstone.volumes.scape.quantities import QuantityError, bare_number

    try:
        return bare_number(text, sign)
    except QuantityError as error:
        raise typer.BadParameter(str(error)) from None


NUMBER: dict[str, Any] = {"parser": number_like, "metavar": "<number>"}  # of an option
PER_KG: dict[str, Any] = {"parser": per_kilogram, "metavar": "<number>"}
ForceOption = Annotated[
    bool, typer.Option("--force", help="Replace files that are not plumbstone's own or changed.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document on stdout.")]
