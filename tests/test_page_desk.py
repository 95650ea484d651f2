"""What the page writes and computes, without a browser: the same as the command line."""

import asyncio
import io
import json
import random
import tomllib
import tracemalloc
import zipfile
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pytest
import trimesh
from commands import type_in
from pages import DEMO, TWIG, demo_in
from PIL import Image

from plumbstone.cli.documents import plan_document
from plumbstone.cli.page.changes import added_somewhere, mirrored, with_border, with_tub_test
from plumbstone.cli.page.desk import ChangedOutsideError, Desk, glimpse_spacing
from plumbstone.cli.page.folder import Folder, FolderError
from plumbstone.cli.page.handles import handles_of, pulled
from plumbstone.cli.page.measures import Measures
from plumbstone.cli.page.scan_job import ScanError, ScanJob
from plumbstone.cli.page.starting import SIDES
from plumbstone.cli.page.thumbnail import thumbnail_by_size
from plumbstone.cli.wording.offers import TUB_MASS
from plumbstone.cli.wording.page_labels import JUST_SINKS
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Piece
from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.report import report_of
from plumbstone.volumes.scape.scape import read_scape, scape_from
from plumbstone.volumes.scape.writing import pieces_named, with_keys

T = TypeVar("T")


def awaited(work: Coroutine[Any, Any, T]) -> T:
    """Run a loop in a thread of its own, as that of a browser may be open in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


async def edited(desk: Desk, dice: random.Random) -> None:
    """Move or turn one piece, pull the soil or fill, as far as the page lets it."""
    name = dice.choice(pieces_named(desk.text))
    at = [f"{dice.randrange(10, 70) / 2:g} cm", f"{dice.randrange(10, 40) / 2:g} cm"]
    low, high = f"{dice.randrange(2, 6) / 2:g} cm", f"{dice.randrange(6, 14) / 2:g} cm"
    table, name, keys = dice.choice(
        [
            ("piece", name, {"at": at}),
            ("piece", name, {"turn": dice.randrange(-180, 180)}),
            ("layer", "Soil", {"height": {"front": low, "back": high}}),
            ("tank", None, {"water_line": f"{dice.randrange(16, 24)} cm"}),
        ]
    )
    try:
        await desk.change(lambda text: with_keys(text, table, name, keys))
    except PlumbstoneError:
        return  # it told why and wrote nothing


def same_as_alone(desk: Desk) -> None:
    """Compare all figures with a computation of the saved file from scratch, to the last bit."""
    assert desk.seen is not None
    assert desk.seen.judged
    alone = report_of(Layout(read_scape(desk.folder.scape(desk.name))).plan())
    assert plan_document(desk.seen.report) == plan_document(alone)


@pytest.mark.parametrize("edits", [6, pytest.param(50, marks=pytest.mark.slow)])
def test_edits_equal_the_command_line_bit_for_bit(tmp_path: Path, edits: int) -> None:
    (tmp_path / "small.toml").write_text(TWIG, encoding="utf-8")
    desk, dice = Desk(Folder(tmp_path), "small.toml"), random.Random(16)

    async def work() -> None:
        await desk.look()
        for count in range(edits):
            await edited(desk, dice)
            await desk.refine()
            if count % 5 == 0 or count == edits - 1:
                same_as_alone(desk)
        while desk.done:
            await desk.undo()

    awaited(work())
    assert (tmp_path / "small.toml").read_text(encoding="utf-8") == TWIG
    assert type_in("plumbstone plan small.toml", tmp_path).returncode == 0


def test_exact_work_gives_way_to_the_hand_and_ends_with_what_is_newest(tmp_path: Path) -> None:
    (tmp_path / "small.toml").write_text(TWIG, encoding="utf-8")
    desk, stages = Desk(Folder(tmp_path), "small.toml"), []

    def told() -> None:
        assert desk.seen is not None
        stages.append((desk.seen.exact, desk.seen.judged, desk.version))

    async def work() -> None:
        await desk.look()
        first = asyncio.create_task(desk.refine(told))
        for step in range(4):
            await desk.moved("Stone", (0.20 + step / 200, 0.13))
        assert not any(judged for _, judged, _ in stages)
        await desk.change(lambda text: with_keys(text, "piece", "Stone", {"turn": 30}))
        assert desk.seen is not None
        assert not desk.seen.exact
        await first

    awaited(work())
    last = desk.version
    done = [stage for stage in stages if stage[2] == last]
    assert (True, False, last) in done  # litres first
    assert done[-1] == (True, True, last)
    same_as_alone(desk)


def test_what_is_remembered_is_bounded() -> None:
    memo = Memo(most=1_000_000)
    for size in range(50):
        memo(np.zeros, 20_000 + size)  # 160 kB
    assert memo.computed == 50
    memo(np.zeros, 20_049)
    assert memo.computed == 50  # the last ones are still known
    memo(np.zeros, 20_040)
    assert memo.computed == 51


@pytest.mark.slow
def test_memory_stays_flat(tmp_path: Path) -> None:
    (tmp_path / "small.toml").write_text(TWIG, encoding="utf-8")
    desk, dice = Desk(Folder(tmp_path), "small.toml"), random.Random(3)
    most = 60_000_000  # so that it is full long before the first reading

    async def work(edits: int) -> int:
        for count in range(edits):
            await edited(desk, dice)
            if count % 25 == 0:
                await desk.refine()
        return tracemalloc.get_traced_memory()[0]

    async def whole() -> tuple[int, int]:
        await desk.look()
        assert desk.layout is not None
        desk.layout = replace(desk.layout, memo=Memo(most))
        return await work(250), await work(250)

    tracemalloc.start()
    early, late = awaited(whole())
    tracemalloc.stop()
    # Texts of 500 undos are 0.4 MB.
    assert late < early * 1.1 + 1e6
    assert late < 2 * most  # inputs of what is remembered live on, too


def test_what_is_seen_under_the_hand_is_the_preview_of_that_place(tmp_path: Path) -> None:
    file = tmp_path / "small.toml"
    file.write_text(TWIG.replace('at = ["20 cm"', 'price = 4.5\nat = ["20 cm"'), encoding="utf-8")
    desk = Desk(Folder(tmp_path), file.name)

    async def work() -> None:
        await desk.look()
        glimpse = await desk.moved("Stone", (0.22, 0.13))
        assert desk.layout is not None
        spacing = glimpse_spacing((0.40, 0.25))
        whole = report_of(desk.layout.moved("Stone", (0.22, 0.13)).preview(spacing))
        for name in ("water", "load", "costs", "layers"):
            assert getattr(glimpse.report, name) == getattr(whole, name)
        assert glimpse.report.costs.pieces is not None

    awaited(work())


def test_a_place_that_cannot_be_is_refused_and_not_written(tmp_path: Path) -> None:
    file = demo_in(tmp_path)
    before = file.read_bytes()
    desk = Desk(Folder(tmp_path), DEMO)

    async def work() -> None:
        await desk.look()
        await desk.change(
            lambda text: with_keys(text, "piece", "Border 1", {"at": ["1 cm", "14.5 cm"]})
        )

    with pytest.raises(PlumbstoneError, match="left pane"):
        awaited(work())
    assert file.read_bytes() == before
    assert not desk.done


def test_a_file_changed_outside_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "small.toml").write_text(TWIG, encoding="utf-8")
    desk, mine = Desk(Folder(tmp_path), "small.toml"), {"turn": 20}
    theirs = TWIG.replace('"20 cm", "12 cm"', '"21 cm", "12 cm"')

    async def work() -> None:
        await desk.look()
        (tmp_path / "small.toml").write_text(theirs, encoding="utf-8")
        with pytest.raises(ChangedOutsideError):
            await desk.change(lambda text: with_keys(text, "piece", "Stone", mine))
        assert (tmp_path / "small.toml").read_text(encoding="utf-8") == theirs
        assert await desk.look()
        assert desk.text == theirs
        await desk.undo()
        assert desk.text == TWIG

    awaited(work())


def test_a_tab_asks_before_it_undoes_what_another_did(tmp_path: Path) -> None:
    (tmp_path / "small.toml").write_text(TWIG, encoding="utf-8")
    desk, mine, yours = Desk(Folder(tmp_path), "small.toml"), object(), object()

    def turned(angle: int) -> Callable[[str], str]:
        return lambda text: with_keys(text, "piece", "Stone", {"turn": angle})

    async def work() -> None:
        await desk.look()
        for angle, tab in ((10, mine), (20, yours), (30, yours)):
            await desk.change(turned(angle), by=tab)
        for left in (2, 1):  # asked once for both
            if left == 2:
                with pytest.raises(PlumbstoneError, match="in another tab"):
                    await desk.undo(by=mine)
                assert "turn = 30" in desk.text
            await desk.undo(by=mine)
            assert f"turn = {10 * left}" in desk.text
        await desk.undo(by=mine)  # its own
        assert desk.text == TWIG
        await desk.redo(by=mine)
        await desk.change(turned(40), by=yours)  # a new one is asked about anew
        with pytest.raises(PlumbstoneError, match="in another tab"):
            await desk.undo(by=mine)
        assert "turn = 40" in (tmp_path / "small.toml").read_text(encoding="utf-8")

    awaited(work())


def test_a_broken_file_is_told_and_can_be_mended(tmp_path: Path) -> None:
    file = tmp_path / "small.toml"
    file.write_text(TWIG.replace('"25 cm"]', '"25 parsecs"]'), encoding="utf-8")
    desk = Desk(Folder(tmp_path), "small.toml")

    async def work() -> None:
        await desk.look()
        assert "tank.inside" in desk.fault
        file.write_text(TWIG, encoding="utf-16")
        with pytest.raises(PlumbstoneError, match="not saved as UTF-8"):
            await desk.look()
        file.write_text(TWIG, encoding="utf-8-sig")  # as some editors begin a file
        await desk.look()
        assert desk.fault == ""
        assert desk.seen is not None

    awaited(work())


def test_all_who_ask_wait_for_the_exact_state(tmp_path: Path) -> None:
    (tmp_path / "small.toml").write_text(TWIG, encoding="utf-8")
    desk = Desk(Folder(tmp_path), "small.toml")

    async def work() -> None:
        await desk.look()
        first = asyncio.create_task(desk.refine())
        await asyncio.sleep(0)
        await desk.refine()  # while another tab has it computed
        assert desk.seen is not None
        assert desk.seen.judged
        await first

    awaited(work())


def test_names_lead_nowhere_else(tmp_path: Path) -> None:
    (tmp_path / "served").mkdir()
    (tmp_path / "secret.toml").write_text(TWIG, encoding="utf-8")
    (tmp_path / "served" / "link.toml").symlink_to(tmp_path / "secret.toml")
    folder = Folder(tmp_path / "served")
    for name in ("../secret.toml", "link.toml", "", ".", str(tmp_path / "secret.toml")):
        with pytest.raises(FolderError):
            folder.scape(name)
    row = {"name": "../../x", "material": "granite", "kilograms": [1, 2, 3], "litres": [1, 1, 1]}
    folder.keep_picture(folder.keep(row, b"mesh"), b"picture")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["secret.toml", "served"]
    assert len(list((tmp_path / "served" / "stock").iterdir())) == 3
    assert folder.kept()[0].name == "../../x"


def test_a_scan_can_be_stopped_and_leaves_nothing() -> None:
    job = ScanJob()
    job.take("big.xyz", b"0 0 0\n" * 200_000)

    async def work() -> None:
        running = asyncio.create_task(job.weigh())
        await asyncio.sleep(0.2)
        job.stop()
        await running

    with pytest.raises(ScanError, match="Stopped"):
        awaited(work())
    job.clear()
    assert not job.folder.exists()


def test_a_scan_that_takes_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plumbstone.cli.page.scan_job.SECONDS", 0.05)
    job = ScanJob()
    job.take("x.stl", b"solid\nendsolid\n")
    with pytest.raises(ScanError, match="Not done after"):
        awaited(job.weigh())
    job.clear()


def test_a_scan_that_wants_too_much_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plumbstone.cli.page.scan_job.MEMORY", 30_000_000)
    job = ScanJob()
    job.take("x.stl", b"solid\nendsolid\n")
    with pytest.raises(ScanError) as told:
        awaited(job.weigh())
    assert "Traceback" not in str(told.value)
    assert str(job.folder) not in str(told.value)
    job.clear()


STONE = boulder((0.1, 0.1, 0.08), subdivisions=3)


def packed(name: str, size: int) -> bytes:
    """Give a small archive that unpacks to so many bytes."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, b"0" * size)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("cut.glb", lambda: glb_of(STONE)[:2000], "ends too early"),
        ("empty.ply", lambda: b"", "is empty; export the scan again"),
        pytest.param(
            "bomb.3mf",
            lambda: packed("3D/3dmodel.model", 1_100_000_000),
            "unpacks to over 1 GB",
            marks=pytest.mark.slow,
        ),
        ("drawing.png", lambda: b"<svg onload='alert(1)'/>", "send one of"),
        ("drawing.ply", lambda: b"<svg onload='alert(1)'/>", "is no PLY file"),
        ("../../x\n\x1b[2J.stl", lambda: b"solid a\nendsolid a\n", "is no readable STL file"),
        ("a.gltf", lambda: OUTSIDE, "which is not beside it"),
    ],
)
def test_a_hostile_file_is_told_in_a_sentence(
    name: str, content: Callable[[], bytes], said: str
) -> None:
    job = ScanJob()

    def weigh() -> None:
        job.take(name, content())
        awaited(job.weigh())

    with pytest.raises(ScanError, match=said) as told:
        weigh()
    assert str(told.value).isprintable()
    assert "Traceback" not in str(told.value)
    assert str(job.folder) not in str(told.value)
    job.clear()


