"""What is not sure of one body: sides that nobody saw, coarse faces, skin in two layers."""

from dataclasses import replace

import numpy as np

from plumbstone.meshes.closing.bodies import FINE, OpenBody, has_limbs, step_of
from plumbstone.meshes.closing.limbs import PUSHED, whole_limbs_doubt
from plumbstone.meshes.closing.underside import Breach, unseen_side
from plumbstone.meshes.faces import corners_of, ring_sums, shells, turned_areas
from plumbstone.meshes.measures.calipers import DRAWN, corner_normals
from plumbstone.meshes.measures.doubts import Doubt
from plumbstone.meshes.measures.faults import face_areas
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.measures.isolating import find_table, layers_in
from plumbstone.meshes.piece import Floats, Indices, longest_side

ROUNDS, TOO_COARSE = 2.0, 0.25  # of the square of step times skin over volume: how far stones of a
# known length are off, as what curves within a step is rounded; from where on it bears no "fair";
# simulated depth cameras, 82 stones that taught
PITTED = 10.0  # of the volume for each metre of step: hollows narrower than some steps are filled;
# pitted stones before those cameras
ONE_SIDED, ONE_FLANK = 0.016, 0.05  # share of its skin that wood, and that a stone, lacks on one
# side; seen from all around stones lack 0.032 at most, wood 0.013
UNSEEN_LIMBS, PER_LOOSE = 0.90, 6.0  # what of such wood may be missing, and what more for skin that
# hangs loose, over that of the body; by scans of gnarled wood (seeds 40000, 41000)
MISSED, MISSED_LOOSE = 1.5, 3.0  # what such wood lacks in the middle, over the share of skin that
# its open edges leave unseen, and over that of loose skin; 88 pieces (seeds from 56000)
MOST_MISSED, AT_EDGES = 3.8, 0.10  # what it lacks at most where it is as long as was measured, over
# the first of these, and besides; 40 of those
PER_SIDE = 2.4  # what of a stone may be missing, over that share; of what taught it 2.1 at most
CUT_FLAT = 0.04, 0.02  # of the volume: what an app that closes a stone flat below may have added,
# and cut off; 12 stones closed by carving what was seen free (0.3 too small to 4 % too large)
CLOSED_FLAT = (
    "an app closed it flat below, where it was not seen; scan it turned over too, or weigh it"
)
CALMER, LARGE = 0.4, 8.0  # of the median roughness, and median faces: skin that an app made up
# where it had no points is so calm, or of faces so large
LARGER, PUT_ON = 2.5, 0.012  # median faces, of the volume: those in the largest patch of it, and
# what it holds at least. So of 36 in 47 surfaces by Poisson whose foot was not seen, thinned or
# not (seeds 64000 on), of 13 in 15 of two other makers, of none in 34 that were seen all around
# (0.009 at most), of one in 28 that were closed by carving
FAR_LARGER, LEAST_LARGE = 4.0, 0.025  # median faces, of the skin: those in faces over that; 0.03 at
# least in 27 surfaces of four makers where such skin was found, 0.016 at most in boulders
ROUNDS_OVER = 3  # rings of faces over which roughness is told
PER_MADE, LEAST_OFF = 2.0, 0.15  # how far the volume is off over the share of such skin, and at
# least; those were off by 0.8 to 1.9 times that share, and up to 0.14 where there is hardly any
CLOSED_OVER = (
    "an app closed it by calm skin where nothing was seen; export it without filled holes, or "
    "weigh it"
)
CREASED, UNEVEN = 0.45, 1.9  # cosine of what faces turn at an edge: 63°, a hexagon's are 60°; what
# uneven faces lose over what their normals tell: 1.0 on even ones, 1.4 on thinned ones, 1.9 on
# hulls of corners by chance on ellipsoids
MOST_HOLLOW = 0.65  # of the volume: what a body lacks at most into which an opening leads
ON_TABLE = 0.004  # [m] over the table: what lies lower may be table
DOUBLED = (
    "part of its skin was scanned twice, millimetres apart, and which is true is not known; scan "
    "it again in one go"
)


