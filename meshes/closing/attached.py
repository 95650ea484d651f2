"""Whether a body is really two that touch: a stone and its stand, a hand, a neighbour."""

from dataclasses import dataclass

import numpy as np
import scipy

from plumbstone.meshes.loops import basins_of
from plumbstone.meshes.measures.calipers import diameter
from plumbstone.meshes.measures.extents import even_directions, smallest_box
from plumbstone.meshes.measures.faults import enclosed_volume, picked_by_area
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.measures.isolating import turn_up
from plumbstone.meshes.measures.nearest import carried_on
from plumbstone.meshes.piece import Flags, Floats, Indices

CELLS = 44  # of the lattice along the longest side
NECK = 0.80  # inner radius of a neck over that of the thinner of two parts: less is a neck
LEAST_PART = 0.04  # share of the volume that counts as a part
LEVELS = 60  # sections along the longest side, in which a stand is looked for
EVEN_SECTION, VERY_EVEN, FOUR = 0.025, 0.008, 4  # how far sections of a straight wall lie off the
# median of its lowest ones, and of a wall that is low or begins above the table; how many these are
LEDGE, NEARLY_EVEN, ON_LEDGE = 0.65, 0.15, 4  # by how much sections change within two levels where
# a body of another width stands on walls that are even to this, as a LiDAR leaves them; how many
# levels that body has at least
LEAST_STAND = 0.10  # of the height that its straight wall must reach, unless its foot is very even
AMID, ROUND, SQUARE = 0.25, 0.97, 0.991  # of the height of walls, to either side of its middle; the
# hull of made ones fills more of a circle of its girth there, or of the rectangle around it: 17
# boxes 0.992 and more, 13 blocks with even walls 0.992 at most, 12 of them 0.991 (seeds 62100 on)
AS_FLAT, LEAST_NOISE = 4.7, 0.3e-3  # of the spread of the table, and that as pictures leave it [m]:
# so far four fifths of such walls lie inside their hull at most: 43 of stands 4.6, 20 of blocks
# 3.4, 3.9, 4.2, 4.9 and 5.6 to 15
HALVED, CUT_WAYS, CUTS = 1600, 24, 7  # points, directions and cuts in each that are tried
FEW, PROMISING = 300, 12  # points by which cuts are compared, and how many are looked at again
GAINED, GAINED_SHARE, MOST_GAINED = 0.08, 0.50, 0.115  # hollow that one cut takes away, over the
# volume and over all of it. Single stones give 0.02-0.04 (layered ones up to 0.18: doubted), two
# that touch 0.13 and more
BESIDE, BY_SMALL, SHARE_SMALL = 0.2, 0.07, 0.40  # the same where what is cut off holds no more than
# this of the volume: 1 instead of 3 of 72 stones with a neighbour are missed, and of 136 single
# ones, whose bends are cut amid, none more is doubted
LEAST_SPOTS = 100  # coloured places on a part
NEAR_SKIN = 0.004  # [m] from a coloured place to the skin that it lies on
UNLIKE, PURE = 10.0, 0.75  # distance of two colours that are told apart, lightness halved, and the
# share of each part that must look like itself; from memory
AT_EDGE = 0.01  # [m] from the edge of the scan: what reaches it leaves the view
HULLED = 50_000  # points that a hull is laid around; more change it by less than 0.1 %
PINCHED = 0.5  # of the section two levels lower and of the widest above: no stone is cut in so fast
JUTS = 0.12  # how much wider than a stand the body above grows, and narrower a waist is
EVEN_ARM, THIN_ARM, LEAST_ARM = 1.35, 0.5, 0.15  # how much the sections of an arm differ, what of
# the widest of all they have at most, and how far it reaches at least, over the whole length


@dataclass(frozen=True, slots=True)
class Stand:
    """What a body stands on, melted into it."""

    height: float  # over the table [m]
    straight: bool  # its walls are upright: made by hands, surely no stone
    sure: bool = True  # not where they begin above the table or are of no plain outline: even
    # sections of a stone look alike


