"""From a scan as a phone gives it to one closed body with an honest range of its volume."""

import json
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.closing.attached import (
    arm_of,
    cut_by_edge,
    halves_of,
    leaves_view,
    parts_of,
    stand_below,
)
from plumbstone.meshes.closing.clouds import cloud_surface
from plumbstone.meshes.closing.underside import (
    Breach,
    Rim,
    boundary_parts,
    breach_of,
    bulged,
    close_below,
    fan,
    filled,
    invented_volume,
    measure_rim,
    rims_and_holes,
    skirt_volume,
    solidity,
    stood_on_rim,
    unseen_side,
)
from plumbstone.meshes.faces import corners_of, listed
from plumbstone.meshes.measures.calipers import (
    DRAWN,
    OWN_LENGTHS,
    Caliper,
    corner_normals,
    diameter,
    factor_by,
    measured,
    own_scale,
    ruled_scale,
    skin_noise,
)
from plumbstone.meshes.measures.doubts import WORDS, Doubt, foremost, range_of, trust_in
from plumbstone.meshes.measures.faults import (
    enclosed_volume,
    face_areas,
    is_closed,
    shells,
)
from plumbstone.meshes.measures.isolating import (
    LEAST_CUT,
    SECOND_BODY,
    Plane,
    bodies_on_ground,
    ghosts_in,
    layers_in,
    split_bodies,
    table_within,
    upright,
    waves_of,
)
from plumbstone.meshes.measures.rulers import FAR_OFF, FILE_ALONE, Known, Ruler
from plumbstone.meshes.mending.occupancy import occupied_volume
from plumbstone.meshes.mending.uncrossing import crossed_share, one_skin, united
from plumbstone.meshes.mending.welding import compacted, outer_shell, without_crowded, wound
from plumbstone.meshes.piece import Floats, Indices, Piece, longest_side
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.reading.known import told_apart
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.reading.scans import LARGEST_STONE, LARGEST_WOOD, ROOM, RawScan, read_raw
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
CROSSED_NOISE = 0.04  # the same of one that passed through itself; from memory
SKIN_SPREAD = 0.010  # the same of a scan with its table in it; of the scans that taught it is
# 0.012 at 98 % with what follows
SKIN_NOISE = 0.0003  # how far the skin may lie off as a whole, at 90 % [m]; rock by photos of
# phones lies off by less than 0.08 mm (Sensors 2021, 21(3), 922), here four times that
BUMPED, FINE = 0.35, 200_000  # of the noise from corner to corner that may be off as a whole, at
# 90 %; meshes with more faces average it out
CALM, CALM_STEP = 0.095e-3, 3.2  # calmest quarter of a skin that was fused over 3-5 mm: less [m],
# and over the square of its step [1/m]. It leaves 0.085 mm or 2.4 at most, pictures 0.13 mm or 4.4,
# structured light 7
CALM_LIMBS, BENT = 1.0, 0.03  # the same of limbs, over the square of the step [1/m], and what their
# bend adds over that and over skin per volume; smoothed 0.7 at most, by pictures 1.0 to 3.6
UNSEEN_FOOT = 0.008  # how much may be cut away below a rim without a table [m]; from memory
CAP_SPREAD = 0.15  # of a hole's size: how far its cap may lie off; from memory
MOST_CROSSED = 0.10  # share of the skin of a closed scan that may pass through itself
TANGLED = 0.35  # of which nothing can be told
GUARD = 0.07  # how far the second estimate may lie off before the range grows, share
Z90 = 1.645  # standard deviations to either side that hold 90 %
LEAST_SEEN = 0.25  # share of the volume above the rim; with less, too much would be guessed
MOST_DISAGREE = 0.06  # two measured lengths of one body, against those of the scan
LEAST_THING = 0.02  # of the largest body's area: a thing of known size may be that small
LEAST_PIECE, MANY_PIECES, MAIN_PIECE = 0.005, 8, 0.5  # of a torn surface: area of a piece that
# counts, how many there are, and the largest that one may be, shares of the area
TORN, TORN_POINTS = 0.04, 60_000  # spread of its volume at 90 %, from memory; points put on it
FILLED, ROUNDED = 0.05, 0.03  # of a cloud's volume: what its skin may add or take off
SAME_VOLUME = 1e-6  # a kept mesh that differs by more was not weighed as it is
FOREIGN = "it was mended and kept elsewhere, or changed since; weigh the scan it was made of"
MOST_UNSURE = 0.8  # half-width of a range, as a share, that still says something
FITS = 0.07  # of the measured length: how far the right one of two parts may lie off it
SURE = 0.9  # of a part that may be the body: what of it is surely there
CUT = 0.08  # of the volume: what a cut along a crease may add or take off; by trials
SAME_SIZE = 1.25  # a body that a known length scales by more is told from its table once more
BULKY, COMPACT, CONVEX = 0.45, 0.78, 0.93  # share of its hull: what a stone fills at least and
# wood at most; above the last no second body can hide
SWOLLEN, SHRUNK = 0.006, 0.003  # of a skin that fusion over 3-5 mm rounded: how far it may lie off
# outward and inward, at 90 % [m]; + 44 ... 50 % on a 20 cm stone by a phone's LiDAR (manifest)
RIMMED = 0.9  # of the corners of rims that lie lower than where a stand is looked for: below them
# the walls that close a body are upright too
MOST_STAND = 1.5  # of the volume above it: what holds more is rather the body itself
ROUGH_TABLE = 0.0008  # standard deviation of a table's points from their plane [m]
FOLDS = 5.0  # of those: so high over a cloth its folds may still cling to a foot
THIN_SLAB = 0.25  # of the volume: a table that holds more may be a ledge of the stone
FLAT = "it is so flat that a table may be part of it; look at --picture"
LEAST_INVENTED, MOST_INVENTED = 0.01, 0.5  # of the volume: what lies below skin that no camera can
# have seen, and how much of that may be wrong
INVENTED = (
    "an app closed the surface below its overhangs, where no camera saw it; export it without "
    "filled holes, or weigh it"
)
CHORDS = 1 / 20  # of the square of the step over the width of a limb (four volumes per skin): how
# far the faces of a skin lie below it, as round limbs on lattices show
EDGES, BY_PICTURES = 0.0004, 0.0009  # [m] that fusion takes off limbs besides, as pixels at their
# edges show what is behind, and how far that is off: 0 by our own maker of scans, 0.4 to 1.2 mm by
# simulated depth cameras (18 pieces of wood that taught)
SWOLLEN_LIMBS, LOST_LIMBS = 0.0045, 0.0055  # [m] that a phone's LiDAR adds to limbs or takes off,
# at 95 %: by our own maker up to 5 mm on, by the same cameras 4 mm off, and thin limbs whole
SWOLLEN_BY = 0.0015  # [m] that smoothing adds to limbs, by our own maker of scans
MOST_RIGHTED = 0.3  # of the volume that limbs may be given back or lose
LIDAR_STEP = 0.0038  # [m]: finer steps are not those of a phone's LiDAR
CALM_TABLE, NOISY_TABLE, NOISIEST = 0.38e-3, 0.43e-3, 1.2e-3  # spread of a table [m] as pictures
# leave it at most (0.33), as a LiDAR leaves it at least and at most (0.43 to 1.12); folds are more
LOST_TO_NOISE = 0.0013  # [m] that such noise takes off limbs, by 17 pieces of wood that taught
COARSEST_LIMBS = 0.006  # [m]: step up to which a calm table tells of limbs
ROUNDS, TOO_COARSE = 2.0, 0.25  # of the square of step times skin over volume: how far stones of a
# known length are off, as what curves within a step is rounded; from where on it bears no "fair";
# the same cameras, 82 stones that taught
PITTED = 10.0  # of the volume for each metre of step: hollows narrower than some steps are filled;
# pitted stones before those cameras
LIMBED = 15.0  # skin times length over the volume: of stones 6 to 12, of wood 16 and more
HALF_SIDED = 0.008  # of which a refusal says where, though it does not doubt it
ONE_SIDED, ONE_FLANK = 0.016, 0.05  # share of its skin that wood, and that a stone, lacks on one
# side; seen from all around stones lack 0.032 at most, wood 0.013
UNSEEN_LIMBS, PER_LOOSE = 0.90, 6.0  # what of such wood may be missing, and what more for skin that
# hangs loose, over that of the body; by scans of gnarled wood (seeds 40000, 41000)
PER_SIDE = 2.4  # what of a stone may be missing, over that share; of what taught it 2.1 at most
ON_TABLE = 0.004  # [m] over the table: what lies lower may be table
MELTED = (
    "another thing may be melted into it; scan the stone alone, or give --longest and --across, "
    "which may tell them apart"
)
SMOOTH = (
    "its skin is smooth as by LiDAR, which rounds off edges by 3-5 mm; scan it with the camera, or "
    "weigh it"
)
PUSHED = "push it under in a bucket on a scale: --bucket-rise"
SMOOTH_LIMBS = f"its skin is smooth as by LiDAR, which swells or loses thin limbs; {PUSHED}"
PARTED = "a part of it was not seen; scan it again from all around"
BULGED = "bulged the side that was not seen"
DOUBLED = (
    "part of its skin was scanned twice, millimetres apart, and which is true is not known; scan "
    "it again in one go"
)
UNSEEN = "its underside was not seen; a second scan, turned over, or a scale would help"


