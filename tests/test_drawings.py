"""Drawings: no label over another or cut, heights where they are true, paper at full size."""

import io
import itertools
import re
import zlib
from pathlib import Path

import numpy as np
import pytest
import trimesh
from matplotlib.figure import Figure
from matplotlib.text import Text
from small_tanks import CUBE, ROW, SOIL, forty, frames_of, seen, written_to

from plumbstone.cli.pictures.colours import colour_of, rgb
from plumbstone.cli.pictures.floor_plan import plan_figure
from plumbstone.cli.pictures.front_view import (
    front_figure,
    pane_profiles,
    section_figure,
    sides_figure,
)
from plumbstone.cli.pictures.layout import PAPER_A4, SCREEN, Medium
from plumbstone.cli.pictures.printed import template_pdf, tiles
from plumbstone.cli.pictures.scene import glb_bytes, three_js, view_data
from plumbstone.cli.pictures.sight import Sight
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.mending.thinning import simplified

Box = tuple[float, float, float, float]  # left, bottom, right, top [pixels]
FIGURES = (plan_figure, front_figure, sides_figure, section_figure)


def text_boxes(figure: Figure) -> list[tuple[str, Box]]:
    """Give every visible text of a figure with the box that it fills [pixels]."""
    figure.draw_without_rendering()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    found = []
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip():
            box = text.get_window_extent(renderer)
            found.append((text.get_text(), (box.x0, box.y0, box.x1, box.y1)))
    return found


@pytest.fixture(scope="module")
def sights(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Sight]:
    folder = tmp_path_factory.mktemp("drawings")
    bare = '[tank]\ninside = ["40 cm", "30 cm"]\n'  # its cut lies below the word "back"
    texts = {"cube": CUBE, "row": ROW, "forty": forty(), "bare": bare + SOIL}
    return {name: seen(written_to(folder, text, f"{name}.toml"))[0] for name, text in texts.items()}


@pytest.mark.parametrize(
    ("tank", "units", "medium"),
    [
        ("cube", Units.METRIC, SCREEN),
        ("cube", Units.US, PAPER_A4),
        ("row", Units.METRIC, PAPER_A4),
        ("row", Units.US, SCREEN),
        ("bare", Units.METRIC, SCREEN),
        ("forty", Units.METRIC, SCREEN),
        ("forty", Units.US, PAPER_A4),
    ],
)
def test_no_label_lies_over_another_or_off_the_page(
    sights: dict[str, Sight], tank: str, units: Units, medium: Medium
) -> None:
    for draw in FIGURES:
        figure = draw(sights[tank], units, medium)
        boxes = text_boxes(figure)
        assert len(boxes) > 4
        for words, (left, bottom, right, top) in boxes:
            assert left >= 0, (draw.__name__, words)
            assert bottom >= 0, (draw.__name__, words)
            assert right <= figure.bbox.width, (draw.__name__, words)
            assert top <= figure.bbox.height, (draw.__name__, words)
        for (one, a), (other, b) in itertools.combinations(boxes, 2):
            apart = a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]
            assert apart, (draw.__name__, one, other)


def test_every_piece_has_its_number_on_the_plan(sights: dict[str, Sight]) -> None:
    for sight in sights.values():
        words = [text for text, _ in text_boxes(plan_figure(sight))]
        for form in sight.forms:
            assert str(form.number) in words


@pytest.mark.parametrize(("units", "unit"), [(Units.METRIC, 0.01), (Units.US, 0.0254)])
def test_contours_are_named_once_and_lie_at_their_height(
    sights: dict[str, Sight], units: Units, unit: float
) -> None:
    # The soil is a plane from 3 to 9 cm over 45 cm: its height is 3 + 6 y / 45 (closed form).
    figure = plan_figure(sights["cube"], units)
    boxes = text_boxes(figure)
    named = [(t, b) for t, b in boxes if re.fullmatch(r"[\d.]+ (cm|in)", t)]
    bar = "10 cm" if units is Units.METRIC else "4 in"
    frame = next(iter(frames_of(figure)))
    labels = [(t, b) for t, b in named if not (t == bar and b[3] < frame.y0)]
    assert len(labels) >= 3
    assert len({t for t, _ in labels}) == len(labels)
    for words, (_, bottom, _, top) in labels:
        drawn = 0.03 + 0.06 * ((bottom + top) / 2 - frame.y0) / frame.height
        assert float(words.split()[0]) * unit == pytest.approx(drawn, abs=2e-3)


def test_digits_are_four_millimetres_on_paper() -> None:
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    digit = TextPath((0, 0), "0", prop=FontProperties(size=PAPER_A4.number))
    assert digit.get_extents().height / 72 * 25.4 >= 4.0  # points to millimetres
    assert (PAPER_A4.width, PAPER_A4.height) == pytest.approx((841.9, 595.3), abs=1)  # ISO 216


def streams(pdf: bytes) -> list[str]:
    """The drawing commands of each page of a PDF."""
    packed = re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL)
    found = []
    for part in packed:
        try:
            found.append(zlib.decompress(part).decode("latin-1"))
        except zlib.error:
            continue
    return found


