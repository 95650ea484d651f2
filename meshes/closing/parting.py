"""What may be no part of the body, doubted or cut off: tables, stands, hands, neighbours."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.closing import attached
from plumbstone.meshes.closing.attached import Stand
from plumbstone.meshes.closing.bodies import (
    ClosedScan,
    OpenBody,
    is_limbed,
    open_body,
    opened_bodies,
    saying,
)
from plumbstone.meshes.closing.finishing import finished
from plumbstone.meshes.faces import corners_of
from plumbstone.meshes.measures.calipers import diameter, factor_by
from plumbstone.meshes.measures.displacement import displaced_volume
from plumbstone.meshes.measures.doubts import Doubt
from plumbstone.meshes.measures.isolating import (
    LEAST_CUT,
    split_bodies,
    table_within,
    upright,
)
from plumbstone.meshes.measures.rulers import FAR_OFF, Ruler
from plumbstone.meshes.mending.welding import compacted
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.reading.scans import RawScan, read_raw
from plumbstone.meshes.telling import litres, percent

MOST_DISAGREE = 0.06  # two measured lengths of one body, against those of the scan
AGREES = 0.03  # wood that a measured length scales by less is whole along it: without a side it
# lacks 47 % at most (40 that taught), else up to 210 %
FITS = 0.07  # of the measured length: how far the right one of two parts may lie off it
SURE = 0.9  # of a part that may be the body: what of it is surely there
CUT = 0.08  # of the volume: what a cut along a crease may add or take off; by trials
BULKY, COMPACT, CONVEX = 0.45, 0.78, 0.93  # share of its hull: what a stone fills at least and
# wood at most; above the last no second body can hide
RIMMED = 0.9  # of the corners of rims that lie lower than where a stand is looked for: below them
# the walls that close a body are upright too
OWN_WALLS = 0.5  # of a stand: with half of its rim higher, its walls are what closed the body
LEFT_OF_STAND, MORE_THAN_CUT = 0.20, 0.08  # of the volume: what may be left of a stand that was
# cut away, as 21 of 22 stands that taught show (seed 44000), and what may be gone with it
MOST_STAND = 1.5  # of the volume above it: what holds more is rather the body itself
THIN_SLAB = 0.25  # of the volume: a table that holds more may be a ledge of the stone
TO_MEASURE, MEASURED = ", or give its <longest>", ", as its length does not tell"
FLAT = "it is so flat that a table may be part of it; look at <picture>"


def off_its_slab(path: Path, scan: ClosedScan) -> ClosedScan:
    """Cut a body off a table that an app closed into its skin."""
    vertices, faces = scan.piece.vertices, scan.piece.faces
    table = table_within(vertices, faces)
    if table is None:
        return scan if scan.cut is None else _on_plate(scan, upright(vertices, scan.cut))
    raw = RawScan(vertices, faces, "z", (), ())
    try:
        bodies = opened_bodies(path, raw, table)
    except ScanError:  # nothing stands on it: a flat stone, all of it
        return scan.doubted(Doubt("flat", 0.05, 0.05, FLAT, trust="fair"))
    if len(bodies) > 1:
        raise ScanError(path, f"holds {len(bodies)} bodies on one slab; scan them one at a time.")
    found = off_its_stand(path, bodies[0])
    rest = scan.volume.mid / found.volume.mid - 1
    says = "the scan was closed together with its table, which was cut away"
    doubt = Doubt("table", 0.02, 0.02, says, trust="fair")
    if rest > THIN_SLAB:
        says += f"; that took {litres(rest * found.volume.mid)} away, see <picture>"
        doubt = Doubt("table", 0.05, 0.05, says, trust="poor")
    return saying(found, scan.piece.changes).doubted(doubt)


def off_its_stand(path: Path, body: OpenBody) -> ClosedScan:
    """Close a body, and cut it off a stand that it melted into."""
    scan = finished(path, body)
    stand = _stand_of(body, scan)
    found = None if stand is None else _above_stand(path, body, scan, stand)
    if stand is None or found is None:
        return scan
    took = MOST_STAND if found is scan else scan.volume.mid / found.volume.mid - 1
    if took >= MOST_STAND or not stand.sure:
        heights = scan.piece.vertices[:, 2]
        return replace(_stood(scan, heights, stand, took / (1 + took)), stand=stand.height)
    return found


def _on_plate(scan: ClosedScan, vertices: Floats) -> ClosedScan:
    """Doubt a closed body, turned so that its flat end lies below, which surely stands on a plate.

    A turntable or a board is of one skin with what stands on it where an app carved both free.
    """
    stand, faces = attached.stand_below(vertices, scan.piece.faces, spread=0.0), scan.piece.faces
    if stand is None or not stand.sure:
        return scan
    share = displaced_volume(vertices, faces, stand.height) / scan.volume.mid
    return _stood(scan, vertices[:, 2], stand, share)


def _stood(scan: ClosedScan, heights: Floats, stand: Stand, share: float) -> ClosedScan:
    """Doubt that the lower part of a body, up to this share of its volume, is its own."""
    says = (
        f"its lower <{stand.height * 1e2:.0f} cm> may be a stand: scan it on the flat table"
        f"{TO_MEASURE}; if it is all one, <one-piece>; see <picture>"
    )
    other = heights[scan.piece.faces].mean(axis=1) < stand.height
    return replace(scan, other=other).doubted(Doubt("stand", share, 0.05, says, trust="poor"))


def _stand_of(body: OpenBody, scan: ClosedScan) -> Stand | None:
    """Find a stand below a body; limbs begin and end at once, so that they need a sure one."""
    if body.ground is None:
        return None
    rims = [body.vertices[rim.edges[:, 0], 2] for rim in body.rims] or [np.zeros(1)]
    sided = any(doubt.what == "side" for doubt in scan.doubts)  # its rim climbs a missing flank
    foot = 0.0 if sided else float(np.quantile(np.concatenate(rims), RIMMED))
    spread = body.ground.spread
    stand = attached.stand_below(scan.piece.vertices, scan.piece.faces, foot, spread)
    if stand is None:
        return None
    own = min(float(np.median(heights)) for heights in rims)
    if stand.straight and own > OWN_WALLS * stand.height:
        return None
    doubted = not stand.straight and not stand.sure
    return None if doubted and is_limbed(body, scan.volume.mid) else stand


def _above_stand(path: Path, body: OpenBody, scan: ClosedScan, stand: Stand) -> ClosedScan | None:
    """Close what is above a stand: all, where that is a sheet; None where hardly any is left."""
    cut = stand.height + LEAST_CUT
    over = np.all(body.vertices[body.seen][:, :, 2] > cut, axis=1)
    found = _alone(path, body, np.asarray(over), stand.height)
    if found is None:
        return scan
    if found.volume.mid < attached.LEAST_PART * scan.volume.mid:
        return None
    says = (
        f"what looks like a stand of <{stand.height * 1e2:.0f} cm> was cut away below it: "
        "stand the stone on a flat table; if it is all one, <one-piece>; see <picture>"
    )
    more = MORE_THAN_CUT if stand.straight else scan.volume.mid / found.volume.mid - 1
    return found.doubted(Doubt("stand", LEFT_OF_STAND, more, says, trust="poor"))


def _alone(path: Path, body: OpenBody, kept: Flags, down: float = 0.0) -> ClosedScan | None:
    """Close the largest body among seen faces that are kept, let down by a height [m].

    None where there is none that can be closed, as of an arch without its legs.
    """
    bodies, _ = split_bodies(body.vertices, body.seen[kept])
    if not bodies:
        return None
    lowered = body.vertices - [0.0, 0.0, down]
    away = np.concatenate([body.away - [0.0, 0.0, down], lowered[body.seen[~kept]]])
    rest = open_body(*compacted(lowered, bodies[0]), body.ground, body.changes, away)
    try:
        return finished(path, replace(rest, cut=True, mouth=0.0))
    except ScanError:
        return None


def as_measured(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Cut off what may be another thing, if only the rest alone is as long as measured."""
    if _fits(scan, ruler, FITS):
        return _sure_by_length(scan, ruler)
    ways = [(scan, k) for k in (0, 1) if scan.other is not None]
    if len(ways) == 2 and (gone := _cut_by_edge(scan)) is not None:
        ways = [ways[1 - gone]]  # of what was not scanned whole, the length tells nothing
    arm = attached.arm_of(scan.piece.vertices, scan.piece.faces)
    for tried in (ways, [] if arm is None else [(replace(scan, other=arm), 0)]):
        parts = [
            _part_alone(path, *way, "the part that is as long as you measured") for way in tried
        ]
        found = [part for part in parts if part is not None and _fits(part, ruler, FITS)]
        if len(found) == 1:
            return found[0]
    return as_seen(path, scan, ruler)


