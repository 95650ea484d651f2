"""Scale from what lies in view: the printed mat, a card, a can, a box."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from commands import refuse, type_in
from mats import card_picture, scanned_on, sheet_picture, write_usdz
from phone_scans import lumpy_stones, seeded_stones, united

from plumbstone.meshes.closing.bodies import ClosedScan
from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.measures.rulers import Known, Ruler
from plumbstone.meshes.reading.mat import tag_places
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.shapes.primitives import box, cylinder
from plumbstone.meshes.writing import ply_bytes

cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
WRONG = (1000.0, 1.0, 1.3, 0.7, 39.37, 2.0)  # lengths of the file against the true ones


def on_mat(
    folder: Path, stone: tuple, seed: int, *kinds: str
) -> Iterator[tuple[ClosedScan, float]]:
    """A stone on the mat, at 1.2 to 3 pixels a millimetre, printed up to 2 % wrong, in files."""
    printed = (1.0, 1.02, 0.98)[seed % 3]
    picture = sheet_picture((1.2, 1.5, 2.0, 3.0)[seed % 4])
    mesh, volume = scanned_on(picture, stone, seed, WRONG[seed % 6], printed)
    for kind in kinds:
        if kind == "usdz":
            pytest.importorskip("pxr", reason="usd-core is not installed")
            write_usdz(mesh, folder / "scan.usdz")
        else:
            mesh.export(folder / f"scan.{kind}")
        yield closed_scan(folder / f"scan.{kind}", Ruler(mat=True, control=0.1 * printed)), volume


def test_a_mat_tells_the_scale(tmp_path: Path) -> None:
    for scan, volume in on_mat(tmp_path, lumpy_stones(1, 700)[0], 0, "glb", "obj", "usdz"):
        assert scan.volume.mid == pytest.approx(volume, rel=0.02), scan.piece.source
        assert scan.volume.low < volume < scan.volume.high
        assert scan.trust == "good"


@pytest.mark.slow
def test_a_mat_tells_the_scale_in_full(tmp_path: Path) -> None:
    stones = seeded_stones(12, 500) + lumpy_stones(12, 700)
    rows = []
    for seed, stone in enumerate(stones):
        ((scan, volume),) = on_mat(tmp_path, stone, seed, "glb")
        inside = scan.volume.low <= volume <= scan.volume.high
        rows.append((scan.volume.mid / volume - 1, scan.volume.half_width, inside))
    off, width, inside = np.array(rows).T
    told = (
        f"on the mat: {len(off)} scans, median {np.median(abs(off)):.4f}, "
        f"95 % {np.quantile(abs(off), 0.95):.4f}, worst {abs(off).max():.4f}, "
        f"range holds {inside.mean():.2f}, half-width {np.median(width):.4f}"
    )
    print(told)
    assert np.median(abs(off)) <= 0.007, told
    assert np.quantile(abs(off), 0.95) <= 0.02, told
    assert inside.mean() >= 0.9, told
    # The goal is 0.02; ranges that hold 98 % of what undersides do, and of what faces of 5 to 11 mm
    # fill, are wider (0.025 before 4 of 140 words of other seeds were seen to be false).
    assert np.median(width) <= 0.03, told


def test_tags_whose_places_disagree_are_not_believed(tmp_path: Path) -> None:
    # One half of the sheet is seen 4 mm off, as by a phone that lost its place; it is 297 mm long.
    picture = sheet_picture(2.0)
    wide, high = picture.size
    picture.paste(picture.crop((0, 0, wide, high // 2)), (8, 0))
    mesh, _ = scanned_on(picture, lumpy_stones(1, 700)[0], 0, 1.0)
    mesh.export(tmp_path / "scan.glb")
    scan = closed_scan(tmp_path / "scan.glb", Ruler(mat=True, control=0.1))
    assert (scan.trust, scan.doubt.what) == ("poor", "scale")


def test_a_scan_without_mat_or_texture_says_so(tmp_path: Path) -> None:
    mesh, _ = scanned_on(card_picture(1.5), lumpy_stones(1, 700)[0], 1, 1.0)
    mesh.export(tmp_path / "scan.glb")
    with pytest.raises(ScanError, match="tags of a mat"):
        closed_scan(tmp_path / "scan.glb", Ruler(mat=True))
    solid = box((0.2, 0.1, 0.1))
    (tmp_path / "bare.ply").write_bytes(ply_bytes(solid.vertices, solid.faces))
    with pytest.raises(ScanError, match="no texture"):
        closed_scan(tmp_path / "bare.ply", Ruler(mat=True))


def test_a_card_in_view_tells_the_scale(tmp_path: Path) -> None:
    # ISO/IEC 7810 ID-1: 85.60 × 53.98 mm.
    card = Known("sheet", (0.08560, 0.05398), "card")
    mesh, volume = scanned_on(card_picture(2.0), lumpy_stones(2, 700)[1], 2, 1.3, ground=60)
    mesh.export(tmp_path / "scan.glb")
    scan = closed_scan(tmp_path / "scan.glb", Ruler(known=card))
    assert scan.volume.mid == pytest.approx(volume, rel=0.04)
    assert scan.volume.low < volume < scan.volume.high


@pytest.mark.parametrize("kind", ["box", pytest.param("can", marks=pytest.mark.slow)])
def test_a_thing_beside_the_stone_tells_the_scale(tmp_path: Path, kind: str) -> None:
    from scan_conditions import fused, plain, roughened, standing

    rng = np.random.default_rng(3)
    scene = standing(seeded_stones(1, 500)[0], rng)
    stone = plain(scene, rng)
    if kind == "can":
        thing, known = cylinder(0.066, 0.115), Known("can", (0.066, 0.115), "can")
    else:
        thing, known = box((0.20, 0.10, 0.05)), Known("box", (0.20, 0.10, 0.05), "box")
    vertices = thing.vertices - [0, 0, thing.vertices[:, 2].min()]
    alone = replace(scene, stone=(vertices, thing.faces), size=0.2, ground=None)
    beside = roughened(fused(alone, 0.7), rng, 0.0002, 0.0004)
    shell = beside[0] + [0.9 * scene.size, 0, 0.0]
    vertices, faces = united([stone, (shell, beside[1])])
    (tmp_path / "scan.ply").write_bytes(ply_bytes(vertices * 1.2, faces))
    scan = closed_scan(tmp_path / "scan.ply", Ruler("m", known=known))
    assert scan.volume.mid == pytest.approx(scene.volume, rel=0.05)
    assert scan.volume.low < scene.volume < scan.volume.high


def test_the_printed_mat(tmp_path: Path) -> None:
    done = type_in("plumbstone mat mat.pdf --sheets 2", tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "mat.pdf").read_bytes().startswith(b"%PDF-")  # ISO 32000-1, 7.5.2
    (tmp_path / "other.pdf").write_text("mine", encoding="utf-8")
    assert "other.pdf" in refuse("plumbstone mat other.pdf", tmp_path)
    assert not set(tag_places("a4", 0)) & set(tag_places("a4", 1))
    assert not set(tag_places("a4", 4)) & set(tag_places("letter", 0))


def test_what_is_typed_of_things_in_view(tmp_path: Path) -> None:
    assert "write card" in refuse("plumbstone weigh a.glb --known book", tmp_path)
    assert "needs --mat" in refuse('plumbstone weigh a.glb --mat-control "10 cm"', tmp_path)
    assert "10 cm long" in refuse('plumbstone weigh a.glb --mat --mat-control "20 cm"', tmp_path)
