"""`plumbstone hold`: does this wood stay down, and what must hang on it."""

from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer import Argument, Option

from plumbstone.cli import options, output
from plumbstone.cli.documents import document_of
from plumbstone.cli.files import write_file
from plumbstone.cli.kept_answers import kept_answer
from plumbstone.cli.options import NUMBER, ForceOption, JsonOption, Number, Text, TrustOption
from plumbstone.cli.output import ScapeUnitsOption, tell
from plumbstone.cli.soaking_log import read_log
from plumbstone.cli.wording.holding import hold_sentence, soaking_words, tub_words
from plumbstone.cli.wording.offers import TUB_MASS
from plumbstone.cli.wording.units import Units, about_grams, grams, spanned, written
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.density import water_density
from plumbstone.volumes.figures import SoakingFigures
from plumbstone.volumes.holding import buoyancy
from plumbstone.volumes.sanity import checked
from plumbstone.volumes.scape.groups import FACTOR, weighed_stone
from plumbstone.volumes.scape.materials import Material, find_material
from plumbstone.volumes.scape.quantities import parse_quantity

if TYPE_CHECKING:
    from plumbstone.volumes.holding.spread import Spread
    from plumbstone.volumes.scape.scape import Scape


IN_A_SCAPE = (  # what a scape file says itself
    "wood_mass", "material", "factor", "just_sinks_with", "sinker", "temperature", "water",
    "salinity",
)  # fmt: skip


class Water(StrEnum):
    """Kinds of water, by their salinity."""

    FRESH = "fresh"
    BRACKISH = "brackish"
    SALT = "salt"


def hold(
    context: typer.Context,
    scape: Annotated[
        Path | None, Argument(help="A scape file with wood; or give --wood-mass.")
    ] = None,
    wood_mass: Annotated[Text, Option(help='Dry wood on a scale: "1.35 kg".')] = None,
    material: Annotated[
        Text, Option("--material", "-m", help="The wood; driftwood if not given.")
    ] = None,
    just_sinks_with: Annotated[
        Text, Option(help='Found in a tub: "520 g granite". Beats the table.')
    ] = None,
    sinker: Annotated[
        list[str] | None, Option(help='Hung on it: "700 g granite"; repeat it.')
    ] = None,
    factor: Annotated[
        Number, Option(**NUMBER, help="Reserve: the lift is multiplied by it; 1.3 if not given.")
    ] = None,
    log: Annotated[
        Path | None, Option(help="CSV of weighings: date,grams,weighed (air or water).")
    ] = None,
    spread: Annotated[bool, Option("--spread", help="Draw what is uncertain 200 times.")] = False,
    picture: Annotated[
        Path | None, Option(help="Draw the forces of a scape's wood into this PNG.")
    ] = None,
    temperature: Annotated[Text, Option(help="Of the water; 25 °C if not given.")] = None,
    water: Annotated[Water | None, Option(help="Kind of water; fresh if not given.")] = None,
    salinity: Annotated[Number, Option(**NUMBER, help="Of the water, g/kg; beats --water.")] = None,
    force: ForceOption = False,
    _trust: TrustOption = None,
    as_json: JsonOption = False,
    units: ScapeUnitsOption = None,
) -> None:
    """Say whether wood stays down, and how many grams of stone it needs."""
    typed = [wood_mass, just_sinks_with, *(sinker or ())]
    with output.plain_errors(units, typed, scape):
        if scape is not None:
            _refuse_with_scape(context.params)
            judged = partial(_judged, scape, log, picture, spread, as_json, units, force)
            question = "hold", "json" if as_json else str(units), str(log and log.absolute())
            drawn = picture is not None or spread
            answer = judged()[0] if drawn else kept_answer(scape, question, judged)
            if as_json:
                output.emit_json({"holds": answer})
            else:
                output.print_lines(answer)
            return
        if picture is not None:
            raise PlumbstoneError("--picture needs a scape file: it draws where forces act.")
        rho = _water(temperature, water, salinity)
        mass = options.measured("--wood-mass", wood_mass, "mass")
        wood = material or "driftwood"
        balance, stone = _quick(mass, wood, just_sinks_with, sinker or [], factor, rho)
        soaking = None if log is None else _soaking(log, mass, balance.lift, rho)
        found = None
        if spread:
            from plumbstone.volumes.holding.spread import spread_of_lift

            found = spread_of_lift(balance.lift, stone.dense, rho)
    if as_json:
        output.emit_json({"holds": [_quick_document(balance, stone.name, soaking, found)]})
        return
    units = output.units_typed(units, typed)
    _print_balance(balance, stone.name, wood, soaking, units)
    if found is not None:
        output.print_lines(_spread_lines("Wood", found, stone.name, units))


