"""The README is true: its commands print what it shows."""

import re
import shlex
from pathlib import Path

import pytest
from commands import type_in

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```\n(.*?)```", README, re.DOTALL)


def shown() -> list[tuple[str, str]]:
    """Each command of the README with what it shows below it."""
    found = []
    for block in BLOCKS:
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            line, _, output = part.partition("\n")
            found.append((line, output.strip()))
    return found


def squeezed(text: str) -> str:
    """Drop differences of width that a narrower terminal makes."""
    return re.sub(r"[\s━─]+", " ", text).strip()


def test_commands_print_what_the_readme_shows(tmp_path: Path) -> None:
    commands = shown()
    assert len(commands) >= 5
    for line, output in commands:
        done = type_in(line, tmp_path)
        assert done.returncode == 0, (line, done.stderr)
        assert squeezed(done.stdout) == squeezed(output), line


@pytest.mark.parametrize("name", re.findall(r"^\| `(\w+)", README, re.MULTILINE))
def test_every_command_of_the_table_exists(tmp_path: Path, name: str) -> None:
    assert type_in(f"plumbstone {name} --help", tmp_path).returncode == 0


def test_quoted_lines_are_commands() -> None:
    for words in re.findall(r"`(plumbstone [^`]+)`", README):
        assert shlex.split(words)[0] == "plumbstone"
