"""`plumbstone weigh`: volume, weight and price of stones and wood."""

from pathlib import Path
from typing import Annotated

import typer

from plumbstone.cli.options import NUMBER, PER_KG, ForceOption, JsonOption
from plumbstone.cli.output import UnitsOption, emit_json, plain_errors
from plumbstone.cli.wording.units import Units

Scans = Annotated[
    list[Path] | None,
    typer.Argument(help="Scans, folders or patterns of scans; none with --size."),
]
MaterialName = Annotated[str, typer.Option("--material", "-m", help="See: plumbstone materials.")]
Unit = Annotated[
    str | None, typer.Option("--unit", help="Unit of the scan: m, dm, cm, mm, in or ft.")
]
Longest = Annotated[
    str | None,
    typer.Option("--longest", help='Greatest distance across the body, by caliper: "18 cm".'),
]
Across = Annotated[
    str | None, typer.Option("--across", help="Greatest width at right angles to --longest.")
]
Every = Annotated[
    bool, typer.Option("--all", help="Weigh every body in a scan that holds several.")
]
SameStone = Annotated[
    bool,
    typer.Option("--same-stone", help="The two scans show one stone, turned over in between."),
]
OnePiece = Annotated[
    bool,
    typer.Option(
        "--one-piece", help="All of it is the piece: no hand, stand or neighbour is in it."
    ),
]
Mat = Annotated[bool, typer.Option("--mat", help="It stands on the mat of: plumbstone mat.")]
MatControl = Annotated[
    str | None, typer.Option("--mat-control", help="The mat's control line, as measured.")
]
KnownThing = Annotated[
    str | None,
    typer.Option(
        "--known",
        help='In view beside it: card, A4, "can 66 x 115 mm" or "box 20 x 10 x 5 cm".',
    ),
]
Size = Annotated[str | None, typer.Option("--size", help='Without a scan: "28 x 19 x 15 cm".')]
Factor = Annotated[
    float | None, typer.Option("--shape-factor", **NUMBER, help="Share of that box it fills.")
]
Limbs = Annotated[
    list[str] | None,
    typer.Option("--limb", help='Wood: "60 cm, 25 cm, 12 cm" (length, girths); repeat it.'),
]
Mass = Annotated[str | None, typer.Option("--mass", help='From the till or a scale: "9.8 kg".')]
Rescale = Annotated[
    bool, typer.Option("--rescale", help="Scale the scan so that it agrees with --mass.")
]
Submerged = Annotated[
    str | None, typer.Option("--in-water", help="Mass it shows hanging in water; with --mass.")
]
Rise = Annotated[
    str | None,
    typer.Option("--bucket-rise", help="Rise of a bucket's reading as it is pushed under."),
]
Step = Annotated[str, typer.Option("--scale-step", help="Graduation of the scale.")]
Capacity = Annotated[
    str | None, typer.Option("--scale-capacity", help="Most that the scale carries.")
]
PricePerKg = Annotated[
    float | None, typer.Option("--price-per-kg", **PER_KG, help='In your money; or "$2/lb".')
]
Price = Annotated[
    float | None, typer.Option("--price", **NUMBER, help="Of the piece, in your money.")
]
Budget = Annotated[
    float | None, typer.Option("--budget", **NUMBER, help="What you can pay for the piece.")
]
Opening = Annotated[
    str | None, typer.Option("--opening", help='Does it pass? "80 x 35 cm", or a scape file.')
]
Keep = Annotated[
    Path | None, typer.Option("--keep", help="Write the mended mesh, in metres, z up (PLY).")
]
Picture = Annotated[
    list[Path] | None,
    typer.Option("--picture", help="Draw what was seen and what was closed (PNG, or GLB to turn)."),
]
Csv = Annotated[Path | None, typer.Option("--csv", help="Write the table as CSV.")]


def weigh(
    scans: Scans = None,
    material: MaterialName = "unknown stone",
    unit: Unit = None,
    longest: Longest = None,
    across: Across = None,
    mat: Mat = False,
    mat_control: MatControl = None,
    known: KnownThing = None,
    every: Every = False,
    same_stone: SameStone = False,
    one_piece: OnePiece = False,
    size: Size = None,
    factor: Factor = None,
    limb: Limbs = None,
    mass: Mass = None,
    rescale: Rescale = False,
    in_water: Submerged = None,
    bucket_rise: Rise = None,
    scale_step: Step = "1 g",
    scale_capacity: Capacity = None,
    price_per_kg: PricePerKg = None,
    price: Price = None,
    budget: Budget = None,
    opening: Opening = None,
    keep: Keep = None,
    picture: Picture = None,
    csv: Csv = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Say how many litres and kilograms a stone or a piece of wood has, and its price."""
    from plumbstone.cli.files import refuse_foreign, write_file
    from plumbstone.cli.weigh_output import (
        Prices,
        csv_content,
        document,
        mesh_content,
        print_pieces,
    )
    from plumbstone.cli.weigh_request import Request, opening_of, readable, weigh_all
    from plumbstone.volumes.sanity import checked

    with plain_errors():
        request = Request.parsed(
            material, unit, longest, across, mass, in_water, bucket_rise, scale_step, scale_capacity
        )
        request = request.with_view(mat, mat_control, known, one_piece)
        request = request.with_flags(every, same_stone, rescale, keep is not None or bool(picture))
        passed = opening_of(opening)
        inputs = readable(scans or [])
        for written in filter(None, (keep, *(picture or ()), csv)):
            refuse_foreign(written.parent, [written.name], inputs=inputs, force=force)
        found, failed = weigh_all(request, scans or [], size, factor, limb or [])
        for weighed in found:
            checked({weighed.name: {"volume_m3": weighed.volume, "mass_kg": weighed.mass}})
        prices = Prices.of(price_per_kg, price, budget, found)
        if keep is not None:
            write_file(keep, mesh_content(found, keep), inputs=inputs, force=force)
        for drawn in picture or ():
            from plumbstone.cli.pictures.weigh_picture import picture_of

            write_file(drawn, picture_of(found, drawn), inputs=inputs, force=force)
        if csv is not None:
            rows = csv_content(found, failed, prices)
            write_file(csv, rows, inputs=inputs, force=force)
    if as_json:
        pieces = [document(weighed, prices, passed) for weighed in found]
        emit_json({"pieces": pieces, "failed": failed})
    else:
        print_pieces(found, failed, prices, units, passed)
    if failed and not found:
        raise typer.Exit(1)
