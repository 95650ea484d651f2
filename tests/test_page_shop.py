"""The page in the shop: sizes typed with a thumb, scans sent, pieces kept."""

import time
import tomllib
from pathlib import Path
from typing import Any

import pytest
import trimesh
from commands import read_json, type_in
from pages import PHONE, SCANS, Browser, Server, opened

from plumbstone.cli.wording.page_labels import FIELDS, as_field
from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.telling import PLACES, as_option, named
from plumbstone.meshes.writing import ply_bytes


def typed(tab: Any, **fields: str) -> None:
    for name, value in fields.items():
        tab.get_by_label(name.replace("_", " "), exact=False).first.fill(value)


def test_sizes_on_a_phone(browser: Browser, server: Server) -> None:
    tab, faults = opened(browser, server.home, **PHONE)
    typed(tab, Length="28", Width="19", Height="15")
    tab.get_by_label("Rock or wood").fill("grey rock")  # by its looks
    tab.get_by_role("button", name="granite").wait_for()
    tab.get_by_label("Rock or wood").fill("gran")
    tab.get_by_role("button", name="granite").tap()
    typed(tab, Price_per_kg="4,50", Money_you_have="50")
    answer = tab.get_by_label("Answer")
    answer.get_by_text("likely takes it").wait_for()
    line = 'plumbstone weigh --size "28 x 19 x 15 cm" --material granite --price-per-kg 4.5'
    found = read_json(line, server.folder)["pieces"][0]
    said = answer.inner_text()
    mass, price = found["mass_kg"], found["price"]
    assert f"{mass['mid']:.1f} kg ({mass['low']:.1f}-{mass['high']:.1f})" in said
    assert f"{price['mid']:.2f}, have {-(-price['high'] // 1):.0f}" in said
    assert "Trust: " in said
    typed(tab, Length="11 in", Width="7 in", Height="6 in", Price_per_kg="$2/lb")
    by_pound = read_json(line.replace("28 x 19 x 15 cm", "11 x 7 x 6 in"), server.folder)["pieces"][
        0
    ]
    answer.get_by_text(f"{by_pound['mass_kg']['mid'] / 0.45359237:.1f} lb").wait_for()
    answer.get_by_text(f"Price {by_pound['mass_kg']['mid'] / 0.45359237 * 2:.2f}").wait_for()
    typed(tab, Length="28", Width="19", Height="15", Price_per_kg="4,50")
    answer.get_by_text(f"Price {price['mid']:.2f}").wait_for()
    # A bucket on a scale beats what the sides tell, as on the command line.
    tab.get_by_text("Till, opening, bucket, a known length").click()
    typed(tab, Bucket="3,7 kg")
    by_bucket = read_json('plumbstone weigh --bucket-rise "3.7 kg" -m granite', server.folder)
    litres = by_bucket["pieces"][0]["volume_l"]["mid"]
    answer.get_by_text(f"{litres:.2f} L, granite").wait_for()
    typed(tab, Bucket="", On_the_till="9,85")
    answer.get_by_text("9.85 kg, as weighed").wait_for()  # as the scale showed it
    typed(tab, On_the_till="")
    answer.get_by_text(f"Price {price['mid']:.2f}").wait_for()
    # One thumb at 360 px: nothing runs out at the side, every target is large enough.
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    small = tab.evaluate(
        "[...document.querySelectorAll('button, input:not([type=file]), summary, nav a')]"
        ".filter(e => e.offsetParent && !e.closest('.hidden-upload') && e.offsetHeight < 44)"
        ".map(e => e.outerHTML)"
    )
    assert small == []
    tab.get_by_label("Name", exact=True).fill("Grey one")
    (server.folder / "stock").write_bytes(b"")  # in the way of the folder
    tab.get_by_role("button", name="Keep").tap()
    tab.get_by_text("The disk refuses").wait_for()
    (server.folder / "stock").unlink()
    tab.get_by_role("button", name="Keep").tap()
    tab.get_by_text("Kept as Grey one").wait_for()
    tab.get_by_role("button", name="Keep").tap()  # twice, as a thumb does
    tab.get_by_text("Grey one is kept already").wait_for()
    kept = tomllib.loads((server.folder / "stock" / "stock.toml").read_text("utf-8"))["kept"]
    assert len(kept) == 1
    assert kept[0]["kilograms"] == [round(mass[key], 6) for key in ("low", "mid", "high")]
    tab.get_by_label("Name", exact=True).fill("Grey two")
    tab.get_by_role("button", name="Keep").tap()
    tab.get_by_text("Kept as Grey two").wait_for()
    tab.goto(f"{server.home}/stock")
    tab.get_by_text("Grey one").wait_for()
    low, mid, high = (2 * mass[end] for end in ("low", "mid", "high"))
    tab.get_by_text(
        f"Together {mid:.1f} kg ({low:.1f}-{high:.1f}); price {mid * 4.5:.2f}"
    ).wait_for()
    assert faults == []


