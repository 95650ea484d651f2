"""Scans as a phone gives them, made from complete ones, against the true volume.

Truth is the volume of the complete mesh before it was cut, roughened and turned. The stones
judged here are others than those on which the underside was learned.
"""

from pathlib import Path

import numpy as np
import pytest
from commands import refuse
from phone_scans import phone_scan, scanned_stones, seeded_stones, standing_poses

from plumbstone.meshes.closing import closed_scan
from plumbstone.meshes.faults import enclosed_volume, is_closed
from plumbstone.meshes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes


def judged(folder: Path, stones: list, poses: int, scale: float = 1.0) -> np.ndarray:
    """Relative error, half-width and whether the range held the truth, a row a scan."""
    rows = []
    for k, (_, vertices, faces) in enumerate(stones):
        rng = np.random.default_rng(1000 + k)
        for pose in standing_poses(vertices * scale, rng, poses):
            scan = phone_scan(vertices * scale, faces, pose, rng)
            path = folder / "scan.ply"
            path.write_bytes(ply_bytes(scan.vertices, scan.faces))
            found = closed_scan(path)
            assert is_closed(found.piece.faces, len(found.piece.vertices))
            own = enclosed_volume(found.piece.vertices, found.piece.faces)
            assert own == pytest.approx(found.volume.mid, rel=1e-6)
            inside = found.volume.low <= scan.volume <= found.volume.high
            rows.append((found.volume.mid / scan.volume - 1, found.volume.half_width, inside))
    return np.array(rows)


def report(name: str, rows: np.ndarray) -> str:
    error = np.abs(rows[:, 0])
    return (
        f"{name}: {len(rows)} scans, median {np.median(error):.3f}, "
        f"95 % {np.quantile(error, 0.95):.3f}, worst {error.max():.3f}, "
        f"range holds {rows[:, 2].mean():.2f}, half-width {np.median(rows[:, 1]):.3f}"
    )


def test_large_stones(tmp_path: Path) -> None:
    rows = judged(tmp_path, seeded_stones(8, 500), 1)
    assert np.median(np.abs(rows[:, 0])) <= 0.03
    assert np.abs(rows[:, 0]).max() <= 0.15
    assert np.median(rows[:, 1]) <= 0.07


@pytest.mark.slow
def test_large_stones_in_full(tmp_path: Path, scans: Path) -> None:
    stones = seeded_stones(16, 500) + scanned_stones(scans)[1::2]
    rows = judged(tmp_path, stones, 3)
    told = report("15 cm and more", rows)
    print(told)
    error = np.abs(rows[:, 0])
    assert np.median(error) <= 0.02, told
    assert np.quantile(error, 0.95) <= 0.06, told
    assert error.max() <= 0.15, told
    assert rows[:, 2].mean() >= 0.90, told
    assert np.median(rows[:, 1]) <= 0.06, told


@pytest.mark.slow
def test_small_stones_in_full(tmp_path: Path, scans: Path) -> None:
    stones = seeded_stones(16, 500) + scanned_stones(scans)[1::2]
    rows = judged(tmp_path, stones, 3, scale=0.4)
    told = report("about 10 cm", rows)
    print(told)
    error = np.abs(rows[:, 0])
    assert np.median(error) <= 0.04, told
    assert np.quantile(error, 0.95) <= 0.10, told
    assert rows[:, 2].mean() >= 0.90, told
    assert np.median(rows[:, 1]) <= 0.10, told


def test_the_phone_scan_of_a_stone_that_was_scanned_better(scans: Path) -> None:
    # Manifest of the scans: this file closes to about 1.68 L; a structured scan of the same
    # stone to 1.49-1.55 L, so the phone's own lengths are about 3 % too long.
    found = closed_scan(scans / "epfl_stone11_iphone_truedepth.stl")
    assert found.volume.mid * 1e3 == pytest.approx(1.68, abs=0.015)


def cloud(seed: int, count: int, noise: float, cut: float) -> tuple[np.ndarray, float]:
    """Points on a standing boulder, its lowest part unseen."""
    stone = boulder((0.22, 0.17, 0.15), seed)
    rng = np.random.default_rng(seed)
    a, b, c = (stone.vertices[stone.faces[:, i]] for i in range(3))
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    pick = rng.choice(len(areas), count, p=areas / areas.sum())
    u, v = rng.uniform(size=(2, count, 1))
    flip = u + v > 1
    u, v = np.where(flip, 1 - u, u), np.where(flip, 1 - v, v)
    points = a[pick] + u * (b - a)[pick] + v * (c - a)[pick]
    points = points[points[:, 2] > cut]
    return points + rng.normal(0, noise, points.shape), enclosed_volume(stone.vertices, stone.faces)


@pytest.mark.parametrize("count", [5_000, 50_000])
def test_point_clouds(tmp_path: Path, count: int) -> None:
    errors = []
    for seed in range(20, 26):
        points, volume = cloud(seed, count, 0.0005, 0.0)
        path = tmp_path / "cloud.xyz"
        np.savetxt(path, points, fmt="%.6f")
        errors.append(abs(closed_scan(path).volume.mid / volume - 1))
    assert np.median(errors) <= 0.04


def test_named_refusals(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    x, y = np.meshgrid(np.linspace(0, 0.4, 40), np.linspace(0, 0.4, 40))
    sheet = np.column_stack([x.ravel(), y.ravel(), rng.normal(0, 3e-4, 1600)])
    k = np.arange(1600).reshape(40, 40)
    quads = (k[:-1, :-1].ravel(), k[:-1, 1:].ravel(), k[1:, 1:].ravel(), k[1:, :-1].ravel())
    a, b, c, d = quads
    flat = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    (tmp_path / "table.ply").write_bytes(ply_bytes(sheet, flat))
    assert "flat surface" in refuse("plumbstone weigh table.ply", tmp_path)
    bowl = sheet.copy()
    bowl[:, 2] = 0.02 * np.cos(8 * bowl[:, 0]) * np.cos(8 * bowl[:, 1])
    (tmp_path / "sheet.ply").write_bytes(ply_bytes(bowl, flat))
    assert "sheet" in refuse("plumbstone weigh sheet.ply", tmp_path)
    stone = boulder((0.2, 0.15, 0.15), 1, subdivisions=4)
    two = np.concatenate([stone.vertices, stone.vertices + [0.3, 0, 0]])
    faces = np.concatenate([stone.faces, stone.faces + len(stone.vertices)])
    (tmp_path / "two.ply").write_bytes(ply_bytes(two, faces))
    assert "2 bodies" in refuse("plumbstone weigh two.ply", tmp_path)
    np.savetxt(tmp_path / "few.xyz", rng.uniform(0, 0.2, (50, 3)))
    assert "50 points" in refuse("plumbstone weigh few.xyz", tmp_path)
    room = boulder((4.0, 3.0, 2.5), 1, subdivisions=4)
    (tmp_path / "room.ply").write_bytes(ply_bytes(room.vertices, room.faces[:, ::-1]))
    assert "m long" in refuse("plumbstone weigh room.ply --unit m", tmp_path)
