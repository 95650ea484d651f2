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

from plumbstone.meshes.closing.bodies import opened_bodies
from plumbstone.meshes.closing.finishing import BY_SOLIDITY, LEAST_SHARE
from plumbstone.meshes.closing.underside import solidity
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.reading.scans import RawScan

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"
MOST_WEIGHT = 0.12  # of the volume: a scan with more under its rim counts no more than that
FUSED = ("table in view", "noise of many scales, 1 mm")
ALMOST_ALL = 0.9


def rows_of(stone: Stone, seed: int) -> Iterator[tuple[float, float, float]]:
    """True share, solidity and volume under the rims over the true one, of two scans of a stone."""
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
                solidity(body.smooth, body.faces, body.rims),
                body.under / volume,
            )


def main() -> None:
    others, scanned = other_stones(30, 40000), scanned_stones(SCANS)[::2]
    found, weights = list[tuple[float, float, float]](), list[float]()
    for k, (stones, worth) in enumerate((
        (others[::3], 1), (others[1::3], 1), (others[2::3], 1), (seeded_stones(10, 42000), 1),
        (lumpy_stones(10, 42100), 1), (scanned * 2, 5),
    )):  # fmt: skip
        rows = [
            row for i, stone in enumerate(stones) for row in rows_of(stone, 43000 + 100 * k + i)
        ]
        found, weights = found + rows, weights + [(worth / len(rows)) ** 0.5] * len(rows)
        print(f"{len(found)} scans", flush=True)
    share, solid, under = np.array(found).T
    weight = np.minimum(under, MOST_WEIGHT) * weights
    full = solid**BY_SOLIDITY
    fit = (full * weight**2) @ share / ((full * weight) ** 2).sum()
    print(f"SHARE = {fit:.2f}")
    off = np.abs(share - np.maximum(fit * full, LEAST_SHARE)) * under
    for name, over in (("FOOT", under), ("SMALL_FOOT", under**0.5)):
        print(f"{name} alone: {np.quantile(off / over, ALMOST_ALL):.3f}")


if __name__ == "__main__":
    main()