def test_the_template_is_at_full_size(sights: dict[str, Sight]) -> None:
    pdf = template_pdf(sights["row"], Units.METRIC)
    boxes = re.findall(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", pdf)
    assert len(boxes) == len(tiles(sights["row"], Units.METRIC)) == 6
    for width, height in boxes:
        assert float(width) / 72 * 25.4 == pytest.approx(297, abs=0.1)  # A4, ISO 216
        assert float(height) / 72 * 25.4 == pytest.approx(210, abs=0.1)
    lines = re.compile(r"([\d.]+) ([\d.]+) m\n([\d.]+) ([\d.]+) l")
    with_bar = 0
    for text in streams(pdf):
        spans = [abs(float(x1) - float(x0)) for x0, y0, x1, y1 in lines.findall(text) if y0 == y1]
        with_bar += any(span / 72 * 25.4 == pytest.approx(100, abs=0.05) for span in spans)
    assert with_bar == len(boxes)


def area(ring: np.ndarray) -> float:
    """Area of a polygon (shoelace formula)."""
    x, y = ring.T
    return abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2


def test_outlines_are_those_of_the_solids(sights: dict[str, Sight]) -> None:
    box = next(f for f in sights["cube"].forms if f.body.entry.name == "Tall slate")
    # Traced on a grid of 1 mm: half a millimetre on each side, and corners rounded by one.
    assert area(box.above[0]) == pytest.approx(0.16 * 0.05, rel=0.03)
    assert area(box.front[0]) == pytest.approx(0.16 * 0.26, rel=0.01)


def test_what_the_bed_covers_is_told_from_what_shows(sights: dict[str, Sight]) -> None:
    # 3 cm high where the soil stands 7.9 cm high, against 26 cm where it stands 6.5 cm.
    buried = {form.body.entry.name: form.buried for form in sights["cube"].forms}
    assert buried["Hidden foot"]
    assert not buried["Tall slate"]


def test_lines_to_pour_to_are_the_drawn_heights(sights: dict[str, Sight]) -> None:
    (soil,) = sights["cube"].plan.bed.layers  # type: ignore[union-attr]
    profiles = pane_profiles(soil)
    assert profiles["front"][1] == pytest.approx(0.03, abs=1e-3)  # half a cell of 4 mm behind it
    assert profiles["back"][1] == pytest.approx(0.09, abs=1e-3)
    assert profiles["left"][1][[0, -1]] == pytest.approx([0.03, 0.09], abs=1e-3)


def test_the_front_view_shows_layers_in_the_colour_of_their_material(
    sights: dict[str, Sight],
) -> None:
    sight = sights["row"]
    for result in sight.plan.bed.layers[1:]:  # type: ignore[union-attr]
        rows, columns, _ = sight.from_front.shape
        row = int(0.01 / sight.height * rows)  # 1 cm up, where sand lies at the front pane
        seen_there = sight.from_front[row, columns // 3 : columns // 2, :3].mean(axis=0)
        wanted = np.array(rgb(colour_of(result.layer.material)))
        cosine = seen_there @ wanted / np.linalg.norm(seen_there) / np.linalg.norm(wanted)
        assert cosine > 0.999


def test_layers_of_the_scene_are_closed_and_hold_their_volume(tmp_path: Path) -> None:
    bare = '[tank]\ninside = ["45 cm", "45 cm", "45 cm"]\n' + SOIL
    sight, _ = seen(written_to(tmp_path, bare))
    scene = trimesh.load(io.BytesIO(glb_bytes(sight)), file_type="glb")
    soil = scene.geometry["layer 1 Soil"]
    edges = np.concatenate([soil.faces[:, [k, (k + 1) % 3]] for k in range(3)])
    there = {(int(a), int(b)) for a, b in edges}
    assert len(there) == len(edges)  # closed: each edge once, and once the other way
    assert there == {(b, a) for a, b in there}
    # A plane from 3 to 9 cm: 6 cm on average over 45 × 45 cm (closed form).
    assert soil.volume == pytest.approx(0.06 * 0.45 * 0.45, rel=2e-3)


def test_fewer_faces_keep_the_form() -> None:
    ball = trimesh.creation.icosphere(subdivisions=5, radius=0.1)  # 20 480 faces
    vertices, faces = simplified(np.array(ball.vertices), np.array(ball.faces), 1500)
    thin = trimesh.Trimesh(vertices, faces, process=False)
    assert len(faces) <= 1500
    assert thin.is_watertight
    assert thin.volume == pytest.approx(ball.volume, rel=0.03)


def test_the_view_has_its_library_and_every_piece(sights: dict[str, Sight]) -> None:
    code = three_js()
    assert code is not None
    assert code.startswith("/**")
    assert "Three.js Authors" in code[:200]
    assert "SPDX-License-Identifier: MIT" in code[:200]
    data = view_data(sights["row"])
    assert [piece["number"] for piece in data["pieces"]] == list(range(1, 7))
    assert data["size"][:2] == [0.6, 0.3]


def test_the_same_plan_gives_the_same_files(sights: dict[str, Sight], tmp_path: Path) -> None:
    again = seen(written_to(tmp_path, CUBE))[0]
    assert template_pdf(again, Units.US) == template_pdf(sights["cube"], Units.US)