def breach_doubt(breach: Breach, volume: float, limbed: bool) -> Doubt:
    """Doubt a body of which a side is missing; of limbs no more than limbs lack there."""
    says = (
        f"a side about <{breach.width * 1e2:.0f} cm> wide and <{breach.height * 1e2:.0f} cm> high "
        "was not seen; scan it again from there, see <picture>"
    )
    beyond = min(breach.volume / volume, UNSEEN_LIMBS if limbed else np.inf)
    return Doubt("side", 0.02, max(0.05, beyond), says, trust="poor")


def side_doubt(body: OpenBody, loose: float, *, limbed: bool) -> Doubt | None:
    """Doubt a body that was not seen from one side: its flank, or limbs there and loose ones.

    `loose` is that of `loose_skin`.
    """
    unseen = body.unseen
    if unseen < (ONE_SIDED if limbed else ONE_FLANK):
        return None
    says = f"{unseen_side(body.vertices, body.side)} was not seen"
    if not limbed:
        says = f"{says}; scan it again from there, see <picture>"
        return Doubt("side", 0.02, PER_SIDE * unseen, says, "poor")
    says = f"{says}, and limbs may be missing there; scan it again from there, see <picture>"
    return Doubt("side", 0.02, UNSEEN_LIMBS + PER_LOOSE * loose, says, "poor")


def loose_skin(body: OpenBody) -> float:
    """Area of the skin that hangs loose around a body, over that of its own."""
    low, high = body.vertices.min(axis=0), body.vertices.max(axis=0)
    size = float((high - low).max())
    near = (body.away > low - [size / 5, size / 5, 0]) & (body.away < high + size / 5)
    loose = body.away[(near & (body.away[:, :, 2:] > ON_TABLE)).all(axis=(1, 2))]
    each = np.arange(3 * len(loose)).reshape(-1, 3)
    return float(face_areas(loose.reshape(-1, 3), each).sum()) / body.area


def missing_limbs(body: OpenBody, loose: float) -> float:
    """Give what wood lacks in the middle where it was not seen, over what was seen of it."""
    return MISSED * body.unseen + MISSED_LOOSE * loose


def none_farther(doubts: tuple[Doubt, ...], unseen: float) -> tuple[Doubt, ...]:
    """Doubt wood less that is as long as measured: no limb that is missing reaches farther.

    `unseen` is what its open edges leave unseen from one side, over the area of its skin.
    """
    most = 1.0 + MOST_MISSED * unseen + AT_EDGES
    return tuple(
        replace(d, above=min(d.above, most * (1 - d.below) - 1)) if d.what == "side" else d
        for d in doubts
    )


def mouth_doubt(body: OpenBody, volume: float) -> Doubt | None:
    """Doubt a body into which an opening leads: a tube as wide may run through it.

    Depths smear over its edge, so that an opening is wider than it was left by a step all around.
    """
    if body.mouth == 0:
        return None
    radius = (body.mouth / np.pi) ** 0.5
    tube = np.pi * (radius + body.step) ** 2 * longest_side(body.vertices)
    within = min(MOST_HOLLOW, tube / volume)
    says = (
        f"an opening about <{2e2 * radius:.0f} cm> wide leads into it: if it is "
        f"hollow there, it holds less; scan into it too, or {PUSHED}"
    )
    return Doubt("hollow", within, 0.02, says, "poor")


def step_doubt(step: float, skin: float) -> Doubt:
    """Doubt a stone by the step of its skin [m]: depths fused on a grid of that step err.

    `skin` is its area over its volume [1/m].
    """
    fused = step * skin
    off, trust = ROUNDS * fused**2, "poor" if fused > TOO_COARSE else "fair"
    filled_in = max(off, PITTED * step)  # one fault: what curves within some steps is lost
    says = f"its faces of <{step * 1e3:.1f} mm> are coarse; scan it from nearer"
    return Doubt("resolution", filled_in, off, says, trust)


