"""What the user knows of a scan: its lengths, and whether all of it is one thing."""

from dataclasses import dataclass

FAR_OFF = 0.15  # lengths that are corrected by more than this were wrong beyond any phone's error


@dataclass(frozen=True, slots=True)
class Known:
    """A thing of known size that lies or stands beside the body."""

    kind: str  # "sheet" (flat rectangle), "box" or "can" (upright cylinder)
    sides: tuple[float, ...]  # long and short; three sides; diameter and height [m]
    name: str  # as the user calls it


@dataclass(frozen=True, slots=True)
class Ruler:
    """What the user knows of a scan."""

    unit: str | None = None  # of the file
    longest: float | None = None  # greatest distance between two points of the body [m]
    across: float | None = None  # greatest width at right angles to that [m]
    read: float = 0.0  # what these were read to, the coarser of them [m]
    mat: bool = False  # whether it lies on the printed mat
    control: float | None = None  # the mat's control line, as measured [m]
    known: Known | None = None  # a thing of known size in view
    weighed: bool = False  # its volume is known otherwise, so that the form alone is asked for
    aside: float = 0.0  # how much less of the width across was seen, so that it was set aside
    single: bool = False  # all that stands there is the body: no hand, stand or neighbour is in it

    @property
    def measured(self) -> float:
        """The longer of the known lengths [m]; 0 where there is none."""
        return self.longest or self.across or 0.0


FILE_ALONE = Ruler()
