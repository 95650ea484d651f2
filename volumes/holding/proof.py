"""Whether it is proved that a group of wood stays, at all ends of the ranges, else why not."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.buoyancy import lift_by_tub
from plumbstone.volumes.holding.ends import (
    End,
    amiss_ends,
    apart,
    denser_ends,
    ends_of,
    joined,
    middle_end,
    mixed_ends,
    soaked_end,
    with_reserve,
)
from plumbstone.volumes.holding.equilibrium import Rig, all_stay
from plumbstone.volumes.holding.free_bodies import Stage, rigs_of, with_hung
from plumbstone.volumes.holding.touching import DRAWN_THROUGH, LEANS, Resting
from plumbstone.volumes.scape.groups import Group

CARRIER_LEANS = 2.0  # `LEANS` of stones below and on it


class Doubt(StrEnum):
    """Why it is not proved that a group stays."""

    MOVES = "moves"  # at some level, at the bad end of the ranges
    SHORT = "short"  # the reserve lacks
    LEANS = "leans"  # it does not rest as drawn
    THROUGH = "through"  # it is drawn into what carries it
    STEEP = "steep"  # what it lies on is too steep to be counted on
    CARRIER = "carrier"  # what carries it, or lies on it, does not rest as drawn
    APART = "apart"  # what is tied together does not touch
    PANE = "pane"  # it comes near a pane, which is not counted on
    SOAKED = "soaked"  # full of water it moves when the tank is drained


UNJUDGED = frozenset({Doubt.THROUGH, Doubt.CARRIER, Doubt.APART})  # it has to be drawn anew


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One group of a stage, with the ends of the ranges at which it is judged."""

    stage: Stage
    number: int  # of the group among the bodies of the stage
    ends: tuple[End, ...]
    strained: tuple[End, ...]  # with the reserve on the lift
    soaked: End  # the pores full of water

    @property
    def group(self) -> Group:
        """What is tied together."""
        return self.stage.group_of(self.number)

    @property
    def wood(self) -> tuple[Body, ...]:
        """Its pieces of wood."""
        return self.stage.wood_of(self.number)

    @property
    def rest(self) -> Resting:
        """Where it comes to rest."""
        return self.stage.resting[self.number]

    @property
    def lift(self) -> Range:
        """Lift of the covered wood, by its tub test or by its forms [kg]."""
        return group_lift(self.group, self.wood, self.stage.water)

    @property
    def middle(self) -> End:
        """Middle densities; by the tub test where there is one."""
        return middle_end(self.group, self.wood, self.lift, self.stage.water)

    @property
    def mixed(self) -> tuple[End, ...]:
        """Its ends, and those at which sinkers are light and heavy, each by itself."""
        return mixed_ends(self.ends, self.group)

    def on(self, stage: Stage) -> "Case":
        """Give the same on another stage."""
        return replace(self, stage=stage)

    def as_drawn(self) -> "Case":
        """Leave the dry tank alone where it leaves its drawn pose before any water comes."""
        leaves = self.rest.lean > LEANS
        return self.dry() if leaves else self

    def dry(self) -> "Case":
        """Leave the dry tank alone."""
        return self.on(self.stage.at_levels(self.stage.levels[:1]))

    def rigs(self, ends: Sequence[End]) -> list[Rig]:
        """Put it and all that is judged with it into one rig, at some ends of the ranges."""
        return rigs_of(self.stage, ends, self.number, self.group.friction)

    def proved(
        self, ends: Sequence[End] | None = None, strained: Sequence[End] | None = None
    ) -> bool:
        """Whether it stays at every level: with its reserve, and wherever its middle may lie.

        At its own ends and soaked where no others are given.
        """
        plain = mixed_ends((*self.ends, self.soaked) if ends is None else ends, self.group)
        strained = mixed_ends(self.strained if strained is None else strained, self.group)
        aside = [e for end in plain for e in (*amiss_ends([end]), *denser_ends([end]))]
        parts = (part for part in (strained, aside) if part)  # the reserve mostly fails first
        return all(all_stay(self.rigs(part)) for part in parts)

    def stays(self) -> bool:
        """Whether there is no doubt that it stays."""
        return not self.of_pose() and self.proved()

    def may_stay(self) -> bool:
        """Whether it stays at any end where all goes well; wood that lies on it may float off."""
        stage, number = self.stage, self.number
        wood = (i for i in stage.load(number)[1:] if stage.bodies[i].group is not None)
        off = {j for i in wood for j in stage.load(i)}
        left = [i for i in stage.together(number) if i not in off]
        return any(
            all_stay([rig])
            for alone in ((), left)[: 1 + bool(off)]
            for rig in rigs_of(stage, (self.middle, *self.ends), number, None, alone)
        )

    def rests_dry(self) -> bool:
        """Whether it stays as long as there is no water."""
        return all_stay(self.dry().rigs(self.mixed))

    def doubts(self) -> tuple[Doubt, ...]:
        """List why it is not proved that it stays."""
        found = self._of_balance() + self.of_pose()
        rest = self.rest
        steep = np.tan(np.radians(rest.steepness)) > self.group.friction.low
        if found and bool((steep & rest.touching() & ~rest.soil).any()):
            found.append(Doubt.STEEP)
        if found and rest.panes():
            found.append(Doubt.PANE)
        return tuple(found)

    def of_pose(self) -> list[Doubt]:
        """List what is amiss in the drawn pose, whatever is tied on."""
        asked = (
            (Doubt.LEANS, self.rest.lean > LEANS),
            (Doubt.THROUGH, self.rest.through > DRAWN_THROUGH),
            (Doubt.CARRIER, bool(self.doubtful())),
        )
        return [doubt for doubt, applies in asked if applies]

    def doubtful(self) -> tuple[str, ...]:
        """Name bodies judged with it that do not rest as drawn, whatever the group does."""
        others = ((i, self.stage.resting[i]) for i in self.stage.together(self.number)[1:])
        return tuple(
            self.stage.bodies[i].name
            for i, rest in others
            if rest.lean > CARRIER_LEANS
            or (rest.through > DRAWN_THROUGH and rest.into != self.number)
        )

    def _of_balance(self) -> list[Doubt]:
        """List what lacks in the balance; one program answers where nothing does."""
        if self.proved():
            return []
        if not all_stay(self.rigs(self.mixed)):
            return [Doubt.MOVES]
        asked = (
            (Doubt.SHORT, self.proved(self.ends)),
            (Doubt.SOAKED, self.proved([self.soaked], [])),
        )
        return [doubt for doubt, holds in asked if not holds]


