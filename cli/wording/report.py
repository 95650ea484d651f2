"""What is said of a whole report: first what to mend and what to buy, then the figures."""

from collections.abc import Iterator

from plumbstone.cli.wording.bed import bag_words
from plumbstone.cli.wording.findings import finding_words
from plumbstone.cli.wording.units import Toward, Units, mass_words, ranged, volume_words, written
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.figures import (
    LoadFigures,
    Report,
    WaterFigures,
)
from plumbstone.volumes.findings import Finding, Severity

MARKS = {Severity.STOP: "Mend first", Severity.CARE: "See to", Severity.NOTE: "Note"}
MOST_FIRST = 14  # findings told before the tables


def marked(finding: Finding, units: Units) -> str:
    """Write a finding with its weight in a word, so that it needs no colour."""
    return f"{MARKS[finding.severity]}: {finding_words(finding, units)}"


def first_lines(report: Report, units: Units) -> Iterator[str]:
    """Give the block that comes before everything: what to mend, what to buy, what it weighs."""
    told = [finding for finding in report.findings if finding.severity > Severity.NOTE]
    if any(finding.severity is Severity.STOP for finding in told):
        yield "Do not fill yet."
    elif not told:
        yield "Nothing found that has to be mended, if set as described."
    yield from (marked(finding, units) for finding in told[:MOST_FIRST])
    if len(told) > MOST_FIRST:
        yield f"and {len(told) - MOST_FIRST} more, below."
    bags = [f"{bag_words(layer.bags, units)} {layer.name}" for layer in report.layers if layer.bags]
    if bags:
        yield f"Buy: {'; '.join(bags)}."
    if report.costs.total is not None:
        yield f"Cost of what has a price: {money_words(report.costs.total)}."
    if report.load is not None:
        yield from load_lines(report.load, units)
    if report.water is not None:
        yield dosing_line(report.water, units)


def later_findings(report: Report, units: Units) -> Iterator[str]:
    """Give the findings that the first block leaves out."""
    told = [finding for finding in report.findings if finding.severity > Severity.NOTE]
    notes = [finding for finding in report.findings if finding.severity is Severity.NOTE]
    yield from (marked(finding, units) for finding in (*told[MOST_FIRST:], *notes))


def money_words(cost: Range) -> str:
    """Write a price, its range rounded up so that the money will do."""
    mid = written(cost.mid, "money", Units.METRIC)
    if cost.low == cost.high:
        return mid
    return f"{mid}, have {written(cost.high, 'whole money', Units.METRIC, Toward.UP)}"


def dosing_line(water: WaterFigures, units: Units) -> str:
    """Say how much water to dose for."""
    box = volume_words(Range.exact(water.box_m3), units)
    return f"Dose for {volume_words(water.dosing_m3, units)}, not the {box} of the empty box."


def water_lines(report: Report, units: Units) -> Iterator[str]:
    """Say what filling takes, what a slice of water holds, and where to stop for a change."""
    water = report.water
    if water is None:
        return
    yield f"Filling takes {volume_words(water.fill_m3, units)}."
    if water.per_cm_m3 > 0:
        slices, name = (2.54, "inch") if units is Units.US else (1.0, "centimetre")
        one = written(water.per_cm_m3 * slices, "volume", units)
        yield f"One {name} of water just below the line is {one}."
    for mark in water.marks:
        level = written(mark.level_m, "place", units)
        yield f"For a {mark.change_percent:.0f} % change, drain to {level} above the glass."
    if water.salt_mix_kg is not None:
        yield f"Salt mix: {mass_words(water.salt_mix_kg, units)}; mix it apart, measure, top up."
    if report.drain_back is not None and not report.drain_back.overflows:
        amount = written(report.drain_back.volume_m3, "volume", units, Toward.UP)
        yield f"When the pump stops, {amount} drain back: check the sump's room."


def load_lines(load: LoadFigures, units: Units) -> Iterator[str]:
    """Say what stands on the stand, full and for a move."""
    with_glass = load.full_kg is not None
    full = load.full_kg if load.full_kg is not None else load.full_without_glass_kg
    sides = " × ".join(written(side, "place", units) for side in load.footprint_m)
    yield (
        f"Full: {mass_words(full, units)} {'with' if with_glass else 'without'} the glass on "
        f"{sides}; ask the stand maker; floor and stand are for local code and a licensed "
        "engineer to judge."
    )
    if load.cabinet_water_kg > 0:
        yield (
            f"Sump and filter hold {written(load.cabinet_water_kg, 'mass', units)} of water more; "
            "the pressure on the floor counts it, the vessels themselves not."
        )


def moving_line(load: LoadFigures, units: Units) -> str:
    """Say what the tank weighs for a move, with the glass where it is known."""
    glass = load.glass_kg or 0.0
    drained, stripped = (
        ranged(mass.plus(glass), "mass", units)
        for mass in (load.drained_without_glass_kg, load.stripped_without_glass_kg)
    )
    ending = "with the glass" if load.glass_kg is not None else "without the glass"
    return (
        f"For a move: drained to the bed {drained}, stripped of stones and wood {stripped}, "
        f"{ending}."
    )
