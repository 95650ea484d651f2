"""A thing of known size in view beside the stone: a card, a sheet, a can or a box."""

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol, TypeVar

import numpy as np

from plumbstone.meshes.measures.doubts import Doubt, in_length
from plumbstone.meshes.measures.fitting import fits
from plumbstone.meshes.measures.isolating import spread_over
from plumbstone.meshes.measures.rulers import Known
from plumbstone.meshes.piece import Floats, Indices, Piece
from plumbstone.meshes.reading.mat import Sheet, rectified
from plumbstone.meshes.reading.parts import Parsed, ScanError, needed
from plumbstone.meshes.telling import percent

OFF_SHAPE = 0.05  # how far the proportions of a thing may lie off those that it should have
SURELY = 0.02  # the same, so that the scale can be called good
ALIKE = 0.03  # rectangles whose scales differ by more cannot both be the thing
SEEN_LENGTHS, OFF_EDGE, OFF_SKIN = 0.005, 0.0005, 0.001  # error of lengths by a thing in view, at
# 90 %: share of it, and [m] of the edge of a sheet or the skin of a body; from memory
OFF_SIDE, MOST_STRAY, LEAST_SEEN = 0.016, 0.25, 0.3  # of a solid laid into a skin, see `Fit`
LAID_ON = 1200  # places of a skin
LEAST_SIDE, LEAST_AREA, MOST_AREA = 40, 4e-4, 0.5  # of a sheet [pixels], shares of the picture


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
    fitting: list[tuple[float, float]] = []
    blurred = cv2.GaussianBlur(picture, (5, 5), 0)
    grounds = [cv2.threshold(blurred, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)[1]]
    edges = cv2.dilate(cv2.Canny(blurred, 40, 120), np.ones((3, 3), np.uint8))
    for ground in (*grounds, 255 - grounds[0], 255 - edges):
        outlines, _ = cv2.findContours(ground, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for outline in outlines:
            sides = _rectangle(cv2, outline, picture.size)
            if sides is not None:
                ratios = np.array(known.sides) / sides
                off = float(ratios.max() / ratios.min() - 1)
                if off < OFF_SHAPE:
                    fitting.append((off, float(np.exp(np.log(ratios).mean()))))
    if not fitting:
        problem = f"shows no {known.name} flat on the table; lay it beside the stone, all in view."
        raise ScanError(path, problem)
    scales = np.array([scale for _, scale in fitting])
    off, scale = min(fitting)
    if (np.abs(np.log(scales / scale)) > ALIKE).any():
        problem = f"shows several things of the proportions of {known.name}; leave one in view."
        raise ScanError(path, problem)
    scale = float(np.median(scales))
    said = f"found the {known.name}, its proportions {percent(off, 1)} off"
    return Sheet(scale / per_pixel, _seen(known, off), said)


def _rectangle(cv2: object, outline: object, pixels: int) -> Floats | None:
    """Sides of an outline, long and short [pixels]; None where it is no rectangle."""
    area = float(cv2.contourArea(outline))  # type: ignore[attr-defined]
    if not LEAST_AREA * pixels < area < MOST_AREA * pixels:
        return None
    _, sides, _ = cv2.minAreaRect(outline)  # type: ignore[attr-defined]
    if min(sides) < LEAST_SIDE or area < 0.95 * sides[0] * sides[1]:
        return None
    found: Floats = np.sort(np.array(sides, dtype=float))[::-1]
    return found


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
        points, normals, _ = spread_over(scan.piece.vertices, scan.bare, LAID_ON)
        for fit in fits(points, normals, known.kind, known.sides):
            if fit.off < OFF_SIDE and fit.stray < MOST_STRAY and fit.seen > LEAST_SEEN:
                found.append((fit.off + fit.stray, fit.off, fit.factor, k))
    if not found or len(scans) < 2:
        problem = (
            f"shows no {known.name} that stands beside the stone, apart from it; scan both from "
            "nearer and all around, or take it away, scan again and give --longest."
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
