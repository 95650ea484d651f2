"""The page in a real browser, used as one uses it; figures are compared with the command line."""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from commands import PROGRAM, read_json

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
]  # fmt: skip
WAIT = 120_000  # [ms], most that a busy machine is given
SCANS = Path(__file__).parents[1].parent / "shared" / "scans"
DEMO = "reading-room.toml"


class Server:
    """`plumbstone serve`, running on a folder."""

    def __init__(self, folder: Path, *options: str) -> None:
        with socket.socket() as trial:
            trial.bind(("127.0.0.1", 0))
            self.port = trial.getsockname()[1]
        self.folder, self.options = folder, options
        self.start()

    def start(self) -> None:
        words = ["serve", str(self.folder), "--no-open", "--port", str(self.port), *self.options]
        self.process = subprocess.Popen(
            [*PROGRAM, *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        assert self.process.stdout is not None
        self.said = self.process.stdout.readline()
        assert "The page is at" in self.said, self.said
        self.link = self.said.split(" at ")[1].strip()
        for _ in range(1200):
            with socket.socket() as trial:
                if trial.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.1)
        raise AssertionError("the page did not open")

    @property
    def home(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


def demo_in(folder: Path) -> Path:
    text = files("plumbstone.cli").joinpath(DEMO).read_text(encoding="utf-8")
    (folder / DEMO).write_text(text, encoding="utf-8")
    return folder / DEMO


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    demo_in(tmp_path)
    running = Server(tmp_path)
    yield running
    running.kill()


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    running = Server(tmp_path_factory.mktemp("shop"))
    yield running
    running.kill()


def opened(browser: Any, address: str, width: int = 1280, **options: Any) -> tuple[Any, list[str]]:
    """Open an address; collect what the page complains about and every foreign request."""
    context = browser.new_context(viewport={"width": width, "height": 800}, **options)
    tab, faults = context.new_page(), []
    tab.set_default_timeout(WAIT)
    tab.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    tab.on("pageerror", lambda error: faults.append(str(error)))
    own = (address.split("/")[2], "")

    def seen(request: Any) -> None:
        scheme, _, rest = request.url.partition("://")
        if scheme not in ("data", "blob") and rest.split("/")[0] not in own:
            faults.append(f"asks {request.url}")

    tab.on("request", seen)
    tab.on("websocket", lambda s: faults.append(s.url) if own[0] not in s.url else None)
    tab.goto(address)
    tab.wait_for_selector("main")
    return tab, faults


def at_tank(browser: Any, server: Server, **options: Any) -> tuple[Any, list[str]]:
    """Open the demo tank and wait until it is wholly computed."""
    tab, faults = opened(browser, f"{server.home}/tank/{DEMO}", **options)
    computed(tab)
    return tab, faults


def computed(tab: Any) -> None:
    tab.wait_for_selector("text=Saved in", timeout=WAIT)


def piece(tab: Any, name: str, view: str = "above") -> Any:
    return tab.locator(f'.view.{view} [data-piece="{name}"]')


def figure(tab: Any, name: str) -> str:
    text: str = tab.locator(f".figures div:has(dt:text-is('{name}')) dd").inner_text()
    return text


def changed(file: Path, before: str) -> str:
    """Wait until a file changes; give its new text."""
    for _ in range(1200):
        text = file.read_text(encoding="utf-8")
        if text != before:
            return text
        time.sleep(0.1)
    raise AssertionError("the file did not change")


def test_dragging_gives_what_the_command_line_says(browser: Any, server: Server) -> None:
    file = server.folder / DEMO
    tab, faults = at_tank(browser, server)
    first, before = figure(tab, "Dose for"), file.read_text(encoding="utf-8")
    box = piece(tab, "Leaning stone").locator("text").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    for step in range(1, 9):
        tab.mouse.move(x, y + 4 * step)
    tab.mouse.up()
    by_hand = changed(file, before)
    line = next(row for row in by_hand.splitlines() if row not in before.splitlines())
    assert line.startswith("at = ")
    assert [row for row in by_hand.splitlines() if row != line] == [
        row for row in before.splitlines() if row != 'at = ["11 cm", "31 cm"]'
    ]
    # By keys, too: three steps to the right of half a centimetre.
    piece(tab, "Third stone").focus()
    for _ in range(3):
        tab.keyboard.press("ArrowRight")
    by_keys = changed(file, by_hand)
    assert 'at = ["71.5 cm", "27 cm"]' in by_keys
    tab.wait_for_selector("text=Computing")
    computed(tab)
    water = read_json(f"plumbstone plan {DEMO}", server.folder)["water"]["dosing_l"]
    shown = figure(tab, "Dose for")
    assert shown.startswith(f"{water['mid']:.1f} L")
    assert shown != first or f"{water['mid']:.1f}" in first
    for _ in range(2):
        tab.get_by_role("button", name="Undo").click()
        tab.wait_for_timeout(300)
    assert changed(file, by_keys) in (by_hand, before)
    tab.wait_for_function("document.querySelectorAll('button[disabled]').length == 1")
    assert file.read_text(encoding="utf-8") == before
    assert faults == []


def test_what_was_saved_outlives_the_program(browser: Any, server: Server) -> None:
    file = server.folder / DEMO
    tab, _ = at_tank(browser, server)
    before = file.read_text(encoding="utf-8")
    piece(tab, "Leaning stone").focus()
    tab.keyboard.press("ArrowUp")
    saved = changed(file, before)
    box = piece(tab, "Leaning stone").locator("text").bounding_box()
    tab.mouse.move(box["x"] + 5, box["y"] + 5)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 9, box["y"] + 25)
    server.kill()  # in the middle of a drag
    assert file.read_text(encoding="utf-8") == saved
    assert [path.name for path in server.folder.iterdir()] == [DEMO]
    server.start()
    again, faults = at_tank(browser, server)
    assert "31.5 cm from the front" in piece(again, "Leaning stone").get_attribute("aria-label")
    assert faults == []


def test_two_tabs_and_an_editor(browser: Any, server: Server) -> None:
    file = server.folder / DEMO
    one, _ = at_tank(browser, server)
    other, _ = at_tank(browser, server)
    before = file.read_text(encoding="utf-8")
    piece(one, "Leaning stone").focus()
    one.keyboard.press("ArrowUp")
    saved = changed(file, before)
    label = '.view.above [data-piece="Leaning stone"][aria-label*="31.5 cm from the front"]'
    other.wait_for_selector(label)
    # An editor changes the file: both tabs follow, and undo gives back what was.
    file.write_text(saved.replace('water_line = "42 cm"', 'water_line = "40 cm"  # less'))
    for tab in (one, other):
        tab.get_by_text("Water line: 40 cm").wait_for()
    other.get_by_role("button", name="Undo").click()
    changed(file, saved.replace('water_line = "42 cm"', 'water_line = "40 cm"  # less'))
    assert file.read_text(encoding="utf-8") == saved


WOOD = """
[tank]
inside = ["60 cm", "30 cm", "36 cm"]
water_line = "32 cm"
[[piece]]
name = "Root"
kind = "wood"
material = "driftwood"
solid = "box"
size = ["20 cm", "6 cm", "5 cm"]
at = ["30 cm", "12 cm"]
[[piece]]
name = "Block"
kind = "stone"
material = "granite"
solid = "box"
size = ["10 cm", "10 cm", "10 cm"]
at = ["30 cm", "24 cm"]
"""


def test_wood_that_floats_is_held_by_a_stone(browser: Any, server: Server) -> None:
    (server.folder / "wood.toml").write_text(WOOD, encoding="utf-8")
    tab, faults = opened(browser, f"{server.home}/tank/wood.toml")
    computed(tab)
    assert tab.locator("h2").first.inner_text() == "Do not fill yet."
    assert tab.locator(".view.above .piece.floats").get_attribute("data-piece") == "Root"
    assert "granite" in tab.locator(".told .stop").first.inner_text()  # with the grams it needs
    piece(tab, "Block").click()
    tab.get_by_role("button", name="Tie to wood").click()
    piece(tab, "Root").click()
    tab.wait_for_selector(".view.above .piece:not(.floats)[data-piece=Root]")
    computed(tab)
    text = (server.folder / "wood.toml").read_text(encoding="utf-8")
    assert text.startswith(WOOD[:-1])
    assert 'tied_to = ["Root"]' in text
    hold = read_json("plumbstone plan wood.toml", server.folder)["holds"][0]
    told = tab.locator(".told").inner_text()
    assert hold["stays"] == ("Stays, if set as described" in told)
    assert hold["stays"]
    assert faults == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_anyone_can_use_it(browser: Any, server: Server, scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    for address in ("/", "/stock", "/tanks", f"/tank/{DEMO}"):
        tab, faults = opened(browser, server.home + address, color_scheme=scheme)
        if "tank/" in address:
            computed(tab)
            piece(tab, "Great stone").click()
        found = axe.Axe().run(tab)
        wrong = [(v["id"], [n["html"] for n in v["nodes"]]) for v in found.response["violations"]]
        assert wrong == [], (address, wrong)
        assert faults == []
        tab.context.close()
