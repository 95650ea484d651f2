"""From a scan as a phone gives it to one closed body with an honest range of its volume."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.closing.attached import (
    LEAST_PART,
    Stand,
    arm_of,
    cut_by_edge,
    halves_of,
    leaves_view,
    parts_of,
    stand_below,
)
from plumbstone.meshes.closing.bodies import (
    ClosedScan,
    OpenBody,
    is_limbed,
    open_body,
    opened_bodies,
    saying,
)
from plumbstone.meshes.closing.clouds import cloud_surface
from plumbstone.meshes.closing.doubting import layer_doubts, whole_doubts
from plumbstone.meshes.closing.finishing import BULGED, CLOSED_NOISE, finished
from plumbstone.meshes.closing.underside import unseen_side
from plumbstone.meshes.faces import corners_of
from plumbstone.meshes.measures.calipers import (
    OWN_LENGTHS,
    diameter,
    factor_by,
    own_scale,
    ruled_scale,
)
from plumbstone.meshes.measures.doubts import WORDS, Doubt
from plumbstone.meshes.measures.faults import enclosed_volume, face_areas, is_closed, shells
from plumbstone.meshes.measures.isolating import (
    LEAST_CUT,
    SECOND_BODY,
    split_bodies,
    spread_over,
    table_within,
    upright,
)
from plumbstone.meshes.measures.rulers import FAR_OFF, FILE_ALONE, Known, Ruler
from plumbstone.meshes.mending.uncrossing import crossed_share, one_skin, united
from plumbstone.meshes.mending.welding import compacted, outer_shell, wound
from plumbstone.meshes.piece import Floats, Indices, Piece, longest_side
from plumbstone.meshes.reading.known import told_apart
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.reading.scans import LARGEST_STONE, LARGEST_WOOD, ROOM, RawScan, read_raw
from plumbstone.meshes.telling import litres, percent

CROSSED_NOISE = 0.04  # skin of a complete scan that passed through itself, share at 90 %; from
# memory
MOST_CROSSED = 0.10  # share of the skin of a closed scan that may pass through itself
TANGLED = 0.35  # of which nothing can be told
MOST_DISAGREE = 0.06  # two measured lengths of one body, against those of the scan
LEAST_THING = 0.02  # of the largest body's area: a thing of known size may be that small
LEAST_PIECE, MANY_PIECES, MAIN_PIECE = 0.005, 8, 0.5  # of a torn surface: area of a piece that
# counts, how many there are, and the largest that one may be, shares of the area
TORN, TORN_POINTS = 0.04, 60_000  # spread of its volume at 90 %, from memory; points put on it
FILLED, ROUNDED = 0.05, 0.03  # of a cloud's volume: what its skin may add or take off
SAME_VOLUME = 1e-6  # a kept mesh that differs by more was not weighed as it is
FOREIGN = "it was mended and kept elsewhere, or changed since; weigh the scan it was made of"
MOST_UNSURE = 0.8  # half-width of a range, over the greater of its middle and the figure, that
# still says something
FITS = 0.07  # of the measured length: how far the right one of two parts may lie off it
SURE = 0.9  # of a part that may be the body: what of it is surely there
CUT = 0.08  # of the volume: what a cut along a crease may add or take off; by trials
SAME_SIZE = 1.25  # a body that a known length scales by more is told from its table once more
BULKY, COMPACT, CONVEX = 0.45, 0.78, 0.93  # share of its hull: what a stone fills at least and
# wood at most; above the last no second body can hide
RIMMED = 0.9  # of the corners of rims that lie lower than where a stand is looked for: below them
# the walls that close a body are upright too
OWN_WALLS = 0.5  # of a stand: with half of its rim higher, its walls are what closed the body
LEFT_OF_STAND, MORE_THAN_CUT = 0.20, 0.08  # of the volume: what may be left of a stand that was
# cut away, as 21 of 22 stands that taught show (seed 44000), and what may be gone with it
MOST_STAND = 1.5  # of the volume above it: what holds more is rather the body itself
THIN_SLAB = 0.25  # of the volume: a table that holds more may be a ledge of the stone
FLAT = "it is so flat that a table may be part of it; look at --picture"
HALF_SIDED = 0.008  # of which a refusal says where, though it does not doubt it
MELTED = "another thing may be melted into it; scan the stone alone on a flat table"
PARTED = "a part of it was not seen; scan it again from all around"


def closed_scan(path: Path, ruler: Ruler = FILE_ALONE) -> ClosedScan:
    """Read a scan of one body, tell it from its surroundings and close it.

    Parameters
    ----------
    path : Path
        Mesh or point cloud.
    ruler : Ruler
        What is known of its unit and lengths.

    Returns
    -------
    ClosedScan
        In metres, z up where the scan tells it; the volume's range holds the truth at 90 %.

    Raises
    ------
    ScanError
        If it cannot be read, holds no body or several, or its volume cannot be told.
    """
    found = closed_scans(path, ruler)
    if len(found) > 1:
        problem = (
            f"holds {len(found)} bodies; scan them one at a time, weigh each with --all, or name "
            "the one of known size with --known."
        )
        raise ScanError(path, problem)
    return found[0]


def body_of(path: Path, raw: RawScan) -> OpenBody:
    """Tell the one body of a scan, open or complete, from its surroundings."""
    bodies = opened_bodies(path, raw)
    if len(bodies) > 1:
        raise ScanError(path, f"holds {len(bodies)} bodies; scan them one at a time.")
    return bodies[0]


def closed_scans(path: Path, ruler: Ruler = FILE_ALONE) -> tuple[ClosedScan, ...]:
    """Close each body of a scan, as `closed_scan` does with one; largest first.

    Cutting a body off its table goes by millimetres, so a scan whose lengths were far off is
    told from it once more at the right ones.
    """
    raw = wound_raw(path, ruler)
    across = longest_side(raw.vertices)
    if across > ROOM and not ruler.measured:
        raise ScanError(path, f"is {across:.1f} m across, more than a room; give --unit.")
    claim = _claimed(raw)
    if claim is not None and raw.sealed and not ruler.measured:
        piece = Piece(raw.vertices, raw.faces, path.stem, source=str(path))
        return (ClosedScan(piece, (claim,), raw.faces),)
    least = SECOND_BODY if ruler.known is None else LEAST_THING
    scans, before = _bodies(path, raw, least, ruler.single), 1.0
    if ruler.known is not None and ruler.known.kind != "sheet":
        scans, lengths = _beside(path, raw, scans, ruler.known)
        raw = replace(raw, lengths=lengths)
    if len(scans) == 1 and raw.sized and any(d.what == "attached" for d in scans[0].doubts):
        scans = ((_as_measured if ruler.measured else _as_seen)(path, scans[0], ruler),)
    if len(scans) == 1 and raw.sized:
        scans = (_stand_by_length(path, scans[0], ruler),)
    if ruler.measured:
        factor, _ = factor_by(ruler, scans[0].caliper)
        if not 1 / SAME_SIZE < factor < SAME_SIZE:
            before = factor
            again = replace(raw, vertices=raw.vertices * factor)
            scans = _bodies(path, again, single=ruler.single)
    if raw.lengths is not None and not ruler.measured:
        scaled = tuple(scan.doubted(raw.lengths) for scan in scans)
    else:
        scaled = with_scale(path, scans, ruler, before, sized=raw.sized)
    if not ruler.mat:  # tags of a mat that are read show that pictures were taken from near
        known = ruler.measured or ruler.known  # else the doubt of all lengths is far larger
        scaled = tuple(
            scan.doubted(*(d for d in scan.coarse if known or d.trust == "poor")) for scan in scaled
        )
    if claim is not None:
        trust = min(claim.trust, "fair", key=WORDS.index)
        claim = replace(claim, what="its past", says=FOREIGN, trust=trust)
        scaled = tuple(scan.doubted(claim) for scan in scaled)
    for scan in () if ruler.weighed else scaled:
        _check_useful(path, scan)
    done = (replace(scan, body=None) for scan in scaled)  # what it was is not looked at again
    return tuple(saying(scan, raw.changes, raw.warnings) for scan in done)


def _check_useful(path: Path, scan: ClosedScan) -> None:
    """Refuse a body whose range says next to nothing."""
    low, mid, high = scan.volume.low, scan.volume.mid, scan.volume.high
    if (high - low) / max(2 * mid, low + high) > MOST_UNSURE:
        told = max(scan.doubts, key=lambda d: (d.what == "side", d.below + d.above)).says
        body = scan.body
        if body and not any(d.what == "side" for d in scan.doubts) and body.unseen > HALF_SIDED:
            told += f"; {unseen_side(body.vertices, body.side)} was seen least, scan it from there"
        span = litres(low, high, joint=" to ")
        raise ScanError(path, f"tells only that it has {span}: {told}.")


def _beside(
    path: Path, raw: RawScan, scans: tuple[ClosedScan, ...], known: Known
) -> tuple[tuple[ClosedScan, ...], Doubt]:
    """Take out a thing of known size and bring the rest to its scale."""
    others, factor, doubt = told_apart(path, scans, known)
    if not 1 / SAME_SIZE < factor < SAME_SIZE:
        raw = replace(raw, vertices=raw.vertices * factor)
        others, factor, doubt = told_apart(path, _bodies(path, raw, LEAST_THING), known)
    floaters = SECOND_BODY * max(scan.piece.size.max() for scan in others)
    others = tuple(scan for scan in others if scan.piece.size.max() > floaters)
    said = f"took the {known.name} in view for scale and left it out"
    return tuple(scan.times(factor, said) for scan in others), doubt


def _claimed(raw: RawScan) -> Doubt | None:
    """Give the doubt that `--keep` wrote into a mesh of this volume; None where it did not."""
    try:
        row = json.loads(raw.kept)
        low, mid, high = (float(v) for v in row["volume_m3"])
        word, says, what = (str(text)[:600] for text in row["trust"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    if not (0 < low <= mid <= high < np.inf and word in WORDS):
        return None
    same = abs(enclosed_volume(raw.vertices, raw.faces) / mid - 1) < SAME_VOLUME
    return (
        Doubt(what, 1 - low / mid, high / mid - 1, says, word) if same or not raw.sealed else None
    )


def wound_raw(path: Path, ruler: Ruler) -> RawScan:
    """Read a scan and wind its faces."""
    raw = read_raw(path, ruler)
    if len(raw.faces) == 0 or is_closed(raw.faces, len(raw.vertices)):
        return raw
    faces, turned = wound(raw.vertices, raw.faces)
    said = (f"turned {turned} faces so that all look outward",) if turned else ()
    return replace(raw, faces=faces, changes=(*raw.changes, *said))


def with_scale(
    path: Path,
    scans: tuple[ClosedScan, ...],
    ruler: Ruler,
    before: float = 1.0,
    *,
    sized: bool = True,
) -> tuple[ClosedScan, ...]:
    """Bring bodies to a measured length of the first, or doubt the file's own lengths.

    `before` is the factor that they were brought nearer by already, and `sized` whether the
    file's lengths mean anything.
    """
    if not ruler.measured:
        return tuple(_of_own_size(path, scan, ruler) for scan in scans)
    found = scans[0].caliper
    factor, disagree = factor_by(ruler, found)
    two = any(d.what == "attached" for d in scans[0].doubts)
    parted = [d.says for d in scans[0].doubts if d.what == "side"]
    if disagree > MOST_DISAGREE:
        melted = "another thing may be melted into it: scan the stone alone, or " if two else ""
        apart = f"disagree by {percent(disagree)} with what was measured"
        problem = f"its longest and its width across {apart}; {melted}measure again."
        raise ScanError(path, problem)
    total = before * factor
    unsure = disagree / 2 + found.noise
    both = "" if ruler.longest and ruler.across else ", or give --longest and --across both"
    why = f"{MELTED}{both}" if two else (*parted, PARTED)[0]
    doubted = sized and (two or bool(parted))
    if doubted or any(d.what == "smoothing" for d in scans[0].doubts):
        unlike = _unlike(path, total, why)  # what measures depth knows its lengths
        unsure += unlike if doubted else 0.0
    if two:  # then the file's own lengths may be the right ones, as far as they are
        unsure += OWN_LENGTHS / 2
    twice = ruler.longest is not None and ruler.across is not None
    total_of = total if sized else 1.0
    doubt = ruled_scale(ruler.measured, unsure, total_of, twice=twice, read=ruler.read)
    said = f"lengths × {total:.4g}, from the measured {ruler.measured * 1e2:.1f} cm"
    return tuple(scan.times(factor, said).doubted(doubt) for scan in scans)


def _unlike(path: Path, factor: float, why: str) -> float:
    """How far the measured length of a doubted body is off the file's own, as a share."""
    off = abs(float(np.log(factor)))
    if off > np.log(1 + FAR_OFF):
        raise ScanError(path, f"is {1 / factor:.2f} times as long as measured, and {why}.")
    return off


