"""Broken and hostile files: every one ends in a result or in one plain error.

Mutated, seeded, from valid files of each format. The short run takes a few dozen of each;
`make slow` takes over three thousand.
"""

import io
import json
import signal
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import structures
import trimesh

from plumbstone.cli.documents import plan_document
from plumbstone.cli.results import write_results
from plumbstone.cli.soaking_log import read_log
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.reading import headers
from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes
from plumbstone.volumes.figures import Report
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.plan import Plan
from plumbstone.volumes.report import report_of
from plumbstone.volumes.sanity import checked
from plumbstone.volumes.scape.scape import read_scape

KINDS = ("stl", "ply", "obj", "off", "glb", "3mf", "xyz")
HUGE = (b"1000000000000", b"-1", b"4294967295", b"nan", b"inf", b"1e999", b"\x00\xff\x00", b"")
STARTER = Path(__file__).parent.parent / "cli" / "starter.toml"


def valid(kind: str) -> bytes:
    """A small stone in a format."""
    stone = boulder((0.2, 0.15, 0.12), 4, subdivisions=2)
    mesh = trimesh.Trimesh(stone.vertices, stone.faces, process=False)
    if kind == "ply":
        return ply_bytes(stone.vertices, stone.faces)
    if kind == "xyz":
        return "\n".join(" ".join(f"{v:.5f}" for v in p) for p in stone.vertices).encode()
    stream = io.BytesIO()
    mesh.export(stream, file_type=kind)
    return stream.getvalue()


def truncated(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: int(rng.integers(0, len(data)))]


def flipped(data: bytes, rng: np.random.Generator) -> bytes:
    bits = bytearray(data)
    for at in rng.integers(0, len(bits), int(rng.integers(1, 30))):
        bits[at] ^= 1 << int(rng.integers(0, 8))
    return bytes(bits)


def spliced(data: bytes, rng: np.random.Generator) -> bytes:
    a, b = sorted(rng.integers(0, len(data), 2))
    return data[:a] + HUGE[int(rng.integers(0, len(HUGE)))] + data[b:]


def head_changed(data: bytes, rng: np.random.Generator) -> bytes:
    """Replace a number near the start, where headers count what follows."""
    at = int(rng.integers(0, min(len(data), 400)))
    return data[:at] + HUGE[int(rng.integers(0, len(HUGE)))] + data[at + 1 :]


MUTATIONS: tuple[Callable[[bytes, np.random.Generator], bytes], ...] = (
    truncated,
    flipped,
    spliced,
    head_changed,
)


def survives(path: Path) -> None:
    """Weigh a file: a figure, or one of our own errors."""
    told = ""
    try:
        found = closed_scan(path)
    except PlumbstoneError as error:
        told = str(error)
    if told:
        assert str(path) in told
        return
    assert 0 < found.volume.low <= found.volume.high < np.inf


def mutated_scans(folder: Path, count: int) -> int:
    cases = 0
    for k, kind in enumerate(KINDS):
        data = valid(kind)
        rng = np.random.default_rng(k)
        for i in range(count):
            path = folder / f"case.{kind}"
            path.write_bytes(MUTATIONS[i % len(MUTATIONS)](data, rng))
            survives(path)
            cases += 1
    return cases


def mutated_scapes(folder: Path, count: int) -> int:
    text = STARTER.read_bytes()
    rng = np.random.default_rng(99)
    for i in range(count):
        path = folder / "tank.toml"
        path.write_bytes(MUTATIONS[i % len(MUTATIONS)](text, rng))
        told = "no message"
        try:
            Layout(read_scape(path)).plan(spacing=0.01)
        except PlumbstoneError as error:
            told = str(error)
        assert told
    return count


def test_a_few_mutations(tmp_path: Path) -> None:
    """Each mutation once of each format; `make slow` tries a hundred."""
    assert mutated_scans(tmp_path, 4) + mutated_scapes(tmp_path, 4) == 4 * (len(KINDS) + 1)


@pytest.mark.slow
def test_three_thousand_mutations(tmp_path: Path) -> None:
    assert mutated_scans(tmp_path, 400) + mutated_scapes(tmp_path, 400) >= 3000


SECONDS = 10  # of processor time, after which a case counts as hanging
MEMORY = 2**30  # [bytes]


def plan_of(path: Path) -> None:
    """Everything of a scape, each figure looked at, as JSON without infinities."""
    looked_at(Layout(read_scape(path)).plan(0.01))


def folder_of(path: Path) -> None:
    """The same, with its drawings, its scene and its sheet."""
    plan = Layout(read_scape(path)).plan(0.01)
    write_results(plan, looked_at(plan), path.parent / "results", Units.METRIC)


