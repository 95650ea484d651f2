"""Weighing a stranger's scan in a process of its own, which can be stopped and has limits."""

import asyncio
import contextlib
import json
import math
import os
import shutil
import signal
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from plumbstone.cli.output import READER
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.reading.scans import MESH_KINDS

SECONDS = 120.0
MEMORY = 6_000_000_000  # [bytes]
KINDS = (*MESH_KINDS, ".xyz")
MENDED, SCENE = "mended.ply", "seen.glb"
STARTING, SPEED = 3.0, 2e6  # [s] and [bytes/s] by which it is told how far it has come
CLOSED_AT = 0.8  # share of the work after which the closed body is written


class ScanError(PlumbstoneError, ValueError):
    """A scan that was not weighed."""


@dataclass(frozen=True, slots=True)
class WeighedScan:
    """What came out of it."""

    document: dict[str, Any]  # as `weigh --json` gives one piece
    mesh: bytes  # mended, PLY
    scene: bytes  # GLB, seen, closed and cut away told apart

    @property
    def sides(self) -> tuple[float, float, float]:
        """Length, depth and height of the scene as it stands, from its corner [m]."""
        head = json.loads(self.scene[20 : 20 + int.from_bytes(self.scene[12:16], "little")])
        ends = [a for a in head["accessors"] if len(a.get("max", ())) == 3]  # of corners, +y up
        return (
            max(end["max"][0] for end in ends),
            max(-end["min"][2] for end in ends),
            max(end["max"][1] for end in ends),
        )


@dataclass(slots=True)
class ScanJob:
    """Scans that were sent, and the process that weighs them."""

    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="plumbstone-scan-")))
    names: list[str] = field(default_factory=list)  # as they were called where they came from
    _process: asyncio.subprocess.Process | None = None
    _turn: int = 0  # counts what was begun and what was stopped

    def take(self, name: str, content: bytes) -> None:
        """Store a scan under a name of our own.

        Raises
        ------
        ScanError
            If its kind is none that can be read.
        """
        kind = Path(name).suffix.lower()
        if kind not in KINDS:
            known = ", ".join(k.lstrip(".") for k in KINDS)
            raise ScanError(f"This is no scan that can be read; send one of: {known}.")
        self.names.append(Path(name).name[:80])
        (self.folder / f"scan{len(self.names)}{kind}").write_bytes(content)

    async def weigh(self, *options: str) -> WeighedScan:
        """Weigh what was taken.

        Raises
        ------
        ScanError
            If it cannot be weighed, took too long or was stopped; says what to do.
        """
        self.stop()
        turn = self._turn
        for name in (MENDED, SCENE):  # of a time before
            (self.folder / name).unlink(missing_ok=True)
        scans = sorted(path.name for path in self.folder.glob("scan*"))
        words = ["--keep", MENDED, "--picture", SCENE, *options, "--", *scans]
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-c",
            _program(),
            "weigh",
            "--json",
            *words,
            cwd=self.folder,
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
            start_new_session=True,
            env={**os.environ, READER: "page"},
        )
        if turn != self._turn:  # stopped while it was about to start
            _end(process)
        else:
            self._process = process
        try:
            out, wrong = await asyncio.wait_for(process.communicate(), SECONDS)
        except TimeoutError:
            _end(process)
            await process.communicate()  # what it said last; its pipes are closed then
            raise ScanError(
                f"Not done after {SECONDS:g} s; thin the scan out and send it again."
            ) from None
        except asyncio.CancelledError:
            _end(process)
            raise
        if turn != self._turn:
            raise ScanError("Stopped.")
        return self._read(out, wrong.decode(errors="replace"), process.returncode)

    def share(self, seconds: float) -> float:
        """Estimate how much is done [-] after a time [s]: by what is written, and was sent."""
        sent = sum(path.stat().st_size for path in self.folder.glob("scan*"))
        spent = 1 - math.exp(-seconds / (STARTING + sent / SPEED))
        done = CLOSED_AT * spent
        if (self.folder / MENDED).exists():
            done = max(done, CLOSED_AT) + (1 - CLOSED_AT) / 2 * spent
        return min(done, 0.99)

    def stop(self) -> None:
        """End the process and all that it started, also if it is only about to start."""
        self._turn += 1
        if self._process is not None:
            _end(self._process)

    def clear(self) -> None:
        """End it, and remove what was sent."""
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _read(self, out: bytes, wrong: str, code: int | None) -> WeighedScan:
        """Take what the process wrote."""
        try:
            found = json.loads(out)["pieces"][0]
            written = [(self.folder / name).read_bytes() for name in (MENDED, SCENE)]
        except (ValueError, LookupError, OSError):
            raise ScanError(self._plain(wrong, code)) from None
        return WeighedScan(found, *written)

    def _plain(self, wrong: str, code: int | None) -> str:
        """Give the program's message with the names that the user knows."""
        text = wrong.strip().removeprefix("plumbstone: ")
        if code != 1 or not text or "Traceback" in text:
            return "This scan could not be weighed; export it anew, or type its size."
        for path in sorted(self.folder.glob("scan*")):
            number = int(path.stem.removeprefix("scan"))
            text = text.replace(str(path), self.names[number - 1])
            text = text.replace(path.name, self.names[number - 1])
        return text.replace(f"{self.folder}/", "")


def _end(process: asyncio.subprocess.Process) -> None:
    """End a process and all that it started."""
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)


def _program() -> str:
    """Give the program as a process that first limits itself, where the system can."""
    seconds = 2 * max(1, int(SECONDS))
    lines = (
        "try:",
        "    import resource as r",
        f"    r.setrlimit(r.RLIMIT_DATA, ({MEMORY}, {MEMORY}))",
        f"    r.setrlimit(r.RLIMIT_CPU, ({seconds}, {seconds}))",
        "    r.setrlimit(r.RLIMIT_CORE, (0, 0))",
        "except ImportError:",
        "    pass",
        "from plumbstone.cli.main import run",
        "run()",
    )
    return "\n".join(lines)