def _bodies(
    path: Path, raw: RawScan, least: float = SECOND_BODY, single: bool = False
) -> tuple[ClosedScan, ...]:
    """Close each body of a scan at the scale that it has; doubt that it is one, unless told."""
    scans = _closed_each(path, raw, least, single)
    if single:
        told = ("taken for one piece, as you told",)
        return tuple(saying(scan, told) for scan in scans)
    return tuple(_unless_two(path, scan) for scan in scans)


def _unless_two(path: Path, scan: ClosedScan) -> ClosedScan:
    """Doubt that a body is one; what still looks like two when it is bulged is not bulged."""
    found, body = attached(scan), scan.body
    told = {"stand", "points", "torn", "table"} & {doubt.what for doubt in scan.doubts}
    bulged_it = any(said.startswith(BULGED) for said in scan.piece.changes)
    if found.other is None or body is None or told or not bulged_it:
        return found
    return attached(finished(path, replace(body, cut=True)))


def _closed_each(path: Path, raw: RawScan, least: float, single: bool) -> tuple[ClosedScan, ...]:
    """Close each body of a scan."""
    if len(raw.faces) == 0:
        return _by_points(path, raw.vertices, least)
    if _is_torn(raw):
        says = "its surface is in pieces; it was taken for points"
        doubt = Doubt("torn", TORN, TORN, says, "fair")
        told = "the surface is torn into pieces, so its points were taken alone"
        points, _, _ = spread_over(raw.vertices, raw.faces, TORN_POINTS)
        scans = _by_points(path, points, least)
        return tuple(saying(scan.doubted(doubt), (told,)) for scan in scans)
    scans = _complete(path, raw)
    if len(scans) == 1:
        scans = (_off_its_slab(path, scans[0]),)
    if scans:
        return scans
    close = finished if single else _off_its_stand
    return tuple(close(path, body) for body in opened_bodies(path, raw, least=least))


