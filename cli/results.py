"""The results of a plan, written into a folder."""

import csv
import io
import json
from pathlib import Path

from plumbstone.cli.documents import RESULTS, plan_document
from plumbstone.cli.files import plain_cell, write_files
from plumbstone.cli.pictures.drawing import png_bytes
from plumbstone.cli.pictures.floor_plan import plan_figure
from plumbstone.cli.pictures.front_view import front_figure, section_figure
from plumbstone.cli.pictures.printed import drawings_pdf, template_pdf
from plumbstone.cli.pictures.scene import glb_bytes
from plumbstone.cli.pictures.sight import look_at
from plumbstone.cli.sheet.build_sheet import build_sheet
from plumbstone.cli.wording.report import item_words
from plumbstone.cli.wording.units import Units
from plumbstone.volumes.figures import Report, ShoppingFigures
from plumbstone.volumes.plan import Plan


def write_results(
    plan: Plan, report: Report, folder: Path, units: Units, *, force: bool = False
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
        shopping_csv(report).encode(),
        build_sheet(sight, report, units).encode(),
        png_bytes(plan_figure(sight, units)),
        png_bytes(front_figure(sight, units)),
        png_bytes(section_figure(sight, units)),
        drawings_pdf(sight, units),
        template_pdf(sight, units),
        glb_bytes(sight),
    )
    named = dict(zip(RESULTS, contents, strict=True))
    write_files(folder, named, inputs=plan.scape.files, force=force, of=plan.scape.path)


def shopping_csv(report: Report) -> str:
    """Give the shopping list as CSV: a row for each size of bag, stone, lump and small thing."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(["what", "material", "count", "size", "unit", "price_each", "price"])
    for item in report.shopping:
        names = [plain_cell(item_words(item)), plain_cell(item.material)]
        cost = None if item.cost is None else item.cost.mid
        prices = ["" if cost is None else f"{cost / n:.2f}" for n in (item.count, 1)]
        writer.writerow([*names, item.count, *_size(item), *prices])
    return stream.getvalue()


def _size(item: ShoppingFigures) -> tuple[str, str]:
    """Give the size of one of these things, and its unit."""
    if item.mass_kg is not None:
        return f"{item.mass_kg.mid / item.count:.4g}", "kg"
    if item.volume_m3 is not None:
        return f"{item.volume_m3 / item.count * 1e3:.4g}", "L"
    if item.length_m is not None:
        return f"{item.length_m / item.count * 1e2:.4g}", "cm"
    return "", ""
