"""Learns how much of the space under a rim belongs to the stone: run it by hand.

Prints the constants of `meshes/closing/scans.py`. It uses boulders and lumps of 2000 and 2100 on, broken,
layered and weathered stones of 51000 on and every second complete scan, each fused with its table
and cut out in two ways; the trials judge on others.
"""

from pathlib import Path

import numpy as np
from judged_shapes import other_stones
from phone_scans import (
    lumpy_stones,
    phone_scan,
    scanned_stones,
    seeded_stones,
    standing_poses,
)
from scan_conditions import made

from plumbstone.meshes.closing.scans import LEVEL, opened_bodies
from plumbstone.meshes.reading.scans import RawScan

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"


MOST_WEIGHT = 0.12  # of the volume: a scan with more under its rim counts no more than that


def shares() -> np.ndarray:
    """True share, volume under the rim over the true one, lean, unevenness: a row a scan."""
    rows = []
    stones = seeded_stones(3, 2000) + lumpy_stones(3, 2100) + other_stones(9, 51000)
    for k, stone in enumerate(stones + scanned_stones(SCANS)[::2]):
        fused = made("table in view", stone, 3000 + k)
        found = [(fused.vertices, fused.faces, fused.volume * fused.wrong**3)]
        for sight in ("level", "slope"):
            rng = np.random.default_rng(7000 + k)
            pose = standing_poses(stone[1], rng, 1)[0]
            cut = phone_scan(stone[1], stone[2], pose, rng, sight)
            found.append((cut.vertices * cut.unit, cut.faces, cut.volume))
        for vertices, faces, volume in found:
            body = opened_bodies(Path("scan.ply"), RawScan(vertices, faces, "z", (), ()))[0]
            if body.rims:
                rim, under = body.rims[0], sum(rim.under for rim in body.rims)
                share = (volume - body.skirt + under) / under
                rows.append((share, under / volume, rim.lean, rim.unevenness))
    return np.array(rows)


def main() -> None:
    found = shares()
    cut = found[:, 3] < LEVEL
    mean = np.average(found[cut, 0], weights=found[cut, 1])
    print(f"CUT_SHARE, CUT_SPREAD = {mean:.2f}, {found[cut, 0].std():.2f}")
    share, weight, lean, _ = found[~cut].T
    weight = np.minimum(weight, MOST_WEIGHT)
    terms = np.column_stack([np.ones_like(lean), lean])
    fit, *_ = np.linalg.lstsq(terms * weight[:, None], share * weight, rcond=None)
    off = (share - terms @ fit) * weight
    spread = np.sqrt((off**2).sum() / (weight**2).sum())
    print(f"SHARE, SHARE_LEAN, SHARE_SPREAD = {fit[0]:.2f}, {fit[1]:.2f}, {spread:.2f}")


if __name__ == "__main__":
    main()