def by_one_length(ruler: Ruler, scan: ClosedScan) -> Ruler:
    """Set the width across aside that a body falls short of, where a side of it was not seen.

    Its longest is taken alone then, unless it falls short of that even more, and of the file's own.
    Where another thing may be at it, only a file of the same length tells that all of it is there.
    """
    doubts = {doubt.what for doubt in scan.doubts}
    both = ruler.longest and ruler.across and "side" in doubts
    disagree = factor_by(ruler, scan.caliper)[1] if both else 0.0
    if disagree <= MOST_DISAGREE:
        return ruler
    long = replace(ruler, across=None, aside=1 - 1 / (1 + disagree))
    ways = long, replace(ruler, longest=None)
    factor, other = (factor_by(one, scan.caliper)[0] for one in ways)
    melted = "attached" in doubts and not 1 / (1 + AGREES) < factor < 1 + AGREES
    return ruler if melted or factor > max(other, 1 + FAR_OFF) else long


def stand_by_length(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Tell by the measured length whether the lower part of a body is a stand, where it may be.

    It is none if only all of the body is so long; where another thing may be at it too, which
    part is long is not told. It is one if only what is above it is so long.
    """
    what = {doubt.what for doubt in scan.doubts}
    if ruler.longest is None or scan.other is None or "stand" not in what:
        return scan
    if not _fits(scan, ruler, FITS):
        if scan.body is None or not scan.stand:
            return scan
        found = _above_stand(path, scan.body, scan, Stand(scan.stand, straight=True))
        return found if found is not None and _fits(found, ruler, FITS) else scan
    above = corners_of(scan.bare[~scan.other[: len(scan.bare)]])
    short = len(above) == 0 or diameter(scan.piece.vertices[above])[0] * (1 + FITS) < ruler.longest
    if not short or "attached" in what:
        return scan
    rest = tuple(doubt for doubt in scan.doubts if doubt.what != "stand")
    return replace(scan, doubts=rest, other=None)


def _cut_by_edge(scan: ClosedScan) -> int | None:
    """Tell which part of a body, the largest or what may be another thing, leaves the view."""
    body = scan.body
    if body is None or body.ground is None or scan.other is None:
        return None
    other = scan.other[: len(body.seen)]
    return attached.cut_by_edge(body.vertices, (body.seen[~other], body.seen[other]), body.away)


def _sure_by_length(scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Rule out that a part alone is the body, where it is shorter than the body was measured."""
    stand = any(doubt.what == "stand" for doubt in scan.doubts)
    if ruler.longest is None or scan.other is None or len(scan.shares) == 1 or stand:
        return scan
    other = scan.other[: len(scan.bare)]
    parts = (corners_of(scan.bare[~other]), corners_of(scan.bare[other]))
    long = [diameter(scan.piece.vertices[part])[0] * (1 + FITS) > ruler.longest for part in parts]
    if long[1]:
        return scan
    below = 1 - SURE * scan.shares[0]
    doubts = [replace(d, below=below) if d.what == "attached" else d for d in scan.doubts]
    if long[0]:
        return replace(scan, doubts=tuple(doubts))
    rest = tuple(doubt for doubt in scan.doubts if doubt.what != "attached")
    return replace(scan, doubts=rest, other=None, shares=(1.0,))


def as_seen(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Cut off what may be another thing, if it has another colour and leaves the view, as arms do.

    The colours are read only now: few scans need them.
    """
    body = scan.body
    if body is None or body.ground is None or scan.other is None or ruler.known is not None:
        return scan
    if any(doubt.what == "stand" for doubt in scan.doubts):
        return scan
    places, looks = read_raw(path, ruler, colours=True).spots or (np.empty((0, 3)),) * 2
    other = scan.other[: len(body.seen)]
    gone = attached.leaves_view(
        body.vertices, (body.seen[~other], body.seen[other]),
        (upright(places, body.ground), looks), body.away,
    )  # fmt: skip
    if gone is None:
        return scan
    part = _part_alone(path, scan, 1 - gone, "the part that lies whole in view")
    return part or scan


def _part_alone(path: Path, scan: ClosedScan, which: int, taken: str) -> ClosedScan | None:
    """Close what is surely the largest part (0) of a body, or what may be another thing (1)."""
    assert scan.other is not None
    if scan.body is None:
        return None
    other = scan.other[: len(scan.body.seen)]
    found = _alone(path, scan.body, other if which else ~other)
    if found is None:
        return None
    says = (
        f"of {litres(scan.volume.mid)} {taken} was taken and "
        f"{percent(1 - found.volume.mid / scan.volume.mid)} cut off as another thing, "
        "see <picture>; scan the stone alone"
    )
    return found.doubted(Doubt("attached", CUT, CUT, says, trust="poor"))


def _fits(scan: ClosedScan, ruler: Ruler, share: float) -> bool:
    """Tell whether a body has the measured lengths, but for a share."""
    factor, disagree = factor_by(ruler, scan.caliper)
    return 1 / (1 + share) < factor < 1 + share and disagree < MOST_DISAGREE


def doubted_if_two(scan: ClosedScan) -> ClosedScan:
    """Doubt a body that narrows so much, or is so hollow at one place, that it may be two."""
    vertices, faces = scan.piece.vertices, scan.piece.faces
    parts = attached.parts_of(vertices, faces)
    shares, other = parts.shares, parts.other
    alone = len(shares) == 1
    hollow = alone and CONVEX > parts.solidity > BULKY
    if hollow and (two := attached.halves_of(vertices, faces)).are_two:
        shares, other = (1 - two.smaller, two.smaller), two.other
    elif alone and not BULKY < parts.solidity < COMPACT:
        return scan
    elif alone:
        says = (
            f"it fills only {percent(parts.solidity)} of its hull: if a hand or another thing is "
            "melted into it, scan the stone alone; if it is all one, <one-piece>; see <picture>"
        )
        return scan.doubted(Doubt("attached", 1 - parts.solidity, 0.05, says, trust="poor"))
    parts_told = litres(*(share * scan.volume.mid for share in shares))
    says = (
        f"it looks like parts of {parts_told}: if one is a stand, a hand or a neighbour (violet in "
        f"<picture>), scan the stone alone{TO_MEASURE}; if it is all one, <one-piece>"
    )
    doubt = Doubt("attached", 1 - SURE * shares[-1], 0.03, says, trust="poor")
    other = other if scan.other is None else other | scan.other
    seen = other[: len(scan.bare)]
    told = other if seen.any() and not seen.all() else None  # what nobody saw is no other thing
    return replace(scan, other=told, shares=shares).doubted(doubt)
