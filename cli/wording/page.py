"""What the page says of a tank: verdict, findings, figures, places, and what became of an edit."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from plumbstone.cli.wording.bed import bag_words
from plumbstone.cli.wording.findings import together
from plumbstone.cli.wording.holding import group_words
from plumbstone.cli.wording.page_labels import STANDS_ON, THE_BED, as_field
from plumbstone.cli.wording.report import marked, money_words
from plumbstone.cli.wording.units import Units, place_words, ranged, show_length, written
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.figures import Report
from plumbstone.volumes.findings import Severity
from plumbstone.volumes.plan import Plan

MEND_FILE = "Mend the file in an editor; this page follows as it is saved."
CHECKING, COMPUTING = "Being checked ...", "Computing ..."
RED_BEFORE = "Being checked ... What is red or lit was so before."
NOT_HELD = "not proved to stay"
PREVIEW = "A quick look; the exact figures follow ..."
JUDGING = "Figures are exact; what holds and what floats is being checked ..."
FINDINGS, FOUND_BEFORE = "Findings", "Found before this change"
REFUSED = "The disk refuses: {}. See that there is room and that the folder may be written."
BROKEN = "Something went wrong in the program itself; nothing was written. Load the page anew."
TOUCH_ROW = "Touch the border stones from left to right, then press Done."
NO_WOOD = "That is no wood; nothing was tied."
STOPPED = "Stopped; the scan was put away."
NO_ROOM = "There is no room for it."
NOT_YOURS = "That was changed in another tab, or before this page was loaded; press again if meant."
NOT_YET = "It is still being computed; press again when it is done."
TYPE_OR_SCAN = "Type three sides, or use a scan."
TYPE_ALL = "Type its sides too, and what it weighs: by these it is drawn and counted in a tank."
NOTHING_TO_KEEP = f"There is nothing to keep yet. {TYPE_OR_SCAN}"
LOST_VIEW = (
    "What stands in this view did not arrive. Fold it and open it again, or load the page anew."
)
LATE_VIEW = (
    "What stands in this view has not arrived yet; still working. To ask anew, fold it and open it "
    "again."
)
SENDING = "Sending the scan ..."
UNSENT = "The scan did not arrive; choose it again. What was typed is still here."
PARTS = ("seen", "closed, guessed", "cut away")
TOO_LARGE = "This file is over 80 MB; thin the scan out."
EMPTY_STOCK = "Nothing kept yet. Weigh a stone and keep it."
NO_TANK = "There is no tank in this folder yet."
START_HINTS = (
    "Inside, as a tape tells it. Everything else follows from it and can be changed later.",
    "Pull both sliders until the slope looks right.",
    "Stones from pane to pane keep the soil off the sand in front. Pull them about later.",
    "Most wood floats at first; the tank then says what must hang on it.",
)
KEYS = (
    "Arrows move the chosen piece or handle one step, with Shift ten.",
    "R turns it, T tilts it, with Shift the other way.",
    "D copies it, M mirrors it, Delete takes it out.",
    "Page Down presses it into the bed, Page Up lifts it.",
    "Ctrl+Z undoes, Ctrl+Y does it again.",
)
IN_3D = "The tank in three dimensions; drag to turn it"
SCAN_IN_3D = "The closed scan in three dimensions; drag to turn it"
BY_SIZE = "rounded, by its size"
NEED_TWO = "Keep a version of a tank first, or start a second one; then both can be compared."
WRITTEN_BEFORE = "What was written is of the tank before the last change; write it again."
WRITING = "Writing ..."
# What stands in the braces is a name, unless its own words say it.
CHANGED_OUTSIDE = "{} was changed outside; this is how it is now."
PULL = "{}: pull the round handles below, or choose one and press an arrow key."
NO_HANDLES = "{}: its heights come from a map in a file; its levels can be typed below."
GONE = "{} is no longer in the tank."
NOT_ON_BED = f'{{}} does not stand on the bed. Choose "{STANDS_ON}: {THE_BED}" first.'
SAVED = "Saved in {}."
WATER_LINE = "Water line: {} above the glass"
PRICE = "Price {}"
WRITTEN_INTO = "Written into {}:"
WRITTEN_EARLIER = "Written earlier, into {}; the tank may have changed since:"
KEPT_VERSION = "Kept as {}; it is in the list of tanks."
KEPT_AS = "Kept as {}."
KEPT_ALREADY = "{} is kept already; to keep another one like it, give it another name."
TOUCH_WOOD = "Now touch the wood that {} is tied to."
TAKEN_AS = "Taken as {}"
MENDED = "Mended or guessed: {}"
WEIGHING = "Weighing the scan ... about {:.0f} %, {:.0f} s"
PASSES = {True: "It passes the opening.", False: "It does not pass the opening."}
CORNERS = ("front left", "front right", "back left", "back right")


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that is told, and what it speaks of."""

    text: str
    about: tuple[str, ...]
    severity: Severity
    where: str = ""