OUTSIDE = json.dumps(
    {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}], "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 1, "type": "VEC3"}],
        "bufferViews": [{"buffer": 0, "byteLength": 12}],
        "buffers": [{"uri": "/etc/passwd", "byteLength": 12}],
    }
).encode()  # fmt: skip


def glb_of(piece: Piece) -> bytes:
    data: bytes = trimesh.Trimesh(piece.vertices, piece.faces).export(file_type="glb")
    return data


def test_how_far_a_weighing_has_come_grows_and_never_claims_the_end() -> None:
    job = ScanJob()
    job.take("x.stl", b"solid\nendsolid\n")
    early, late = job.share(1.0), job.share(60.0)
    (job.folder / "mended.ply").write_bytes(b"")  # the body is closed
    shares = [0.0, early, late, job.share(60.0), job.share(1e6)]
    assert shares == sorted(shares)
    assert shares[-1] < 1
    job.clear()


def test_what_is_kept_without_a_picture_is_sketched_by_its_size() -> None:
    for size in ((0.28, 0.19, 0.15), (0.4, 0.06, 0.05)):
        picture = Image.open(io.BytesIO(thumbnail_by_size(size, "#808080")))
        left, top, right, bottom = picture.getchannel("A").getbbox() or (0, 0, 0, 0)
        assert (right - left) > (bottom - top) > 10  # it lies on its longest sides


