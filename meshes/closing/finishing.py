"""Close one body below and say how sure its volume is."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.closing.bodies import ROUGH_TABLE, ClosedScan, OpenBody, is_limbed
from plumbstone.meshes.closing.doubting import breach_doubt, layer_doubts, side_doubt, step_doubt
from plumbstone.meshes.closing.limbs import limbs_doubt, righted, scanned_as
from plumbstone.meshes.closing.underside import (
    Rim,
    breach_of,
    bulged,
    close_below,
    invented_volume,
    solidity,
)
from plumbstone.meshes.measures.doubts import Doubt, range_of
from plumbstone.meshes.measures.faults import enclosed_volume, is_closed
from plumbstone.meshes.mending.occupancy import occupied_volume
from plumbstone.meshes.piece import Floats, Indices, Piece
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.telling import litres, percent

# Share of the volume under a rim that belongs to a body that fills its hull, and the power of the
# solidity of others by which it falls; how far it may be off, at 95 %, over the volume under the
# rim or, of a small foot, over the root of that times the volume. By 83 scans of the shapes of
# tests/learn_underside.py.
SHARE, BY_SOLIDITY = 0.63, 12
FOOT, SMALL_FOOT = 0.40, 0.085
OPEN_ROUND, OPEN_WIDE, OPEN_HIGH, TAPER = 0.78, 0.75, 0.10, 0.58  # a rim that is rounder, wider
# against the body and higher against its own width was not looked below; of boulders and lumps
# without overhangs (seeds 2000, 2100) this share of what is under it was stone, 0.48 at least
LEAST_SHARE = 0.03  # some foot is always there
CLOSED_NOISE = 0.02  # skin of a complete scan, share at 90 %; from memory
SKIN_SPREAD = 0.010  # skin of a scan with its table in it, share at 90 %; of the scans that
# taught it is 0.012 at 98 % with what follows
CALM, CALM_STEP = 0.095e-3, 3.2  # calmest quarter of a skin that was fused over 3-5 mm: less [m],
# and over the square of its step [1/m]. It leaves 0.085 mm or 2.4 at most, pictures 0.13 mm or 4.4,
# structured light 7
UNSEEN_FOOT = 0.008  # how much may be cut away below a rim without a table [m]; from memory
GUARD = 0.07  # how far the second estimate may lie off before the range grows, share
Z90 = 1.645  # standard deviations to either side that hold 90 %
LEAST_SEEN = 0.25  # share of the volume above the rim; with less, too much would be guessed
SWOLLEN, SHRUNK = 0.006, 0.003  # of a skin that fusion over 3-5 mm rounded: how far it may lie off
# outward and inward, at 90 % [m]; + 44 ... 50 % on a 20 cm stone by a phone's LiDAR (manifest)
LEAST_INVENTED, MOST_INVENTED = 0.01, 0.5  # of the volume: what lies below skin that no camera can
# have seen, and how much of that may be wrong
INVENTED = (
    "an app closed the surface below its overhangs, where no camera saw it; export it without "
    "filled holes, or weigh it"
)
SMOOTH = (
    "its skin is smooth as by LiDAR, which rounds off edges by 3-5 mm; scan it with the camera, or "
    "weigh it"
)
BULGED = "bulged the side that was not seen"
UNSEEN = "its underside was not seen; a second scan, turned over, or a scale would help"


def share_under(rim: Rim, solid: float) -> float:
    """Share of the volume under a rim that is taken for the body, 0 to 1.

    Parameters
    ----------
    rim : Rim
    solid : float
        Share that the body fills of its hull above its rims.

    Notes
    -----
    Below overhangs stones are as hollow as they are elsewhere; they stand on a few places.
    """
    share = SHARE * solid**BY_SOLIDITY
    wide = rim.area / rim.widest
    if rim.roundness > OPEN_ROUND and wide > OPEN_WIDE and rim.under > OPEN_HIGH * rim.area**1.5:
        share = max(share, TAPER)
    return max(share, LEAST_SHARE)


def finished(path: Path, body: OpenBody) -> ClosedScan:
    """Close a body below and say how sure its volume is."""
    vertices, faces = body.vertices, body.faces
    if not body.rims:
        return _guarded(path, body, vertices, faces, ())
    under, flat = body.under, body.skirt - body.under
    if flat < LEAST_SEEN * body.skirt:
        problem = "is an open sheet, not a body; scan it from all sides, or measure limbs: --limb."
        raise ScanError(path, problem)
    volume, solid = body.skirt, solidity(body.smooth, body.faces, body.rims)
    for rim in body.rims:
        share = share_under(rim, solid)
        vertices, faces = close_below(vertices, faces, rim, share)
        volume -= (1 - share) * rim.under
    guess = max(FOOT * under, SMALL_FOOT * max(under * volume, 0.0) ** 0.5)
    part = percent((volume - flat) / under) if under > 0 else "nothing"
    taken = f"{part} of the space under its rim is taken for the body"
    said = f"closed the unseen underside: {taken} (between {litres(flat, body.skirt)})"
    limbed, body = is_limbed(body, volume), replace(body, filled=(*body.filled, said))
    area = sum(rim.area for rim in body.rims)
    foot = UNSEEN_FOOT * area * (body.ground is None)
    doubts = [Doubt("underside", guess / volume, (guess + foot) / volume, UNSEEN)]
    invented = invented_volume(body.vertices, body.seen) / volume
    if body.ground is not None and invented > LEAST_INVENTED:
        off = MOST_INVENTED * invented
        doubts.append(Doubt("foot", off, off, INVENTED, "fair"))
    if body.ground is not None and body.ground.spread > ROUGH_TABLE:
        off = Z90 * body.ground.spread * area / volume
        says = f"the table or cloth under it is uneven by {body.ground.spread * 1e3:.1f} mm"
        doubts.append(Doubt("table", off, off, f"{says}; lay it on a board"))
    breaches = (breach_of(vertices, rim.edges) for rim in body.rims)
    doubts += [breach_doubt(breach, volume, limbed) for breach in breaches if breach]
    smooth = body.pictured is False or body.calm < min(CALM, CALM_STEP * body.step**2)
    if smooth and not limbed:
        skin = body.area / volume
        doubts.append(Doubt("smoothing", min(0.8, SWOLLEN * skin), SHRUNK * skin, SMOOTH, "poor"))
    return _guarded(path, body, vertices, faces, tuple(doubts))


def _guarded(
    path: Path, body: OpenBody, vertices: Floats, faces: Indices, doubts: tuple[Doubt, ...]
) -> ClosedScan:
    """Add the doubts of a skin; widen them where a count of inner points contradicts."""
    volume = enclosed_volume(vertices, faces)
    if volume < 0:
        faces, volume = faces[:, ::-1], -volume
    if not is_closed(faces, len(vertices)) or volume <= 0:
        raise ScanError(path, "crosses itself so that it encloses no volume; scan it again.")
    side = side_doubt(body, volume)
    if side is not None and not body.cut and not is_limbed(body, volume):
        least, most = volume, (1 + side.above) * volume
        vertices, faces = bulged(vertices, faces, len(body.seen), (most - least) / 2)
        volume = enclosed_volume(vertices, faces)
        said = f"{BULGED}, by {litres(volume - least)}"
        body = replace(body, filled=(*body.filled, said))
        side = replace(side, below=1 - least / volume, above=most / volume - 1)
        doubts = tuple(d for d in doubts if d.what != "side")
    if side is not None and all(d.what != "side" or d.above < side.above for d in doubts):
        doubts = (*(d for d in doubts if d.what != "side"), side)
    limbed = is_limbed(body, volume)
    coarse = () if limbed else (step_doubt(body, volume),)
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
    doubts = (*doubts, Doubt("noise", share, share, says))
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
    doubts = (*doubts, *layer_doubts(vertices, body.seen, volume, body.ghost, joined=body.joined))
    changes = (*body.changes, *body.filled)
    piece = Piece(vertices, faces, path.stem, source=str(path), changes=changes, warnings=warnings)
    bare = faces[: len(body.seen)]
    return ClosedScan(piece, doubts, bare, body.away, body.sway, coarse=coarse, body=body)
