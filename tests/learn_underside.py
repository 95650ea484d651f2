"""Learns how much of the space under a rim belongs to the stone: run it by hand, some ten minutes.

Prints the constants of `meshes/closing/finishing.py`. It uses boulders and lumps, broken, layered and
weathered stones and every second complete scan in two poses, each fused with its table at two
noises, with faces as fine as phones write them; the trials judge on others. Every maker counts
alike, those of the scans as one.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from judged_shapes import other_stones
from phone_scans import Stone, lumpy_stones, scanned_stones, seeded_stones
from scan_conditions import made
from scipy.optimize import nnls

from plumbstone.meshes.closing.bodies import opened_bodies
from plumbstone.meshes.closing.finishing import (
    BY_SOLIDITY,
    BY_UNDERCUT,
    LEAST_SHARE,
    solidity_of,
)
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.reading.scans import RawScan

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"
MOST_WEIGHT = 0.12  # of the volume: a scan with more under its rim counts no more than that
FUSED = ("table in view", "noise of many scales, 1 mm")
ALMOST_ALL = 0.95


def rows_of(stone: Stone, seed: int) -> Iterator[tuple[float, float, float, float]]:
    """Of two scans of a stone.

    True share under the rims, solidity, share that is undercut, and volume under the rims over
    the true one.
    """
    for name in FUSED:
        fused = made(name, stone, seed, fine=True)
        raw = RawScan(fused.vertices, fused.faces, "z", (), ())
        try:
            body = opened_bodies(Path("scan.ply"), raw)[0]
        except PlumbstoneError:
            continue
        if body.rims:
            volume = fused.volume * fused.wrong**3
            missing = volume - body.skirt + body.under
            yield (
                missing / body.under,
                solidity_of(body),
                sum(rim.undercut for rim in body.rims) / body.under,
                body.under / volume,
            )


def main() -> None:
    others, scanned = other_stones(30, 45500), scanned_stones(SCANS)[::2]
    found, weights = list[tuple[float, float, float, float]](), list[float]()
    for k, (stones, worth) in enumerate((
        (others[::3], 1), (others[1::3], 1), (others[2::3], 1), (seeded_stones(10, 46000), 1),
        (lumpy_stones(10, 46100), 1), (scanned * 2, 5),
    )):  # fmt: skip
        rows = [
            row for i, stone in enumerate(stones) for row in rows_of(stone, 45500 + 100 * k + i)
        ]
        found, weights = found + rows, weights + [(worth / len(rows)) ** 0.5] * len(rows)
        print(f"{len(found)} scans", flush=True)
    share, solid, undercut, under = np.array(found).T
    weight = np.minimum(under, MOST_WEIGHT) * weights
    whole = solid**BY_SOLIDITY
    full = np.array([whole, (1 - whole) * np.exp(-BY_UNDERCUT * undercut)]).T
    fit, _ = nnls(full * weight[:, None], share * weight)
    print(f"SOLID, HOLLOW = {fit[0]:.2f}, {fit[1]:.2f}")
    off = np.abs(share - np.maximum(full @ fit, LEAST_SHARE)) * under
    for name, over in (("FOOT", under), ("SMALL_FOOT", under**0.5)):
        print(f"{name} alone: {np.quantile(off / over, ALMOST_ALL):.3f}")


if __name__ == "__main__":
    main()