def test_a_mass_that_slipped_on_the_till(browser: Browser, server: Server) -> None:
    tab, _ = opened(browser, server.home, **PHONE)
    typed(tab, Length="28", Width="19", Height="15")
    tab.get_by_text("Till, opening").tap()
    tab.get_by_label("On the till").fill("98")
    line = 'plumbstone weigh --size "28 x 19 x 15 cm" --mass "98 kg"'
    said = type_in(line, server.folder)
    assert said.returncode == 1  # 98 kg in a box of 8 L
    tab.get_by_role("alert").get_by_text("98").wait_for()
    assert tab.get_by_label("Answer").inner_text() == "Type three sides, or use a scan."


def send(tab: Any, name: str, content: bytes) -> None:
    tab.set_input_files(
        "input[type=file]", {"name": name, "mimeType": "model/stl", "buffer": content}
    )


def test_a_scan_on_a_phone(browser: Browser, server: Server) -> None:
    scan = SCANS / "rigidblock_stone_19.ply"
    if not scan.exists():
        pytest.skip("the shared scans are not here")
    tab, faults = opened(browser, server.home, **PHONE)
    tab.get_by_label("Rock or wood").fill("basalt")
    tab.get_by_role("button", name="basalt").tap()
    send(tab, scan.name, scan.read_bytes())
    tab.get_by_label("Answer").get_by_text("Trust").wait_for()
    found = read_json(f"plumbstone weigh {scan} --material basalt", server.folder)["pieces"][0]
    mass = found["mass_kg"]["mid"]
    said = tab.get_by_label("Answer").inner_text()
    assert (f"{mass:.1f} kg" if mass >= 0.995 else f"{round(mass, 2) * 1e3:.0f} g") in said
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    tab.get_by_label("Name").fill("Kept in haste")
    tab.get_by_role("button", name="Keep it").tap()
    tab.get_by_text("Kept as Kept in haste").wait_for()
    tab.get_by_role("link", name="Stock").tap()  # its picture is not drawn yet
    tab.get_by_text("Kept in haste").first.wait_for()
    assert faults == []


def never_seen() -> bytes:
    """Give a scan that no run before can have left closed on the disk."""
    stone = boulder((0.12, 0.09, 0.08), seed=7, subdivisions=5)
    return ply_bytes(stone.vertices + time.time() % 1, stone.faces)


def half_scanned(flip: bool) -> bytes:
    """Give one made stone as a scan whose lower half is missing, turned over or not."""
    stone = boulder((0.12, 0.09, 0.08), seed=7, subdivisions=5)
    vertices, faces = stone.vertices - stone.vertices.mean(axis=0), stone.faces
    if flip:
        vertices = vertices * [1.0, -1.0, -1.0]
    seen = faces[vertices[faces, 2].mean(axis=1) > vertices[:, 2].min() * 0.75]
    return ply_bytes(vertices, seen)


@pytest.mark.slow
def test_the_turned_stone_is_scanned_a_second_time(browser: Browser, server: Server) -> None:
    tab, faults = opened(browser, server.home, **PHONE)
    with tab.expect_file_chooser() as chooser:
        tab.get_by_role("button", name="Use a scan instead").tap()
    up = {"name": "up.ply", "mimeType": "model/ply", "buffer": half_scanned(flip=False)}
    chooser.value.set_files(up)
    add = tab.get_by_role("button", name="Add the scan of the turned stone")
    add.wait_for()
    answer = tab.get_by_label("Answer")
    assert "closed" in answer.inner_text().lower() or "guessed" in answer.inner_text().lower()
    parts = (
        "() => { const found = []; const view = document.querySelector('.turning'); const scene = "
        "view && window['scene_' + view.id]; if (scene) scene.traverse((o) => found.push(o.name));"
        " return found.join('|'); }"
    )
    tab.wait_for_function(f"({parts})().includes('seen') && ({parts})().includes('closed')")
    first = answer.inner_text()
    with tab.expect_file_chooser() as chooser:
        add.tap()
    chooser.value.set_files(
        {"name": "over.ply", "mimeType": "model/ply", "buffer": half_scanned(flip=True)}
    )
    told = "document.querySelector('[aria-label=Answer]').innerText"
    tab.wait_for_function(f"before => {told} !== before && {told}.includes(' L (')", arg=first)
    volume = float(answer.inner_text().split(" L (")[0].split()[-1])
    # The stone itself, by the divergence theorem (trimesh).
    stone = boulder((0.12, 0.09, 0.08), seed=7, subdivisions=5)
    assert volume == pytest.approx(
        trimesh.Trimesh(stone.vertices, stone.faces).volume * 1e3, rel=0.05
    )
    tab.get_by_role("button", name="Put the scan away").tap()
    answer.get_by_text("Type three sides").wait_for()
    assert not tab.locator(".turning").count()
    assert faults == []


