"""Learns how much of the space under a rim belongs to the stone: run it by hand, some twenty minutes.

Prints the shares of `meshes/closing/finishing.py`: below low rims by how much the stone fills of its
hull, below high ones by how its flanks lean too, and how far they are off. It uses boulders and lumps, broken, layered and
weathered stones and every second complete scan, each fused with its table at two noises, with faces
as fine as phones write them, and cut in three ways of not seeing; the trials judge on others. Every
maker counts alike, those of the scans as one.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from judged_shapes import other_stones
from phone_scans import (
    SIGHTS,
    Stone,
    lumpy_stones,
    phone_scan,
    scanned_stones,
    seeded_stones,
    standing_poses,
)
from scan_conditions import made
from scipy.optimize import nnls

from plumbstone.meshes.closing.bodies import OpenBody, opened_bodies
from plumbstone.meshes.closing.finishing import (
    BY_HULL,
    BY_SOLIDITY,
    BY_UNDERCUT,
    LOW,
    feet_of,
    share_under,
)
from plumbstone.meshes.closing.underside import solidity, undercut
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.reading.scans import RawScan

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"
MOST_WEIGHT = 0.12  # of the volume: a scan with more under its rim counts no more than that
FUSED = ("table in view", "noise of many scales, 1 mm")
FIRST = 48000
ALMOST_ALL = 0.95
Row = tuple[float, float, float, float, float]


def scans_of(stone: Stone, seed: int) -> Iterator[tuple[np.ndarray, np.ndarray, float]]:
    """Corners [m], faces and volume of five scans of a stone."""
    for name in FUSED:
        fused = made(name, stone, seed, fine=True)
        yield fused.vertices, fused.faces, fused.volume * fused.wrong**3
    for k, sight in enumerate(SIGHTS, 2):
        rng = np.random.default_rng([seed, k])
        pose = standing_poses(stone[1], rng, 1)[0]
        cut = phone_scan(stone[1], stone[2], pose, rng, sight)
        yield cut.vertices * cut.unit, cut.faces, cut.volume


def row_of(body: OpenBody, volume: float) -> Row:
    """True share under the feet, solidity, share left free, height, and volume under over the true."""
    feet = feet_of(body)
    under = sum(rim.under for rim in feet)
    missing = volume - body.skirt + body.under
    solid = solidity(body.smooth, body.faces, body.rims)
    high = under / sum(rim.area for rim in feet) / float(body.vertices[:, 2].max())
    return missing / under, solid, undercut(body.smooth, body.faces, feet), high, under / volume


def rows_of(stone: Stone, seed: int) -> Iterator[Row]:
    """What the scans of a stone that have an unseen foot teach."""
    for vertices, faces, volume in scans_of(stone, seed):
        try:
            body = opened_bodies(Path("scan.ply"), RawScan(vertices, faces, "z", (), ()))[0]
        except PlumbstoneError:
            continue
        if body.rims:
            yield row_of(body, volume)


def main() -> None:
    others = other_stones(24, FIRST)
    found, weights = list[Row](), list[float]()
    for k, stones in enumerate((
        others[::3], others[1::3], others[2::3], seeded_stones(8, FIRST + 500),
        lumpy_stones(8, FIRST + 600), scanned_stones(SCANS)[::2],
    )):  # fmt: skip
        rows = [
            row for i, stone in enumerate(stones) for row in rows_of(stone, FIRST + 100 * k + i)
        ]
        found, weights = found + rows, weights + [len(rows) ** -0.5] * len(rows)
        print(f"{len(found)} scans", flush=True)
    share, solid, free, high, under = np.array(found).T
    weight = np.minimum(under, MOST_WEIGHT) * weights
    low, hull, upright = high < 2 * LOW, solid**BY_HULL, np.exp(-BY_UNDERCUT * free)
    for names, rows, terms in (
        ("SHARE", low, (solid**BY_SOLIDITY,)), ("SOLID, UPRIGHT", ~low, (hull, upright)),
    ):  # fmt: skip
        weighted = np.column_stack(terms)[rows] * weight[rows, None]
        found_shares, _ = nnls(weighted, (share * weight)[rows])
        print(
            f"{names} = {', '.join(f'{value:.2f}' for value in found_shares)} ({rows.sum()} scans)"
        )
    taken = np.array([share_under(*row) for row in zip(solid, free, high, strict=True)])
    off, small = (share - taken) * under, under**0.5
    for name, beyond, over in (
        ("LESS", -off, under), ("MORE", off, (1 - taken) * under), ("SMALL_FOOT", abs(off), small),
    ):  # fmt: skip
        print(f"{name} alone: {np.quantile(beyond / over, ALMOST_ALL):.3f}")


if __name__ == "__main__":
    main()
