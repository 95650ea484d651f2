"""The order of work on the build sheet, as it goes at the bench."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from markupsafe import Markup

from plumbstone.cli.sheet.sheet_figures import Figures, both
from plumbstone.cli.wording.offers import places_of
from plumbstone.cli.wording.report import SALT_MIX, dosing_words, unlike_box
from plumbstone.cli.wording.units import GALLON, Units
from plumbstone.meshes.telling import percent
from plumbstone.volumes.figures import LayerFigures, PieceFigures, Report
from plumbstone.volumes.findings import Finding, Kind

STAYS = "Stays, if set as described."
LOOSE = "Do not fill yet: add or move stone."
ROCKS = "Sinks by itself, but may roll or rock."
SINKS = (
    "Soil settles within hours; over one or two years its grains break down and it loses 10 to "
    "20 % of its depth. Top up where it sank."
)
CUP, QUART = GALLON / 16, GALLON / 4
JUGS = {
    Units.METRIC: ((2e-3, "2 L"), (1e-3, "1 L"), (5e-4, "500 mL"), (1e-4, "100 mL")),
    Units.US: ((GALLON, "1 gallon"), (QUART, "1 quart"), (CUP, "1 cup")),
}
BY_HAND = ("along border", "border gaps")  # zones that are packed, not poured
FEWEST_JUGS = 2  # a jug that is filled less often is too large to measure with
QUARTERS = ("", "¼", "½", "¾")


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to tick off."""

    key: str  # what it is about, whatever its place in the list
    words: Markup
    piece: int | None = None  # place in the document's pieces of what is set
    mark: str = ""  # changes when the plan of this thing changes


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work, with what to do in it."""

    title: str
    tasks: tuple[Task, ...]
    findings: tuple[Finding, ...] = ()
    layer: int | None = None  # place in the document's layers of what is poured
    about: frozenset[str] = field(default_factory=frozenset)  # names of all that it handles


def work_steps(report: Report, q: Figures) -> Iterator[Step]:
    """Give the steps: what stands on the glass, then layer by layer with what is set on each.

    Each finding stands once: a gap where the border is closed, else where what it is foremost
    about is handled first.
    """
    steps = list(_bare_steps(report, q))
    found: list[list[Finding]] = [[] for _ in steps]
    for finding in report.findings:
        first = finding.about[1:] if finding.kind is Kind.LEAKS else finding.about[:1]
        for names in (first, finding.about):
            at = [k for k, step in enumerate(steps) if step.about & {*names}]
            if at:
                found[at[-1] if finding.kind is Kind.LEAKS and names is first else at[0]].append(
                    finding
                )
                break
    for step, told in zip(steps, found, strict=True):
        yield replace(step, findings=tuple(told))


def jug_words(cubic_metres: float, units: Units) -> str:
    """Count jugs of a size that fits an amount [m³], to a quarter of a jug."""
    size, name = next(
        ((size, name) for size, name in JUGS[units] if cubic_metres >= FEWEST_JUGS * size),
        JUGS[units][-1],
    )
    quarters = max(1, round(4 * cubic_metres / size))
    whole, part = divmod(quarters, 4)
    count = f"{whole or ''}{QUARTERS[part]}"
    return f"{count} × {name}"


def _bare_steps(report: Report, q: Figures) -> Iterator[Step]:
    """Give the steps without their findings."""
    yield from _set_steps(report, q, None, "on the glass")
    if report.border is not None:
        tasks = tuple(_border_tasks(report, q))
        gaps = {name for gap in report.border.gaps for name in (gap.left, gap.right)}
        if tasks:
            about = frozenset(gaps if not report.border.strip else ())
            yield Step("Close the border", tasks, about=about)
    for k, layer in enumerate(report.layers):
        tasks = tuple(_pour_tasks(k, layer, q))
        yield Step(_pour_title(layer), tasks, layer=k, about=frozenset((layer.name,)))
        yield from _set_steps(report, q, k, f"into the {layer.name}")
    if report.lumps:
        tasks = tuple(_lump_tasks(report, q))
        yield Step("Stones without a place", tasks, about=frozenset(m.name for m in report.lumps))
    if report.water is not None:
        yield Step("Plant and fill", tuple(_fill_tasks(report, q)))
        yield Step("After the first hours", tuple(_dose_tasks(report, q)))
    yield Step("Weeks later", tuple(_later_tasks(report, q)))


def _set_steps(report: Report, q: Figures, after: int | None, where: str) -> Iterator[Step]:
    """Give the steps in which pieces are set after a layer, stones before wood."""
    on_it = [(i, p) for i, p in enumerate(report.pieces) if p.set_after_layer == after]
    stones = [(i, p) for i, p in on_it if p.kind == "stone" and not p.on_wood]
    if stones:
        verb = "Set the stones" if after is None else "Press stones"
        tasks = [_piece_task(i, piece) for i, piece in stones]
        if after is None:
            pads = "Each stands on a pad; rock it by hand before the next one stands."
            tasks.append(Task("pads", Markup(pads)))
        yield Step(f"{verb} {where}", tuple(tasks), about=frozenset(p.name for _, p in stones))
    wood = [(i, p) for i, p in on_it if p.kind == "wood"]
    if wood:
        names = {piece.name for _, piece in wood}
        holds = [h for h in report.holds if names & {*h.wood}]
        tasks = [_piece_task(i, piece) for i, piece in wood]
        tasks += _wood_tasks(report, names, q)
        about = frozenset(names | {h.name for h in holds})
        yield Step(f"Set the wood {where} and hold it down", tuple(tasks), about=about)
    last = [(i, p) for i, p in on_it if p.on_wood]
    if last:
        about = frozenset(p.name for _, p in last)
        yield Step("Lay stones on the wood", tuple(_piece_task(*one) for one in last), about=about)


def _piece_task(i: int, piece: PieceFigures) -> Task:
    """Tick one piece off by its name; its mark tells when its place in the plan has changed."""
    places = (piece.near_left_m, piece.near_front_m, piece.top_m)
    mark = " ".join(f"{v * 1e3:.0f}" for v in places) + f" {piece.turn_deg:.0f}"
    return Task(f"piece {piece.name}", Markup("{}").format(piece.name), i, mark)


def _wood_tasks(report: Report, names: set[str], q: Figures) -> Iterator[Task]:
    """Say what holds each group with this wood, and what to hang instead where it moves."""
    tied = False
    for i, hold in enumerate(report.holds):
        if not names & {*hold.wood}:
            continue
        tied |= any(sinker.how != "laid on" for sinker in hold.sinkers)
        for k, words in enumerate(_hold_lines(i, hold, q)):
            yield Task(f"hold {hold.name} {k}", words)
    if tied:
        yield Task(
            "ties", Markup("Leave the ties on; soaked wood is tested at the next re-layout.")
        )


def _hold_lines(i: int, hold: Any, q: Figures) -> Iterator[Markup]:
    """Say what holds one group, and what to hang instead where it does not stay."""
    state = STAYS
    if not hold.stays:
        state = LOOSE if hold.balance.lift_kg.high > 0 else ROCKS
    if hold.balance.hung_kg > 0:
        yield Markup("{}: needs {} of {}, you hung {}. {}").format(
            hold.name, q(f"holds.{i}.sinker_g", "sinker", "up"), hold.sinker_material,
            q(f"holds.{i}.hung_g", "sinker"), state,
        )  # fmt: skip
    else:
        yield Markup("{}: {}").format(hold.name, state)
    for k, sinker in enumerate(hold.sinkers):
        path, tied = f"holds.{i}.sinkers.{k}", Markup("")
        for at, key in ((sinker.assumed_at_m, "assumed_at_cm"), (sinker.at_m, "at_cm")):
            if at is not None:
                tied = Markup(", tied at {}").format(_place(f"{path}.{key}", q))
        what = Markup("{} of {}").format(q(f"{path}.mass_g", "sinker"), sinker.material)
        yield Markup("{}: {} {}{}.").format(hold.name, sinker.stone or what, sinker.how, tied)
    offered = () if hold.stays or not hold.offers else enumerate(hold.offers[0].how)
    for k, how in offered:
        yield Markup("{}: at least {} of {} {} at {}.").format(
            hold.name, q(f"holds.{i}.offers.0.masses_g.{k}", "sinker", "up"),
            hold.offers[0].material, how, _place(f"holds.{i}.offers.0.places_cm.{k}", q),
        )  # fmt: skip
    if hold.strapping is not None:
        stones, size = " and ".join(hold.strapping.stones), Markup("")
        if hold.strapping.material:
            size = Markup(" of {}, {}").format(
                hold.strapping.material, q.sides(f"holds.{i}.strapping.size_cm")
            )
        instead = "or, if no stone fits there, " if offered else ""
        yield Markup("{}: {}strap it tight {}to {}{}.").format(
            hold.name, instead, places_of(hold.strapping), stones, size
        )


def _place(path: str, q: Figures) -> Markup:
    """Write a place in the tank."""
    return Markup("{} from the left, {} from the front, {} above the glass").format(
        *(q(f"{path}.{axis}", "place") for axis in range(3))
    )


def _border_tasks(report: Report, q: Figures) -> Iterator[Task]:
    border = report.border
    assert border is not None
    if border.strip:
        words = "Stand the hidden strip behind the row, up to the soil line."
        yield Task("strip", Markup(words))
    for i, gap in enumerate(border.gaps):
        if gap.state == "holds":
            continue
        yield Task(
            f"gap {gap.left} {gap.right}",
            Markup("Gap {} - {}, {} wide: {}, about {} to fill it.").format(
                gap.left, gap.right, q(f"border.gaps.{i}.width_mm", "gap"), gap.cure,
                q(f"border.gaps.{i}.fill_l", "volume", "up"),
            ),
        )  # fmt: skip


def _pour_title(layer: LayerFigures) -> str:
    """Name a layer's step; what goes along the border is set by hand."""
    if layer.zone in BY_HAND:
        return f"Pack the {layer.name} by hand"
    return f"Pour the {layer.name}"


