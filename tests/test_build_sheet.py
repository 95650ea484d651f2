"""The build sheet and the scene: figures as in plan.json, hostile names, a real browser."""

import csv
import io
import json
import shutil
import subprocess
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from commands import type_in

from plumbstone.cli.sheet.sheet_figures import look_up, written

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--use-gl=angle",
    "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
]  # fmt: skip
HOSTILE = [
    "<script>alert(1)</script>", 'He said "stone" & \'rock\'', "=1+1", "🪨 moss", "אבן גדולה",
    "long " * 40, "$x_1$ & }} {{ 7*7",
]  # fmt: skip


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The results folder of the reading-room tank."""
    folder = tmp_path_factory.mktemp("sheet")
    assert type_in("plumbstone demo out", folder).returncode == 0
    return folder / "out" / "plan"


@pytest.fixture(scope="module")
def document(results: Path) -> dict[str, Any]:
    return json.loads((results / "plan.json").read_text(encoding="utf-8"))


class Spans(HTMLParser):
    """Collects the figures of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[dict[str, str | None], str]] = []
        self.open: dict[str, str | None] | None = None

    def handle_starttag(self, _tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.open = values if values.get("class") == "q" else None

    def handle_data(self, data: str) -> None:
        if self.open is not None:
            self.found.append((self.open, data))
            self.open = None


def test_every_figure_equals_plan_json(results: Path, document: dict[str, Any]) -> None:
    page = Spans()
    page.feed((results / "build-sheet.html").read_text(encoding="utf-8"))
    assert len(page.found) > 100
    for values, text in page.found:
        value = float(look_up(document, str(values["data-path"])))
        assert (text, values["data-us"]) == written(value, str(values["data-kind"]))


def test_the_page_is_one_small_file_without_a_network(results: Path) -> None:
    page = results / "build-sheet.html"
    assert page.stat().st_size < 8_000_000
    text = page.read_text(encoding="utf-8")
    for outside in ('src="http', "src='http", '<link rel="stylesheet"', "@import"):
        assert outside not in text


def test_the_scene_reads_back_with_the_same_volumes(
    results: Path, document: dict[str, Any]
) -> None:
    scene = trimesh.load(results / "scape.glb")
    names = set(scene.graph.nodes_geometry)
    for number, piece in enumerate(document["pieces"], 1):
        name = f"{number} {piece['name']}"
        assert name in names
    for name in ("water", "front pane", "glass floor"):
        assert name in names
    water = scene.geometry["water"]
    assert water.volume * 1e3 == pytest.approx(document["water"]["box_l"], rel=1e-6)
    top = scene.geometry["water"].vertices[:, 1].max()  # +y up, as glTF says
    assert top * 100 == pytest.approx(document["tank"]["water_line_cm"], rel=1e-6)
    great = scene.geometry["1 Great stone"]
    size = np.ptp(great.vertices, axis=0)[[0, 2, 1]] * 100
    assert size == pytest.approx(document["pieces"][0]["size_cm"], rel=1e-5)


def hostile_scape(folder: Path) -> None:
    parts = ['[tank]\ninside = ["90 cm", "40 cm", "40 cm"]\nglass = "8 mm"\n']
    for i, name in enumerate(HOSTILE):
        parts.append(
            f"[[piece]]\nname = {json.dumps(name, ensure_ascii=False)}\nmaterial = 'granite'\n"
            f"size = ['8 cm', '7 cm', '6 cm']\nat = ['{8 + 12 * i} cm', '20 cm']\n"
            + ("rests = 'bed'\n" if i % 2 else "")
        )
    parts.append(
        f"[[piece]]\nname = {json.dumps('Twig ' + HOSTILE[0])}\nkind = 'wood'\n"
        "material = 'driftwood'\nsize = ['20 cm', '4 cm', '4 cm']\nat = ['45 cm', '32 cm']\n"
    )
    parts.append(
        f"[[layer]]\nname = {json.dumps(HOSTILE[0])}\nmaterial = 'sand'\ndepth = '3 cm'\n"
        "bags = [{ holds = '10 kg', price = 9 }]\n"
    )
    (folder / "tank.toml").write_text("\n".join(parts), encoding="utf-8")


def test_hostile_names_appear_as_text(tmp_path: Path) -> None:
    hostile_scape(tmp_path)
    done = type_in("plumbstone plan tank.toml --out out", tmp_path)
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "out" / "build-sheet.html").read_text(encoding="utf-8")
    body = page[: page.index("<script type=")]
    assert "<script>alert" not in page
    assert "Press these stones into the &lt;script&gt;" in body
    assert "&amp;lt;" not in body  # nothing is escaped twice
    assert "&amp;amp;" not in body
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in body
    assert "49" not in body.split("$x_1$")[1][:20]
    assert "אבן גדולה" in body
    rows = list(csv.reader(io.StringIO((tmp_path / "out" / "shopping.csv").read_text("utf-8"))))
    assert any(row[0] == "'=1+1" for row in rows)
    nodes = trimesh.load(tmp_path / "out" / "scape.glb").graph.nodes_geometry
    assert f"1 {HOSTILE[0]}" in nodes


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


