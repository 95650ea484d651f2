"""One open scape: its text, what undoes it, and what was computed of it, kept warm."""

import asyncio
import contextlib
import math
import time
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from plumbstone.cli.files import put_whole
from plumbstone.cli.page.folder import Folder, FolderError
from plumbstone.cli.wording.page import NO_ROOM, NOT_YOURS
from plumbstone.cli.wording.page_labels import told_beside
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.errors import NOT_UTF8, PlumbstoneError
from plumbstone.volumes.figures import PieceFigures, Report
from plumbstone.volumes.layout import PREVIEW_GRID, Layout
from plumbstone.volumes.memo import HALT, HaltedError
from plumbstone.volumes.plan import Plan
from plumbstone.volumes.report import report_of
from plumbstone.volumes.sanity import checked
from plumbstone.volumes.scape.scape import Scape, no_toml, scape_from
from plumbstone.volumes.shopping import costs_of, shopping_of

Edit = Callable[[str], str]
Pile = list[tuple[str, object]]  # texts that can be taken up again, and the tab they are of
GLIMPSE_CELLS = 6000  # of the grid on which what is under the hand is looked at
GLIMPSE_GRID = 0.010  # its widest cell [m]
QUIET = 0.3  # after the last look under the hand until exact work goes on [s]


class ChangedOutsideError(PlumbstoneError):
    """The file was changed by something else since it was read."""

    def __init__(self, name: str, edit: Edit) -> None:
        self.edit = edit  # that was not written
        super().__init__(f"{name} was changed by another program meanwhile.")


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What was computed of one state of the scape: a preview, then exactly, then judged."""

    plan: Plan
    report: Report
    exact: bool = False  # whether litres and loads are what `plan` says
    judged: bool = False  # whether it is known what floats, falls and runs through, too


@dataclass(slots=True, eq=False)
class Desk:
    """A scape file that is open; every tab that shows it looks at the same one."""

    folder: Folder
    name: str
    text: str = ""
    layout: Layout | None = None
    seen: Seen | None = None
    judged: Seen | None = None  # the last one that was judged
    fault: str = ""  # why it cannot be laid out
    broken: bool = False  # whether its text is of no scape: what is laid out is one before it
    version: int = 0  # counts changes of the text
    shown: int = 0  # counts changes of what is to be seen
    theirs: int = -1  # the version that another program wrote
    done: Pile = field(default_factory=list)
    undone: Pile = field(default_factory=list)
    _stamp: tuple[int, int] = (0, 0)
    _lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    _refining: asyncio.Lock = field(default_factory=asyncio.Lock)
    _refused: int = -1  # the version that cannot be computed exactly
    _writes: int = 0  # changes that are being tried and written
    _warmed: int = -1  # the version that was looked at once as under the hand
    _looks: int = 0  # under the hand, that are being computed
    _in_hand: float = 0.0  # until then something is being dragged, as far as is known [s]
    _before: str = ""
    _warned: object = None  # a tab that was asked, and the one whose change it may step over

    @property
    def scape(self) -> Scape:
        """The scape as it was laid out last."""
        if self.layout is None:
            raise FolderError(f"{self.name} is not laid out yet.")
        return self.layout.scape

    def outlines(self) -> dict[str, tuple[list[float], list[float]]]:
        """Least and greatest x and y of each piece as it was looked at last [m]."""
        bodies = self.seen.plan.bodies if self.seen else ()
        return {b.entry.name: ([*b.piece.low[:2]], [*b.piece.high[:2]]) for b in bodies}

    def told(self, error: PlumbstoneError) -> str:
        """Say what is wrong with the file that the page shows."""
        units = Units.US if self.layout and self.layout.scape.us else Units.METRIC
        return told_beside(error, self.folder.root / self.name, units)

    async def look(self) -> bool:
        """Take the file as it is on the disk; tell whether it had changed.

        A change from outside becomes one step that can be undone.
        """
        async with self._lock:
            stamp = self._disk_stamp()
            if stamp == self._stamp:
                return False
            text = self._disk_text()
            self._stamp = stamp
            if text == self.text:
                return False
            self.version += 1
            if self.text:
                self.done.append((self.text, None))
                self.undone.clear()
                self.theirs = self.version
            self.text = text
            await self._lay_out()
            return True

    async def change(self, edit: Edit, *, over: bool = False, by: object = None) -> None:
        """Change the text as `change_first` does by one edit."""
        await self.change_first([edit], over=over, by=by)

    async def change_first(
        self, edits: Iterable[Edit], *, over: bool = False, by: object = None
    ) -> None:
        """Make the first of some edits that can be laid out, and write it.

        Each edit gives the new text of the old one. They are asked for one by one when all that was
        begun before is done, so what they look up here is as it left it. `over` writes even where
        the file was changed outside; `by` is the tab that asks.

        Raises
        ------
        ChangedOutsideError
            If the file on the disk is not the one that was read.
        PlumbstoneError
            If no new text can be laid out and the old one could: why, or where that differs
            from place to place, that there is no room. Nothing is written.
        """
        async with self._lock:
            refused: dict[str, PlumbstoneError] = {}
            for edit in edits:
                try:
                    await self._change(edit, over, by)
                except ChangedOutsideError:
                    raise
                except PlumbstoneError as error:
                    refused[error.text] = error
                else:
                    return
            raise next(iter(refused.values())) if len(refused) == 1 else PlumbstoneError(NO_ROOM)

    async def _change(self, edit: Edit, over: bool, by: object) -> None:
        if self.broken:
            raise FolderError(self.fault)
        if edit(self.text) != self.text or over:
            await self._write(edit, over)
            self.done.append((self._before, by))
            self.undone.clear()
            self._warned = None

    async def undo(self, by: object = None) -> None:
        """Go one change back; what another tab did is asked about before, by an error."""
        await self._step(self.done, self.undone, by)

    async def redo(self, by: object = None) -> None:
        """Take one change up again, as `undo` does."""
        await self._step(self.undone, self.done, by)

    async def moved(self, name: str, to: tuple[float, float]) -> Seen:
        """Look at a piece elsewhere [m] without changing anything."""
        assert self.layout is not None
        return await self._glimpse(self.layout.moved(name, to))

    async def tried(self, edit: Edit) -> Seen:
        """Look at an edit without writing it."""
        return await self._glimpse(self._layout_of(edit(self.text)))

    async def filled(self, level: float) -> Seen:
        """Look at another water line [m] without changing anything."""
        assert self.layout is not None
        return await self._glimpse(self.layout.with_water_line(level))

    async def _glimpse(self, layout: Layout) -> Seen:
        """Preview a layout for its figures alone; those of the pieces are taken from before."""
        pieces = self.seen.report.pieces if self.seen else ()
        version, self._looks = self.version, self._looks + 1
        try:
            return await asyncio.to_thread(_figures_only, layout, pieces)
        finally:
            self._looks -= 1
            if version == self.version:
                self._in_hand = time.monotonic() + QUIET

    async def refine(self, told: Callable[[], None] = lambda: None) -> None:
        """Compute the newest state exactly, then judge it; all who ask wait for it.

        `told` is called whenever there is more to be seen.

        Notes
        -----
        It halts while something is dragged or written, and begins again with what was done.
        """
        async with self._refining:
            while self.layout is not None and not (self.seen and self.seen.judged):
                if self.broken or self._refused == self.version:
                    return
                if self._busy():
                    await asyncio.sleep(0.02)
                    continue
                await self._refine_once(self.layout, self.version)
                told()
            await self._warm()

    async def _warm(self) -> None:
        """Look once as under the hand, so that the first drag is as quick as the others."""
        layout, version = self.layout, self.version
        if layout is None or self._warmed == version:
            return
        self._warmed = version
        with contextlib.suppress(HaltedError, PlumbstoneError):
            await asyncio.to_thread(self._halting, version, partial(_figures_only, layout, ()))

    def _halting(self, version: int, work: Callable[[], Seen]) -> Seen:
        """Work until something else is waited for."""
        HALT.set(lambda: version != self.version or self._busy())
        return work()

    async def _refine_once(self, layout: Layout, version: int) -> None:
        """Go one step on, unless something comes between."""
        stage = judged if self.seen and self.seen.exact else poured
        try:
            seen = await asyncio.to_thread(self._halting, version, partial(stage, layout))
        except HaltedError:
            return
        except PlumbstoneError as error:
            if version == self.version:
                self.fault, self._refused = self.told(error), version
                self.shown += 1
            return
        if version == self.version:
            self.seen, self.fault = seen, ""
            self.judged = seen if seen.judged else self.judged
            self.shown += 1

    def _busy(self) -> bool:
        """Tell whether somebody waits for something else."""
        return self._writes + self._looks > 0 or time.monotonic() < self._in_hand

    async def _step(self, take: Pile, give: Pile, by: object) -> None:
        """Move one text from a pile onto the other."""
        async with self._lock:
            if not take:
                return
            text, owner = take[-1]
            if owner not in (None, by) and self._warned != (by, owner):
                self._warned = by, owner
                raise PlumbstoneError(NOT_YOURS)
            await self._write(lambda _: text)
            take.pop()
            give.append((self._before, owner))

    async def _write(self, edit: Edit, over: bool = False) -> None:
        """Write a new text once it is known to hold."""
        if not over and self._disk_stamp() != self._stamp and self._disk_text() != self.text:
            raise ChangedOutsideError(self.name, edit)
        text = edit(self.text)
        layout = self._layout_of(text)
        self._writes += 1
        try:
            seen: Seen | None = await asyncio.to_thread(preview_of, layout)
            fault = ""
        except PlumbstoneError as error:
            if not self.fault:
                raise
            seen, fault = None, self.told(error)
        finally:
            self._writes -= 1
            self._in_hand = 0.0  # it was let go
        self._put(text)
        self._before, self.text = self.text, text
        self._stamp = self._disk_stamp()
        self.layout, self.seen, self.fault = layout, seen or self.seen, fault
        self.broken = False
        self.version += 1
        self.shown += 1

    async def _lay_out(self) -> None:
        """Lay out the text as it is, or say why not."""
        self.broken = True
        try:
            self.layout = layout = self._layout_of(self.text)
            self.broken = False
            self.seen = await asyncio.to_thread(preview_of, layout)
            self.fault = ""
        except PlumbstoneError as error:
            self.fault = self.told(error)
        self.shown += 1

    def _layout_of(self, text: str) -> Layout:
        """Lay a text out by what is known; the reader itself refuses files outside the folder."""
        try:
            values = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            raise FolderError(f"{self.name} {no_toml(error)}") from None
        scape = scape_from(values, self._path)
        return self.layout.with_scape(scape) if self.layout else Layout(scape)

    def _put(self, text: str) -> None:
        """Write the file in one step."""
        try:
            put_whole(self._path, text.encode())
        except OSError as error:
            raise FolderError(f"{self.name} cannot be written ({error.strerror}).") from None

    @property
    def _path(self) -> Path:
        return self.folder.scape(self.name)

    def _disk_text(self) -> str:
        try:
            return self._path.read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError:
            raise FolderError(f"{self.name} {NOT_UTF8}") from None
        except OSError as error:
            raise FolderError(f"{self.name} cannot be read: {error}.") from None

    def _disk_stamp(self) -> tuple[int, int]:
        try:
            found = self._path.stat()
        except OSError as error:
            raise FolderError(f"{self.name} cannot be read: {error}.") from None
        return found.st_mtime_ns, found.st_size


def preview_of(layout: Layout) -> Seen:
    """Look at a layout quickly, nothing judged."""
    return _seen(layout.preview())


def poured(layout: Layout) -> Seen:
    """Compute litres and loads exactly."""
    return _seen(layout.poured(), exact=True)


def judged(layout: Layout) -> Seen:
    """Compute everything."""
    return _seen(layout.plan(), exact=True, judged=True)


def _seen(plan: Plan, **how: bool) -> Seen:
    return Seen(plan, checked(report_of(plan)), **how)


def glimpse_spacing(floor: tuple[float, float]) -> float:
    """Give the width of a cell for a look under the hand at a floor [m]."""
    return min(max(math.sqrt(math.prod(floor) / GLIMPSE_CELLS), PREVIEW_GRID), GLIMPSE_GRID)


def _figures_only(layout: Layout, pieces: Sequence[PieceFigures]) -> Seen:
    tank = layout.scape.tank
    plan = replace(layout.preview(glimpse_spacing((tank.length, tank.depth))), bodies=())
    report = checked(report_of(plan))
    shopping = shopping_of(plan.scape, report.layers, pieces)
    return Seen(plan, replace(report, shopping=shopping, costs=costs_of(shopping)))