@dataclass(frozen=True, slots=True, eq=False)
class Halves:
    """What one cut would bring a body nearer to two convex ones."""

    gain: float  # hollow that the cut takes out of the hull, over the volume
    hollow: float  # all that the hull holds besides the body, over the volume
    smaller: float  # share of the smaller half
    other: Flags  # (m,) faces of the smaller half

    @property
    def are_two(self) -> bool:
        """Tell whether the body is rather two that touch than one with hollows."""
        small = self.smaller < BESIDE
        gained, share = (BY_SMALL, SHARE_SMALL) if small else (GAINED, GAINED_SHARE)
        return self.gain > min(MOST_GAINED, max(gained, share * self.hollow))


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """How a body falls apart at its narrowest necks."""

    shares: tuple[float, ...]  # of the volume, largest first; (1.0,) for one compact body
    solidity: float  # volume over that of the hull
    other: Flags  # (m,) faces of all parts but the largest


def parts_of(vertices: Floats, faces: Indices) -> Parts:
    """Divide a closed body at necks.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
        Closed, outward.

    Notes
    -----
    Watershed of the distance to the skin on a lattice: two basins are parts where the ridge
    between them lies much lower than the peak of the lower one.
    """
    step = float(np.ptp(vertices, axis=0).max()) / CELLS
    inside, origin = _lattice(vertices, faces, step)
    _, ny, nz = inside.shape
    depth = scipy.ndimage.distance_transform_edt(inside)
    order = np.argsort(-depth, axis=None, kind="stable")[: int(inside.sum())]
    label, _ = basins_of(depth.ravel(), order, np.array([ny * nz, nz, 1]), NECK, LEAST_PART)
    numbers, counts = np.unique(label[order], return_counts=True)
    rank = np.argsort(-counts)
    large = counts[rank] >= LEAST_PART * len(order)
    shares = counts[rank][large] / counts[rank][large].sum()
    other = np.zeros(len(faces), dtype=bool)
    if len(shares) > 1:
        others = np.isin(label, numbers[rank[1:]][large[1:]]).reshape(depth.shape)
        cells = ((vertices[faces].mean(axis=1) - origin) / step).astype(int)
        other = carried_on(others, ~inside)[tuple(cells.T)]
    solidity = enclosed_volume(vertices, faces) / _hull_volume(vertices)
    return Parts(tuple(float(s) for s in shares), solidity, other)


