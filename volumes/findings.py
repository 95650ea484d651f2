"""What the computation finds that the user should know: data, never sentences."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

from plumbstone.meshes.ranges import Range


class Severity(IntEnum):
    """How much depends on a finding."""

    NOTE = 1  # good to know
    CARE = 2  # see to it while building
    STOP = 3  # do not fill before it is mended: something floats, falls or does not fit


class Kind(StrEnum):
    """What is found; each kind is worded in one place, `cli/wording/`."""

    FLOATS = "floats"  # wood that is not held down, or not proved to be
    TIPS = "tips"  # a stone or wood that tips or rocks
    FALLS = "falls"  # a stack or a piece that is in no balance
    LEAKS = "leaks"  # soil that comes through the border
    OFF_LINE = "off line"  # a stone beside which the line of its border passes
    SLIDES = "slides"  # a layer that cannot stay as it is drawn
    CREEPS = "creeps"  # a bare slope that does not last
    RUNS_INTO = "runs into"  # fine grains that run into the voids of coarse ones
    HEAVES = "heaves"  # a filler that floats and lifts its cover
    WEAK = "weak"  # a border stone with too little reserve against thrust
    BURIED = "buried"  # a piece wholly or mostly below the bed
    BARE = "bare"  # floor that no layer covers
    OVERLAPS = "overlaps"  # zones drawn over each other
    VOID = "void"  # space that stays empty below a stone
    MISFIT = "misfit"  # a piece that does not pass the opening or does not fit
    OVER_LIMIT = "over a limit"  # a mass or a volume above what was said to be allowed
    DOUBTFUL = "doubtful"  # a scan, a density or a guess that the result hangs on
    SHORT = "short"  # nothing, or too little, to spare


NO_LINE = "no water line"  # how of what is doubtful without one


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found.

    Attributes
    ----------
    kind : Kind
    severity : Severity
    about : tuple of str
        Names of the pieces, layers, groups or gaps that it speaks of, the first one foremost.
    numbers : mapping of str to float or Range
        SI; the unit ends the name: "level_m", "lacking_kg", "volume_m3", "lean_deg", "share".
    where : str
        A place on the floor by its code: "front", "middle", "back left" …; may be empty.
    how : str
        A code that tells cases of one kind apart, such as "lifts whole"; may be empty.
    cure : str
        A code of what mends it, such as "add stone"; empty where nothing is to be done.
    """

    kind: Kind
    severity: Severity
    about: tuple[str, ...]
    numbers: Mapping[str, float | Range] = field(default_factory=dict)
    where: str = ""
    how: str = ""
    cure: str = ""

    def __post_init__(self) -> None:
        """Own the numbers; a plain dict goes to other processes and into documents."""
        object.__setattr__(self, "numbers", dict(self.numbers))

    def number(self, key: str) -> float:
        """Give one figure that is exact [SI]."""
        value = self.numbers[key]
        assert not isinstance(value, Range)
        return float(value)

    def range(self, key: str) -> Range:
        """Give one figure that is a range [SI]."""
        value = self.numbers[key]
        assert isinstance(value, Range)
        return value


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort by severity, then by kind in the order of `Kind`, else as they come."""
    order = list(Kind)
    return tuple(sorted(findings, key=lambda f: (-f.severity, order.index(f.kind))))
