"""Close one body below and say how sure its volume is."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.closing import doubting, underside
from plumbstone.meshes.closing.bodies import ROUGH_TABLE, ClosedScan, OpenBody, is_limbed
from plumbstone.meshes.closing.limbs import limbs_doubt, righted, scanned_as
from plumbstone.meshes.closing.underside import Rim
from plumbstone.meshes.measures.doubts import Doubt, range_of
from plumbstone.meshes.measures.faults import enclosed_volume, face_areas, is_closed
from plumbstone.meshes.mending.occupancy import occupied_volume
from plumbstone.meshes.piece import Floats, Indices, Piece
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.telling import litres, percent

# Share of the volume under a rim that belongs to a body that fills its hull, and the power of the
# solidity of others by which it falls, by 83 scans that taught; how far it may be off: downward
# over the volume under the rim, upward over what is free there, or, of a small foot, over the root
# of what is under it times the volume (12 of 225 scans of tests/learn_underside.py are farther off
# with their skin). Of rims higher than LOW of the body, more and more, and wholly from thrice that
# on, what its flanks tell counts: share by solidity, what flanks that stand upright where they were
# seen last add, and how fast that falls with what they leave free; by those 225.
SHARE, BY_SOLIDITY = 0.63, 12
LESS, MORE, SMALL_FOOT = 0.35, 0.50, 0.085
LOW, SOLID, BY_HULL, UPRIGHT, BY_UNDERCUT = 0.05, 0.43, 8, 0.49, 2.0
LIFTED, OVER_AIR, LEAST_SPAN = 0.04, 0.01, 0.05  # of its height: a rim that lies all so much higher
# than another bounds a span, as the body stands on the other; share of what is under it that is
# taken, and from which share of the volume on that is told
ABOVE_SPAN, LEGS = 0.25, 0.10  # of what is under spans: what more may be air, and what leg
HOLLOW, HIGH, WIDE, VAULTED = 0.3, 0.12, 0.10, 0.35  # a foot whose flanks leave more free, below a
# rim higher against the body, or over more of the volume below a lower one, may be a vault between
# legs: then nothing under it is stone, and so much of it above it is none either; 44 arches that
# taught (seeds 48700, 48720, 134500, 134520)
SEEN, BROAD, ARCHED = 0.05, 0.06, 0.50  # a foot whose flanks stand upright, with more table seen
# under its rim and a high rim or more than this of the volume under it, may be an arch: then so
# much of what is under it is air above it; 100 arches of closed forms and 201 stones that taught
LEAST_SHARE = 0.03  # some foot is always there
CLOSED_NOISE = 0.02  # skin of a complete scan, share at 90 %; from memory
SKIN_SPREAD = 0.010  # skin of a scan with its table in it, share at 90 %; of the scans that
# taught it is 0.012 at 98 % with what follows
CALM, CALM_STEP = 0.095e-3, 3.2  # calmest quarter of a skin that was fused over 3-5 mm: less [m],
# and over the square of its step [1/m]. It leaves 0.085 mm or 2.4 at most, pictures 0.13 mm or 4.4,
# structured light 7
UNSEEN_FOOT = 0.008  # how much may be cut away below a rim without a table [m]; from memory
PATCHY = 0.06  # of the skin that holes leave unseen: flaps at their edges make lengths wrong too;
# of scans that went well 0.03 at most, of torn ones 0.08 and more
GUARD = 0.07  # how far the second estimate may lie off before the range grows, share
Z90 = 1.645  # standard deviations to either side that hold 90 %
LEAST_SEEN = 0.25  # share of the volume above the rim; with less, too much would be guessed
SWOLLEN, SHRUNK = 0.006, 0.003  # of a skin that fusion over 3-5 mm rounded: how far it may lie off
# outward and inward, at 90 % [m]; + 44 ... 50 % on a 20 cm stone by a phone's LiDAR (manifest)
LEAST_INVENTED, MOST_INVENTED = 0.01, 0.5  # of the volume: what lies below skin that no camera can
# have seen, and how much of that may be wrong
WHOLLY_INVENTED = 0.05  # of the volume: what may be wrong there, from which on it bears no "fair"
INVENTED = (
    "an app closed the surface below its overhangs, where no camera saw it; export it without "
    "filled holes, or weigh it"
)
BY_LIDAR = "which rounds off edges by 3-5 mm; scan it with the camera, or weigh it"
SMOOTH = f"its skin is smooth as by LiDAR, {BY_LIDAR}"
WAVY = f"its table is wavy as by LiDAR, {BY_LIDAR}"
COARSE_STEP = 0.0045  # [m]: coarser skins without a table may be a LiDAR's
UNTOLD = (
    f"nothing tells its coarse faces from those of a LiDAR, {BY_LIDAR}; leave the table in view"
)
VAULT = "it may be hollow below, as an arch is"
UNSEEN = "its underside was not seen; a second scan, turned over, or a scale would help"


def share_under(solid: float, free: float, high: float) -> float:
    """Share of the volume under the rims of a body that is taken for it, 0 to 1.

    Parameters
    ----------
    solid : float
        Share that the body fills of its hull above its rims.
    free : float
        Share under its rims that its flanks leave free if they go on straight.
    high : float
        Mean height of its rims over its own.

    Notes
    -----
    Below overhangs stones are as hollow as they are elsewhere. A low rim was looked at from all
    around, and skin flares where it meets the table; below a high one stones are the fuller the
    less their flanks lean where they were seen last: who looked from above saw no overhang.
    """
    flanks = min(1.0, max(0.0, (high / LOW - 1) / 2))
    by_flanks = SOLID * solid**BY_HULL + UPRIGHT * float(np.exp(-BY_UNDERCUT * free))
    share = (1 - flanks) * SHARE * solid**BY_SOLIDITY + flanks * by_flanks
    return max(share, LEAST_SHARE)


def feet_of(body: OpenBody) -> list[Rim]:
    """Give the rims that a body may stand on; those above them bound spans."""
    low = [float(body.vertices[rim.edges[:, 0], 2].min()) for rim in body.rims]
    most = min(low) + LIFTED * float(body.vertices[:, 2].max())
    return [rim for rim, height in zip(body.rims, low, strict=True) if height <= most]


def finished(path: Path, body: OpenBody) -> ClosedScan:
    """Close a body below and say how sure its volume is."""
    vertices, faces = body.vertices, body.faces
    if not body.rims:
        return _guarded(path, body, vertices, faces, ())
    under, flat = body.under, body.skirt - body.under
    if flat < LEAST_SEEN * body.skirt:
        problem = "is an open sheet, not a body; scan it from all sides, or measure limbs: <limb>."
        raise ScanError(path, problem)
    feet, top = feet_of(body), float(body.vertices[:, 2].max())
    free, foot = underside.undercut(body.smooth, body.faces, feet), sum(rim.under for rim in feet)
    high = foot / sum(rim.area for rim in feet) / top
    seen = underside.seen_below(vertices, feet, body.table) if free < HOLLOW else 0.0
    arched = seen > SEEN and (high > HIGH or foot > BROAD * flat)
    whole = share = share_under(underside.solidity(body.smooth, body.faces, body.rims), free, high)
    if arched:  # what stands over the table that is seen is air in the middle
        share = max(LEAST_SHARE, (1 - seen) * whole)
    for rim in body.rims:
        below = share if rim in feet else OVER_AIR
        vertices, faces = underside.close_below(vertices, faces, rim, below)
    spans, area = under - foot, sum(rim.area for rim in body.rims)
    volume = flat + share * foot + OVER_AIR * spans
    small = max(foot * volume, 0.0) ** 0.5
    vault = VAULTED * (free > HOLLOW if high > HIGH else foot > WIDE * volume)
    vault = ARCHED if arched else vault
    less = max(LESS * foot, SMALL_FOOT * small, (share + vault) * foot * (vault > 0))
    more = max(MORE * (1 - whole) * foot, SMALL_FOOT * small) + (whole - share) * foot
    less, more = float(np.hypot(less, ABOVE_SPAN * spans)), float(np.hypot(more, LEGS * spans))
    more += UNSEEN_FOOT * area * (body.ground is None)
    part = percent((volume - flat) / under) if under > 0 else "nothing"
    taken = f"{part} of the space under its rim is taken for the body"
    said = f"closed the unseen underside: {taken}; all of it would add {percent(under / flat)}"
    limbed, body = is_limbed(body, volume), replace(body, filled=(*body.filled, said))
    doubts = [Doubt("underside", less / volume, more / volume, UNSEEN)]
    if vault or spans > LEAST_SPAN * volume:
        doubts = [replace(doubts[0], says=f"{VAULT}; {UNSEEN}", trust="fair")]
    invented = underside.invented_volume(body.vertices, body.seen) / volume
    if body.ground is not None and invented > LEAST_INVENTED:
        off = MOST_INVENTED * invented
        word = "poor" if off > WHOLLY_INVENTED else "fair"
        doubts.append(Doubt("foot", off, off, INVENTED, word))
    if body.ground is not None and body.ground.spread > ROUGH_TABLE:
        off = Z90 * body.ground.spread * area / volume
        says = f"the table or cloth under it is uneven by <{body.ground.spread * 1e3:.1f} mm>"
        doubts.append(Doubt("table", off, off, f"{says}; lay it on a board"))
    breaches = (underside.breach_of(vertices, rim.edges) for rim in body.rims)
    doubts += [doubting.breach_doubt(breach, volume, limbed) for breach in breaches if breach]
    if not limbed:
        doubts += smoothing_doubts(body, volume)
    return _guarded(path, body, vertices, faces, tuple(doubts))


def smoothing_doubts(body: OpenBody, volume: float) -> tuple[Doubt, ...]:
    """Doubt a stone whose skin a LiDAR may have rounded."""
    smooth = body.pictured is False or body.calm < min(CALM, CALM_STEP * body.step**2)
    untold = body.fused and body.ground is None and body.step > COARSE_STEP
    if not (smooth or untold or body.waved):
        return ()
    skin, says = body.area / volume, SMOOTH if smooth else UNTOLD if untold else WAVY
    return (Doubt("smoothing", min(0.8, SWOLLEN * skin), SHRUNK * skin, says, "poor"),)


def skin_doubts(body: OpenBody, volume: float) -> tuple[Doubt, ...]:
    """Doubt the skin of a body, whatever closed it."""
    if is_limbed(body, volume):
        return (limbs_doubt(body, volume, scanned_as(body, volume)),)
    step = doubting.step_doubt(body.step, body.area / volume)
    return (*smoothing_doubts(body, volume), step)


def _guarded(
    path: Path, body: OpenBody, vertices: Floats, faces: Indices, doubts: tuple[Doubt, ...]
) -> ClosedScan:
    """Add the doubts of a skin; widen them where a count of inner points contradicts."""
    volume = enclosed_volume(vertices, faces)
    if volume < 0:
        faces, volume = faces[:, ::-1], -volume
    if not is_closed(faces, len(vertices)) or volume <= 0:
        raise ScanError(path, "crosses itself so that it encloses no volume; scan it again.")
    limbed = is_limbed(body, volume)
    loose = doubting.loose_skin(body) if limbed else 0.0
    side = doubting.side_doubt(body, loose, limbed=limbed)
    if side is not None and not body.cut:
        least, most = volume, (1 + side.above) * volume
        missing = doubting.missing_limbs(body, loose) * volume if limbed else (most - least) / 2
        vertices, faces = underside.bulged(vertices, faces, len(body.seen), missing)
        volume = enclosed_volume(vertices, faces)
        said = f"bulged the side that was not seen, by {percent(volume / least - 1)}"
        body = replace(body, filled=(*body.filled, said))
        least *= 1 - side.below if limbed else 1.0
        side = replace(side, below=1 - least / volume, above=most / volume - 1)
        doubts = tuple(d for d in doubts if d.what != "side")
    if side is not None and all(d.what != "side" or d.above < side.above for d in doubts):
        doubts = (*(d for d in doubts if d.what != "side"), side)
    mouth = doubting.mouth_doubt(body, volume)
    doubts = doubts if mouth is None else (*doubts, mouth)
    coarse = () if limbed else (doubting.step_doubt(body.step, body.area / volume),)
    if limbed:
        made = scanned_as(body, volume)
        if body.fused:
            vertices = righted(body, vertices, faces, volume)
            volume, before = enclosed_volume(vertices, faces), volume
            more = percent(abs(volume / before - 1))
            said = f"made thin parts thicker, by {more}, as scans make them too thin"
            if made == "smooth":
                said = f"made thin parts thinner, by {more}, as smoothing makes them too thick"
            body = replace(body, filled=(*body.filled, said))
        doubts = (*doubts, limbs_doubt(body, volume, made))
    share = float(np.hypot(SKIN_SPREAD if body.rims else CLOSED_NOISE, body.noise / volume))
    says = "its skin is rough or has holes" if body.rims else "complete but for small holes"
    missed = float(face_areas(body.vertices, body.faces[len(body.seen) :]).sum()) / body.area
    if missed > PATCHY:
        says = (
            f"{percent(missed)} of its skin was not seen; scan it again, slowly and all around it"
        )
    doubts = (*doubts, Doubt("noise", share, share, says, "poor" if missed > PATCHY else "good"))
    second = occupied_volume(vertices, faces, slice(len(body.seen), len(body.faces)), volume)
    warnings: tuple[str, ...] = ()
    off = abs(second / volume - 1)
    if off > max(GUARD, range_of(volume, doubts).half_width):
        says = "a second estimate, by counting points inside, contradicts the first"
        doubts = (*doubts, Doubt("crossing", off, off, says))
        warnings = (
            f"a second estimate, by counting points inside, gives {litres(second)}; "
            "the range was widened. Look for parts that cross or large gaps.",
        )
    ghost, joined = body.ghost, body.joined
    doubts = (*doubts, *doubting.layer_doubts(vertices, body.seen, volume, ghost, joined=joined))
    changes = (*body.changes, *body.filled)
    piece = Piece(vertices, faces, path.stem, source=str(path), changes=changes, warnings=warnings)
    bare = faces[: len(body.seen)]
    return ClosedScan(piece, doubts, bare, body.away, body.waviness, coarse=coarse, body=body)
