"""Words for every finding: what it is, with its figures, and what to do."""

from collections.abc import Iterable, Mapping

from plumbstone.cli.wording import bed, bodies, holding
from plumbstone.cli.wording.sentences import Worded
from plumbstone.cli.wording.units import Units, figures_in, written
from plumbstone.meshes.telling import Naming, as_option, named
from plumbstone.volumes.findings import Finding, Kind

# Each room words its own kinds; a test sees that none is missing or worded twice.
WORDED: Mapping[Kind, Worded] = {**bodies.WORDED, **bed.WORDED, **holding.WORDED}
MOST_ALIKE = 2  # of one sort that are told one by one
MANY = {Kind.BURIED, Kind.LEAKS, Kind.OFF_LINE, Kind.WEAK}  # kinds of which a row may have many


def finding_words(finding: Finding, units: Units, *alike: Finding, name: Naming = as_option) -> str:
    """Write one finding for people: an action, its figures rounded, one or two sentences.

    Others `alike` are named after it.
    """
    words = named(WORDED[finding.kind](finding, units), name, figures_in(units))
    if not alike:
        return words
    first = _width(finding, units)
    names = ", ".join(_named(other, units, first) for other in alike)
    return f"{words} So it is with {len(alike)} more: {names}."


def together(findings: Iterable[Finding]) -> list[tuple[Finding, ...]]:
    """Put findings together that are told once, by name, as they are many; the worst is first."""
    sorts: dict[object, list[Finding]] = {}
    for finding in findings:
        sorts.setdefault(_sort(finding), []).append(finding)
    found: list[tuple[Finding, ...]] = []
    for alike in sorts.values():
        worst = max(alike, key=_volume)
        rest = (finding for finding in alike if finding is not worst)
        found += [(worst, *rest)] if len(alike) > MOST_ALIKE else [(f,) for f in alike]
    return found


def _volume(finding: Finding) -> float:
    """Give what slides or runs out [m³]; 0 where a finding tells of none."""
    return finding.number("volume_m3") if "volume_m3" in finding.numbers else 0.0


def _sort(finding: Finding) -> object:
    """Give what findings share that may be told once; a single one has a sort of its own."""
    sort = (finding.kind, finding.severity, finding.how, finding.where, finding.cure)
    if finding.kind is Kind.LEAKS and len(finding.about) > 1:
        return (*sort, finding.about[0])
    named = finding.kind in MANY - {Kind.LEAKS} or finding.how == "guessed foot"
    return (*sort, finding.about[1:]) if named else id(finding)


def _width(finding: Finding, units: Units) -> str:
    """Write the width of a gap; empty where a finding tells of none."""
    given = "width_m" in finding.numbers
    return f" ({written(finding.number('width_m'), 'gap', units)})" if given else ""


def _named(finding: Finding, units: Units, known: str) -> str:
    """Name what a finding is about: a piece, or a gap and its width where it is not `known`."""
    if finding.kind is not Kind.LEAKS:
        return finding.about[0]
    width = _width(finding, units)
    return " - ".join(finding.about[1:]) + (width if width != known else "")
