"""Learns how much of the space under a rim belongs to the stone: run it by hand, some ten minutes.

Prints the constants of `meshes/closing/scans.py`. It uses boulders and lumps of 2000 and 2100 on,
broken, layered and weathered stones of 51000 on and every second complete scan in several poses, each
fused with its table at two noises, with faces as fine as phones write them; the trials judge on others.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from judged_shapes import other_stones
from phone_scans import Stone, lumpy_stones, scanned_stones, seeded_stones
from scan_conditions import made

from plumbstone.meshes.closing.scans import LEAST_SHARE, opened_bodies
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.reading.scans import RawScan

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"
MOST_WEIGHT = 0.12  # of the volume: a scan with more under its rim counts no more than that
FUSED = ("table in view", "noise of many scales, 1 mm")
POSES = 6  # of each scanned stone


def scans_of(stone: Stone, seed: int) -> Iterator[tuple[np.ndarray, np.ndarray, float]]:
    """Corners, faces and true volume of two scans of a stone."""
    for name in FUSED:
        fused = made(name, stone, 3000 + seed, fine=True)
        yield fused.vertices, fused.faces, fused.volume * fused.wrong**3


def rows_of(stone: Stone, seed: int) -> Iterator[tuple[float, ...]]:
    """True share, volume under the rim over the true one, and what the share is told from."""
    for vertices, faces, volume in scans_of(stone, seed):
        try:
            body = opened_bodies(Path("scan.ply"), RawScan(vertices, faces, "z", (), ()))[0]
        except PlumbstoneError:
            continue
        if body.rims:
            parts = np.array([rim.under for rim in body.rims])
            told = np.array([(r.roundness, r.lean, r.area / r.widest) for r in body.rims])
            under = parts.sum()
            share = (volume - body.skirt + under) / under
            yield share, under / volume, *(parts @ told / under)


def main() -> None:
    found = list[tuple[float, ...]]()
    for stones, poses in (
        (seeded_stones(14, 2000), 1),
        (lumpy_stones(14, 2100), 1),
        (other_stones(27, 51000), 1),
        (scanned_stones(SCANS)[::2], POSES),
    ):
        for k, stone in enumerate(stones):
            for pose in range(poses):
                found += rows_of(stone, k + 100 * pose)
        print(f"{len(found)} scans", flush=True)
    share, under, *told = np.array(found).T
    weight = np.minimum(under, MOST_WEIGHT)
    terms = np.column_stack([np.ones_like(share), *told])
    fit, *_ = np.linalg.lstsq(terms * weight[:, None], share * weight, rcond=None)
    off = (share - np.clip(terms @ fit, LEAST_SHARE, 1.0)) * weight
    spread = np.sqrt((off**2).sum() / (weight**2).sum())
    names = "SHARE, BY_ROUNDNESS, BY_LEAN, BY_WIDTH, SHARE_SPREAD"
    print(f"{names} = {', '.join(f'{value:.2f}' for value in (*fit, spread))}")


if __name__ == "__main__":
    main()
