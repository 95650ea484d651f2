"""Closed scans kept on disk by the content of their files, so that each is closed only once."""

import json
import tempfile
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np

from plumbstone.meshes.closing.bodies import ClosedScan
from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.contents import file_stamp, forget_oldest, kept_place
from plumbstone.meshes.measures.doubts import Doubt
from plumbstone.meshes.measures.rulers import FILE_ALONE, Ruler
from plumbstone.meshes.mending.thinning import lightened
from plumbstone.meshes.piece import Piece

MOST_KEPT = 2_000_000_000  # [bytes] of all that is kept; the oldest go first
ENDING = ".closed.npz"


def kept_scan(path: Path, ruler: Ruler = FILE_ALONE, *, light: bool = False) -> ClosedScan:
    """Give a scan as one closed body, from the cache where the same bytes were closed before.

    Parameters
    ----------
    path : Path
        Mesh or point cloud.
    ruler : Ruler
        What is known of its unit and lengths.
    light : bool
        Of few faces, without what was cut away: all that the form of a stone is asked for.

    Raises
    ------
    ScanError
        As `closed_scan`.
    """
    stamp = file_stamp(path)
    place = kept_place(path, "scans", ENDING, repr(ruler), *["light"] * light)
    if place is not None and (found := _recalled(place, path)) is not None:
        return found
    scan = _lighter(kept_scan(path, ruler)) if light else closed_scan(path, ruler)
    if place is not None and stamp == file_stamp(path):  # else it changed while it was read
        _remember(place, scan)
    return scan


def _lighter(scan: ClosedScan) -> ClosedScan:
    """Leave out what only pictures of a scan show, and most of its faces."""
    vertices, faces = lightened(scan.piece.vertices, scan.piece.faces)
    piece = replace(scan.piece, vertices=vertices, faces=faces)
    return replace(scan, piece=piece, bare=faces[:0], away=None, other=None)


def _recalled(place: Path, path: Path) -> ClosedScan | None:
    """Read what was kept; None where nothing was, or it is damaged."""
    try:
        with np.load(place, allow_pickle=False) as kept:
            told = json.loads(str(kept["told"]))
            piece = Piece(
                vertices=kept["vertices"],
                faces=kept["faces"].astype(np.int64),
                name=path.stem,
                source=str(path),
                changes=tuple(told["changes"]),
                warnings=tuple(told["warnings"]),
            )
            return ClosedScan(
                piece=piece,
                doubts=tuple(Doubt(**doubt) for doubt in told["doubts"]),
                bare=kept["bare"].astype(np.int64),
                away=kept["away"] if told["away"] else None,
                other=kept["other"] if len(kept["other"]) else None,
            )
    except Exception:  # whatever a damaged file does: close the scan anew
        return None


def _remember(place: Path, scan: ClosedScan) -> None:
    """Keep a closed scan for later runs; a disk that refuses is no error."""
    told = {
        "changes": scan.piece.changes,
        "warnings": scan.piece.warnings,
        "doubts": [asdict(doubt) for doubt in scan.doubts],
        "away": scan.away is not None,
    }
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=place.parent, delete=False) as fresh:
            np.savez(
                fresh,
                vertices=scan.piece.vertices,
                faces=scan.piece.faces.astype(np.int32),
                bare=scan.bare.astype(np.int32),
                away=np.zeros((0, 3, 3)) if scan.away is None else scan.away,
                other=np.zeros(0, dtype=bool) if scan.other is None else scan.other,
                told=np.array(json.dumps(told)),
            )
        Path(fresh.name).replace(place)
        forget_oldest(place.parent, f"*{ENDING}", MOST_KEPT, lambda state: state.st_size)
    except OSError:
        return
