"""Limits hold before memory is taken, and stop what takes too much anyway, with a word why."""

import io
import json
import signal
import struct
import subprocess
import sys
import time
import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from commands import PROGRAM

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.rulers import FILE_ALONE
from plumbstone.meshes.reading.headers import check_header
from plumbstone.meshes.reading.scans import read_raw

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
UNDER_LIMITS = """
import sys, time
import plumbstone.cli.main as main, plumbstone.cli.workers as workers
from pathlib import Path
workers.MOST_MEMORY = 400_000_000
workers.MOST_SECONDS = 5 if sys.argv[1] in ("slow", "side_by_side") else 300
if sys.argv.pop(): workers.PROC = Path("/nowhere")
def full(): return [bytearray(b"1") * 50_000_000 for _ in range(60)]
def work(n):
    if n == 2: full()
    if n == 3: time.sleep(30)
    return n
def side_by_side(): print(list(workers.side_by_side(work, [1, 2, 3, 4], 2)))
def broken(): import ctypes; ctypes.string_at(0)
def slow(): time.sleep(30)
def faulty(): raise ValueError("inside")
def wrong(): sys.exit(2)
main.program = lambda words: lambda *_, **__: globals()[words[0]]()
main.run()
"""


@pytest.mark.parametrize("proc", [True, False], ids=["with /proc", "without /proc"])
@pytest.mark.parametrize(
    ("what", "code", "words"),
    [
        ("full", 1, "limit of 0.4 GB of memory"),
        ("slow", 1, "limit of 5 s"),
        ("broken", 3, "library broke down"),
        ("faulty", 3, "fault of the program"),
        ("wrong", 2, ""),
        ("side_by_side", 0, "[1, None, None, 4]"),
    ],
)
def test_what_goes_beyond_limits_is_stopped(what: str, code: int, words: str, proc: bool) -> None:
    done = subprocess.run(
        [sys.executable, "-c", UNDER_LIMITS, what, "" if proc else "none"], capture_output=True, text=True, timeout=120,
        check=False,
    )  # fmt: skip
    assert done.returncode == code, done.stderr
    assert words in done.stderr + done.stdout
    assert "Traceback" not in done.stderr
    if "limit" in words:
        assert "--limits" in done.stderr


