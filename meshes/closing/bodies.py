"""Bodies of a scan, told from their surroundings, before and after they are closed."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from plumbstone.meshes.closing import underside
from plumbstone.meshes.closing.underside import Rim
from plumbstone.meshes.faces import corners_of, listed
from plumbstone.meshes.measures import calipers, isolating
from plumbstone.meshes.measures.calipers import Caliper, diameter
from plumbstone.meshes.measures.doubts import Doubt, foremost, range_of, trust_in
from plumbstone.meshes.measures.faults import enclosed_volume, face_areas
from plumbstone.meshes.measures.isolating import SECOND_BODY, Plane
from plumbstone.meshes.mending.welding import compacted, welded, without_crowded
from plumbstone.meshes.piece import Flags, Floats, Indices, Piece, longest_side
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.reading.scans import RawScan

SKIN_NOISE = 0.0003  # how far the skin may lie off as a whole, at 90 % [m]; rock by photos of
# phones lies off by less than 0.08 mm (Sensors 2021, 21(3), 922), here four times that
BUMPED, FINE = 0.35, 200_000  # of the noise from corner to corner that may be off as a whole, at
# 90 %; meshes with more faces average it out
BUMPY, CALMED = 0.0008, 0.12  # noise from corner to corner [m] from which on a skin is rough (1.1
# mm and more, where 0.2 to 0.5 is usual), and how far it is smoothed, as a share of its length
CAP_SPREAD = 0.15  # of the width of a disc as large: how far a hole's cap may lie off; from memory
ROUGH_TABLE = 0.0008  # standard deviation of a table's points from their plane [m]
FOLDS = 5.0  # of that deviation: so high over a cloth its folds may still cling to a foot
MOUTH, FACES_OUT = 0.02, 0.1  # share of the skin that an opening into a hollow leaves, and how far
# the skin around it looks the same way: of hollow logs -0.2 to 0, of holes in a skin 0.1 to 0.8
WAVY_STEP, LEAST_WAVES, WAVED = 0.003, 0.0002, 1.35  # step of a skin, waves of its table [m], and
# these over its noise from corner to corner, from which on a LiDAR made it: 46 by a simulated one
# have 1.1 to 17, 43 of them 1.5 and more, 146 by pictures 1.2 at most but one (from seed 56000 on)
NOISIEST = 1.2e-3  # spread of a table [m] as a LiDAR leaves it at most (1.12); folds are more
LIMBED = 15.0  # skin times length over the volume: of stones 6 to 12, of wood 16 and more


@dataclass(frozen=True, eq=False)
class ClosedScan:
    """A scan as one closed body."""

    piece: Piece
    doubts: tuple[Doubt, ...]  # why its range is as wide as it is
    bare: Indices  # faces of the piece that were seen, without what was closed
    away: Floats | None = None  # (k, 3, 3) corners of what was cut away, beside the piece [m]
    waviness: float = 0.0  # of the scan's noise over centimetres, as its table shows it [m]
    reach: float = 0.0  # greatest distance of the points that a skin was put around [m]
    other: Flags | None = None  # (m,) faces that may be of another thing
    stand: float = 0.0  # height of what may be a stand below it [m]
    shares: tuple[float, ...] = (1.0,)  # of the volume, of parts that may be different things
    coarse: tuple[Doubt, ...] = ()  # of a stone by the step of its skin, beside its lengths
    cut: Plane | None = None  # that an app closed it in, below all else
    body: "OpenBody | None" = None  # before it was closed, until it is done

    @cached_property
    def caliper(self) -> Caliper:
        """Lay a caliper on what was seen of it; folds of a cloth cling to its foot."""
        vertices, ground = self.piece.vertices, None if self.body is None else self.body.ground
        found = calipers.measured(vertices, self.bare).reaching(self.reach).waved(self.waviness)
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

    def telling(self, says: str, instead: str) -> "ClosedScan":
        """Say something else in all its doubts."""
        doubts = (replace(d, says=d.says.replace(says, instead)) for d in self.doubts)
        return replace(self, doubts=tuple(doubts))

    def times(self, factor: float, said: str) -> "ClosedScan":
        """Scale all its lengths."""
        changes = (*self.piece.changes, said)
        piece = replace(self.piece, vertices=self.piece.vertices * factor, changes=changes)
        away = None if self.away is None else self.away * factor
        reach, waviness = self.reach * factor, self.waviness * factor
        return replace(self, piece=piece, away=away, reach=reach, waviness=waviness)


@dataclass(frozen=True, slots=True, eq=False)
class OpenBody:
    """A body told from its surroundings, z up from the ground, holes of its skin filled."""

    vertices: Floats
    smooth: Floats  # the same without the noise of a rough skin, whose spikes add to skin and hull
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
    mouth: float = 0.0  # widest opening that leads into it, the unseen foot aside [m²]
    ghost: float = 0.0  # volume between layers of its skin that lay over each other [m³]
    joined: bool = False  # whether these were joined by faces
    fused: bool = True  # whether its skin was made of depths, not put around points
    pictured: bool | None = None  # whether such points are of pictures, if their table tells

    @property
    def under(self) -> float:
        """Volume under its rims [m³]."""
        return sum(rim.under for rim in self.rims)

    @property
    def unseen(self) -> float:
        """What its open edges leave unseen from one side, over the area of its skin."""
        return float(np.linalg.norm(self.side)) / self.area

    @property
    def table(self) -> Floats:
        """Corners of the table around it, (k, 3, 3) [m]."""
        cut = 0.0 if self.ground is None else max(3 * self.ground.spread, isolating.LEAST_CUT)
        return self.away[(np.abs(self.away[:, :, 2]) < cut).all(axis=1)]

    @property
    def waviness(self) -> float:
        """Of its noise over centimetres, as the table shows it [m]; 0 where there is none."""
        return isolating.waves_of(self.table)

    @property
    def waved(self) -> bool:
        """Whether its table waves as depths of a LiDAR do; noise of pictures goes by corners."""
        ground = self.ground
        if ground is None or not self.fused or self.step < WAVY_STEP:
            return False
        if (waviness := self.waviness) < LEAST_WAVES:
            return False
        corners = self.table.reshape(-1, 3)
        skin = welded(corners, np.arange(len(corners)).reshape(-1, 3))
        return ground.spread < NOISIEST and waviness > WAVED * calipers.skin_noise(*skin)[0]


def saying(
    scan: ClosedScan, changes: tuple[str, ...], warnings: tuple[str, ...] = ()
) -> ClosedScan:
    """Put what was said before to the front."""
    piece = scan.piece
    told = replace(piece, changes=(*changes, *piece.changes), warnings=(*warnings, *piece.warnings))
    return replace(scan, piece=told)


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
        ghost, between = isolating.ghosts_in(vertices, faces, crowded)
    if ghost is not None and between:
        faces = faces[~ghost]
        plain = without_crowded(faces) if crowded else faces
        changes.append(f"removed {ghost.sum()} faces of a second layer over the skin")
    if len(plain) < len(faces):
        faces = plain
        changes.append("removed faces where three or more meet at one edge")
    vertices, bodies, ground, said = isolating.bodies_on_ground(vertices, faces, table, least)
    if not bodies:
        raise ScanError(path, "shows a flat surface and nothing that stands on it.")
    corners = [vertices[corners_of(body)] for body in bodies]
    around = [any(isolating.is_around(own, b) for b in corners if b is not own) for own in corners]
    if any(around):
        bodies = [body for body, rim in zip(bodies, around, strict=True) if not rim]
        said = (*said, "left out what runs around it, as the rim of a tray does")
    told = (*changes, *said)
    own = listed(faces, np.concatenate(bodies), int(faces.max()) + 1)
    away = vertices[faces[~own]]
    found = (open_body(*compacted(vertices, b), ground, told, away) for b in bodies)
    return tuple(replace(body, ghost=between, joined=crowded) for body in found)


def open_body(
    vertices: Floats, faces: Indices, ground: Plane | None, changes: tuple[str, ...], away: Floats
) -> OpenBody:
    """Fill the holes in the skin of one body and measure its rims."""
    on_table = ground is not None
    parts = underside.boundary_parts(faces, len(vertices))
    rims, holes = underside.rims_and_holes(vertices, parts, on_table)
    if rims and not on_table:
        count = len(vertices)
        both = np.concatenate([vertices, away.reshape(-1, 3)])
        stood = underside.stood_on_rim(both, rims[0], count)
        vertices, away = stood[:count], stood[count:].reshape(-1, 3, 3)
        changes = (*changes, "no table in the scan: its widest rim is taken to lie on the ground")
    if underside.skirt_volume(vertices, faces) < 0:
        faces, parts = faces[:, ::-1], [edges[:, ::-1] for edges in parts]
    if rims or on_table:
        rims, holes = underside.rims_and_holes(vertices, parts, on_table=True)
    seen = faces
    vertices, faces, caps = underside.filled(vertices, faces, holes)
    told = (f"filled {len(holes)} hole(s), <{caps.sum() * 1e4:.1f} cm²> in all",) if holes else ()
    measured = tuple(underside.measure_rim(vertices, edges) for edges in rims)
    skirt = underside.skirt_volume(vertices, faces)
    ways = [underside.fan(vertices, edges)[0] for edges in parts]
    side: Floats = sum(ways, np.zeros(3))[:2]
    bumps, step, calm = _texture(vertices, seen)
    rough = bumps > BUMPY and len(seen) < FINE
    smooth = calipers.smoothed(vertices, seen, CALMED)[0] if rough else vertices
    area = float(face_areas(smooth, seen).sum())
    if has_limbs(area, vertices, skirt):  # holes wind along limbs
        caps = np.array([np.linalg.norm(underside.fan(vertices, edges)[0]) for edges in holes])
    noise = CAP_SPREAD * float(((caps * 4 / np.pi) ** 1.5).sum())
    noise += SKIN_NOISE * float(face_areas(vertices, faces).sum())
    if len(seen) < FINE:
        noise = float(np.hypot(noise, BUMPED * bumps * area))
    foot = rims[0] if rims else None
    openings = [(way, part) for way, part in zip(ways, parts, strict=True) if part is not foot]
    mouth = _mouth(vertices, seen, openings, MOUTH * area)
    return OpenBody(
        vertices, smooth, faces, seen, measured, skirt, area, noise, step, calm, ground, changes,
        told, away, side, mouth=mouth,
    )  # fmt: skip


def _mouth(
    vertices: Floats, seen: Indices, openings: list[tuple[Floats, Indices]], least: float
) -> float:
    """Area of the widest opening around which the skin looks aside, of those over `least` [m²].

    Each opening has its vector area and its edges. Around what was missed in a skin it looks the
    same way as the hole; around the end of a hollow log it does not.
    """
    wide = [(float(np.linalg.norm(way)), way, edges) for way, edges in openings]
    wide = [opening for opening in wide if opening[0] > least]
    if not wide:
        return 0.0
    normals = calipers.corner_normals(vertices, seen)
    ways = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    return max((a for a, way, e in wide if (ways[e[:, 0]] @ way).mean() < FACES_OUT * a), default=0)


def _texture(vertices: Floats, faces: Indices) -> tuple[float, float, float]:
    """Noise and step of a skin, and how far its calmest quarter leaves its neighbours [m].

    Of a very fine skin a strip across its middle tells them.
    """
    if len(faces) > FINE:
        along = vertices[faces[:, 0], 0]
        half = FINE / len(faces) / 2
        low, high = np.quantile(along, [0.5 - half, 0.5 + half])
        faces = faces[(along >= low) & (along <= high)]
    bumps, calm = calipers.skin_noise(vertices, faces)
    return bumps, step_of(vertices, faces), calm


def step_of(vertices: Floats, faces: Indices) -> float:
    """Median distance from corner to corner of a skin [m]."""
    return float(np.median(np.linalg.norm(vertices[faces[:, 1]] - vertices[faces[:, 0]], axis=1)))


def is_limbed(body: OpenBody, volume: float) -> bool:
    """Tell whether a body has so much skin for its volume [m³] as wood has."""
    return has_limbs(body.area, body.vertices, volume)


def has_limbs(area: float, vertices: Floats, volume: float) -> bool:
    """Tell whether a skin [m²] is so large for its length and volume [m³] as that of wood."""
    return area * longest_side(vertices) > LIMBED * volume
