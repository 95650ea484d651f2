"""The results of a plan, written into a folder."""

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plumbstone.cli.files import plain_cell, refuse_foreign, write_files
from plumbstone.cli.pictures.drawing import plan_figure, png_bytes, section_figure
from plumbstone.cli.pictures.scene import glb_bytes
from plumbstone.cli.sheet.build_sheet import build_sheet

if TYPE_CHECKING:
    from plumbstone.volumes.plan import Plan
    from plumbstone.volumes.scape.scape import Scape

NAMES = ("plan.json", "shopping.csv", "plan.png", "section.png", "scape.glb", "build-sheet.html")


def refuse_results(scape: "Scape", folder: Path, *, force: bool = False) -> None:
    """See that a folder will take results, before they are computed.

    Raises
    ------
    WriteError
        As `write_results`.
    """
    refuse_foreign(folder, NAMES, inputs=scape.files, force=force)


def write_results(
    plan: "Plan", document: dict[str, Any], folder: Path, *, force: bool = False
) -> None:
    """Write everything about a plan into a folder, beside whatever else is in it.

    Raises
    ------
    WriteError
        As `write_files`.
    """
    text = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False)
    contents = (
        text.encode(),
        shopping_csv(document).encode(),
        png_bytes(plan_figure(plan)),
        png_bytes(section_figure(plan)),
        glb_bytes(plan),
        build_sheet(plan, document).encode(),
    )
    named = dict(zip(NAMES, contents, strict=True))
    write_files(folder, named, inputs=plan.scape.files, force=force)


def shopping_csv(document: dict[str, Any]) -> str:
    """Give the shopping list as CSV: one row for each size of bag and each stone."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(["what", "material", "count", "size", "unit", "price_each", "price"])
    for layer in document["layers"]:
        for bag in layer["bags"]:
            by_mass = bag.get("holds_kg") is not None
            holds, unit = (bag["holds_kg"], "kg") if by_mass else (bag["holds_l"], "L")
            price = bag["price"]
            total = "" if price is None else f"{price * bag['count']:.2f}"
            writer.writerow(
                [plain_cell(layer["name"]), plain_cell(layer["material"]), bag["count"],
                 f"{holds:.4g}", unit,
                 "" if price is None else f"{price:.2f}", total]
            )  # fmt: skip
    for piece in document["pieces"]:
        mass = f"{piece['mass_kg']['mid']:.2f}"
        writer.writerow(
            [plain_cell(piece["name"]), plain_cell(piece["material"]), 1, mass, "kg", "", ""]
        )
    return stream.getvalue()
