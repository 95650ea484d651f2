"""`plumbstone weigh`: volume, weight and price of stones and wood."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from plumbstone.cli.output import (
    JsonOption,
    Units,
    UnitsOption,
    emit_json,
    plain_errors,
    progress,
    range_json,
    table,
)

if TYPE_CHECKING:
    from plumbstone.volumes.weighing import Weighed

WATER = 997.05  # fresh, 25 °C [kg/m³]; see plumbstone.volumes.water


def weigh(
    scans: Annotated[
        list[Path] | None, typer.Argument(help="Scans, or folders of scans; none with --size.")
    ] = None,
    material: Annotated[
        str, typer.Option("--material", "-m", help="See: plumbstone materials.")
    ] = "unknown stone",
    unit: Annotated[
        str | None, typer.Option("--unit", help="Unit of the scan: m, dm, cm, mm, in or ft.")
    ] = None,
    longest: Annotated[
        str | None, typer.Option("--longest", help='Known longest side, such as "18 cm".')
    ] = None,
    size: Annotated[
        str | None, typer.Option("--size", help='Without a scan: "28 x 19 x 15 cm".')
    ] = None,
    factor: Annotated[
        float | None, typer.Option("--shape-factor", help="Share of that box it fills.")
    ] = None,
    limb: Annotated[
        list[str] | None,
        typer.Option("--limb", help='Wood: "60 cm, 25 cm, 12 cm" (length, girths); repeat it.'),
    ] = None,
    mass: Annotated[
        str | None, typer.Option("--mass", help='From the till or a scale: "9.8 kg".')
    ] = None,
    rescale: Annotated[
        bool, typer.Option("--rescale", help="Scale the scan so that it agrees with --mass.")
    ] = False,
    price_per_kg: Annotated[
        float | None, typer.Option("--price-per-kg", help="In your money.")
    ] = None,
    keep: Annotated[
        Path | None, typer.Option("--keep", help="Write the mended mesh, in metres, z up (PLY).")
    ] = None,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write the table as CSV.")] = None,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Say how many litres and kilograms a stone or a piece of wood has, and its price."""
    with plain_errors():
        wanted = _wanted(material, unit, longest, mass, rescale)
        found, failed = _weigh_all(scans or [], size, factor, limb or [], wanted)
        if keep is not None:
            _keep(found, keep)
        if csv is not None:
            _write_csv(csv, found, failed, price_per_kg)
    if as_json:
        pieces = [document(weighed, price_per_kg) for weighed in found]
        emit_json({"pieces": pieces, "failed": failed})
    else:
        _print(found, failed, price_per_kg, units)
    if failed and not found:
        raise typer.Exit(1)


def document(weighed: "Weighed", price_per_kg: float | None) -> dict[str, Any]:
    """Give one weighed piece as JSON."""
    return {
        "file": weighed.source,
        "name": weighed.name,
        "material": weighed.material.name,
        "volume_l": range_json(weighed.volume, 1e-3),
        "mass_kg": range_json(weighed.mass),
        "mass_in_water_kg": range_json(weighed.mass_in_water(WATER)),
        "price": None if price_per_kg is None else range_json(weighed.mass.times(price_per_kg)),
        "size_cm": [side * 1e2 for side in weighed.size],
        "confidence": weighed.confidence.word,
        "confidence_reason": weighed.confidence.reason,
        "mended": list(weighed.changes),
        "warnings": list(weighed.warnings),
    }


def _wanted(
    material: str, unit: str | None, longest: str | None, mass: str | None, rescale: bool
) -> dict[str, Any]:
    """Parse the options that hold for every piece."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.materials import find_material
    from plumbstone.volumes.quantities import parse_quantity

    if rescale and mass is None:
        raise PlumbstoneError("--rescale needs --mass, the measured mass to trust.")
    return {
        "material": find_material(material),
        "unit": unit,
        "longest": None if longest is None else parse_quantity(longest, "length"),
        "mass": None if mass is None else parse_quantity(mass, "mass"),
        "rescale": rescale,
    }


def _weigh_all(
    scans: list[Path],
    size: str | None,
    factor: float | None,
    limbs: list[str],
    wanted: dict[str, Any],
) -> "tuple[list[Weighed], list[dict[str, str]]]":
    """Weigh by tape, limbs or mass alone; or every scan, a bad one being a row of its own."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.weighing import weigh_limbs, weigh_mass, weigh_size

    material, mass = wanted["material"], wanted["mass"]
    if size is not None:
        return [weigh_size(_size(size), material, factor, mass)], []
    if limbs:
        return [weigh_limbs([_limb(text) for text in limbs], material, mass)], []
    if not scans:
        if mass is None:
            raise PlumbstoneError(
                'Name a scan, or give --size "28 x 19 x 15 cm", --limb or --mass.'
            )
        return [weigh_mass(mass, material)], []
    files = _files(scans)
    found, failed = [], []
    with progress("Weighing", len(files)) as bar:
        for path in files:
            try:
                found.append(_one(path, wanted))
            except PlumbstoneError as error:
                if len(files) == 1:
                    raise
                failed.append({"file": str(path), "reason": str(error)})
            if bar is not None:
                bar.advance(bar.task_ids[0])
    return sorted(found, key=lambda weighed: -weighed.mass.mid), failed


