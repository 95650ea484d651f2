"""Closed scans are kept by content: the same to the last bit, and never believed when damaged."""

import json
import os
from pathlib import Path

import numpy as np
import pytest
from scan_conditions import distance_to

from plumbstone.meshes import contents
from plumbstone.meshes.closing import keeping
from plumbstone.meshes.closing.bodies import ClosedScan
from plumbstone.meshes.closing.keeping import kept_scan
from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.contents import content_digest
from plumbstone.meshes.folders import cache_folder
from plumbstone.meshes.measures.faults import enclosed_volume, is_closed
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.mending.thinning import HEAVY, lightened
from plumbstone.meshes.shapes.primitives import boulder, unit_sphere
from plumbstone.meshes.writing import kept_bytes, ply_bytes


def put(path: Path, size: tuple[float, float, float]) -> None:
    stone = boulder(size, seed=3)
    path.write_bytes(ply_bytes(stone.vertices, stone.faces))


@pytest.fixture
def scan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    path = tmp_path / "stone.ply"
    put(path, (0.12, 0.1, 0.08))
    return path


def kept_files(tmp_path: Path) -> list[Path]:
    return sorted((tmp_path / "cache" / "plumbstone" / "scans").glob("*"))


def test_the_second_time_it_is_not_closed_again(
    scan: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fresh = closed_scan(scan)
    first = kept_scan(scan)
    monkeypatch.setattr(keeping, "closed_scan", None)  # would fail if it were called
    second = kept_scan(scan)
    for one in (first, second):
        assert np.array_equal(one.piece.vertices, fresh.piece.vertices)
        assert np.array_equal(one.piece.faces, fresh.piece.faces)
        assert np.array_equal(one.bare, fresh.bare)
        assert (one.volume, one.trust, one.doubts) == (fresh.volume, fresh.trust, fresh.doubts)
        assert one.piece.changes == fresh.piece.changes
    assert len(kept_files(tmp_path)) == 1


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04nonsense", b"\x00" * 4000])
def test_a_damaged_row_is_a_miss(scan: Path, tmp_path: Path, damage: bytes) -> None:
    volume = kept_scan(scan).volume
    kept_files(tmp_path)[0].write_bytes(damage)
    assert kept_scan(scan).volume == volume


def test_another_content_or_length_is_another_scan(scan: Path, tmp_path: Path) -> None:
    small = kept_scan(scan).volume.mid
    assert kept_scan(scan, Ruler(longest=0.24)).volume.mid > 2 * small
    put(scan, (0.2, 0.1, 0.08))
    assert kept_scan(scan).volume.mid > 1.2 * small
    assert len(kept_files(tmp_path)) == 3


def test_nothing_is_kept_without_a_home(
    scan: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.delenv("HOME", raising=False)
    monkeypatch.chdir(tmp_path)
    assert cache_folder("scans") is None
    before = sorted(tmp_path.rglob("*"))
    assert kept_scan(scan).volume.mid > 0
    assert sorted(tmp_path.rglob("*")) == before


def test_the_oldest_go_first(scan: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    closed = kept_scan(scan)
    one = kept_files(tmp_path)[0].stat().st_size
    monkeypatch.setattr(keeping, "closed_scan", lambda *_: closed)
    monkeypatch.setattr(keeping, "MOST_KEPT", int(2.5 * one))
    for longest in (0.2, 0.3, 0.4):
        kept_scan(scan, Ruler(longest=longest))
    assert len(kept_files(tmp_path)) == 2


def test_only_what_this_user_kept_is_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A claim of another, or one about a mesh that was changed since, can only widen and lower."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    stone = boulder((0.12, 0.1, 0.08), 4, subdivisions=3)
    volume = enclosed_volume(stone.vertices, stone.faces)

    def claim(low: float, high: float, word: str) -> str:
        row = {
            "volume_m3": [low * volume, volume, high * volume],
            "trust": [word, "Says who", "who"],
        }
        return json.dumps(row)

    def found(content: bytes) -> ClosedScan:
        (tmp_path / "kept.ply").write_bytes(content)
        return closed_scan(tmp_path / "kept.ply")

    plain = found(ply_bytes(stone.vertices, stone.faces))
    sure, broad = claim(0.999, 1.001, "good"), claim(0.7, 1.3, "poor")
    own = kept_bytes(stone.vertices, stone.faces, sure)
    assert found(own).trust == "good"
    assert found(own).volume.half_width == pytest.approx(0.001, rel=1e-6)
    forged = found(ply_bytes(stone.vertices, stone.faces, f"plumbstone {sure}"))
    assert forged.trust != "good"
    assert forged.volume.half_width >= plain.volume.half_width
    assert "Says who" not in forged.doubt.says
    assert found(ply_bytes(stone.vertices, stone.faces, f"plumbstone {broad}")).trust == "poor"
    turned = kept_bytes(stone.vertices * [1, -1, 1], stone.faces[:, ::-1], sure)
    body = own.index(b"end_header")
    assert found(own[:body] + turned[turned.index(b"end_header") :]).trust != "good"
    assert found(own.replace(b"Says who", b"Says you")).trust != "good"
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "of another"))
    assert found(own).trust != "good"
    monkeypatch.setenv("XDG_CACHE_HOME", "")
    monkeypatch.setenv("HOME", "")
    assert found(kept_bytes(stone.vertices, stone.faces, sure)).trust != "good"


def test_a_fine_scan_is_kept_light_for_plans(scan: Path, tmp_path: Path) -> None:
    stone = boulder((0.16, 0.13, 0.12), seed=1, subdivisions=6)
    scan.write_bytes(ply_bytes(stone.vertices, stone.faces))
    whole, light = kept_scan(scan), kept_scan(scan, light=True)
    faces, corners = light.piece.faces, light.piece.vertices
    assert len(faces) < 0.6 * len(whole.piece.faces)
    assert is_closed(faces, len(corners))
    assert light.volume.mid == pytest.approx(whole.volume.mid, rel=1e-9)
    assert light.volume.half_width == pytest.approx(whole.volume.half_width, rel=1e-9)
    assert np.abs(light.piece.size - whole.piece.size).max() < 0.0005
    off = np.abs(distance_to((whole.piece.vertices, whole.piece.faces))(corners))  # by Open3D
    assert np.quantile(off, 0.95) < 0.0002
    assert off.max() < 0.0004
    again = kept_scan(scan, light=True)
    assert np.array_equal(again.piece.vertices, corners)
    assert len(kept_files(tmp_path)) == 2


def test_thin_limbs_are_not_made_light() -> None:
    directions, faces = unit_sphere(6)
    vertices = directions * [0.2, 0.003, 0.003]
    assert len(faces) > HEAVY
    assert lightened(vertices, faces)[1] is faces


def test_a_large_file_is_read_again_only_once_it_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(contents, "SETTLED", -1.0)
    path, states = tmp_path / "a.ply", tmp_path / "cache" / "plumbstone" / "states"
    path.write_bytes(b"a" * 1_000_001)
    first, before = content_digest(path), path.stat()
    assert content_digest(path) == first
    assert len(list(states.iterdir())) == 1
    monkeypatch.setattr(Path, "read_bytes", None)  # would fail if it were called
    assert content_digest(path) == first
    monkeypatch.undo()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    path.write_bytes(b"b" * 1_000_001)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))  # as copies with their times do
    assert content_digest(path) != first
    assert len(list(states.iterdir())) == 1  # it changed just now: not yet believed
    (damaged,) = states.iterdir()
    path.write_bytes(b"a" * 1_000_001)
    monkeypatch.setattr(contents, "SETTLED", -1.0)
    damaged.write_text("nonsense", encoding="ascii")
    assert content_digest(path) == first


def test_a_scan_that_changed_while_it_was_closed_is_not_kept(
    scan: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, true = scan.read_bytes(), closed_scan(scan).volume

    def closed_late(path: Path, ruler: Ruler) -> ClosedScan:
        put(path, (0.24, 0.2, 0.16))
        return closed_scan(path, ruler)

    with monkeypatch.context() as changing:
        changing.setattr(keeping, "closed_scan", closed_late)
        assert kept_scan(scan).volume.mid == pytest.approx(8 * true.mid, rel=1e-6)
    scan.write_bytes(first)
    assert kept_scan(scan).volume == true
