"""`plumbstone demo`: the reading-room tank of the village library."""

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from plumbstone.cli.output import ForceOption, JsonOption, UnitsOption, plain_errors
from plumbstone.cli.wording.units import Units

SCAPE = "reading-room.toml"


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder for the results.")] = Path("demo-results"),
    force: ForceOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Lay out a made-up tank and write everything about it into a folder."""
    from plumbstone.cli.files import refuse_foreign, write_file
    from plumbstone.cli.plan import run_plan
    from plumbstone.cli.results import NAMES

    content = files("plumbstone.cli").joinpath(SCAPE).read_bytes()
    with plain_errors():
        refuse_foreign(folder / "plan", NAMES, force=force)
        write_file(folder / SCAPE, content, force=force)
        run_plan(folder / SCAPE, folder / "plan", None, None, as_json, units, force)
