"""Judges `weigh` on scans under the conditions of shops: run it by hand, it prints as it goes.

    python tests/judge_scans.py [--seed 84000] [--count 24] [--teach] [CONDITION...]

The stones are flaked, blocky and worn ones, and scans by others that taught nothing; the wood is
stumps. Noise and lattice are of another making than those that teach. Each scan is weighed by the
file's own lengths, by its greatest length, and by its width across too, each to the millimetre.
What is judged is the printed word: one called good or fair whose range misses the truth is false.
`--teach` takes shapes and noise that may be learned on, so that mends are not made by the judged.
"""

import json
import tempfile
from argparse import ArgumentParser
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
from judged_shapes import judged_stones, judged_wood, other_stones, other_wood
from mats import scanned_on, sheet_picture
from phone_scans import Stone, scanned_stones, seeded_stones
from scan_conditions import CONDITIONS, Made, diameter, made

from plumbstone.meshes.closing import scans
from plumbstone.meshes.closing.bodies import ClosedScan
from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.calipers import diameter as with_way
from plumbstone.meshes.measures.extents import across
from plumbstone.meshes.measures.isolating import SECOND_BODY
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.reading.scans import RawScan
from plumbstone.meshes.writing import ply_bytes

SCANS = Path(__file__).parent.parent.parent / "shared" / "scans"
WOOD = ("table in view", "a flank missing", "smoothed by LiDAR", "cloud with its table")
SMALL = {"rough skin, 2 mm": 0.12}  # tried on stones of this length too [m]
NAMES = (*CONDITIONS, *(f"small: {n}" for n in SMALL), *(f"wood: {n}" for n in WOOD), "mat")
FIRST = 84000  # seed of the first scan
Row = dict[str, object]