def _hull_volume(points: Floats) -> float:
    """Volume of the hull of points, of very many by every so many of them [m³]."""
    return float(scipy.spatial.ConvexHull(points[:: max(1, len(points) // HULLED)]).volume)


def halves_of(vertices: Floats, faces: Indices) -> Halves:
    """Find the plane that cuts a closed body best into two convex ones.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
        Closed, outward.

    Notes
    -----
    Two stones side by side leave a hollow that one cut removes; the hollows of one stone lie
    all around it. The same points serve the hulls of the whole and of its halves.
    """
    rng = np.random.default_rng(11)
    points = vertices[picked_by_area(vertices, faces, HALVED, rng)].mean(axis=1)
    hull = float(scipy.spatial.ConvexHull(points).volume)
    volume = enclosed_volume(vertices, faces) * hull / _hull_volume(vertices)
    tried = [
        (_halved(points[:FEW], along, cut), way, cut)
        for way in even_directions(CUT_WAYS)
        for along in [points[:FEW] @ way]
        for cut in np.linspace(along.min(), along.max(), CUTS + 2)[1:-1]
    ]
    tried.sort(key=lambda row: np.nan_to_num(sum(row[0]), nan=np.inf))
    best, cut_off = (hull, 0.0), (points[0], np.inf)
    for _, way, cut in tried[:PROMISING]:
        sizes = _halved(points, points @ way, cut)
        if sum(sizes) < best[0]:
            sign = 1.0 if sizes[0] < sizes[1] else -1.0
            best, cut_off = (sum(sizes), min(sizes) / sum(sizes)), (sign * way, sign * cut)
    other = (vertices @ cut_off[0])[faces].mean(axis=1) > cut_off[1]
    return Halves((hull - best[0]) / volume, hull / volume - 1, best[1], other)


def _halved(points: Floats, along: Floats, cut: float) -> tuple[float, float]:
    """Volumes of the hulls of the points beyond a cut and of the others.

    NaN where there are too few, or they are flat.
    """
    high, low = (hull_of(points[half]) for half in (along > cut, along <= cut))
    if high is None or low is None:
        return np.nan, np.nan
    return float(high.volume), float(low.volume)


def leaves_view(
    vertices: Floats, parts: tuple[Indices, Indices], spots: tuple[Floats, Floats], around: Floats
) -> int | None:
    """Tell which of two parts is no stone: of another colour, and cut by the edge of the scan.

    Parameters
    ----------
    vertices : (n, 3) float array
        Of a body that stands on z = 0.
    parts : two (m, 3) int arrays
        Faces of what was seen of each.
    spots : two (k, 3) float arrays
        Places on the scan and their CIE L*a*b* colours.
    around : (j, 3, 3) float array
        Corners of what lies around the body.

    Returns
    -------
    int or None
        0 or 1; None where colours do not tell the two apart, or both or neither leave the view.

    Notes
    -----
    Shadows change how light a thing is more than its hue, so lightness counts half.
    """
    middles = [vertices[faces].mean(axis=1) for faces in parts]
    places, looks = spots[0], spots[1] * [0.5, 1.0, 1.0]
    if len(places) < LEAST_SPOTS or len(around) == 0:
        return None
    gaps, nearest = scipy.spatial.cKDTree(np.concatenate(middles)).query(places)
    near = gaps < NEAR_SKIN
    second = nearest >= len(middles[0])
    own = [looks[near & ~second], looks[near & second]]
    if min(len(part) for part in own) < LEAST_SPOTS:
        return None
    typical = [np.median(part, axis=0) for part in own]
    if np.linalg.norm(typical[1] - typical[0]) < UNLIKE:
        return None
    for k, part in enumerate(own):
        nearer = np.linalg.norm(part - typical[k], axis=1) < np.linalg.norm(
            part - typical[1 - k], axis=1
        )
        if nearer.mean() < PURE:
            return None
    return cut_by_edge(vertices, parts, around)


def cut_by_edge(vertices: Floats, parts: tuple[Indices, Indices], around: Floats) -> int | None:
    """Tell which of two parts reaches the edge of the scan; None for both or neither."""
    edge = hull_of(around.reshape(-1, 3)[:, :2])
    if edge is None:
        return None
    middles = [vertices[faces].mean(axis=1) for faces in parts]
    inside = [-(m[:, :2] @ edge.equations[:, :2].T + edge.equations[:, 2]).max() for m in middles]
    leaving = [k for k in (0, 1) if inside[k] < AT_EDGE]
    return leaving[0] if len(leaving) == 1 else None


def arm_of(vertices: Floats, faces: Indices) -> Flags | None:
    """Find an arm that reaches out of a closed body along its greatest length, (m,) faces of it.

    Notes
    -----
    Its sections stay as wide as near its end until the hand, or what it holds, begins.
    """
    turned = vertices @ turn_up(diameter(vertices)[1]).T
    step = float(np.ptp(turned, axis=0)[2]) / LEVELS
    inside, origin = _lattice(turned, faces, step)
    area = inside.sum(axis=(0, 1)).astype(float)
    first, last = _longest_even(area, THIN_ARM * float(area.max()))
    if last - first < LEAST_ARM * LEVELS:
        return None
    heights = (turned[:, 2][faces].mean(axis=1) - origin[2]) / step
    begins = area[:first].sum() < area[last:].sum()
    return np.asarray(heights < last if begins else heights > first)


def _longest_even(area: Floats, most: float) -> tuple[int, int]:
    """Longest run of levels whose sections differ little and are no larger than that."""
    best = (0, 0)
    for first in range(len(area)):
        low = high = area[first]
        for last in range(first, len(area)):
            low, high = min(low, area[last]), max(high, area[last])
            if not 0 < high <= min(most, EVEN_ARM * low):
                break
            best = max(best, (first, last + 1), key=lambda run: run[1] - run[0])
    return best


def stand_below(
    vertices: Floats, faces: Indices, foot: float = 0.0, spread: float = np.inf
) -> Stand | None:
    """Find a stand below a closed body that stands on z = 0, by its sections above its foot [m].

    Surely made ones are as flat as the table, whose points have that `spread` [m].

    Notes
    -----
    The section of a stand with upright walls stays the same from level to level, from the table
    or from the foot on, and changes at once where the stone begins; any other stand leaves a
    waist below a wider body.
    """
    step = float(np.ptp(vertices, axis=0).max()) / LEVELS
    area = _lattice(vertices, faces, step)[0].sum(axis=(0, 1))
    area = area[area > 0].astype(float)
    waist = next((k for k in range(2, len(area) - 3) if _is_waist(area, k)), None)
    starts = range(1, min(2 + int(foot / step), len(area) - 1))  # the table cuts the lowest
    tops = ((top, start == 1) for start in starts if (top := _top_of_walls(area, start)))
    top, sure = next(tops, (None, False))
    if waist is not None and not sure:
        return Stand((waist + 0.5) * step, straight=False)
    if top is None and (ledge := _ledge_of(area)) is not None:
        return Stand((ledge + 2) * step, straight=False, sure=False)
    if top is None:
        return None
    height = (top + 0.5) * step
    return Stand(height, straight=True, sure=sure and _is_made(vertices, height, spread))


def _is_made(vertices: Floats, height: float, spread: float) -> bool:
    """Tell whether walls below a height stand along a circle or a rectangle, as no stone's do.

    Those of a block that broke so leave their hull by more than noise, the `spread` of a table [m].
    """
    up = np.array([0.0, 0.0, 1.0])
    walls = vertices[np.abs(vertices[:, 2] / height - 0.5) < AMID] * (1 - up)
    hull = hull_of(walls[:, :2])
    if hull is None:
        return False
    inside = -(walls[:, :2] @ hull.equations[:, :2].T + hull.equations[:, 2]).max(axis=1)
    flat = np.quantile(inside, 0.8) < AS_FLAT * max(spread, LEAST_NOISE)
    rectangle = float(np.prod(smallest_box(walls, up)[:2]))
    made = hull.volume > min(ROUND * hull.area**2 / (4 * np.pi), SQUARE * rectangle)
    return bool(flat and made)


def _ledge_of(area: Floats) -> int | None:
    """Level above which sections that were nearly even change at once, and stay so; or None."""
    for level in range(2, len(area) - ON_LEDGE - 1):
        below = area[1 : level + 1]
        if (np.abs(below / np.median(below) - 1) > NEARLY_EVEN).any():
            return None
        after = area[level + 2 : level + 2 + ON_LEDGE]
        narrows = after[0] < LEDGE * area[level] and after[-1] > LEDGE * after[0]
        if narrows or (level > 2 and after[0] > area[level] / LEDGE):  # it may widen at its foot
            return level
    return None


def _top_of_walls(area: Floats, start: int) -> int | None:
    """Level at which upright walls from one level on end at once; None where they do not."""
    off = np.abs(area[start:] / np.median(area[start : start + FOUR]) - 1)
    even = EVEN_SECTION if start == 1 else VERY_EVEN  # bellies of stones are nearly even too
    run = int(np.argmax(np.append(off, 1) > even)) - 1
    top = start + run
    rest = area[top + 1 :]
    low = run < LEAST_STAND * len(area) and off[:FOUR].max() > VERY_EVEN
    if low or run < FOUR - 1 or len(rest) == 0:
        return None
    if rest.max() > (1 + JUTS) * area[top] or rest[: run + 1].min() < (1 - JUTS) * area[top]:
        return top + 1 + int(np.argmin(area[top + 1 : top + 1 + max(2, run // 3)]))
    return None


def _is_waist(area: Floats, level: int) -> bool:
    """Tell whether a section is the least of all between wider ones, or pinched all at once."""
    below, above = area[1:level].max(), area[level + 1 :].max()
    least = area[level] == area[1:-1].min()
    least |= area[level] < PINCHED * min(area[level - 2], above)  # however pointed what is above
    return bool(least and area[level] < (1 - JUTS) * min(below, above))


def _lattice(vertices: Floats, faces: Indices, step: float) -> tuple[Flags, Floats]:
    """Which points of a lattice around it a closed mesh holds, (nx, ny, nz), and its corner."""
    from plumbstone.meshes.mending.uncrossing import wound_around

    origin = vertices.min(axis=0) - 1.5 * step
    nx, ny, nz = (int(n) for n in np.ceil(np.ptp(vertices, axis=0) / step).astype(int) + 3)
    return wound_around((vertices - origin) / step, faces, (nx, ny, nz))[0], origin
