"""The package as it is installed: nothing missing, imports one way, docstring examples true."""

import ast
import doctest
import graphlib
import importlib
import re
import tomllib
from functools import cache
from pathlib import Path

import pytest
from commands import type_in

from plumbstone.cli.main import COMMANDS

ROOT = Path(__file__).parent.parent
FOLDERS = ("meshes", "volumes", "cli")
MODULES = sorted(
    "plumbstone." + ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for folder in FOLDERS
    for path in (ROOT / folder).rglob("*.py")
    if path.stem != "__init__"
)


def test_packages_list_matches_the_tree() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    found = {
        "plumbstone." + ".".join(path.parent.relative_to(ROOT).parts)
        for folder in FOLDERS
        for path in (ROOT / folder).rglob("__init__.py")
    }
    assert set(project["tool"]["setuptools"]["packages"]) == {"plumbstone", *found}


@pytest.mark.parametrize("guide", ["DEVELOPERS.md", "docs/scan-errors.md"])
def test_what_the_guide_names_exists(guide: str) -> None:
    """Paths, and names as `module.name` or `Class.name`, which `module` or `Class` must speak of."""
    text = re.sub(r"```.*?```", "", (ROOT / guide).read_text(encoding="utf-8"), flags=re.DOTALL)
    code = {p: p.read_text(encoding="utf-8") for f in FOLDERS for p in (ROOT / f).rglob("*.py*")}
    for home, name in re.findall(r"`(\w+)\.(_?[a-z]\w+)(?:\(\))?`", text):
        if name not in {"py", "toml", "js", "json", "md", "pyx", "html", "pdf", "csv"}:
            told = [t for p, t in code.items() if home == p.stem or f"class {home}" in t]
            assert any(re.search(rf"\b{name}\b", t) for t in told), f"{guide}: {home}.{name}"
    for path in re.findall(r"`([a-z_/]+/[a-z_-]+\.(?:py|pyx|toml|js|md))\b", text):
        homes = (ROOT, *(ROOT / folder for folder in FOLDERS))
        assert any((home / path).exists() for home in homes), f"{guide}: {path}"


@pytest.mark.parametrize("folder", FOLDERS)
def test_imports_run_one_way(folder: str) -> None:
    allowed = FOLDERS[: FOLDERS.index(folder) + 1]
    for name in (name for name in MODULES if name.split(".")[1] == folder):
        for node in imports_of(name):
            assert node.level == 0, f"{name}: relative import"
            parts = (node.module or "").split(".")
            if parts[0] == "plumbstone":
                assert parts[1] in allowed, f"{name}: {node.module}"


@cache
def imports_of(name: str) -> list[ast.ImportFrom]:
    """Every `from … import …` of a module, wherever it stands in it."""
    nodes = ast.walk(ast.parse(source_of(name)))
    return [node for node in nodes if isinstance(node, ast.ImportFrom)]


def source_of(name: str) -> str:
    return (ROOT / Path(*name.split(".")[1:])).with_suffix(".py").read_text(encoding="utf-8")


def test_no_room_imports_what_imports_it() -> None:
    """A room is a folder inside one of the three, or a module beside it."""
    uses: dict[str, set[str]] = {}
    for name in MODULES:
        for node in imports_of(name):
            if (node.module or "").startswith("plumbstone."):
                whole = {f"{node.module}.{alias.name}" for alias in node.names}
                for used in (whole & set(MODULES)) or {node.module or ""}:
                    uses.setdefault(room_of(name), set()).add(room_of(used))
    rooms = {room: used - {room} for room, used in uses.items()}
    order = list(graphlib.TopologicalSorter(rooms).static_order())  # raises where there is a circle
    floors: dict[str, int] = {}
    for room in order:
        inside = [u for u in rooms.get(room, ()) if u.split(".")[0] == room.split(".")[0]]
        floors[room] = 1 + max((floors[used] for used in inside), default=0)
    assert max(floors.values()) <= 7, floors


def room_of(module: str) -> str:
    """Name folder and room of a module."""
    return ".".join(module.split(".")[1:3])


@pytest.mark.parametrize("name", [name for name in MODULES if ">>>" in source_of(name)])
def test_docstring_examples(name: str) -> None:
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted
    assert not found.failed


@pytest.mark.parametrize("name", COMMANDS)
def test_summaries_are_those_of_the_commands(name: str) -> None:
    command = getattr(importlib.import_module(f"plumbstone.cli.{name}"), name)
    assert COMMANDS[name] == command.__doc__.strip().splitlines()[0]


def test_the_program_tells_the_version_of_its_package(tmp_path: Path) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    told = type_in("plumbstone --version", tmp_path)
    assert told.stdout == f"plumbstone {project['project']['version']}\n"