def _pour_tasks(i: int, layer: LayerFigures, q: Figures) -> Iterator[Task]:
    where = "over the whole floor" if layer.zone == "all" else layer.zone
    amount = q(f"layers.{i}.poured_l", "volume")
    if layer.sacks:
        words = Markup("{}, {}: {} sacks of {}, side by side.").format(
            layer.material, where, layer.sacks, q(f"layers.{i}.sack_l", "volume")
        )
    else:
        jugs = both(*(jug_words(layer.poured_m3, units) for units in Units))
        words = Markup("{}, {}: {}, or {} jugs.").format(layer.material, where, amount, jugs)
    yield Task(f"layer {layer.name}", words, mark=f"{layer.poured_m3 * 1e3:.1f}")


def _lump_tasks(report: Report, q: Figures) -> Iterator[Task]:
    """Say how many loose stones there are, what they weigh and how deep they go."""
    for i, lump in enumerate(report.lumps):
        deep = (
            f"{percent(lump.below_soil)} of them below the bed" if lump.below_soil else "on the bed"
        )
        yield Task(
            f"lump {lump.name}",
            Markup("{}: {} of {}, together {}, {}.").format(
                lump.name, lump.count, lump.material, q(f"lumps.{i}.mass_kg.mid", "mass"), deep
            ),
        )


