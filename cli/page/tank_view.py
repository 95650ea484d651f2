"""The page for the desk: one tank, its pieces and its soil moved by hand."""

import math
from collections.abc import Awaitable, Callable, Iterable
from functools import partial
from typing import Any

from nicegui import ui
from nicegui.element import Element

from plumbstone.cli.documents import FLOOR_CAUTION
from plumbstone.cli.page import board, changes
from plumbstone.cli.page.board import Board
from plumbstone.cli.page.changes import Edit
from plumbstone.cli.page.desk import ChangedOutsideError, Desk, Seen
from plumbstone.cli.page.handles import Handle, handles_of, pulled
from plumbstone.cli.page.measures import Measures, degrees
from plumbstone.cli.page.tank_scene import TankScene
from plumbstone.cli.page.widgets import Figures, Slider, button, element, later, page, say, warn
from plumbstone.cli.wording import page as words
from plumbstone.cli.wording.report import not_yet, verdict
from plumbstone.cli.wording.units import Units, place_words
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.findings import Severity
from plumbstone.volumes.scape.scape import PieceEntry
from plumbstone.volumes.scape.tank import LEAST_LINE
from plumbstone.volumes.scape.writing import (
    free_name,
    pieces_named,
    with_copy,
    with_keys,
    without_piece,
)

TURN = 5.0  # of one press of a key [degrees]
LOOK = 1.0  # between two looks at the file [s]
CLASSES = {Severity.STOP: "stop", Severity.CARE: "care", Severity.NOTE: ""}