def _by_points(path: Path, points: Floats, least: float) -> tuple[ClosedScan, ...]:
    """Close what stands in a cloud of points."""
    found = cloud_surface(path, points)
    faces, _ = wound(found.vertices, found.faces)
    raw = RawScan(found.vertices, faces, "z", (), ())
    bodies = opened_bodies(path, raw, found.table, least)
    bodies = tuple(replace(body, fused=False, pictured=found.pictured) for body in bodies)
    scans = tuple(replace(finished(path, body), reach=found.reach) for body in bodies)
    says = "a skin was put around its points, which rounds off tips and fills creases"
    doubt = Doubt("points", FILLED, ROUNDED, f"{says}; export a mesh", "fair")
    # Their own skin would tell how limbs were scanned.
    limbed = [scan.body is not None and is_limbed(scan.body, scan.volume.mid) for scan in scans]
    doubts = [replace(doubt, trust="poor") if thin else doubt for thin in limbed]
    return tuple(
        saying(scan.doubted(d), (found.said,)) for scan, d in zip(scans, doubts, strict=True)
    )


def _is_torn(raw: RawScan) -> bool:
    """Tell whether a surface is in many pieces, none of which is most of it or a closed body."""
    if is_closed(raw.faces, len(raw.vertices)):
        return False
    number = shells(raw.faces, len(raw.vertices))
    areas = np.bincount(number, weights=face_areas(raw.vertices, raw.faces))
    pieces = np.flatnonzero(areas > LEAST_PIECE * areas.sum())
    if len(pieces) < MANY_PIECES or areas.max() > MAIN_PIECE * areas.sum():
        return False
    counts = len(raw.vertices)
    return not any(is_closed(raw.faces[number == k], counts) for k in pieces[:MANY_PIECES])


