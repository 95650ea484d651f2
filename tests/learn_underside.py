"""Learns how much of the space under a rim belongs to the stone: run it by hand.

Prints the constants of `meshes/closing.py`. It uses boulders 300 to 313, lumps 600 to 613 and
every second complete scan, each seen in three ways; the trials in test_phone_scans.py judge on
the others.
"""

from pathlib import Path

import numpy as np
from phone_scans import (
    SIGHTS,
    lumpy_stones,
    phone_scan,
    scanned_stones,
    seeded_stones,
    standing_poses,
)

from plumbstone.meshes.closing import opened_bodies
from plumbstone.meshes.reading import RawScan

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"


def shares(poses: int = 2) -> np.ndarray:
    """True share, volume under the rim over the true one, lean of the wall: a row a scan."""
    rows = []
    stones = seeded_stones(14, 300) + lumpy_stones(14, 600) + scanned_stones(SCANS)[::2]
    for k, (_, vertices, faces) in enumerate(stones):
        for j, sight in enumerate(SIGHTS):
            rng = np.random.default_rng(10 * k + j)
            for pose in standing_poses(vertices, rng, poses):
                scan = phone_scan(vertices, faces, pose, rng, sight)
                raw = RawScan(scan.vertices * scan.unit, scan.faces, "z", (), ())
                body = opened_bodies(Path("scan.ply"), raw)[0]
                rim, under = body.rims[0], sum(rim.under for rim in body.rims)
                share = (scan.volume - body.skirt + under) / under
                rows.append((share, under / scan.volume, rim.lean))
    return np.array(rows)


def main() -> None:
    share, weight, lean = shares().T
    terms = np.column_stack([np.ones_like(lean), lean])
    fit, *_ = np.linalg.lstsq(terms * weight[:, None], share * weight, rcond=None)
    off = (share - terms @ fit) * weight
    spread = np.sqrt((off**2).sum() / (weight**2).sum())
    print(f"SHARE, SHARE_LEAN, SHARE_SPREAD = {fit[0]:.2f}, {fit[1]:.2f}, {spread:.2f}")


if __name__ == "__main__":
    main()
