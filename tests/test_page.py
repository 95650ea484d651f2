"""The page in a real browser, used as one uses it; figures are compared with the command line."""

import os
import shutil
import signal
import socket
import subprocess
import time
import tomllib
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from commands import PROGRAM, read_json

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
]  # fmt: skip
WAIT = 120_000  # [ms], most that a busy machine is given
SCANS = Path(__file__).parents[1].parent / "shared" / "scans"
DEMO = "reading-room.toml"

SMALL = """
[tank]
inside = ["40 cm", "25 cm", "25 cm"]
[[piece]]
name = "Stone"
kind = "stone"
material = "granite"
solid = "boulder"
size = ["9 cm", "8 cm", "7 cm"]
at = ["20 cm", "12 cm"]
[[piece]]
name = "Twig"
kind = "wood"
material = "driftwood"
solid = "box"
size = ["12 cm", "3 cm", "3 cm"]
at = ["12 cm", "20 cm"]
[[layer]]
name = "Soil"
material = "baked-clay soil"
zone = "all"
height = { front = "2 cm", back = "4 cm" }
bags = [{ holds = "3 L", price = 10 }]
"""


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
            assert self.process.poll() is None, self.process.stdout.read()
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


@pytest.fixture(scope="module")  # not longer: while it is open no other loop may run
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(autouse=True)
def tidy(request: pytest.FixtureRequest) -> Iterator[None]:
    """Close what a test opened, so that it draws no longer."""
    yield
    if "browser" in request.fixturenames:
        for context in request.getfixturevalue("browser").contexts:
            context.close()


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


def small_in(folder: Path, name: str) -> Path:
    (folder / name).write_text(SMALL, encoding="utf-8")
    return folder / name


def at_tank(browser: Any, server: Server, name: str, **options: Any) -> tuple[Any, list[str]]:
    """Open a tank and wait until it is wholly computed."""
    tab, faults = opened(browser, f"{server.home}/tank/{name}", **options)
    computed(tab)
    return tab, faults


def computed(tab: Any, told: str = " ") -> None:
    """Wait until all is computed exactly for a state in which a piece says where it is."""
    tab.wait_for_selector(f'.view.above [data-piece][aria-label*="{told}"]')
    tab.wait_for_selector("text=Saved in")


def piece(tab: Any, name: str, view: str = "above") -> Any:
    return tab.locator(f'.view.{view} [data-piece="{name}"]')


def figure(tab: Any, name: str) -> str:
    text: str = tab.locator(f".figures div:has(dt:text-is('{name}')) dd").inner_text()
    return text


def changed(file: Path, before: str, to: str = "") -> str:
    """Wait until a file changes, and holds a text; give its new text."""
    for _ in range(1200):
        text = file.read_text(encoding="utf-8")
        if text != before and to in text:
            return text
        time.sleep(0.1)
    raise AssertionError("the file did not change so")


def test_dragging_gives_what_the_command_line_says(browser: Any, server: Server) -> None:
    file = demo_in(server.folder)
    tab, faults = at_tank(browser, server, DEMO)
    first, before = figure(tab, "Dose for"), file.read_text(encoding="utf-8")
    box = piece(tab, "Leaning stone").locator("text").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    for step in range(1, 9):
        tab.mouse.move(x, y + 4 * step)
    tab.mouse.up()
    by_hand = changed(file, before)
    pairs = zip(before.splitlines(), by_hand.splitlines(), strict=True)
    (old, new), *others = [pair for pair in pairs if pair[0] != pair[1]]
    assert not others  # one line of the file, no more
    assert old.startswith("at = ")
    assert new.startswith("at = ")
    # By keys, too: three steps to the right of half a centimetre.
    piece(tab, "Third stone").focus()
    for _ in range(3):
        tab.keyboard.press("ArrowRight")
    rows = tomllib.loads(before)["piece"]
    x, y = next(row["at"] for row in rows if row["name"] == "Third stone")
    right = f"{float(x.removesuffix(' cm')) + 1.5:g} cm"
    changed(file, by_hand, f'at = ["{right}", "{y}"]')
    computed(tab, f"{right} from the left")
    water = read_json(f"plumbstone plan {DEMO}", server.folder)["water"]["dosing_l"]
    shown = figure(tab, "Dose for")
    assert shown.startswith(f"{water['mid']:.1f} L")
    assert shown != first or f"{water['mid']:.1f}" in first
    # Undo, as often as there were changes, gives back the very same file.
    undo = tab.get_by_role("button", name="Undo")
    while file.read_text(encoding="utf-8") != before:
        last = file.read_text(encoding="utf-8")
        undo.click()
        changed(file, last)
    tab.wait_for_selector("button:text-is('Undo')[disabled]")
    assert faults == []


