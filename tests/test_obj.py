"""Lines of OBJ and of point clouds as programs write them, read to the corner."""

from pathlib import Path

import numpy as np
import pytest

from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.reading.obj import parsed_obj
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.reading.points import parsed_points
from plumbstone.meshes.reading.scans import read_raw

SQUARE = b"v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"


@pytest.mark.parametrize(
    ("faces", "wanted"),
    [
        (b"f 1 2 3\nf 1 3 4\n", [[0, 1, 2], [0, 2, 3]]),
        (b"f 1 2 3 4\n", [[0, 1, 2], [0, 2, 3]]),  # a polygon is a fan around its first corner
        (b"f -4 -3 -2\nf -4 -2 -1\n", [[0, 1, 2], [0, 2, 3]]),  # counted from the last one
        (b"f 1/7/9 2/8/9 3/9/9\nf 1//5 3//5 4//5\n", [[0, 1, 2], [0, 2, 3]]),
        (
            b"f 1 2 3 4\nf 4 3 1\nf 2 4 1 3\n",
            [[0, 1, 2], [0, 2, 3], [3, 2, 0], [1, 3, 0], [1, 0, 2]],
        ),
        (b"f 1 2 \\\n3 4\n", [[0, 1, 2], [0, 2, 3]]),  # a line goes on after a backslash
        (b"# f 9 9 9\ng part\ns off\nf\t1\t2\t3\n", [[0, 1, 2]]),
    ],
)  # Wavefront's specification, appendix B1 "Object Files", from memory
def test_faces_of_obj(faces: bytes, wanted: list[list[int]]) -> None:
    (part,) = parsed_obj(SQUARE + faces).parts
    assert part.faces.tolist() == wanted
    assert part.vertices.tolist() == [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]


def test_weights_and_colours_behind_a_place_are_no_places() -> None:
    coloured = b"".join(line + b" 1 0.5 0\n" for line in SQUARE.splitlines()) + b"f 1 2 3\n"
    (part,) = parsed_obj(coloured, {}).parts  # type: ignore[arg-type]
    assert part.vertices[2].tolist() == [1, 1, 0]
    assert part.colours is not None
    assert part.colours[0] == pytest.approx([255, 127.5, 0])
    uneven = b"v 0 0 0 1\nv 1 0 0\nv 1 1 0 1\nf 1 2 3\n"
    assert parsed_obj(uneven).parts[0].vertices.tolist() == [[0, 0, 0], [1, 0, 0], [1, 1, 0]]
    assert len(parsed_obj(SQUARE).parts[0].faces) == 0  # points alone


@pytest.mark.parametrize(
    "text",
    [
        "1 2 3\n4 5 6\n",
        "x y z\n1 2 3\n4 5 6\n",
        "// a scanner\n2\n1, 2, 3\n4, 5, 6\n",
        "1;2;3;255;0;0\n\n4;5;6;0;0;0\n",
        "\ufeff1,0;2,0;3,0\n4,0;5,0;6,0\n",
        "1,0 2,0 3,0\r\n4,0 5,0 6,0\r\n",
    ],
)
def test_points_in_lines(tmp_path: Path, text: str) -> None:
    found = parsed_points(tmp_path / "a.xyz", text.encode(), ".xyz").parts[0].vertices
    assert found.tolist() == [[1, 2, 3], [4, 5, 6]]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name,price\nstone,4\n", "table of something else"),
        ("1 2 3\n4 5\n", "row 2"),
        ("1,5,2,5,3,5\n", "commas between numbers and in them"),
    ],
)
def test_lines_that_are_no_points(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(ScanError, match=words):
        parsed_points(tmp_path / "a.xyz", text.encode(), ".xyz")


HEAD = "# .PCD v0.7\nVERSION 0.7\nFIELDS {fields}\nSIZE {size}\nTYPE {kind}\nCOUNT {count}\nWIDTH 3\nHEIGHT 1\nPOINTS {points}\nDATA {data}\n"


def test_points_of_pcd(tmp_path: Path) -> None:
    # The layout of fields: Point Cloud Library, "The PCD file format", from memory.
    rows = np.array([(7, 1.5, 2, [9, 9], 3), (7, 4, 5, [9, 9], 6), (7, np.nan, 0, [9, 9], 0)],
                    dtype="<u2, <f4, <f4, (2,)<u1, <f8")  # fmt: skip
    layout = {"fields": "i x y n z", "size": "2 4 4 1 8", "kind": "U F F U F", "count": "1 1 1 2 1"}
    content = HEAD.format(**layout, points=3, data="binary").encode() + rows.tobytes()
    found = parsed_points(tmp_path / "a.pcd", content, ".pcd").parts[0].vertices
    assert found.tolist() == [[1.5, 2, 3], [4, 5, 6]]  # without what was not measured
    plain = HEAD.format(**layout, points=2, data="ascii") + "7 1.5 2 9 9 3\n7 4 5 9 9 6\n"
    found = parsed_points(tmp_path / "a.pcd", plain.encode(), ".pcd").parts[0].vertices
    assert found.tolist() == [[1.5, 2, 3], [4, 5, 6]]
    cut = HEAD.format(**layout, points=9, data="binary").encode() + rows.tobytes()
    with pytest.raises(ScanError, match="promises 9 points"):
        parsed_points(tmp_path / "a.pcd", cut, ".pcd")
    packed = HEAD.format(**layout, points=3, data="binary_compressed").encode() + b"x"
    with pytest.raises(ScanError, match="compressed"):
        parsed_points(tmp_path / "a.pcd", packed, ".pcd")


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (b"v 0 0 0\n", b"\xef\xbb\xbfv 0 0 0\n"),
        (b"f 1 2 3", b"f 1 2 3 # front"),
        (b"f 1 2 3", b"f -4 -3 -2"),
        (b"f 1 2 3\n", b"f -4/-1 -3/-1 -2/-1\nv 0.5 0.5 9\n"),
    ],
)
def test_an_obj_in_other_words(tmp_path: Path, before: bytes, after: bytes) -> None:
    """Marks of encoding, remarks, and corners counted back from where a face stands."""
    plain = SQUARE + b"vt 0 0\nf 1 2 3\nf 1 3 4\n"
    changed = plain.replace(before, after)
    assert changed != plain
    (tmp_path / "b.obj").write_bytes(changed)
    raw = read_raw(tmp_path / "b.obj", Ruler("m"))
    halves = [[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, 0], [1, 1, 0], [0, 1, 0]]]
    assert raw.vertices[raw.faces].tolist() == halves
    (tmp_path / "a.obj").write_bytes(b"\xff\xfe" + plain.decode().encode("utf-16-le"))
    assert read_raw(tmp_path / "a.obj", Ruler("m")).faces.shape == (2, 3)


@pytest.mark.parametrize(
    "text",
    [
        "id,x,y,z\n7,1,2,3\n8,4,5,6\n",
        "R;G;B;X;Y;Z\n9;9;9;1,0;2,0;3,0\n9;9;9;4,0;5,0;6,0\n",
        '"z","y","x"\n"3","2","1"\n"6","5","4"\n',
        "# x y z\n1 2 3\nnan nan nan\n4 5 6\n# end\n",
        "# fields: x y z i\n1 2 3 9\n4 5 6 9\n",  # words that are no names of columns
    ],
)
def test_columns_as_a_header_names_them(tmp_path: Path, text: str) -> None:
    found = parsed_points(tmp_path / "a.csv", text.encode(), ".csv").parts[0].vertices
    assert found.tolist() == [[1, 2, 3], [4, 5, 6]]
