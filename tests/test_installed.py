"""A wheel on a bare machine: installed by someone else, no home, nothing writable but one folder."""

import os
import shlex
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
ROOT = Path(__file__).parent.parent
# Modes are no bar to root, for whom folders are mounted read-only in a space of their own.
BARRED = """for folder in $BARRED; do
mount --bind "$folder" "$folder" && mount -o remount,bind,ro "$folder" || exit 99; done
exec "$0" "$@"
"""
LINES = (
    "new tank.toml",
    "materials granite",
    "weigh --size '28 x 19 x 15 cm' -m granite",
    "weigh stone.ply --keep kept.ply --picture stone.png --csv stones.csv",
    "bed tank.toml",
    "show tank.toml --out seen",
    "plan tank.toml --out results",
    "mat",
    "demo demo",
    "demo demo",
    "hold demo/reading-room.toml --picture forces.png",
)  # fmt: skip


def run(*words: str | Path, **more: object) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(  # type: ignore[call-overload]
        words, capture_output=True, text=True, timeout=600, check=False, **more
    )
    assert done.returncode == 0, (words, done.stdout[-500:], done.stderr[-2000:])
    return done  # type: ignore[no-any-return]


@pytest.fixture(scope="module")
def bare() -> Iterator[Path]:
    """An environment with the wheel in it and its libraries beside, all of it write-protected."""
    if int(version("setuptools").split(".")[0]) < 77:
        pytest.skip("building a wheel needs setuptools 77, which `make` installs")
    place = Path(tempfile.mkdtemp(prefix="bare-"))
    for name in ("plumbstone", "volumes", "meshes", "cli"):
        shutil.copytree(
            ROOT / name, place / "source" / name, ignore=shutil.ignore_patterns("__pycache__")
        )
    for name in ("pyproject.toml", "setup.py", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, place / "source" / name)
    pip = (sys.executable, "-m", "pip", "-q", "--disable-pip-version-check")
    build = ("wheel", "--no-deps", "--no-build-isolation", "-w", str(place), str(place / "source"))
    run(*pip, *build)
    run(sys.executable, "-m", "venv", "--without-pip", place / "venv")
    shutil.rmtree(place / "source")
    (wheel,) = place.glob("*.whl")
    own = f"python{sys.version_info.major}.{sys.version_info.minor}"
    packages = place / "venv" / "lib" / own / "site-packages"
    (packages / "libraries.pth").write_text(sysconfig.get_path("purelib"), encoding="utf-8")
    run(*pip, "--python", place / "venv", "install", "--no-deps", "--no-compile", wheel)
    run("chmod", "-R", "a-w,a+rX", place / "venv")
    yield place
    run("chmod", "-R", "u+w", place)
    shutil.rmtree(place)


@pytest.mark.parametrize("home", ["none", "read-only", "missing"])
def test_every_command_runs_where_nothing_can_be_written(bare: Path, home: str) -> None:
    work = bare / f"work-{home}"
    (work / "tmp").mkdir(parents=True)
    (work / "home").mkdir(mode=0o555)
    environment = {"PATH": os.environ["PATH"], "TMPDIR": str(work / "tmp"), "COLUMNS": "100"}
    if home != "none":
        environment["HOME"] = str(work / "home" if home == "read-only" else work / "nowhere")
    before: tuple[str, ...] = ()
    if os.getuid() == 0:
        environment["BARRED"] = f"{bare}/venv {work}/home"
        before = ("unshare", "--mount", "sh", "-c", BARRED)
        if subprocess.run([*before, "true"], env=environment, check=False).returncode:
            pytest.skip("root may not mount anything here")

    def typed(*words: str | Path) -> subprocess.CompletedProcess[str]:
        return run(*before, *words, cwd=work, env=environment)

    python = bare / "venv" / "bin" / "python"
    make = "from plumbstone.meshes.shapes.primitives import boulder as b; s = b((.1, .1, .1), 4);"
    make += "import plumbstone as p; from plumbstone.meshes.writing import ply_bytes;"
    make += "open('stone.ply', 'wb').write(ply_bytes(s.vertices, s.faces)); print(p.__file__)"
    told = typed(python, "-c", make).stdout
    assert Path(told.strip()).is_relative_to(bare / "venv")
    for line in LINES:
        done = typed(bare / "venv" / "bin" / "plumbstone", *shlex.split(line))
        assert done.stderr == "", line
    assert (work / "demo" / "plan" / "build-sheet.html").stat().st_size > 50_000
    assert not list((work / "home").iterdir())
    assert not (work / "nowhere").exists()
    assert not list(work.glob("~*"))