def _off_its_slab(path: Path, scan: ClosedScan) -> ClosedScan:
    """Cut a body off a table that an app closed into its skin."""
    vertices, faces = scan.piece.vertices, scan.piece.faces
    table = table_within(vertices, faces)
    if table is None:
        return scan
    raw = RawScan(vertices, faces, "z", (), ())
    try:
        bodies = opened_bodies(path, raw, table)
    except ScanError:  # nothing stands on it: a flat stone, all of it
        return scan.doubted(Doubt("flat", 0.05, 0.05, FLAT, trust="fair"))
    if len(bodies) > 1:
        raise ScanError(path, f"holds {len(bodies)} bodies on one slab; scan them one at a time.")
    found = _off_its_stand(path, bodies[0])
    rest = scan.volume.mid / found.volume.mid - 1
    says = "the scan was closed together with its table, which was cut away"
    doubt = Doubt("table", 0.02, 0.02, says, trust="fair")
    if rest > THIN_SLAB:
        says += f"; that took {litres(rest * found.volume.mid)} away, see --picture"
        doubt = Doubt("table", 0.05, 0.05, says, trust="poor")
    return saying(found, scan.piece.changes).doubted(doubt)


def _off_its_stand(path: Path, body: OpenBody) -> ClosedScan:
    """Close a body, and cut it off a stand that it melted into."""
    scan = finished(path, body)
    stand = _stand_of(body, scan)
    found = None if stand is None else _above_stand(path, body, scan, stand)
    if stand is None or found is None:
        return scan
    took = MOST_STAND if found is scan else scan.volume.mid / found.volume.mid - 1
    if took >= MOST_STAND or not stand.sure:
        says = (
            f"its lower {stand.height * 1e2:.0f} cm may be a stand: scan it on the flat table, or "
            "give --longest; if it is all one, --one-piece; see --picture"
        )
        other = scan.piece.vertices[scan.piece.faces][:, :, 2].mean(axis=1) < stand.height
        doubt = Doubt("stand", took / (1 + took), 0.05, says, trust="poor")
        return replace(scan, other=other).doubted(doubt)
    return found