@dataclass(frozen=True, eq=False)
class ClosedScan:
    """A scan as one closed body."""

    piece: Piece
    doubts: tuple[Doubt, ...]  # why its range is as wide as it is
    bare: Indices  # faces of the piece that were seen, without what was closed
    away: Floats | None = None  # (k, 3, 3) corners of what was cut away, beside the piece [m]
    sway: float = 0.0  # of the scan's noise over centimetres, as its table shows it [m]
    reach: float = 0.0  # greatest distance of the points that a skin was put around [m]
    other: NDArray[np.bool_] | None = None  # (m,) faces that may be of another thing
    shares: tuple[float, ...] = (1.0,)  # of the volume, of parts that may be different things
    coarse: tuple[Doubt, ...] = ()  # of a stone by the step of its skin, beside its lengths
    body: "OpenBody | None" = None  # before it was closed, until it is done

    @cached_property
    def caliper(self) -> Caliper:
        """Lay a caliper on what was seen of it; folds of a cloth cling to its foot."""
        vertices, ground = self.piece.vertices, None if self.body is None else self.body.ground
        found = measured(vertices, self.bare).reaching(self.reach).swaying(self.sway)
        if ground is None or ground.spread < ROUGH_TABLE:
            return found
        seen = vertices[corners_of(self.bare)]
        clear = seen[seen[:, 2] > FOLDS * ground.spread]
        return found.clearing(diameter(clear)[0] / diameter(seen)[0]) if len(clear) else found

    @cached_property
    def volume(self) -> Range:
        """Volume with what is not sure of it [m³]; holds the truth at 90 %."""
        return range_of(enclosed_volume(self.piece.vertices, self.piece.faces), self.doubts)

    @property
    def trust(self) -> str:
        """How far its volume can be trusted: "good", "fair" or "poor"."""
        return trust_in(self.volume, self.doubts)

    @property
    def doubt(self) -> Doubt:
        """What its trust hangs on."""
        return foremost(self.doubts)

    def doubted(self, *doubts: Doubt) -> "ClosedScan":
        """Add doubts."""
        return replace(self, doubts=(*self.doubts, *doubts))

    def times(self, factor: float, said: str) -> "ClosedScan":
        """Scale all its lengths."""
        changes = (*self.piece.changes, said)
        piece = replace(self.piece, vertices=self.piece.vertices * factor, changes=changes)
        away = None if self.away is None else self.away * factor
        reach, sway = self.reach * factor, self.sway * factor
        return replace(self, piece=piece, away=away, reach=reach, sway=sway)


