"""The order of work on the build sheet, as it goes at the bench."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from plumbstone.cli.sheet.sheet_figures import Figures

JUG = 1.0  # [L]
STAYS = "Stays, if set as described."
PADS = Markup("Set each on a pad, middle first; rock it by hand before the next one stands.")
Piece = tuple[int, dict[str, Any]]  # its place in the document and its entry


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work, with what to do in it."""

    title: str
    lines: tuple[Markup, ...]


def work_steps(document: dict[str, Any], q: Figures) -> Iterator[Step]:
    """Give the steps: what stands on the glass, then layer by layer with what is set on each."""
    pieces = list(enumerate(document["pieces"]))
    base = [(i, p) for i, p in pieces if p["set_after_layer"] is None]
    stones = [(i, p) for i, p in base if p["kind"] == "stone"]
    if stones:
        yield Step("Stones on the glass", (*_set_lines(stones, q), PADS))
    wood = [(i, p) for i, p in base if p["kind"] == "wood"]
    if wood:
        yield Step("Wood and what holds it", tuple(_wood_lines(document, wood, q)))
    if document["border"] is not None:
        yield Step("Behind and between the border stones", tuple(_border_lines(document, q)))
    for k, layer in enumerate(document["layers"]):
        yield Step(_pour_title(layer), tuple(_pour_lines(k, layer, q)))
        on_it = [(i, p) for i, p in pieces if p["set_after_layer"] == k]
        stones = [(i, p) for i, p in on_it if p["kind"] == "stone"]
        if stones:
            title = f"Press these stones into the {layer['name']}"
            yield Step(title, tuple(_set_lines(stones, q)))
        wood = [(i, p) for i, p in on_it if p["kind"] == "wood"]
        if wood:
            yield Step("Wood and what holds it", tuple(_wood_lines(document, wood, q)))
    if document["water"] is not None:
        yield Step("Plant and fill", tuple(_fill_lines(document, q)))
        yield Step("After the first hours", tuple(_dose_lines(document, q)))
    yield Step("Weeks later", tuple(_later_lines(document, q)))
    if document["load"] is not None:
        yield Step("Moving day", tuple(_move_lines(q)))


def _set_lines(pieces: Iterable[Piece], q: Figures) -> Iterator[Markup]:
    for i, piece in pieces:
        yield Markup("{}. {}: middle {} from the left pane, {} from the front; {}").format(
            i + 1,
            piece["name"],
            q(f"pieces.{i}.from_left_cm", "length"),
            q(f"pieces.{i}.from_front_cm", "length"),
            q(f"pieces.{i}.mass_kg.mid", "mass"),
        )


def _wood_lines(document: dict[str, Any], wood: list[Piece], q: Figures) -> Iterator[Markup]:
    yield from _set_lines(wood, q)
    names = {piece["name"] for _, piece in wood}
    for i, hold in enumerate(document["holds"]):
        if not names & set(hold["wood"]):
            continue
        yield from _hold_lines(i, hold, q)
    yield Markup("Leave the ties on; soaked wood is tested at the next re-layout.")


def _hold_lines(i: int, hold: dict[str, Any], q: Figures) -> Iterator[Markup]:
    """Say what holds one group, and what to hang instead where it does not stay."""
    if hold["hung_g"] > 0:
        needs, had = q(f"holds.{i}.sinker_g", "grams"), q(f"holds.{i}.hung_g", "grams")
        yield Markup("{}: needs {} of {}, you hung {}. {}").format(
            hold["name"],
            needs,
            hold["sinker_material"],
            had,
            STAYS if hold["stays"] else "Add or move stone before you fill.",
        )
    elif hold["stays"]:
        yield Markup("{}: {}").format(hold["name"], STAYS)
    for k, sinker in enumerate(hold["sinkers"]):
        if sinker["at_cm"] is not None:
            yield Markup("{}: {} {} of {}, tied at {}.").format(
                hold["name"],
                sinker["how"],
                q(f"holds.{i}.sinkers.{k}.mass_g", "grams"),
                sinker["material"],
                _place(f"holds.{i}.sinkers.{k}.at_cm", q),
            )
    if hold["stays"] or not hold["offers"]:
        return
    offer = hold["offers"][0]
    for k, _ in enumerate(offer["masses_g"]):
        place = f"holds.{i}.offers.0.places_cm.{k}"
        yield Markup("{}: hang at least {} of {} at {}.").format(
            hold["name"],
            q(f"holds.{i}.offers.0.masses_g.{k}", "grams"),
            offer["material"],
            _place(place, q),
        )


