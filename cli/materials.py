"""`plumbstone materials`: the table of materials with its sources."""

from typing import Annotated, Any

import typer

from plumbstone.cli.documents import document_of
from plumbstone.cli.options import JsonOption
from plumbstone.cli.output import ScapeUnitsOption, emit_json, plain_errors, table, tell
from plumbstone.cli.wording.units import INCH, TABLE, Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.scape import materials as known

POUND_PER_FOOT = TABLE["density"][Units.US][0].unit  # and cubic foot [kg/m³]


def materials(
    name: Annotated[str | None, typer.Argument(help="One material, or how it looks.")] = None,
    kind: Annotated[str | None, typer.Option(help="Only stone, wood, substrate or strip.")] = None,
    as_json: JsonOption = False,
    units: ScapeUnitsOption = None,
) -> None:
    """List materials: densities, angles of repose, grain sizes, and their sources."""
    with plain_errors():
        if kind not in (None, *known.KINDS):
            raise PlumbstoneError(f'--kind "{kind}" is none of {", ".join(known.KINDS)}.')
        try:
            found = [known.find_material(name)] if name else list(known.load_materials().values())
        except known.UnknownMaterialError:
            found = list(known.described(name or ""))
            if not found:
                raise
        found = [material for material in found if kind in (None, material.kind)]
    if as_json:
        emit_json({"materials": [_document(material) for material in found]})
        return
    us = units is Units.US
    dense, heaped = ("lb/ft³", "lb/ft³") if us else ("kg/m³", "kg/L")
    columns = ["Material", "Kind", dense, f"Heap {heaped}", "Repose °"]
    rows = [
        [
            material.name,
            material.kind,
            _span(material.density or material.grain_density, POUND_PER_FOOT if us else 1.0, 0),
            _span(material.bulk_density, *((POUND_PER_FOOT, 0) if us else (1e3, 2))),
            _span(material.repose, 1.0, 0),
        ]
        for material in found
    ]
    table("Materials", columns, rows)
    for material in found if name else ():
        if len(found) > 1 and (looks := material.looks or material.note):
            tell(f"{material.name}: {looks}")
        if material.test:
            tell(f"Test: {material.test}")
        if material.d15 and material.d50 and material.d85:
            size, digits, name = (INCH, 3, "in") if us else (1e-3, 1, "mm")
            sizes = (material.d15, material.d50, material.d85)
            grains = " · ".join(f"{grain / size:.{digits}f}" for grain in sizes)
            tell(f"Grains: 15 %, 50 %, 85 % pass {grains} {name}.")
        if len(found) > 1:
            continue
        for field, source in material.sources.items():
            tell(f"{field}: {source}")
        if material.note:
            tell(material.note)
    if len(found) > 1 and name:
        tell("Two weighings tell more than looks: plumbstone weigh --mass … --in-water …")
    if not name:
        tell("Sources of one material: plumbstone materials NAME")


def _span(figure: Any, per_unit: float, digits: int) -> str:
    """Write a range as low-high."""
    if figure is None:
        return "-"
    return f"{figure.low / per_unit:.{digits}f}-{figure.high / per_unit:.{digits}f}"


def _document(material: known.Material) -> Any:
    """Give one material as JSON."""
    bulk, grains = material.bulk_density, (material.d15, material.d50, material.d85)
    d15, d50, d85 = (None if d is None else d * 1e3 for d in grains)
    return document_of(
        {
            "name": material.name,
            "kind": material.kind,
            "density_kg_per_m3": material.density,
            "grain_density_kg_per_m3": material.grain_density,
            "bulk_density_kg_per_l": None if bulk is None else Range(*(v / 1e3 for v in bulk)),
            "grain_pores": material.grain_pores,
            "repose_degrees": material.repose,
            "d15_mm": d15,
            "d50_mm": d50,
            "d85_mm": d85,
            "settling": material.settling,
            "note": material.note,
            "looks": material.looks,
            "test": material.test,
            "sources": material.sources,
        }
    )