def test_a_new_piece_is_set_where_nothing_stands(tmp_path: Path) -> None:
    file, measures = tmp_path / "small.toml", Measures(Units.METRIC)
    file.write_text(TWIG, encoding="utf-8")  # a stone stands in the middle
    desk = Desk(Folder(tmp_path), file.name)
    keys = {"name": "New", "kind": "stone", "material": "granite", "size": ["7 cm", "7 cm", "7 cm"]}

    async def work() -> None:
        await desk.look()
        others = [*desk.outlines().values()]
        await desk.change_first(added_somewhere(keys, (0.07, 0.07), others, desk.scape, measures))

    awaited(work())
    outlines = desk.outlines()
    low, high = outlines.pop("New")
    for start, end in outlines.values():
        assert low[0] >= end[0] or low[1] >= end[1] or high[0] <= start[0] or high[1] <= start[1]


def test_where_no_place_is_free_there_is_no_room(tmp_path: Path) -> None:
    (tmp_path / "small.toml").write_text(TWIG, encoding="utf-8")
    desk = Desk(Folder(tmp_path), "small.toml")

    def to(*at: str) -> Callable[[str], str]:
        return lambda text: with_keys(text, "piece", "Stone", {"at": at})

    async def work(*edits: Callable[[str], str]) -> None:
        await desk.look()
        await desk.change_first(edits)

    with pytest.raises(PlumbstoneError, match="no room"):
        awaited(work(to("1 cm", "12 cm"), to("20 cm", "1 cm")))
    with pytest.raises(PlumbstoneError, match="left pane"):  # for one reason alone
        awaited(work(to("1 cm", "12 cm")))
    assert (tmp_path / "small.toml").read_text(encoding="utf-8") == TWIG


