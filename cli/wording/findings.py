"""Words for every finding: what it is, with its figures, and what to do."""

from collections.abc import Mapping

from plumbstone.cli.wording import bed, bodies, holding
from plumbstone.cli.wording.sentences import Worded
from plumbstone.cli.wording.units import Units
from plumbstone.volumes.findings import Finding, Kind

# Each room words its own kinds; a test sees that none is missing or worded twice.
WORDED: Mapping[Kind, Worded] = {**bodies.WORDED, **bed.WORDED, **holding.WORDED}


def finding_words(finding: Finding, units: Units) -> str:
    """Write one finding for people: an action, its figures rounded, one or two sentences."""
    return WORDED[finding.kind](finding, units)