def _one(path: Path, wanted: dict[str, Any]) -> "Weighed":
    """Weigh one scan."""
    from plumbstone.volumes.weighing import rescaled_to_mass, weigh_scan

    mass = wanted["mass"]
    weighed = weigh_scan(path, wanted["material"], wanted["unit"], wanted["longest"], mass)
    return rescaled_to_mass(weighed, mass) if wanted["rescale"] else weighed


def _files(scans: list[Path]) -> list[Path]:
    """Spread folders into the scans they hold."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.meshes.reading import MESH_KINDS

    files: list[Path] = []
    for path in scans:
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.suffix.lower() in (*MESH_KINDS, ".xyz"))
            if not inside:
                raise PlumbstoneError(f"{path}: no scan in this folder.")
            files += inside
        else:
            files.append(path)
    return files


def _size(text: str) -> tuple[float, float, float]:
    """Parse "28 x 19 x 15 cm"."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.quantities import parse_quantity

    parts = text.replace("×", "x").split("x")
    unit = parts[-1].strip().lstrip("0123456789. ")
    if len(parts) != 3:
        raise PlumbstoneError(f'--size "{text}": write length x width x height, "28 x 19 x 15 cm".')
    sides = [part if part.strip().endswith(unit) else f"{part} {unit}" for part in parts]
    length, width, height = (parse_quantity(side, "length") for side in sides)
    if min(length, width, height) <= 0:
        raise PlumbstoneError(f'--size "{text}": every side must be more than nothing.')
    return length, width, height


def _limb(text: str) -> tuple[float, float, float]:
    """Parse "60 cm, 25 cm, 12 cm": length, girth at one end, girth at the other."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.quantities import parse_quantity

    parts = text.split(",")
    if len(parts) != 3:
        raise PlumbstoneError(
            f'--limb "{text}": write length, girth, girth: "60 cm, 25 cm, 12 cm".'
        )
    length, start, end = (parse_quantity(part, "length") for part in parts)
    if min(length, start, end) <= 0:
        raise PlumbstoneError(f'--limb "{text}": every length must be more than nothing.')
    return length, start, end


def _keep(found: "list[Weighed]", path: Path) -> None:
    """Write the mended mesh of the one piece that was weighed."""
    from plumbstone.cli.files import write_whole
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.meshes.writing import ply_bytes

    if len(found) != 1 or found[0].piece is None:
        raise PlumbstoneError("--keep writes one mesh; weigh one scan with it.")
    if path.suffix.lower() != ".ply":
        raise PlumbstoneError(f"{path}: --keep writes PLY; end its name in .ply.")
    write_whole(path, ply_bytes(found[0].piece.vertices, found[0].piece.faces))


def _write_csv(
    path: Path, found: "list[Weighed]", failed: list[dict[str, str]], price_per_kg: float | None
) -> None:
    """Write one row a piece."""
    import csv
    import io

    from plumbstone.cli.files import plain_cell, write_whole

    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(
        ["file", "material", "volume_l_low", "volume_l", "volume_l_high",
         "mass_kg_low", "mass_kg", "mass_kg_high", "price", "problem"]
    )  # fmt: skip
    for weighed in found:
        price = "" if price_per_kg is None else f"{weighed.mass.mid * price_per_kg:.2f}"
        volume = (
            f"{v * 1e3:.4f}" for v in (weighed.volume.low, weighed.volume.mid, weighed.volume.high)
        )
        mass = (f"{m:.4f}" for m in (weighed.mass.low, weighed.mass.mid, weighed.mass.high))
        name = plain_cell(weighed.source)
        writer.writerow([name, weighed.material.name, *volume, *mass, price, ""])
    for row in failed:
        writer.writerow([plain_cell(row["file"]), *[""] * 8, plain_cell(row["reason"])])
    write_whole(path, stream.getvalue())


def _print(
    found: "list[Weighed]", failed: list[dict[str, str]], price_per_kg: float | None, units: Units
) -> None:
    """Print a sentence for one piece, a table for several, and what was mended."""
    from plumbstone.cli import wording

    if len(found) == 1:
        typer.echo(wording.weighed_sentence(found[0], price_per_kg, units))
    elif found:
        rows = [
            [
                weighed.name,
                wording.volume_words(weighed.volume, units, 2),
                wording.mass_words(weighed.mass, units),
                "-" if price_per_kg is None else f"{weighed.mass.mid * price_per_kg:.2f}",
                weighed.confidence.word,
            ]
            for weighed in found
        ]
        table("Weighed, heaviest first", ["Piece", "Volume", "Mass", "Price", "Trust"], rows)
    for weighed in found:
        label = f"{weighed.name}: " if len(found) > 1 else ""
        for text in weighed.warnings:
            typer.echo(f"{label}Mind: {text}")
        if len(found) == 1:
            for text in weighed.changes:
                typer.echo(f"Mended or guessed: {text}")
            typer.echo(f"Trust: {weighed.confidence.word}; {weighed.confidence.reason}.")
    for row in failed:
        typer.echo(f"Not weighed: {row['reason']}")