def group_lift(group: Group, wood: Sequence[Body], water: float) -> Range:
    """Lift of the covered wood of a group, by its tub test or by its forms [kg]."""
    if group.tub is None:
        return Range.total(body.mass_in_water(water).negative() for body in wood)
    return lift_by_tub((group.tub.mass, group.tub.material.dense), water)


def case_of(stage: Stage, number: int) -> Case:
    """Take a group of a stage to all ends of its ranges.

    Wood of other groups that is judged with it is light or heavy at each of them.
    """
    friction, others = stage.group_of(number).friction, stage.together(number)[1:]
    wood = [_ends_alone(stage, i) for i in others if stage.bodies[i].group is not None]
    found = _ends_alone(stage, number)
    if wood:
        found = tuple(joined(own, other) for own, *other in zip(found, *wood, strict=True))
    upper = [i for i in others if stage.resting[i].carriers()]
    laid = [b for i in upper for b in stage.bodies[i].pieces if b.entry.kind == "stone"]
    ends, strained = (
        with_hung(apart(own, laid, stage.water), stage, number, friction) for own in found[:2]
    )
    return Case(stage, number, ends, strained, soaked=found[2][0])


def _ends_alone(stage: Stage, number: int) -> tuple[tuple[End, ...], ...]:
    """Give the same of one group alone; the most lift comes first, then the least."""
    group, wood, water = stage.group_of(number), stage.wood_of(number), stage.water
    lift = group_lift(group, wood, water)
    ends = ends_of(group, wood, lift, water)
    unlucky = ends
    if group.tub is not None:  # it speaks of the real wood, so the reserve is on its middle
        middle = middle_end(group, wood, lift, water)
        unlucky = (replace(middle, stones=-1.0), replace(middle, stones=1.0))
    strained = tuple(with_reserve(end, group, lift, water) for end in unlucky)
    return ends, strained, (soaked_end(group, wood, lift, water),)
