"""How long a scan really is: a caliper laid on it, and what its own file or a ruler is worth."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy

from plumbstone.meshes.faces import corner_sums, corners_of
from plumbstone.meshes.measures.doubts import OWN, Doubt, in_length
from plumbstone.meshes.measures.extents import across
from plumbstone.meshes.measures.faults import open_edges
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.measures.rulers import FAR_OFF, Ruler
from plumbstone.meshes.piece import Flags, Floats, Indices, longest_side

OWN_LENGTHS = 0.045  # of the lengths in a phone's file, at 90 %: + 3 ... 4 % by a depth camera;
# one stone by a phone and by a structured scanner (eesd-epfl/spherical-harmonics, stone 11)
CALIPER, CALIPER_STEP = 0.004, 0.001  # of a length by caliper or tape: share, and [m]; from memory
READ_TO = 0.45  # of what a length was read to: half of it holds all, that 90 %
SMOOTHED, MOST_ROUNDS = 0.02, 30  # of the length: how far noise is smoothed; rounds at most
NOISE_LEFT, GIVEN_BACK = 0.5, 0.55  # of what smoothing took off a length: the share that may be
# wrong, at 90 %, and what was no noise on calm skins; these by 149 scans that teach, fine,
# coarse and rough (40000 to 42600)
TIP_NOISE, TIP_UNSURE = 2.6, 2.0  # what noise left in a rough skin adds to a length, with what it
# takes off the volume (64 rough scans that teach, 57400 to 57515), and how far that is off at most,
# in deviations
CUT_TIPS, CUT_UNSURE = 0.35, 0.36  # what corners that no point met take off a tip as sharp as a
# cone of 90°, in steps from point to point, and how far that is off
TIP_DEPTH, SHARPEST = 2.0, 2.5  # steps below a tip where its width tells how sharp it is; at most
DULL = 1.5  # two tips that are sharper together are unsure in proportion; from memory
SPIKE, ROUGH = 2.5, 0.1  # deviations from which on a corner is a spike of noise; noise over the
# step, with less a tip is none
DRAWN = 1000  # faces: with fewer it is no scan, and its corners lie where they are
REACHED, REACH_UNSURE = 1.2, 0.4  # of what the points of a cloud reach farther than their skin:
# what is true, and how far that is off; by 48 clouds that teach (seed 40500)
UNSEEN_REACH = 0.1  # share of what walls dropped from the rim to the ground reach farther that may
# be true; of those 144 none was
LOW = 0.35  # of the height: open edges below are a rim, those above holes
NORMAL_MEDIAN = 0.6745  # median of the size of normal noise, in standard deviations
PER_BUMP = 1.08  # white noise, over the median of what neighbours do not explain of it
WAVINESS = 3.0  # how far waves of a skin may move both tips apart, in deviations, at 98 %
TIED = 0.015  # share by which a diagonal may be shorter than the longest and yet be measured as it
ALONG = 0.995  # cosine of two diagonals that are the same
ROUND, PICKED, FEW = 0.002, 2.0, 3  # of the length, and of the noise of the skin, at most for each
# e-fold of diagonals that tie over so many: of them noise picks the longest, so that round bodies
# seem longer; by 83 fine scans that teach, whose noise was half as much for their length
MOST_TIPS = 1500  # corners of the hull whose distances are compared


@dataclass(frozen=True, slots=True)
class Caliper:
    """Greatest distance between two points of a body, and its width across."""

    longest: float
    across: tuple[float, float]  # least and greatest, where several diagonals are nearly as long
    noise: float  # share that noise may have left in them

    def reaching(self, reach: float) -> "Caliper":
        """Go by what the points reach [m] that a skin was put around; it cuts off tips."""
        if not reach:
            return self
        more = reach - self.longest  # less where the skin of limbs bulges over their tips
        off = REACHED * more if more > 0 else more
        noise = float(np.hypot(self.noise, REACH_UNSURE * off / self.longest))
        return Caliper(self.longest + off, (self.across[0] + off, self.across[1] + off), noise)

    def waved(self, waviness: float) -> "Caliper":
        """Doubt lengths by the waves of the skin, of a standard deviation [m]."""
        return replace(self, noise=float(np.hypot(self.noise, WAVINESS * waviness / self.longest)))

    def clearing(self, share: float) -> "Caliper":
        """Go halfway to what is left of its length, a share, without what may cling to its foot."""
        off = (1 - share) / 2
        noise = float(np.hypot(self.noise, off))
        return replace(self, longest=(1 - off) * self.longest, noise=noise)


def measured(vertices: Floats, faces: Indices) -> Caliper:
    """Lay a caliper on a body.

    Parameters
    ----------
    vertices : (n, 3) float array
    faces : (m, 3) int array
        The skin that was seen; what was closed below it reaches farther than any stone.

    Returns
    -------
    Caliper
        Diameter of the hull and greatest extent at right angles to it [m], of the skin with its
        noise smoothed out, as noise lengthens both. What a coarse mesh cannot tell of its tips,
        and what the unseen underside may add, is in its noise.
    """
    corners, drawn = corners_of(faces), len(faces) < DRAWN
    calm, spread, step = (vertices, 0.0, 0.0) if drawn else smoothed(vertices, faces)
    smooth = calm[corners]
    hulled = _hull_corners(smooth)
    longest, way = _farthest(hulled)
    unseen = diameter(np.concatenate([hulled, _dropped(vertices, faces)]))[0] / longest - 1
    shorter = max(diameter(vertices[corners])[0] - longest, 0.0)
    low, high, ties = _widths_across(hulled)
    noise = NOISE_LEFT * shorter / longest + UNSEEN_REACH * unseen
    if drawn:
        return Caliper(longest, (low, high), noise)
    ring = calm[corners_of(open_edges(faces))]
    sharp = sum(_sharpness(smooth, up, step, ring) for up in (way, -way))
    unsure = CUT_UNSURE * step * max(1.0, sharp / DULL)
    noise += float(np.hypot(TIP_UNSURE * spread, unsure)) / longest
    rough = min(1.0, spread / (ROUGH * step))
    change = CUT_TIPS * step * sharp - rough * TIP_NOISE * spread
    change += (1 - rough) * GIVEN_BACK * shorter
    if ties > FEW:
        picked = min(ROUND * longest, PICKED * skin_noise(vertices, faces)[0])
        picked *= float(np.log(ties / FEW))
        change -= picked
        noise = float(np.hypot(noise, picked / longest))
    return Caliper(longest + change, (low + change, high + change), noise)


def _sharpness(points: Floats, up: Floats, step: float, ring: Floats) -> float:
    """How sharp the highest tip of a form is: 1 for a cone of 90°, 0 for a flat end.

    Of one on the open edge `ring` nothing is told, as half of it was not seen.
    """
    top = float((points @ up).max())
    if len(ring) and float((ring @ up).max()) >= top:
        return 0.0
    below = top - points @ up
    depth = TIP_DEPTH * step
    section = hull_of(points[below < depth] @ across(up).T)
    return SHARPEST if section is None else float(min(SHARPEST, np.pi * depth**2 / section.volume))


def _widths_across(corners: Floats) -> tuple[float, float, int]:
    """Least and greatest width at right angles to diagonals that may pass for the longest [m].

    Of a hull with such corners; and how many different ones do.
    """
    tips, apart = _apart(corners)
    pairs = np.argwhere(apart > (1 - TIED) * apart.max())
    pairs = pairs[pairs[:, 0] < pairs[:, 1]]
    pairs = pairs[np.argsort(-apart[pairs[:, 0], pairs[:, 1]])]
    left = np.diff(tips[pairs], axis=1)[:, 0] / apart[pairs[:, 0], pairs[:, 1], None]
    ways = list[Floats]()
    while len(left):
        ways.append(left[0])
        left = left[np.abs(left @ left[0]) < ALONG]
    corners = _some(corners)
    widths = [diameter(corners @ across(way).T)[0] for way in ways]
    return min(widths), max(widths), len(widths)


def _dropped(vertices: Floats, faces: Indices) -> Floats:
    """Feet of walls dropped from the rim of an open skin, z up, to the ground, (k, 3)."""
    ring = vertices[corners_of(open_edges(faces))]
    ground, top = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    low = ring[ring[:, 2] < ground + LOW * (top - ground)]
    return np.column_stack([low[:, :2], np.full(len(low), ground)])


def factor_by(ruler: Ruler, found: Caliper) -> tuple[float, float]:
    """Factor that brings a scan to its measured lengths, and the share by which two disagree."""
    low, high = found.across
    seen = (low + high) / 2
    if ruler.longest is None or ruler.across is None:
        factor = ruler.longest / found.longest if ruler.longest else (ruler.across or 0.0) / seen
        return factor, 0.0 if ruler.longest else (high - low) / seen
    seen = min(max(ruler.across * found.longest / ruler.longest, low), high)
    factors = ruler.longest / found.longest, ruler.across / seen
    factor = float(np.average(factors, weights=(ruler.longest, ruler.across)))
    return factor, max(factors) / min(factors) - 1


def own_scale() -> Doubt:
    """Doubt of lengths that nobody checked.

    No format tells whether a program measured its lengths or, as with pictures alone, was free to
    choose them; so no word but "poor" can be meant.
    """
    says = (
        "nothing in <source> tells whether its lengths were measured: measure the longest once "
        "with a tape (<longest 24.3 cm>), or scan it with a bank card (<known card>)"
    )
    return in_length(OWN, OWN_LENGTHS, says, trust="poor")


def ruled_scale(
    length: float, unsure: float, factor: float, *, twice: bool, read: float = 0.0
) -> Doubt:
    """Doubt of lengths that were set by a measured one [m]; `twice` where a second one agrees.

    `read` is what it was read to [m]: the truth lies up to half of that to either side.

    One length alone bears no "good": what was found of the body may reach too far, or not far
    enough, and nothing would tell.
    """
    step = max(CALIPER_STEP, READ_TO * read)
    share = float(np.linalg.norm([CALIPER, step / length, unsure]))
    says = f"its lengths follow the <{length * 1e2:.4g} cm> that you measured"
    if step > CALIPER_STEP:
        says += f", read to <{read * 1e3:.0f} mm>: write each millimetre, <{length * 1e3:.0f} mm>"
    trust = "good" if twice else "fair"
    if not twice:
        says += "; the width across (<across>) would check it"
    if abs(np.log(factor)) > np.log(1 + FAR_OFF):
        says += f", × {factor:.3g} on <source>'s own; see that it is the right stone and unit"
        trust = "fair" if twice else "poor"
    return in_length("scale", share, says, trust)


def diameter(points: Floats) -> tuple[float, Floats]:
    """Greatest distance of two points, (n, 2) or (n, 3) [m], and its direction."""
    return _farthest(_hull_corners(points))


def _farthest(corners: Floats) -> tuple[float, Floats]:
    """Greatest distance of two corners of a hull [m], and its direction."""
    tips, apart = _apart(corners)
    first, second = np.unravel_index(int(apart.argmax()), apart.shape)
    way = tips[second] - tips[first]
    length = float(np.linalg.norm(way))
    return length, way / max(length, 1e-300)


def _hull_corners(points: Floats) -> Floats:
    """Those of points that are corners of their hull."""
    hull = hull_of(points)
    return points if hull is None else points[hull.vertices]


def _some(points: Floats) -> Floats:
    """Give less than twice `MOST_TIPS` of points."""
    return points[:: max(1, len(points) // MOST_TIPS)]


def _apart(corners: Floats) -> tuple[Floats, Floats]:
    """Corners of a hull that may be ends of nearly its diameter, and their distances (k, k)."""
    corners = _some(corners)
    out = np.linalg.norm(corners - corners.mean(axis=0), axis=1)
    longest = np.linalg.norm(corners - corners[out.argmax()], axis=1).max()
    tips = corners[out + out.max() >= (1 - TIED) * longest]
    return tips, scipy.spatial.distance.cdist(tips, tips)


def smoothed(vertices: Floats, faces: Indices, by: float = SMOOTHED) -> tuple[Floats, float, float]:
    """Smooth noise out of a skin without shrinking it, so far as a share of its length.

    Returns
    -------
    vertices : (n, 3) float array
    spread : float
        Standard deviation of the noise that is left [m].
    step : float
        Median distance of neighbours [m].

    References
    ----------
    Taubin (1995), "A signal processing approach to fair surface design" (from memory).
    """
    links, lonely = _links(vertices, faces)
    edges = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    step = float(np.median(np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)))
    reach = by * longest_side(vertices[~lonely])
    found = _without_spikes(vertices, faces, links, lonely, step)
    for _ in range(min(int((reach / step) ** 2), MOST_ROUNDS)):
        for share in (0.5, -0.52):
            found += share * (links @ found - found) * ~lonely[:, None]
    noise = float(np.median(_bumps(found, faces, links, lonely))) * PER_BUMP
    return found, noise, step


def _without_spikes(
    vertices: Floats, faces: Indices, links: Any, lonely: Flags, step: float
) -> Floats:
    """Bring corners of a rough skin back that noise put far out."""
    found, means = vertices.copy(), links @ vertices
    out = np.einsum("ij,ij->i", means - vertices, corner_normals(vertices, faces))
    spread = float(np.median(np.abs(out[~lonely]))) / NORMAL_MEDIAN
    if spread > ROUGH * step:
        spikes = (np.abs(out) > SPIKE * spread) & ~lonely
        found[spikes] = means[spikes]
    return found


def skin_noise(vertices: Floats, faces: Indices) -> tuple[float, float]:
    """Measure how far neighbours do not explain the corners of a skin [m].

    Returns
    -------
    noise : float
        Its standard deviation.
    calm : float
        How far the calmest quarter lies off at most.
    """
    off = _bumps(vertices, faces, *_links(vertices, faces))
    return float(np.median(off)) * PER_BUMP, float(np.quantile(off, 0.25))


def _links(vertices: Floats, faces: Indices) -> tuple[Any, Flags]:
    """Give the matrix that takes each corner to the mean of its neighbours, and who has none."""
    edges = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    edges = np.concatenate([edges, edges[:, ::-1]])
    count = len(vertices)
    links = scipy.sparse.coo_array((np.ones(len(edges)), edges.T), shape=(count, count)).tocsr()
    lonely = np.ones(count, dtype=bool)
    lonely[edges] = False
    return scipy.sparse.diags_array(1 / np.maximum(links.sum(axis=1), 1)) @ links, lonely


def _bumps(vertices: Floats, faces: Indices, links: Any, lonely: Flags) -> Floats:
    """Give what neighbours of corners do not explain of their places, along their normals [m]."""
    off = links @ vertices - vertices
    off = (off - links @ off)[~lonely]
    out = np.einsum("ij,ij->i", off, corner_normals(vertices, faces)[~lonely])
    return np.abs(out)


def corner_normals(vertices: Floats, faces: Indices) -> Floats:
    """Give normals of length 1 at the corners (n, 3) [m] of a mesh; zero where no face is."""
    normals = corner_sums(vertices, faces)
    x, y, z = normals.T
    return normals / (np.sqrt(x * x + y * y + z * z)[:, None] + 1e-300)
