"""`plumbstone demo`: the reading-room tank of the village library."""

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from plumbstone.cli.output import JsonOption, UnitsOption, plain_errors
from plumbstone.cli.wording.units import Units

SCAPE = "reading-room.toml"


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder for the results.")] = Path("demo-results"),
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Lay out a made-up tank and write everything about it into a folder."""
    from plumbstone.cli.files import make_folder, write_whole
    from plumbstone.cli.plan import run_plan

    text = files("plumbstone.cli").joinpath(SCAPE).read_text(encoding="utf-8")
    with plain_errors():
        make_folder(folder)
        write_whole(folder / SCAPE, text)
        run_plan(folder / SCAPE, folder / "plan", None, None, as_json, units)