def _stand_of(body: OpenBody, scan: ClosedScan) -> Stand | None:
    """Find a stand below a body; limbs begin and end at once, so that they need a sure one."""
    if body.ground is None:
        return None
    rims = [body.vertices[rim.edges[:, 0], 2] for rim in body.rims] or [np.zeros(1)]
    sided = any(doubt.what == "side" for doubt in scan.doubts)  # its rim climbs a missing flank
    foot = 0.0 if sided else float(np.quantile(np.concatenate(rims), RIMMED))
    stand = stand_below(scan.piece.vertices, scan.piece.faces, foot)
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
    above = _cut_off(body, np.asarray(over), stand.height)
    if above is None:
        return None
    try:
        found = finished(path, above)
    except ScanError:  # as of an arch without its legs
        return scan
    if found.volume.mid < LEAST_PART * scan.volume.mid:
        return None
    says = (
        f"what looks like a stand of {stand.height * 1e2:.0f} cm was cut away below it; "
        "stand the stone on a flat table, or see --picture"
    )
    more = MORE_THAN_CUT if stand.straight else scan.volume.mid / found.volume.mid - 1
    return found.doubted(Doubt("stand", LEFT_OF_STAND, more, says, trust="poor"))


def _cut_off(body: OpenBody, kept: NDArray[np.bool_], down: float = 0.0) -> OpenBody | None:
    """Take the largest body among seen faces that are kept, let down by a height [m]."""
    bodies, _ = split_bodies(body.vertices, body.seen[kept])
    if not bodies:
        return None
    lowered = body.vertices - [0.0, 0.0, down]
    away = np.concatenate([body.away - [0.0, 0.0, down], lowered[body.seen[~kept]]])
    rest = open_body(*compacted(lowered, bodies[0]), body.ground, body.changes, away)
    return replace(rest, cut=True)


