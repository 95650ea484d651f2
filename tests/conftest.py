"""Fixtures that several tests share."""

import contextlib
import fcntl
import gc
import importlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from commands import type_in

if TYPE_CHECKING:
    from pages import Browser, Server

    from plumbstone.volumes.figures import Report

ROOT = Path(__file__).parent.parent
SCANS = ROOT.parent / "shared" / "scans"

# Results must not hang on what an earlier run left in the user's cache.
os.environ.setdefault("XDG_CACHE_HOME", str(ROOT / ".pytest_cache" / "user-cache"))
os.environ["MPLCONFIGDIR"] = str(ROOT / ".pytest_cache" / "fonts")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program does, before NumPy loads


# These take longest, so that they are begun first; the tests of a file stay together on one worker.
LONG = (
    "test_page_tank.py", "test_build_sheet.py", "test_page_shop.py", "test_page.py",
    "test_page_desk.py", "test_page_gate.py", "test_audit.py", "test_drawings.py", "test_engine.py",
    "test_whole.py", "test_plan.py",
)  # fmt: skip
# Their tests share nothing, so that each goes to whichever worker is free; test_limits.py waits.
APART = (
    "test_limits.py", "test_rigid_body.py", "test_hold_down.py", "test_offers.py", "test_weigh.py", "test_files.py",
    "test_heightfield.py", "test_conditions.py", "test_phone_scans.py", "test_mat.py",
    "test_places.py", "test_bad_input.py", "test_retaining.py", "test_equilibrium.py",
    "test_zone_edges.py", "test_workers.py",
)  # fmt: skip
ORDER = [*LONG, *APART]


def pytest_xdist_auto_num_workers() -> int:
    """Take one worker more than there are cores, as tests of the page wait for their browser."""
    return (os.cpu_count() or 1) + 1


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give out whole files, and single tests of those whose tests share nothing."""
    from xdist.scheduler import LoadFileScheduling

    class Scheduling(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = super()._split_scope(nodeid)
            if Path(file).name.startswith("test_page"):
                return "page"  # one server for all of them, and others have its waits
            return nodeid if Path(file).name in APART else file

    return Scheduling(config, log) if config.getvalue("dist") == "loadfile" else None


def pytest_sessionstart(session: pytest.Session) -> None:
    """Begin each worker with other files: rewriting their asserts takes long, and one does for all."""
    first = os.environ.get("PYTEST_XDIST_WORKER", "")[2:]
    if first and session.config.args == session.config.getini("testpaths"):
        files = sorted(
            Path(__file__).parent.glob("test_*.py"), key=lambda file: -file.stat().st_size
        )
        for file in files[int(first) :: int(os.environ["PYTEST_XDIST_WORKER_COUNT"])]:
            with contextlib.suppress(ImportError, pytest.skip.Exception):
                importlib.import_module(file.stem)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest."""
    place = {name: k for k, name in enumerate(ORDER)}
    items.sort(key=lambda item: place.get(item.path.name, len(ORDER)))


def pytest_collection_finish() -> None:
    """Look for garbage less often, and never among what was loaded."""
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


@pytest.fixture(scope="session", autouse=True)
def temporary(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Let what a program that was killed leaves behind lie where pytest clears away."""
    tempfile.tempdir = os.environ["TMPDIR"] = str(tmp_path_factory.mktemp("left"))


@pytest.fixture(scope="session")
def scans() -> Path:
    """Give the folder of scans made by others, or skip where it is absent."""
    if not SCANS.is_dir():
        pytest.skip("the folder ../shared/scans with scans by others is not here")
    return SCANS


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator["Server"]:
    """Serve one folder for all tests of the page."""
    from pages import Server

    running = Server(tmp_path_factory.mktemp("served"))
    yield running
    running.kill()


@pytest.fixture(scope="session")
def chromium() -> Iterator["Browser"]:
    """Start the browser once; while it is open no other loop may run in its thread."""
    from pages import CHROMIUM, FLAGS, Browser

    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield Browser(running)
        running.close()


@pytest.fixture
def browser(chromium: "Browser") -> Iterator["Browser"]:
    """Give the browser, and close what a test opened, so that it draws no longer."""
    yield chromium
    chromium.tidy()


@pytest.fixture
def unprinted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let results be written without pictures and drawings to print, for tests of the others."""
    from plumbstone.cli import results

    for name in ("png_bytes", "drawings_pdf", "template_pdf"):
        monkeypatch.setattr(results, name, lambda *_: b"drawn" * 20_000)
    for name in ("plan_figure", "front_figure", "section_figure"):
        monkeypatch.setattr(results, name, lambda *_: None)


@pytest.fixture
def worded(monkeypatch: pytest.MonkeyPatch, unprinted: None) -> None:
    """Let build sheets be written without their drawings, for tests of their words."""
    from small_tanks import without_drawings

    without_drawings(monkeypatch)


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch, unprinted: None) -> None:
    """Let results be written without being drawn, for tests of what becomes of their files."""
    from plumbstone.cli import results

    def sheet(_sight: object, report: "Report", _units: object) -> str:
        return f"<html><h1>{report.name}</h1>{' ' * 200_000}</html>\n"

    monkeypatch.setattr(results, "build_sheet", sheet)
    monkeypatch.setattr(results, "look_at", lambda *_: None)
    monkeypatch.setattr(results, "glb_bytes", lambda *_: b"drawn" * 20_000)
    for kind in ("hold", "weigh"):
        place = f"plumbstone.cli.pictures.{kind}_picture.picture_of"
        monkeypatch.setattr(place, lambda *_: b"PNG" * 20_000)


@pytest.fixture
def unoffered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let wood be judged without seeking what would hold it, for tests of the verdict."""
    import numpy as np

    from plumbstone.volumes.holding import hold_down
    from plumbstone.volumes.holding.offers import Offers

    monkeypatch.setattr(hold_down, "_offers", lambda *_: Offers(np.empty((0, 3)), "", ()))


@pytest.fixture(scope="module")
def remembered() -> Iterator[None]:
    """Let the layouts of a file share their stages, as those of one scape do (`test_engine`)."""
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.memo import Memo

    begin, shared = Layout.__init__, Memo()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Layout, "__init__", lambda self, scape, memo=shared: begin(self, scape, memo))
        yield


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give what `plumbstone demo` writes, made once for all workers; copy it to change it."""
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (shared / "demo.txt").exists():
            done = type_in("plumbstone demo demo", shared)
            assert done.returncode == 0, done.stderr
            (shared / "demo.txt").write_text(done.stdout, encoding="utf-8")
    return shared / "demo"
