"""A thing of known size in view beside the stone: a card, a sheet, a can or a box."""

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol, TypeVar

import numpy as np

from plumbstone.meshes.measures.doubts import Doubt, in_length
from plumbstone.meshes.measures.extents import smallest_box
from plumbstone.meshes.measures.rulers import Known
from plumbstone.meshes.piece import Floats, Piece
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.reading.mat import Sheet, rectified
from plumbstone.meshes.reading.parts import Parsed, ScanError, needed
from plumbstone.meshes.telling import percent

OFF_SHAPE = 0.05  # how far the proportions of a thing may lie off those that it should have
SURELY = 0.02  # the same, so that the scale can be called good
ALIKE = 0.03  # rectangles whose scales differ by more cannot both be the thing
SEEN_LENGTHS, OFF_EDGE, OFF_SKIN = 0.005, 0.0005, 0.001  # error of lengths by a thing in view, at
# 90 %: share of it, and [m] of the edge of a sheet or the skin of a body; from memory
FILL = {"box": 1.0, "can": np.pi / 4}  # share of its box that a thing fills
OFF_FILL = 0.12
CUT_OFF = 0.005  # share of a thing's corners that noise may put beyond its sides, at each end
LEAST_SIDE, LEAST_AREA, MOST_AREA = 40, 4e-4, 0.5  # of a sheet [pixels], shares of the picture


class Closed(Protocol):
    """A body that was closed."""

    @property
    def piece(self) -> Piece:
        """Its mesh [m]."""

    @property
    def volume(self) -> Range:
        """What it holds [m³]."""


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
        If none, or nothing else, is there.
    """
    fits = [_fit(scan, known) for scan in scans]
    best = min(range(len(fits)), key=lambda k: fits[k][0])
    off, factor = fits[best]
    if off > OFF_SHAPE or len(scans) < 2:
        problem = (
            f"shows no {known.name} that stands beside the stone, apart from it; scan both from "
            "nearer and all around, or take it away, scan again and give --longest."
        )
        raise ScanError(path, problem)
    others = tuple(scan for k, scan in enumerate(scans) if k != best)
    return others, factor, _seen(known, off)


def _fit(scan: Closed, known: Known) -> tuple[float, float]:
    """How far a body's proportions are off a thing's, and the factor to its size."""
    vertices = scan.piece.vertices
    upright = np.array([0.0, 0.0, 1.0])
    inner = vertices[vertices[:, 2] > 0.2 * vertices[:, 2].max()]
    height = float(np.quantile(vertices[:, 2], 1 - CUT_OFF))
    sides = [*smallest_box(_trimmed(inner), upright)[:2], height]
    if known.kind == "can":
        flat = np.ptp(_trimmed(inner)[:, :2], axis=0)
        sides = [height, float(flat.mean()), float(flat.mean())]
        truth = [known.sides[1], known.sides[0], known.sides[0]]
    else:
        sides, truth = sorted(sides, reverse=True), list(known.sides)
    fill = scan.volume.mid / float(np.prod(sides)) / FILL[known.kind]
    ratios = np.array(truth) / np.array(sides)
    off = float(ratios.max() / ratios.min() - 1)
    if abs(fill - 1) > OFF_FILL:
        off = np.inf
    return off, float(np.exp(np.log(ratios).mean()))


def _trimmed(vertices: Floats) -> Floats:
    """Leave out corners that noise put beyond all others, seen from above."""
    middle = np.median(vertices[:, :2], axis=0)
    kept = np.ones(len(vertices), dtype=bool)
    for angle in np.linspace(0, np.pi, 18, endpoint=False):
        along = (vertices[:, :2] - middle) @ [np.cos(angle), np.sin(angle)]
        low, high = np.quantile(along, [CUT_OFF, 1 - CUT_OFF])
        kept &= (along >= low) & (along <= high)
    return vertices[kept]


def _seen(known: Known, off: float) -> Doubt:
    """Doubt of lengths by a thing in view."""
    edge = OFF_EDGE if known.kind == "sheet" else OFF_SKIN
    mean = sum(known.sides) / len(known.sides)
    share = (SEEN_LENGTHS**2 + (off / 2) ** 2 + (edge / mean) ** 2) ** 0.5
    says = f"its lengths follow the {known.name} in view, {percent(off, 1)} off its proportions"
    return in_length("scale", share, says, "good" if off < SURELY else "fair")
