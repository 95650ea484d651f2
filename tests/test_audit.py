"""What the program opens, starts and reaches, watched by a hook of the interpreter itself."""

import json
import os
import subprocess
import sys
from pathlib import Path

import matplotlib.font_manager
import numpy as np
from PIL import Image

from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes

PACKAGE = Path(__file__).resolve().parent.parent
WATCHED = """
import json, os, sys
from pathlib import Path
work = os.path.realpath(os.getcwd())
own = [os.path.realpath(p) for p in (work, os.environ["XDG_CACHE_HOME"], *filter(None, [os.environ.get("CODE")]))]
# What Python and its libraries bring along, and the system's fonts, zones and devices of numbers.
system = [sys.prefix, sys.base_prefix, "/proc/self", "/proc/cpuinfo", "/proc/meminfo", "/dev/null",
          "/dev/urandom", "/sys/devices/system/cpu", "/sys/fs/cgroup", "/usr/share", "/usr/lib", "/lib", "/etc/localtime",
          "/etc/fonts", "/etc/mime.types", "/usr/local/share", "/usr/local/lib", "/proc/"]
system = [os.path.realpath(p) if not p.startswith("/proc") else p for p in system]
writing = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
CHANGES = {"os.remove": 1, "os.rename": 2, "os.rmdir": 1, "os.mkdir": 1, "os.link": 2,
           "os.symlink": 2, "os.chmod": 1, "os.truncate": 1, "shutil.rmtree": 1}
BANNED = ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "os.startfile",
          "socket.connect", "socket.getaddrinfo", "urllib.Request", "webbrowser.open")
def stop(*words):
    os.write(2, ("AUDIT " + " ".join(map(repr, words))).encode()); os._exit(99)
def inside(path, roots):
    if isinstance(path, int): return True
    real = os.path.realpath(os.fsdecode(path))
    return any(real == root or real.startswith(root.rstrip("/") + "/") for root in roots)
def hook(event, args):
    if event in BANNED: stop(event, args)
    elif event == "open":
        path, mode, flags = args
        roots = own if (flags or 0) & writing else own + system
        if path is not None and not inside(path, roots) and os.fsdecode(path) != "/dev/null": stop(event, path, mode, flags)
    elif event in CHANGES:
        for path in args[:CHANGES[event]]:
            if not str(path).startswith("/proc/self/fd/") and not inside(path, own): stop(event, path)
sys.addaudithook(hook)
import gc, matplotlib.backends.backend_agg, scipy.ndimage, scipy.spatial, highspy, trimesh  # once for all
import plumbstone.cli.results, plumbstone.cli.weigh_request, plumbstone.volumes.holding.hold_down
from plumbstone.cli.main import run
gc.freeze()  # or each child goes through all of it as it ends
for words in json.loads(sys.argv[1]):
    child = os.fork()
    if not child:
        sys.argv[1:] = words
        sys.exit(run())
    if code := os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]): stop(words, code)
"""
TANK = """
[tank]
inside = ["40 cm", "25 cm", "30 cm"]
[[piece]]
name = "Scan"
material = "granite"
scan = "below/stone.ply"
at = ["24 cm", "12 cm"]
[[piece]]
name = "Branch"
kind = "wood"
material = "driftwood"
limbs = [{ length = "12 cm", girth = ["9 cm", "6 cm"] }]
at = ["10 cm", "12 cm"]
[[layer]]
material = "sand"
depth = { map = "map.png", black = "2 cm", white = "6 cm" }
"""
LINES = (
    ["plan", "tank.toml", "--grid", "12", "--out", "results"],
    ["weigh", "below", "--csv", "o.csv", "--json"],
    ["weigh", "below/stone.ply", "--picture", "p.png", "--keep", "k.ply"],
    ["hold", "tank.toml", "--picture", "h.png", "--log", "log.csv"],
    ["new", "other.toml"],
)  # fmt: skip


def test_only_own_files_are_opened_and_nothing_is_started(tmp_path: Path) -> None:
    assert matplotlib.font_manager.fontManager.ttflist  # else it asks fc-list, once for each user
    work = tmp_path / "work"
    (work / "below").mkdir(parents=True)
    stone = boulder((0.12, 0.1, 0.1), 4, subdivisions=3)
    (work / "below" / "stone.ply").write_bytes(ply_bytes(stone.vertices, stone.faces))
    Image.fromarray(np.full((9, 9), 30_000, np.uint16)).save(work / "map.png")
    (work / "tank.toml").write_text(TANK, encoding="utf-8")
    (work / "log.csv").write_text("date,grams\n0,40\n9,46\n", encoding="utf-8")
    environment = {
        **os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache"), "CODE": str(PACKAGE),
        "TMPDIR": str(work), "HOME": str(tmp_path),
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, json.dumps(LINES)], cwd=work, capture_output=True, text=True,
        timeout=300, check=False, env=environment,
    )  # fmt: skip
    assert "AUDIT" not in done.stderr, done.stderr
    assert done.returncode == 0, done.stderr
    made = ("results/plan.json", "o.csv", "p.png", "k.ply", "h.png", "other.toml")
    assert all((work / name).is_file() for name in made)