def _refuse_with_scape(given: Mapping[str, object]) -> None:
    """Refuse options that have no effect beside a scape file, so that none is passed over."""
    for name in IN_A_SCAPE:
        if given[name] not in (None, (), []):
            option = f"--{name.replace('_', '-')}"
            raise PlumbstoneError(f"{option} goes without a scape file; write it into the file.")


def _water(temperature: str | None, kind: Water | None, salinity: float | None) -> float:
    """Density of the water that is asked about [kg/m³]."""
    from plumbstone.volumes.scape.tank import SALINITY

    salt = SALINITY[(kind or Water.FRESH).value] if salinity is None else salinity
    return water_density(parse_quantity(temperature or "25 °C", "temperature"), salt)


def _judged(
    path: Path,
    log: Path | None,
    picture: Path | None,
    spread: bool,
    as_json: bool,
    asked: Units | None,
    force: bool,
) -> tuple[list[Any], list[Path]]:
    """Judge the wood of a scape: documents or lines, and the files that were read."""
    from plumbstone.cli.plan import hold_lines
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.report import hold_figures
    from plumbstone.volumes.scape.scape import read_scape

    scape = read_scape(path)
    units = output.units_of(asked, scape)
    if log is not None:
        scape = _with_log(scape, log)
    with output.working("Setting the pieces ..."):
        layout = Layout(scape)
        holds = layout.holds()
    if not holds:
        wood = any(entry.kind == "wood" for entry in scape.pieces)
        lacks = (
            "water line: write water_line in [tank]" if wood else "wood: write it as a [[piece]]"
        )
        raise PlumbstoneError(f"{path}: has no {lacks}.")
    figures = checked(tuple(hold_figures(hold) for hold in holds))
    read = [*scape.files, *filter(None, [log])]
    if picture is not None:
        from plumbstone.cli.pictures.hold_picture import picture_of

        write_file(picture, picture_of(layout.plan(), picture, units), inputs=read, force=force)
    found = {}
    if spread:
        from plumbstone.volumes.holding.spread import spread_of_hold

        with output.working("Drawing what is uncertain ..."):
            found = {hold.group.name: spread_of_hold(hold) for hold in holds}
    if as_json:
        documents = [document_of(hold) for hold in figures]
        for document in documents if spread else ():
            document["spread"] = _spread_document(found[document["name"]])
        return documents, read
    lines = hold_lines(holds, units)
    for hold in holds if spread else ():
        name = hold.group.name
        lines += _spread_lines(name, found[name], hold.sinker_material.name, units)
    return lines, read


def _with_log(scape: "Scape", path: Path) -> "Scape":
    """Give the weighings of a log to the groups of a scape."""
    by_group = read_log(path)
    names = [group.name for group in scape.groups]
    if "" in by_group and len(names) == 1:
        by_group = {names[0]: by_group[""]}
    for name in by_group:
        if name not in names:
            known = ", ".join(names) or "none"
            problem = f'"{name}" is no group of the scape' if name else "which group was weighed?"
            raise PlumbstoneError(f"{path}: {problem}; add a column group with: {known}.")
    groups = tuple(
        replace(group, log=tuple(by_group.get(group.name, group.log))) for group in scape.groups
    )
    return replace(scape, groups=groups)


def _soaking(path: Path, mass: float | None, lift: Range, water: float) -> SoakingFigures:
    """Fit a log of weighings to wood without a scape."""
    from plumbstone.volumes.holding.soaking import fit_weighings

    by_group = read_log(path)
    if len(by_group) > 1:
        raise PlumbstoneError(f"{path}: holds several groups; name the scape file.")
    weighings = next(iter(by_group.values()))
    dry = mass if mass is not None else weighings[0].mass
    volume = Range(*((dry + v) / water for v in lift))
    return fit_weighings(weighings, volume, dry, water)