def test_first_sizes_are_whole_in_the_units_of_the_reader() -> None:
    for units, sides in (
        (Units.US, ["24 in", "12 in", "14 in"]),
        (Units.METRIC, ["60 cm", "30 cm", "36 cm"]),
    ):
        measures = Measures(units)
        assert [measures.written(measures.rounded(side)) for side in SIDES] == sides


ROWS = """
[border]  # mine
line = [["0 cm", "8 cm"], ["40 cm", "8 cm"]]
stones = ["Stone"]
"""


def test_stones_of_no_border_are_a_further_one(tmp_path: Path) -> None:
    text = TWIG + ROWS + TWIG.split("[[piece]]")[1].join(["[[piece]]", ""]).replace("Stone", "Top")
    scape = scape_from(tomllib.loads(text), tmp_path / "x.toml")
    measures = Measures(Units.METRIC)
    new = with_border(text, scape, ["Top"], measures)
    assert "# mine" in new
    rows = tomllib.loads(new)["border"]
    assert [(row["name"], row["stones"]) for row in rows] == [
        ("Border", ["Stone"]),
        ("Border 2", ["Top"]),
    ]
    again = scape_from(tomllib.loads(new), tmp_path / "x.toml")
    same = with_border(new, again, ["Top"], measures)  # of those, the one that has the stone
    assert tomllib.loads(same)["border"] == rows


