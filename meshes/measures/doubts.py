"""What a volume is not sure of: each cause by itself, put together into a range and a word."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from plumbstone.meshes.ranges import Range

WORDS = ("poor", "fair", "good")
GOOD, FAIR = 0.05, 0.15  # widest share of the volume to either side that bears the word
OWN = "not measured"  # what a doubt of lengths that nobody measured is
LEAST_LEFT = 0.05  # of the volume: no range reaches lower


@dataclass(frozen=True, slots=True)
class Doubt:
    """One cause of uncertainty.

    Attributes
    ----------
    what : str
        In a word, for a table: "scale", "underside", "neighbour".
    below, above : float
        How far the truth may lie to either side, as a share of the volume, at 90 %.
    says : str
        What it is and what would help, for people.
    trust : str
        The best of `WORDS` that a figure with this doubt can bear.
    """

    what: str
    below: float
    above: float
    says: str
    trust: str = "good"

    @property
    def word(self) -> str:
        """What it alone would make of the figure."""
        width = (self.below + self.above) / 2
        by_width = "good" if width <= GOOD else "fair" if width <= FAIR else "poor"
        return min(self.trust, by_width, key=WORDS.index)


def in_length(what: str, share: float, says: str, trust: str = "good") -> Doubt:
    """Turn a doubt of all lengths, a share at 90 %, into one of the volume."""
    return Doubt(what, 1 - (1 + share) ** -3, (1 + share) ** 3 - 1, says, trust)


def range_of(volume: float, doubts: Sequence[Doubt]) -> Range:
    """Put independent doubts around a volume [m³]."""
    below = sum(doubt.below**2 for doubt in doubts) ** 0.5
    above = sum(doubt.above**2 for doubt in doubts) ** 0.5
    return Range(volume * max(1 - below, LEAST_LEFT), volume, volume * (1 + above))


def foremost(doubts: Sequence[Doubt]) -> Doubt:
    """Give the doubt that the trust hangs on most.

    Lengths that nobody measured come last, and are told beside what else makes a figure poor;
    where nothing else does, it is told what the figure would be.
    """

    def rank(d: Doubt) -> tuple[int, bool, float]:
        return WORDS.index(d.word), d.what == OWN, -(d.below + d.above)

    first = min(doubts, key=rank)
    own = next((d for d in doubts if d.what == OWN), None)
    if own is None:
        return first
    rest = [d for d in doubts if d is not own]
    word = trust_in(range_of(1.0, rest), rest) if rest else "poor"
    if word != "poor":
        return replace(own, says=f"{own.says}; but for that it would be {word}")
    return first if first is own else replace(first, says=f"{first.says}; {own.says}")


def trust_in(volume: Range, doubts: Sequence[Doubt]) -> str:
    """Put all doubts into one of `WORDS`."""
    width = Doubt("", volume.half_width, volume.half_width, "").word
    return min((width, *(doubt.word for doubt in doubts)), key=WORDS.index)
