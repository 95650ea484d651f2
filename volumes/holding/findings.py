"""What the user should know of wood and stones that may move: data, no sentences."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.findings import Finding, Kind, Severity
from plumbstone.volumes.holding.hold_down import HoldResult
from plumbstone.volumes.holding.moves import Move
from plumbstone.volumes.holding.proof import UNJUDGED, Doubt
from plumbstone.volumes.holding.stability import EDGE, Standing
from plumbstone.volumes.holding.touching import DRAWN_THROUGH

MOSTLY = 0.75  # of the height of wood that the water covers, as of wood through the surface
STOP_BELOW = 0.02  # filling stops so far below the level of the first motion [m]


def hold_findings(hold: HoldResult) -> tuple[Finding, ...]:
    """State why it is not proved that a group stays, and what to see to where it does."""
    return (*_doubt_findings(hold), *_cares(hold))


def standing_findings(stone: Standing) -> tuple[Finding, ...]:
    """State that a piece falls, leans or tips easily; none where it stands or lies firmly."""
    if not stone.doubtful:
        return ()
    about = (stone.name, *stone.on)
    if stone.through > DRAWN_THROUGH:
        return (_through_finding(Severity.CARE, stone.name, stone.into, stone.through),)
    if stone.may_float:
        numbers = {"sure": float(stone.floats)}
        severity = Severity.STOP if stone.floats else Severity.CARE
        return (Finding(Kind.FLOATS, severity, about[:1], numbers, how="stone", cure="soak"),)
    if stone.falls_at is not None:
        numbers = {"level_m": stone.falls_at}
        load = " and ".join(stone.load)
        stack = Finding(Kind.FALLS, Severity.STOP, about, numbers, load, "stack", "set again")
        return (stack,)
    if stone.leans:
        numbers = {"lean_deg": stone.lean}
        severity = Severity.STOP if stone.upright or stone.on else Severity.CARE
        cure = "even ground" if stone.turned else "set again"
        return (Finding(Kind.TIPS, severity, about, numbers, how="leans", cure=cure),)
    if stone.aside:
        return (Finding(Kind.TIPS, Severity.CARE, (stone.name, *stone.aside), how="aside"),)
    numbers = {"tip_deg": stone.tip_angle, "push_n": stone.push_wet, "to_pane_m": stone.to_pane}
    if stone.overhangs and not stone.tips and not stone.unsure:
        numbers = {"press_n": stone.press}
        return (Finding(Kind.TIPS, Severity.CARE, about, numbers, how="overhangs", cure="back"),)
    how = "unsure" if stone.unsure else "easily"
    if stone.tip_angle <= 0:
        how = "under a load" if stone.load else "on an edge"
    if stone.pointed or (not stone.foot_known and stone.tip_angle < EDGE):  # the foot is guessed
        cares = stone.pointed or stone.upright or stone.on
        severity = Severity.CARE if cares else Severity.NOTE
        return (Finding(Kind.TIPS, severity, about, numbers, how="guessed foot", cure="try"),)
    load = " and ".join(stone.load)
    return (Finding(Kind.TIPS, Severity.CARE, about, numbers, load, how, "lay down"),)


def _doubt_findings(hold: HoldResult) -> Iterator[Finding]:
    """State each doubt of a group by itself; places of feet that help go with it.

    Wood that may float is not filled before; what surely sinks is seen to like a stone.
    """
    feet = enumerate(hold.offers.feet)
    found = {f"foot{i}_{k}_m": v for i, foot in feet for k, v in zip("xyz", foot, strict=True)}
    least = Severity.STOP if hold.balance.lift.high > 0 else Severity.CARE
    for finding in _plain_doubts(hold):
        severity = max(finding.severity, least)
        yield replace(finding, severity=severity, numbers={**finding.numbers, **found})


def _plain_doubts(hold: HoldResult) -> Iterator[Finding]:
    """State each doubt of a group by itself."""
    name, rest = hold.group.name, hold.stage.resting[hold.number]
    for doubt in hold.doubts:
        if doubt is Doubt.MOVES and hold.first_move is not None:
            yield _move_finding(hold, hold.first_move)
        elif doubt is Doubt.SHORT and hold.balance.lift.high <= 0:
            how = "small foot" if hold.balance.enough else "hardly sinks"
            numbers = {"lacking_kg": hold.balance.short}
            yield Finding(Kind.TIPS, Severity.CARE, (name,), numbers, how=how, cure=_cure(hold))
        elif doubt in (Doubt.SHORT, Doubt.MOVES):
            numbers = {"lacking_kg": hold.balance.short}
            yield Finding(
                Kind.FLOATS, Severity.CARE, (name,), numbers, how="short", cure=_cure(hold)
            )
        elif doubt is Doubt.LEANS:
            numbers = {"lean_deg": hold.lean}
            turned = all(b.entry.settle for b in hold.stage.wood_of(hold.number))
            alone = len(hold.stage.together(hold.number)) == 1 and not hold.group.sinkers
            cure = ("even ground" if alone else "foot") if turned else "settle"
            yield Finding(Kind.TIPS, Severity.STOP, (name,), numbers, how="leans", cure=cure)
        elif doubt is Doubt.THROUGH:
            yield _through_finding(Severity.STOP, name, hold.into, hold.through)
        elif doubt is Doubt.APART:
            numbers = {"apart_m": hold.gap, "wood": float(hold.off in hold.group.wood)}
            who = (name, hold.off)
            yield Finding(Kind.TIPS, Severity.STOP, who, numbers, how="apart", cure="together")
        elif doubt is Doubt.CARRIER:
            yield _carrier_finding(hold)
        elif doubt is Doubt.STEEP:
            numbers = {"steep_deg": float(rest.steepness[rest.touching()].max(initial=0.0))}
            yield Finding(Kind.TIPS, Severity.CARE, (name,), numbers, how="steep", cure="wedge")
        elif doubt is Doubt.PANE:
            where = " and ".join(rest.panes())
            yield Finding(Kind.TIPS, Severity.CARE, (name,), where=where, how="pane", cure="foot")
        elif doubt is Doubt.SOAKED:
            at = hold.drained_move
            numbers = {} if at is None else {"level_m": at.level}
            yield Finding(Kind.FALLS, Severity.CARE, (name,), numbers, how="soaked", cure="wedge")


def _carrier_finding(hold: HoldResult) -> Finding:
    """Name stones by a group that do not rest as drawn, and what mends it."""
    stage = hold.stage
    others = [i for i in stage.together(hold.number) if stage.bodies[i].name in hold.doubtful]
    through = any(stage.resting[i].through > DRAWN_THROUGH for i in others)
    turned = all(body.entry.settle for i in others for body in stage.bodies[i].pieces)
    cure = "apart" if through else "firm" if turned else "settle"
    about = (hold.group.name, *hold.doubtful)
    return Finding(Kind.TIPS, Severity.STOP, about, how="carrier", cure=cure)


def _through_finding(severity: Severity, name: str, into: str, through: float) -> Finding:
    """State how deep a piece is drawn into another."""
    about = (name, into) if into else (name,)
    numbers = {"through_m": through}
    return Finding(Kind.TIPS, severity, about, numbers, how="drawn through", cure="apart")


def _move_finding(hold: HoldResult, move: Move) -> Finding:
    """State how and at which level a group leaves its pose."""
    numbers: dict[str, float | Range] = {
        "level_m": move.level,
        "stop_m": max(0.0, move.level - STOP_BELOW),
        "lacking_kg": hold.balance.short,
        "sure": float(hold.moves_at is not None),
        "still_held": float(hold.still_held),
    }
    for k, (x, y) in enumerate(move.edge):
        numbers |= {f"edge{k}_x_m": x, f"edge{k}_y_m": y}
    kind = Kind.FALLS if move.falls else Kind.FLOATS
    about = (hold.group.name, *hold.carries)
    return Finding(kind, Severity.STOP, about, numbers, how=move.manner, cure=_cure(hold))


def _cares(hold: HoldResult) -> Iterator[Finding]:
    """State what does not decide the verdict but asks for care."""
    name, lift = hold.group.name, hold.balance.lift
    if lift.low <= 0:
        yield Finding(
            Kind.FLOATS, Severity.NOTE, (name,), {"lift_kg": lift}, how="near neutral",
            cure="tub test",
        )  # fmt: skip
    yield from _tub_contradicts(hold)
    wood = [body.piece for body in hold.stage.wood_of(hold.number)]
    low, high = min(piece.low[2] for piece in wood), max(piece.high[2] for piece in wood)
    line = float(hold.levels[-1])
    if hold.stays and lift.high > 0 and line < high:  # as a tank planted before it is filled
        severity = Severity.CARE if line < low + MOSTLY * (high - low) else Severity.NOTE
        numbers = {"line_m": line}
        yield Finding(Kind.FLOATS, severity, (name,), numbers, how="low line", cure="judge anew")
    straps = tuple(s.stone for s in hold.group.sinkers if s.how == "strapped" and s.stone)
    if hold.hinges:
        about = (name, *hold.hinges)
        yield Finding(Kind.TIPS, Severity.CARE, about, how="hinge", cure="second strap")
    elif hold.stays and lift.high > 0 and len(straps) == 1:
        about = (name, *straps)
        yield Finding(Kind.TIPS, Severity.CARE, about, how="one strap", cure="second strap")
    laid = [s.stone or "the stone" for s in hold.group.sinkers if s.how == "laid on"]
    on = [*laid, *(n for n in hold.carries if n not in laid)]
    if on:
        yield Finding(
            Kind.TIPS, Severity.CARE, (name, *on), how="may roll off", cure="tie or wedge"
        )


def _tub_contradicts(hold: HoldResult) -> Iterator[Finding]:
    """Tell of a tub test by which wood is none of its kind, or not of its form and weight."""
    wood, found = hold.stage.wood_of(hold.number), hold.balance.density
    if not hold.balance.from_tub or found is None:
        return
    kinds = {body.entry.material.key: body.entry.material.density for body in wood}
    known = next(iter(kinds.values())) if len(kinds) == 1 else None
    weighed = all(body.entry.mass is not None for body in wood)
    if weighed and known is not None and found.parts_from(known):
        kind = wood[0].entry.material.name
        numbers = {"found_kg_per_m3": found, "known_kg_per_m3": known}
        who = (hold.group.name, kind)
        yield Finding(Kind.FLOATS, Severity.CARE, who, numbers, how="tub", cure="weigh again")
        return
    drawn = Range.total(body.mass_in_water(hold.stage.water).negative() for body in wood)
    if drawn.parts_from(hold.balance.lift):
        numbers = {"lift_kg": hold.balance.lift, "drawn_kg": drawn}
        yield Finding(
            Kind.FLOATS, Severity.CARE, (hold.group.name,), numbers, how="tub form",
            cure="weigh again",
        )  # fmt: skip


def _cure(hold: HoldResult) -> str:
    """Say which change helps, by its code."""
    if any(sinker.slack > 0 for sinker in hold.group.sinkers):
        return "tie tight"
    if {Doubt.LEANS, *UNJUDGED} & {*hold.doubts}:
        return "set again"
    if hold.offers.best:
        return "move tie" if hold.balance.enough and hold.balance.hung > 0 else "add stone"
    if hold.offers.strapping is not None:
        return "strap"
    if hold.first_move is not None and hold.first_move.falls:
        return "foot"
    if hold.balance.hung <= 0 or not hold.balance.enough:
        return "add stone" if not np.isfinite(hold.margin) else "press"
    return "second foot"
