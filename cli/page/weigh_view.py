"""The page for the shop: a size or a scan in, kilograms and price out."""

import base64
import re
from typing import Any

from nicegui import ui
from nicegui.events import UploadEventArguments

from plumbstone.cli.page.folder import Folder
from plumbstone.cli.page.gate import LARGEST_BODY
from plumbstone.cli.page.scan_job import ScanJob, WeighedScan
from plumbstone.cli.page.widgets import Field, button, element, page, say, telling, warn
from plumbstone.cli.weigh_output import Prices, document
from plumbstone.cli.weigh_request import Request, opening_of, weigh_all
from plumbstone.cli.wording.report import money_words
from plumbstone.cli.wording.units import Units, mass_words, show_length, volume_words
from plumbstone.cli.wording.weighing import budget_words
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.sanity import checked
from plumbstone.volumes.scape.materials import Material, load_materials
from plumbstone.volumes.scape.quantities import parse_quantity

UNKNOWN = "unknown stone"
SIDES = re.compile(r"[0-9., ]+ *(cm|mm|m|in)? *[x×] *[0-9., ]+ *(cm|mm|m|in)?")


class WeighView:
    """One open page for weighing."""

    def __init__(self, folder: Folder, units: Units) -> None:
        self.folder, self.units = folder, units
        self.material = UNKNOWN
        self.found: dict[str, Any] | None = None
        self.scan: WeighedScan | None = None
        self.job: ScanJob | None = None
        ui.context.client.on_disconnect(self._leave)
        with page("What does it weigh?", "/") as self.wrong:
            self._form()

    def _form(self) -> None:
        unit = "in" if self.units is Units.US else "cm"
        element("p", "soft", f"Sides in {unit}, at their widest; other units may be typed too.")
        with element("div", "sides"):
            self.sides = [
                Field(name, "", self.run, inputmode="decimal")
                for name in ("Length", "Width", "Height")
            ]
        with element("div", "acts"):
            button("Use a scan instead", self._choose, "main")
            self.stop = button("Stop", self._stop, hidden=True)
        self._upload()
        self.state = element("p", "state", role="status")
        self.answer = element("section", "answer", aria_live="polite", aria_label="Answer")
        self._material_field()
        with element("div", "pair"):
            self.price = Field(f"Price per {self._mass_unit()}", "", self.run, inputmode="decimal")
            self.budget = Field("Money you have", "", self.run, inputmode="decimal")
        mass = f"On the till ({self._mass_unit()})"
        with element("details"):
            element("summary", "", "Till, opening, a known length")
            self.till = Field(mass, "", self.run, inputmode="decimal")
            self.opening = Field(f"Opening ({unit}), such as 80 x 35", "", self.run)
            self.longest = Field(f"Longest side of the scan ({unit}), by tape", "", self.run)
            button("Add the scan of the turned stone", self._choose_second, "small")
        with element("div", "acts"):
            self.name = Field("Name", "Stone", None)
            button("Keep it in the stock", self._keep, "main")
        self._show()

    def _upload(self) -> None:
        self.upload = ui.upload(
            on_upload=self._sent,
            auto_upload=True,
            max_file_size=LARGEST_BODY - 100_000,
            on_rejected=lambda: warn(self.wrong, "This file is over 80 MB; thin the scan out."),
        ).classes("hidden-upload")
        self.upload.props["aria-hidden"] = "true"
        self.upload.props["inert"] = True

    def _material_field(self) -> None:
        self.search = Field("Rock or wood: type to search", "", self._search, role="searchbox")
        self.picks = element("ul", "picks", aria_label="Rocks and woods", hidden=True)
        self.chosen = element("p", "soft")
        self._choose_material(load_materials()[UNKNOWN])

    def _search(self) -> None:
        """List what fits what was typed."""
        wanted = self.search.value.strip().lower()
        fitting = [
            m
            for m in load_materials().values()
            if m.kind in ("stone", "wood") and wanted and wanted in f"{m.name} {m.note}".lower()
        ]
        self.picks.clear()
        self.picks.props["hidden"] = not fitting
        with self.picks:
            for material in fitting[:12]:
                with element("li"):
                    act = self._picker(material)
                    element("button", "", self._about(material), type="button").on("click", act)
        self.picks.update()

    def _picker(self, material: Material) -> Any:
        async def pick() -> None:
            self._choose_material(material)
            self.picks.props["hidden"] = True
            self.picks.update()
            await self.run()

        return pick

    def _choose_material(self, material: Material) -> None:
        self.material = material.key
        say(self.chosen, f"Taken as {self._about(material)}")

    def _about(self, material: Material) -> str:
        density = material.density
        dense = f", {density.low:.0f}-{density.high:.0f} kg/m³" if density else ""
        return f"{material.name}{dense}{'. ' + material.note if material.note else ''}"

    async def run(self) -> None:
        """Weigh what is typed, or the scan that was sent, and say what comes out."""
        try:
            if self.scan is not None:
                await self._weigh_scan()
            elif any(side.value.strip() for side in self.sides):
                self.found = self._weigh_size()
            else:
                self.found = None
            warn(self.wrong, "")
        except PlumbstoneError as error:
            self.found = None
            warn(self.wrong, _asked_plainly(str(error)))
        self._show()

    def _weigh_size(self) -> dict[str, Any] | None:
        """Weigh by the three sides; None while one is missing."""
        sides = [side.value.strip() for side in self.sides]
        if not all(sides):
            return None
        size = " x ".join(f"{parse_quantity(self._length(side), 'length')} m" for side in sides)
        request = self._request()
        found, _ = weigh_all(request, [], size, None, [])
        checked({found[0].name: {"volume_m3": found[0].volume, "mass_kg": found[0].mass}})
        return document(found[0], Prices(self._per_kg(), None), self._opening())

    def _request(self) -> Request:
        mass = self._mass(self.till.value)
        return Request.parsed(self.material, None, None, None, mass, None, None, "1 g", None)

    async def _weigh_scan(self) -> None:
        """Weigh the scans that were sent, in a process of their own."""
        assert self.job is not None
        options = ["--material", self.material]
        for option, text in (
            ("--mass", self._mass(self.till.value)),
            ("--longest", self._length(self.longest.value)),
            ("--opening", self._opening_text()),
        ):
            options += [f"{option}={text}"] if text else []
        if (per_kg := self._per_kg()) is not None:
            options.append(f"--price-per-kg={per_kg}")
        options += ["--same-stone"] if len(self.job.names) == 2 else []
        say(self.state, "Weighing the scan ...")
        self.stop.props["hidden"] = False
        self.stop.update()
        try:
            self.scan = await self.job.weigh(*options)
            self.found = self.scan.document
        finally:
            say(self.state, "")
            self.stop.props["hidden"] = True
            self.stop.update()

    def _show(self) -> None:
        """Say what comes out."""
        self.answer.clear()
        with self.answer:
            if self.found is None:
                element("p", "soft", "Type three sides, or use a scan.")
                return
            self._tell(self.found)

    def _tell(self, found: dict[str, Any]) -> None:
        mass, volume = _range(found["mass_kg"]), _range(found["volume_l"]).times(1e-3)
        element("p", "big", mass_words(mass, self.units))
        if found["price"] is not None:
            price = _range(found["price"])
            element("p", "mid", f"Price {money_words(price)}")
            budget = _number(self.budget.value)
            if budget is not None:
                element("p", "mid", budget_words(price, budget))
        element("p", "", f"{volume_words(volume, self.units)}, {found['material']}")
        sides = " × ".join(show_length(side / 100, self.units) for side in found["size_cm"])
        if sides:
            element("p", "soft", sides)
        if "passes_opening" in found:
            does = "passes" if found["passes_opening"] else "does not pass"
            element("p", "", f"It {does} the opening.")
        caveat = f" ({found['caveat']})" if found["caveat"] else ""
        trust = f"{found['confidence']}{caveat}"
        element("p", "", _asked_plainly(f"Trust: {trust}; {found['confidence_reason']}."))
        for text in found["warnings"]:
            element("p", "fault", _asked_plainly(text))
        for text in found["mended"]:
            element("p", "soft", _asked_plainly(f"Mended or guessed: {text}"))
        if self.scan is not None:
            picture = base64.b64encode(self.scan.picture).decode()
            element(
                "img", "", src=f"data:image/png;base64,{picture}", width="100%",
                alt="The scan from three sides: what was seen, closed and cut away",
            )  # fmt: skip

    def _choose(self) -> None:
        self._forget()
        self.upload.run_method("pickFiles")

    def _choose_second(self) -> None:
        self.upload.run_method("pickFiles")

    async def _sent(self, event: UploadEventArguments) -> None:
        """Take a scan that was sent."""
        await telling(lambda: self.wrong)(self._taken)(event)
        self._show()

    async def _taken(self, event: UploadEventArguments) -> None:
        if self.job is None or len(self.job.names) == 2:
            self._forget()
            self.job = ScanJob()
        self.job.take(event.file.name, await event.file.read())
        self.upload.reset()
        await self._weigh_scan()

    def _stop(self) -> None:
        if self.job is not None:
            self.job.stop()

    def _forget(self) -> None:
        """Put the scan away."""
        if self.job is not None:
            self.job.clear()
        self.job = self.scan = self.found = None

    def _leave(self) -> None:
        if self.job is not None:
            self.job.clear()
            self.job = self.scan = None

    async def _keep(self) -> None:
        await telling(lambda: self.wrong)(self._kept)()

    async def _kept(self) -> None:
        """Put it into the stock."""
        if self.found is None:
            raise PlumbstoneError("There is nothing to keep yet: type three sides or use a scan.")
        found = self.found
        row = {
            "name": self.name.value.strip() or "Stone",
            "kind": load_materials()[self.material].kind,
            "material": self.material,
            "kilograms": [round(found["mass_kg"][key], 3) for key in ("low", "mid", "high")],
            "litres": [round(found["volume_l"][key], 4) for key in ("low", "mid", "high")],
            "size_m": [round(side / 100, 4) for side in found["size_cm"]],
            "trust": found["confidence"],
        }
        if (per_kg := self._per_kg()) is not None:
            row["price"] = per_kg
        if mass := self._mass(self.till.value):
            row["mass"] = mass
        mesh, picture = (self.scan.mesh, self.scan.picture) if self.scan else (None, None)
        name = self.folder.keep(row, mesh, picture)
        say(self.state, f"Kept as {name}.")

    def _mass_unit(self) -> str:
        return "lb" if self.units is Units.US else "kg"

    def _mass(self, text: str) -> str | None:
        return _with_unit(text, self._mass_unit())

    def _length(self, text: str) -> str | None:
        return _with_unit(text, "in" if self.units is Units.US else "cm")

    def _opening_text(self) -> str | None:
        text = self._length(self.opening.value)
        if text is not None and not SIDES.fullmatch(text):  # never a name of a file
            raise PlumbstoneError(f'Opening "{text}": write width x depth, such as 80 x 35.')
        return text

    def _opening(self) -> tuple[float, float] | None:
        return opening_of(self._opening_text())

    def _per_kg(self) -> float | None:
        """Give the price of a kilogram."""
        price = _number(self.price.value)
        return None if price is None else price / parse_quantity(f"1 {self._mass_unit()}", "mass")


def _with_unit(text: str, unit: str) -> str | None:
    """Give what was typed with a unit; a comma counts as a point."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    return f"{text} {unit}" if text[-1].isdigit() or text[-1] == "." else text


def _number(text: str) -> float | None:
    """Read a number that was typed; None where there is none."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        found = float(text)
    except ValueError:
        raise PlumbstoneError(f'"{text}" is no number.') from None
    if not 0 <= found < 1e9:
        raise PlumbstoneError(f"{text}: write an amount of nothing or more.")
    return found


def _range(found: Any) -> Range:
    """Take a range from a document."""
    return Range(found["low"], found["mid"], found["high"])


def _asked_plainly(text: str) -> str:
    """Leave out what only a command line has."""
    return text.replace("--", "")
