"""`plumbstone demo`: the reading-room tank of the village library, from the shop on."""

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from plumbstone.cli.documents import RESULTS
from plumbstone.cli.files import refuse_foreign, write_file
from plumbstone.cli.options import ForceOption, JsonOption
from plumbstone.cli.output import ScapeUnitsOption, plain_errors
from plumbstone.cli.wording.units import Units

SCAPE = "reading-room.toml"
STONE, SCAN, KEPT = "Great stone", "great-stone-scan.ply", "great-stone.ply"
SIZE, SEED = (0.25, 0.17, 0.22), 1  # of the great stone, as in the scape
LONGEST = "29.2 cm"  # by the caliper in the shop


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder for the results.")] = Path("demo-results"),
    force: ForceOption = False,
    as_json: JsonOption = False,
    units: ScapeUnitsOption = None,
) -> None:
    """Weigh a made-up stone in the shop and lay out a made-up tank with it, into a folder."""
    from plumbstone.cli.plan import plan
    from plumbstone.volumes.scape.writing import with_keys

    text = files("plumbstone.cli").joinpath(SCAPE).read_text(encoding="utf-8")
    keys = {"solid": None, "size": None, "seed": None, "scan": KEPT}
    scape = with_keys(text, "piece", STONE, keys).encode()
    with plain_errors():
        refuse_foreign(folder, (SCAPE, SCAN, KEPT), force=force)
        refuse_foreign(folder / "plan", RESULTS, force=force)
        _in_the_shop(folder, as_json=as_json, units=units or Units.METRIC, force=force)
        write_file(folder / SCAPE, scape, force=force)
    plan(folder / SCAPE, folder / "plan", force=force, as_json=as_json, units=units)


def _in_the_shop(folder: Path, *, as_json: bool, units: Units, force: bool) -> None:
    """Write the scan of the great stone, weigh it and keep its mended mesh."""
    from plumbstone.cli.weigh_output import Prices, mesh_content, print_pieces
    from plumbstone.cli.weigh_request import Request, by_scale, ruler_of, weigh_all
    from plumbstone.meshes.shapes.as_scanned import as_scanned
    from plumbstone.meshes.shapes.primitives import boulder
    from plumbstone.meshes.writing import ply_bytes

    path = folder / SCAN
    write_file(path, ply_bytes(*as_scanned(boulder(SIZE, SEED), SEED)), force=force)
    request = Request(*by_scale("basalt"), ruler_of(longest=LONGEST), meshes=True)
    found, _ = weigh_all(request, [path])
    write_file(folder / KEPT, mesh_content(found, folder / KEPT), force=force)
    if as_json:
        return
    line = f'plumbstone weigh {SCAN} --material basalt --longest "{LONGEST}" --keep {KEPT}'
    typer.echo(f"In the shop:  {line}")
    print_pieces(found, [], Prices(), units, None)
    typer.echo("")