def test_points_of_a_height_are_pulled(tmp_path: Path) -> None:
    points = (
        'height = { points = [{ at = ["10 cm", "5 cm"], level = "3 cm" }, '
        '{ at = ["30 cm", "20 cm"], level = "6 cm" }] }'
    )
    text = TWIG.replace('height = { front = "2 cm", back = "4 cm" }', points)
    scape = scape_from(tomllib.loads(text), tmp_path / "x.toml")
    bed = Layout(scape).preview().bed
    assert bed is not None
    found = {h.key: h for h in handles_of("Soil", bed, scape.tank, Units.METRIC)}
    assert found["point/1"].at == (0.30, 0.20)
    assert found["rise/1"].at == (0.30, 0.06)
    written = Measures(Units.METRIC).written
    text = pulled(text, "Soil", found["point/1"], (0.25, 0.18), written)
    text = pulled(text, "Soil", found["rise/1"], (0.25, 0.07), written)
    last = tomllib.loads(text)["layer"][0]["height"]["points"][1]
    assert last == {"at": ["25 cm", "18 cm"], "level": "7 cm"}


def test_fields_show_inches_to_a_hundredth() -> None:
    # 31 cm = 12.20472 in; what is written keeps four digits.
    us = Measures(Units.US)
    assert us.shown(0.31) == "12.2 in"
    assert us.written(0.31) == "12.2047 in"
    assert Measures(Units.METRIC).shown(0.123456) == "12.35 cm"
    # A scale of 10 g shows 2.35 kg; 0.45359237 kg is a pound.
    assert Measures(Units.METRIC).shown_mass(2.35) == "2.35 kg"
    assert us.shown_mass(5.25 * 0.45359237) == "5.25 lb"


def test_wood_that_points_left_points_right_once_it_is_mirrored(tmp_path: Path) -> None:
    """A limb along +x, turned by θ, points to (cos θ, sin θ); seen in a mirror to (-cos θ, sin θ)."""
    text = TWIG.replace('at = ["12 cm", "20 cm"]', 'at = ["12 cm", "20 cm"]\nturn = 150')
    scape = scape_from(tomllib.loads(text), tmp_path / "x.toml")
    twig = next(piece for piece in scape.pieces if piece.name == "Twig")
    found = mirrored(twig, scape, Measures(Units.METRIC))
    assert found == {"at": ["28 cm", "20 cm"], "turn": 30}


def test_a_tub_test_goes_to_the_group_of_its_wood(tmp_path: Path) -> None:
    tank = (
        '[tank]\ninside = ["60 cm", "36 cm", "40 cm"]\nwater_line = "36 cm"\n[[piece]]\n'
        'name = "Root"\nkind = "wood"\nmaterial = "driftwood"\nsolid = "box"\n'
        'size = ["20 cm", "6 cm", "5 cm"]\nat = ["30 cm", "20 cm"]\n'
    )
    (tmp_path / "t.toml").write_text(tank, encoding="utf-8")
    scape = read_scape(tmp_path / "t.toml")
    text = with_tub_test(tank, scape, "Root", "520 g granite")
    (tmp_path / "t.toml").write_text(text, encoding="utf-8")
    (group,) = read_scape(tmp_path / "t.toml").groups
    assert group.wood == ("Root",)
    assert group.tub is not None
    assert (group.tub.mass, group.tub.material.key) == (pytest.approx(0.52), "granite")
    again = with_tub_test(text, scape, "Root", "1 lb slate")  # 0.45359237 kg, exact by definition
    assert again.count("[[group]]") == 1
    assert "453.59 g" in again
    told = JUST_SINKS.format(mass=TUB_MASS[Units.US]).split("(")[1].rstrip(")")
    assert "510.29 g" in with_tub_test(text, scape, "Root", told)  # 18 oz of 28.349523 g
    assert "just_sinks_with" not in with_tub_test(again, scape, "Root", " ")
    with pytest.raises(PlumbstoneError, match="such as"):
        with_tub_test(tank, scape, "Root", "granite")
