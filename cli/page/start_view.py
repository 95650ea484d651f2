"""A guided start: tank, slope, border, wood; every answer is drawn as it is given."""

import asyncio
import tomllib
from collections.abc import Callable
from functools import partial
from typing import Any

from nicegui import ui

from plumbstone.cli.page import widgets
from plumbstone.cli.page.board import Board, drawing_of
from plumbstone.cli.page.desk import Seen, preview_of
from plumbstone.cli.page.folder import Folder
from plumbstone.cli.page.measures import Measures, number
from plumbstone.cli.page.starting import SIDES, Start, first_layout
from plumbstone.cli.page.tank_forms import made_of
from plumbstone.cli.wording import page as words
from plumbstone.cli.wording import page_labels as labels
from plumbstone.cli.wording.units import INCH, Units, show_length
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.scape.quantities import in_us_units, parse_quantity
from plumbstone.volumes.scape.scape import scape_from

NEW = "new.toml"  # a file that is not there yet
NAMES = ("Length", "Depth", "Height")
BAGS = {Units.METRIC: "9 L", Units.US: "2.5 gal"}  # common practice, no source
PANES = {Units.METRIC: 0.006, Units.US: INCH / 4}  # [m], as above
STEPS = ("Tank", "Slope", "Border", "Wood")


