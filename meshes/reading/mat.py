"""A printed mat of tags below the stone: read in the texture of a scan, it tells its scale."""

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.loops import paint
from plumbstone.meshes.measures.doubts import Doubt, in_length
from plumbstone.meshes.measures.faults import face_areas
from plumbstone.meshes.measures.isolating import Plane, find_table, turn_up
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.meshes.reading.parts import Parsed, Part, ScanError, needed
from plumbstone.meshes.telling import percent

TAG, PITCH = 0.024, 0.033  # side of a tag's black square, and from tag to tag [m]
CONTROL = 0.100  # length of the control line [m]
PAPERS = {"a4": (0.210, 0.297), "letter": (0.2159, 0.2794)}  # ISO 216; ANSI/ASME Y14.1
FIRST = {"a4": 0, "letter": 250}  # number of the first tag of the first sheet
SHEET, MOST_SHEETS = 50, 5  # numbers kept for a sheet, and sheets of one paper
LEAST_TAGS = 3
PIXELS = 2600  # of the rectified table along its longer side
NOWHERE = np.uint8(200)  # grey of what was not seen of the table
NOMINAL = 0.5  # [m]: what the scan is brought to while its scale is unknown
ROUGHLY, FARTHEST = 0.012, 0.004  # [m]: tags farther off their places are misread, by a guess from
# one of them, and once all are fitted
LOST = 0.008  # of their distances: tags that are farther off are of pictures that lost their place
NINETY = 2.4  # times the spread over four quarters is exceeded once in ten: Student, three degrees
MAT_LENGTHS, UNCHECKED = 0.003, 0.006  # error of lengths by a mat, at 90 %: with its control line
# measured, and with a printer trusted to print at 100 %; from memory


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a mat told of a scan."""

    unit: float  # size of the file's unit [m]
    doubt: Doubt
    said: str


def tag_places(paper: str, sheet: int = 0) -> dict[int, Floats]:
    """Corners of the tags on a sheet, from its lower left corner, y up: number → (4, 2) [m].

    In the order in which a detector gives them: upper left, then clockwise.
    """
    width, height = PAPERS[paper]
    columns = int((width - 0.020 - TAG) / PITCH) + 1
    rows = int((height - 0.035 - TAG) / PITCH) + 1
    left = (width - (columns - 1) * PITCH - TAG) / 2
    corners = np.array([[0, TAG], [TAG, TAG], [TAG, 0], [0, 0]])
    start = FIRST[paper] + SHEET * sheet
    return {
        start + row * columns + column: corners + [left + column * PITCH, 0.025 + row * PITCH]
        for row in range(rows)
        for column in range(columns)
    }


def tag_bits(path: Path, number: int) -> Flags:
    """Black modules of a tag, (8, 8), the first row uppermost."""
    cv2 = needed(path, "cv2", "")
    found = cv2.aruco.generateImageMarker(_tags(cv2), number, 8)
    return np.asarray(found) < 128


def _tags(cv2: Any) -> Any:
    """AprilTag 36h11 (Olson 2011; Wang and Olson 2016, from memory)."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


def read_mat(path: Path, parsed: Parsed, control: float | None) -> Sheet:
    """Find the mat in a textured scan and measure the file's unit by it.

    Parameters
    ----------
    path : Path
        For messages.
    parsed : Parsed
        With textures.
    control : float, optional
        The printed control line, as measured [m].

    Raises
    ------
    ScanError
        If there is no texture, no table or no mat in it.
    """
    seen, per_pixel = rectified(path, parsed)
    seen = np.where(seen, seen, NOWHERE)
    cv2 = needed(path, "cv2", "")
    found: list[tuple[int, Floats]] = []
    for picture in (seen, seen[:, ::-1]):
        found = found or _detected(cv2, picture)
    sheets = [tag_places(paper, number) for paper in PAPERS for number in range(MOST_SHEETS)]
    fits = [fit for places in sheets if (fit := _fitted(found, places)) is not None]
    tags = sum(fit[1] for fit in fits)
    if tags < LEAST_TAGS:
        problem = f"shows {tags} tags of a mat; show more of it in focus, or give <longest>."
        raise ScanError(path, problem)
    printed = 1.0 if control is None else control / CONTROL
    scales, weights, residuals, spreads = zip(*fits, strict=True)
    scale = float(np.average(scales, weights=weights)) * printed  # metres a pixel
    lost = max(residuals) > LOST
    own = 2 * max(residuals) if lost else NINETY * max(spreads)
    share = float(np.hypot(UNCHECKED if control is None else MAT_LENGTHS, own))
    says = f"its lengths follow {tags} tags of the printed mat"
    if lost:
        says += ", whose places disagree; scan it again, slowly, in good light"
    if control is None:
        says += "; measure its control line for <mat-control>"
    unit = scale / per_pixel
    off = percent(max(residuals), 2)
    said = f"read {tags} tags of the mat, {off} off their places: unit {unit:.4g} m"
    return Sheet(unit, in_length("scale", share, says, "poor" if lost else "good"), said)