def _quick(
    mass: float | None,
    material: str,
    tub: str | None,
    sinkers: list[str],
    factor: float | None,
    water: float,
) -> tuple[buoyancy.Balance, Material]:
    """Balance wood without a scape file; give the sinker stone too."""
    from plumbstone.volumes.report import balance_figures

    factor = FACTOR if factor is None else factor
    if mass is None and tub is None:
        raise PlumbstoneError("Name a scape file, or give --wood-mass or --just-sinks-with.")
    if not 1 <= factor <= 10:
        raise PlumbstoneError(f"--factor {factor:g} must lie from 1 to 10.")
    hung = [weighed_stone(text) for text in sinkers]
    found = None if tub is None else weighed_stone(tub)
    stone = hung[0][1] if hung else found[1] if found else find_material("granite")
    density, total = stone.dense, buoyancy.Hung(0.0, Range.exact(0.0))
    for much, kind in hung:
        total = total.plus(buoyancy.hung_stone(much, kind.dense, water))
    wood = find_material(material)
    if found is not None:
        test = (found[0], found[1].dense)
        balance = buoyancy.balance_from_tub(mass, test, density, water, total, factor)
    else:
        if wood.kind != "wood":
            raise PlumbstoneError(f"{wood.name} is no wood; see: plumbstone materials --kind wood.")
        assert mass is not None
        balance = buoyancy.balance_from_density(mass, wood.dense, density, water, total, factor)
    checked(balance_figures(balance))
    return balance, stone


def _quick_document(
    balance: buoyancy.Balance, stone: str, soaking: SoakingFigures | None, found: "Spread | None"
) -> dict[str, Any]:
    """Give wood without a scape as JSON."""
    from plumbstone.volumes.report import balance_figures

    document = {"name": "wood", "sinker_material": stone, **document_of(balance_figures(balance))}
    if soaking is not None:
        document["soaking"] = document_of(soaking)
    if found is not None:
        document["spread"] = _spread_document(found)
    return document


def _spread_document(found: "Spread") -> dict[str, Any]:
    """Give the draws as JSON: quantiles in grams, and the share that stays."""
    from plumbstone.volumes.holding.spread import QUANTILES

    return {
        "draws": len(found.lifts),
        "quantiles": list(QUANTILES),
        "lift_g": [v * 1e3 for v in found.quantiles(found.lifts)],
        "least_sinker_g": [v * 1e3 for v in found.quantiles(found.needed)],
        "staying": found.staying,
    }


def _spread_lines(name: str, found: "Spread", stone: str, units: Units) -> list[str]:
    """Tell what the draws give."""
    low, _, mid, _, high = (grams(v, units) for v in found.quantiles(found.needed))
    count = len(found.needed)
    lines = [
        f"{name}: of {count} draws half need less than {mid} of {stone} to balance; one in twenty "
        f"less than {low}, one in twenty more than {high}."
    ]
    if found.staying is not None:
        staying = round(found.staying * count)
        lines.append(f"{name}: as set, it stays in {staying} of {count} draws.")
    return lines


def _print_balance(
    balance: buoyancy.Balance, stone: str, wood: str, soaking: SoakingFigures | None, units: Units
) -> None:
    """Print the action, then what it rests on."""
    tell(hold_sentence(balance, stone, units))
    source = "from the tub test" if balance.from_tub else "from the table of woods"
    low, high = (grams(v, units) for v in (balance.lift.low, balance.lift.high))
    lift = f"about {low}" if low == high else spanned(low, high)
    about = balance.density and written(balance.density.mid, "density", units)
    dense = f"; density about {about}" if about else ""
    tell(f"Lift {lift}, {source}{dense}.")
    if not balance.from_tub:
        tell(f'A tub test beats the table: --just-sinks-with "{TUB_MASS[units]} granite".')
    if soaking is not None:
        tell(f"Wood: {soaking_words(soaking)}")
    elif balance.lift.high > 0:
        much = about_grams(balance.lift, units)
        tell(f"It must take up {much} of water before it stays by itself; leave the tie.")
    tell("Burial and wedging are not counted.")
    tell("Use only wood that is untreated, unpainted and fit for aquariums.")
    tub, known = balance.density, find_material(wood).density
    if balance.from_tub and tub and known and tub.parts_from(known):
        tell(f"Check: {tub_words(tub, known, wood, units)}")