def _place(path: str, q: Figures) -> Markup:
    """Write a place in the tank."""
    return Markup("{} from the left, {} from the front, {} above the glass").format(
        *(q(f"{path}.{axis}", "length") for axis in range(3))
    )


def _border_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    border = document["border"]
    if border["strip"]:
        yield Markup("Stand the hidden strip behind the row, up to the soil line.")
    for i, gap in enumerate(border["gaps"]):
        if gap["state"] == "holds":
            continue
        yield Markup("Gap {} - {}, {}: soil shows {} out on the sand; {}.").format(
            gap["left"],
            gap["right"],
            q(f"border.gaps.{i}.width_mm", "small"),
            q(f"border.gaps.{i}.reach_cm", "length"),
            gap["cure"],
        )


def _pour_title(layer: dict[str, Any]) -> str:
    """Name a layer's step; what goes along the border is set by hand."""
    if layer["zone"] == "along border":
        return f"Pack the {layer['name']} by hand"
    return f"Pour the {layer['name']}"


def _pour_lines(i: int, layer: dict[str, Any], q: Figures) -> Iterator[Markup]:
    if layer["sacks"]:
        yield Markup("{}, {}: {} sacks of {}, side by side.").format(
            layer["material"], layer["zone"], layer["sacks"], q(f"layers.{i}.sack_l", "volume")
        )
        return
    count = round(layer["poured_l"] / JUG)
    jugs = {0: "less than half a one-litre jug", 1: "about one one-litre jug"}
    yield Markup("{}, {}: {}, {}.").format(
        layer["material"], layer["zone"], q(f"layers.{i}.poured_l", "volume"),
        jugs.get(count, f"about {count} one-litre jugs"),
    )  # fmt: skip
    if layer["slides_l"] > 0.02 * layer["settled_l"] and layer["slides_lower_cm"] > 0.5:
        yield Markup("{} ends about {} lower than drawn.").format(
            layer["slides_where"].capitalize(), q(f"layers.{i}.slides_lower_cm", "length")
        )


def _fill_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    levels = [
        Markup("{} {}").format(q(f"depths_cm.{place}", "length"), place)
        for place in document["depths_cm"]
    ]
    if levels:
        yield Markup("Plant while the bed is damp; it stands above the glass {}.").format(
            Markup(", ").join(levels)
        )
    for i, hold in enumerate(document["holds"]):
        if hold["moves_at_cm"] is not None:
            level = q(f"holds.{i}.moves_at_cm", "length")
            yield Markup(
                "Stop a little below {} and press {}. If it rocks, drain and add stone."
            ).format(level, hold["name"])
    yield Markup("Fill slowly onto a plate up to {} above the glass: {} of water.").format(
        q("tank.water_line_cm", "length"), q("water.fill_l.mid", "volume")
    )


def _dose_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    yield Markup("Dose for {}, not the {} of the empty box.").format(
        q("water.dosing_l.mid", "volume"), q("water.box_l", "volume")
    )
    for i, _ in enumerate(document["water"]["marks"]):
        share = q(f"water.marks.{i}.change_percent", "plain")
        level = q(f"water.marks.{i}.level_cm", "length")
        yield Markup("Mark the pane for a {} % change: drain to {} above the glass.").format(
            share, level
        )


def _later_lines(document: dict[str, Any], q: Figures) -> Iterator[Markup]:
    for i, layer in enumerate(document["layers"]):
        if layer["left_over_l"]:
            yield Markup("Spare {}: {} left over; keep it dry and closed.").format(
                layer["name"], q(f"layers.{i}.left_over_l", "volume")
            )
    yield Markup(
        "Soil settles within hours; over one or two years its grains break down and it loses 10 to "
        "20 % of its depth. Top up where it sank."
    )
    yield Markup("Check that no stone leans towards a pane and that the border holds.")


def _move_lines(q: Figures) -> Iterator[Markup]:
    yield Markup("Drained to the bed: {}. Stripped of stones and wood: {}, without glass.").format(
        q("load.drained_without_glass_kg.mid", "mass"),
        q("load.stripped_without_glass_kg.mid", "mass"),
    )
    yield Markup("Never lift a tank with water, stones or bed in it.")
