"""The results of a plan, written into a folder."""

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plumbstone.cli.documents import plan_document
from plumbstone.cli.files import plain_cell, refuse_foreign, write_files
from plumbstone.cli.pictures.drawing import png_bytes
from plumbstone.cli.pictures.floor_plan import plan_figure
from plumbstone.cli.pictures.front_view import front_figure, section_figure
from plumbstone.cli.pictures.printed import drawings_pdf, template_pdf
from plumbstone.cli.pictures.scene import glb_bytes
from plumbstone.cli.pictures.sight import look_at
from plumbstone.cli.sheet.build_sheet import build_sheet
from plumbstone.cli.wording.units import Units

if TYPE_CHECKING:
    from plumbstone.volumes.figures import Report
    from plumbstone.volumes.plan import Plan
    from plumbstone.volumes.scape.scape import Scape

NAMES = (
    "plan.json", "shopping.csv", "build-sheet.html", "plan.png", "front.png", "section.png",
    "drawings.pdf", "template.pdf", "scape.glb",
)  # fmt: skip


def refuse_results(scape: "Scape", folder: Path, *, force: bool = False) -> None:
    """See that a folder will take results, before they are computed.

    Raises
    ------
    WriteError
        As `write_results`.
    """
    refuse_foreign(folder, NAMES, inputs=scape.files, force=force)


def write_results(
    plan: "Plan", report: "Report", folder: Path, units: Units, *, force: bool = False
) -> None:
    """Write everything about a plan into a folder, beside whatever else is in it.

    Raises
    ------
    WriteError
        As `write_files`.
    """
    document, sight = plan_document(report), look_at(plan)
    text = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False)
    contents = (
        text.encode(),
        shopping_csv(document).encode(),
        build_sheet(sight, report, units).encode(),
        png_bytes(plan_figure(sight, units)),
        png_bytes(front_figure(sight, units)),
        png_bytes(section_figure(sight, units)),
        drawings_pdf(sight, units),
        template_pdf(sight, units),
        glb_bytes(sight),
    )
    named = dict(zip(NAMES, contents, strict=True))
    write_files(folder, named, inputs=plan.scape.files, force=force)


def shopping_csv(document: dict[str, Any]) -> str:
    """Give the shopping list as CSV: a row for each size of bag, stone, lump and sinker."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(["what", "material", "count", "size", "unit", "price_each", "price"])
    for layer in document["layers"]:
        for bag in layer["bags"]:
            mass = bag.get("holds_kg")
            size, unit = (bag["holds_l"], "L") if mass is None else (mass, "kg")
            writer.writerow(_row(layer, bag["count"], f"{size:.4g}", unit, bag["price"]))
    for piece in document["pieces"]:
        cost = None if piece["cost"] is None else piece["cost"]["mid"]
        writer.writerow(_row(piece, 1, f"{piece['mass_kg']['mid']:.2f}", "kg", cost))
    for lump in document["lumps"]:
        mass = lump["mass_kg"]["mid"] / lump["count"]
        writer.writerow(_row(lump, lump["count"], f"{mass:.2f}", "kg", None))
    for hold in document["holds"]:
        for sinker in hold["sinkers"]:
            if sinker["stone"] is None:
                named = {"name": f"Sinker for {hold['name']}", "material": sinker["material"]}
                writer.writerow(_row(named, 1, f"{sinker['mass_g']:.0f}", "g", None))
    return stream.getvalue()


def _row(
    named: dict[str, Any], count: int, size: str, unit: str, price: float | None
) -> list[object]:
    """Give one line of the shopping list."""
    names = [plain_cell(named["name"]), plain_cell(named["material"])]
    each, whole = ("", "") if price is None else (f"{price:.2f}", f"{price * count:.2f}")
    return [*names, count, size, unit, each, whole]
