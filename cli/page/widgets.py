"""Plain elements of the page: few, large, each with a name that can be read aloud."""

import json
import math
from collections.abc import Awaitable, Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import wraps
from importlib.resources import files
from typing import Any, ParamSpec

from nicegui import background_tasks, ui
from nicegui.element import Element

from plumbstone.cli.wording import page_labels as labels
from plumbstone.cli.wording.page import BROKEN, REFUSED, unbroken
from plumbstone.meshes.errors import PlumbstoneError

P = ParamSpec("P")
ROUNDING = 1e-6  # of what a slider tells [m]
ALERT = (  # what tells of a lost connection is read aloud; what is typed counts as the page goes
    "<script>addEventListener('DOMContentLoaded', () => { popup.role = 'alert' });"
    "for (const leaving of ['beforeunload', 'pagehide'])"
    " addEventListener(leaving, () => document.activeElement.blur())</script>"
)
DOORS = (("Weigh", "/"), ("Stock", "/stock"), ("Tanks", "/tanks"))


@contextmanager
def page(title: str, door: str, *, narrow: bool = True) -> Iterator[Element]:
    """Lay out one page: the bar with its doors, a heading, the content."""
    style = files("plumbstone.cli.page").joinpath("page.css").read_text(encoding="utf-8")
    ui.page_title(f"{title} · plumbstone")
    ui.add_head_html(f"<style>{style}</style>{ALERT}")
    with element("nav", "bar", aria_label="Doors"):
        element("span", "mark", "plumbstone")
        for name, address in DOORS:
            link = element("a", "", name, href=address)
            if address == door:
                link.props["aria-current"] = "page"
    with element("div", "sheet narrow" if narrow else "sheet"):
        element("h1", "", title)
        place = element("div", "", role="alert")
        ui.on_exception(lambda error: _tell_fault(place, error))  # of handlers, never silent
        yield place


def element(tag: str, classes: str = "", text: str = "", **attributes: Any) -> Element:
    """Make one element; its text and attributes are never read as markup."""
    made = ui.element(tag).classes(classes)
    made.props.update({key.replace("_", "-"): value for key, value in attributes.items()})
    if text:
        with made:
            say(made, text)
    return made


def say(place: Element, text: str) -> None:
    """Put a text into an element instead of what was in it."""
    if place._text == text and not place.default_slot.children:
        return
    place.clear()
    place._text = text
    place.update()


def say_unbroken(place: Element, text: str) -> None:
    """Put a figure into an element, its lines broken only between its parts."""
    place.clear()
    with place:
        for part in unbroken(text):
            element("span", "", part)


def button(text: str, act: Callable[..., Any], classes: str = "", **attributes: Any) -> Element:
    """Make a button."""
    made = element("button", f"b {classes}", text, type="button", **attributes)
    return made.on("click", act)


class Shown:
    """What shows a value that a reader may change."""

    value: str
    box: Element

    def show(self, value: str) -> None:
        """Show another value; what is shown already is left alone."""
        if value != self.value:
            self.value = value
            set_value(self.box, value)


class Field(Shown):
    """A field with its name; `value` is what was typed last."""

    def __init__(
        self,
        name: str,
        value: str = "",
        on_input: Callable[[], Any] | None = None,
        *,
        when: str = "input",
        **attributes: Any,
    ) -> None:
        self.value = value
        self._on_input = on_input
        with element("label", "field"):
            self.label = element("span", "", name)
            # The attribute, not the property: what is being typed is never set back.
            self.box = element("input", "", type="text", autocomplete="off", **attributes)
            self.box.props["^value"] = value
            if when == "change":
                self.box.on("input", js_handler="(e) => { e.target.typing = true }")
            told = "(e) => { e.target.typing = false; emit(e.target.value) }"
            self.box.on(when, self._typed, js_handler=told)

    async def _typed(self, event: Any) -> None:
        self.value = str(event.args)[:300]
        await _called(self._on_input)


def tick(label: str, ticked: Callable[[bool], Any], *, on: bool = False) -> None:
    """Make a box to tick, with its label."""
    with element("label", "tick"):
        box = element("input", "", type="checkbox", checked=on)
        element("span", "", label)
    box.on("change", lambda e: ticked(bool(e.args)), js_handler="(e) => emit(e.target.checked)")


class Choice(Shown):
    """A list to choose from."""

    def __init__(
        self,
        name: str,
        options: Iterable[tuple[str, str]],
        value: str,
        on_change: Callable[[], Any] | None = None,
    ) -> None:
        self.value, self.on_change = value, on_change
        with element("label", "field"):
            element("span", "", name)
            self.box = element("select")
            with self.box:
                for key, words in options:
                    option = element("option", "", words, value=key)
                    if key == value:
                        option.props["selected"] = True
        self.box.on("change", self._chosen, js_handler="(e) => emit(e.target.value)")

    async def _chosen(self, event: Any) -> None:
        self.value = str(event.args)
        await _called(self.on_change)