@dataclass(frozen=True, slots=True, eq=False)
class OpenBody:
    """A body told from its surroundings, z up from the ground, holes of its skin filled."""

    vertices: Floats
    faces: Indices
    seen: Indices  # the faces without the filled holes
    rims: tuple[Rim, ...]  # open edges of what was not seen from above; none if it has no underside
    skirt: float  # volume with walls dropped from the rims to the ground [m³]
    area: float  # of the skin that was seen [m²]
    noise: float  # of its skin and its caps, at 90 % [m³]
    step: float  # from corner to corner of its skin [m]
    calm: float  # how far its calmest quarter leaves its neighbours [m]
    ground: Plane | None  # before the body was turned upright; None where none was seen
    changes: tuple[str, ...]
    filled: tuple[str, ...]  # what was said of its holes
    away: Floats  # (k, 3, 3) corners of what was cut away [m]
    side: Floats = field(default_factory=lambda: np.zeros(2))  # level way to what its open edges
    # leave unseen, as long as its area [m²]
    cut: bool = False  # whether another thing was cut off it, so that it bulges no more there
    ghost: float = 0.0  # volume between layers of its skin that lay over each other [m³]
    joined: bool = False  # whether these were joined by faces
    fused: bool = True  # whether its skin was made of depths, not put around points

    @property
    def under(self) -> float:
        """Volume under its rims [m³]."""
        return sum(rim.under for rim in self.rims)

    @property
    def unseen(self) -> float:
        """What its open edges leave unseen from one side, over the area of its skin."""
        return float(np.linalg.norm(self.side)) / self.area

    @property
    def sway(self) -> float:
        """Of its noise over centimetres, as the table shows it [m]; 0 where there is none."""
        if self.ground is None:
            return 0.0
        cut = max(3 * self.ground.spread, LEAST_CUT)
        return waves_of(self.away[(np.abs(self.away[:, :, 2]) < cut).all(axis=1)])


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
        problem = f"holds {len(found)} bodies; scan them one at a time, or weigh each with --all."
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
        scans = (_off_no_stand(scans[0], ruler),)
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
    return tuple(_said(scan, raw.changes, raw.warnings) for scan in done)


