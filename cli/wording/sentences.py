"""How a sentence takes the figures of a finding: "{width_m:gap}", "{fill_m3:volume up}"."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from plumbstone.cli.wording.units import TABLE, Toward, Units, push_words, ranged, written
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.findings import Finding

Worded = Callable[[Finding, Units], str]
# End of a figure's name → its kind in the table of units, where the sentence asks for no other.
KINDS = {"m": "length", "m2": "area", "m3": "volume", "kg": "mass", "n": "force", "deg": "angle"}


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a finding, written as a sentence asks: a kind and "up" or "down", or digits."""

    name: str
    value: float | Range
    units: Units

    def __format__(self, asked: str) -> str:
        """Write it in the units of the reader."""
        kind, _, toward = asked.partition(" ")
        kind = kind or KINDS.get(self.name.rpartition("_")[2], "share")
        if isinstance(self.value, Range):
            return ranged(self.value, kind, self.units)
        if kind not in TABLE:
            return format(self.value, asked)
        if kind == "force":
            return push_words(self.value, self.units)
        return written(self.value, kind, self.units, Toward(toward or "nearest"))


def filled(sentence: str, finding: Finding, units: Units, **more: str) -> str:
    """Fill a sentence: figures by their names, whom it is about, its codes, and what is given.

    `{name}` is the first that it is about, `{others}` are the rest, `{on}` is " on " and these.
    """
    name, *rest = finding.about or ("",)
    others = " and ".join(rest)
    figures = {key: Figure(key, value, units) for key, value in finding.numbers.items()}
    given = {"name": name, "others": others, "on": f" on {others}" if rest else ""}
    codes = {"where": finding.where, "how": finding.how, "cure": finding.cure}
    return sentence.format(**given, **codes, **figures, **more)


def one_of(sentences: Mapping[str, str]) -> Worded:
    """Word a kind by its sentence for how it is; that for "" serves where there is none."""
    return lambda finding, units: filled(
        sentences[finding.how if finding.how in sentences else ""], finding, units
    )
