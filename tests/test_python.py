"""The door for Python: what it takes, and what it says to one who types no command line."""

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from commands import type_in

import plumbstone as ps
from plumbstone.meshes.telling import PLACES


@pytest.mark.parametrize(
    "given",
    [
        {"size_m": (0.28, 0.19)},
        {"size_m": (0, 0.19, 0.15)},
        {"size_m": (-0.28, 0.19, 0.15)},
        {"size_m": "28 x 19 x 15 cm"},
        {"size_m": (28, 19, 15)},
        {"size_m": (math.nan, 0.1, 0.1)},
        {"mass_kg": 0},
        {"mass_kg": -2},
        {"mass_kg": "2 kg"},
        {"scan": "a.ply", "longest_m": -0.2},
    ],
)
def test_what_is_no_size_or_mass_is_refused_in_words(given: dict[str, Any]) -> None:
    with pytest.raises(ps.PlumbstoneError, match=r"metres|above zero|unit"):
        ps.weigh(material="granite", **given)


def test_a_mesh_in_memory_is_weighed_as_its_file_would_be(tmp_path: Path) -> None:
    egg = trimesh.creation.icosphere(subdivisions=4, radius=0.1).apply_scale([1, 0.8, 0.7])
    egg.vertices = egg.vertices.astype(np.float32)  # as its file holds them
    egg.export(tmp_path / "egg.ply")
    by_file = ps.weigh(tmp_path / "egg.ply", material="granite", unit="m", longest_m=0.2)
    for mesh in (egg, (egg.vertices.tolist(), egg.faces)):
        found = ps.weigh(mesh, material="granite", longest_m=0.2)
        assert found.volume_m3.low <= egg.volume <= found.volume_m3.high  # trimesh
        assert found.volume_m3.mid == pytest.approx(by_file.volume_m3.mid, rel=1e-6)
        assert found.trust == by_file.trust
    with pytest.raises(ps.PlumbstoneError, match="The mesh has faces beyond its 3 vertices"):
        ps.weigh((np.eye(3), [[0, 1, 3]]), material="granite")


def test_numbers_of_numpy_are_as_good_as_plain_ones() -> None:
    plain = ps.weigh(material="granite", size_m=(0.28, 0.19, 0.15))
    found = ps.weigh(material="granite", size_m=np.array([0.28, 0.19, 0.15]))  # type: ignore[arg-type]
    assert found.mass_kg == plain.mass_kg
    # 2 kg / 2650 kg/m³
    assert ps.weigh(material="granite", mass_kg=np.int64(2)).volume_m3.mid == pytest.approx(
        2 / 2650
    )  # type: ignore[arg-type]


IN_CODE: dict[str, Any] = {
    "tank": {"inside": ("60 cm", "30 cm", "36 cm"), "water_line": "33 cm"},
    "piece": (
        {"name": "B", "size": ("10 cm", "8 cm", "6 cm"), "material": "basalt", "at": ("30 cm", "15 cm")},
    ),
}  # fmt: skip


def test_tuples_serve_as_lists() -> None:
    scape = ps.scape_from(IN_CODE)
    assert scape.tank.length == pytest.approx(0.6)
    assert scape.pieces[0].at == pytest.approx((0.3, 0.15))


@pytest.mark.parametrize("level", [-0.3, 0, 3, "30 cm", math.nan, None])
def test_no_tank_is_filled_beyond_its_rim_or_below_its_floor(level: Any) -> None:
    with pytest.raises(ps.PlumbstoneError, match="no level of water"):
        ps.Layout(ps.scape_from(IN_CODE)).with_water_line(level)


@pytest.mark.parametrize("to", [("20 cm", "12 cm"), (0.2, 0.1, 0.1), (math.nan, 0.1), 0.2])
def test_no_piece_is_moved_to_no_place(to: Any) -> None:
    layout = ps.Layout(ps.scape_from(IN_CODE))
    with pytest.raises(ps.PlumbstoneError, match="no place"):
        layout.moved("B", to=to)
    assert layout.moved("B", to=np.array([0.2, 0.1])).scape.pieces[0].at == (0.2, 0.1)  # type: ignore[arg-type]


def test_a_layout_says_what_it_takes() -> None:
    with pytest.raises(ps.PlumbstoneError, match="read_scape"):
        ps.Layout("tank.toml")  # type: ignore[arg-type]
    with pytest.raises(ps.PlumbstoneError, match="mapping"):
        ps.scape_from([])  # type: ignore[arg-type]


OPTION = re.compile(r"(?<!plumbstone weigh )--")


@pytest.mark.parametrize("scale", [1.0, 1000.0])
def test_python_is_told_of_its_own_arguments(tmp_path: Path, scale: float) -> None:
    egg = trimesh.creation.icosphere(subdivisions=4, radius=0.1 * scale)
    egg.export(tmp_path / "egg.ply")
    for scan, source in ((egg, "the mesh"), (tmp_path / "egg.ply", "the file")):
        if scale > 1 and scan is egg:  # a mesh in memory is taken to be in metres
            with pytest.raises(
                ps.PlumbstoneError, match=r'^The mesh: .* give unit="mm" \(20.0 cm\)'
            ):
                ps.weigh(scan, material="granite")
            continue
        found = ps.weigh(scan, material="granite")
        assert f"nothing in {source} tells" in found.why
        assert "longest_m=0.243" in found.why
        assert "plumbstone weigh --known card" in found.why
        assert not OPTION.search(" ".join((found.why, *found.mended, *found.warnings)))


def test_python_is_told_how_a_refusal_is_mended() -> None:
    pair = [trimesh.creation.icosphere(radius=0.1).apply_translation([k, 0, 0]) for k in (0, 1)]
    with pytest.raises(ps.PlumbstoneError, match="holds 2 bodies") as refused:
        ps.weigh(trimesh.util.concatenate(pair), material="granite")
    assert str(refused.value).startswith("The mesh: ")
    assert "weigh each with plumbstone weigh --all" in str(refused.value)
    assert not OPTION.search(str(refused.value))


def test_a_scape_is_refused_in_python_too(tmp_path: Path) -> None:
    tank = '[tank]\ninside = ["60 cm", "30 cm", "36 cm"]\n[[piece]]\nname = "A"\n'
    (tmp_path / "tank.toml").write_text(tank + 'material = "granite"\nscan = "../a.ply"\n')
    with pytest.raises(ps.PlumbstoneError, match="PLUMBSTONE_TRUST") as refused:
        ps.read_scape(tmp_path / "tank.toml")
    assert not OPTION.search(str(refused.value))
    with pytest.raises(ps.PlumbstoneError, match=r"^longest_m needs a scan\.$"):
        ps.weigh(material="granite", mass_kg=1.0, longest_m=0.2)


def test_what_was_kept_is_told_anew_by_who_reads_it(tmp_path: Path) -> None:
    trimesh.creation.icosphere(subdivisions=4, radius=0.1).export(tmp_path / "egg.ply")
    assert type_in("plumbstone weigh egg.ply --keep kept.ply", tmp_path).returncode == 0
    assert "(--longest " in type_in("plumbstone weigh kept.ply", tmp_path).stdout
    assert "(longest_m=" in ps.weigh(tmp_path / "kept.ply", material="granite").why


def test_every_place_that_a_note_leaves_open_is_named() -> None:
    root = Path(__file__).parent.parent
    for path in (*root.glob("meshes/**/*.py"), *root.glob("volumes/**/*.py")):
        if path.name != "telling.py":
            left = re.findall(r"<([a-z-]+)(?: [^<>\"]+)?>", path.read_text("utf-8"))
            assert {*left} <= {*PLACES}, path