class TankView:
    """One tab that shows a tank, with fields below that are made for it."""

    def __init__(
        self, desk: Desk, units: Units, forms: Callable[["TankView", Element], Callable[[], None]]
    ) -> None:
        self.desk, self.units, self.measures = desk, units, Measures(units)
        # By the tab and the place for fields of the chosen piece; what it gives refreshes them.
        self._new_forms = forms
        self.selected = ""
        self.layer = ""  # the one whose heights are pulled
        self.row: list[str] | None = None  # border stones as they are touched
        self._tying = ""  # stone that waits for its wood
        self._pulls = False
        self._handles: dict[str, Handle] = {}
        self._slider: Slider | None = None
        self._shown = -1
        self._wanted: tuple[Callable[[], Awaitable[Seen]], str] | None = None
        self._looking = False
        self._held = False  # something is being dragged, so what is shown is of that place
        self._retry: Edit | None = None
        self._question = ""  # what the one who writes last is asked
        self._refusal = ""  # why what was done last could not be
        self._told: Any = None
        self._tab = object()  # tells its changes from those of others

    def build(self) -> None:
        """Lay the page out; the tank itself follows."""
        with page(self.desk.name.removesuffix(".toml"), "/tanks", narrow=False) as self.wrong:
            self.ask = element("div", "acts", hidden=True)
            with self.ask:
                button("Take the file as it is", self._take_theirs)
                button("Write my change over it", self._write_mine)
            self.verdict = element("h2", "verdict", aria_live="polite")
            with element("div", "tank"):
                with element("div", "draw"):
                    self._tools()
                    self.state = element("p", "state", role="status")
                    with element("div"):
                        self._board = self._new_board()
                    self._water_place = element("div")
                    piece = element("section", aria_label="Chosen piece")
                with element("div", "findings"):
                    self.figures = Figures(element("dl", "figures", aria_live="polite"))
                    element("p", "soft", FLOOR_CAUTION)
                    self.found = element("h2")
                    self.told = element("ul", "told")
                with element("div", "forms"):
                    self.scene = TankScene(self.desk)
                    self._refresh_forms = self._new_forms(self, piece)
            self.strip = Figures(element("div", "strip", aria_hidden="true"), small=True)
        say(self.state, words.COMPUTING)
        ui.timer(0.01, self._open, once=True)
        ui.keyboard(on_key=self._undo_key, ignore=["input", "select", "textarea"])

    def _tools(self) -> None:
        with element("div", "acts"):
            self.undo = button("Undo", partial(self._act, self.desk.undo), "small")
            self.redo = button("Redo", partial(self._act, self.desk.redo), "small")
            self.rowing = button("Border", self._row, "small")
            self.soil = button("Soil", self.pull, "small", aria_pressed="false")

    def _new_board(self) -> Board:
        made = Board(
            self.measures.step, pick=self._picked, moving=self._moving, moved=self._moved,
            key=self._key, cancelled=self._let_go, pulling=self._pulling, pulled=self._pulled,
            grip=self._gripped,
        )  # fmt: skip
        made.tell(fill=None, marked=[], spots=[])
        return made

    async def _open(self) -> None:
        """Lay the tank out and show it."""
        try:
            await self.desk.look()
        except PlumbstoneError as error:
            self.desk.fault = self.desk.told(error)
        self._show()
        later(self._refine())
        ui.timer(LOOK, self._look)

    @property
    def entries(self) -> tuple[PieceEntry, ...]:
        """The pieces as the file has them."""
        return self.desk.layout.scape.pieces if self.desk.layout else ()

    def entry(self, name: str) -> PieceEntry | None:
        """Find a piece by its name."""
        return next((entry for entry in self.entries if entry.name == name), None)

    def now(self, name: str) -> PieceEntry:
        """Find a piece as all that was done so far has left it."""
        if entry := self.entry(name):
            return entry
        raise PlumbstoneError(words.GONE.format(name))

    def _show(self) -> None:
        """Show the newest state."""
        desk, seen = self.desk, self.desk.seen
        self._shown = desk.shown
        warn(self.wrong, self._refusal or self._question or desk.fault)
        for act, there in ((self.undo, desk.done), (self.redo, desk.undone)):
            act.props["disabled"] = not there
        if seen is None or desk.layout is None or desk.broken:
            if desk.fault:
                say(self.state, words.MEND_FILE)
            return
        self._board.show(board.drawing_of(seen, desk.judged, desk.layout, self.units))
        self._mark()
        self._grips()
        if not self._held:
            self._tell(seen)
        self._water(seen)
        self._refresh_forms()
        self.scene.refresh()

    def _mark(self, marked: Iterable[str] = (), spots: Iterable[tuple[float, float]] = ()) -> None:
        """Show what is chosen, and what a finding speaks of."""
        if self.desk.layout is None:
            return
        places = {e.name: e.at for e in self.entries}
        depth = self.desk.layout.scape.tank.depth
        touched = [places[name] for name in self.row or () if name in places]
        row = [f"{x * 1e3:.0f},{(depth - y) * 1e3:.0f}" for x, y in touched]
        self._board.tell(
            selected=self.selected, marked=[*marked, *(self.row or ())], row=row, spots=list(spots)
        )

    def _grips(self) -> None:
        """Show the handles of the chosen layer while soil is pulled."""
        seen = self.desk.seen
        if seen is None:
            return
        layers = [la.name for la in seen.plan.scape.layers if la.profile is not None]
        if self.layer not in layers:
            self.layer = layers[-1] if layers else ""
            if seen.plan.bed is not None:
                most = max(seen.plan.bed.layers, key=lambda result: result.poured)
                self.layer = most.layer.name
        found = []
        if self._pulls and seen.plan.bed is not None:
            found = handles_of(self.layer, seen.plan.bed, seen.plan.scape.tank, self.units)
        if self._pulls:
            say(self.state, (words.PULL if found else words.NO_HANDLES).format(self.layer))
        self._handles = {handle.key: handle for handle in found}
        self._board.tell(handles=[handle.drawn() for handle in found])

    def _progress(self, text: str) -> None:
        """Say how far it is, but where a touch is asked for and waited for."""
        if not self._tying and self.row is None:
            say(self.state, text)

    def _tell(self, seen: Seen) -> None:
        """Tell figures, verdict and findings; what was found before is told as such."""
        self._figures(seen)
        self._doubt(seen.judged)
        if not seen.judged:
            self._progress(words.JUDGING if seen.exact else words.PREVIEW)
            return
        theirs = self.desk.theirs == self.desk.version
        self._progress((words.CHANGED_OUTSIDE if theirs else words.SAVED).format(self.desk.name))
        if not_yet(seen.report):
            self.verdict.classes(add="stop")
        say(self.verdict, verdict(seen.report))
        self._tell_lines(words.lines(seen.plan, seen.report, self.units))

    def _doubt(self, sure: bool) -> None:
        """Say whether verdict and findings are of what is shown, or of a state before."""
        say(self.found, words.FINDINGS if sure else words.FOUND_BEFORE)
        self.told.classes(add="" if sure else "stale", remove="stale" if sure else "")
        self._board.tell(stale=not sure)
        self.verdict.classes(remove="stop")
        if not sure:
            before = self.desk.judged
            red = [*board.floating(before.plan), *board.gaps(before)] if before else []
            say(self.verdict, words.RED_BEFORE if any(red) else words.CHECKING)

    def _tell_lines(self, told: list[words.Line]) -> None:
        if told == self._told:
            return
        self._told = told
        self.told.clear()
        with self.told:
            for line in told:
                with element("li"):
                    made = element("button", CLASSES[line.severity], line.text, type="button")
                    made.on("click", partial(self._point_at, line))

    def _figures(self, seen: Seen, of: str = "") -> None:
        self.figures.show(list(words.figures(seen.report, self.units)), of)
        self.strip.show(list(words.figures(seen.report, self.units, brief=True))[:3:2])

    def _water(self, seen: Seen) -> None:
        """Make the slider for filling, and set it to the water line."""
        tank = seen.plan.scape.tank
        if self._slider is None and tank.height is not None:
            with self._water_place:
                self._slider = Slider(
                    lambda level: words.WATER_LINE.format(place_words(level, self.units)),
                    tank.water_line or 0.0,
                    tank.height, self.measures.step, self._filled, self._filling,
                    least=math.ceil(LEAST_LINE / self.measures.step) * self.measures.step,
                )  # fmt: skip
        elif self._slider is not None and tank.water_line is not None and tank.height is not None:
            self._slider.show(tank.water_line, tank.height)

    def _point_at(self, line: words.Line) -> None:
        """Light up what a finding speaks of, and choose its first piece."""
        pieces = [entry.name for entry in self.entries if entry.name in line.about]
        gaps = [board.gap_name(a, b) for a, b in zip(line.about, line.about[1:], strict=False)]
        seen = self.desk.seen
        spots = [board.spot_of(line.where, seen.plan)] if line.where and seen else []
        if pieces:
            self.selected = pieces[0]
            self._refresh_forms()
        self._mark([*line.about, *gaps], spots)
        self._board.run_method(*(("focusPiece", pieces[0]) if pieces else ("look",)))

    async def _glimpse(
        self, look: Callable[[], Awaitable[Seen]], of: str, *, ground: bool = False
    ) -> None:
        """Show the figures of a state under the hand; only the newest one counts."""
        self._wanted, self._held = (look, of), True
        if self._looking:
            return
        self._looking = True
        try:
            while self._wanted is not None:
                (wanted, of), self._wanted = self._wanted, None
                try:
                    seen = await wanted()
                except PlumbstoneError as error:
                    if self._held:
                        say(self.state, self.desk.told(error))
                        self.figures.mark(of)
                    continue
                if self._held:
                    self._show_glimpse(seen, of, ground)
        finally:
            self._looking = False

    def _show_glimpse(self, seen: Seen, of: str, ground: bool) -> None:
        self._figures(seen, of)
        self._doubt(sure=False)
        if ground and self.desk.layout is not None:
            self._board.show(board.ground_of(seen.plan, self.desk.layout))

    def _let_go(self) -> None:
        """Show the saved state again: what was dragged stands where it stood."""
        self._wanted, self._held = None, False
        self._show()
        later(self._refine())

    async def _moving(self, event: Any) -> None:
        """Look at a piece under the hand."""
        name, x, y = str(event.args["name"]), *self._metres(event)
        say(self.state, words.place_line(x, y, self.units))
        await self._glimpse(lambda: self.desk.moved(name, (x, y)), _of(event))

    async def _pulling(self, event: Any) -> None:
        """Look at the soil under the hand."""
        if edit := self._pull_edit(event):
            await self._glimpse(lambda: self.desk.tried(edit), _of(event), ground=True)

    async def _filling(self, level: float) -> None:
        self._board.tell(fill=level * 1e3)
        self.scene.fill(level)
        await self._glimpse(lambda: self.desk.filled(level), f"water {level:g}")

    async def edit(self, edit: Edit) -> None:
        """Change the file and show it; where that cannot be, say why and show it as it is."""
        await self.edit_first([edit])

    async def edit_first(self, edits: Iterable[Edit]) -> bool:
        """Make the first of some edits that can be laid out; tell whether one could."""
        return await self._act(partial(self.desk.change_first, edits))

    async def _act(self, act: Callable[..., Awaitable[None]]) -> bool:
        """Do something to the file for this tab, show what came of it; tell whether it could be."""
        self._wanted, self._held, self._refusal = None, False, ""
        done, version = False, self.desk.version
        try:
            await act(by=self._tab)
            done = True
        except ChangedOutsideError as error:
            self._retry = error.edit
            self._question = str(error)
            self.ask.props["hidden"] = False
        except PlumbstoneError as error:
            self._refusal = self.desk.told(error)
        if version == self.desk.version:
            self._board.run_method("refuse")
        self._show()
        later(self._refine())
        return done

    async def _moved(self, event: Any) -> None:
        name, *at = str(event.args["name"]), *map(self.measures.written, self._metres(event))
        await self.edit(lambda text: with_keys(text, "piece", name, {"at": at}))

    async def _pulled(self, event: Any) -> None:
        if edit := self._pull_edit(event):
            await self.edit(edit)

    async def _filled(self, level: float) -> None:
        self._board.tell(fill=None)
        line = self.measures.written(level)
        await self.edit(lambda text: with_keys(text, "tank", None, {"water_line": line}))

    def _pull_edit(self, event: Any) -> Edit | None:
        """Give the edit that a pulled handle asks for."""
        handle, layer = self._handles.get(str(event.args["key"])), self.layer
        if handle is None:
            return None
        to, written = self._metres(event), self.measures.written
        say(self.state, handle.told(layer, to, self.units))
        return lambda text: pulled(text, layer, handle, to, written)

    @staticmethod
    def _metres(event: Any) -> tuple[float, float]:
        return float(event.args["x"]) / 1e3, float(event.args["y"]) / 1e3

    async def _picked(self, event: Any) -> None:
        name, touched = str(event.args["name"]), bool(event.args["touched"])
        entry = self.entry(name)
        if touched and self.row is not None:
            if name in self.row:
                self.row.remove(name)
            elif entry is not None and entry.kind == "stone":
                self.row.append(name)
        elif touched and self._tying and name != self._tying:
            await self._tie(name)
            return
        self.choose(name)

    def choose(self, name: str) -> None:
        """Choose a piece."""
        self.selected = name
        self._mark()
        self._refresh_forms()

    def _gripped(self, event: Any) -> None:
        if handle := self._handles.get(str(event.args["key"])):
            say(self.state, handle.label)

    def pull(self) -> None:
        """Begin or end pulling the soil."""
        self._pulls = not self._pulls
        self.soil.props["aria-pressed"] = "true" if self._pulls else "false"
        say(self.state, "")
        self._grips()

    def choose_layer(self, name: str) -> None:
        """Choose the layer that is pulled and whose fields are shown."""
        self.layer = name
        self._grips()
        self._mark([name])
        self._refresh_forms()

    def tie(self, name: str) -> None:
        """Wait for the wood that a stone is tied to."""
        self._tying = name
        say(self.state, words.TOUCH_WOOD.format(name))
        self._board.run_method("look")  # the button may stand far below it

    async def _tie(self, wood: str) -> None:
        """Tie the waiting stone to a piece of wood, strapped where it stands."""
        stone, self._tying = self._tying, ""
        if self.now(wood).kind != "wood":
            say(self.state, words.NO_WOOD)
            return

        def tied(text: str) -> str:
            ties = [name for name in self.now(stone).tied_to if name != wood]
            return with_keys(text, "piece", stone, {"tied_to": [*ties, wood]})

        await self.edit(tied)

    async def _row(self) -> None:
        """Begin or end touching border stones."""
        row = self.row
        say(self.rowing, "Done: this is the row" if row is None else "Border")
        self.row = [] if row is None else None
        if row is None:
            say(self.state, words.TOUCH_ROW)
        elif row:
            await self.edit(
                lambda text: changes.with_border(text, self.desk.scape, row, self.measures)
            )
        self._mark()

    async def _key(self, event: Any) -> None:
        name, key = str(event.args["name"]), str(event.args["key"])
        acts = {"d": self.copy, "m": self.mirror, "Delete": self.take_out}
        if key in acts:
            await acts[key](name)
        else:
            await self._change(name, partial(self._turned, key))

    async def _change(self, name: str, keys: Callable[[PieceEntry], dict[str, Any]]) -> None:
        """Set keys of a piece by what all that was done before has left of it."""
        await self.edit(lambda text: with_keys(text, "piece", name, keys(self.now(name))))

    def _turned(self, key: str, entry: PieceEntry) -> dict[str, Any]:
        """Give the keys of a piece that is turned, tilted, pressed in or lifted by a key."""
        way = 1 if key in ("r", "t", "PageDown") else -1
        if key in ("r", "R"):
            return {"turn": degrees(entry.turn + way * TURN)}
        if key in ("t", "T"):
            return {"tilt": degrees(entry.tilt + way * TURN)}
        if entry.rests != "bed":
            raise PlumbstoneError(words.NOT_ON_BED.format(entry.name))
        pressed = max(0.0, entry.pressed + way * self.measures.step)
        return {"pressed": self.measures.written(pressed)}

    async def copy(self, name: str) -> None:
        """Copy a piece to the nearest free place beside it."""
        new: list[str] = []

        def edits() -> Iterable[Edit]:
            new.append(free_name(name, pieces_named(self.desk.text)))
            tank, taken = self.desk.scape.tank, self.desk.outlines()
            size = [high - low for low, high in zip(*taken[name], strict=True)]
            floor, others = (tank.length, tank.depth), [*taken.values()]
            places = changes.places_beside(self.now(name).at, size, floor, self.measures)
            for at in sorted(places, key=lambda at: not changes.is_free(at, size, others)):
                keys = {"name": new[0], "at": [*map(self.measures.written, at)], "tied_to": None}
                yield partial(with_copy, table="piece", name=name, keys=keys)

        if await self.edit_first(edits()):
            self.choose(new[0])
            self._board.run_method("focusPiece", new[0])  # what keys do next is meant for it
        elif new and new[0] in self._refusal:  # it speaks of a piece that came to nothing
            self._refusal = words.NO_ROOM
            self._show()

    async def mirror(self, name: str) -> None:
        """Set a piece on the other side of the middle."""
        await self._change(
            name, lambda entry: changes.mirrored(entry, self.desk.scape, self.measures)
        )

    async def take_out(self, name: str) -> None:
        """Take a piece out of the tank."""
        await self.edit(lambda text: without_piece(text, name))

    async def _refine(self) -> None:
        """Compute exactly, and show it to this tab; others see it at their next look."""
        try:
            await self.desk.refine(self._show_new)
        except Exception:
            warn(self.wrong, words.BROKEN)
            raise
        self._show_new()

    def _show_new(self) -> None:
        """Show what is new, but not amid a drag."""
        if self._shown != self.desk.shown and not self._held:
            self._show()

    async def _look(self) -> None:
        """Notice what an editor or another tab changed."""
        try:
            await self.desk.look()
        except PlumbstoneError as error:
            warn(self.wrong, self.desk.told(error))
            self._shown = -1  # to be shown anew, without that, once it can be read
            return
        if self._shown != self.desk.shown and not self._held:
            self._show()
            later(self._refine())

    def _answered(self) -> None:
        self._question = ""
        self.ask.props["hidden"] = True

    async def _take_theirs(self) -> None:
        self._answered()
        self._board.run_method("refuse")
        await self._look()
        self._show()

    async def _write_mine(self) -> None:
        self._answered()
        edit, self._retry = self._retry, None
        if edit:
            await self._act(partial(self.desk.change, edit, over=True))

    async def _undo_key(self, event: Any) -> None:
        if event.action.keydown and (event.modifiers.ctrl or event.modifiers.meta):
            key = event.key.name.lower()
            if key == "z" and not event.modifiers.shift:
                await self._act(self.desk.undo)
            elif key in ("y", "z"):
                await self._act(self.desk.redo)


def _of(event: Any) -> str:
    """Name the place that something is dragged to."""
    return f"{event.args['x']:g} {event.args['y']:g}"
