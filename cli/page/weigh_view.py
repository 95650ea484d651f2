"""The page for the shop: a size or a scan in, kilograms and price out."""

import asyncio
import re
import secrets
import time
from dataclasses import replace
from functools import partial
from typing import Any

from nicegui import ui
from nicegui.element import Element
from nicegui.events import UploadEventArguments

from plumbstone.cli.output import units_typed
from plumbstone.cli.page.folder import Folder
from plumbstone.cli.page.gate import LARGEST_BODY
from plumbstone.cli.page.measures import Measures, number
from plumbstone.cli.page.scan_job import ScanError, ScanJob, WeighedScan
from plumbstone.cli.page.thumbnail import thumbnail_of_scan
from plumbstone.cli.page.turning import turning_view
from plumbstone.cli.page.widgets import (
    Field,
    button,
    element,
    page,
    say,
    say_unbroken,
    telling,
    tick,
    warn,
)
from plumbstone.cli.pictures.colours import AWAY, CLOSED, STONE, colour_of
from plumbstone.cli.weigh_output import Prices, document
from plumbstone.cli.weigh_request import Request, by_scale, opening_of, weigh_all
from plumbstone.cli.wording import page as words
from plumbstone.cli.wording import page_labels as labels
from plumbstone.cli.wording.report import money_words
from plumbstone.cli.wording.units import (
    Units,
    figures_in,
    mass_words,
    show_length,
    spanned,
    volume_words,
    written,
)
from plumbstone.cli.wording.weighing import budget_words, piece_mass
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.scape.materials import Material, described, load_materials
from plumbstone.volumes.scape.quantities import each_unit, in_us_units, parse_quantity

UNKNOWN = "unknown stone"
SIDES = re.compile(r"[0-9., ]+ *(cm|mm|m|in)? *[x×] *[0-9., ]+ *(cm|mm|m|in)?")
PAUSE = 0.5  # after the last letter until a scan is weighed again [s]
SHOWN: dict[str, bytes] = {}  # scenes of open pages, each under a name that cannot be guessed


