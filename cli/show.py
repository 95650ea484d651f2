"""`plumbstone show`: the tank from above in characters, and its pictures."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from plumbstone.cli.output import (
    ForceOption,
    JsonOption,
    TrustOption,
    UnitsOption,
    emit_json,
    plain_errors,
    working,
)
from plumbstone.cli.wording.units import Units

if TYPE_CHECKING:
    from plumbstone.volumes.plan import Plan

WIDTH = 72  # characters along the length
LAYER_SIGNS = ".:-~+"


def show(
    scape: Annotated[Path, typer.Argument(help="The scape file.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the pictures and the sheet there.")
    ] = None,
    open_sheet: Annotated[
        bool, typer.Option("--open", help="Open the build sheet in a browser (with --out).")
    ] = False,
    force: ForceOption = False,
    trust: TrustOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Show the tank from above, and write its pictures and build sheet."""
    from plumbstone.cli.documents import plan_document
    from plumbstone.cli.results import refuse_results, write_results
    from plumbstone.meshes.beside import trust as trust_folders
    from plumbstone.volumes.layout import make_plan
    from plumbstone.volumes.report import report_of
    from plumbstone.volumes.sanity import checked
    from plumbstone.volumes.scape.scape import read_scape

    trust_folders(trust)
    with plain_errors(), working("Drawing ..."):
        read = read_scape(scape)
        if out is not None:
            refuse_results(read, out, force=force)
        plan = make_plan(read)
        report = checked(report_of(plan))
        if out is not None:
            write_results(plan, plan_document(report), out, force=force)
    if as_json:
        emit_json({"rows": rows_from_above(plan), "key": _key(plan)})
    else:
        _print(plan, units)
    if out is not None and not as_json:
        typer.echo(f"Pictures are in {out}.")
        if open_sheet:
            typer.launch(str(out / "build-sheet.html"))


def rows_from_above(plan: "Plan") -> list[str]:
    """Draw the tank from above in characters, the back pane in the first row.

    Letters are pieces, in the order of the file; signs are layers, in pouring order.
    """
    import numpy as np

    from plumbstone.meshes.columns import Grid, columns_of

    tank = plan.scape.tank
    rows = max(4, round(WIDTH * tank.depth / tank.length / 2))
    grid = Grid(tank.length, tank.depth, WIDTH, rows)
    picture = np.full((rows, WIDTH), " ")
    if plan.bed is not None:
        fine = plan.bed.grid
        row = np.minimum((grid.y / fine.spacing[1]).astype(int), fine.ny - 1)
        column = np.minimum((grid.x / fine.spacing[0]).astype(int), fine.nx - 1)
        for index, result in enumerate(plan.bed.layers):
            lies = (result.surface > result.below + 1e-4)[np.ix_(row, column)]
            picture[lies] = LAYER_SIGNS[index % len(LAYER_SIGNS)]
    for index, body in _lowest_first(plan):
        window = columns_of(body.piece.vertices, body.piece.faces, grid)
        part = picture[window.place]
        part[np.isfinite(window.lowest())] = _letter(index)
    return ["".join(line) for line in picture[::-1]]


def _lowest_first(plan: "Plan") -> list[tuple[int, Any]]:
    """Order pieces so that the highest is drawn last."""
    bodies = list(enumerate(plan.bodies))
    return sorted(bodies, key=lambda item: float(item[1].piece.vertices[:, 2].max()))


def _letter(index: int) -> str:
    """Letter of a piece: A to Z, then a to z, then again."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
    return letters[index % len(letters)]


def _key(plan: "Plan") -> dict[str, str]:
    """Say what each letter and sign means."""
    key = {_letter(i): body.entry.name for i, body in enumerate(plan.bodies)}
    for index, result in enumerate(plan.bed.layers if plan.bed else ()):
        key[LAYER_SIGNS[index % len(LAYER_SIGNS)]] = result.layer.name
    return key


def _print(plan: "Plan", units: Units) -> None:
    """Print the picture with its frame and key."""
    from plumbstone.cli.wording.units import place_words

    tank = plan.scape.tank
    sides = f"{place_words(tank.length, units)} × {place_words(tank.depth, units)}"
    typer.echo(f"{plan.scape.name}, {sides}, from above")
    typer.echo(f"+{'-' * WIDTH}+  back")
    for line in rows_from_above(plan):
        typer.echo(f"|{line}|")
    typer.echo(f"+{'-' * WIDTH}+  front")
    typer.echo("   ".join(f"{sign} {name}" for sign, name in _key(plan).items()))