class StartView:
    """One tab that starts a tank."""

    def __init__(self, folder: Folder, units: Units) -> None:
        self._folder, self._units, self._measures = folder, units, Measures(units)
        self._start, self._step = Start(*self._offered(), PANES[units]), 0
        self._layout: Layout | None = None
        self._wanted = self._looking = False
        with widgets.page("A new tank", "/tanks", narrow=False) as self._wrong:
            self._list = widgets.element("ol", "steps")
            with widgets.element("div", "tank"):
                with widgets.element("div"):
                    self._place = widgets.element("section", aria_label="Questions")
                    with widgets.element("div", "acts"):
                        self._back = widgets.button("Back", lambda: self._go(-1))
                        self._next = widgets.button("Next", self._forward, "main")
                    self._figures = widgets.Figures(
                        widgets.element("dl", "figures", aria_live="polite")
                    )
                with widgets.element("div", "drawn early") as self._drawn:
                    self._board = Board(self._measures.step)
        self._ask()
        ui.timer(0.01, self._changed, once=True)

    def _ask(self) -> None:
        """Ask the questions of this step."""
        self._list.clear()
        with self._list:
            for i, name in enumerate(STEPS):
                here = {"aria_current": "step"} if i == self._step else {}
                widgets.element("li", "", name, **here)
        self._back.props["hidden"] = self._step == 0
        flat = self._step < STEPS.index("Border")  # from above there is nothing to see yet
        self._drawn.classes(add="early" if flat else "", remove="" if flat else "early")
        widgets.say(self._next, "Next" if self._step < len(STEPS) - 1 else "Lay it out")
        self._place.clear()
        with self._place:
            widgets.element("p", "soft", words.START_HINTS[self._step])
            (self._tank, self._slope, self._border, self._wood)[self._step]()

    def _offered(self) -> tuple[tuple[float, ...], tuple[tuple[str, None], ...]]:
        """Give sides and a bag in whole units."""
        return tuple(map(self._measures.rounded, SIDES)), ((BAGS[self._units], None),)

    def _tank(self) -> None:
        start = self._start
        self._field("Name", start.name, _named, "name")
        with widgets.element("div", "sides"):
            self._sides = [
                self._field("", "", partial(self._side, axis), "sides")
                for axis in range(len(NAMES))
            ]
        self._show_sides()
        glass = self._measures.shown_pane(start.glass)
        self._pane = self._field("Glass, thick", glass, self._glass, "glass")

    def _slope(self) -> None:
        start, high = self._start, self._start.sides[2]
        self._choice("Soil", made_of("substrate"), "soil")
        self._slider("Soil at the front", "front", 0.5 * high)
        self._slider("Soil at the back", "back", 0.8 * high)
        with widgets.element("div", "pair"):
            for i, (holds, price) in enumerate((*start.bags, ("", None))[:2]):
                bag = f"Bag {i + 1}"
                self._field(f"{bag} holds", holds, partial(self._bag, i, 0), "bags")
                shown = "" if price is None else f"{price:g}"
                self._field(f"{bag} costs", shown, partial(self._bag, i, 1), "bags")

    def _border(self) -> None:
        self._check("A row of stones before the soil", "row")
        self._choice("Rock", made_of("stone"), "rock")
        self._slider("The row stands from the front", "from_front", self._start.sides[1])
        self._slider("Its stones are high", "high", self._start.sides[2] / 2)

    def _wood(self) -> None:
        self._check("A piece of wood", "wood")
        self._choice("Wood", made_of("wood"), "kind")
        self._slider("It is long", "long", self._start.sides[0])
        self._slider("Around its thick end", "girth", self._start.sides[0])
        unit = self._measures.unit("mass")
        self._field(
            f"Dry, on a scale ({unit}), if you know it", self._start.mass, self._mass, "mass"
        )

    def _field(self, label: str, now: str, read: Callable[[str], Any], key: str) -> widgets.Field:
        async def typed() -> None:
            try:
                value = read(field.value)
            except PlumbstoneError as error:
                widgets.warn(self._wrong, error.told(labels.as_field))
            else:
                await self._set(key, value)

        field = widgets.Field(label, now, typed, when="change")
        return field

    def _choice(self, label: str, options: list[tuple[str, str]], key: str) -> None:
        now = getattr(self._start, key)
        choice = widgets.Choice(label, options, now, lambda: self._set(key, choice.value))

    def _slider(self, label: str, key: str, most: float) -> None:
        async def moved(value: float) -> None:
            self._start.pulled[key] = value
            await self._changed()

        def told(value: float) -> str:
            return f"{label}: {show_length(value, self._units)}"

        now = self._measures.snapped(self._start.length(key))
        widgets.Slider(told, now, most, self._measures.step, moved, moved)

    def _check(self, label: str, key: str) -> None:
        widgets.tick(label, partial(self._set, key), on=getattr(self._start, key))

    async def _set(self, key: str, value: Any) -> None:
        """Take an answer, and draw what becomes of it."""
        setattr(self._start, key, value)
        await self._changed()

    def _side(self, axis: int, text: str) -> tuple[float, ...]:
        typed = parse_quantity(self._measures.typed(text), "length")
        start = self._start
        start.sides = (*start.sides[:axis], typed, *start.sides[axis + 1 :])
        if axis == 0 and not text.strip()[-1:].isdigit():
            self._count_in(Units.US if in_us_units(text) else Units.METRIC)
        return start.sides

    def _count_in(self, units: Units) -> None:
        """Go on in the units of the first side; what was only offered is offered in them."""
        sides, bags = self._offered()
        self._units, self._measures = units, Measures(units)
        new, bag = self._offered()
        kept = zip(self._start.sides, sides, new, strict=True)
        self._start.sides = tuple(other if now == old else now for now, old, other in kept)
        self._start.bags = bag if self._start.bags == bags else self._start.bags
        if self._start.glass in PANES.values():
            self._start.glass = PANES[units]
        self._pane.show(self._measures.shown_pane(self._start.glass))
        self._show_sides()

    def _show_sides(self) -> None:
        for field, name, side in zip(self._sides, NAMES, self._start.sides, strict=True):
            widgets.say(field.label, f"{name} ({self._measures.unit()})")
            field.show(self._measures.shown(side))

    def _glass(self, text: str) -> float | None:
        return parse_quantity(self._measures.pane(text), "length") if text.strip() else None

    def _mass(self, text: str) -> str:
        return self._measures.typed(text, "mass") if text.strip() else ""

    def _bag(self, i: int, part: int, text: str) -> tuple[tuple[str, float | None], ...]:
        bags = [*self._start.bags, ("", None)][: max(2, i + 1)]
        holds, price = bags[i]
        bags[i] = (self._measures.with_unit(text, "volume"), price) if part == 0 else (
            holds, number(text)
        )  # fmt: skip
        return tuple(bag for bag in bags if bag[0])

    async def _changed(self) -> None:
        """Draw the newest answers."""
        self._wanted = True
        if self._looking:
            return
        self._looking = True
        try:
            while self._wanted:
                self._wanted = False
                try:
                    seen = await asyncio.to_thread(self._look)
                except PlumbstoneError as error:
                    widgets.warn(
                        self._wrong, labels.told_beside(error, self._folder.root / NEW, self._units)
                    )
                    continue
                widgets.warn(self._wrong, "")
                assert self._layout is not None
                self._board.show(drawing_of(seen, None, self._layout, self._units))
                self._figures.show(list(words.figures(seen.report, self._units)))
        finally:
            self._looking = False

    def _look(self) -> Seen:
        text = first_layout(self._start, self._measures, self._step + 1)
        scape = scape_from(tomllib.loads(text), self._folder.root / NEW)
        layout = self._layout.with_scape(scape) if self._layout else Layout(scape)
        seen = preview_of(layout)
        self._layout = layout
        return seen

    def _go(self, by: int) -> None:
        self._step += by
        self._ask()
        widgets.later(self._changed())

    async def _forward(self) -> None:
        if self._step < len(STEPS) - 1:
            self._go(1)
        else:
            await widgets.telling(self._wrong, self._lay_out)()

    async def _lay_out(self) -> None:
        """Write the tank and open it."""
        text = first_layout(self._start, self._measures)
        await asyncio.to_thread(self._look)  # what cannot be laid out is told, not written
        ui.navigate.to(f"/tank/{self._folder.new_tank(self._start.name, text)}")


def _named(text: str) -> str:
    return text.strip()[:60] or "My tank"
