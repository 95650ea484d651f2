"""From a scan as a phone gives it to one closed body with an honest range of its volume."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.faults import enclosed_volume, is_closed
from plumbstone.meshes.piece import Piece
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.reading import ScanError, read_scan

CLOSED_SPREAD = 0.03  # scale and noise of a complete scan, share at 90 %; from memory


@dataclass(frozen=True, slots=True, eq=False)
class ClosedScan:
    """A scan as one closed body."""

    piece: Piece
    volume: Range  # [m³]
    reason: str  # why its range is as wide as it is


def closed_scan(path: Path, unit: str | None = None, longest: float | None = None) -> ClosedScan:
    """Read a scan and close it.

    Raises
    ------
    ScanError
        If it cannot be read, or its volume cannot be told.
    """
    piece = read_scan(path, unit)
    if longest is not None:
        piece = _rescaled(piece, longest)
    if not is_closed(piece.faces, len(piece.vertices)):
        raise ScanError(path, "has holes.")
    volume = enclosed_volume(piece.vertices, piece.faces)
    spread = Range(volume * (1 - CLOSED_SPREAD), volume, volume * (1 + CLOSED_SPREAD))
    return ClosedScan(piece, spread, "a complete scan; scale and noise remain")


def _rescaled(piece: Piece, longest: float) -> Piece:
    """Scale a piece so that its longest side is a known length [m]."""
    factor = longest / float(np.ptp(piece.vertices, axis=0).max())
    changed = f"lengths × {factor:.4g}, from the known longest side"
    return replace(piece, vertices=piece.vertices * factor, changes=(*piece.changes, changed))