def chords_doubt(vertices: Floats, faces: Indices, volume: float) -> Doubt:
    """Doubt a complete form of few faces by what a round one with such corners holds beside them.

    Over each side of a face it rises by an eighth of the side times how far normals turn along it
    (a parabola); a face at an edge that is sharper than `CREASED` is meant to be flat.
    """
    ways = corner_normals(vertices, faces)
    ways /= np.maximum(np.linalg.norm(ways, axis=1), 1e-300)[:, None]
    after = np.roll(faces, -1, axis=1)
    rise = ((vertices[after] - vertices[faces]) * (ways[after] - ways[faces])).sum(axis=2) / 8
    own = np.cross(*(vertices[faces[:, 1:]] - vertices[faces[:, :1]]).swapaxes(0, 1)) / 2
    area = np.linalg.norm(own, axis=1)
    sides = np.sort(np.stack([faces, after], axis=2).reshape(-1, 2), axis=1)
    one, other = (np.lexsort(sides.T) // 3).reshape(-1, 2).T
    sharp = (own[one] * own[other]).sum(axis=1) < CREASED * area[one] * area[other]
    share = UNEVEN * area * rise.mean(axis=1) / volume
    share[one[sharp]] = share[other[sharp]] = 0
    says = f"{len(faces)} faces are few for a round form; export it with more"
    return Doubt("resolution", float(-share[share < 0].sum()), float(share[share > 0].sum()), says)


def whole_doubts(
    vertices: Floats, faces: Indices, volume: float, *, is_cut: bool
) -> tuple[tuple[Doubt, ...], tuple[Doubt, ...]]:
    """Doubt a complete scan: what holds by any length, and what its step adds to a known one.

    What an app closes flat below was not seen there, and hollows around it are filled down to it.
    """
    step = step_of(vertices, faces[:: 1 + len(faces) // FINE])
    area = float(face_areas(vertices, faces).sum())
    skin, limbed = area / volume, has_limbs(area, vertices, volume)
    if len(faces) < DRAWN and not limbed:
        return (), (chords_doubt(vertices, faces, volume),)
    coarse = () if limbed else (step_doubt(step, skin),)
    doubts = (whole_limbs_doubt(step, skin),) if limbed else ()
    if is_cut:
        doubts = (*doubts, Doubt("underside", *CUT_FLAT, CLOSED_FLAT, "fair"))
    return doubts, coarse


def invented_doubts(vertices: Floats, faces: Indices, volume: float) -> tuple[Doubt, ...]:
    """Doubt a scan without a table of which an app invented a part of the skin, and bulged it.

    That lengthens it too, so that a known length makes all else too small. It has no noise, so that
    its faces stay larger when a scan is thinned.
    """
    if len(faces) < DRAWN:
        return ()
    areas = face_areas(vertices, faces)
    middle = float(np.median(areas))
    large = areas[areas > FAR_LARGER * middle].sum()
    if large < LEAST_LARGE * areas.sum() or find_table(vertices, faces):
        return ()
    made = (_roughness(vertices, faces, areas) < CALMER) | (areas > LARGE * middle)
    number = shells(faces[made], len(vertices))
    patch = number == np.bincount(number, weights=areas[made], minlength=1).argmax()
    bulge = hull_of(vertices[corners_of(faces[made][patch])]) if patch.any() else None
    if bulge is None or bulge.volume < PUT_ON * volume:
        return ()
    if np.median(areas[made][patch]) < LARGER * middle:
        return ()
    off = max(LEAST_OFF, min(MOST_HOLLOW, PER_MADE * float(areas[made].sum() / areas.sum())))
    return (Doubt("foot", off, off, CLOSED_OVER, "poor"),)


def _roughness(vertices: Floats, faces: Indices, areas: Floats) -> Floats:
    """How much faces turn beside their corners, for their size and around them, over the median."""
    sums = [turned_areas(vertices, faces, corner_normals(vertices, faces)), areas]
    sums.append(np.ones(len(faces)))
    for _ in range(ROUNDS_OVER):
        sums = [ring_sums(faces, row, len(vertices)) for row in sums]
    rough = np.sqrt(sums[0] * sums[2]) / (sums[1] + 1e-300)
    return rough / (np.quantile(rough, 0.5, weights=areas, method="inverted_cdf") + 1e-300)


def layer_doubts(
    vertices: Floats, faces: Indices, volume: float, removed: float = 0.0, *, joined: bool = True
) -> tuple[Doubt, ...]:
    """Doubt a skin of which a second layer was removed [m³], or is joined to it still."""
    left = layers_in(vertices, faces)
    off = (removed + left) / volume
    word = "poor" if joined or left else "fair"
    return (Doubt("ghost", off, off, DOUBLED, word),) if off else ()