@cache
def stones_of(count: int, seed: int, teach: bool) -> list[Stone]:
    """Three of four by makers, the others scans by others where they are there."""
    if teach:
        return other_stones(count - count // 4, seed) + seeded_stones(count // 4, seed)
    scanned = scanned_stones(SCANS)[1::2] if SCANS.exists() else []
    others = [scanned[k % len(scanned)] for k in range(count // 4)] if scanned else []
    return judged_stones(count - len(others), seed) + others


@cache
def wood_of(count: int, seed: int, teach: bool) -> list[Stone]:
    return (other_wood if teach else judged_wood)(count, seed)


def lengths_of(stone: Stone, scale: float) -> dict[str, Ruler]:
    """What is known of a scan's lengths."""
    vertices = stone[1] * scale
    longest, way = with_way(vertices)
    wide = with_way(vertices @ across(way).T)[0]
    known = Ruler(longest=round(longest, 3))
    return {"file": Ruler(), "longest": known, "both": Ruler(None, known.longest, round(wide, 3))}


def written(scan: Made, folder: Path) -> Path:
    path = folder / ("scan.ply" if len(scan.faces) else "scan.xyz")
    if len(scan.faces):
        path.write_bytes(ply_bytes(scan.vertices, scan.faces))
    else:
        np.savetxt(path, scan.vertices, fmt="%.6f")
    return path


def row_of(found: ClosedScan | str, volume: float) -> Row:
    """Error, range, word and its causes, or why it was refused."""
    if isinstance(found, str):
        return {"refused": found}
    inside = found.volume.low <= volume <= found.volume.high
    return {
        "error": found.volume.mid / volume - 1,
        "half_width": found.volume.half_width,
        "inside": inside,
        "word": found.trust,
        "false": not inside and found.trust != "poor",
        "doubts": [(d.what, round(d.below, 3), round(d.above, 3), d.word) for d in found.doubts],
    }


def told_once() -> None:
    """Tell the bodies of one scan once for all its rulers: they are the same, this saves time."""
    last: dict[tuple[bytes, float, bool], object] = {}
    tell = scans._bodies

    def told(path: Path, raw: RawScan, least: float = SECOND_BODY, single: bool = False) -> object:
        key = raw.vertices.tobytes(), least, single
        if key not in last:
            last.clear()
            last[key] = tell(path, raw, least, single)
        return last[key]

    scans._bodies = told  # type: ignore[assignment]


def weighed(path: Path, ruler: Ruler) -> ClosedScan | str:
    try:
        return closed_scan(path, ruler)
    except PlumbstoneError as error:
        return str(error)


def rows(name: str, stones: list[Stone], seed: int, teach: bool, small: float = 0) -> Iterator[Row]:
    """Make and weigh every scan of a condition."""
    with tempfile.TemporaryDirectory() as folder:
        for k, stone in enumerate(stones):
            scale = small / diameter(stone[1]) if small else 1.0
            scan = made(name, stone, seed + k, scale, unlike=not teach, fine=True)
            path = written(scan, Path(folder))
            about: Row = {"stone": stone[0], "wrong": scan.wrong, "volume": scan.volume}
            for kind, ruler in lengths_of(stone, scale).items():
                yield about | {"ruler": kind} | row_of(weighed(path, ruler), scan.volume)


def mat_rows(stones: list[Stone], seed: int) -> Iterator[Row]:
    """Stones on the printed mat, at any wrong scale, printed up to 2 % wrong."""
    with tempfile.TemporaryDirectory() as folder:
        for k, stone in enumerate(stones):
            printed, wrong = (1.0, 1.02, 0.98)[k % 3], (1000.0, 1.0, 1.3, 0.7, 39.37, 2.0)[k % 6]
            picture = sheet_picture((1.2, 1.5, 2.0, 3.0)[k % 4])
            mesh, volume = scanned_on(picture, stone, seed + k, wrong, printed)
            path = Path(folder) / "scan.glb"
            mesh.export(path)
            ruler = Ruler(mat=True, control=0.1 * printed)
            about: Row = {"stone": stone[0], "wrong": wrong, "volume": volume, "ruler": "mat"}
            yield about | row_of(weighed(path, ruler), volume)


def told(name: str, kind: str, table: list[Row]) -> str:
    """One line of a Markdown table."""
    done = [row for row in table if "refused" not in row]
    head = f"| {name} | {kind} | {len(table)} | {len(table) - len(done)} |"
    if not done:
        return f"{head} - | - | - | - | - | - | - |"
    off = np.abs([float(row["error"]) for row in done])  # type: ignore[arg-type]
    wide = np.median([float(row["half_width"]) for row in done])  # type: ignore[arg-type]
    poor, false = (sum(bool(found) for found in column) for column in (
        [row["word"] == "poor" for row in done], [row["false"] for row in done]
    ))  # fmt: skip
    inside = sum(bool(row["inside"]) for row in done)
    shares = " | ".join(f"{v:.1%}" for v in (np.median(off), np.quantile(off, 0.95), off.max()))
    return f"{head} {shares} | {inside} | {wide:.1%} | {poor} | {false} |"


def judged(name: str, count: int, seed: int, teach: bool) -> Iterator[Row]:
    """Make and weigh the scans of one of `NAMES`."""
    if name == "mat":
        return mat_rows(stones_of(count, seed, teach), seed)
    kind, _, rest = name.rpartition(": ")
    stones = (wood_of if kind == "wood" else stones_of)(count, seed, teach)
    small = SMALL[rest] if kind == "small" else 0.0
    return rows(rest, stones, seed, teach, small)


def lines_of(name: str, table: list[Row]) -> list[str]:
    """Lines of a Markdown table, one for each ruler."""
    kinds = dict.fromkeys(str(row["ruler"]) for row in table)
    return [told(name, kind, [row for row in table if row["ruler"] == kind]) for kind in kinds]


def main() -> None:
    parser = ArgumentParser(description="Judge weigh on scans as phones make them.")
    parser.add_argument("--seed", type=int, default=FIRST)
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--teach", action="store_true")
    parser.add_argument("--rows", type=Path, help="write each scan there, JSON a line")
    parser.add_argument("conditions", nargs="*")
    asked = parser.parse_args()
    told_once()
    for name in asked.conditions or NAMES:
        table = []
        for row in judged(name, asked.count, asked.seed, asked.teach):
            table.append(row)
            if asked.rows:
                with asked.rows.open("a") as file:
                    file.write(json.dumps({"condition": name, **row}, default=float) + "\n")
        print(*lines_of(name, table), sep="\n", flush=True)


if __name__ == "__main__":
    main()
