"""Two tanks, or two versions of one, beside each other."""

import re
from collections.abc import Callable

from nicegui import ui

from plumbstone.cli.page.desk import Desk
from plumbstone.cli.page.folder import Folder
from plumbstone.cli.page.widgets import Choice, element, later, page, say, telling
from plumbstone.cli.wording.comparing import compared
from plumbstone.cli.wording.page import COMPUTING, NEED_TWO
from plumbstone.cli.wording.page_labels import as_field
from plumbstone.cli.wording.units import JOINTS, Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.figures import Report


class CompareView:
    """One tab that compares."""

    def __init__(
        self, folder: Folder, desk: Callable[[str], Desk], asked: Units | None, one: str, other: str
    ) -> None:
        self._folder, self._desk, self._asked = folder, desk, asked
        names = folder.scapes()
        with page("Compare", "/tanks", narrow=False) as self._wrong:
            if len(names) < 2:
                element("p", "", NEED_TWO)
                return
            first = one if one in names else names[0]
            stem = first.removesuffix(".toml").split(",")[0]
            kin = [name for name in names if name != first and name.startswith(stem)]
            others = kin or [name for name in names if name != first]
            second = other if other in names else others[0]
            options = [(name, name.removesuffix(".toml")) for name in names]
            with element("div", "pair"):
                self._choices = [
                    Choice(label, options, name, self._compare)
                    for label, name in (("This one", first), ("and that one", second))
                ]
            self._state = element("p", "state", role="status")
            with element("div", "wide"):
                self._table = element("table", "beside")
            ui.timer(0.01, self._compare, once=True)

    def _compare(self) -> None:
        later(telling(self._wrong, self._show)())

    async def _show(self) -> None:
        say(self._state, COMPUTING)
        names = [choice.value for choice in self._choices]
        try:
            one, other = [await self._report(name) for name in names]
        finally:
            say(self._state, "")
        if names != [choice.value for choice in self._choices]:
            return  # another was chosen meanwhile
        units = self._asked or self._folder.units_of(names[0])  # those of the first, as in `show`
        heads, *rows = compared((one, other), units, as_field)
        self._table.clear()
        with self._table:
            with element("thead"), element("tr"):
                element("td")
                for head in heads[1:]:
                    element("th", "", head.removesuffix(".toml"), scope="col")
            with element("tbody"):
                for name, left, right in rows:
                    with element("tr", "" if left == right else "differs"):
                        element("th", "", name, scope="row")
                        for told in (left, right):
                            whole = re.sub(r"(?<=\d)-(?=\d)", "\u2011", told)  # a range
                            element("td", "", JOINTS.sub("\u00a0", whole))

    async def _report(self, name: str) -> Report:
        """Compute one of them exactly."""
        desk = self._desk(name)
        await desk.look()
        await desk.refine()
        if desk.fault or desk.seen is None or not desk.seen.judged:
            amiss = desk.fault or "is being computed; choose it once more."
            raise PlumbstoneError(f"{name}: {amiss}")
        return desk.seen.report
