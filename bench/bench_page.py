"""How long a figure takes to follow the pointer on the page, and all else after it lets go."""

import contextlib
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

ROOM = Path(__file__).parent.parent / "cli" / "reading-room.toml"
STEP = 5.0  # what places snap to [mm]
# Each place is visited once, as what was computed is remembered.
PLACES = [(x, y) for y in (1, -1, 2, -2) for x in range(-3, 4)]
LET_GO = 4
# Notes when the pointer moved and when the figures (or why not) of that place were shown.
WATCH = """() => {
  window.lags = []; window.from = null; window.exact = 0;
  document.addEventListener('pointermove', () => { window.moved = performance.now(); }, true);
  new MutationObserver(() => { window.from = window.moved; }) // what did not snap is no move
    .observe(document.querySelector('.view.above [data-piece="Great stone"]'),
             { attributes: true, attributeFilter: ['transform'] });
  document.addEventListener('pointerup', () => { window.up = performance.now(); }, true);
  const told = () => { if (window.from !== null) window.lags.push(performance.now() - window.from);
                       window.from = null; };
  new MutationObserver(told).observe(document.querySelector('.figures'),
    { attributes: true, attributeFilter: ['data-of'] });
  const state = document.querySelector('.state');
  new MutationObserver(() => { if (state.innerText.startsWith('Figures are exact'))
                                 window.exact = performance.now() - window.up; })
    .observe(state, { childList: true, subtree: true, characterData: true });
}"""


def drags() -> list[tuple[str, float, float]]:
    """Drag a stone of the demo tank; give name, median and 95 % [s]; none without a browser."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return []
    if browser is None:
        return []
    with _served() as address, sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=browser, args=["--no-sandbox"])
        tab = chromium.new_page(viewport={"width": 1280, "height": 800})
        tab.set_default_timeout(300_000)
        tab.goto(f"{address}/tank/{ROOM.name}")
        tab.get_by_text("Saved in").wait_for()
        tab.evaluate(WATCH)
        starts = [(0, 0), *PLACES[LET_GO - 1 :: LET_GO]]
        parts = [PLACES[i : i + LET_GO] for i in range(0, len(PLACES), LET_GO)]
        let_go = [_drag(tab, start, part) for start, part in zip(starts, parts, strict=False)]
        lags = [lag / 1e3 for lag in tab.evaluate("window.lags")]
        chromium.close()
    exact, all_told = zip(*let_go, strict=True)
    return [
        _row("pointer to figure while dragging", lags),
        _row("let go to exact figures", exact),
        _row("let go to verdict", all_told),
    ]


def _drag(tab: Any, start: tuple[int, int], places: list[tuple[int, int]]) -> tuple[float, float]:
    """Drag a stone over some places; give how long figures and all took once let go [s]."""
    step = STEP * tab.evaluate("document.querySelector('.view.above svg').getScreenCTM().a")
    box = tab.locator('.view.above [data-piece="Great stone"] text').bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    for to_x, to_y in places:
        tab.mouse.move(x + step * (to_x - start[0]), y - step * (to_y - start[1]))
        tab.wait_for_function("window.from === null")
    begun = time.perf_counter()
    tab.mouse.up()
    tab.get_by_text("Saved in").wait_for()
    spent = time.perf_counter() - begun
    tab.evaluate("window.from = null")
    return tab.evaluate("window.exact") / 1e3, spent


def _row(name: str, seconds: Sequence[float]) -> tuple[str, float, float]:
    last = statistics.quantiles(seconds, n=20)[-1] if len(seconds) > 1 else float("nan")
    return f"{name}, {len(seconds)} times", statistics.median(seconds or [float("nan")]), last


@contextlib.contextmanager
def _served() -> Iterator[str]:
    """Serve the demo tank on a port that is free."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = trial.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(ROOM, folder)
        words = ["serve", folder, "--no-open", "--port", str(port)]
        code = "from plumbstone.cli.main import run; run()"
        program = subprocess.Popen([sys.executable, "-c", code, *words], stdout=subprocess.DEVNULL)
        try:
            for _ in range(600):
                with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port)):
                    break
                time.sleep(0.1)
            yield f"http://127.0.0.1:{port}"
        finally:
            program.kill()
            program.wait()


def main() -> None:
    """Print how long a drag takes."""
    found = drags()
    if not found:
        print("drags on the page: not timed, as there is no Chromium or no playwright")
    for name, middle, last in found:
        print(f"{name:46} median {middle * 1e3:6.0f} ms   95 % {last * 1e3:6.0f} ms")


if __name__ == "__main__":
    main()