def _as_measured(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Cut off what may be another thing, if only the rest alone is as long as measured."""
    if _fits(scan, ruler, FITS):
        return _sure_by_length(scan, ruler)
    ways = [(scan, k) for k in (0, 1) if scan.other is not None]
    if len(ways) == 2 and (gone := _cut_by_edge(scan)) is not None:
        ways = [ways[1 - gone]]  # of what was not scanned whole, the length tells nothing
    arm = arm_of(scan.piece.vertices, scan.piece.faces)
    for tried in (ways, [] if arm is None else [(replace(scan, other=arm), 0)]):
        parts = [
            _part_alone(path, *way, "the part that is as long as you measured") for way in tried
        ]
        found = [part for part in parts if part is not None and _fits(part, ruler, FITS)]
        if len(found) == 1:
            return found[0]
    return _as_seen(path, scan, ruler)


def _stand_by_length(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Tell by the measured length whether the lower part of a body is a stand, where it may be.

    It is none if only all of the body is so long; where another thing may be at it too, which
    part is long is not told. It is one if only what is above it is so long.
    """
    what = {doubt.what for doubt in scan.doubts}
    if ruler.longest is None or scan.other is None or "stand" not in what:
        return scan
    if not _fits(scan, ruler, FITS):
        body = scan.body
        stand = None if body is None else _stand_of(body, scan)
        if body is None or stand is None:
            return scan
        found = _above_stand(path, body, scan, replace(stand, straight=True))  # as sure as walls
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
    return cut_by_edge(body.vertices, (body.seen[~other], body.seen[other]), body.away)


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


def _as_seen(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
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
    gone = leaves_view(
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
    part = _cut_off(scan.body, other if which else ~other)
    try:
        found = None if part is None else finished(path, part)
    except ScanError:
        return None
    if found is None:
        return None
    says = (
        f"of {litres(scan.volume.mid)} {taken} was taken and "
        f"{percent(1 - found.volume.mid / scan.volume.mid)} cut off as another thing, "
        "see --picture; scan the stone alone"
    )
    return found.doubted(Doubt("attached", CUT, CUT, says, trust="poor"))


def _fits(scan: ClosedScan, ruler: Ruler, share: float) -> bool:
    """Tell whether a body has the measured lengths, but for a share."""
    factor, disagree = factor_by(ruler, scan.caliper)
    return 1 / (1 + share) < factor < 1 + share and disagree < MOST_DISAGREE


def attached(scan: ClosedScan) -> ClosedScan:
    """Doubt a body that narrows so much, or is so hollow at one place, that it may be two."""
    vertices, faces = scan.piece.vertices, scan.piece.faces
    parts = parts_of(vertices, faces)
    shares, other = parts.shares, parts.other
    alone = len(shares) == 1
    if alone and CONVEX > parts.solidity > BULKY and (two := halves_of(vertices, faces)).are_two:
        shares, other = (1 - two.smaller, two.smaller), two.other
    elif alone and not BULKY < parts.solidity < COMPACT:
        return scan
    elif alone:
        says = (
            f"it fills only {percent(parts.solidity)} of its hull: if a hand or another thing is "
            "melted into it, scan the stone alone; if it is all one, --one-piece; see --picture"
        )
        return scan.doubted(Doubt("attached", 1 - parts.solidity, 0.05, says, trust="poor"))
    parts_told = litres(*(share * scan.volume.mid for share in shares))
    says = (
        f"it looks like parts of {parts_told}: if one is a stand, a hand or a neighbour (violet in "
        "--picture), scan the stone alone, or give its --longest; if it is all one, --one-piece"
    )
    doubt = Doubt("attached", 1 - SURE * shares[-1], 0.03, says, trust="poor")
    other = other if scan.other is None else other | scan.other
    seen = other[: len(scan.bare)]
    told = other if seen.any() and not seen.all() else None  # what nobody saw is no other thing
    return replace(scan, other=told, shares=shares).doubted(doubt)


def _of_own_size(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Take the file's own lengths for a body, and doubt them."""
    size = float(scan.piece.size.max())
    if size > LARGEST_WOOD:
        raise ScanError(path, f"is {size:.1f} m long, more than a tank holds; see --unit.")
    if size > LARGEST_STONE and ruler.unit is None:
        says = f"it would be {size:.2f} m long; check that with --unit"
        scan = scan.doubted(Doubt("unit", 0.0, 0.0, says, trust="poor"))
    return scan.doubted(own_scale())


def _complete(path: Path, raw: RawScan) -> tuple[ClosedScan, ...]:
    """Take bodies whose outer shells are all closed as they are; none for any other scan."""
    faces, changes = raw.faces, list[str]()
    main, removed, others = outer_shell(raw.vertices, faces)
    shells: tuple[Indices, ...] = (main, *others)
    if not all(is_closed(shell, len(raw.vertices)) for shell in shells):
        return ()
    vertices = raw.vertices
    if others:
        shells = tuple(_outward(vertices, shell) for shell in shells)
        vertices, shells, joined = united(vertices, shells)
        if joined:
            changes.append(f"united {joined + 1} shells that pass through each other")
    return tuple(_whole_shell(path, vertices, s, (*changes, *removed)) for s in shells)


def _outward(vertices: Floats, shell: Indices) -> Indices:
    """Turn a closed shell so that it encloses a positive volume."""
    return shell[:, ::-1] if enclosed_volume(vertices, shell) < 0 else shell


def _whole_shell(
    path: Path, vertices: Floats, faces: Indices, changes: tuple[str, ...]
) -> ClosedScan:
    """Measure one closed shell."""
    vertices, faces = compacted(vertices, faces)
    volume = enclosed_volume(vertices, faces)
    if volume < 0:
        faces, volume = faces[:, ::-1], -volume
        changes = (*changes, "turned the whole surface outward")
    if volume <= 1e-9 * longest_side(vertices) ** 3:
        raise ScanError(path, "encloses no volume; scan it again.")
    crossed = crossed_share(vertices, faces)
    doubt = Doubt("noise", CLOSED_NOISE, CLOSED_NOISE, "complete; the noise of its skin remains")
    if crossed > TANGLED:
        problem = f"passes through itself over {percent(crossed)} of its skin; export it again."
        raise ScanError(path, problem)
    if crossed > MOST_CROSSED:
        vertices, faces, volume = one_skin(vertices, faces)
        if volume <= 0:
            raise ScanError(path, "passes through itself everywhere; export it as one shell.")
        over = percent(crossed)
        said = f"put one skin around a surface that passes through itself over {over} of it"
        changes = (*changes, said)
        says = "its skin passed through itself; export it again, as one shell"
        doubt = Doubt("crossing", CROSSED_NOISE, CROSSED_NOISE, says, "poor")
    piece = Piece(vertices, faces, path.stem, source=str(path), changes=changes)
    doubled = layer_doubts(vertices, faces, volume)
    doubts, coarse = whole_doubts(vertices, faces, volume)
    return ClosedScan(piece, (doubt, *doubts, *doubled), faces, coarse=coarse)
