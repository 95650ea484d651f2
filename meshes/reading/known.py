"""A thing of known size in view beside the stone: a card, a sheet, a can or a box."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.measures.doubts import Doubt, in_length
from plumbstone.meshes.measures.fitting import fits
from plumbstone.meshes.measures.isolating import spread_over
from plumbstone.meshes.measures.rulers import Known
from plumbstone.meshes.piece import Flags, Floats, Indices, Piece
from plumbstone.meshes.reading.mat import Sheet, rectified
from plumbstone.meshes.reading.parts import Parsed, ScanError, needed
from plumbstone.meshes.telling import percent

OFF_SHAPE = 0.03  # how far the proportions of a thing may lie off those that it should have
SURELY = 0.02  # the same, so that the scale can be called good
ALIKE = 0.02  # rectangles whose scales differ by more cannot both be the thing
SEEN_LENGTHS, OFF_EDGE, OFF_SKIN = 0.005, 0.0005, 0.001  # error of lengths by a thing in view, at
# 90 %: share of it, and [m] of the edge of a sheet or the skin of a body; from memory
OFF_SIDE, MOST_STRAY, LEAST_SEEN = 0.016, 0.25, 0.3  # of a solid laid into a skin, see `Fit`
LAID_ON = 1200  # places of a skin
LEAST_SIDE, MOST_AREA = 60, 0.5  # of a sheet [pixels], of the picture
LEVELS = 14  # of grey, at which a sheet may part from its table
FULL, ROUGH_SHAPE = 0.88, 0.12  # of its rectangle an outline fills; proportions are off (logarithm)
SAME = 3.0  # [pixels]: corners that lie so near are of one outline
REACH, LEAST_REACH = 0.05, 5.0  # so far from an outline its edge may lie, of its length; [pixels]
PLACES, MOST_EDGE = 60, 0.5  # on an edge, and the share of them that must show it
ON_EDGE, LEAST_STEP = 0.005, 5.0  # how straight it is, of its length; in grey over two pixels
AWAY = 0.85  # share of the 9 x 9 pixels around one that must be seen, so that no blur reaches it
ASKEW = 0.03  # how far corners may be off right angles, and sides off those across


class Closed(Protocol):
    """A body that was closed."""

    @property
    def piece(self) -> Piece:
        """Its mesh [m]."""

    @property
    def bare(self) -> Indices:
        """Its faces that were seen."""


Body = TypeVar("Body", bound=Closed)


def read_sheet(path: Path, parsed: Parsed, known: Known) -> Sheet:
    """Find a flat rectangle in the texture of the table and measure the file's unit by it.

    Raises
    ------
    ScanError
        If there is none of its proportions, or several that disagree.
    """
    picture, per_pixel = rectified(path, parsed)
    cv2 = needed(path, "cv2", "")
    blurred = cv2.GaussianBlur(picture, (5, 5), 0)
    seen = cv2.blur((picture > 0).astype(np.float32), (9, 9)) > AWAY
    fitting = list[tuple[float, float]]()
    for corners in _outlines(cv2, blurred, known.sides[0] / known.sides[1]):
        sides = _refined(cv2, blurred, seen, corners)
        if sides is not None:
            ratios = np.array(known.sides) / sides
            off = float(ratios.max() / ratios.min() - 1)
            if off < OFF_SHAPE:
                fitting.append((off, float(np.exp(np.log(ratios).mean()))))
    if not fitting:
        problem = (
            f"shows no {known.name} flat on the table; lay it beside the stone, all four edges in "
            "view, on a table of another colour, or give <longest>."
        )
        raise ScanError(path, problem)
    off, scale = min(fitting)
    if max(abs(np.log(other / scale)) for _, other in fitting) > ALIKE:
        problem = f"shows several things of the proportions of {known.name}; leave one in view."
        raise ScanError(path, problem)
    scale = float(np.median([scale for _, scale in fitting]))
    said = f"found the {known.name}, its proportions {percent(off, 1)} off"
    return Sheet(scale / per_pixel, _seen(known, off), said)


def _outlines(cv2: Any, picture: NDArray[np.uint8], ratio: float) -> list[Floats]:
    """Corners (4, 2), in turn, of what may be rectangles of about these proportions [pixels]."""
    small = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    levels = np.quantile(small[small > 0], np.arange(1, LEVELS) / LEVELS)
    grounds = [((small > level) * 255).astype(np.uint8) for level in np.unique(levels)]
    grounds += [255 - ground for ground in grounds]
    for soft in (40, 20, 10):
        edges = cv2.dilate(cv2.Canny(small, soft, 3 * soft), np.ones((3, 3), np.uint8))
        grounds.append(255 - edges)
    for closed in (3, 9):  # what is printed on a sheet, or seams through it
        shape = np.ones((closed, closed), np.uint8)
        grounds += [cv2.morphologyEx(g, cv2.MORPH_OPEN, shape) for g in grounds[: 2 * LEVELS - 2]]
    found = list[Floats]()
    for ground in grounds:
        outlines, _ = cv2.findContours(ground, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
        for outline in outlines:
            hull = cv2.convexHull(outline)
            box = cv2.minAreaRect(hull)
            short, long = sorted(box[1])
            area = cv2.contourArea(hull)
            if 2 * short < LEAST_SIDE or area > MOST_AREA * small.size:
                continue
            if area < FULL * short * long or abs(np.log(long / short / ratio)) > ROUGH_SHAPE:
                continue
            corners = 2 * np.asarray(cv2.boxPoints(box), dtype=float) + 0.5
            if not any(np.abs(corners - other).max() < SAME for other in found):
                found.append(corners)
    return found


def _refined(cv2: Any, picture: NDArray[np.uint8], seen: Flags, corners: Floats) -> Floats | None:
    """Sides of a rectangle by its edges in the picture, long and short [pixels].

    None where one of four is not seen over most of its length, or they stand askew.
    """
    for reach in (REACH, REACH / 3):
        lines = []
        for k in range(4):
            start, end = corners[k], corners[(k + 1) % 4]
            line = _edge(cv2, picture, seen, start, end, reach)
            if line is None:
                return None
            lines.append(line)
        corners = np.stack([_crossing(lines[k - 1], lines[k]) for k in range(4)])
    ways = np.roll(corners, -1, axis=0) - corners
    sides = np.linalg.norm(ways, axis=1)
    turned = np.abs(np.einsum("ij,ij->i", ways, np.roll(ways, -1, axis=0)))
    askew = (turned / sides / np.roll(sides, -1)).max()
    if askew > ASKEW or abs(np.log(sides[:2] / sides[2:])).max() > ASKEW:
        return None
    return np.sort((sides[:2] + sides[2:]) / 2)[::-1]


def _edge(
    cv2: Any, picture: NDArray[np.uint8], seen: Flags, start: Floats, end: Floats,
    reach: float,
) -> tuple[Floats, Floats] | None:  # fmt: skip
    """Find the straight edge near a line: a point on it and its way; None where there is none."""
    length = float(np.linalg.norm(end - start))
    way = (end - start) / length
    aside = np.array([-way[1], way[0]])
    far = max(reach * length, LEAST_REACH)
    along = np.linspace(0.06, 0.94, PLACES)
    offs = np.arange(-far, far + 1)
    at = start + along[:, None, None] * (end - start) + offs[:, None] * aside
    at = at.astype(np.float32)
    grey = cv2.remap(picture, at, None, cv2.INTER_LINEAR).astype(float)
    whole = cv2.remap(seen.astype(np.uint8), at, None, cv2.INTER_NEAREST) > 0
    slope = np.abs(grey[:, 2:] - grey[:, :-2]) * (whole[:, 2:] & whole[:, :-2])
    best = slope.argmax(axis=1)
    rows = np.arange(PLACES)
    before, peak, after = (
        slope[rows, np.clip(best + k, 0, slope.shape[1] - 1)] for k in (-1, 0, 1)
    )
    bend = before - 2 * peak + after
    off = offs[best + 1] + np.where(bend < 0, (before - after) / np.minimum(2 * bend, -1e-9), 0)
    x = along * length
    one, two = np.triu_indices(PLACES, PLACES // 6)
    tilt = (off[two] - off[one]) / (x[two] - x[one])
    gap = np.abs(off - off[one][:, None] - tilt[:, None] * (x - x[one][:, None]))
    good = (gap < max(ON_EDGE * length, 1.5)) & (peak > LEAST_STEP)
    on = good[good.sum(axis=1).argmax()]
    if on.mean() < MOST_EDGE:
        return None
    tilt, base = np.polyfit(x[on], off[on], 1)
    return start + base * aside, way + tilt * aside


def _crossing(one: tuple[Floats, Floats], two: tuple[Floats, Floats]) -> Floats:
    """Where two lines cross."""
    share = np.linalg.solve(np.stack([one[1], -two[1]], axis=1), two[0] - one[0])
    return one[0] + share[0] * one[1]


def told_apart(
    path: Path, scans: Sequence[Body], known: Known
) -> tuple[tuple[Body, ...], float, Doubt]:
    """Tell a box or a can from the bodies beside it.

    Gives the others, the factor that brings them to its size, and the doubt of the lengths.

    Raises
    ------
    ScanError
        If none, several or nothing else is there.
    """
    found = list[tuple[float, float, float, int]]()
    for k, scan in enumerate(scans):
        points, normals = spread_over(scan.piece.vertices, scan.bare, LAID_ON)
        for fit in fits(points, normals, known.kind, known.sides):
            if fit.off < OFF_SIDE and fit.stray < MOST_STRAY and fit.seen > LEAST_SEEN:
                found.append((fit.off + fit.stray, fit.off, fit.factor, k))
    if not found or len(scans) < 2:
        problem = (
            f"shows no {known.name} that stands beside the stone, apart from it; scan both from "
            "nearer and all around, or take it away, scan again and give <longest>."
        )
        raise ScanError(path, problem)
    _, off, factor, _ = min(found)
    if any(abs(np.log(other / factor)) > ALIKE for _, _, other, _ in found):
        problem = f"shows several things that may be the {known.name}; leave one in view."
        raise ScanError(path, problem)
    others = tuple(scan for k, scan in enumerate(scans) if k not in {k for *_, k in found})
    if not others:
        raise ScanError(path, f"shows the {known.name} and nothing else; scan the stone beside it.")
    return others, factor, _seen(known, off)


def _seen(known: Known, off: float) -> Doubt:
    """Doubt of lengths by a thing in view."""
    edge = OFF_EDGE if known.kind == "sheet" else OFF_SKIN
    mean = sum(known.sides) / len(known.sides)
    share = (SEEN_LENGTHS**2 + off**2 + (edge / mean) ** 2) ** 0.5
    says = f"its lengths follow the {known.name} in view, {percent(off, 1)} off its proportions"
    return in_length("scale", share, says, "good" if off < SURELY else "fair")
