"""Limbs: how they were scanned, what that takes off or adds, and how sure their thickness is."""

from plumbstone.meshes.closing.bodies import NOISIEST, OpenBody
from plumbstone.meshes.measures.calipers import corner_normals
from plumbstone.meshes.measures.doubts import Doubt
from plumbstone.meshes.piece import Floats, Indices

CALM_LIMBS, BENT = 1.0, 0.03  # calmest quarter of a smoothed skin: less, over the square of its
# step [1/m], and what the bend of limbs adds over that and over skin per volume; smoothed 0.7 at
# most, by pictures 1.0 to 3.6
CHORDS = 1 / 20  # of the square of the step over the width of a limb (four volumes per skin): how
# far the faces of a skin lie below it, as round limbs on lattices show
EDGES, BY_PICTURES = 0.0004, 0.0009  # [m] that fusion takes off limbs besides, as pixels at their
# edges show what is behind, and how far that is off: 0 by our own maker of scans, 0.4 to 1.2 mm by
# simulated depth cameras (18 pieces of wood that taught)
SWOLLEN_LIMBS, LOST_LIMBS = 0.0045, 0.0055  # [m] that a phone's LiDAR adds to limbs or takes off,
# at 95 %: by our own maker up to 5 mm on, by simulated depth cameras 4 mm off, and thin limbs whole
SWOLLEN_BY = 0.0015  # [m] that smoothing adds to limbs, by our own maker of scans
MOST_RIGHTED = 0.3  # of the volume that limbs may be given back or lose
LIDAR_STEP = 0.0038  # [m]: finer steps are not those of a phone's LiDAR
CALM_TABLE, NOISY_TABLE = 0.38e-3, 0.43e-3  # spread of a table [m] as pictures leave it at most
# (0.33), and as a LiDAR leaves it at least
LOST_TO_NOISE = 0.0013  # [m] that such noise takes off limbs, by 17 pieces of wood that taught
COARSEST_LIMBS = 0.006  # [m]: step up to which a calm table tells of limbs
PUSHED = "push it under in a bucket on a scale: <bucket-rise>"
SMOOTH_LIMBS = f"its skin is smooth as by LiDAR, which swells or loses thin limbs; {PUSHED}"


def whole_limbs_doubt(step: float, skin: float) -> Doubt:
    """Doubt how thick the limbs of a complete scan are, less where its step [m] is finer.

    `skin` is its area over its volume [1/m].
    """
    per_radius = min(1.0, step / LIDAR_STEP) * skin / 2
    below, above = _by_radius(BY_PICTURES - EDGES, BY_PICTURES + EDGES, per_radius)
    says = f"its faces of <{step * 1e3:.1f} mm> are coarse for limbs; scan it from nearer"
    return Doubt("resolution", below, above, says, "fair")


def righted(body: OpenBody, vertices: Floats, faces: Indices, volume: float) -> Floats:
    """Push the skin of limbs out by what faces and fusion take off, in by what smoothing adds."""
    skin, made = body.area / volume, scanned_as(body, volume)
    # Of faces that are coarser than twice those of a LiDAR nothing is known.
    edges = EDGES * min(1.0, max(0.0, 2 - body.step / LIDAR_STEP))
    edges = LOST_TO_NOISE if made == "noisy" else edges
    out = -SWOLLEN_BY if made == "smooth" else edges + CHORDS * body.step**2 * skin
    most = MOST_RIGHTED / skin
    return vertices + min(max(out, -most), most) * corner_normals(vertices, faces)


def scanned_as(body: OpenBody, volume: float) -> str:
    """Tell how limbs were scanned: "calm" as by pictures, "smooth", "noisy", or "untold".

    Smoothing shows in the calmest quarter of a skin, the noise of depths in the table, which is
    known to be flat.
    """
    if not body.fused:  # the skin around points is their own work
        return "calm" if body.pictured else "untold"
    if body.calm < (CALM_LIMBS + BENT * body.area / volume) * body.step**2:
        return "smooth"
    fine, spread = body.step <= LIDAR_STEP, 0.0 if body.ground is None else body.ground.spread
    if spread > NOISY_TABLE:
        return "noisy" if not fine and spread < NOISIEST else "untold"
    if body.waved:
        return "untold"
    return "calm" if fine or (0 < spread < CALM_TABLE and body.step < COARSEST_LIMBS) else "untold"


def limbs_doubt(body: OpenBody, volume: float, made: str) -> Doubt:
    """Doubt how thick limbs are: by so much that their skin may lie out or in."""
    out, within = {
        "calm": (BY_PICTURES, BY_PICTURES),
        "smooth": (SWOLLEN_LIMBS - SWOLLEN_BY, LOST_LIMBS - SWOLLEN_BY),
        "noisy": (SWOLLEN_LIMBS, LOST_LIMBS - LOST_TO_NOISE + EDGES),
        "untold": (SWOLLEN_LIMBS, LOST_LIMBS),
    }[made]
    below, above = _by_radius(out, within, body.area / volume / 2)  # of round limbs
    faces = f"its faces of <{body.step * 1e3:.1f} mm> are"
    if made == "calm":
        says = f"{faces} coarse for limbs; scan it from nearer"
        word = "fair" if body.step <= LIDAR_STEP or not body.fused else "poor"
        return Doubt("resolution", below, above, says, word)
    if made == "smooth":
        return Doubt("smoothing", below, above, SMOOTH_LIMBS, "poor")
    noisy = "its table is as rough as a LiDAR makes it, which loses thin limbs"
    coarse = f"{faces} too coarse for its limbs: nothing tells whether a LiDAR swelled or lost them"
    says = noisy if made == "noisy" else coarse
    says = f"{says}; scan it finer, or {PUSHED}"
    if not body.fused:
        says = f"nothing tells whether a LiDAR swelled or lost its limbs; {PUSHED}"
    return Doubt("smoothing", below, above, says, "poor")


def _by_radius(out: float, within: float, per_radius: float) -> tuple[float, float]:
    """Shares by which round limbs hold less, and more, where their skin lies out or in [m]."""
    return 1 - max(0.0, 1 - out * per_radius) ** 2, (1 + within * per_radius) ** 2 - 1
