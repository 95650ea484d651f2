"""`plumbstone hold`: does this wood stay down, and what must hang on it."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from plumbstone.cli.output import (
    JsonOption,
    Units,
    UnitsOption,
    emit_json,
    plain_errors,
    working,
)

if TYPE_CHECKING:
    from plumbstone.volumes.buoyancy import Balance
    from plumbstone.volumes.materials import Material


def hold(
    scape: Annotated[
        Path | None, typer.Argument(help="A scape file with [[group]]; or give --wood-mass.")
    ] = None,
    wood_mass: Annotated[
        str | None, typer.Option("--wood-mass", help='Dry wood on a scale: "1.35 kg".')
    ] = None,
    material: Annotated[str, typer.Option("--material", "-m", help="The wood.")] = "driftwood",
    just_sinks_with: Annotated[
        str | None,
        typer.Option("--just-sinks-with", help='Found in a tub: "520 g granite". Beats the table.'),
    ] = None,
    sinker: Annotated[
        list[str] | None, typer.Option("--sinker", help='Hung on it: "700 g granite"; repeat it.')
    ] = None,
    factor: Annotated[
        float, typer.Option("--factor", help="Reserve: the lift is multiplied by it.")
    ] = 1.3,
    temperature: Annotated[str, typer.Option("--temperature", help="Of the water.")] = "25 °C",
    salinity: Annotated[float, typer.Option("--salinity", help="Of the water, g/kg.")] = 0.0,
    as_json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Say whether wood stays down, and how many grams of stone it needs."""
    from plumbstone.volumes.quantities import parse_quantity

    with plain_errors():
        if scape is not None:
            _hold_scape(scape, as_json, units)
            return
        water = (parse_quantity(temperature, "temperature"), salinity)
        mass = None if wood_mass is None else parse_quantity(wood_mass, "mass")
        balance, stone = _quick(mass, material, just_sinks_with, sinker or [], factor, water)
    if as_json:
        from plumbstone.cli.documents import balance_document

        emit_json(
            {"holds": [{"name": "wood", "sinker_material": stone, **balance_document(balance)}]}
        )
        return
    _print_balance("Wood", balance, stone, units)


def _hold_scape(path: Path, as_json: bool, units: Units) -> None:
    """Judge the groups of a scape."""
    from plumbstone.cli.documents import hold_document
    from plumbstone.cli.plan import print_holds
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.plan import make_plan
    from plumbstone.volumes.scape import read_scape

    with working("Setting the pieces ..."):
        result = make_plan(read_scape(path))
    if not result.holds:
        raise PlumbstoneError(f"{path}: no [[group]] of wood to hold; add one, or a water line.")
    if as_json:
        emit_json({"holds": [hold_document(hold) for hold in result.holds]})
    else:
        print_holds(result.holds, units)


def _quick(
    mass: float | None,
    material: str,
    tub: str | None,
    sinkers: list[str],
    factor: float,
    water: tuple[float, float],
) -> "tuple[Balance, str]":
    """Balance wood without a scape file; give the name of the sinker stone too."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.buoyancy import balance_from_density, balance_from_tub
    from plumbstone.volumes.materials import find_material
    from plumbstone.volumes.water import water_density

    if mass is None and tub is None:
        raise PlumbstoneError("Name a scape file, or give --wood-mass or --just-sinks-with.")
    if not 1 <= factor <= 10:
        raise PlumbstoneError(f"--factor {factor:g} must lie from 1 to 10.")
    hung = [_stone(text) for text in sinkers]
    found = None if tub is None else _stone(tub)
    kinds = {stone.name for _, stone in hung}
    if len(kinds) > 1:
        raise PlumbstoneError("Sinkers of several stones need a scape file with a [[group]].")
    stone = hung[0][1] if hung else found[1] if found else find_material("granite")
    density, total = stone.density, sum(m for m, _ in hung)
    assert density is not None
    rho = water_density(*water)
    if found is not None:
        assert found[1].density is not None
        test = (found[0], found[1].density)
        return balance_from_tub(mass, test, density, rho, total, factor), stone.name
    wood = find_material(material).density
    if wood is None:
        raise PlumbstoneError(f"{material} has no density of its own; name a wood.")
    assert mass is not None
    return balance_from_density(mass, wood, density, rho, total, factor), stone.name


def _stone(text: str) -> "tuple[float, Material]":
    """Parse "520 g granite" into kilograms and the material."""
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.volumes.materials import find_material
    from plumbstone.volumes.quantities import parse_quantity

    words = text.split()
    if len(words) < 3:
        raise PlumbstoneError(f'"{text}": write a mass and a stone, such as "520 g granite".')
    material = find_material(" ".join(words[2:]))
    if material.density is None:
        raise PlumbstoneError(f"{material.name} has no density of its own; name a stone.")
    return parse_quantity(" ".join(words[:2]), "mass"), material


def _print_balance(name: str, balance: "Balance", stone: str, units: Units) -> None:
    """Print the action, then what it rests on."""
    from plumbstone.cli import wording
    from plumbstone.cli.hold_wording import hold_sentence

    typer.echo(hold_sentence(name, balance, stone, units))
    low, high = (wording.grams(v, units) for v in (balance.lift.low, balance.lift.high))
    source = "from the tub test" if balance.from_tub else "from the table of woods"
    typer.echo(f"Lift {low} to {high}, {source}; density about {balance.density.mid:.0f} kg/m³.")
    if not balance.from_tub:
        typer.echo('A tub test beats the table: --just-sinks-with "520 g granite".')
    typer.echo("Burial and wedging are not counted. Leave the tie until the wood is soaked.")
    typer.echo("Use only wood that is untreated, unpainted and fit for aquariums.")