class WeighView:
    """One open page for weighing."""

    def __init__(self, folder: Folder, asked: Units | None) -> None:
        self.folder, self.asked, self.measures = folder, asked, Measures(asked or Units.METRIC)
        self.material = UNKNOWN
        self.found: dict[str, Any] | None = None
        self.scan: WeighedScan | None = None
        self.job: ScanJob | None = None
        self._key = secrets.token_urlsafe(24)
        self._asked = 0
        self._began: float | None = None
        self._second = self._single = False
        self._kept_last: Any = None  # what was put into the stock last
        ui.context.client.on_disconnect(self._forget)
        with page("What does it weigh?", "/") as self.wrong:
            self._form()
        ui.timer(0.5, self._tick)

    def _form(self) -> None:
        unit = self.measures.unit()
        self.by_size = element("div")
        with self.by_size:
            element("p", "soft", words.sides_in(unit))
        with self.by_size, element("div", "sides"):
            self.sides = [
                Field(name, "", self.run, inputmode="decimal")
                for name in ("Length", "Width", "Height")
            ]
        self._upload()
        with element("div", "acts drop") as place:
            self.pick = self._picker(labels.USE_SCAN, second=False, main=True)
            self.stop = button("Stop", self._stop, hidden=True)
            element("span", "soft wide-only", "or drop one here")
        add = f"(e) => getElement({self.upload.id}).$refs.qRef.addFiles(e.dataTransfer.files)"
        place.on("dragover.prevent", js_handler="() => {}")
        place.on("drop.prevent", js_handler=add)
        self.progress = element("progress", hidden=True, aria_label="Weighing", max="1", value="0")
        self.state = element("p", "state", role="status")
        self.answer = element("section", "answer", aria_live="polite", aria_label="Answer")
        self.turned = element("section", "", aria_label="Scans")
        self._material_field()
        mass = self.measures.unit("mass")
        with element("div", "pair"):
            self.price = Field(f"Price per {mass}", "", self._priced, inputmode="decimal")
            self.budget = Field("Money you have", "", self._priced, inputmode="decimal")
        with element("details"):
            element("summary", "", "Till, opening, bucket, a known length")
            self.till = Field(f"On the till ({mass})", "", self.run, inputmode="decimal")
            self.rise = Field(labels.BUCKET_IN.format(mass), "", self.run, inputmode="decimal")
            self.opening = Field(f"Opening ({unit}), such as 80 x 35", "", self.run)
            self.by_scan = element("div")  # what counts for scans alone
            with self.by_scan:
                self.longest = Field(labels.LONGEST_IN.format(unit), "", self.run)
                self.across = Field(labels.ACROSS_IN.format(unit), "", self.run)
                self.known = Field(labels.KNOWN_THING, "", self.run)
                self.unit = Field(labels.UNITS, "", self.run)
                tick(labels.ONE_PIECE, self._tell_single)
        with element("div", "acts"):
            self.name = Field("Name", "Stone", None)
            button("Keep it in the stock", telling(self.wrong, self._keep), "main")
        self.kept = element("p", "state", role="status")
        self._show()
        self._show_scans()

    def _upload(self) -> None:
        self.upload: ui.upload = ui.upload(
            on_upload=self._sent,
            on_begin_upload=lambda: say(self.state, words.SENDING),
            auto_upload=True,
            max_file_size=LARGEST_BODY - 100_000,
            on_rejected=lambda: warn(self.wrong, words.TOO_LARGE),
        ).classes("hidden-upload")
        self.upload.on("failed", self._unsent, args=[])
        # Not when it came in here: that may cut the answer off, which then passes for a failure.
        self.upload.on("uploaded", js_handler=f"() => {self._cleared()}")
        self.upload.props["aria-hidden"] = "true"
        self.upload.props["inert"] = True

    def _cleared(self) -> str:
        """Make room for another scan, in the browser."""
        return f"getElement({self.upload.id}).$refs.qRef.reset()"

    def _picker(self, text: str, *, second: bool, main: bool = False) -> Element:
        """Make a button that lets a file be chosen; it opens at once, while the finger is on it."""

        def chosen() -> None:
            self._second = second

        made = element("button", "b main" if main else "b small", text, type="button")
        # What is still on its way, as it hangs, makes room for another.
        pick = (
            f"() => {{ {self._cleared()}; emit(); setTimeout(() => "
            f"getHtmlElement({self.upload.id}).querySelector('input').click()); }}"
        )
        return made.on("click", chosen, js_handler=pick)

    def _unsent(self) -> None:
        """Tell that a scan did not arrive, and let it be sent again."""
        self.upload.reset()
        say(self.state, "")
        warn(self.wrong, words.UNSENT)

    def _material_field(self) -> None:
        self.search = Field("Rock or wood: type to search", "", self._search, role="searchbox")
        self.picks = element("ul", "picks", aria_label="Rocks and woods", hidden=True)
        self.chosen = element("p", "soft")
        self._choose_material(load_materials()[UNKNOWN])

    async def _search(self) -> None:
        """List what is called or looks so; what is meant beyond doubt is taken at once."""
        wanted = self.search.value.strip().lower()
        known = [m for m in load_materials().values() if m.kind in ("stone", "wood")]
        fitting = [m for m in known if wanted and wanted in f"{m.name} {m.note}".lower()]
        alike = [] if fitting else [m for m in described(wanted) if m in known]
        self.picks.clear()
        self.picks.props["hidden"] = not (fitting or alike)
        with self.picks:
            for material in (fitting or alike)[:12]:
                with element("li"):
                    act, told = partial(self._take, material), self._about(material)
                    told += f": {material.looks}" if alike and material.looks else ""
                    element("button", "", told, type="button").on("click", act)
        meant = [m for m in fitting if m.name == wanted] or fitting
        if len(meant) == 1 and meant[0].key != self.material:
            self._choose_material(meant[0])
            await self.run()

    async def _take(self, material: Material) -> None:
        self._choose_material(material)
        self.picks.props["hidden"] = True
        await self.run()

    def _choose_material(self, material: Material) -> None:
        self.material = material.key
        say(self.chosen, words.TAKEN_AS.format(self._about(material)))

    def _about(self, material: Material) -> str:
        units, dense = self.measures.units, ""
        if density := material.density:
            low, high = (written(v, "density", units) for v in (density.low, density.high))
            dense = f", {spanned(low, high, '-')}"
        return f"{material.name}{dense}{'. ' + material.note if material.note else ''}"

    async def run(self) -> None:
        """Weigh what is typed, or the scan that was sent, and say what comes out."""
        if self.job is not None:
            await self._weigh_scan(PAUSE)
            return
        try:
            sides = [side.value.strip() for side in self.sides]
            told = all(sides) or self.rise.value.strip() or self.till.value.strip()
            self.found = self._weigh_typed(sides) if told else None
            warn(self.wrong, "")
        except PlumbstoneError as error:
            self.found = None
            warn(self.wrong, error.told(labels.as_field, figures_in(self._units())))
        self._show()

    def _weigh_typed(self, sides: list[str]) -> dict[str, Any]:
        """Weigh by the three sides, what a bucket or the till tells, or some of them."""
        bare = next((side for side in sides if side[-1:].isdigit()), None)
        if bare and self._units() is not self.measures.units and any(map(in_us_units, sides)):
            unit = each_unit(bare, "length")
            raise PlumbstoneError(f'"{bare}" stands beside inches without a unit; write {unit}.')
        lengths = [parse_quantity(self.measures.typed(side), "length") for side in sides if side]
        size = tuple(lengths) if len(lengths) == len(sides) else ()
        mass, rise = (self.measures.with_unit(box.value, "mass") for box in (self.till, self.rise))
        request = Request(*by_scale(self.material, mass or None, bucket_rise=rise or None))
        by_size = " x ".join(f"{length} m" for length in size) if size and not rise else None
        found = replace(weigh_all(request, size=by_size)[0][0], size=size)
        opening = opening_of(self._opening()) if size else None
        return document(found, Prices(), opening, labels.as_field, self._units())

    async def _weigh_scan(self, pause: float = 0.0) -> None:
        """Weigh the scans that were sent, in a process of their own; only the newest counts."""
        job = self.job
        assert job is not None
        self._asked += 1
        asked = self._asked
        await asyncio.sleep(pause)
        if asked != self._asked or job is not self.job:
            return
        try:
            options = self._options(len(job.names))
            self._busy(time.monotonic())
            self.scan = await job.weigh(*options)
            self.found = self.scan.document
            SHOWN[self._key] = self.scan.scene
            warn(self.wrong, "")
        except PlumbstoneError as error:
            if asked != self._asked:
                return  # it was stopped, or is weighed anew
            self.found = self.scan = None
            warn(self.wrong, error.told(labels.as_field))
        finally:
            if asked == self._asked:
                self._busy(None)
        self._show()
        self._show_scans()

    async def _tell_single(self, on: bool) -> None:
        """Take it from the user that all of the scan is the piece, or no more."""
        self._single = on
        await self.run()

    def _options(self, scans: int) -> list[str]:
        """Give the options of `weigh`; each is one word, so that none can pass for another."""
        told = {
            "--mass": self.measures.with_unit(self.till.value, "mass"),
            "--bucket-rise": self.measures.with_unit(self.rise.value, "mass"),
            "--longest": self.measures.with_unit(self.longest.value),
            "--across": self.measures.with_unit(self.across.value),
            "--known": self.known.value.strip(),
            "--unit": self.unit.value.strip().lower(),
            "--opening": self._opening() or "",
            "--units": self._units(),
        }
        options = [f"--material={self.material}", *(f"{k}={v}" for k, v in told.items() if v)]
        options += ["--one-piece"] * self._single
        return [*options, "--same-stone"] if scans == 2 else options

    def _busy(self, began: float | None) -> None:
        self._began = began
        for shown in (self.stop, self.progress):
            shown.props["hidden"] = began is None
        say(self.state, "")
        self._tick()

    def _tick(self) -> None:
        """Tell how far the weighing has come."""
        if self._began is not None and self.job is not None:
            seconds = time.monotonic() - self._began
            share = self.job.share(seconds)
            self.progress.props["value"] = f"{share:.2f}"
            say(self.state, words.WEIGHING.format(100 * share, seconds))

    def _priced(self) -> None:
        """Tell again with another price; nothing is weighed anew."""
        try:
            self._show()
            warn(self.wrong, "")
        except PlumbstoneError as error:
            warn(self.wrong, error.told(labels.as_field))

    def _show(self) -> None:
        """Say what comes out."""
        per_kg, budget = self._per_kg(), number(self.budget.value)
        self.answer.clear()
        with self.answer:
            if self.found is None:
                element("p", "soft", self.job.names[-1] if self.job else words.TYPE_OR_SCAN)
                return
            self._tell(self.found, per_kg, budget)

    def _tell(self, found: dict[str, Any], per_kg: float | None, budget: float | None) -> None:
        mass, volume = _range(found["mass_kg"]), _range(found["volume_l"]).times(1e-3)
        units = self._units()
        exact = mass.low == mass.high
        told = piece_mass(mass, units) if exact else mass_words(mass, units)
        say_unbroken(element("p", "big"), told)
        if per_kg is not None:
            price = mass.times(per_kg)
            element("p", "mid", words.PRICE.format(money_words(price)))
            if budget is not None:
                element("p", "mid", budget_words(price, budget))
        element("p", "", f"{volume_words(volume, units)}, {found['material']}")
        sides = " × ".join(show_length(side / 100, units) for side in found["size_cm"])
        if sides:
            element("p", "soft", sides)
        if "passes_opening" in found:
            element("p", "", words.PASSES[found["passes_opening"]])
        trust = words.trust_line(found["confidence"], found["caveat"], found["confidence_reason"])
        element("p", "", trust)
        for text in found["warnings"]:
            element("p", "fault", text)
        for text in found["mended"]:
            element("p", "soft", words.MENDED.format(text))

    def _units(self) -> Units:
        """Give the units that are asked for, or in which something is typed."""
        lengths = self.sides if self.job is None else [self.longest, self.across]
        typed = (*lengths, self.till, self.rise, self.opening, self.price)
        return units_typed(self.asked, [field.value for field in typed])

    def _show_scans(self) -> None:
        """Show the scans that were sent, closed ones to be turned, instead of the three sides."""
        self.turned.clear()
        self.by_size.props["hidden"], self.by_scan.props["hidden"] = bool(self.job), not self.job
        say(self.pick, labels.USE_SCAN if self.job is None else "Use another scan")
        if self.job is None:
            return
        with self.turned:
            if self.scan is not None:
                self._show_closed(self.scan)
            for name in self.job.names:
                element("p", "soft", name)
            with element("div", "acts"):
                if self.scan is not None and len(self.job.names) == 1:
                    self._picker("Add the scan of the turned stone", second=True)
                button("Put the scan away", self._put_away, "small")

    def _show_closed(self, scan: WeighedScan) -> None:
        turning_view(f"/scan/{self._key}?{self._asked}", scan.sides, words.SCAN_IN_3D)
        with element("p", "soft legend"):
            for colour, name in zip((STONE, CLOSED, AWAY), words.PARTS, strict=True):
                element("i", "", style=f"background:{colour}")
                element("span", "", name)

    async def _sent(self, event: UploadEventArguments) -> None:
        """Take a scan that was sent."""
        await telling(self.wrong, self._taken)(event)
        if self.job is not None:
            self._show()  # no more of what was weighed before
            await self._weigh_scan()

    async def _taken(self, event: UploadEventArguments) -> None:
        content = await event.file.read()
        if not self._second or self.job is None or len(self.job.names) == 2:
            self._forget()
        self._second = False
        job = self.job or ScanJob()
        try:
            job.take(event.file.name, content)
        except ScanError:
            say(self.state, "")
            if self.job is None:
                job.clear()
            raise
        self.job = job

    def _stop(self) -> None:
        """Stop the weighing; what was sent is put away."""
        self._forget()
        self._busy(None)
        self._show()
        self._show_scans()
        warn(self.wrong, words.STOPPED)

    def _forget(self) -> None:
        """Put the scan away."""
        self._asked += 1
        if self.job is not None:
            self.job.clear()
        SHOWN.pop(self._key, None)
        self.job = self.scan = self.found = None

    async def _put_away(self) -> None:
        self._forget()
        self._busy(None)
        await self.run()
        self._show_scans()

    async def _keep(self) -> None:
        """Put it into the stock."""
        if self.found is None:
            raise PlumbstoneError(words.NOTHING_TO_KEEP)
        found, by_bucket = self.found, self.rise.value and not self.till.value
        if self.scan is None and (by_bucket or not found["size_cm"]):
            raise PlumbstoneError(words.TYPE_ALL)
        row = {
            "name": self.name.value.strip() or "Stone",
            "kind": load_materials()[self.material].kind,
            "material": self.material,
            "kilograms": [round(found["mass_kg"][key], 6) for key in ("low", "mid", "high")],
            "litres": [round(found["volume_l"][key], 6) for key in ("low", "mid", "high")],
            "size_m": [round(side / 100, 6) for side in found["size_cm"]],
            "trust": found["confidence"],
        }
        if (per_kg := self._per_kg()) is not None:
            row["price"] = per_kg
        if self.till.value.strip():
            row["mass"] = self.measures.typed(self.till.value, "mass")
        if (row, self.scan) == self._kept_last:
            say(self.kept, words.KEPT_ALREADY.format(row["name"]))
            return
        mesh = None if self.scan is None else self.scan.mesh
        name = self.folder.keep(row, mesh)
        self._kept_last = row, self.scan
        say(self.kept, words.KEPT_AS.format(name))
        if mesh is not None:  # it takes seconds, and who kept it may be gone
            colour = colour_of(load_materials()[self.material])
            self.folder.keep_picture(name, await asyncio.to_thread(thumbnail_of_scan, mesh, colour))

    def _opening(self) -> str | None:
        text = self.measures.with_unit(self.opening.value)
        if text and not SIDES.fullmatch(text):  # never a name of a file
            raise PlumbstoneError(f'Opening "{text}": write width x depth, such as 80 x 35.')
        return text or None

    def _per_kg(self) -> float | None:
        """Give the price of a kilogram."""
        price = number(self.price.value, "€/kg")
        if price is None or "/" in self.price.value:  # it says by what it is
            return price
        return price / parse_quantity(f"1 {self.measures.unit('mass')}", "mass")


def _range(found: Any) -> Range:
    """Take a range from a document."""
    return Range(found["low"], found["mid"], found["high"])