def _check_useful(path: Path, scan: ClosedScan) -> None:
    """Refuse a body whose range says next to nothing."""
    if scan.volume.half_width > MOST_UNSURE:
        told = max(scan.doubts, key=lambda d: (d.what == "side", d.below + d.above)).says
        body = scan.body
        if body and not any(d.what == "side" for d in scan.doubts) and body.unseen > HALF_SIDED:
            told += f"; {unseen_side(body.vertices, body.side)} was seen least, scan it from there"
        span = litres(scan.volume.low, scan.volume.high, joint=" to ")
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
        cure = "measure again"
        if two:
            cure = "another thing may be melted into it: scan the stone alone, or measure again"
        apart = f"disagree by {percent(disagree)} with what was measured"
        problem = f"its longest and its width across {apart}"
        raise ScanError(path, f"{problem}; {cure}.")
    total = before * factor
    unsure = disagree / 2 + found.noise
    why = MELTED if two else (*parted, PARTED)[0]
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
        return tuple(_said(scan, told) for scan in scans)
    return tuple(_unless_two(path, scan) for scan in scans)


def _unless_two(path: Path, scan: ClosedScan) -> ClosedScan:
    """Doubt that a body is one; what still looks like two when it is bulged is not bulged."""
    found, body = attached(scan), scan.body
    told = {"stand", "points", "torn", "table"} & {doubt.what for doubt in scan.doubts}
    bulged_it = any(said.startswith(BULGED) for said in scan.piece.changes)
    if found.other is None or body is None or told or not bulged_it:
        return found
    return attached(_finished(path, replace(body, cut=True)))


def _closed_each(path: Path, raw: RawScan, least: float, single: bool) -> tuple[ClosedScan, ...]:
    """Close each body of a scan."""
    if len(raw.faces) == 0:
        return _by_points(path, raw.vertices, least)
    if _is_torn(raw):
        says = "its surface is in pieces; it was taken for points"
        doubt = Doubt("torn", TORN, TORN, says, "fair")
        told = "the surface is torn into pieces, so its points were taken alone"
        scans = _by_points(path, _points_on(raw), least)
        return tuple(_said(scan.doubted(doubt), (told,)) for scan in scans)
    scans = _complete(path, raw)
    if len(scans) == 1:
        scans = (_off_its_slab(path, scans[0]),)
    if scans:
        return scans
    close = _finished if single else _off_its_stand
    return tuple(close(path, body) for body in opened_bodies(path, raw, least=least))


