"""What a volume is not sure of: each cause by itself, put together into a range and a word."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from plumbstone.meshes.ranges import Range

WORDS = ("poor", "fair", "good")
GOOD, FAIR = 0.05, 0.15  # half-width of a volume's range that bears the word at most, whatever
# it was told by: a scan, a bucket, a tape, a mass; a mass has the range of its density besides
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
        return borne(self.trust, (self.below + self.above) / 2)


def borne(word: str, half_width: float) -> str:
    """Give the best of `WORDS`, up to one, that a volume of this half-width [-] bears."""
    width = round(half_width, 9)  # sums of shares end in odd digits
    return min(
        word, "good" if width <= GOOD else "fair" if width <= FAIR else "poor", key=WORDS.index
    )


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
    return borne(min((doubt.word for doubt in doubts), key=WORDS.index), volume.half_width)
