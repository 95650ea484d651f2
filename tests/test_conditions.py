"""Scans under the conditions of shops, stones and noise that nobody tuned to: is any word false?

What is judged is the printed word: a figure called good or fair whose range misses the truth.
`python tests/judge_scans.py` prints the table of the README as it goes.
"""

from pathlib import Path

import numpy as np
import pytest
import trimesh
from judge_scans import FIRST, NAMES, judged, lines_of, rows, written
from judged_shapes import other_wood
from phone_scans import lumpy_stones, seeded_stones, seeded_wood
from PIL import Image
from scan_conditions import capsule, held, made, painted, plain, standing
from skimage.measure import marching_cubes

from plumbstone.meshes.closing import limbs
from plumbstone.meshes.closing.attached import arm_of
from plumbstone.meshes.closing.bodies import ClosedScan, open_body
from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.measures.faults import enclosed_volume, face_areas, open_edges
from plumbstone.meshes.measures.isolating import ghosts_in, layers_in
from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.writing import ply_bytes

FALSE = 0.02  # share of scans whose word may be false


STONES = {"fractured": seeded_stones(1, 520), "lumpy": lumpy_stones(1, 720)}


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("on a stand", "fractured"),
        ("table closed to a slab", "lumpy"),
        pytest.param("on a stand", "lumpy", marks=pytest.mark.slow),
        pytest.param("held in a hand", "fractured", marks=pytest.mark.slow),  # below: two are quick
        pytest.param("held in a hand", "lumpy", marks=pytest.mark.slow),
        pytest.param("table closed to a slab", "fractured", marks=pytest.mark.slow),
    ],
)
def test_what_is_no_stone_is_told(name: str, form: str) -> None:
    for row in rows(name, STONES[form], 0, teach=True):
        assert not row.get("false"), row


def test_a_second_layer_of_the_skin_is_no_second_body(tmp_path: Path) -> None:
    scan = made("ghost layer", seeded_stones(11, 40000)[10], 40046)  # more than a fifth of it twice
    found = closed_scan(written(scan, tmp_path), Ruler("m"))
    assert found.volume.low < scan.volume < found.volume.high
    assert any("second layer" in said for said in found.piece.changes)
    assert {doubt.what for doubt in found.doubts} >= {"ghost", "underside"}
    assert found.volume.half_width < 0.15


def test_a_layer_over_a_stone_that_lies_loose_on_its_table_is_found() -> None:
    ball = trimesh.creation.icosphere(4, 0.1)
    stone, over = ball.vertices + [0, 0, 0.1], ball.vertices * 1.03 + [0, 0, 0.1]
    cap = ball.faces[ball.vertices[ball.faces][:, :, 2].mean(axis=1) > 0.05]
    plate = trimesh.creation.box((0.6, 0.6, 0.01)).subdivide().subdivide().subdivide()
    count = len(stone)
    vertices = np.concatenate([stone, over, plate.vertices - [0, 0, 0.02]])
    faces = np.concatenate([ball.faces, cap + count, plate.faces + 2 * count])
    ghost, between = ghosts_in(vertices, faces)
    assert ghost[len(ball.faces) :][: len(cap)].all()
    assert ghost.sum() == len(cap)
    # A cap of a ball has the area 2 pi r h: here r = 103 mm, h about 51 mm, 3 mm off.
    assert between == pytest.approx(2 * np.pi * 0.103 * 0.0515 * 0.003, rel=0.1)


def test_a_layer_that_is_joined_to_the_skin_is_found() -> None:
    inner, outer = (trimesh.creation.icosphere(5, r) for r in (0.1, 0.103))
    both = trimesh.util.concatenate([inner, outer])
    # Two balls about one middle: 4/3 pi (0.103^3 - 0.1^3) lies between them.
    between = 4 / 3 * np.pi * (0.103**3 - 0.1**3)
    assert layers_in(both.vertices, both.faces) == pytest.approx(between, rel=0.15)
    thin = trimesh.creation.box((0.2, 0.2, 0.003)).subdivide_to_size(0.004)
    for one in (inner, thin):  # what lies behind a skin looks the other way
        assert layers_in(one.vertices, one.faces) == 0
    assert layers_in(both.vertices * 0.03, both.faces) == 0  # took all memory: a unit that is wrong
    # A cap 3 mm over a ball, joined to it by a strip of faces along its edge.
    cap = inner.faces[inner.triangles_center[:, 2] > 0.06]
    edge, count = open_edges(cap), len(inner.vertices)
    a, b = edge.T
    strip = np.concatenate(
        [np.column_stack([b + count, a + count, a]), np.column_stack([b + count, a, b])]
    )
    vertices = np.concatenate([inner.vertices, outer.vertices])
    faces = np.concatenate([inner.faces, cap + count, strip])
    _, none = ghosts_in(vertices, faces)
    ghost, between = ghosts_in(vertices, faces, crowded=True)
    assert none == 0
    assert ghost.sum() in {len(cap), len(cap) + len(strip)}  # either layer may be the false one
    assert between == pytest.approx(face_areas(inner.vertices, cap).sum() * 0.003, rel=0.2)


