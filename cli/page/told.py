"""What is told of a tank beside its drawing: verdict, findings and figures, in common words."""

from collections.abc import Iterator
from dataclasses import dataclass

from plumbstone.cli.page.desk import Seen
from plumbstone.cli.wording.bed import bag_words
from plumbstone.cli.wording.holding import hold_sentences
from plumbstone.cli.wording.report import MARKS, first_lines, marked, money_words
from plumbstone.cli.wording.units import Units, mass_words, volume_words
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.findings import Severity

STOPS = "Do not fill yet."
CLASSES = {Severity.STOP: "stop", Severity.CARE: "care", Severity.NOTE: ""}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that is told, and the pieces it speaks of."""

    text: str
    about: tuple[str, ...]
    severity: Severity


def verdict(seen: Seen, units: Units) -> str:
    """Give the first line of all: stop, how many things to see to, or that nothing was found."""
    if any(not hold.stays for hold in seen.plan.holds):
        return STOPS
    first = next(first_lines(seen.report, units), "")
    care = [f for f in seen.report.findings if f.severity is Severity.CARE]
    if care and first.startswith(MARKS[Severity.CARE]):
        return f"{MARKS[Severity.CARE]}: {len(care)}, below."
    return first


def lines(seen: Seen, units: Units) -> list[Line]:
    """Give what was found, worst first."""
    told = [
        Line(marked(finding, units), finding.about, finding.severity)
        for finding in seen.report.findings
    ]
    for hold in seen.plan.holds:
        text = " ".join(hold_sentences(hold, units, told_before=True)[:2])
        told.append(Line(text, hold.group.wood, Severity.NOTE))
    return sorted(told, key=lambda line: -line.severity)


def figures(seen: Seen, units: Units) -> Iterator[tuple[str, str]]:
    """Give the figures that change under the hand."""
    report = seen.report
    if report.water is not None:
        yield "Dose for", volume_words(report.water.dosing_m3, units)
        yield "Filling takes", volume_words(report.water.fill_m3, units)
    if report.load is not None:
        load = report.load
        full = load.full_kg or load.full_without_glass_kg
        yield "Full", mass_words(full, units)
    if report.costs.total is not None:
        yield "Costs", money_words(report.costs.total)
    for layer in report.layers:
        amount = volume_words(Range.exact(layer.poured_m3), units)
        bags = f": {bag_words(layer.bags, units)}" if layer.bags else ""
        yield layer.name, f"{amount}{bags}"
