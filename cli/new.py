"""`plumbstone new`: a commented scape file to start from."""

from importlib.resources import files
from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from plumbstone.cli.files import write_new
from plumbstone.cli.options import JsonOption
from plumbstone.cli.output import emit_json, plain_errors
from plumbstone.meshes.errors import shown


def new(
    file: Annotated[Path, typer.Argument(help="The scape file to write, such as my-tank.toml.")],
    force: Annotated[bool, typer.Option("--force", help="Replace a file of that name.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write a commented scape file that runs as it is."""
    text = files("plumbstone.cli").joinpath("starter.toml").read_text(encoding="utf-8")
    if not file.suffix and not file.is_dir():
        file = file.with_suffix(".toml")  # else the page would not list it
    with plain_errors():
        write_new(file, text.replace("FILE", shown(file.name)).encode(), force=force)
    if as_json:
        emit_json({"file": str(file)})
    else:
        typer.echo(shown(f"Wrote {file}. Edit it, then:  plumbstone plan {quote(str(file))}"))