def test_limbs_may_be_missing_where_wood_was_not_seen(tmp_path: Path) -> None:
    # A third of it hung on the side that is missing; the range reached 22 % higher, no more.
    scan = made("a flank missing", other_wood(1, 41006)[0], 41006)
    path = written(scan, tmp_path)
    with pytest.raises(
        ScanError, match="was not seen, and limbs may be missing there; scan it again"
    ):
        closed_scan(path, Ruler("m", longest=scan.longest))
    found = closed_scan(path, Ruler("m"))
    assert found.trust == "poor"
    assert found.doubt.what == "side"
    assert found.volume.low < scan.volume < found.volume.high


def test_wood_as_long_as_measured_lacks_no_limb_that_reaches_farther(tmp_path: Path) -> None:
    scan = made("a flank missing", other_wood(1, 56004)[0], 56004, fine=True)
    path, wide = written(scan, tmp_path), []
    for longest in (scan.longest * scan.wrong, scan.longest * scan.wrong * 1.07):
        found = closed_scan(path, Ruler("m", longest=longest))
        truth = scan.volume * (longest / scan.longest) ** 3
        assert found.volume.low < truth < found.volume.high
        assert found.trust == "poor"
        wide.append(found.volume.half_width)
    assert wide[0] < 0.2 < 0.5 < wide[1]


def test_a_file_of_no_scale_contradicts_no_measured_length(tmp_path: Path) -> None:
    # Pictures alone are free in scale: 1.3 times may be a wrong length, 2.4 times is none.
    scan = made("a flank missing", seeded_stones(1, 56010)[0], 56010)
    path, ruler, wide = tmp_path / "scan.ply", Ruler("m", longest=scan.longest), []
    for factor in (1.0, 2.4):
        path.write_bytes(ply_bytes(scan.vertices * factor, scan.faces))
        found = closed_scan(path, ruler)
        assert found.trust == "poor"
        assert found.volume.low < scan.volume < found.volume.high
        wide.append(found.volume.half_width)
    assert wide[0] < wide[1]
    path.write_bytes(ply_bytes(scan.vertices * 1.3, scan.faces))
    with pytest.raises(ScanError, match=r"times as long as measured, and the side .* not seen"):
        closed_scan(path, ruler)


