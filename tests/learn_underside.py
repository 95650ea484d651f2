"""Learns how much of the space under a rim belongs to the stone: run it by hand.

Prints the constants of `meshes/closing.py`. It uses boulders 300 to 313 and every second
complete scan; the trials in test_phone_scans.py judge on the others.
"""

from pathlib import Path

import numpy as np
from phone_scans import phone_scan, scanned_stones, seeded_stones, standing_poses

from plumbstone.meshes.isolating import Plane, bodies_above, find_table, upright
from plumbstone.meshes.mending import compacted
from plumbstone.meshes.underside import boundary_parts, filled, measure_rim, part_size

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"


def shares() -> np.ndarray:
    """True share, volume under the rim and volume with the skirt, a row for each pose."""
    rows = []
    for k, (_, vertices, faces) in enumerate(seeded_stones(14, 300) + scanned_stones(SCANS)[::2]):
        rng = np.random.default_rng(k)
        for pose in standing_poses(vertices, rng, 6):
            scan = phone_scan(vertices, faces, pose, rng)
            points = scan.vertices * scan.unit
            table = find_table(points, scan.faces)
            assert table is not None
            points = upright(points, table)
            level = Plane(np.array([0.0, 0.0, 1.0]), 0.0, table.spread)
            body = bodies_above(points, scan.faces, level, max(3 * table.spread, 0.0015))[0][0]
            points, body = compacted(points, body)
            parts = boundary_parts(body, len(points))
            rim = max(parts, key=lambda edges: part_size(points, edges))
            points, body, _ = filled(points, body, [e for e in parts if e is not rim])
            found = measure_rim(points, body, rim)
            share = (scan.volume - found.skirt + found.under) / found.under
            rows.append((share, found.under, found.skirt))
    return np.array(rows)


def main() -> None:
    share, under, skirt = shares().T
    weight = under / skirt
    terms = np.column_stack([np.ones_like(weight), -weight])
    fit, *_ = np.linalg.lstsq(terms * weight[:, None], share * weight, rcond=None)
    spread = np.std(share - terms @ fit)
    print(f"SHARE, SHARE_FALL, SHARE_SPREAD = {fit[0]:.2f}, {fit[1]:.2f}, {spread:.2f}")


if __name__ == "__main__":
    main()