def _fill_tasks(report: Report, q: Figures) -> Iterator[Task]:
    levels = [
        Markup("{} {}").format(q(f"depths_cm.{place}", "length"), place)
        for place in report.depths_m
    ]
    if levels:
        words = Markup("Plant while the bed is damp; its surface lies above the glass {}.")
        yield Task("plant", words.format(Markup(", ").join(levels)))
    for i, spot in enumerate(report.spots):
        yield Task(
            f"spot {spot.name}",
            Markup("{}: {} of substrate.").format(spot.name, q(f"spots.{i}.depth_cm", "length")),
        )
    for i, hold in enumerate(report.holds):
        if hold.moves_at_m:
            words = Markup("Stop well below {} and press {}. If it rocks, drain and add stone.")
            level = q(f"holds.{i}.moves_at_cm", "place", "down")
            yield Task(f"stop {hold.name}", words.format(level, hold.name))
    words = Markup("Fill slowly onto a plate up to {} above the glass: {} of water.")
    line = q("tank.water_line_cm", "place")
    yield Task("fill", words.format(line, q("water.fill_l.mid", "volume")))


def _dose_tasks(report: Report, q: Figures) -> Iterator[Task]:
    assert report.water is not None
    words = "Dose for {}"
    if unlike_box(report.water):
        words = dosing_words(report.water, "; the box alone holds {}")
    litres = q("water.dosing_l.mid", "volume"), q("water.box_l", "volume")
    yield Task("dose", Markup(f"{words}.").format(*litres))
    if report.water.salt_mix_kg is not None:
        mass = q("water.salt_mix_kg.mid", "mass")
        yield Task("salt", Markup(SALT_MIX).format(mass))
    for i, mark in enumerate(report.water.marks):
        level = q(f"water.marks.{i}.level_cm", "place")
        words = Markup("Mark the pane for a {:.0f} % change: drain to {} above the glass.")
        yield Task(f"mark {mark.change_percent:.0f}", words.format(mark.change_percent, level))


def _later_tasks(report: Report, q: Figures) -> Iterator[Task]:
    for i, layer in enumerate(report.layers):
        if layer.left_over_m3:
            words = Markup("Spare {}: {} left over; keep it dry and closed.")
            left = q(f"layers.{i}.left_over_l", "volume", "down")
            yield Task(f"spare {layer.name}", words.format(layer.name, left))
    if any(layer.crumbles for layer in report.layers):
        yield Task("sinks", Markup(SINKS))
    lean = "Check that no stone leans towards a pane"
    yield Task("lean", Markup(f"{lean}{' and the border holds' if report.border else ''}."))