@pytest.mark.parametrize(("radius", "step"), [(0.01, 0.006), (0.015, 0.006), (0.02, 0.012)])
def test_what_coarse_faces_take_off_limbs_is_given_back(
    radius: float, step: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limbs, "EDGES", 0.0)  # what fusion takes off besides is not in here
    monkeypatch.setattr(limbs, "CALM_LIMBS", -np.inf)  # nor the noise that tells it from a LiDAR's
    limb = capsule(np.zeros(3), np.array([0.2, 0.15, 0.1]), radius)
    axes = [np.arange(-2 * radius, end + 3 * radius, step) for end in (0.2, 0.15, 0.1)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    vertices, faces, _, _ = marching_cubes(limb(grid.reshape(-1, 3)).reshape(grid.shape[:3]), 0.0)
    vertices, faces = vertices.astype(float) * step, faces.astype(np.int64)
    truth = np.pi * radius**2 * np.linalg.norm([0.2, 0.15, 0.1]) + 4 / 3 * np.pi * radius**3
    body = open_body(vertices, faces, None, (), np.zeros((0, 3, 3)))
    raw = enclosed_volume(vertices, faces)
    off = enclosed_volume(limbs.righted(body, vertices, faces, raw), faces) / truth - 1
    assert raw / truth - 1 < -0.025
    assert abs(off) < (1 - raw / truth) / 4


def test_limbs_of_a_closed_scan_are_doubted_by_its_faces(tmp_path: Path) -> None:
    _, vertices, faces = seeded_wood(1, 900)[0]  # faces of some millimetres, as apps close scans
    limbs = trimesh.Trimesh(vertices, faces, process=False)
    above = []
    for mesh in (limbs, limbs.subdivide()):
        (tmp_path / "a.ply").write_bytes(ply_bytes(mesh.vertices, mesh.faces))
        found = closed_scan(tmp_path / "a.ply", Ruler("m"))
        (told,) = [doubt for doubt in found.doubts if doubt.what == "resolution"]
        assert 0 < told.below < told.above
        above.append(told.above)
    # At most 1.3 mm more on all of the skin of round limbs, which is 2 / r of their volume.
    assert above[0] < (1 + 0.0013 * limbs.area / limbs.volume / 2) ** 2 - 1
    assert above[1] == pytest.approx(above[0] / 2, rel=0.15)  # faces half as wide


def test_an_arm_is_told_from_what_it_holds_by_its_even_sections() -> None:
    arm, ball = (
        trimesh.creation.cylinder(0.03, 0.4, sections=40),
        trimesh.creation.icosphere(3, 0.1),
    )
    ball.apply_translation([0, 0, 0.28])
    both = trimesh.boolean.union([arm, ball], engine="manifold")
    found = arm_of(both.vertices, both.faces)
    assert found is not None
    begins = 0.28 - (0.1**2 - 0.03**2) ** 0.5  # where the arm meets the ball
    heights = both.triangles_center[:, 2]
    assert found[heights < begins - 0.02].all()
    assert not found[heights > begins + 0.02].any()
    assert arm_of(ball.vertices, ball.faces) is None


def test_a_held_stone_is_told_by_its_length_though_the_arm_is_as_long(tmp_path: Path) -> None:
    stone = seeded_stones(4, 41000)[0]
    scan = made("held in a hand", stone, 41003)  # its arm is in view for 95 % of that length
    found = closed_scan(written(scan, tmp_path), Ruler("m", longest=scan.longest))
    assert found.volume.low < scan.volume < found.volume.high
    assert found.volume.mid == pytest.approx(scan.volume, rel=0.05)
    assert found.trust == "poor"


def test_an_arm_of_another_colour_is_cut_off(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    scene = held(standing(seeded_stones(1, 520)[0], rng), rng)
    vertices, faces = plain(scene, rng)
    seen = painted(vertices, scene, rng)

    def painted_at_corners(colours: np.ndarray) -> ClosedScan:
        mesh = trimesh.Trimesh(vertices, faces, process=False, vertex_colors=colours)
        mesh.export(tmp_path / "scan.ply")
        return closed_scan(tmp_path / "scan.ply", Ruler("m"))

    textured(vertices, faces, seen).export(tmp_path / "scan.glb")
    for told in (painted_at_corners(seen), closed_scan(tmp_path / "scan.glb", Ruler("m"))):
        assert told.volume.mid == pytest.approx(scene.volume, rel=0.06)
        assert told.volume.low < scene.volume < told.volume.high
        assert told.volume.half_width < 0.25
        assert told.trust == "poor"
        assert any("cut off" in doubt.says for doubt in told.doubts)
    # All of one colour, nothing tells that the arm is none of the stone.
    grey = painted_at_corners(np.full_like(seen, 120))
    assert "parts of" in grey.doubt.says
    assert grey.volume.half_width > 0.4


def textured(vertices: np.ndarray, faces: np.ndarray, colours: np.ndarray) -> trimesh.Trimesh:
    """A mesh, y up, with a texture of a pixel for each face."""
    wide = int(np.ceil(len(faces) ** 0.5))
    texture, number = np.zeros((wide, wide, 3), np.uint8), np.arange(len(faces))
    texture[number // wide, number % wide] = colours[faces[:, 0]]
    uv = np.column_stack([number % wide + 0.5, wide - number // wide - 0.5]) / wide
    material = trimesh.visual.material.PBRMaterial(baseColorTexture=Image.fromarray(texture))
    skin = trimesh.visual.TextureVisuals(uv=np.repeat(uv, 3, axis=0), material=material)
    corners = vertices[faces].reshape(-1, 3)[:, [0, 2, 1]] * [1, 1, -1]
    order = np.arange(len(corners)).reshape(-1, 3)
    return trimesh.Trimesh(corners, order, process=False, visual=skin)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_no_word_is_false(name: str) -> None:
    table = list(judged(name, 24, FIRST, teach=False))
    print(*lines_of(name, table), sep="\n")
    for ruler in {row["ruler"] for row in table}:
        some = [row for row in table if row["ruler"] == ruler]
        assert sum(bool(row.get("false")) for row in some) <= FALSE * len(some), ruler
