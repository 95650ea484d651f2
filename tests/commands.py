"""Running the program as its user types it."""

import contextlib
import io
import json
import os
import shlex
import subprocess
import sys
import warnings
from pathlib import Path
from typing import Any
from unittest import mock

from plumbstone.cli.main import answer

PROGRAM = [sys.executable, "-c", "from plumbstone.cli.start import run; run()"]
Done = subprocess.CompletedProcess[str]


def type_in(line: str, folder: Path, **environment: str) -> Done:
    """Run `plumbstone …` in a folder and give what it printed.

    All goes on in this process, which spares the start of Python and its libraries; `start`
    runs the program as a process of its own.
    """
    words = _words(line)
    told, wrong = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="\n") for _ in range(2))
    code: object = None
    with (
        mock.patch.dict(os.environ, _environment(environment)),
        contextlib.chdir(folder),
        warnings.catch_warnings(),
        contextlib.redirect_stdout(told),
        contextlib.redirect_stderr(wrong),
    ):
        try:
            answer(words)
        except SystemExit as end:
            code = end.code
    texts = []
    for stream in (told, wrong):
        stream.flush()
        texts.append(stream.buffer.getvalue().decode())  # type: ignore[attr-defined]
    return Done(words, code if isinstance(code, int) else 0, *texts)


def start(line: str, folder: Path, **environment: str) -> Done:
    """Run `plumbstone …` as a process of its own, watched and limited as for its user."""
    return subprocess.run(
        [*PROGRAM, *_words(line)],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
        env={**os.environ, **_environment(environment)},
        check=False,
    )


def read_json(line: str, folder: Path) -> dict[str, Any]:
    """Run a command with --json; it must succeed and print one document, nothing else."""
    done = type_in(f"{line} --json", folder)
    assert done.returncode == 0, done.stderr
    document: dict[str, Any] = json.loads(done.stdout)
    return document


def refuse(line: str, folder: Path) -> str:
    """Run a command that must fail: exit code 1, one message, no traceback, no output."""
    before = sorted(folder.rglob("*"))
    done = type_in(line, folder)
    assert done.returncode == 1, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert sorted(folder.rglob("*")) == before
    return done.stderr


def _words(line: str) -> list[str]:
    """Take a line apart as a shell does, without the name of the program."""
    words = shlex.split(line)
    assert words[0] == "plumbstone"
    return words[1:]


def _environment(more: dict[str, str]) -> dict[str, str]:
    return {"COLUMNS": "120", "NO_COLOR": "1", **more}
