"""The page for the desk: one tank, its pieces moved by hand."""

import asyncio
import tomllib
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from nicegui import ui
from nicegui.element import Element

from plumbstone.cli.page.board import drawing_of
from plumbstone.cli.page.desk import ChangedOutsideError, Desk, Edit, Seen
from plumbstone.cli.page.folder import Kept
from plumbstone.cli.page.told import CLASSES, figures, lines, verdict
from plumbstone.cli.page.widgets import (
    Choice,
    Field,
    button,
    element,
    later,
    page,
    say,
    set_value,
    telling,
    warn,
)
from plumbstone.cli.wording.units import INCH, Units, place_words
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.findings import Severity
from plumbstone.volumes.scape.materials import load_materials
from plumbstone.volumes.scape.quantities import parse_quantity
from plumbstone.volumes.scape.scape import PieceEntry
from plumbstone.volumes.scape.writing import (
    free_name,
    pieces_named,
    with_added,
    with_copy,
    with_keys,
    without_piece,
)

STEP = {Units.METRIC: 0.005, Units.US: INCH / 4}  # [m]
TURN = 5.0  # of one press of a key [degrees]
LOOK = 1.0  # between two looks at the file [s]
PANES = ("front", "back", "left", "right", "front_left", "front_right", "back_left", "back_right")


class Board(ui.element, component="board.js"):
    """The drawing of a tank, whose pieces can be moved."""


