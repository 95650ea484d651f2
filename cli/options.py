"""Options that several commands share."""

from pathlib import Path
from typing import Annotated, Any

import typer
from typer import Option

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.reading.beside import trust

TrustOption = Annotated[
    list[Path] | None,
    Option(
        "--trust",
        exists=True,
        file_okay=False,
        help="A scape file may also name scans and maps in this folder; repeat it.",
        callback=trust,
    ),
]


def number_like(text: str) -> float:
    """Read a number as people type it: "4,50", "5 €", or "45 %" as a share [-]."""
    return _read(text, "%" if "%" in text else "€")


def per_kilogram(text: str) -> float:
    """Read a price per kilogram [€/kg, any money], or by the pound where it says so: "$2/lb"."""
    return _read(text, "€/kg")


def limits_factor(text: str) -> float:
    """Read a factor on the limits [-], 1 to 1000."""
    found = number_like(text)
    if not 1 <= found <= 1000:
        raise typer.BadParameter(f"{text} must lie from 1 to 1000.")
    return found


def cell_width(text: str) -> float:
    """Read a width in mm, or with its unit [m]."""
    from plumbstone.volumes.scape.quantities import is_quantity, parse_quantity

    if is_quantity(text, "length"):
        return parse_quantity(text, "length")
    return number_like(text) * 1e-3


def grams_a_litre(text: str) -> float:
    """Read grams per litre [g/L], with their unit or without."""
    return number_like(text.strip().removesuffix("g/L"))


def measured(option: str, text: str | None, kind: str) -> float | None:
    """Parse a quantity [SI] of an option that must be above zero, if it is given.

    Raises
    ------
    PlumbstoneError
        If it is none of its kind, or not above zero.
    """
    from plumbstone.volumes.scape.quantities import parse_quantity

    found = None if text is None else parse_quantity(text, kind)
    if found is not None and not found > 0:
        raise PlumbstoneError(f'{option} "{text}": a {kind} must be more than nothing.')
    return found


def _read(text: str, sign: str) -> float:
    """Read a number; what is none is told as Typer tells it."""
    from plumbstone.volumes.scape.quantities import QuantityError, bare_number

    try:
        return bare_number(text, sign)
    except QuantityError as error:
        raise typer.BadParameter(str(error)) from None


Text = str | None  # of an option that need not be given
Number = float | None
NUMBER: dict[str, Any] = {"parser": number_like, "metavar": "<number>"}  # of an option
PER_KG: dict[str, Any] = {"parser": per_kilogram, "metavar": "<number>"}
GridOption = Annotated[
    float | None,
    Option("--grid", parser=cell_width, metavar="<number>", help="Width of a grid cell in mm."),
]
SaltOption = Annotated[
    float | None,
    Option("--salt", parser=grams_a_litre, metavar="<number>", help="Grams of salt mix per litre."),
]
ForceOption = Annotated[
    bool, Option("--force", help="Replace files not of plumbstone, changed, or of another tank.")
]
JsonOption = Annotated[bool, Option("--json", help="One JSON document on stdout.")]
