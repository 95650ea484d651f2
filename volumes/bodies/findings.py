"""What is found about single pieces: fit, cover and doubt."""

from collections.abc import Container, Iterable, Iterator, Mapping

import numpy as np

from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.findings import Finding, Kind, Severity
from plumbstone.volumes.scape.tank import Tank

MOSTLY = 0.85  # share of a piece below the bed from which on it is told
ON_GLASS = 1e-6  # [m]
HOLLOW = 0.005  # of air below the middle of a stone that a hand evens out [m]; common practice
NEAR_PANE, HEAVY = 0.01, 5.0  # [m], [kg]: what no hand sets down so near glass; common practice, no
# source
SHOWS = 0.002  # of its volume: less than that above the bed, and it is wholly buried


def body_findings(
    bodies: Iterable[Body],
    tank: Tank,
    covered: Mapping[str, float],
    air: Mapping[str, float],
    hidden: Container[str] = (),
) -> Iterator[Finding]:
    """Find pieces that do not fit, lie buried, or are known badly.

    Of each piece `covered` is the share of its volume below the bed, and `air` the height of the
    air below its middle [m] where it is set on that; hidden ones are meant to lie there: sinkers,
    and what carries others.
    """
    for body in bodies:
        yield from _fit(body, tank)
        if body.entry.name not in hidden:
            yield from _buried(body, covered.get(body.entry.name, 0.0))
        yield from _pressed(body)
        yield from _hollow(body, air.get(body.entry.name, 0.0))
        for text in body.warnings:
            yield Finding(Kind.DOUBTFUL, Severity.CARE, (body.entry.name,), how=text)


def _fit(body: Body, tank: Tank) -> Iterator[Finding]:
    """Tell of the rim, the lamp and the opening inside the bracing."""
    about = (body.entry.name,)
    top = float(body.piece.high[2])
    opening = sorted((tank.length - 2 * tank.bracing, tank.depth - 2 * tank.bracing))
    sides = np.sort(body.piece.size)[:2]
    if sides[0] > opening[0] or sides[1] > opening[1]:
        yield Finding(Kind.MISFIT, Severity.STOP, about, how="opening", cure="another way")
    gap, pane = tank.nearest_pane(body.piece.low, body.piece.high)
    if gap < NEAR_PANE and body.entry.kind == "stone" and body.mass.mid > HEAVY:
        numbers = {"gap_m": max(0.0, gap), "mass_kg": body.mass.mid}
        yield Finding(Kind.MISFIT, Severity.CARE, about, numbers, pane, "near pane", "away")
    if tank.height is None:
        return
    if top > tank.height + 1e-6:
        numbers = {"above_m": top - tank.height}
        yield Finding(Kind.MISFIT, Severity.CARE, about, numbers, how="rim")
    if tank.lamp_height is not None and top > tank.height + tank.lamp_height:
        numbers = {"above_m": top - tank.height - tank.lamp_height}
        yield Finding(Kind.MISFIT, Severity.STOP, about, numbers, how="lamp")


def _pressed(body: Body) -> Iterator[Finding]:
    """Tell of a piece pressed down to the glass through all of the bed, or set on no bed at all."""
    on_bed, deep = body.entry.rests == "bed", float(body.piece.low[2]) < ON_GLASS
    if body.entry.pressed > 0 and (deep or not on_bed):
        numbers = {"pressed_m": body.entry.pressed}
        how = "to the glass" if on_bed else "on no bed"
        yield Finding(Kind.BURIED, Severity.NOTE, (body.entry.name,), numbers, how=how)


def _hollow(body: Body, air: float) -> Iterator[Finding]:
    """Tell of a stone drawn over air: it sinks or tips until it lies on the slope of the bed."""
    if air > HOLLOW and not body.entry.settle:  # what has settled lies on the slope
        numbers = {"air_m": air, "pressed_m": body.entry.pressed + air}
        about = (body.entry.name,)
        yield Finding(Kind.TIPS, Severity.CARE, about, numbers, how="over air", cure="press")


def _buried(body: Body, share: float) -> Iterator[Finding]:
    """Tell of a piece of which little or nothing is seen above the bed."""
    if share < MOSTLY:
        return
    wholly = share > 1 - SHOWS
    yield Finding(
        Kind.BURIED,
        Severity.CARE if wholly else Severity.NOTE,
        (body.entry.name,),
        {"share": share},
        how="wholly" if wholly else "mostly",
        cure="raise it or lower the bed",
    )
