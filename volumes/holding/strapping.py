"""What wood may be strapped to that no sinker holds: stones under it, or a flat one more."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.displacement import mesh_centre
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.figures import StrappingFigures
from plumbstone.volumes.holding.hold_down import HoldResult
from plumbstone.volumes.holding.proof import Case
from plumbstone.volumes.scape.groups import KEPT, Sinker
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.scape import PieceEntry, Scape, Shape

FLAT = "Flat stone"
MATERIAL = "slate"
SIDES = (0.12, 0.16, 0.20, 0.25, 0.30)  # of a flat stone that is sought [m]
THICK = 0.02  # [m]; slate is sold so: common practice, no source
SMALLER = 0.9  # of its sides, with which it must hold too: no stone is found to the millimetre
ASIDE = 0.0035  # [m]: places are told to a quarter inch
PLACES = 0.005  # [m]

Setting = Callable[[Scape], tuple[Case, bool]]


def strapping_for(scape: Scape, hold: HoldResult, set_anew: Setting) -> StrappingFigures | None:
    """Find what a group may be strapped to so that the whole verdict is "stays".

    Parameters
    ----------
    scape : Scape
    hold : HoldResult
        Of the group, which rests as drawn and is held by no sinkers.
    set_anew : callable
        Gives the same group in a changed scape, and whether its straps lie as straps do.

    Notes
    -----
    What hangs on it or stands at a tie is left out. The wood must rest on the stones, dry, before
    it is strapped, as a strap round a single place is a hinge. A flat stone must hold it a tenth
    smaller and a little aside too.
    """
    under = _stones_under(hold)
    if under and not _rests(_strapped(scape, hold, ()), set_anew):
        return None
    sets = [*((name,) for name in under), *([tuple(under)] if len(under) > 1 else [])]
    for stones in sets:
        if _stays(_strapped(scape, hold, stones), set_anew):
            return StrappingFigures(stones)
    if under:
        return None
    return next(_flat_stones(scape, hold, set_anew), None)


def hinges_of(scape: Scape, hold: HoldResult, set_anew: Setting) -> tuple[str, ...]:
    """Name the stones that a group is strapped to, if it does not lie without these straps, dry.

    `set_anew` is as for `strapping_for`; why, see there.
    """
    placed, groups = hold.stage.placed, list(scape.groups)
    own = groups[hold.number]
    straps = [s for s in own.sinkers if s.how == "strapped" and s.stone in placed]
    left = tuple(sinker for sinker in own.sinkers if sinker not in straps)
    groups[hold.number] = replace(own, sinkers=left)
    if not straps or _rests(replace(scape, groups=tuple(groups)), set_anew):
        return ()
    return tuple(sinker.stone for sinker in straps)


def _stones_under(hold: HoldResult) -> list[str]:
    """Names of the single stones that a group touches."""
    rest, bodies = hold.stage.resting[hold.number], hold.stage.bodies
    touched = sorted({int(b) for b in rest.below[rest.touching()] if b >= 0})
    return [bodies[b].name for b in touched if bodies[b].group is None]


def _flat_stones(scape: Scape, hold: HoldResult, set_anew: Setting) -> Iterator[StrappingFigures]:
    """Give flat stones on the ground under one piece of wood that hold it, the least first."""
    lowest = [b for b in hold.stage.wood_of(hold.number) if b.entry.rests in ("floor", "bed")]
    slate, taken = find_material(MATERIAL), {piece.name for piece in scape.pieces}
    if len(lowest) != 1 or FLAT in taken or slate.density is None:
        return
    wood = lowest[0]
    x, y = mesh_centre(wood.piece.vertices, wood.piece.faces)[:2]
    at = np.round(np.array([x, y]) / PLACES) * PLACES
    for side in SIDES:
        size = np.array([side, side, THICK])
        wet = size.prod() * (slate.density.low - hold.stage.water)
        if wet * SMALLER**3 < hold.balance.asked_pull:
            continue
        given, less = (
            _with_flat(scape, wood.entry, side_of, middle)
            for side_of, middle in ((size, at), (size * SMALLER, at + ASIDE))
        )
        if not _rests(_strapped(given, hold, ()), set_anew):
            continue
        if all(_stays(_strapped(laid, hold, (FLAT,)), set_anew) for laid in (given, less)):
            places = tuple(map(float, size)), tuple(map(float, at))
            yield StrappingFigures((FLAT,), MATERIAL, *places, wood.entry.rests)


def _with_flat(scape: Scape, wood: PieceEntry, size: Floats, at: Floats) -> Scape:
    """Lay a flat stone on what a piece of wood rests on, and that on the stone."""
    length, width, height = map(float, size)
    flat = PieceEntry(
        FLAT, "stone", Shape(solid="slab", size=(length, width, height)), find_material(MATERIAL),
        None, (float(at[0]), float(at[1])), rests=wood.rests,
    )  # fmt: skip
    pieces = (replace(p, rests=FLAT) if p.name == wood.name else p for p in scape.pieces)
    return replace(scape, pieces=(flat, *pieces))


def _strapped(scape: Scape, hold: HoldResult, stones: Sequence[str]) -> Scape:
    """Strap a group to stones in place of what hangs on it."""
    named = {piece.name: piece for piece in scape.pieces}
    more = tuple(Sinker(0.0, named[n].material, "strapped", stone=n) for n in stones)
    groups = list(scape.groups)
    kept = tuple(s for s in groups[hold.number].sinkers if s.how in KEPT)
    groups[hold.number] = replace(groups[hold.number], sinkers=(*kept, *more))
    return replace(scape, groups=tuple(groups))


def _rests(scape: Scape, set_anew: Setting) -> bool:
    """Whether the group lies by itself in a changed scape as long as that is dry."""
    return _holds(scape, set_anew, lambda case: not case.of_pose() and case.rests_dry())


def _stays(scape: Scape, set_anew: Setting) -> bool:
    """Whether the group is proved to stay in a changed scape."""
    return _holds(scape, set_anew, Case.stays)


def _holds(scape: Scape, set_anew: Setting, asked: Callable[[Case], bool]) -> bool:
    """Whether something holds of the group in a changed scape, which can be laid out."""
    try:
        case, sound = set_anew(scape)
    except PlumbstoneError:
        return False
    return sound and asked(case)
