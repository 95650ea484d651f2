"""Running the program as its user types it."""

import contextlib
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from plumbstone.cli.main import program

PROGRAM = [sys.executable, "-c", "from plumbstone.cli.main import run; run()"]


def type_in(line: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run `plumbstone …` in a folder and give what it printed."""
    words = shlex.split(line)
    assert words[0] == "plumbstone"
    return subprocess.run(
        [*PROGRAM, *words[1:]],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
        env={**os.environ, "COLUMNS": "120", "NO_COLOR": "1", **environment},
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


def run_here(line: str, folder: Path) -> Result:
    """Run a command inside this process, many times faster; nothing may escape as a fault."""
    words = shlex.split(line)
    assert words[0] == "plumbstone"
    with contextlib.chdir(folder):
        done = CliRunner().invoke(program(words[1:]), words[1:])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def refuse_here(line: str, folder: Path) -> str:
    """Run a command in this process that must fail as in `refuse`."""
    before = sorted(folder.rglob("*"))
    done = run_here(line, folder)
    assert done.exit_code == 1, (done.exit_code, done.output)
    assert done.stdout == ""
    assert sorted(folder.rglob("*")) == before
    return done.stderr