def rectified(path: Path, parsed: Parsed) -> tuple[NDArray[np.uint8], float]:
    """Picture of the table from straight above, and the size of a pixel [unit of the file].

    What was not seen of the table is 0, and nothing else is.
    """
    parts = [part for part in parsed.parts if part.uv is not None and part.image is not None]
    if not parts:
        raise ScanError(path, "has no texture; export GLB, USDZ or OBJ with its picture.")
    vertices, faces = parsed.joined()
    nominal = NOMINAL / float(np.ptp(vertices, axis=0).max())
    table = find_table(vertices * nominal, faces[face_areas(vertices, faces) > 0])
    if table is None:
        raise ScanError(path, "shows no table with a mat on it; scan more around the stone.")
    turned = [part.vertices * nominal @ turn_up(table.normal).T for part in parts]
    lying = [_on(table, t, part) for t, part in zip(turned, parts, strict=True)]
    flat = [t[part.faces[on]][:, :, :2] for t, part, on in zip(turned, parts, lying, strict=True)]
    corners = np.concatenate([f.reshape(-1, 2) for f in flat])
    low, high = np.quantile(corners, 0.002, axis=0), np.quantile(corners, 0.998, axis=0)
    pixel = float((high - low).max()) / PIXELS
    shape = tuple(int(n) + 1 for n in ((high - low) / pixel)[::-1])
    picture = np.zeros(shape, dtype=np.uint8)
    for part, places, on in zip(parts, flat, lying, strict=True):
        assert part.uv is not None
        texture = np.maximum(_grey(path, part), 1)
        rows, columns = texture.shape
        where = (places - [low[0], high[1]]) / pixel * [1, -1]
        paint(picture, where, part.uv[on] * [columns, -rows] + [0, rows], texture)
    return picture, pixel / nominal


def _on(table: Plane, turned: Floats, part: Part) -> Flags:
    """Which faces of a part lie in the table."""
    near = max(4 * table.spread, 0.002)
    height = turned[part.faces][:, :, 2] - table.offset
    return np.asarray((np.abs(height) < near).all(axis=1))


def _grey(path: Path, part: Part) -> NDArray[np.uint8]:
    """Texture of a part in grey, the first row uppermost."""
    from PIL import Image

    assert part.image is not None
    try:
        return np.asarray(Image.open(io.BytesIO(part.image)).convert("L"))
    except Exception:  # hostile pictures raise anything
        raise ScanError(path, "has a texture that cannot be read; export it again.") from None


def _detected(cv2: Any, picture: NDArray[np.uint8]) -> list[tuple[int, Floats]]:
    """Find tags in a picture at several sizes: number and corners, y up [pixels]."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(_tags(cv2), settings)
    found: list[tuple[int, Floats]] = []
    for shrink in (1.0, 0.5, 0.25):
        smaller = cv2.resize(
            np.ascontiguousarray(picture), None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA
        )
        corners, numbers, _ = detector.detectMarkers(smaller)
        before = {number for number, _ in found}
        for four, number in zip(corners, [] if numbers is None else numbers.ravel(), strict=False):
            place = (np.asarray(four).reshape(4, 2) + 0.5) / shrink - 0.5
            if int(number) not in before:
                found.append((int(number), place * [1.0, -1.0]))
    return found


def _fitted(
    found: list[tuple[int, Floats]], places: dict[int, Floats]
) -> tuple[float, int, float, float] | None:
    """Metres a pixel on one sheet, how many tags agree, how far they and the scale are off.

    The last two are shares: of the tags on the mean, and of the scale by what it changes when a
    quarter of the sheet is left out (jackknife). Each tag alone says where all others should be;
    the one that most agree with is believed.
    """
    common = [(seen, places[number]) for number, seen in found if number in places]
    if len(common) < 2:
        return None
    seen, true = (np.stack([pair[k] for pair in common]) for k in (0, 1))
    guesses = [_similar(s, t)(seen) - true for s, t in common]
    near = [np.linalg.norm(off.mean(axis=1), axis=1) < ROUGHLY for off in guesses]
    agree = max(near, key=np.count_nonzero)
    for _ in range(3):
        if agree.sum() < 2:
            return None
        off = _similar(seen[agree].reshape(-1, 2), true[agree].reshape(-1, 2))(seen) - true
        agree = np.linalg.norm(off, axis=2).max(axis=1) < FARTHEST
    if agree.sum() < 2:
        return None
    seen, true = seen[agree], true[agree]
    middle = true.mean(axis=1) - true.mean(axis=(0, 1))
    quarter = (middle @ np.linalg.svd(middle, full_matrices=False)[2].T > 0) @ [1, 2]
    scale = _scale(seen, true)
    left = [quarter != k for k in range(4) if 1 < (quarter != k).sum() < len(quarter)]
    others = [_scale(seen[some], true[some]) / scale for some in left]
    spread = float(np.std(others) * (len(others) - 1) ** 0.5) if others else 0.0
    seen, true = seen.reshape(-1, 2), true.reshape(-1, 2)
    reach = float(np.linalg.norm(true - true.mean(axis=0), axis=1).mean())
    residual = float(np.linalg.norm(_similar(seen, true)(seen) - true, axis=1).mean()) / reach
    return scale, int(agree.sum()), residual, spread


def _scale(seen: Floats, true: Floats) -> float:
    """Metres a pixel by the corners of some tags, (k, 4, 2)."""
    step = _similar(seen.reshape(-1, 2), true.reshape(-1, 2))(np.eye(2))
    return float(np.linalg.norm(step[1] - step[0])) / 2**0.5


def _similar(seen: Floats, true: Floats) -> Callable[[Floats], Floats]:
    """Turn, scale and move points so that some of them, (k, 2), come to lie on others."""
    a, b = seen.mean(axis=0), true.mean(axis=0)
    u, s, vt = np.linalg.svd((seen - a).T @ (true - b))
    sign = np.array([1.0, np.sign(np.linalg.det(u @ vt))])
    turn = (u * sign) @ vt * (s * sign).sum() / ((seen - a) ** 2).sum()
    return lambda points: (points - a) @ turn + b