def _by_points(path: Path, points: Floats, least: float) -> tuple[ClosedScan, ...]:
    """Close what stands in a cloud of points."""
    found = cloud_surface(path, points)
    faces, _ = wound(found.vertices, found.faces)
    raw = RawScan(found.vertices, faces, "z", (), ())
    bodies = opened_bodies(path, raw, found.table, least)
    bodies = tuple(replace(body, fused=False) for body in bodies)
    scans = tuple(replace(_finished(path, body), reach=found.reach) for body in bodies)
    says = "a skin was put around its points, which rounds off tips and fills creases"
    doubt = Doubt("points", FILLED, ROUNDED, f"{says}; export a mesh", "fair")
    # Their own skin would tell how limbs were scanned.
    limbed = [scan.body is not None and _is_limbed(scan.body, scan.volume.mid) for scan in scans]
    doubts = [replace(doubt, trust="poor") if thin else doubt for thin in limbed]
    return tuple(
        _said(scan.doubted(d), (found.said,)) for scan, d in zip(scans, doubts, strict=True)
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


def _points_on(raw: RawScan) -> Floats:
    """Points spread evenly over a surface, (k, 3) [m]."""
    a, b, c = (raw.vertices[raw.faces[:, i]] for i in range(3))
    areas = face_areas(raw.vertices, raw.faces)
    rng = np.random.default_rng(9)
    pick = rng.choice(len(areas), TORN_POINTS, p=areas / areas.sum())
    u, v = rng.uniform(size=(2, TORN_POINTS, 1))
    u, v = np.where(u + v > 1, 1 - u, u), np.where(u + v > 1, 1 - v, v)
    points: Floats = a[pick] + u * (b - a)[pick] + v * (c - a)[pick]
    return points


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
    return _said(found, scan.piece.changes).doubted(doubt)


def _off_its_stand(path: Path, body: OpenBody) -> ClosedScan:
    """Close a body, and cut it off a stand that it melted into."""
    scan = _finished(path, body)
    stand = sure = None
    if body.ground is not None:
        rims = [body.vertices[rim.edges[:, 0], 2] for rim in body.rims]
        foot = float(np.quantile(np.concatenate(rims), RIMMED)) if rims else 0.0
        closed = scan.piece.vertices, scan.piece.faces
        sure = stand_below(*closed)
        stand = sure or stand_below(*closed, foot)
    if stand is None:
        return scan
    cut = stand.height + LEAST_CUT
    over = np.all(body.vertices[body.seen][:, :, 2] > cut, axis=1)
    above = _cut_off(body, np.asarray(over), stand.height)
    if above is None:
        return scan
    found = _finished(path, above)
    took = scan.volume.mid / found.volume.mid - 1
    if took > MOST_STAND or sure is None:  # even sections of a stone look alike
        says = f"its lower {stand.height * 1e2:.0f} cm may be a stand; see --picture"
        other = scan.piece.vertices[scan.piece.faces][:, :, 2].mean(axis=1) < stand.height
        doubt = Doubt("stand", took / (1 + took), 0.05, says, trust="poor")
        return replace(scan, other=other).doubted(doubt)
    says = (
        f"what looks like a stand of {stand.height * 1e2:.0f} cm was cut away below it; "
        "stand the stone on a flat table, or see --picture"
    )
    return found.doubted(Doubt("stand", 0.08, 0.08 if stand.straight else took, says, trust="poor"))


def _cut_off(body: OpenBody, kept: NDArray[np.bool_], down: float = 0.0) -> OpenBody | None:
    """Take the largest body among seen faces that are kept, let down by a height [m]."""
    bodies, _ = split_bodies(body.vertices, body.seen[kept])
    if not bodies:
        return None
    lowered = body.vertices - [0.0, 0.0, down]
    away = np.concatenate([body.away - [0.0, 0.0, down], lowered[body.seen[~kept]]])
    rest = _open_body(*compacted(lowered, bodies[0]), body.ground, body.changes, away)
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


def _off_no_stand(scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Rule out that the lower part of a body is a stand, if only all of it is as long as measured.

    Where another thing may be at it too, which part is long is not told.
    """
    what = {doubt.what for doubt in scan.doubts}
    if ruler.longest is None or scan.other is None or "stand" not in what or "attached" in what:
        return scan
    above = corners_of(scan.bare[~scan.other[: len(scan.bare)]])
    short = len(above) == 0 or diameter(scan.piece.vertices[above])[0] * (1 + FITS) < ruler.longest
    if not (short and _fits(scan, ruler, FITS)):
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
        found = None if part is None else _finished(path, part)
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


def _said(scan: ClosedScan, changes: tuple[str, ...], warnings: tuple[str, ...] = ()) -> ClosedScan:
    """Put what was said before to the front."""
    piece = scan.piece
    told = replace(piece, changes=(*changes, *piece.changes), warnings=(*warnings, *piece.warnings))
    return replace(scan, piece=told)


def _of_own_size(path: Path, scan: ClosedScan, ruler: Ruler) -> ClosedScan:
    """Take the file's own lengths for a body, and doubt them."""
    size = float(scan.piece.size.max())
    if size > LARGEST_WOOD:
        raise ScanError(path, f"is {size:.1f} m long, more than a tank holds; give --unit.")
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
    doubled = _doubled(vertices, faces, volume)
    return ClosedScan(piece, (doubt, *_whole_limbs(vertices, faces, volume), *doubled), faces)


def _whole_limbs(vertices: Floats, faces: Indices, volume: float) -> tuple[Doubt, ...]:
    """Doubt how thick the limbs of a complete scan are, less where its faces are finer."""
    skin = float(face_areas(vertices, faces).sum()) / volume
    if len(faces) < DRAWN or skin * longest_side(vertices) < LIMBED:
        return ()
    step = _step_of(vertices, faces)
    per_radius = min(1.0, step / LIDAR_STEP) * skin / 2
    below, above = _by_radius(BY_PICTURES - EDGES, BY_PICTURES + EDGES, per_radius)
    says = f"its faces of {step * 1e3:.1f} mm are coarse for limbs; scan it from nearer"
    return (Doubt("resolution", below, above, says, "fair"),)


def opened_bodies(
    path: Path, raw: RawScan, table: Plane | None = None, least: float = SECOND_BODY
) -> tuple[OpenBody, ...]:
    """Tell the bodies of an open scan from table, walls and floaters; fill their holes.

    Raises
    ------
    ScanError
        If nothing but flat surfaces is in it.
    """
    vertices, faces = raw.vertices, raw.faces
    changes: list[str] = []
    plain = without_crowded(faces)
    crowded, ghost, between = len(plain) < len(faces), None, 0.0
    if least == SECOND_BODY:
        ghost, between = ghosts_in(vertices, faces, crowded)
    if ghost is not None and between:
        faces = faces[~ghost]
        plain = without_crowded(faces) if crowded else faces
        changes.append(f"removed {ghost.sum()} faces of a second layer over the skin")
    if len(plain) < len(faces):
        faces = plain
        changes.append("removed faces where three or more meet at one edge")
    vertices, bodies, ground, said = bodies_on_ground(vertices, faces, table, least)
    if not bodies:
        raise ScanError(path, "shows a flat surface and nothing that stands on it.")
    told = (*changes, *said)
    away = vertices[_others(faces, bodies)]
    found = (_open_body(*compacted(vertices, b), ground, told, away) for b in bodies)
    return tuple(replace(body, ghost=between, joined=crowded) for body in found)


def _others(faces: Indices, bodies: list[Indices]) -> Indices:
    """Faces that belong to no body; no two of one winding share a directed edge."""
    return faces[~listed(faces, np.concatenate(bodies), int(faces.max()) + 1)]


def _open_body(
    vertices: Floats, faces: Indices, ground: Plane | None, changes: tuple[str, ...], away: Floats
) -> OpenBody:
    """Fill the holes in the skin of one body and measure its rims."""
    on_table = ground is not None
    parts = boundary_parts(faces, len(vertices))
    rims, holes = rims_and_holes(vertices, parts, on_table)
    if rims and not on_table:
        count = len(vertices)
        stood = stood_on_rim(np.concatenate([vertices, away.reshape(-1, 3)]), rims[0], count)
        vertices, away = stood[:count], stood[count:].reshape(-1, 3, 3)
        changes = (*changes, "no table in the scan: its widest rim is taken to lie on the ground")
    if skirt_volume(vertices, faces) < 0:
        faces, parts = faces[:, ::-1], [edges[:, ::-1] for edges in parts]
    if rims or on_table:
        rims, holes = rims_and_holes(vertices, parts, on_table=True)
    seen = faces
    vertices, faces, caps = filled(vertices, faces, holes)
    told = (f"filled {len(holes)} hole(s), {caps * 1e4:.1f} cm² in all",) if holes else ()
    reach = [float(np.ptp(vertices[np.unique(edges)], axis=0).max()) for edges in holes]
    noise = CAP_SPREAD * sum(r**3 for r in reach)
    noise += SKIN_NOISE * float(face_areas(vertices, faces).sum())
    measured = tuple(measure_rim(vertices, faces, edges) for edges in rims)
    skirt = skirt_volume(vertices, faces)
    side: Floats = sum((fan(vertices, edges)[0] for edges in parts), np.zeros(3))[:2]
    bumps, step, calm = _texture(vertices, seen)
    area = float(face_areas(vertices, seen).sum())
    if len(seen) < FINE:
        noise = float(np.hypot(noise, BUMPED * bumps * area))
    return OpenBody(
        vertices, faces, seen, measured, skirt, area, noise, step, calm, ground, changes, told,
        away, side,
    )  # fmt: skip


def _texture(vertices: Floats, faces: Indices) -> tuple[float, float, float]:
    """Noise and step of a skin, and how far its calmest quarter leaves its neighbours [m].

    Of a very fine skin a strip across its middle tells them.
    """
    if len(faces) > FINE:
        along = vertices[faces[:, 0], 0]
        half = FINE / len(faces) / 2
        low, high = np.quantile(along, [0.5 - half, 0.5 + half])
        faces = faces[(along >= low) & (along <= high)]
    bumps, calm = skin_noise(vertices, faces)
    return bumps, _step_of(vertices, faces), calm


def _step_of(vertices: Floats, faces: Indices) -> float:
    """Median distance from corner to corner of a skin [m]."""
    return float(np.median(np.linalg.norm(vertices[faces[:, 1]] - vertices[faces[:, 0]], axis=1)))


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


def _finished(path: Path, body: OpenBody) -> ClosedScan:
    """Close a body below and say how sure its volume is."""
    vertices, faces = body.vertices, body.faces
    if not body.rims:
        return _guarded(path, body, vertices, faces, ())
    under, flat = body.under, body.skirt - body.under
    if flat < LEAST_SEEN * body.skirt:
        problem = "is an open sheet, not a body; scan it from all sides, or measure limbs: --limb."
        raise ScanError(path, problem)
    volume, solid = body.skirt, solidity(body.vertices, body.faces, body.rims)
    for rim in body.rims:
        share = share_under(rim, solid)
        vertices, faces = close_below(vertices, faces, rim, share)
        volume -= (1 - share) * rim.under
    guess = max(FOOT * under, SMALL_FOOT * max(under * volume, 0.0) ** 0.5)
    taken = (
        f"{percent((volume - flat) / under)} of the space under its rim" if under > 0 else "nothing"
    )
    said = (
        f"closed the unseen underside: {taken} "
        f"is taken for the body (between {litres(flat, body.skirt)})"
    )
    limbed = _is_limbed(body, volume)
    body = replace(body, filled=(*body.filled, said))
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
    doubts += [_unseen_side(b, volume) for r in body.rims if (b := breach_of(vertices, r.edges))]
    if not limbed and body.calm < min(CALM, CALM_STEP * body.step**2):
        skin = body.area / volume
        doubts.append(Doubt("smoothing", min(0.8, SWOLLEN * skin), SHRUNK * skin, SMOOTH, "poor"))
    return _guarded(path, body, vertices, faces, tuple(doubts))


def _unseen_side(breach: Breach, volume: float) -> Doubt:
    """Doubt a body of which a side is missing."""
    says = (
        f"a side about {breach.width * 1e2:.0f} cm wide and {breach.height * 1e2:.0f} cm high was "
        "not seen; scan it again from there, see --picture"
    )
    return Doubt("side", 0.02, max(0.05, breach.volume / volume), says, trust="poor")


def _one_sided(body: OpenBody, volume: float) -> Doubt | None:
    """Doubt a body that was not seen from one side: its flank, or limbs there and loose ones."""
    limbed, unseen = _is_limbed(body, volume), body.unseen
    if unseen < (ONE_SIDED if limbed else ONE_FLANK):
        return None
    says = f"{unseen_side(body.vertices, body.side)} was not seen"
    if not limbed:
        says = f"{says}; scan it again from there, see --picture"
        return Doubt("side", 0.02, PER_SIDE * unseen, says, "poor")
    low, high = body.vertices.min(axis=0), body.vertices.max(axis=0)
    size = float((high - low).max())
    near = (body.away > low - [size / 5, size / 5, 0]) & (body.away < high + size / 5)
    loose = body.away[(near & (body.away[:, :, 2:] > ON_TABLE)).all(axis=(1, 2))]
    a, b, c = loose.transpose(1, 0, 2)
    share = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2 / body.area
    says = f"{says}, and limbs may be missing there; scan it again from there, see --picture"
    return Doubt("side", 0.02, UNSEEN_LIMBS + PER_LOOSE * share, says, "poor")


def _is_limbed(body: OpenBody, volume: float) -> bool:
    """Tell whether a body has so much skin for its volume as wood has."""
    size = longest_side(body.vertices)
    return body.area * size > LIMBED * volume


def _coarse(body: OpenBody, volume: float) -> Doubt:
    """Doubt a stone by the step of its skin: depths that are fused on a grid of that step err."""
    fused = body.step * body.area / volume
    off, trust = ROUNDS * fused**2, "poor" if fused > TOO_COARSE else "fair"
    filled_in = max(off, PITTED * body.step)  # one fault: what curves within some steps is lost
    says = f"its faces of {body.step * 1e3:.1f} mm are coarse; scan it from nearer"
    return Doubt("resolution", filled_in, off, says, trust)


def _doubled(
    vertices: Floats, faces: Indices, volume: float, removed: float = 0.0, *, joined: bool = True
) -> tuple[Doubt, ...]:
    """Doubt a skin of which a second layer was removed [m³], or is joined to it still."""
    left = layers_in(vertices, faces)
    off = (removed + left) / volume
    word = "poor" if joined or left else "fair"
    return (Doubt("ghost", off, off, DOUBLED, word),) if off else ()


def _righted(body: OpenBody, vertices: Floats, faces: Indices, volume: float) -> Floats:
    """Push the skin of limbs out by what faces and fusion take off, in by what smoothing adds."""
    skin, made = body.area / volume, _made(body, volume)
    # Of faces that are coarser than twice those of a LiDAR nothing is known.
    edges = EDGES * min(1.0, max(0.0, 2 - body.step / LIDAR_STEP))
    edges = LOST_TO_NOISE if made == "noisy" else edges
    out = -SWOLLEN_BY if made == "smooth" else edges + CHORDS * body.step**2 * skin
    most = MOST_RIGHTED / skin
    return vertices + min(max(out, -most), most) * corner_normals(vertices, faces)


def _made(body: OpenBody, volume: float) -> str:
    """Tell how limbs were scanned: "calm" as by pictures, "smooth", "noisy", or "untold".

    Smoothing shows in the calmest quarter of a skin, the noise of depths in the table, which is
    known to be flat.
    """
    if not body.fused:  # the skin around points is their own work
        return "untold"
    if body.calm < (CALM_LIMBS + BENT * body.area / volume) * body.step**2:
        return "smooth"
    fine, spread = body.step <= LIDAR_STEP, 0.0 if body.ground is None else body.ground.spread
    if spread > NOISY_TABLE:
        return "noisy" if not fine and spread < NOISIEST else "untold"
    return "calm" if fine or (0 < spread < CALM_TABLE and body.step < COARSEST_LIMBS) else "untold"


def _limbs_doubt(body: OpenBody, volume: float, made: str) -> Doubt:
    """Doubt how thick limbs are: by so much that their skin may lie out or in."""
    out, within = {
        "calm": (BY_PICTURES, BY_PICTURES),
        "smooth": (SWOLLEN_LIMBS - SWOLLEN_BY, LOST_LIMBS - SWOLLEN_BY),
        "noisy": (SWOLLEN_LIMBS, LOST_LIMBS - LOST_TO_NOISE + EDGES),
        "untold": (SWOLLEN_LIMBS, LOST_LIMBS),
    }[made]
    below, above = _by_radius(out, within, body.area / volume / 2)  # of round limbs
    faces = f"its faces of {body.step * 1e3:.1f} mm are"
    if made == "calm":
        says = f"{faces} coarse for limbs; scan it from nearer"
        word = "fair" if body.step <= LIDAR_STEP else "poor"
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


def _guarded(
    path: Path, body: OpenBody, vertices: Floats, faces: Indices, doubts: tuple[Doubt, ...]
) -> ClosedScan:
    """Add the doubts of a skin; widen them where a count of inner points contradicts."""
    volume = enclosed_volume(vertices, faces)
    if volume < 0:
        faces, volume = faces[:, ::-1], -volume
    if not is_closed(faces, len(vertices)) or volume <= 0:
        raise ScanError(path, "crosses itself so that it encloses no volume; scan it again.")
    side = _one_sided(body, volume)
    if side is not None and not body.cut and not _is_limbed(body, volume):
        least, most = volume, (1 + side.above) * volume
        vertices, faces = bulged(vertices, faces, len(body.seen), (most - least) / 2)
        volume = enclosed_volume(vertices, faces)
        said = f"{BULGED}, by {litres(volume - least)}"
        body = replace(body, filled=(*body.filled, said))
        side = replace(side, below=1 - least / volume, above=most / volume - 1)
        doubts = tuple(d for d in doubts if d.what != "side")
    if side is not None and all(d.what != "side" or d.above < side.above for d in doubts):
        doubts = (*(d for d in doubts if d.what != "side"), side)
    coarse: tuple[Doubt, ...] = ()
    if not _is_limbed(body, volume):
        coarse = (_coarse(body, volume),)
    else:
        made = _made(body, volume)
        if body.fused:
            vertices = _righted(body, vertices, faces, volume)
            volume, before = enclosed_volume(vertices, faces), volume
            more = percent(abs(volume / before - 1))
            said = f"made thin parts thicker, by {more}, as scans make them too thin"
            if made == "smooth":
                said = f"made thin parts thinner, by {more}, as smoothing makes them too thick"
            body = replace(body, filled=(*body.filled, said))
        doubts = (*doubts, _limbs_doubt(body, volume, made))
    share = float(np.hypot(SKIN_SPREAD if body.rims else CLOSED_NOISE, body.noise / volume))
    says = "its skin is rough or has holes" if body.rims else "complete but for small holes"
    doubts = (*doubts, Doubt("noise", share, share, says))
    found = range_of(volume, doubts)
    second = occupied_volume(vertices, faces, slice(len(body.seen), len(body.faces)), volume)
    warnings: tuple[str, ...] = ()
    off = abs(second / volume - 1)
    if off > max(GUARD, found.half_width):
        says = "a second estimate, by counting points inside, contradicts the first"
        doubts = (*doubts, Doubt("crossing", off, off, says))
        warnings = (
            f"a second estimate, by counting points inside, gives {litres(second)}; "
            "the range was widened. Look for parts that cross or large gaps.",
        )
    doubts = (*doubts, *_doubled(vertices, body.seen, volume, body.ghost, joined=body.joined))
    changes = (*body.changes, *body.filled)
    piece = Piece(vertices, faces, path.stem, source=str(path), changes=changes, warnings=warnings)
    bare = faces[: len(body.seen)]
    return ClosedScan(piece, doubts, bare, body.away, body.sway, coarse=coarse, body=body)
