"""What is said of a whole report: first what to mend and what to buy, then the figures."""

from collections import Counter
from collections.abc import Iterator

from plumbstone.cli.wording.bed import bag_words
from plumbstone.cli.wording.findings import finding_words, together
from plumbstone.cli.wording.units import Toward, Units, mass_words, ranged, volume_words, written
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import Naming, as_option
from plumbstone.volumes.figures import LoadFigures, Report, ShoppingFigures, WaterFigures
from plumbstone.volumes.findings import Finding, Severity

MARKS = {Severity.STOP: "Mend first", Severity.CARE: "See to", Severity.NOTE: "Note"}
SALT_MIX = "Salt mix: {}; mix it apart, measure, top up."
SIGNS = {Severity.STOP: "!! ", Severity.CARE: "!  ", Severity.NOTE: ""}  # before it in a terminal
PLURALS = {
    "stone": ("stone", "stones"), "wood": ("piece of wood", "pieces of wood"),
    "sinker": ("sinker", "sinkers"),
    "tie": ("tie", "ties"), "pad": ("pad", "pads"), "strip": ("hidden strip", "hidden strips"),
    "fabric": ("piece of fabric", "pieces of fabric"),
}  # fmt: skip


def marked(alike: tuple[Finding, ...], units: Units, name: Naming = as_option) -> str:
    """Write findings that are told once with their weight in a word, so that it needs no colour."""
    return f"{MARKS[alike[0].severity]}: {finding_words(alike[0], units, *alike[1:], name=name)}"


def told_first(report: Report) -> list[tuple[Finding, ...]]:
    """Give the findings that come before everything else, worst first; many alike are one."""
    return together(f for f in report.findings if f.severity > Severity.NOTE)


def not_yet(report: Report) -> bool:
    """Tell whether something floats, falls or does not fit, so that nothing is filled yet."""
    return any(finding.severity is Severity.STOP for finding in report.findings)


def verdict(report: Report) -> str:
    """Say the first thing of all, on the terminal, the sheet and the page."""
    if not_yet(report):
        return "Do not fill yet."
    if told := told_first(report):
        return f"See to {len(told)} thing{'s' if len(told) > 1 else ''} first."
    return "Nothing found that has to be mended, if set as described."


def first_lines(report: Report, units: Units) -> Iterator[str]:
    """Give what comes first: the verdict, what to buy and what it costs, weight and water."""
    yield verdict(report)
    bags = [f"{bag_words(layer.bags, units)} {layer.name}" for layer in report.layers if layer.bags]
    if bags:
        yield f"Buy: {'; '.join(bags)}."
    yield from cost_lines(report)
    if report.load is not None:
        yield from load_lines(report.load, units)
    if report.water is not None:
        yield dosing_line(report.water, units)


def cost_lines(report: Report) -> Iterator[str]:
    """Say what all costs together, and what of it has no price."""
    total, missing = report.costs.total, unpriced_words(report)
    if total is not None:
        kind = "Cost of what has a price" if missing else "Cost"
        yield f"{kind}: {money_words(total)}."
    if missing:
        yield f"No price given: {missing}."


def unpriced_words(report: Report) -> str:
    """Name what has no price: bags, layers and lumps by name, all else by count."""
    unpriced = [item for item in report.shopping if item.cost is None]
    named = {"bag": "bags of {}", "loose": "{}", "lump": "{}"}
    words = dict.fromkeys(named[i.what].format(i.name) for i in unpriced if i.what in named)
    counts = Counter[str]()
    for item in unpriced:
        counts[item.what] += item.count
    counted = [f"{counts[k]} {PLURALS[k][counts[k] > 1]}" for k in PLURALS if counts[k]]
    return ", ".join([*words, *counted])


def item_words(item: ShoppingFigures) -> str:
    """Name one thing to buy."""
    if item.what == "sinker":
        return f"Sinker for {item.name}"
    return item.name or PLURALS[item.what][item.count > 1].capitalize()


def amount_words(item: ShoppingFigures, units: Units) -> str:
    """Say how many of a small thing are needed."""
    if item.length_m is None:
        return str(item.count)
    return f"{written(item.length_m, 'place', units, Toward.UP)} and a little more"


def money_words(cost: Range) -> str:
    """Write a price, its range rounded up so that the money will do."""
    mid = written(cost.mid, "money", Units.METRIC)
    if cost.low == cost.high:
        return mid
    return f"{mid}, have {written(cost.high, 'whole money', Units.METRIC, Toward.UP)}"


def dosing_line(water: WaterFigures, units: Units) -> str:
    """Say how much water to dose for."""
    box = written(water.box_m3, "volume", units)
    return f"{dosing_words(water)}.".format(volume_words(water.dosing_m3, units), box)


def dosing_words(water: WaterFigures, box: str = "") -> str:
    """Word what to dose for, with a place for that and maybe one for the empty box."""
    if water.dosing_m3.mid > water.box_m3:
        return f"Dose for {{}}, sump and filter counted{box}"
    return "Dose for {}, not the {} of the empty box" if unlike_box(water) else "Dose for {}"


def unlike_box(water: WaterFigures) -> bool:
    """Tell whether it is dosed for another volume than that of the empty box, as one reads it."""
    dose, box = (written(v, "volume", Units.METRIC) for v in (water.dosing_m3.mid, water.box_m3))
    return dose != box


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
        yield SALT_MIX.format(mass_words(water.salt_mix_kg, units))
    elif report.tank.salinity_g_per_kg > 0:
        yield "Salt mix: its pack names grams per litre; plan with them tells the mass: --salt 38."
    if report.drain_back is not None and not report.drain_back.overflows:
        back = report.drain_back
        amount = written(back.volume_m3, "volume", units, Toward.UP)
        room = ": check the sump's room"
        if back.spare_m3 is not None:
            room = f"; the sump has room for {written(back.spare_m3, 'volume', units)}"
        yield f"When the pump stops, {amount} drain back{room}."


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