def opened(browser: Any, page: Path, width: int = 1280) -> tuple[Any, list[str]]:
    """Open a page from disk with the network off; collect what it complains about."""
    context = browser.new_context(viewport={"width": width, "height": 900}, offline=True)
    tab = context.new_page()
    errors: list[str] = []
    tab.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
    tab.on("pageerror", lambda error: errors.append(str(error)))
    tab.goto(page.as_uri())
    tab.wait_for_selector("body[data-ready]", timeout=60_000)
    return tab, errors


def test_the_sheet_in_a_browser(browser: Any, results: Path, document: dict[str, Any]) -> None:
    tab, errors = opened(browser, results / "build-sheet.html")
    view = tab.locator("#view")
    view.scroll_into_view_if_needed()
    tab.wait_for_timeout(1500)
    full = view.screenshot()
    assert len(set(image_of(full).reshape(-1, 3)[::50].map_to_ints())) > 20
    tab.fill("#level", "10")
    tab.dispatch_event("#level", "input")
    tab.wait_for_timeout(800)
    assert view.screenshot() != full
    before = tab.locator(".q").all_text_contents()
    tab.check("input[value=us]")
    after = tab.locator(".q").all_text_contents()
    assert len(before) == len(after)
    kinds = tab.locator(".q").evaluate_all("nodes => nodes.map(n => n.dataset.kind)")
    for kind, metric, us in zip(kinds, before, after, strict=True):
        assert kind in ("money", "degrees", "plain") or metric != us
    tab.locator(".steps input").first.check()
    tab.reload()
    tab.wait_for_selector("body[data-ready]")
    assert tab.locator(".steps input").first.is_checked()
    assert errors == []


def test_tapping_a_stone_names_it(browser: Any, results: Path, document: dict[str, Any]) -> None:
    tab, errors = opened(browser, results / "build-sheet.html")
    view = tab.locator("#view")
    view.scroll_into_view_if_needed()
    tab.wait_for_timeout(1500)
    box = view.bounding_box()
    names = [piece["name"] for piece in document["pieces"]]
    for dx, dy in [(0.4, 0.6), (0.45, 0.62), (0.5, 0.6), (0.33, 0.65), (0.55, 0.62)]:
        x, y = box["x"] + dx * box["width"], box["y"] + dy * box["height"]
        # Software rendering picks slowly: give it the time that a finger takes.
        tab.mouse.move(x - 5, y)
        tab.mouse.move(x, y, steps=3)
        tab.wait_for_timeout(1500)
        tab.mouse.down()
        tab.wait_for_timeout(300)
        tab.mouse.up()
        tab.wait_for_timeout(1000)
        tip = tab.locator("#tip").inner_text()
        if any(name in tip for name in names):
            assert "L" in tip
            assert errors == []
            return
    pytest.fail(f"no tap named a piece; the last tip was {tip!r}")


def test_no_sideways_scroll_on_a_phone(browser: Any, results: Path) -> None:
    tab, errors = opened(browser, results / "build-sheet.html", width=360)
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    assert errors == []


def test_it_prints(browser: Any, results: Path) -> None:
    tab, _ = opened(browser, results / "build-sheet.html")
    printed = tab.pdf(format="A4")
    assert printed[:4] == b"%PDF"
    tab.emulate_media(media="print")
    tab.set_viewport_size({"width": 680, "height": 900})
    wide = tab.evaluate(
        "[...document.querySelectorAll('table')].every("
        "t => t.getBoundingClientRect().right <= document.documentElement.clientWidth + 1)"
    )
    assert wide


class Pixels(np.ndarray):
    """An image whose colours can be counted."""

    def map_to_ints(self) -> list[int]:
        return (self.astype(int) @ [65536, 256, 1]).tolist()


def image_of(png: bytes) -> Pixels:
    from PIL import Image

    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).view(Pixels)


@pytest.fixture(scope="module")
def npm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the accessibility checker and the glTF validator, for tests only."""
    if shutil.which("npm") is None:
        pytest.skip("no npm on this machine")
    folder = tmp_path_factory.mktemp("npm")
    command = [
        "npm",
        "install",
        "--no-audit",
        "--no-fund",
        "axe-core@4",
        "gltf-validator@2.0.0-dev.3.10",
    ]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"npm could not install the checkers: {done.stderr[-200:]}")
    return folder / "node_modules"


def test_nothing_serious_for_a_screen_reader(browser: Any, results: Path, npm: Path) -> None:
    for scheme in ("light", "dark"):
        tab, _ = opened(browser, results / "build-sheet.html")
        tab.emulate_media(color_scheme=scheme)
        tab.add_script_tag(content=(npm / "axe-core" / "axe.min.js").read_text(encoding="utf-8"))
        found = tab.evaluate("axe.run(document, {exclude: [['#view'], ['.drawing']]})")
        bad = [v for v in found["violations"] if v["impact"] in ("serious", "critical")]
        assert [(v["id"], v["nodes"][0]["html"][:120]) for v in bad] == []


def test_the_scene_passes_the_validator(results: Path, npm: Path, tmp_path: Path) -> None:
    script = (
        "const v = require(process.argv[1] + '/gltf-validator'); const fs = require('fs');"
        "v.validateBytes(new Uint8Array(fs.readFileSync(process.argv[2]))).then("
        "r => console.log(JSON.stringify(r.issues)));"
    )
    command = ["node", "-e", script, str(npm), str(results / "scape.glb")]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    issues = json.loads(done.stdout)
    assert issues["numErrors"] == 0, issues["messages"][:5]
