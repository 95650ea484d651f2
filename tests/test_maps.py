"""Height maps: litres by hand, whatever the depth of the picture; other kinds refused."""

from pathlib import Path

import numpy as np
import pytest
from commands import refuse, type_in
from PIL import Image

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.scape.maps import picture_levels, table_levels
from plumbstone.volumes.scape.scape import read_scape

TANK = """
[tank]
inside = ["40 cm", "20 cm", "30 cm"]
[[layer]]
material = "sand"
depth = {{ map = "{}", black = "2 cm", white = "6 cm" }}
"""


@pytest.mark.parametrize("kind", ["8 bits", "16 bits", "float", "colour"])
@pytest.mark.parametrize("share", [0.25, 0.5, 0.9])
def test_levels_of_every_depth_of_picture(tmp_path: Path, kind: str, share: float) -> None:
    # By hand: level = black + share of white over all grey, 255, 65535 or 1.
    values = {
        "8 bits": np.full((4, 6), round(share * 255), np.uint8),
        "16 bits": np.full((4, 6), round(share * 65535), np.uint16),
        "float": np.full((4, 6), share, np.float32),
        "colour": np.full((4, 6, 3), round(share * 255), np.uint8),
    }[kind]
    path = tmp_path / ("map.tiff" if kind == "float" else "map.png")
    Image.fromarray(values).save(path)
    levels = picture_levels(path, 0.02, 0.06)
    assert levels.shape == (4, 6)
    assert levels == pytest.approx(np.full((4, 6), 0.02 + 0.04 * share), abs=0.04 / 255)


def test_a_sixteen_bit_map_pours_what_it_draws(tmp_path: Path) -> None:
    # 40 × 20 cm, half way between 2 and 6 cm: 40 · 20 · 4 cm³ = 3.2 L.
    Image.fromarray(np.full((8, 8), 32768, np.uint16)).save(tmp_path / "m.png")
    (tmp_path / "t.toml").write_text(TANK.format("m.png"), encoding="utf-8")
    done = type_in("plumbstone bed t.toml --grid 8", tmp_path)
    assert "3.2" in done.stdout, done.stderr


def test_other_kinds_of_pictures_are_never_opened(tmp_path: Path) -> None:
    eps = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n%%EndComments\nshowpage\n"
    for name, content in (("e.png", eps), ("g.png", b"GIF89a" + bytes(60)), ("t.png", b"text")):
        (tmp_path / name).write_bytes(content)
        (tmp_path / "t.toml").write_text(TANK.format(name), encoding="utf-8")
        assert "PNG, TIFF, JPEG" in refuse("plumbstone bed t.toml", tmp_path)


def test_large_pictures_are_refused_before_they_are_unpacked(tmp_path: Path) -> None:
    Image.new("L", (8000, 8000)).save(tmp_path / "big.png")
    with pytest.raises(PlumbstoneError, match="64 million pixels, over 20"):
        picture_levels(tmp_path / "big.png", 0.0, 0.1)


def test_damaged_pictures_and_tables(tmp_path: Path) -> None:
    Image.fromarray(np.zeros((64, 64), np.uint8)).save(tmp_path / "m.png")
    whole = (tmp_path / "m.png").read_bytes()
    (tmp_path / "cut.png").write_bytes(whole[:60])
    Image.fromarray(np.full((4, 4), 7.0, np.float32)).save(tmp_path / "f.tiff")
    for name, words in (
        ("cut.png", "damaged"),
        ("f.tiff", "0 to 1"),
        ("none.png", "check the name"),
    ):
        with pytest.raises(PlumbstoneError, match=words):
            picture_levels(tmp_path / name, 0.0, 0.1)
    for text in ("", "1,2", "1,nan\n2,3", "1,-2\n2,3", "secret,1\n2,3", "1,2\n3"):
        (tmp_path / "m.csv").write_text(text, encoding="utf-8")
        with pytest.raises(PlumbstoneError) as told:
            table_levels(tmp_path / "m.csv")
        assert "secret" not in str(told.value)


def test_tables_from_other_systems(tmp_path: Path) -> None:
    for text in ("\ufeff1,2\r\n3,4\r\n", "1,0;2\n3;4,0\n"):
        (tmp_path / "m.csv").write_bytes(text.encode())
    assert table_levels(tmp_path / "m.csv") == pytest.approx(np.array([[1, 2], [3, 4]]) * 1e-2)


def test_a_map_counts_among_what_was_read(tmp_path: Path) -> None:
    (tmp_path / "m.csv").write_text("1,2\n3,4\n", encoding="utf-8")
    (tmp_path / "t.toml").write_text(TANK.format("m.csv"), encoding="utf-8")
    assert read_scape(tmp_path / "t.toml").files == (tmp_path / "t.toml", tmp_path / "m.csv")
