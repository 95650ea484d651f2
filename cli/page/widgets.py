"""Plain elements of the page: few, large, each with a name that can be read aloud."""

import json
from collections.abc import Awaitable, Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import wraps
from importlib.resources import files
from typing import Any, ParamSpec

from nicegui import background_tasks, ui
from nicegui.element import Element

from plumbstone.meshes.errors import PlumbstoneError

P = ParamSpec("P")
DOORS = (("Weigh", "/"), ("Stock", "/stock"), ("Tanks", "/tanks"))
BROKEN = "Something went wrong in the program itself; nothing was written. Load the page anew."


@contextmanager
def page(title: str, door: str, *, narrow: bool = True) -> Iterator[Element]:
    """Lay out one page: the bar with its doors, a heading, the content."""
    style = files("plumbstone.cli.page").joinpath("page.css").read_text(encoding="utf-8")
    ui.page_title(f"{title} · plumbstone")
    ui.add_head_html(f"<style>{style}</style>")
    with element("nav", "bar", aria_label="Doors"):
        element("span", "mark", "plumbstone")
        for name, address in DOORS:
            link = element("a", "", name, href=address)
            if address == door:
                link.props["aria-current"] = "page"
    with element("div", "sheet narrow" if narrow else "sheet"):
        element("h1", "", title)
        yield element("div", "", role="alert")


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
    place.clear()
    place._text = text
    place.update()


def button(text: str, act: Callable[..., Any], classes: str = "", **attributes: Any) -> Element:
    """Make a button."""
    made = element("button", f"b {classes}", text, type="button", **attributes)
    return made.on("click", act)


class Field:
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
            element("span", "", name)
            # The attribute, not the property: what is being typed is never set back.
            self.box = element("input", "", type="text", autocomplete="off", **attributes)
            self.box.props["^value"] = value
            self.box.on(when, self._typed, js_handler="(e) => emit(e.target.value)")

    async def _typed(self, event: Any) -> None:
        self.value = str(event.args)[:300]
        await _called(self._on_input)


class Choice:
    """A list to choose from."""

    def __init__(
        self,
        name: str,
        options: Iterable[tuple[str, str]],
        value: str,
        on_change: Callable[[], Any] | None = None,
    ) -> None:
        self.value, self._on_change = value, on_change
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
        await _called(self._on_change)


def set_value(box: Element, value: str) -> None:
    """Set what a field or a slider shows."""
    box.client.run_javascript(f"getHtmlElement({box.id}).value = {json.dumps(value)}")


def telling(
    place: Callable[[], Element],
) -> Callable[[Callable[P, Awaitable[None]]], Callable[P, Awaitable[None]]]:
    """Catch what goes wrong in a handler and say it at a place on the page."""

    def around(act: Callable[P, Awaitable[None]]) -> Callable[P, Awaitable[None]]:
        @wraps(act)
        async def guarded(*args: P.args, **named: P.kwargs) -> None:
            try:
                await act(*args, **named)
                warn(place(), "")
            except PlumbstoneError as error:
                warn(place(), str(error))
            except Exception:
                warn(place(), BROKEN)
                raise

        return guarded

    return around


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
