"""`plumbstone show`: the tank from above in characters, and its pictures."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from plumbstone.cli import output
from plumbstone.cli.documents import RESULTS
from plumbstone.cli.files import refuse_foreign
from plumbstone.cli.options import ForceOption, JsonOption, TrustOption
from plumbstone.cli.output import ScapeUnitsOption
from plumbstone.cli.wording.comparing import compared
from plumbstone.cli.wording.units import Units, place_words
from plumbstone.meshes.errors import PlumbstoneError, shown
from plumbstone.volumes.sanity import checked

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from plumbstone.volumes.plan import Plan

WIDTH = 72  # most characters along the length
FRAME = 9  # characters of the frame and the words beside it
LAYER_SIGNS = ".:-~+"


def show(
    scapes: Annotated[list[Path], typer.Argument(help="A scape file, or two to compare.")],
    out: Annotated[
        Path | None, typer.Option(help="Write the pictures and the sheet there.")
    ] = None,
    open_sheet: Annotated[
        bool, typer.Option("--open", help="Open the build sheet in a browser (with --out).")
    ] = False,
    force: ForceOption = False,
    _trust: TrustOption = None,
    as_json: JsonOption = False,
    units: ScapeUnitsOption = None,
) -> None:
    """Show the tank from above and write its pictures; or set two scapes side by side."""
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.report import report_of
    from plumbstone.volumes.scape.scape import read_scape

    with output.plain_errors(units, scape=scapes[0]), output.working("Drawing ..."):
        if len(scapes) > 2 or (out is not None and len(scapes) > 1):
            raise PlumbstoneError("show draws one scape, or compares two without --out.")
        if open_sheet and out is None:
            raise PlumbstoneError("--open shows what --out writes; add --out FOLDER.")
        read = [read_scape(path) for path in scapes]
        units = output.units_of(units, read[0])
        if out is not None:
            refuse_foreign(out, RESULTS, inputs=read[0].files, force=force, of=scapes[0])
        plans = [Layout(scape).plan() for scape in read]
        reports = [checked(report_of(plan)) for plan in plans]
        if out is not None:
            from plumbstone.cli.results import write_results

            write_results(plans[0], reports[0], out, units, force=force)
    for plan in plans if not as_json else ():
        _print(plan, units)
    if as_json:
        drawn = [{"rows": rows_from_above(plan), "key": _key(plan)} for plan in plans]
        output.emit_json(drawn[0] if len(drawn) == 1 else {"scapes": drawn})
    elif len(plans) == 2:
        heads, *rows = compared((reports[0], reports[1]), units)
        output.table("Side by side", heads, rows)
    if out is not None and not as_json:
        typer.echo(shown(f"Pictures are in {out}."))
        if open_sheet:
            typer.launch(str(out / "build-sheet.html"))


def rows_from_above(plan: "Plan") -> list[str]:
    """Draw the tank from above in characters, the back pane in the first row.

    Digits are the pieces' numbers, `#` the rest of a piece; signs are layers, in pouring order.
    Pieces below the bed are left out.
    """
    import numpy as np

    from plumbstone.meshes.measures.columns import Grid, columns_of

    tank, across = plan.scape.tank, min(WIDTH, output.width() - FRAME)
    rows = max(4, round(across * tank.depth / tank.length / 2))
    grid = Grid(tank.length, tank.depth, across, rows)
    picture = np.full((rows, across), " ")
    height = np.zeros((rows, across))
    if plan.bed is not None:
        at = plan.bed.grid.cell_at(*np.meshgrid(grid.x, grid.y))
        height = plan.bed.soil_line[at]
        for index, result in enumerate(plan.bed.layers):
            picture[result.lies[at]] = LAYER_SIGNS[index % len(LAYER_SIGNS)]
    owner = np.full((rows, across), -1)
    for place, body in enumerate(plan.bodies):
        window = columns_of(body.piece.vertices, body.piece.faces, grid)
        tops = window.highest()
        seen = tops > height[window.place]
        owner[window.place][seen] = place
        height[window.place][seen] = tops[seen]
    picture[owner >= 0] = "#"
    for place in range(len(plan.bodies)):
        _write_number(picture, owner == place, str(place + 1))
    return ["".join(line) for line in picture[::-1]]


def _write_number(picture: "NDArray[np.str_]", seen: "NDArray[np.bool_]", digits: str) -> None:
    """Write the number of a piece where most of it is seen in one row, if there is room."""
    import numpy as np

    counts = seen.sum(axis=1)
    row = int(counts.argmax())
    columns = np.flatnonzero(seen[row])
    if len(columns) >= len(digits):
        first = int(columns[(len(columns) - len(digits)) // 2])
        picture[row, first : first + len(digits)] = list(digits)


def _key(plan: "Plan") -> dict[str, str]:
    """Say what each number and sign means."""
    key = {str(i): body.entry.name for i, body in enumerate(plan.bodies, 1)}
    for index, result in enumerate(plan.bed.layers if plan.bed else ()):
        key[LAYER_SIGNS[index % len(LAYER_SIGNS)]] = result.layer.name
    return key


def _print(plan: "Plan", units: Units) -> None:
    """Print the picture with its frame and key."""
    tank = plan.scape.tank
    sides = f"{place_words(tank.length, units)} × {place_words(tank.depth, units)}"
    rows = rows_from_above(plan)
    edge = f"+{'-' * len(rows[0])}+"
    output.print_lines([f"{plan.scape.name}, {sides}, from above"])
    typer.echo("\n".join([f"{edge}  back", *(f"|{line}|" for line in rows), f"{edge}  front"]))
    key = (f"{sign} {name}".replace(" ", output.GLUE) for sign, name in _key(plan).items())
    output.print_lines(["   ".join(key)])