def test_a_file_of_200_mb_is_refused_before_it_is_sent(
    browser: Browser,
    server: Server,
    tmp_path: Path,
) -> None:
    with (tmp_path / "huge.stl").open("wb") as file:
        file.truncate(200_000_000)
    tab, _ = opened(browser, server.home, **PHONE)
    tab.set_input_files("input[type=file]", tmp_path / "huge.stl")
    tab.get_by_role("alert").get_by_text("over 80 MB").wait_for()


def test_what_is_left_open_is_told_as_fields() -> None:
    assert {"unit", "picture", "settle"} <= {*FIELDS} <= {*PLACES}
    for thing in PLACES:
        assert named(f"give <{thing} 2 cm>.", as_option) != named(f"give <{thing} 2 cm>.", as_field)
        assert "--" not in as_field(thing)


def test_a_scan_without_a_unit_asks_for_it(browser: Browser, server: Server) -> None:
    tab, _ = opened(browser, server.home, **PHONE)
    stone = boulder((0.12, 0.09, 0.08), seed=7)
    unclear = ply_bytes(stone.vertices * 40, stone.faces)  # 4.8: cm, in or m?
    send(tab, "unclear.ply", unclear)
    tab.get_by_role("alert").get_by_text('with "Unit of the scan"').wait_for()
    tab.get_by_text("Till, opening").tap()
    tab.get_by_label("Unit of the scan").fill("in")
    tab.get_by_label("Answer").get_by_text("Trust").wait_for()
    said = float(tab.get_by_label("Answer").inner_text().split(" L (")[0].split()[-1])
    inches = trimesh.Trimesh(stone.vertices * 40 * 0.0254, stone.faces)  # 1 in = 25.4 mm
    assert said == pytest.approx(inches.volume * 1e3, abs=0.005)
    assert tab.get_by_role("alert").inner_text() == ""


def test_a_scan_is_stopped(browser: Browser, server: Server) -> None:
    tab, _ = opened(browser, server.home, **PHONE)
    typed(tab, Length="28", Width="19", Height="15")
    tab.get_by_label("Answer").get_by_text("Trust").wait_for()
    send(tab, "slow.ply", never_seen())
    tab.get_by_role("button", name="Stop").wait_for()
    assert tab.get_by_label("Answer").inner_text() == "slow.ply"  # no figures of before
    tab.get_by_role("button", name="Stop").tap()
    tab.get_by_role("alert").get_by_text("Stopped").wait_for()
    assert not tab.get_by_role("button", name="Stop").is_visible()
    tab.get_by_label("Length", exact=True).wait_for()  # one can go on by the tape


def test_a_scan_is_put_away_while_it_is_weighed_again(browser: Browser, server: Server) -> None:
    tab, faults = opened(browser, server.home, **PHONE)
    typed(tab, Length="28", Width="19", Height="15")
    tab.get_by_label("Answer").get_by_text("Trust").wait_for()
    by_tape = tab.get_by_label("Answer").inner_text()
    send(tab, "slow.ply", never_seen())
    away = tab.get_by_role("button", name="Put the scan away")
    away.wait_for()
    tab.get_by_text("Till, opening").tap()
    tab.get_by_label("Greatest distance").fill("13")
    tab.get_by_role("button", name="Stop").wait_for()
    away.tap()
    tab.get_by_role("button", name="Stop").wait_for(state="hidden")
    tab.get_by_label("Length", exact=True).wait_for()
    assert not tab.get_by_label("Greatest distance").is_visible()  # it would count for nothing
    # What was ended comes back neither as a figure nor as a fault.
    tab.wait_for_timeout(1000)
    assert tab.get_by_label("Answer").inner_text() == by_tape
    assert tab.get_by_role("alert").inner_text() == ""
    assert faults == []


def test_a_broken_scan_is_told_plainly(browser: Browser, server: Server) -> None:
    tab, _ = opened(browser, server.home, **PHONE)
    send(tab, "../../stone<b>.stl", b"solid nothing\nendsolid nothing\n" * 3)
    alert = tab.get_by_role("alert")
    alert.get_by_text("stone").wait_for()
    said = alert.inner_text()
    assert "Traceback" not in said
    assert "/tmp" not in said
    tab.get_by_role("button", name="Put the scan away").tap()
    tab.get_by_label("Length", exact=True).wait_for()
    assert not list(Path(server.folder).parent.glob("*stone<b>*"))


def test_a_file_of_another_kind(browser: Browser, server: Server) -> None:
    tab, _ = opened(browser, server.home, **PHONE)
    send(tab, "passwords.txt", b"1 2 3")
    tab.get_by_role("alert").get_by_text("send one of").wait_for()