class TankView:
    """One tab that shows a tank."""

    def __init__(self, desk: Desk, units: Units) -> None:
        self.desk, self.units = desk, units
        self.selected = ""
        self.marked: tuple[str, ...] = ()
        self.row: list[str] | None = None  # border stones as they are touched
        self.tying = ""  # stone that waits for its wood
        self.slider: Element | None = None
        self._shown = -1
        self._wanted: tuple[str, float, float] | None = None
        self._looking = False
        self._retry: Edit | None = None
        self._form: tuple[Any, ...] = ()

    def build(self) -> None:
        """Lay the page out; the tank itself follows."""
        with page(self.desk.name.removesuffix(".toml"), "/tanks", narrow=False) as self.wrong:
            self.ask = element("div", "acts", hidden=True)
            with self.ask:
                button("Take the file as it is", self._take_theirs)
                button("Write my change over it", self._write_mine)
            self.verdict = element("h2", "verdict", aria_live="polite")
            with element("div", "tank"):
                with element("div"):
                    self._tools()
                    self.state = element("p", "state", role="status")
                    self.board_place = element("div")
                    self.piece_place = element("section", aria_label="Chosen piece")
                    self.water = element("div")
                    self._three()
                    self.more = element("div")
                with element("div"):
                    self.figures = element("dl", "figures", aria_live="polite")
                    element("h2", "", "Findings")
                    self.told = element("ul", "told")
            self.strip = element("div", "strip", aria_hidden="true")
        self.board: Board | None = None
        say(self.state, "Laying out the tank ...")
        ui.timer(0.01, self._open, once=True)
        ui.keyboard(on_key=self._undo_key, ignore=["input", "select", "textarea"])

    async def _open(self) -> None:
        """Lay the tank out and show it."""
        try:
            await self.desk.look()
        except PlumbstoneError as error:
            self.desk.fault = str(error)
        with self.water:
            self._water()
        self._more()
        self._show()
        later(self._refine())
        ui.timer(LOOK, self._look)

    def _tools(self) -> None:
        with element("div", "acts"):
            self.undo = button("Undo", self._undo, "small")
            self.redo = button("Redo", self._redo, "small")
            self.rowing = button("Border: touch stones in a row", self._row, "small")

    def _water(self) -> None:
        tank = self.desk.layout.scape.tank if self.desk.layout else None
        if tank is None or tank.height is None:
            return
        line = (tank.water_line or 0.0) * 1e3
        with element("label", "field"):
            self.level_words = element("span", "", self._line_words(line / 1e3))
            slider = element(
                "input", "", type="range", min=0, max=round(tank.height * 1e3),
                step=STEP[self.units] * 1e3, name="water",
            )  # fmt: skip
            slider.props["^value"] = line
            self.slider = slider
        slider.on("input", self._filling, js_handler="(e) => emit(+e.target.value)", throttle=0.05)
        slider.on("change", self._filled, js_handler="(e) => emit(+e.target.value)")

    def _three(self) -> None:
        """Make room for a turning view, drawn when it is opened."""
        with element("details") as self.three:
            element("summary", "", "Turn it in 3D")
            self.scene_place = element("div")
        self.three.on("toggle", self._scene, js_handler="(e) => emit(e.target.open)")

    def _scene(self, event: Any) -> None:
        self.scene_place.clear()
        if not event.args or self.desk.seen is None or self.desk.layout is None:
            return
        tank = self.desk.layout.scape.tank
        with self.scene_place, ui.scene(width=340, height=320, grid=False, fps=20) as scene:
            scene.gltf(f"/scene/{self.desk.name}?{self.desk.version}").rotate(1.5708, 0, 0)
            x, y = tank.length / 2, tank.depth / 2
            away = 0.9 * max(tank.length, 2 * (tank.height or 0.3))
            scene.move_camera(x, -0.7 * away, 0.6 * away, x, y, 0.1, duration=0)
        scene.props["aria-label"] = "The tank in three dimensions"

    def _show(self) -> None:
        """Show the newest state."""
        desk, seen = self.desk, self.desk.seen
        self._shown = desk.shown
        warn(self.wrong, desk.fault)
        for act, there in ((self.undo, desk.can_undo), (self.redo, desk.can_redo)):
            act.props["disabled"] = not there
            act.update()
        if seen is None or desk.layout is None:
            return
        self._draw(seen)
        self._tell(seen)
        self._piece()
        self._level_of(seen)

    def _level_of(self, seen: Seen) -> None:
        """Set the slider to the water line."""
        line = seen.plan.scape.tank.water_line
        if self.slider is not None and line is not None:
            say(self.level_words, self._line_words(line))
            set_value(self.slider, f"{line * 1e3:.1f}")

    def _draw(self, seen: Seen) -> None:
        assert self.desk.layout is not None
        drawing = drawing_of(seen, self.desk.layout, self.units)
        if self.board is None:
            with self.board_place:
                self.board = Board()
            self.board.props["step"] = STEP[self.units] * 1e3
            self.board.props["above"] = "From above, the back on top"
            self.board.props["front"] = "From the front"
            self.board.on("pick", self._picked)
            self.board.on("moving", self._moving)
            self.board.on("moved", self._moved)
            self.board.on("key", self._key)
            self.board.on("cancelled", lambda: self._show())
        self.board.props["drawing"] = drawing
        self._mark()

    def _mark(self) -> None:
        """Show what is chosen."""
        if self.board is None:
            return
        places = {e.name: e.at for e in self._entries()}
        depth = self.desk.layout.scape.tank.depth if self.desk.layout else 0.0
        touched = [places[name] for name in self.row or () if name in places]
        row = [f"{x * 1e3:.0f},{(depth - y) * 1e3:.0f}" for x, y in touched]

        self.board.props.update(
            {"selected": self.selected, "marked": [*self.marked, *(self.row or ())], "row": row}
        )
        self.board.update()

    def _tell(self, seen: Seen) -> None:
        """Tell verdict, figures and findings; a preview keeps what was found before, as old."""
        self._figures(seen)
        if not seen.exact:
            say(self.verdict, "Being checked ...")
            say(self.state, "Computing ...")
            self.told.clear()
            return
        say(self.state, f"Saved in {self.desk.name}.")
        told = lines(seen, self.units)
        stops = any(line.severity is Severity.STOP for line in told)
        self.verdict.classes(add="stop" if stops else "", remove="" if stops else "stop")
        say(self.verdict, verdict(seen, self.units))
        self.told.clear()
        with self.told:
            for line in told:
                with element("li"):
                    act = self._focuser(line.about)
                    element("button", CLASSES[line.severity], line.text, type="button").on(
                        "click", act
                    )

    def _figures(self, seen: Seen) -> None:
        told = list(figures(seen, self.units))
        self.figures.clear()
        with self.figures:
            for name, text in told:
                with element("div"):
                    element("dt", "", name)
                    element("dd", "", text)
        self.strip.clear()
        with self.strip:  # the first of them again, in sight of a small screen
            for name, text in told[:3:2]:
                with element("span"):
                    element("small", "", f"{name} ")
                    element("span", "", text.split(" (")[0])

    def _focuser(self, about: tuple[str, ...]) -> Callable[[], None]:
        def focus() -> None:
            names = [entry.name for entry in self._entries() if entry.name in about]
            self.marked = tuple(names)
            if names:
                self.selected = names[0]
                self._piece()
            self._mark()
            if names and self.board is not None:
                self.board.run_method("focusPiece", names[0])

        return focus

    def _entries(self) -> tuple[PieceEntry, ...]:
        return self.desk.layout.scape.pieces if self.desk.layout else ()

    async def _picked(self, event: Any) -> None:
        name, touched = str(event.args["name"]), bool(event.args["touched"])
        if touched and self.row is not None:
            if name in self.row:
                self.row.remove(name)
            elif name in [e.name for e in self._entries() if e.kind == "stone"]:
                self.row.append(name)
        elif touched and self.tying and name != self.tying:
            await self._tie(name)
            return
        self.selected, self.marked = name, ()
        self._mark()
        self._piece()

    async def _moving(self, event: Any) -> None:
        """Look at a piece under the hand; only the newest place counts."""
        found = event.args
        self._wanted = (str(found["name"]), float(found["x"]) / 1e3, float(found["y"]) / 1e3)
        if self._looking:
            return
        self._looking = True
        try:
            while self._wanted is not None:
                (name, x, y), self._wanted = self._wanted, None
                try:
                    seen = await self.desk.moved(name, (x, y))
                except PlumbstoneError as error:
                    say(self.state, str(error))
                    continue
                if self._wanted is not None or self._looking:
                    self._figures(seen)
                    say(self.verdict, "Being checked ...")
                    say(
                        self.state,
                        f"{self._place(x)} from the left, {self._place(y)} from the front",
                    )
        finally:
            self._looking = False

    async def _moved(self, event: Any) -> None:
        name = str(event.args["name"])
        at = [self._written(float(event.args[axis]) / 1e3) for axis in ("x", "y")]
        self._wanted = None
        await self._edit(lambda text: with_keys(text, "piece", name, {"at": at}))

    async def _edit(self, edit: Edit) -> None:
        """Change the file and show it; where that cannot be, say why and show it as it is."""
        try:
            await self.desk.change(edit)
            warn(self.wrong, "")
        except ChangedOutsideError as error:
            self._retry = edit
            warn(self.wrong, str(error))
            self._asking(True)
        except PlumbstoneError as error:
            self._undrawn()
            self._show()
            warn(self.wrong, str(error))
            return
        self._show()
        later(self._refine())

    def _undrawn(self) -> None:
        if self.board is not None:
            self.board.run_method("refuse")

    async def _refine(self) -> None:
        """Compute exactly, then show it to this tab; others see it at their next look."""
        await self.desk.refine()
        if self._shown != self.desk.shown:
            self._show()

    async def _look(self) -> None:
        """Notice what an editor or another tab changed."""
        try:
            if await self.desk.look():
                say(self.state, "The file was changed outside; this is how it is now.")
        except PlumbstoneError as error:
            warn(self.wrong, str(error))
            return
        if self._shown != self.desk.shown:
            self._show()
            later(self._refine())

    def _asking(self, on: bool) -> None:
        self.ask.props["hidden"] = not on
        self.ask.update()

    async def _take_theirs(self) -> None:
        self._asking(False)
        self._undrawn()
        await self._look()
        self._show()

    async def _write_mine(self) -> None:
        self._asking(False)
        edit = self._retry
        if edit is not None:
            self._retry = None

            async def over() -> None:
                await self.desk.change(edit, over=True)

            await telling(lambda: self.wrong)(over)()
            self._show()
            later(self._refine())

    async def _undo(self) -> None:
        await self._step(self.desk.undo)

    async def _redo(self) -> None:
        await self._step(self.desk.redo)

    async def _step(self, act: Callable[[], Any]) -> None:
        await telling(lambda: self.wrong)(act)()
        self._show()
        later(self._refine())

    async def _undo_key(self, event: Any) -> None:
        if event.action.keydown and (event.modifiers.ctrl or event.modifiers.meta):
            key = event.key.name.lower()
            if key == "z" and not event.modifiers.shift:
                await self._undo()
            elif key in ("y", "z"):
                await self._redo()

    async def _key(self, event: Any) -> None:
        name, key = str(event.args["name"]), str(event.args["key"])
        entry = next((e for e in self._entries() if e.name == name), None)
        if entry is None:
            return
        if key in ("r", "R"):
            turn = entry.turn + (TURN if key == "r" else -TURN)
            await self._set(name, turn=_degrees(turn))
        elif key in ("t", "T"):
            await self._set(name, tilt=_degrees(entry.tilt + (TURN if key == "t" else -TURN)))
        elif key == "d":
            await self._copy(name)
        elif key == "m":
            await self._mirror(name)
        elif key == "Delete":
            await self._edit(lambda text: without_piece(text, name))
        elif key in ("PageUp", "PageDown") and entry.rests == "bed":
            way = 1 if key == "PageDown" else -1
            pressed = max(0.0, entry.pressed + way * STEP[self.units])
            await self._set(name, pressed=self._written(pressed))

    async def _set(self, name: str, **keys: Any) -> None:
        await self._edit(lambda text: with_keys(text, "piece", name, keys))

    async def _copy(self, name: str) -> None:
        """Copy a piece to the nearest free place beside it."""
        assert self.desk.layout is not None
        entry = next(e for e in self._entries() if e.name == name)
        new = free_name(name, pieces_named(self.desk.text))
        errors: list[PlumbstoneError] = []
        for x, y in self._places_beside(entry):
            keys = {"name": new, "at": [self._written(x), self._written(y)], "tied_to": None}
            try:
                await self.desk.change(partial(_copied, name=name, keys=keys))
            except ChangedOutsideError:
                raise
            except PlumbstoneError as error:
                errors.append(error)
                continue
            self.selected = new
            self._show()
            later(self._refine())
            return
        warn(self.wrong, str(errors[0]) if errors else "There is no room beside it.")

    def _places_beside(self, entry: PieceEntry) -> list[tuple[float, float]]:
        """Give places around a piece, the nearest first [m]."""
        assert self.desk.seen is not None
        body = next(b for b in self.desk.seen.plan.bodies if b.entry.name == entry.name)
        tank = self.desk.seen.plan.scape.tank
        wide, deep = (float(v) for v in body.piece.size[:2])
        step = STEP[self.units]
        found = []
        for ring in (1, 2, 3):
            for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1)):
                x = _snapped(entry.at[0] + dx * ring * (wide + step), step)
                y = _snapped(entry.at[1] + dy * ring * (deep + step), step)
                if (
                    wide / 2 <= x <= tank.length - wide / 2
                    and deep / 2 <= y <= tank.depth - deep / 2
                ):
                    found.append((x, y))
        return found

    async def _mirror(self, name: str) -> None:
        """Set a piece on the other side of the middle, turned the other way."""
        assert self.desk.layout is not None
        entry = next(e for e in self._entries() if e.name == name)
        x = self.desk.layout.scape.tank.length - entry.at[0]
        at = [self._written(x), self._written(entry.at[1])]
        keys: dict[str, Any] = {"at": at, "turn": _degrees(-entry.turn)}
        if entry.tilt:
            keys["lean"] = _degrees(180 - entry.lean)
        await self._set(name, **keys)

    def _piece(self) -> None:
        """Show the figures of the chosen piece, to be typed."""
        entry = next((e for e in self._entries() if e.name == self.selected), None)
        if self._form == (entry,):
            return
        self._form = (entry,)
        self.piece_place.clear()
        if entry is None:
            return
        with self.piece_place:
            element("h2", "", entry.name)
            with element("div", "pair"):
                self._typed("From left", entry, "at", 0)
                self._typed("From front", entry, "at", 1)
                self._typed("Turn °", entry, "turn")
                self._typed("Tilt °", entry, "tilt")
                if entry.rests == "bed":
                    self._typed("Pressed in", entry, "pressed")
            with element("div", "acts"):
                button("Copy", lambda: self._copy(entry.name), "small")
                button("Mirror", lambda: self._mirror(entry.name), "small")
                button("Take out", self._remover(entry.name), "small")
                if entry.kind == "stone":
                    button("Tie to wood", lambda: self._tying(entry.name), "small")
                on = "floor" if entry.rests == "bed" else "bed"
                words = "Stand on the glass" if on == "floor" else "Set on the bed"
                button(words, lambda: self._set(entry.name, rests=on), "small")

    def _remover(self, name: str) -> Callable[[], Any]:
        return lambda: self._edit(lambda text: without_piece(text, name))

    def _typed(self, words: str, entry: PieceEntry, key: str, axis: int | None = None) -> None:
        """Make a field for one key of the chosen piece."""
        value: Any = getattr(entry, key)
        length = key in ("at", "pressed")
        if axis is not None:
            value = value[axis]
        shown = self._written(value) if length else f"{value:g}"

        async def typed() -> None:
            await telling(lambda: self.wrong)(change)()

        async def change() -> None:
            text = field.value.strip().replace(",", ".")
            if length:
                text = self._with_unit(text)
                parse_quantity(text, "length")
                new: Any = text
                if axis is not None:
                    new = [self._written(v) for v in entry.at]
                    new[axis] = text
            else:
                new = _degrees(_angle(text))
            await self._edit(lambda old: with_keys(old, "piece", entry.name, {key: new}))

        field = Field(words, shown, typed, when="change", inputmode="decimal")

    def _tying(self, name: str) -> None:
        self.tying = name
        say(self.state, f"Now touch the wood that {name} is tied to.")

    async def _tie(self, wood: str) -> None:
        """Tie the waiting stone to a piece of wood, strapped where it stands."""
        stone, self.tying = self.tying, ""
        entries = {e.name: e for e in self._entries()}
        if stone not in entries or wood not in entries or entries[wood].kind != "wood":
            say(self.state, "That is no wood; nothing was tied.")
            return
        ties = [*entries[stone].tied_to, wood]
        await self._set(stone, tied_to=ties)

    async def _row(self) -> None:
        """Begin or end touching border stones."""
        if self.row is None:
            self.row = []
            say(self.rowing, "Done: this is the row")
            say(self.state, "Touch the border stones from left to right.")
        else:
            row, self.row = self.row, None
            say(self.rowing, "Border: touch stones in a row")
            if row:
                await self._edit(self._border_of(row))
        self._mark()

    def _border_of(self, row: list[str]) -> Edit:
        """Draw the border through stones, from the left pane to the right one."""
        assert self.desk.layout is not None
        length = self.desk.layout.scape.tank.length
        places = sorted(e.at for e in self._entries() if e.name in row)
        line = [(0.0, places[0][1]), *places, (length, places[-1][1])]
        points = [[self._written(x), self._written(y)] for x, y in line]
        return lambda text: with_keys(text, "border", None, {"line": points, "stones": row})

    def _more(self) -> None:
        """Fields for soil and new pieces."""
        if self.desk.layout is None:
            return
        with self.more:
            with element("details"):
                element("summary", "", "Soil heights at the panes")
                self._soil()
            with element("details"):
                element("summary", "", "Add a stone or wood")
                self._new_piece()
            kept = self.desk.folder.kept()
            if kept:
                with element("details"):
                    element("summary", "", "Add from the stock")
                    with element("ul", "told"):
                        for one in kept:
                            with element("li"):
                                words = f"{one.name}, {one.material}, {one.kilograms[1]:.1f} kg"
                                element("button", "", words, type="button").on(
                                    "click", self._adder(one)
                                )
            with element("details"):
                element("summary", "", "Build sheet, drawings, versions")
                button("Write build sheet and drawings", self._write_results, "small")
                self.sheet = element("p", "", role="status")
                version = Field("Name of this version", "Second try")
                keep = partial(self._keep_version, version)
                button("Keep it as a version", telling(lambda: self.wrong)(keep), "small")
            with element("details"):
                element("summary", "", "Keys")
                for words in (
                    "Arrows move the chosen piece one step, with Shift ten.",
                    "R turns it, T tilts it, with Shift the other way.",
                    "D copies it, M mirrors it, Delete takes it out.",
                    "Page Down presses it into the bed, Page Up lifts it.",
                    "Ctrl+Z undoes, Ctrl+Y does it again.",
                ):
                    element("p", "soft", words)

    async def _write_results(self) -> None:
        """Write all results beside the scape file, and link to the sheet."""
        await telling(lambda: self.wrong)(self._results)()

    async def _results(self) -> None:
        seen, name = self.desk.seen, self.desk.name
        if seen is None or not seen.exact:
            raise PlumbstoneError("It is still being computed; press again when it is done.")
        from plumbstone.cli.results import write_results

        say(self.sheet, "Writing ...")
        folder = self.desk.folder.results_of(name)
        await asyncio.to_thread(write_results, seen.plan, seen.report, folder, self.units)
        say(self.sheet, f"Written into {folder.name}. ")
        with self.sheet:
            element("a", "", "Open the build sheet", href=f"/sheet/{name}", target="_blank")

    async def _keep_version(self, version: Field) -> None:
        """Write the tank as it is under a name of its own."""
        name = self.desk.folder.keep_version(self.desk.name, version.value, self.desk.text)
        say(self.sheet, f"Kept as {name}; it is in the list of tanks.")

    def _soil(self) -> None:
        for layer in tomllib.loads(self.desk.text).get("layer", []):
            name = layer.get("name")
            if not isinstance(name, str):
                continue
            for key in ("height", "depth"):
                levels = layer.get(key)
                if isinstance(levels, str):
                    self._level(name, key, None, levels)
                elif isinstance(levels, dict):
                    with element("div", "pair"):
                        for pane in PANES:
                            if isinstance(levels.get(pane), str):
                                self._level(name, key, pane, levels[pane])

    def _level(self, layer: str, key: str, pane: str | None, now: str) -> None:
        async def typed() -> None:
            await telling(lambda: self.wrong)(change)()

        async def change() -> None:
            level = self._with_unit(field.value.strip().replace(",", "."))
            parse_quantity(level, "length")

            def edit(text: str) -> str:
                rows: list[Mapping[str, Any]] = tomllib.loads(text).get("layer", [])
                levels = next(row[key] for row in rows if row.get("name") == layer)
                new = level if pane is None else {**levels, pane: level}
                return with_keys(text, "layer", layer, {key: new})

            await self._edit(edit)

        where = "" if pane is None else f", {pane.replace('_', ' ')}"
        field = Field(f"{layer}{where}", now, typed, when="change")

    def _new_piece(self) -> None:
        name = Field("Name of it", "Stone", None)
        kinds = [(m.key, m.name) for m in load_materials().values() if m.kind in ("stone", "wood")]
        material = Choice("Made of", kinds, "granite")
        with element("div", "sides"):
            sides = [
                Field(words, "", None, inputmode="decimal") for words in ("Long", "Wide", "High")
            ]

        async def add() -> None:
            size = [self._with_unit(side.value.strip().replace(",", ".")) for side in sides]
            for side in size:
                parse_quantity(side, "length")
            kind = load_materials()[material.value].kind
            await self._add(
                {"name": name.value.strip() or "Stone", "kind": kind, "material": material.value,
                 "size": size}
            )  # fmt: skip

        button("Set it into the tank", telling(lambda: self.wrong)(add), "main")

    def _adder(self, kept: Kept) -> Callable[[], Any]:
        async def add() -> None:
            keys: dict[str, Any] = {
                "name": kept.name, "kind": kept.kind, "material": kept.material,
            }  # fmt: skip
            if kept.scan:
                keys |= {"scan": kept.scan, "unit": "m"}
            else:
                keys["size"] = [self._written(side) for side in kept.size]
            if kept.mass:
                keys["mass"] = kept.mass
            if kept.price is not None:
                keys["price"] = round(kept.price, 4)
            await self._add(keys)

        return telling(lambda: self.wrong)(add)

    async def _add(self, keys: dict[str, Any]) -> None:
        """Set a new piece at the first free place, the middle first."""
        assert self.desk.layout is not None
        tank = self.desk.layout.scape.tank
        name = free_name(keys["name"], pieces_named(self.desk.text))
        errors: list[PlumbstoneError] = []
        for share_x, share_y in _spread():
            x, y = (
                _snapped(share * side, STEP[self.units])
                for share, side in ((share_x, tank.length), (share_y, tank.depth))
            )
            row = {**keys, "name": name, "at": [self._written(x), self._written(y)]}
            try:
                await self.desk.change(partial(_added, row=row))
            except ChangedOutsideError:
                raise
            except PlumbstoneError as error:
                errors.append(error)
                continue
            self.selected = name
            self._show()
            later(self._refine())
            return
        raise errors[0]

    async def _filling(self, event: Any) -> None:
        level = float(event.args) / 1e3
        say(self.level_words, self._line_words(level))
        if self.board is not None:
            self.board.props["fill"] = level * 1e3
            self.board.update()
        if not self._looking:
            self._looking = True
            try:
                self._figures(await self.desk.filled(level))
            except PlumbstoneError as error:
                say(self.state, str(error))
            finally:
                self._looking = False

    async def _filled(self, event: Any) -> None:
        line = self._written(float(event.args) / 1e3)
        if self.board is not None:
            self.board.props["fill"] = None
        await self._edit(lambda text: with_keys(text, "tank", None, {"water_line": line}))

    def _line_words(self, level: float) -> str:
        return f"Water line: {self._place(level)} above the glass"

    def _place(self, metres: float) -> str:
        return place_words(metres, self.units)

    def _written(self, metres: float) -> str:
        """Write a length as it stands in a scape file, to a hundredth of a millimetre."""
        if self.units is Units.US:
            return f"{round(metres / INCH, 4):g} in"
        return f"{round(metres * 100, 3):g} cm"

    def _with_unit(self, text: str) -> str:
        unit = "in" if self.units is Units.US else "cm"
        return f"{text} {unit}" if text[-1:].isdigit() or text[-1:] == "." else text


def _copied(text: str, *, name: str, keys: Mapping[str, Any]) -> str:
    return with_copy(text, "piece", name, keys)


def _added(text: str, *, row: Mapping[str, Any]) -> str:
    return with_added(text, "piece", row)


def _snapped(value: float, step: float) -> float:
    return round(value / step) * step


def _spread() -> list[tuple[float, float]]:
    """Give shares of length and depth, from the middle outwards."""
    shares = [i / 10 for i in range(1, 10)]
    return sorted(
        ((x, y) for x in shares for y in shares), key=lambda p: abs(p[0] - 0.5) + abs(p[1] - 0.5)
    )


def _degrees(angle: float) -> float | int:
    """Bring an angle into -180 to 180; whole ones as whole numbers."""
    found = round((angle + 180) % 360 - 180, 2)
    return int(found) if found == int(found) else found


def _angle(text: str) -> float:
    """Read degrees."""
    try:
        return float(text.rstrip("° "))
    except ValueError:
        raise PlumbstoneError(f'"{text}" is no angle; write degrees, such as 30.') from None