def lines(plan: Plan, report: Report, units: Units) -> list[Line]:
    """Give what was found, worst first."""
    told = [
        Line(
            marked(alike, units, as_field),
            tuple(dict.fromkeys(name for finding in alike for name in finding.about)),
            alike[0].severity,
            alike[0].where,
        )
        for alike in together(report.findings)
    ]
    for hold in plan.holds:
        said = group_words(hold, units, on_page=True)[:2]
        said[1:] = (words[0].upper() + words[1:] for words in said[1:])
        text = f"{hold.group.name}: {' '.join(said)}"
        told += [Line(text, hold.group.wood, Severity.NOTE)] if said else []
    return sorted(told, key=lambda line: -line.severity)


def figures(report: Report, units: Units, *, brief: bool = False) -> Iterator[tuple[str, str]]:
    """Give the figures that change under the hand, each with its name; brief ones lack ranges."""

    def told(figure: Range, kind: str) -> str:
        return written(figure.mid, kind, units) if brief else ranged(figure, kind, units)

    if report.water is not None:
        yield "Dose for", told(report.water.dosing_m3, "volume")
        yield "Filling takes", told(report.water.fill_m3, "volume")
    if report.load is not None:
        whole, bare = report.load.full_kg, report.load.full_without_glass_kg
        yield "Full" if whole else "Full, no glass", told(whole or bare, "mass")
    if report.costs.total is not None:
        lacks = report.costs.without_price  # not left out in silence
        yield "Cost of what has a price" if lacks else "Cost", money_words(report.costs.total)
    for layer in report.layers:
        amount = written(layer.poured_m3, "volume", units)
        bags = f": {bag_words(layer.bags, units)}" if layer.bags else ""
        yield layer.name, f"{amount}{bags}"


def place_line(x: float, y: float, units: Units) -> str:
    """Say where something is [m]."""
    return f"{place_words(x, units)} from the left, {place_words(y, units)} from the front"


def level_line(layer: str, where: str, level: float, units: Units) -> str:
    """Say how high a layer is drawn at a place [m]."""
    return f"{layer}, {where}: {show_length(level, units)}"


def trust_line(word: str, caveat: str, reason: str) -> str:
    """Say how far a weight is to be trusted, and why."""
    return f"Trust: {word}{f' ({caveat})' if caveat else ''}; {reason}."


def sides_in(unit: str) -> str:
    """Say how the three sides are typed."""
    unit = {"in": "inches"}.get(unit, unit)
    return f"Sides in {unit}, at their widest; other units may be typed too."


def unbroken(text: str) -> list[str]:
    """Take a figure, its range and what to buy of it apart, each of which stays on its line.

    Examples
    --------
    >>> unbroken("6.99 L: 1 × 5 L, 1 × 2 L")
    ['6.99 L: ', '1 × 5 L, ', '1 × 2 L']
    """
    return re.split(r"(?<=[:,] )|(?<= )(?=\()", text)
