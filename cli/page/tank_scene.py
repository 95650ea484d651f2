"""The tank in three dimensions, drawn when it is opened, with its water up to a level."""

import itertools
import operator
from collections.abc import Iterator
from typing import Any

from plumbstone.cli.page.desk import Desk
from plumbstone.cli.page.turning import turning_view
from plumbstone.cli.page.widgets import element
from plumbstone.cli.pictures.colours import WATER
from plumbstone.cli.wording import page_labels as labels
from plumbstone.cli.wording.page import IN_3D

THIN = 1e-3  # [m], water of an empty tank, so that there is something to scale
CLEAR = 0.16
EDGE = "#1c2b33"


def _edges(size: tuple[float, float, float]) -> Iterator[tuple[list[float], list[float]]]:
    """Give the twelve edges of a box: pairs of corners that differ along one axis."""
    corners = itertools.product(*((0.0, side) for side in size))
    for start, end in itertools.combinations(map(list, corners), 2):
        if sum(map(operator.ne, start, end)) == 1:
            yield start, end


class TankScene:
    """A place that unfolds into a turning view."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._open, self._drawn = False, -1
        self._water: Any = None
        with element("details") as place:
            element("summary", "", labels.TURN_IN_3D)
            self._place = element("div")
        place.on("toggle", self._toggled, js_handler="(e) => emit(e.target.open)")

    def refresh(self) -> None:
        """Draw the newest state, once all of it is computed."""
        seen = self._desk.seen
        new = seen is not None and seen.judged and self._drawn != self._desk.version
        if not self._open or seen is None or not new:
            return
        self._drawn = self._desk.version
        tank = seen.plan.scape.tank
        self._place.clear()
        with self._place:
            address = f"/scene/{self._desk.name}?{self._drawn}"
            size = (tank.length, tank.depth, tank.room)
            scene = turning_view(address, size, IN_3D, flat=True)
            with scene:
                for start, end in _edges(size):
                    scene.line(start, end).material(EDGE)
                self._water = scene.box(tank.length, tank.depth, 1.0).material(WATER, CLEAR)
        self.fill(tank.water_line or 0.0)

    def fill(self, level: float) -> None:
        """Let the water stand at a level [m]."""
        seen = self._desk.seen
        if self._water is None or seen is None:
            return
        tank, level = seen.plan.scape.tank, max(level, THIN)
        self._water.scale(1.0, 1.0, level).move(tank.length / 2, tank.depth / 2, level / 2)

    def _toggled(self, event: Any) -> None:
        self._open = bool(event.args)
        if self._open:
            self.refresh()
        else:
            self._drawn, self._water = -1, None
            self._place.clear()
