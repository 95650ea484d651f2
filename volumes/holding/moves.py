"""How a group of wood first leaves its pose, as the tank fills or once it is drained."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.piece import Floats
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.holding import equilibrium
from plumbstone.volumes.holding.ends import End, amiss_ends
from plumbstone.volumes.holding.equilibrium import Rig, Verdicts
from plumbstone.volumes.holding.free_bodies import Stage
from plumbstone.volumes.holding.proof import Case

FINER = 10  # steps of a level in which the first motion is looked for
SOONER = 5e-3  # of level [m]: if only what is amiss makes it move so much sooner, it may move


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """How a body first leaves its pose."""

    level: float  # of the water [m]
    manner: str  # its code: "rolls", "rises", "lifts off", "tips up left", "falls back" ...
    edge: tuple[tuple[float, float], ...]  # ends of the edge it tips about [m]; may be empty
    end: End | None = None  # of the ranges, at which it moves there
    doubtful: bool = False  # whether it stays longer where the stones at its cords all stand and
    # the middles of mass lie as drawn

    @property
    def falls(self) -> bool:
        """Whether it tips over by its own weight."""
        return self.manner.startswith("falls")


def first_move(case: Case, ends: Sequence[End], *, moving: bool) -> Move | None:
    """Find how a group first moves at any of some ends of its ranges; `moving` if it surely does.

    It may move where it stays longer if nothing is amiss and no stone hangs on its cord, or if it
    would move dry, but friction on what is too steep to be counted may keep it.
    """
    first = _lowest_move(case, (*ends, *amiss_ends(ends)), ends, known=moving)
    if first is None:
        return None
    standing = [end for end in ends if not end.hung]
    known = moving and len(standing) == len(ends)
    later = _lowest_move(case, standing, standing, known=known)
    if (
        later is None
        or later.level > first.level + SOONER
        or (first.level == 0 and case.dry().may_stay())
    ):
        return replace(first, doubtful=True)
    return replace(later, level=first.level, end=first.end)  # as where nothing is amiss


def _lowest_move(
    case: Case, tried: Sequence[End], asked: Sequence[End], *, known: bool
) -> Move | None:
    """Find the lowest level at which any end of the ranges moves, and how it does.

    Between the levels that were tried it is looked for in finer steps; the last one at which
    all stays is told, so that the warning does not come late. Where it counts wherever the
    middle of mass may lie, what stands on an edge falls without water. Whether one moves at all
    is asked of some ends alone, and not where it is `known` to.
    """
    if not known and equilibrium.all_stay(case.rigs(asked)):
        return None
    stage = case.stage
    coarse = equilibrium.first_moving(case.rigs(tried))
    if coarse is None:
        return None
    level = coarse[0]
    below = stage.levels[level - 1] if level else stage.levels[0]
    finer = stage.at_levels(np.linspace(below, stage.levels[level], FINER + 1))
    rigs = case.on(finer).rigs(tried)
    first, worst = equilibrium.first_moving(rigs) or (FINER, coarse[1])
    move = _move(finer, rigs[worst], equilibrium.judge(rigs[worst]), first)
    return replace(move, level=float(finer.levels[max(0, first - 1)]), end=tried[worst])


def drained_move(stage: Stage, soaked: Rig) -> Move | None:
    """Find the highest level at which soaked wood moves while the tank is drained."""
    verdicts = equilibrium.judge(soaked)
    moving = np.flatnonzero(~verdicts.stays)
    return _move(stage, soaked, verdicts, int(moving[-1])) if len(moving) else None


def _move(stage: Stage, rig: Rig, verdicts: Verdicts, level: int) -> Move:
    """Say how a body first moves; a slack tie cannot pull before it has."""
    motion, at = verdicts.motions[level], float(stage.levels[level])
    falls = not np.isfinite(verdicts.margins[level])
    if not falls and equilibrium.lifts_whole(rig, motion):
        if rig.lifts[level, 0] < rig.masses[0] * GRAVITY:
            return Move(at, "rolls", ())
        slack = bool((rig.tied == 0).any()) and not rig.most_pulls[:, rig.tied == 0].any()
        return Move(at, "rises" if slack else "lifts off", ())
    edge = tuple((float(x), float(y)) for x, y in equilibrium.hinge(rig, motion))
    direction = np.asarray(motion[0, 1:3]) * (-1 if falls else 1)
    return Move(at, f"{'falls' if falls else 'tips up'} {end_name(direction)}", edge)


def end_name(direction: Floats) -> str:
    """Name the end of a body that lies in a direction (2,)."""
    axis = int(np.abs(direction).argmax())
    return (("right", "left"), ("back", "front"))[axis][0 if direction[axis] > 0 else 1]