def looked_at(plan: Plan) -> Report:
    report = checked(report_of(plan))
    json.dumps(plan_document(report), allow_nan=False)
    return report


def case_of(number: int, folder: Path) -> tuple[Path, Callable[[Path], object]]:
    """Write the n-th case of all kinds in turn, and tell what is to be done with it."""
    rng = np.random.default_rng(number)
    kind = number % 5
    if kind == 3:
        (folder / "log.csv").write_bytes(structures.log(rng))
        return folder / "log.csv", read_log
    if kind == 4:
        suffix, content = structures.scan(rng)
        (folder / f"scan.{suffix}").write_bytes(content)
        return folder / f"scan.{suffix}", closed_scan
    tree = structures.bent(structures.scape(rng), rng)
    text = "\n".join(f"{structures.toml(k)} = {structures.toml(v)}" for k, v in tree.items())
    (folder / "tank.toml").write_text(text, encoding="utf-8", errors="surrogatepass")
    (folder / "map.csv").write_bytes(structures.table(rng))
    (folder / "map.png").write_bytes(structures.picture(rng))
    return folder / "tank.toml", folder_of if number % 10 == 1 and number > 50 else plan_of


def peak() -> int:
    """Most memory that this process held since the last time this was asked [bytes]."""
    status = Path("/proc/self/status").read_text()
    Path("/proc/self/clear_refs").write_text("5")  # proc(5): resets the peak
    return 1024 * int(status.split("VmHWM:")[1].split()[0])


def structured(folder: Path, numbers: range) -> dict[str, int]:
    """Run cases: each ends in a result or in one of our own errors, in time and memory."""

    def too_long(*_: object) -> None:
        raise TimeoutError(f"over {SECONDS} s")

    plan_of(STARTER)  # compiled, loaded
    counts = {"fine": 0, "refused": 0}
    earlier = signal.signal(signal.SIGPROF, too_long)
    try:
        for number in numbers:
            path, work = case_of(number, folder)
            peak()
            held = peak()
            signal.setitimer(signal.ITIMER_PROF, SECONDS)
            try:
                work(path)
                counts["fine"] += 1
            except PlumbstoneError:
                counts["refused"] += 1
            except Exception as error:
                message = f"case {number}: {type(error).__name__}: {error}"
                raise AssertionError(message) from error
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
            assert peak() - held < MEMORY, f"case {number}"
    finally:
        signal.signal(signal.SIGPROF, earlier)
    return counts


def test_fifty_structures(tmp_path: Path) -> None:
    counts = structured(tmp_path, range(50))
    assert min(counts.values()) > 5


@pytest.mark.slow
@pytest.mark.parametrize("part", range(10))
def test_five_thousand_structures(tmp_path: Path, part: int) -> None:
    counts = structured(tmp_path, range(50 + 500 * part, 550 + 500 * part))
    assert min(counts.values()) > 50


def test_a_zip_bomb_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One of 11 MB where 10 are the most; `test_page_desk` has one of 1.1 GB."""
    monkeypatch.setattr(headers, "LARGEST_FILE", 10_000_000)
    path = tmp_path / "bomb.3mf"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", b"\0" * 11_000_000)
    assert path.stat().st_size < 30_000
    with pytest.raises(PlumbstoneError, match=r"unpacks to over 0\.01 GB"):
        closed_scan(path)


def test_paths_out_of_an_archive_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "out.3mf"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("../../3dmodel.model", b"<model/>")
    with pytest.raises(PlumbstoneError, match="lead out of it"):
        closed_scan(path)


def test_cyclic_nodes_in_a_gltf(tmp_path: Path) -> None:
    data = valid("glb")
    length = int.from_bytes(data[12:16], "little")
    tree = json.loads(data[20 : 20 + length])
    for node in tree["nodes"]:
        node["children"] = list(range(len(tree["nodes"])))
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    rest = data[20 + length :]
    total = 12 + 8 + len(text) + len(rest)
    head = data[:8] + total.to_bytes(4, "little") + len(text).to_bytes(4, "little") + data[16:20]
    path = tmp_path / "cycle.glb"
    path.write_bytes(head + text + rest)
    survives(path)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 5000 + "]" * 5000,
        "[tank]\ninside = " + str(["1" * 5000 + " cm"] * 3),
        "[tank]\ninside = 1" + "0" * 6000,
        "[tank]\ninside = [" + ",".join(['"9e300 km"'] * 3) + "]",
    ],
    ids=["deep", "long numbers", "long whole number", "giant lengths"],
)
def test_hostile_scape_files(tmp_path: Path, text: str) -> None:
    path = tmp_path / "tank.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlumbstoneError, match=r"tank\.toml"):
        read_scape(path)
