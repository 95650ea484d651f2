"""Two scapes beside each other: what differs for the one who chooses."""

from collections.abc import Iterator
from pathlib import Path

from plumbstone.cli.wording.bed import bag_words
from plumbstone.cli.wording.findings import finding_words, together
from plumbstone.cli.wording.report import MARKS, money_words
from plumbstone.cli.wording.units import Units, mass_words, place_words, volume_words, written
from plumbstone.meshes.telling import Naming, as_option
from plumbstone.volumes.figures import HoldFigures, Report
from plumbstone.volumes.findings import Severity


def compared(
    reports: tuple[Report, Report], units: Units, name: Naming = as_option
) -> list[list[str]]:
    """Give a table of two scapes: its head with the names of the files, then its rows."""
    files = [Path(report.file).name for report in reports]
    if files[0] == files[1]:
        files = [report.file for report in reports]
    heads = ["", *files]
    cells = [dict(_told(report, units, name)) for report in reports]
    rows = [*cells[0], *(row for row in cells[1] if row not in cells[0])]
    return [heads, *([row, *(part.get(row, "-") for part in cells)] for row in rows)]


def _told(report: Report, units: Units, name: Naming) -> Iterator[tuple[str, str]]:
    """Give what is told of one scape, by its name."""
    for place, level in report.depths_m.items():
        yield f"Bed at the {place}", place_words(level, units)
    if report.pieces:
        yield "Highest piece", place_words(max(piece.top_m for piece in report.pieces), units)
    if report.water is not None:
        yield "Water to dose for", volume_words(report.water.dosing_m3, units)
    if report.load is not None:
        whole = report.load.full_kg or report.load.full_without_glass_kg
        glass = "with" if report.load.full_kg is not None else "without"
        yield f"Full, {glass} the glass", mass_words(whole, units)
    for layer in report.layers:
        bags = f", buy {bag_words(layer.bags, units)}" if layer.bags else ""
        yield layer.name, written(layer.poured_m3, "volume", units) + bags
    for hold in report.holds:
        yield f"Wood: {hold.name}", _hold_words(hold, units)
    if report.costs.total is not None:
        yield "Cost of what has a price", money_words(report.costs.total)
    if report.costs.without_price:
        count = len(report.costs.without_price)
        yield "No price given", f"{count} thing{'s' if count > 1 else ''}"
    for severity, mark in MARKS.items():
        found = together(f for f in report.findings if f.severity is severity)
        if severity is not Severity.NOTE:
            yield (
                mark,
                "\n".join(finding_words(first, units, *more, name=name) for first, *more in found)
                or "nothing",
            )


def _hold_words(hold: HoldFigures, units: Units) -> str:
    """Say in a few words whether wood stays down."""
    if hold.stays:
        return "stays, if set as described"
    if hold.moves_at_m is None:
        return "not held"
    return f"moves at {place_words(hold.moves_at_m, units)}"
