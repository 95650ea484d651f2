"""What tests of the page and of the build sheet share: the server, the browser, ways to look."""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from commands import PROGRAM

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run", "--webgl-antialiasing-mode=none",
]  # fmt: skip
WAIT = 120_000  # [ms], most that a busy machine is given
SCANS = Path(__file__).parents[1].parent / "shared" / "scans"
DEMO = "reading-room.toml"
PHONE = {"width": 360, "has_touch": True, "is_mobile": True}

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
name = "Bar"
kind = "stone"
material = "slate"
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

BAR = 'name = "Bar"\nkind = "stone"\nmaterial = "slate"'
TWIG = SMALL.replace(BAR, 'name = "Twig"\nkind = "wood"\nmaterial = "driftwood"')  # it floats


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


class Browser:
    """Chromium with one tab for each kind of device, used again as a new one loads all anew."""

    def __init__(self, chromium: Any) -> None:
        self.chromium = chromium
        self.profiles: dict[str, Any] = {}
        self.heard: list[tuple[Any, str, Any]] = []

    def tab(self, width: int = 1280, scheme: str = "light", **options: Any) -> Any:
        """Give an empty tab."""
        kind = repr(sorted(options.items()))
        if kind not in self.profiles:
            self.profiles[kind] = self.chromium.new_context(**options)
        free = [tab for tab in self.profiles[kind].pages if tab.url == "about:blank"]
        tab = free[0] if free else self.profiles[kind].new_page()
        tab.set_default_timeout(WAIT)
        tab.set_viewport_size({"width": width, "height": 800})
        tab.emulate_media(media="null", color_scheme=scheme)
        return tab

    def faults(self, tab: Any, own: Sequence[str]) -> list[str]:
        """Collect what a page complains about, and every request to others than its own."""
        faults: list[str] = []

        def asked(request: Any) -> None:
            scheme, _, rest = request.url.partition("://")
            if scheme not in ("data", "blob") and rest.split("/")[0] not in own:
                faults.append(f"asks {request.url}")

        for event, hear in (
            ("console", lambda m: faults.append(m.text) if m.type == "error" else None),
            ("pageerror", lambda error: faults.append(str(error))),
            ("request", asked),
            ("websocket", asked),
        ):
            tab.on(event, hear)
            self.heard.append((tab, event, hear))
        return faults

    def tidy(self) -> None:
        """Leave one empty tab of each kind, which knows nothing of before."""
        for tab, event, hear in self.heard:
            tab.remove_listener(event, hear)
        self.heard.clear()
        for profile in self.profiles.values():
            profile.clear_cookies()
            for tab in profile.pages[1:]:
                tab.close()
            for tab in profile.pages:
                if tab.url != "about:blank":
                    tab.evaluate("localStorage.clear()")
                    tab.goto("about:blank")


def opened(
    browser: Browser, address: str, width: int = 1280, **options: Any
) -> tuple[Any, list[str]]:
    """Open an address; collect what the page complains about and every foreign request."""
    tab = browser.tab(width, **options)
    faults = browser.faults(tab, (address.split("/")[2], ""))
    tab.goto(address)
    tab.wait_for_selector("main")
    tab.wait_for_function("window.did_handshake")  # else it may load anew under the hand
    return tab, faults


def small_in(folder: Path, name: str, text: str = SMALL) -> Path:
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def at_tank(browser: Browser, server: Server, name: str, **options: Any) -> tuple[Any, list[str]]:
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


def until(tab: Any, met: Callable[[], object]) -> None:
    """Wait for what is asked outside of a page, while its events come in."""
    for _ in range(WAIT // 50):
        if met():
            return
        tab.wait_for_timeout(50)
    raise AssertionError("it did not come")


COLOURS = ("color-contrast", "link-in-text-block")  # rules of axe that a scheme can change


def accessible(tab: Any, faults: list[str]) -> None:
    """See that the rules of WCAG find nothing wrong, in light and in dark."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    for scheme, asked, script in (("light", {}, ()), ("dark", {"runOnly": COLOURS}, ("",))):
        tab.emulate_media(color_scheme=scheme)
        # Loading shows a bar of its own; what passes is told with one place each.
        options = {"preload": False, "resultTypes": ["violations"], **asked}
        found = axe.Axe(*script).run(tab, options=options)  # its script is loaded once
        wrong = [(v["id"], [n["html"] for n in v["nodes"]]) for v in found.response["violations"]]
        assert wrong == [], (scheme, tab.url, wrong)
        assert found.response["passes"], scheme
    assert faults == []