class Slider:
    """A slider with its words above it; values in metres."""

    def __init__(
        self,
        words: Callable[[float], str],
        value: float,
        most: float,
        step: float,
        on_set: Callable[[float], Any],
        on_move: Callable[[float], Any],
        least: float = 0.0,
    ) -> None:
        self.value, self._words, self._on_set, self._on_move = value, words, on_set, on_move
        self._own = 0  # settings by hand that are worked on: it is ahead of what is shown
        self._moving = False  # it is being moved, so it is not set back under the hand
        self._saved: float | None = None  # what was shown to it last
        with element("label", "field"):
            self.told = element("span", "", words(value))
            low, high, each = f"{least * 1e3:g}", _end(most), f"{step * 1e3:g}"
            self.box = element("input", "", type="range", min=low, max=high, step=each)
            self.box.props["^value"] = f"{value * 1e3:.1f}"
        self.box.on("input", self._moved, js_handler="(e) => emit(+e.target.value)", throttle=0.05)
        for let_go in ("change", "pointerup"):  # back where it began is no change
            self.box.on(let_go, self._set, js_handler="(e) => emit(+e.target.value)")

    def show(self, value: float, most: float) -> None:
        """Show another value, and how far it goes."""
        if self.box.props["max"] != _end(most):
            self.box.props["max"] = _end(most)
        self._saved = value
        self._show_saved()

    def _show_saved(self) -> None:
        busy = self._moving or self._own
        if self._saved is None or busy or abs(self._saved - self.value) < ROUNDING:
            return
        self._tell(self._saved)
        set_value(self.box, f"{self._saved * 1e3:.1f}")

    def _tell(self, value: float) -> None:
        self.value = value
        say(self.told, self._words(value))

    async def _moved(self, event: Any) -> None:
        value = float(event.args) / 1e3
        if abs(value - self.value) < ROUNDING:
            return  # told late: it is set already
        self._moving = True
        self._tell(value)
        await _called(lambda: self._on_move(self.value))

    async def _set(self, event: Any) -> None:
        self._tell(float(event.args) / 1e3)
        self._moving = False
        self._own += 1
        try:
            await _called(lambda: self._on_set(self.value))
        finally:
            self._own -= 1
            self._show_saved()


def _end(most: float) -> str:
    """Write how far a slider goes, never farther than that [m]."""
    return f"{math.floor(most * 1e4 + ROUNDING) / 10:.1f}"


class Figures:
    """Figures with their names; only what changed is sent."""

    def __init__(self, place: Element, *, small: bool = False) -> None:
        self._place, self._small = place, small
        self._shown: list[tuple[str, str]] = []
        self._values: list[Element] = []

    def mark(self, of: str) -> None:
        """Note what place under the hand was looked at last."""
        if self._place.props.get("data-of") != of:
            self._place.props["data-of"] = of

    def show(self, told: list[tuple[str, str]], of: str = "") -> None:
        """Show figures, of a place under the hand or of what is saved."""
        self.mark(of)
        if [name for name, _ in told] != [name for name, _ in self._shown]:
            self._make(told)
        for value, (_, new), (_, old) in zip(self._values, told, self._shown, strict=True):
            if new != old:
                say_unbroken(value, new)
        self._shown = told

    def _make(self, told: list[tuple[str, str]]) -> None:
        self._place.clear()
        self._values = []
        outer, inner, last = ("span", "small", "b") if self._small else ("div", "dt", "dd")
        with self._place:
            for name, text in told:
                with element(outer):
                    element(inner, "", f"{name} " if self._small else name)
                    self._values.append(element(last))
                say_unbroken(self._values[-1], text)
        self._shown = told


class Form:
    """Fields that follow what they show: made anew only where others are needed."""

    def __init__(self, place: Element, shape: Callable[[], Any], build: Callable[[], None]) -> None:
        self._place, self._shape, self._build = place, shape, build
        self._shown: Any = None
        self._fields: list[tuple[Shown, Callable[[], str]]] = []

    def follow(self, field: Shown, read: Callable[[], str]) -> None:
        """Let a field show what can be read at any time."""
        self._fields.append((field, read))

    def refresh(self) -> None:
        """Show the newest state, and what was typed but refused no longer."""
        shape = self._shape()
        if shape == self._shown:
            for field, read in self._fields:
                field.show(read())
            return
        self._shown = shape
        self._fields.clear()
        self._place.clear()
        if shape is not None:
            with self._place:
                self._build()


def set_value(box: Element, value: str) -> None:
    """Set what a field or a slider shows, but for what is being typed."""
    found, shown = f"getHtmlElement({box.id})", json.dumps(value)
    box.client.run_javascript(f"if (!{found}.typing) {found}.value = {shown}")


def telling(place: Element, act: Callable[P, Awaitable[None]]) -> Callable[P, Awaitable[None]]:
    """Give a handler that says at a place on the page what goes wrong in it."""

    @wraps(act)
    async def guarded(*args: P.args, **named: P.kwargs) -> None:
        try:
            await act(*args, **named)
            warn(place, "")
        except PlumbstoneError as error:
            warn(place, error.told(labels.as_field))
        except OSError as error:
            warn(place, REFUSED.format(error.strerror))

    return guarded


def _tell_fault(place: Element, error: Exception) -> None:
    warn(place, error.told(labels.as_field) if isinstance(error, PlumbstoneError) else BROKEN)


def warn(place: Element, text: str) -> None:
    """Show or clear what went wrong."""
    place.classes(add="fault" if text else "", remove="" if text else "fault")
    say(place, text)


def later(work: Awaitable[Any]) -> None:
    """Start work that nobody waits for."""
    background_tasks.create(work)


async def _called(act: Callable[[], Any] | None) -> None:
    """Call a handler, plain or not."""
    found = act() if act is not None else None
    if isinstance(found, Awaitable):
        await found
