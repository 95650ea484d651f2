"""Names of fields and buttons of the page to which errors, notes and offers point."""

from pathlib import Path

from plumbstone.cli.wording.units import Units, figures_in
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.telling import valued

USE_SCAN = "Use a scan instead"
KNOWN = "Known thing"
KNOWN_THING = f"{KNOWN} beside it: card, A4, can 66 x 115 mm"
LONGEST = "Greatest distance"
ACROSS = "Greatest width"
BUCKET = "Bucket on a scale"
ONE_PIECE = "All of the scan is one piece"
UNIT = "Unit of the scan"
UNITS = f"{UNIT}: m, cm, mm or in"
TURN_IN_3D = "Turn it in 3D"
ADD_PIECE = "Add a stone or wood"
JUST_SINKS = "Just sinks with, in a tub ({mass} granite)"
SETTLES = "Lies (settle)"
TURNS = "turns to rest"
STANDS_ON = "Stands on"
THE_BED = "the bed"
TIE = "Tie to wood"
# What stands in the braces is a unit.
LONGEST_IN = f"{LONGEST} across it ({{}}), by caliper"
BUCKET_IN = f"{BUCKET} ({{}}): what the reading rises by, it just under water"
ACROSS_IN = f"{ACROSS} at right angles to that ({{}})"

# Where the page offers what an option or a key does.
FIELDS = {
    "across": f'"{ACROSS}"',
    "bucket-rise": f'"{BUCKET}"',
    "known": f'"{KNOWN}"',
    "longest": f'"{LONGEST}"',
    "one-piece": f'tick "{ONE_PIECE}"',
    "picture": "the view below",
    "settle": f'"{SETTLES}" to "{TURNS}"',
    "size": "sides",
    "source": "the file",
    "unit": f'"{UNIT}"',
}


def as_field(thing: str, value: str = "") -> str:
    """Name a thing as the page does; what it has not is told as the command line's.

    Examples
    --------
    >>> as_field("longest", "24.3 cm"), as_field("limits")
    ('"Greatest distance" "24.3 cm"', 'limits of the command line')
    """
    return valued(FIELDS.get(thing, f"{thing} of the command line"), value)


def told_beside(error: PlumbstoneError, file: Path, units: Units) -> str:
    """Say what is wrong without the place of a file, which the reader sees already."""
    text = error.told(as_field, figures_in(units)).replace(f"{file.parent}/", "")
    return text.removeprefix(f"{file.name}: ")
