"""From a scan as a phone gives it to one closed body with an honest range of its volume."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.clouds import cloud_surface
from plumbstone.meshes.faults import crowded_edges, enclosed_volume, face_areas, is_closed
from plumbstone.meshes.isolating import Plane, bodies_above, find_table, split_bodies, upright
from plumbstone.meshes.mending import compacted, outer_shell, without_crowded, wound
from plumbstone.meshes.piece import Floats, Indices, Piece
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.reading import LARGEST_WOOD, RawScan, ScanError, read_raw
from plumbstone.meshes.underside import (
    boundary_parts,
    close_below,
    filled,
    measure_rim,
    part_size,
)

# Share of the volume under the rim that belongs to the body, less its fall with that volume.
# Learned by tests/learn_underside.py on 19 stones in 114 poses; last the spread of single poses.
SHARE, SHARE_FALL, SHARE_SPREAD = 0.69, 0.39, 0.10
CLOSED_SPREAD = 0.03  # scale and noise of a complete scan, share at 90 %; from memory
SKIN_SPREAD = 0.02  # the same of a scan with its table in it; from memory
SKIN_NOISE = 0.0005  # how far the skin may lie off as a whole, at 90 % [m]; from memory
CAP_SPREAD = 0.15  # of a hole's size: how far its cap may lie off; from memory
Z90 = 1.645  # standard deviations to either side that hold 90 %
LEAST_CUT = 0.0015  # height above the table that is taken for table [m]
FLATTEST = 0.10  # height over width of a body; flatter ones are sheets
LEAST_SEEN = 0.25  # share of the volume above the rim; with less, too much would be guessed
WIDE_OPENING = 0.5  # rim length over that of the body's outline from above


@dataclass(frozen=True, slots=True, eq=False)
class ClosedScan:
    """A scan as one closed body."""

    piece: Piece
    volume: Range  # [m³]
    reason: str  # why its range is as wide as it is


def closed_scan(path: Path, unit: str | None = None, longest: float | None = None) -> ClosedScan:
    """Read a scan, tell the body from its surroundings and close it.

    Parameters
    ----------
    path : Path
        Mesh or point cloud.
    unit : str, optional
        Of its coordinates.
    longest : float, optional
        Known longest side of the body [m]; rescales it.

    Returns
    -------
    ClosedScan
        In metres, z up where the scan tells it; the volume's range holds the truth at 90 %.

    Raises
    ------
    ScanError
        If it cannot be read, holds no body or several, or its volume cannot be told.
    """
    raw = read_raw(path, unit)
    changes = list(raw.changes)
    if len(raw.faces) == 0:
        raw = _with_surface(path, raw, changes)
    scan = _complete(path, raw) or _opened(path, raw)
    piece = replace(scan.piece, changes=(*changes, *scan.piece.changes), warnings=raw.warnings)
    scan = replace(scan, piece=piece)
    if longest is not None:
        scan = _rescaled(scan, longest)
    size = float(piece.size.max())
    if size > LARGEST_WOOD and longest is None:
        raise ScanError(path, f"is {size:.1f} m long, more than a tank holds; give --unit.")
    return scan


def _with_surface(path: Path, raw: RawScan, changes: list[str]) -> RawScan:
    """Put a surface around a point cloud."""
    vertices, faces, said = cloud_surface(path, raw.vertices)
    changes.append(said)
    return replace(raw, vertices=vertices, faces=faces)


def _complete(path: Path, raw: RawScan) -> ClosedScan | None:
    """Take a scan whose outer shell is closed as it is; None for any other."""
    faces, changes = raw.faces, []
    if not is_closed(faces, len(raw.vertices)):
        faces, turned = wound(raw.vertices, faces)
        if turned:
            changes.append(f"turned {turned} faces so that all look outward")
    faces, removed, others = outer_shell(raw.vertices, faces)
    vertices, faces = compacted(raw.vertices, faces)
    if not is_closed(faces, len(vertices)):
        return None
    if others:
        raise ScanError(path, f"holds {len(others) + 1} bodies; scan them one at a time.")
    volume = enclosed_volume(vertices, faces)
    if volume < 0:
        faces, volume = faces[:, ::-1], -volume
        changes.append("turned the whole surface outward")
    if volume <= 1e-9 * float(np.ptp(vertices, axis=0).max()) ** 3:
        raise ScanError(path, "encloses no volume; scan it again.")
    piece = Piece(vertices, faces, path.stem, source=str(path), changes=(*changes, *removed))
    return ClosedScan(piece, _around(volume, CLOSED_SPREAD), "complete; scale and noise remain")


def _opened(path: Path, raw: RawScan) -> ClosedScan:
    """Close a scan that is open below, with or without its table."""
    vertices, faces = raw.vertices, wound(raw.vertices, raw.faces)[0]
    changes: list[str] = []
    if crowded_edges(faces):
        faces = without_crowded(faces)
        changes.append("removed faces where three or more meet at one edge")
    table = find_table(vertices, faces)
    if table is not None:
        vertices = upright(vertices, table)
        cut = max(3 * table.spread, LEAST_CUT)
        level = Plane(np.array([0.0, 0.0, 1.0]), 0.0, table.spread)
        bodies, floaters = bodies_above(vertices, faces, level, cut)
        changes.append(f"cut away the table and all below {cut * 1e3:.1f} mm over it")
    else:
        bodies, floaters = split_bodies(vertices, faces)
    if not bodies:
        raise ScanError(path, "shows a flat surface and nothing that stands on it.")
    if len(bodies) > 1:
        raise ScanError(path, f"holds {len(bodies)} bodies; scan them one at a time.")
    if floaters:
        changes.append(f"removed {floaters} floating bit(s)")
    vertices, faces = compacted(vertices, bodies[0])
    return _closed(path, vertices, faces, table is not None, changes)


def _closed(
    path: Path, vertices: Floats, faces: Indices, on_table: bool, changes: list[str]
) -> ClosedScan:
    """Fill the holes of one body and close its underside."""
    parts = boundary_parts(faces, len(vertices))
    rim = _rim_of(vertices, parts, on_table)
    holes = [edges for edges in parts if edges is not rim]
    vertices, faces, caps = filled(vertices, faces, holes)
    if holes:
        changes.append(f"filled {len(holes)} hole(s), {caps * 1e4:.1f} cm² in all")
    noise = _cap_volume(vertices, holes) * CAP_SPREAD
    noise += SKIN_NOISE * float(face_areas(vertices, faces).sum())
    if rim is None:
        return _whole(path, vertices, faces, noise, changes)
    if not on_table:
        vertices = _stood_on_rim(vertices, rim)
        changes.append("no table in the scan: its lowest rim is taken to stand on the ground")
    found = measure_rim(vertices, faces, rim)
    if found.skirt < 0:
        faces, rim = faces[:, ::-1], rim[:, ::-1]
        found = measure_rim(vertices, faces, rim)
    height, width = float(vertices[:, 2].max()), float(np.ptp(vertices[:, :2], axis=0).min())
    seen = found.skirt - found.under
    if height < FLATTEST * width or found.under < 0 or seen < LEAST_SEEN * found.skirt:
        raise ScanError(path, "is an open sheet, not a body; scan the stone from all sides.")
    share = float(np.clip(SHARE - SHARE_FALL * found.under / found.skirt, 0.0, 1.0))
    vertices, faces = close_below(vertices, faces, found, share)
    volume = found.skirt - (1 - share) * found.under
    guess = Z90 * SHARE_SPREAD * found.under
    spread = float(np.sqrt(guess**2 + (SKIN_SPREAD * volume) ** 2 + noise**2))
    changes.append(
        f"closed the unseen underside: {share:.0%} of the space under the rim is taken for stone "
        f"(between {(found.skirt - found.under) * 1e3:.2f} and {found.skirt * 1e3:.2f} L)"
    )
    piece = Piece(vertices, faces, path.stem, source=str(path), changes=tuple(changes))
    reason = "its underside was not seen; a second scan, turned over, or a scale would help"
    return ClosedScan(piece, Range(volume - spread, volume, volume + spread), reason)


def _rim_of(vertices: Floats, parts: list[Indices], on_table: bool) -> Indices | None:
    """Tell the rim of the unseen underside from holes in the skin; None where there is none."""
    if not parts:
        return None
    sizes = [part_size(vertices, edges) for edges in parts]
    longest = int(np.argmax(sizes))
    if on_table:
        return parts[longest]
    outline = 2 * float(np.sort(np.ptp(vertices, axis=0))[1:].sum()) * 0.8
    return parts[longest] if sizes[longest] > WIDE_OPENING * outline else None


def _whole(
    path: Path, vertices: Floats, faces: Indices, noise: float, changes: list[str]
) -> ClosedScan:
    """Finish a body that had small holes only."""
    volume = enclosed_volume(vertices, faces)
    if volume < 0:
        faces, volume = faces[:, ::-1], -volume
    if not is_closed(faces, len(vertices)) or volume <= 0:
        raise ScanError(path, "crosses itself so that it encloses no volume; scan it again.")
    spread = float(np.sqrt((CLOSED_SPREAD * volume) ** 2 + noise**2))
    piece = Piece(vertices, faces, path.stem, source=str(path), changes=tuple(changes))
    found = Range(volume - spread, volume, volume + spread)
    return ClosedScan(piece, found, "complete but for small holes; scale and noise remain")


def _cap_volume(vertices: Floats, holes: list[Indices]) -> float:
    """Sum over the holes of the cube of their reach [m³]: how much a bulge could hold."""
    return float(sum(np.ptp(vertices[np.unique(e)], axis=0).max() ** 3 for e in holes))


def _stood_on_rim(vertices: Floats, rim: Indices) -> Floats:
    """Turn a body without a table so that its rim lies level and touches z = 0."""
    ring = vertices[np.unique(rim)]
    middle = ring.mean(axis=0)
    _, _, axes = np.linalg.svd(ring - middle, full_matrices=False)
    up = axes[2] if (vertices.mean(axis=0) - middle) @ axes[2] > 0 else -axes[2]
    turned = upright(vertices, Plane(up, float(middle @ up), 0.0))
    low = float(turned[np.unique(rim), 2].min())
    return turned - [0.0, 0.0, low]


def _rescaled(scan: ClosedScan, longest: float) -> ClosedScan:
    """Scale a body so that its longest side is a known length [m]."""
    factor = longest / float(scan.piece.size.max())
    changed = f"lengths × {factor:.4g}, from the known longest side"
    piece = replace(
        scan.piece,
        vertices=scan.piece.vertices * factor,
        changes=(*scan.piece.changes, changed),
    )
    return replace(scan, piece=piece, volume=scan.volume.times(factor**3))


def _around(volume: float, share: float) -> Range:
    """Spread a volume by a share to both sides."""
    return Range(volume * (1 - share), volume, volume * (1 + share))
