"""`plumbstone weigh`: volume, weight and price of stones and wood."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer
from typer import Argument, Option

from plumbstone.cli.options import NUMBER, PER_KG, ForceOption, JsonOption, Number, Text
from plumbstone.cli.output import ScapeUnitsOption, emit_json, naming, plain_errors, units_typed
from plumbstone.meshes.errors import PlumbstoneError


def weigh(
    context: typer.Context,
    scans: Annotated[
        list[Path] | None, Argument(help="Scans, folders or patterns of scans; none with --size.")
    ] = None,
    material: Annotated[
        Text,
        Option(
            "--material",
            "-m",
            help="See: plumbstone materials; unknown stone if not given, or driftwood by --limb.",
        ),
    ] = None,
    unit: Annotated[Text, Option(help="Unit of the scan: m, dm, cm, mm, in or ft.")] = None,
    longest: Annotated[
        Text, Option(help='Greatest distance across the body, by caliper: "18.2 cm".')
    ] = None,
    across: Annotated[Text, Option(help="Greatest width at right angles to --longest.")] = None,
    mat: Annotated[bool, Option("--mat", help="It stands on the mat of: plumbstone mat.")] = False,
    mat_control: Annotated[Text, Option(help="The mat's control line, as measured.")] = None,
    known: Annotated[
        Text, Option(help='In view beside it: card, A4, "can 66 x 115 mm" or "box 20 x 10 x 5 cm".')
    ] = None,
    every: Annotated[
        bool, Option("--all", help="Weigh every body in a scan that holds several.")
    ] = False,
    same_stone: Annotated[
        bool, Option("--same-stone", help="The two scans show one stone, turned over in between.")
    ] = False,
    one_piece: Annotated[
        bool,
        Option("--one-piece", help="All of it is the piece: no hand, stand or neighbour is in it."),
    ] = False,
    size: Annotated[Text, Option(help='Without a scan: "28 x 19 x 15 cm".')] = None,
    shape_factor: Annotated[Number, Option(**NUMBER, help="Share of that box it fills.")] = None,
    limb: Annotated[
        list[str] | None, Option(help='Wood: "60 cm, 25 cm, 12 cm" (length, girths); repeat it.')
    ] = None,
    mass: Annotated[Text, Option(help='From the till or a scale: "9.8 kg".')] = None,
    rescale: Annotated[
        bool, Option("--rescale", help="Scale the scan so that it agrees with --mass.")
    ] = False,
    in_water: Annotated[Text, Option(help="Mass it shows hanging in water; with --mass.")] = None,
    bucket_rise: Annotated[
        Text, Option(help="Rise of a bucket's reading as it is pushed under; beats any scan.")
    ] = None,
    scale_step: Annotated[Text, Option(help="Graduation of the scale; 1 g if not given.")] = None,
    scale_capacity: Annotated[Text, Option(help="Most that the scale carries.")] = None,
    price_per_kg: Annotated[Number, Option(**PER_KG, help='In your money; or "$2/lb".')] = None,
    price: Annotated[Number, Option(**NUMBER, help="Of the piece, in your money.")] = None,
    budget: Annotated[Number, Option(**NUMBER, help="What you can pay for all of it.")] = None,
    opening: Annotated[Text, Option(help='Does it pass? "80 x 35 cm", or a scape file.')] = None,
    keep: Annotated[
        Path | None, Option(help="Write the mended mesh, in metres, z up (PLY).")
    ] = None,
    picture: Annotated[
        list[Path] | None,
        Option(help="Draw what was seen and what was closed (PNG, or GLB to turn)."),
    ] = None,
    csv: Annotated[Path | None, Option(help="Write the table as CSV.")] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
    units: ScapeUnitsOption = None,
) -> None:
    """Say how many litres and kilograms a stone or a piece of wood has, and its price."""
    from plumbstone.cli import weigh_output, weigh_request
    from plumbstone.cli.files import refuse_foreign, write_file
    from plumbstone.volumes.bodies.weighing import refuse_idle

    pictures = picture or []
    typed = {name.replace("_", "-"): value or None for name, value in context.params.items()}
    given = {**typed, "shape-factor": shape_factor, "all": every, "a scan": scans or None}
    told = units_typed(units, [size, *(limb or ()), mass, longest, across, bucket_rise, opening])
    with plain_errors(told):
        words = not any(path.suffix or "*" in path.name for path in scans or [])
        if (size or limb or words) and scans and not any(path.exists() for path in scans):
            raise PlumbstoneError(
                f'"{scans[0]}" is no scan or folder here; put what has spaces into quotes: '
                '--size "28 x 19 x 15 cm", --limb "60 cm, 25 cm, 12 cm", --mass "9.8 kg".'
            )
        refuse_idle(given)
        kind = material or ("driftwood" if limb else "unknown stone")
        ruler = weigh_request.ruler_of(unit, longest, across, mat, mat_control, known)
        request = weigh_request.Request(
            *weigh_request.by_scale(kind, mass, in_water, bucket_rise, scale_step, scale_capacity),
            replace(ruler, single=one_piece, weighed=bucket_rise is not None),
            every=every, same_stone=same_stone, rescale=rescale,
            meshes=keep is not None or bool(pictures), units=told,
        )  # fmt: skip
        passed = weigh_request.opening_of(opening)
        inputs = weigh_request.readable(scans or [])
        for written in filter(None, (keep, *pictures, csv)):
            refuse_foreign(written.parent, [written.name], inputs=inputs, force=force)
        found, failed = weigh_request.weigh_all(
            request, scans or [], size, shape_factor, limb or []
        )
        prices = weigh_output.Prices.of(price_per_kg, price, budget, found)
        if keep is not None:
            write_file(keep, weigh_output.mesh_content(found, keep), inputs=inputs, force=force)
        for drawn in pictures:
            from plumbstone.cli.pictures.weigh_picture import picture_of

            write_file(drawn, picture_of(found, drawn), inputs=inputs, force=force)
        if csv is not None:
            write_file(
                csv, weigh_output.csv_content(found, failed, prices), inputs=inputs, force=force
            )
    if as_json:
        pieces = [
            weigh_output.document(weighed, prices, passed, naming(), told) for weighed in found
        ]
        emit_json({"pieces": pieces, "failed": failed})
    else:
        weigh_output.print_pieces(found, failed, prices, told, passed)
    if failed and not found:
        raise typer.Exit(1)