def test_what_was_saved_outlives_the_program(browser: Any, server: Server) -> None:
    file = small_in(server.folder, "killed.toml")
    tab, _ = at_tank(browser, server, file.name)
    before = file.read_text(encoding="utf-8")
    piece(tab, "Stone").focus()
    tab.keyboard.press("ArrowUp")
    saved = changed(file, before)
    box = piece(tab, "Stone").locator("text").bounding_box()
    tab.mouse.move(box["x"] + 5, box["y"] + 5)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 9, box["y"] + 25)
    server.kill()  # in the middle of a drag
    assert file.read_text(encoding="utf-8") == saved
    assert not [path for path in server.folder.iterdir() if path.name.startswith(".")]
    server.start()
    again, faults = at_tank(browser, server, file.name)
    assert "12.5 cm from the front" in piece(again, "Stone").get_attribute("aria-label")
    assert faults == []


def test_two_tabs_and_an_editor(browser: Any, server: Server) -> None:
    file = small_in(server.folder, "shared.toml")
    one, _ = at_tank(browser, server, file.name)
    other, _ = at_tank(browser, server, file.name)
    before = file.read_text(encoding="utf-8")
    piece(one, "Stone").focus()
    one.keyboard.press("ArrowUp")
    saved = changed(file, before)
    label = '.view.above [data-piece="Stone"][aria-label*="12.5 cm from the front"]'
    other.wait_for_selector(label)
    theirs = saved.replace("[tank]", '[tank]\nwater_line = "20 cm"  # less')
    # An editor changes the file: both tabs follow, and undo gives back what was.
    file.write_text(theirs, encoding="utf-8")
    for tab in (one, other):
        tab.get_by_text("Water line: 20 cm").wait_for()
        tab.get_by_text("shared.toml was changed outside").wait_for()
    other.get_by_role("button", name="Undo").click()
    changed(file, theirs)
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
"""


def test_wood_that_floats_is_held_by_a_stone(browser: Any, server: Server) -> None:
    (server.folder / "wood.toml").write_text(WOOD, encoding="utf-8")
    tab, faults = opened(browser, f"{server.home}/tank/wood.toml")
    computed(tab)
    assert tab.locator("h2").first.inner_text() == "Do not fill yet."
    assert tab.locator(".view.above .piece.floats").get_attribute("data-piece") == "Root"
    assert "430 g of stone" in tab.locator(".told .stop").first.inner_text()
    tab.get_by_text("Add a stone or wood").click()
    tab.get_by_label("Name of it").fill("Block")
    tab.get_by_label("Shape").select_option("box")
    for side in ("Long", "Wide", "High"):
        tab.get_by_label(side, exact=True).fill("10")
    tab.get_by_role("button", name="Set it into the tank").click()
    file = server.folder / "wood.toml"
    chosen = tab.get_by_label("Chosen piece")
    for label, at in (("From front", "24"), ("From left", "30")):
        chosen.get_by_label(label, exact=True).fill(at)
        chosen.get_by_label(label, exact=True).blur()
        changed(file, "", f'"{at} cm"')
    tab.get_by_role("button", name="Tie to wood").click()
    asked = tab.get_by_text("Now touch the wood")
    asked.wait_for()
    tab.wait_for_function(
        "e => e.getBoundingClientRect().top >= 0", arg=asked.element_handle()
    )  # in sight, however far below the button stands
    piece(tab, "Root").click()
    tab.wait_for_selector(".view.above .piece:not(.floats)[data-piece=Root]")
    computed(tab)
    text = (server.folder / "wood.toml").read_text(encoding="utf-8")
    assert text.startswith(WOOD)
    assert 'tied_to = ["Root"]' in text
    hold = read_json("plumbstone plan wood.toml", server.folder)["holds"][0]
    assert hold["stays"]
    assert tab.locator(".verdict").inner_text().startswith("Nothing found")
    assert faults == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_anyone_can_use_it(browser: Any, server: Server, scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    file = small_in(server.folder, f"{scheme}.toml")
    for address in ("/", "/stock", "/tanks", f"/tank/{file.name}"):
        tab, faults = opened(browser, server.home + address, color_scheme=scheme)
        if "tank/" in address:
            computed(tab)
            piece(tab, "Stone").click()
        found = axe.Axe().run(tab)
        wrong = [(v["id"], [n["html"] for n in v["nodes"]]) for v in found.response["violations"]]
        assert wrong == [], (address, wrong)
        assert faults == []
        tab.context.close()
