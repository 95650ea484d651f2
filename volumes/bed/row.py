"""Where the stones of a border stand: its true line, how high it holds, and its gaps."""

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.piece import Floats, Piece
from plumbstone.volumes.bed.taut import corners_of
from plumbstone.volumes.bed.zones import line_distance, nearest_along
from plumbstone.volumes.scape.layers import Border, Zone

SLACK = 0.01  # [m]: a line that passes a stone so near runs over it
WIDEST = 0.10  # [m]: a wider opening is no gap of a row; the row ends there
SLICE = 0.004  # thickness of the slices in which gaps are measured [m]
POINT = 0.0005  # between points of a section's outline [m]
ENDLESS = 100.0  # height of a divider that nobody gave [m]


@dataclass(frozen=True, slots=True, eq=False)
class Gap:
    """The space between two neighbours of a row, slice by slice from the glass upwards."""

    left: str  # name of the stone, or "left pane"
    right: str
    heights: Floats  # (k,) middles of the slices [m]
    openings: Floats  # (k,) narrowest way between both in each slice [m]
    ends: Floats  # (k, 2, 2) its ends on the left and on the right neighbour [m]
    hull: Floats  # (n, 2) outline around both neighbours from above [m]
    stones: tuple[Piece | None, Piece | None]  # left and right; None for a pane

    @property
    def at(self) -> tuple[float, float]:
        """Middle of its narrowest place [m]."""
        x, y = self.ends[int(self.openings.argmin())].mean(axis=0)
        return float(x), float(y)

    def between(self, low: float, high: float) -> Floats:
        """Give the openings of the slices between two heights, at least one [m]."""
        inside = (self.heights > low) & (self.heights < high)
        if not inside.any():
            inside = np.arange(len(self.heights)) == int(np.abs(self.heights - high).argmin())
        return self.openings[inside]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A straight part of the line of a row."""

    start: tuple[float, float]  # [m]
    end: tuple[float, float]
    holds: tuple[float, float]  # height to which soil is held while it is poured, at both ends [m]
    stays: float  # height that still holds when a divider is pulled, gaps left out [m]
    gap: int = -1  # its place among the gaps; -1 elsewhere

    @property
    def middle(self) -> tuple[float, float]:
        """The place halfway along it [m]."""
        return (self.start[0] + self.end[0]) / 2, (self.start[1] + self.end[1]) / 2


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """A border as it stands.

    Its line runs through the stones and the narrowest places between them, wherever the
    drawn line runs over them; where no stone stands it is the drawn one.
    """

    border: Border  # with the true line
    stretches: tuple[Stretch, ...]
    gaps: tuple[Gap, ...]
    missed: tuple[tuple[str, float], ...]  # stones that the drawn line misses, and by how much [m]

    @property
    def closed(self) -> bool:
        """Whether it holds something all along while the bed is poured."""
        return all(max(stretch.holds) > 0 for stretch in self.stretches)

    def holds(self, x: Floats, y: Floats) -> Floats:
        """Height to which it holds at the nearest place of its line, (n,) [m]."""
        nearest, height = np.full(x.shape, np.inf), np.zeros(x.shape)
        for stretch in self.stretches:
            share, gap = nearest_along(np.array(stretch.start), np.array(stretch.end), x, y)
            here = stretch.holds[0] + np.clip(share, 0, 1) * (stretch.holds[1] - stretch.holds[0])
            closer = gap < nearest
            nearest, height = np.where(closer, gap, nearest), np.where(closer, here, height)
        return height


def row_of(border: Border, pieces: Iterable[Piece], floor: tuple[float, float]) -> Row:
    """Find how a border stands.

    The placed pieces that the border names are its stones; `floor` is the inside length and depth
    of the tank [m].
    """
    named = sorted(
        (piece for piece in pieces if piece.name in border.stones),
        key=lambda piece: float(piece.vertices[:, 0].mean()),
    )
    stones, missed = [], []
    for piece in named:
        gap = _missed_by(piece, border)
        if gap > SLACK:
            missed.append((piece.name, gap))
        else:
            stones.append(piece)
    gaps = _gaps(stones, floor)
    stretches = _stretches(border, stones, gaps, floor)
    line = [stretches[0].start, *(stretch.end for stretch in stretches)]
    return Row(replace(border, line=tuple(line)), tuple(stretches), gaps, tuple(missed))


def outlines(piece: Piece, heights: Floats) -> list[Floats]:
    """Points of the outlines of level sections, half a millimetre apart, (n, 2) each [m]."""
    z = np.stack([piece.vertices[side, 2] for side in piece.faces.T])
    low, high = z.min(axis=0), z.max(axis=0)
    found = []
    for height in heights:
        cut = np.flatnonzero((low < height) & (high >= height))
        above = z[:, cut] >= height
        # One corner of each face lies alone on its side: both edges from it are cut.
        alone = (above == (above.sum(axis=0) == 1)).argmax(axis=0)
        corners = piece.vertices[piece.faces[cut[:, None], (alone[:, None] + np.arange(3)) % 3]]
        steps = corners[:, 1:] - corners[:, :1]
        share = (height - corners[:, 0, 2])[:, None] / steps[:, :, 2]
        ends = corners[:, :1, :2] + share[:, :, None] * steps[:, :, :2]
        found.append(_dotted(ends[:, 0], ends[:, 1]))
    return found


def standing_out(piece: Piece | None, height: float) -> Floats:
    """Points of what a stone shows from above of its part over a height, (n, 2) [m]."""
    if piece is None:
        return np.empty((0, 2))
    above = piece.vertices[piece.vertices[:, 2] >= height, :2]
    return np.concatenate([above, *outlines(piece, np.array([height]))])


def _dotted(start: Floats, end: Floats) -> Floats:
    """Points along straight parts, half a millimetre apart, both ends of long ones, (n, 2) [m]."""
    steps = np.maximum(1, np.ceil(np.hypot(*(end - start).T) / POINT)).astype(int)
    counts = steps + (steps > 1)
    which = np.repeat(np.arange(len(start)), counts)
    first = np.cumsum(counts) - counts
    share = (np.arange(len(which)) - first[which]) / steps[which]
    return np.asarray(start[which] + share[:, None] * (end - start)[which], dtype=float)


def _missed_by(piece: Piece, border: Border) -> float:
    """How far a line passes beside a stone [m]; 0 where it runs over it."""
    x, y = piece.vertices[:, :2].T
    line = np.array(border.line)
    behind = y - np.interp(x, *line.T)
    if behind.min() <= 0 <= behind.max():
        return 0.0
    return float(line_distance(line, x, y).min())


def _slices(stones: Sequence[Piece]) -> tuple[Floats, list[list[Floats]]]:
    """Heights of slices, and the outline of every stone in each that it reaches."""
    top = max((float(stone.high[2]) for stone in stones), default=0.0)
    heights = np.arange(SLICE / 2, max(top, SLICE), SLICE)
    return heights, [outlines(stone, heights) for stone in stones]


def _gaps(stones: Sequence[Piece], floor: tuple[float, float]) -> tuple[Gap, ...]:
    """Measure the gaps between neighbours, and between the outer ones and the panes."""
    heights, outlines = _slices(stones)
    if not stones:
        return ()
    names = ["left pane", *(stone.name for stone in stones), "right pane"]
    corners = [stone.vertices[:, :2] for stone in stones]
    gaps = []
    for i in range(len(names) - 1):
        left, right = outlines[i - 1] if i else None, outlines[i] if i < len(stones) else None
        found = [
            (height, *_narrowest(a, b, floor[0]))
            for height, a, b in zip(
                heights, left or itertools.repeat(None), right or itertools.repeat(None),
                strict=False,
            )
            if (a is None or len(a)) and (b is None or len(b))
        ]  # fmt: skip
        if not found:
            continue
        around = np.concatenate(corners[max(i - 1, 0) : i + 1])
        hull = _hull(around, floor[0], i == 0, i == len(stones))
        beside = (stones[i - 1] if i else None, stones[i] if i < len(stones) else None)
        levels, openings, ends = map(np.array, zip(*found, strict=True))
        gaps.append(Gap(names[i], names[i + 1], levels, openings, ends, hull, beside))
    return tuple(gaps)


def _narrowest(a: Floats | None, b: Floats | None, length: float) -> tuple[float, Floats]:
    """Least distance between two outlines and its ends (2, 2) [m]; None stands for a pane."""
    from scipy.spatial import cKDTree

    if a is None:
        assert b is not None
        end = _middle_least(b[:, 0], b)[0]
        return max(float(b[:, 0].min()), 0.0), np.array([[0.0, end[1]], end])
    if b is None:
        end = _middle_least(-a[:, 0], a)[0]
        return max(length - float(a[:, 0].max()), 0.0), np.array([end, [length, end[1]]])
    gaps, nearest = cKDTree(a).query(b)
    end, start = _middle_least(gaps, b, a[nearest])
    return float(gaps.min()), np.array([start, end])


def _middle_least(gaps: Floats, *points: Floats) -> list[Floats]:
    """Where a gap is least, (2,) on each side; between parallel faces, in the middle of these."""
    close = np.flatnonzero(gaps <= gaps.min() + POINT / 10)
    middles = [(side[close].min(axis=0) + side[close].max(axis=0)) / 2 for side in points]
    away = np.hypot(*(points[0][close] - middles[0]).T)
    if away.min() <= POINT:
        return middles
    return [side[close[away.argmin()]] for side in points]  # it is as narrow at places apart


def _hull(points: Floats, length: float, left: bool, right: bool) -> Floats:
    """Outline around points, drawn on to a pane where they stand next to one."""
    if left:
        points = np.concatenate([points, points * [0, 1]])
    if right:
        points = np.concatenate([points, points * [0, 1] + [length, 0]])
    return points[corners_of(points)]


def _stretches(
    border: Border, stones: Sequence[Piece], gaps: Sequence[Gap], floor: tuple[float, float]
) -> list[Stretch]:
    """Run the line through stones and gaps, and along the drawn one where there is none."""
    tops = {stone.name: float(stone.high[2]) for stone in stones}
    in_courses = 0 < len(gaps) <= len(stones)  # some lie on others
    alone = _alone(border, bool(stones))
    found: list[Stretch] = []
    line = np.array(border.line)
    here = (0.0, float(np.interp(0.0, *line.T)))
    for i, gap in enumerate(gaps):
        k = int(gap.openings.argmin())
        start, end = (_point(p) for p in gap.ends[k])
        is_gap = gap.openings[k] <= WIDEST
        if i and start != here:
            if in_courses:
                found += _over_courses(here, start, stones, border)
            else:
                found.append(_over_stone(here, start, tops[gap.left], border))
        if i == 0 and is_gap:
            here = start
        if is_gap:
            sides = (tops.get(gap.left, math.nan), tops.get(gap.right, math.nan))
            held = tuple(np.where(np.isnan(sides), np.nanmin(sides), sides))
            if in_courses:
                held = tuple(np.maximum(held, _top_at((start[0] + end[0]) / 2, stones)))
            low, high = (max(float(h), _given(border)) for h in held)
            found.append(Stretch(start, end, (low, high), _strip(border, min(low, high)), i))
        else:
            found += _along(line, start if i else here, end, alone, border)
        here = end
    if not gaps:
        found += _along(line, here, (floor[0], float(np.interp(floor[0], *line.T))), alone, border)
    return found


def _over_courses(
    start: tuple[float, float], end: tuple[float, float], stones: Sequence[Piece], border: Border
) -> list[Stretch]:
    """Parts of the line through stones that lie on each other, each as high as its highest."""
    sides = sorted({float(side) for s in stones for side in (s.low[0], s.high[0])})
    places = [start[0], *(x for x in sides if start[0] < x < end[0]), end[0]]
    y = np.interp(places, (start[0], end[0]), (start[1], end[1])).tolist()
    points = list(zip(places, y, strict=True))
    return [
        _over_stone(a, b, _top_at((a[0] + b[0]) / 2, stones), border)
        for a, b in itertools.pairwise(points)
    ]


def _top_at(x: float, stones: Sequence[Piece]) -> float:
    """Top of the highest stone at a place of the line [m]."""
    return max((float(s.high[2]) for s in stones if s.low[0] <= x <= s.high[0]), default=0.0)


def _over_stone(
    start: tuple[float, float], end: tuple[float, float], top: float, border: Border
) -> Stretch:
    """Part of the line that runs through a stone."""
    held = max(top, _given(border))
    return Stretch(start, end, (held, held), max(top, _strip(border, 0.0)))


def _along(
    line: Floats, start: tuple[float, float], end: tuple[float, float], alone: float, border: Border
) -> list[Stretch]:
    """Parts of the drawn line between two places, where no stone stands."""
    between = [_point(p) for p in line if start[0] + 1e-9 < p[0] < end[0] - 1e-9]
    points = [start, *between, end]
    stays = alone if border.strip else 0.0
    return [Stretch(a, b, (alone, alone), stays) for a, b in itertools.pairwise(points)]


def _alone(border: Border, has_stones: bool) -> float:
    """Height to which a strip or divider holds where no stone stands beside it [m]."""
    if not border.held:
        return 0.0
    if border.height is not None:
        return border.height
    # A stiff divider stands as high as it must; floss alone, of no known height, holds nothing.
    return ENDLESS if border.divider and not has_stones else 0.0


def _given(border: Border) -> float:
    """Stated height of a strip or divider [m]; 0 where it goes by the stones."""
    return border.height or 0.0 if border.held else 0.0


def _strip(border: Border, beside: float) -> float:
    """Height of a strip that stays [m]: as stated, or up to the stones beside it."""
    if not border.strip:
        return 0.0
    return beside if border.height is None else border.height


def _point(p: Floats) -> tuple[float, float]:
    return float(p[0]), float(p[1])


def row_for(zone: Zone, rows: Sequence[Row]) -> Row | None:
    """Find the row that a zone refers to; None where it refers to none."""
    if not zone.by_border:
        return None
    return next((row for row in rows if row.border.name == zone.border), rows[0])