def test_an_interrupt_that_a_callback_swallows_prints_nothing() -> None:
    code = """
import sys
from plumbstone.cli.workers import supervise
class Ending:
    def __init__(self, fault): self.fault = fault
    def __del__(self): raise self.fault
if (code := supervise()) is not None:
    sys.exit(code)
Ending(KeyboardInterrupt())
Ending(ValueError("told"))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "told" in done.stderr
    assert "Interrupt" not in done.stderr


def test_nothing_is_left_running(tmp_path: Path) -> None:
    for number, code in ((signal.SIGINT, 130), (signal.SIGKILL, -9), (signal.SIGTERM, -15)):
        run = subprocess.Popen(
            [*PROGRAM, "demo", "d"], cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )
        children = Path(f"/proc/{run.pid}/task/{run.pid}/children")
        while not (found := children.read_text().split()):
            time.sleep(0.02)
        time.sleep(0.5)
        run.send_signal(number)
        assert run.communicate(timeout=120)[1] == b""
        assert run.returncode == code
        for child in found:
            deadline = time.monotonic() + 60
            while Path(f"/proc/{child}").exists() and time.monotonic() < deadline:
                time.sleep(0.02)
            assert not Path(f"/proc/{child}").exists()


def glb(tree: dict[str, Any], data: bytes = b"") -> bytes:
    text = json.dumps({"asset": {"version": "2.0"}, **tree}).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text
    if data:
        body += struct.pack("<II", len(data), 0x004E4942) + data
    return b"glTF" + struct.pack("<II", 2, 12 + len(body)) + body


def archive(model: str) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("3D/3dmodel.model", model)
    return stream.getvalue()


def repeated() -> bytes:
    """A glTF scene of one stored ball that is drawn 40 000 times."""
    stored = trimesh.creation.icosphere(subdivisions=2).export(file_type="glb")
    length = int.from_bytes(stored[12:16], "little")
    tree = json.loads(stored[20 : 20 + length])
    tree["nodes"] = [{"mesh": 0, "name": str(i)} for i in range(40_000)]
    tree["scenes"] = [{"nodes": list(range(40_000))}]
    return glb(tree, stored[28 + length :])


def laughing() -> bytes:
    """A 3MF of 1 kB whose objects hold each other twice, thirty times over."""
    text = f'<model unit="millimeter" xmlns="{CORE}"><resources><object id="0"><mesh/></object>'
    text = text.replace("<mesh/>", "<mesh>" + '<vertex x="0" y="0" z="0"/>' * 4 + "</mesh>")
    for k in range(1, 31):
        twice = f'<component objectid="{k - 1}"/>' * 2
        text += f'<object id="{k}"><components>{twice}</components></object>'
    return archive(f'{text}</resources><build><item objectid="30"/></build></model>')


def from_nothing() -> dict[str, Any]:
    accessor = {"componentType": 5126, "type": "VEC3", "count": 300_000_000}
    meshes = [{"primitives": [{"attributes": {"POSITION": 0}}]}]
    return {"accessors": [accessor], "meshes": meshes, "nodes": [{"mesh": 0}]}


def lying() -> bytes:
    """A 3MF of 50 kB that unpacks to 50 MB and says that it is 100 bytes."""
    packed = bytearray(archive("0" * 50_000_000))
    entry = packed.rfind(b"PK\x01\x02")  # the central directory, 4.3.12 of the ZIP note
    packed[entry + 16 : entry + 20] = struct.pack("<I", zlib.crc32(b"0" * 101))
    packed[entry + 24 : entry + 28] = struct.pack("<I", 100)
    return bytes(packed)


RING = {"nodes": [{"children": [1]}, {"children": [0]}]}
BOMBS = {
    "from nothing.glb": (lambda: glb(from_nothing()), "promises 300000000 entries"),
    "from nothing.gltf": (lambda: json.dumps(from_nothing()).encode(), "promises 300000000 entries"),
    "repeated.glb": (repeated, "repeats its parts"),
    "ring.glb": (lambda: glb(RING), "hold themselves"),
    "laughing.3mf": (laughing, "repeats its parts"),
    "packed.3mf": (lambda: archive('<vertex x="0"/>' * 2_000_000), "times its size"),
    "lying.3mf": (lying, "more than it says"),
    "many corners.obj": (lambda: b"v 0 0 1\n" * 4 + b"f" + b" 1" * 2_000_000, "hundred thousand signs"),
    "records.las": (lambda: b"LASF" + b"\x01" * 600, "promises more records"),
    "entities.3mf": (lambda: archive('<!DOCTYPE a [<!ENTITY b "c">]><model/>'), "definitions"),
    "text.ply": (
        lambda: b"ply\nformat ascii 1.0\nelement vertex 900000000\nproperty float x\nend_header\n0\n",
        "promises 900000000",
    ),
    "lists.ply": (
        lambda: b"ply\nformat binary_big_endian 1.0\nelement face 900000000\n"
        b"property list uchar int vertex_indices\nend_header\n\0",
        "promises 900000000",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BOMBS)
def test_small_files_that_would_be_huge_are_refused_by_their_header(
    tmp_path: Path, name: str
) -> None:
    make, words = BOMBS[name]
    path = tmp_path / name
    path.write_bytes(make())
    assert path.stat().st_size < 5_000_000
    with pytest.raises(PlumbstoneError, match=words) as told:
        read_raw(path, FILE_ALONE)
    assert name in str(told.value)


@pytest.mark.parametrize("colours", [False, True])
def test_a_plain_glb_of_many_faces_repeats_nothing(colours: bool) -> None:
    # A closed skin has twice as many faces as corners (Euler), so most of a file are its indices.
    corners = np.random.default_rng(1).normal(size=(200_000, 3))
    faces = np.arange(1_200_000).reshape(-1, 3) % len(corners)
    skin = trimesh.Trimesh(corners, faces, process=False)
    if colours:
        skin.visual.vertex_colors = np.full((len(corners), 4), 90, np.uint8)
    check_header(".glb", skin.export(file_type="glb"))


@pytest.mark.parametrize("kind", ["glb", "3mf", "ply"])
def test_honest_files_pass(kind: str) -> None:
    ball = trimesh.creation.icosphere(subdivisions=3)
    check_header(f".{kind}", ball.export(file_type=kind))
    scene = trimesh.Scene([ball, ball.copy().apply_translation([3, 0, 0])])
    if kind != "ply":
        check_header(f".{kind}", scene.export(file_type=kind))
