"""From a scan as a phone gives it to one closed body with an honest range of its volume."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.closing import parting
from plumbstone.meshes.closing.bodies import ClosedScan, OpenBody, is_limbed, opened_bodies, saying
from plumbstone.meshes.closing.clouds import cloud_surface
from plumbstone.meshes.closing.doubting import (
    invented_doubts,
    layer_doubts,
    none_farther,
    whole_doubts,
)
from plumbstone.meshes.closing.finishing import CLOSED_NOISE, finished
from plumbstone.meshes.closing.underside import unseen_side
from plumbstone.meshes.measures.calipers import OWN_LENGTHS, factor_by, own_scale, ruled_scale
from plumbstone.meshes.measures.doubts import WORDS, Doubt
from plumbstone.meshes.measures.extents import smallest_box
from plumbstone.meshes.measures.faults import enclosed_volume, face_areas, is_closed, shells
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.measures.isolating import SECOND_BODY, cut_plane, spread_over
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
LEAST_THING = 0.02  # of the largest body's area: a thing of known size may be that small
LEAST_PIECE, MANY_PIECES, MAIN_PIECE = 0.005, 8, 0.5  # of a torn surface: area of a piece that
# counts, how many there are, and the largest that one may be, shares of the area
TORN, TORN_POINTS = 0.04, 60_000  # spread of its volume at 90 %, from memory; points put on it
FILLED, ROUNDED = 0.05, 0.03  # of a cloud's volume: what its skin may add or take off
SAME_VOLUME = 1e-6  # a kept mesh that differs by more was not weighed as it is
FOREIGN = "it was mended and kept elsewhere, or changed since; weigh the scan it was made of"
MOST_UNSURE = 0.8  # half-width of a range, over the greater of its middle and the figure, that
# still says something
NO_SIZE = 1.5  # a file whose lengths are off by more did not measure them: they contradict nothing;
# phones that measure depth are off by 1.14 at most (MANIFEST of the scans by others)
SAME_SIZE = 1.25  # a body that a known length scales by more is told from its table once more
MOST_MEASURED = 0.2  # [m³], half a tonne of stone: what holds more by its measured length is a slip
BOXED = 0.97  # of the rectangle around it: what the outline of a crate fills (0.98 and more), and
# of a patch of gravel that was cut out; stones fill 0.90 at most, logs 0.95
ON_BOX = (
    "its outline is a rectangle: if it lies on a board, in a crate or in gravel, that was weighed "
    "too; see by the size above whether it is the stone's, else scan it on the flat table"
)
FROM_NEAR = 0.4  # of what coarse faces may fill, on the mat: without it 4 of 140 words of seven
# seeds that judged (141000 to 145500) were false, all too large
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
            f"holds {len(found)} bodies; scan them one at a time, weigh each with <all>, or name "
            "the one of known size with <known>."
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
        raise ScanError(path, f"is {across:.1f} m across, more than a room; give <unit>.")
    claim = _claimed(raw)
    if claim is not None and raw.sealed and not ruler.measured:
        piece = Piece(raw.vertices, raw.faces, path.stem, source=str(path))
        return (ClosedScan(piece, (claim,), raw.faces),)
    least = SECOND_BODY if ruler.known is None else LEAST_THING
    scans, before = _bodies(path, raw, least, ruler.single), 1.0
    if ruler.known is not None and ruler.known.kind != "sheet":
        scans, lengths = _beside(path, raw, scans, ruler.known)
        raw = replace(raw, lengths=lengths)
    if len(scans) == 1:
        ruler = parting.by_one_length(ruler, scans[0])
    if len(scans) == 1 and raw.sized and any(d.what == "attached" for d in scans[0].doubts):
        decided = parting.as_measured if ruler.measured else parting.as_seen
        scans = (decided(path, scans[0], ruler),)
    if len(scans) == 1 and raw.sized:
        scans = (parting.stand_by_length(path, scans[0], ruler),)
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
    known = ruler.measured or ruler.known  # else the doubt of all lengths is far larger
    steps = [[d for d in scan.coarse if known or d.trust == "poor"] for scan in scaled]
    if ruler.mat:  # tags that are read show that pictures were taken from near: some hollows fill
        steps = [
            [replace(d, below=FROM_NEAR * d.below, above=0.0, trust="good") for d in scan.coarse]
            for scan in scaled
        ]
    scaled = tuple(scan.doubted(*found) for scan, found in zip(scaled, steps, strict=True))
    if claim is not None:
        trust = min(claim.trust, "fair", key=WORDS.index)
        claim = replace(claim, what="its past", says=FOREIGN, trust=trust)
        scaled = tuple(scan.doubted(claim) for scan in scaled)
    for scan in () if ruler.weighed else scaled:
        check_useful(path, scan)
    done = (replace(scan, body=None) for scan in scaled)  # what it was is not looked at again
    return tuple(saying(scan, raw.changes, raw.warnings) for scan in done)


def check_useful(path: Path, scan: ClosedScan) -> None:
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
    if disagree > parting.MOST_DISAGREE:
        if len(scans) > 1:
            problem = f"holds {len(scans)} bodies, the largest of which is not what was measured; "
            raise ScanError(path, problem + "scan them one at a time.")
        melted = "another thing may be melted into it: scan the stone alone, or " if two else ""
        apart = f"disagree by {percent(disagree)} with what was measured"
        bent = "measure again; if both were right, the scan is bent: scan it again, slowly"
        raise ScanError(path, f"its longest and its width across {apart}; {melted}{bent}.")
    total = before * factor
    holds = scans[0].volume.mid * factor**3
    if (ruler.longest or ruler.across) and holds > MOST_MEASURED:
        length = f"<{ruler.measured * 1e2:.4g} cm>"
        problem = f"would hold {litres(holds)} by the {length} that were measured"
        own = f", as it is <{ruler.measured / total * 1e2:.1f} cm> by <source>" if sized else ""
        raise ScanError(path, f"{problem}; check the unit of that length{own}.")
    unsure = disagree / 2 + found.noise
    twice = ruler.longest is not None and ruler.across is not None
    both = "" if twice or ruler.aside else ", or give <longest> and <across> both"
    why = f"{MELTED}{both}" if two else (*parted, PARTED)[0]
    doubted = sized and not twice and (two or bool(parted))  # what two lengths fit is all of it
    body = scans[0].body
    limbed = body is not None and is_limbed(body, scans[0].volume.mid)
    agrees = ruler.longest and sized and abs(float(np.log(total))) < parting.AGREES
    if agrees and parted and body is not None and limbed:
        less = none_farther(scans[0].doubts, body.unseen)
        scans = (replace(scans[0], doubts=less), *scans[1:])
    if doubted or any(d.what == "smoothing" for d in scans[0].doubts):
        free = not (two or limbed)  # else what measures depth knows its lengths
        unlike = _unlike(path, total, why, free=free)
        unsure += unlike if doubted else 0.0
    if two:  # then the file's own lengths may be the right ones, as far as they are
        unsure += OWN_LENGTHS / 2
    total_of = total if sized else 1.0
    doubt = ruled_scale(ruler.measured, unsure, total_of, twice=twice, read=ruler.read)
    said = f"lengths × {total:.4g}, from the measured <{ruler.measured * 1e2:.4g} cm>"
    if ruler.aside:
        said += f"; the width across was set aside, what was seen is {percent(ruler.aside)} short"
    if ruler.longest:
        scans = tuple(scan.telling(parting.TO_MEASURE, parting.MEASURED) for scan in scans)
    return tuple(scan.times(factor, said).doubted(doubt) for scan in scans)


def _unlike(path: Path, factor: float, why: str, *, free: bool) -> float:
    """How far the measured length of a doubted body is off the file's own, as a share.

    Where it is `free` a file that is far off may have no scale at all. Nothing else tells which of
    two bodies was measured, or that a limb is missing.
    """
    off, most = abs(float(np.log(factor))), float(np.log(1 + FAR_OFF))
    if off > most and not (free and off > np.log(NO_SIZE)):
        raise ScanError(path, f"is {1 / factor:.2f} times as long as measured, and {why}.")
    return min(off, most)


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
    found, body = parting.doubted_if_two(scan), scan.body
    doubts = {doubt.what for doubt in scan.doubts}
    told = {"stand", "points", "torn", "table"} & doubts
    if found.other is None or body is None or told or body.cut or "side" not in doubts:
        return found
    return parting.doubted_if_two(finished(path, replace(body, cut=True)))


def _closed_each(path: Path, raw: RawScan, least: float, single: bool) -> tuple[ClosedScan, ...]:
    """Close each body of a scan."""
    if len(raw.faces) == 0:
        return _by_points(path, raw.vertices, least)
    if _is_torn(raw):
        says = "its surface is in pieces; it was taken for points"
        doubt = Doubt("torn", TORN, TORN, says, "fair")
        told = "the surface is torn into pieces, so its points were taken alone"
        points, _ = spread_over(raw.vertices, raw.faces, TORN_POINTS)
        scans = _by_points(path, points, least)
        return tuple(saying(scan.doubted(doubt), (told,)) for scan in scans)
    scans = _complete(path, raw)
    if len(scans) == 1:
        scans = (parting.off_its_slab(path, scans[0]),)
    if not scans:
        close = finished if single else parting.off_its_stand
        scans = tuple(close(path, body) for body in opened_bodies(path, raw, least=least))
    if len(scans) > 1 or any(doubt.what == "crossing" for doubt in scans[0].doubts):
        return scans  # one skin was put around it: its faces tell no more
    doubts = invented_doubts(raw.vertices, raw.faces, scans[0].volume.mid)
    return (scans[0].doubted(*doubts),)


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


def _of_own_size(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Take the file's own lengths for a body, and doubt them."""
    size = float(scan.piece.size.max())
    if size > LARGEST_WOOD:
        raise ScanError(path, f"is {size:.1f} m long, more than a tank holds; see <unit>.")
    if size > LARGEST_STONE and ruler.unit is None:
        says = f"it would be {size:.2f} m long; check that with <unit>"
        scan = scan.doubted(Doubt("unit", 0.0, 0.0, says, trust="poor"))
    if scan.body is not None and scan.body.rims:
        flat = scan.piece.vertices * [1, 1, 0]
        around = float(np.prod(smallest_box(flat, np.array([0.0, 0.0, 1.0]))[:2]))
        outline = hull_of(flat[:, :2])
        if outline is not None and outline.volume > BOXED * around:
            scan = saying(scan, (), (ON_BOX,))
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
        shells = tuple(s[:, ::-1] if enclosed_volume(vertices, s) < 0 else s for s in shells)
        vertices, shells, joined = united(vertices, shells)
        if joined:
            changes.append(f"united {joined + 1} shells that pass through each other")
    return tuple(_whole_shell(path, vertices, s, (*changes, *removed)) for s in shells)


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
    cut = cut_plane(vertices, faces)
    doubts, coarse = whole_doubts(vertices, faces, volume, is_cut=cut is not None)
    return ClosedScan(piece, (doubt, *doubts, *doubled), faces, coarse=coarse, cut=cut)
