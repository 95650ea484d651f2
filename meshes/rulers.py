"""How long a scan really is: by its own file, or by a length that somebody measured."""

from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.doubts import Doubt, in_length
from plumbstone.meshes.extents import across
from plumbstone.meshes.piece import Floats

OWN_LENGTHS = 0.04  # of the lengths in a phone's file, at 90 %: + 3 ... 4 % by a depth camera;
# one stone by a phone and by a structured scanner (eesd-epfl/spherical-harmonics, stone 11)
CALIPER, CALIPER_STEP = 0.003, 0.001  # of a length by caliper or tape: share, and [m]; from memory
FAR_OFF = 0.15  # lengths that are corrected by more than this were wrong beyond any phone's error
TIP = 0.03  # of the length: skin around a tip that its place is averaged over
MOST_TIPS = 1500  # corners of the hull whose distances are compared


@dataclass(frozen=True, slots=True)
class Known:
    """A thing of known size that lies or stands beside the body."""

    kind: str  # "sheet" (flat rectangle), "box" or "can" (upright cylinder)
    sides: tuple[float, ...]  # long and short; three sides; diameter and height [m]
    name: str  # as the user calls it


@dataclass(frozen=True, slots=True)
class Ruler:
    """What the user knows of a scan's lengths."""

    unit: str | None = None  # of the file
    longest: float | None = None  # greatest distance between two points of the body [m]
    across: float | None = None  # greatest width at right angles to that [m]
    mat: bool = False  # whether it lies on the printed mat
    control: float | None = None  # the mat's control line, as measured [m]
    known: Known | None = None  # a thing of known size in view

    @property
    def measured(self) -> float:
        """The longer of the known lengths [m]; 0 where there is none."""
        return self.longest or self.across or 0.0


FILE_ALONE = Ruler()


@dataclass(frozen=True, slots=True)
class Caliper:
    """Greatest distance between two points of a body, and its width across."""

    longest: float
    across: float


def measured(vertices: Floats) -> Caliper:
    """Lay a caliper on a body.

    Parameters
    ----------
    vertices : (n, 3) float array
        Corners of its skin [m].

    Returns
    -------
    Caliper
        Diameter of the hull and greatest extent at right angles to it [m], each tip averaged
        over the skin around it so that noise does not lengthen it.
    """
    corners = _hull_corners(vertices)
    first, second = _farthest(corners)
    length, way = _between(vertices, corners[first], corners[second])
    flat = across(way)
    first, second = _farthest(corners @ flat.T)
    step = (corners[second] - corners[first]) @ flat.T @ flat
    broad, _ = _between(vertices, corners[first], corners[first] + step, corners[second])
    return Caliper(length, broad)


def factor_by(ruler: Ruler, found: Caliper) -> tuple[float, float]:
    """Factor that brings a scan to its measured lengths, and how far two of them disagree."""
    pairs = [
        (known, seen)
        for known, seen in ((ruler.longest, found.longest), (ruler.across, found.across))
        if known is not None
    ]
    factors = [known / seen for known, seen in pairs]
    weights = [known for known, _ in pairs]
    factor = float(np.average(factors, weights=weights))
    return factor, max(factors) / min(factors) - 1


def own_scale() -> Doubt:
    """Doubt of lengths that nobody checked."""
    says = (
        "its lengths are the file's own, and phones are off by 3-4 %; a bank card in view "
        "(--known card) or one measured length (--longest) would bring that below 1 %"
    )
    return in_length("scale", OWN_LENGTHS, says, trust="fair")


def ruled_scale(length: float, disagree: float, factor: float) -> Doubt:
    """Doubt of lengths that were set by a measured one [m]."""
    share = float(np.hypot(CALIPER, CALIPER_STEP / length)) + disagree / 2
    says = f"its lengths follow the {length * 1e2:.1f} cm that you measured"
    trust = "good"
    if abs(np.log(factor)) > np.log(1 + FAR_OFF):
        says += f", × {factor:.3g} on the file's own; see that it is the right stone and unit"
        trust = "fair"
    return in_length("scale", share, says, trust)


def _hull_corners(vertices: Floats) -> Floats:
    """Corners of the hull, thinned where there are very many, (k, 3)."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        corners: Floats = vertices[ConvexHull(vertices).vertices]
    except QhullError:
        corners = vertices
    return corners[:: max(1, len(corners) // MOST_TIPS)]


def _farthest(points: Floats) -> tuple[int, int]:
    """Which two points lie farthest apart."""
    from scipy.spatial.distance import cdist

    apart = cdist(points, points)
    first, second = np.unravel_index(int(apart.argmax()), apart.shape)
    return int(first), int(second)


def _between(
    vertices: Floats, start: Floats, end: Floats, end_at: Floats | None = None
) -> tuple[float, Floats]:
    """Distance of two tips along the line between them, each averaged, and its direction."""
    way = end - start
    length = float(np.linalg.norm(way))
    way = way / length
    first = _tip_height(vertices, start, -way, TIP * length)
    second = _tip_height(vertices, end if end_at is None else end_at, way, TIP * length)
    return first + second, way


def _tip_height(vertices: Floats, tip: Floats, way: Floats, reach: float) -> float:
    """How far the skin around a tip reaches along a direction: peak of a quadric through it [m]."""
    around = vertices[np.linalg.norm(vertices - tip, axis=1) < reach]
    height = around @ way
    if len(around) < 12:
        return float(tip @ way)
    u, v = ((around - tip) / reach @ across(way).T).T
    terms = np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v])
    fit, *_ = np.linalg.lstsq(terms, height, rcond=None)
    return float((terms @ fit).max())
