"""Fields below the drawing of a tank: the chosen piece, soil, glass, new pieces, results."""

import asyncio
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any

from nicegui.element import Element

from plumbstone.cli.documents import CAUTIONS, RESULTS
from plumbstone.cli.page import changes
from plumbstone.cli.page.changes import Edit
from plumbstone.cli.page.desk import Seen
from plumbstone.cli.page.folder import Kept
from plumbstone.cli.page.measures import angle, degrees, number
from plumbstone.cli.page.tank_view import TankView
from plumbstone.cli.page.widgets import Choice, Field, Form, button, element, say, telling
from plumbstone.cli.wording import page as words
from plumbstone.cli.wording import page_labels as labels
from plumbstone.cli.wording.offers import TUB_MASS
from plumbstone.cli.wording.units import written
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.shapes.primitives import SOLIDS
from plumbstone.volumes.scape.materials import load_materials
from plumbstone.volumes.scape.quantities import parse_quantity
from plumbstone.volumes.scape.scape import PieceEntry
from plumbstone.volumes.scape.writing import free_name, pieces_named, with_keys, without

SHEET = "build-sheet.html"
Way = Sequence[str | int]
Keys = Callable[[PieceEntry, str], dict[str, Any]]
ZONES = ("all", "behind border", "before border", "along border", "border gaps")
LEVELS = (
    "front", "back", "left", "right", "front_left", "front_right", "back_left", "back_right",
    "black", "white",
)  # fmt: skip


def made_of(*kinds: str) -> list[tuple[str, str]]:
    """Give the materials of some kinds to choose from."""
    return [(m.key, m.name) for m in load_materials().values() if m.kind in kinds]


class TankForms:
    """The fields of one tab."""

    def __init__(self, view: TankView, piece_place: Element) -> None:
        self.view, self.desk, self.measures = view, view.desk, view.measures
        self._written_of: Seen | None = None  # the state that is told in the results
        folds = [_fold(name) for name in ("Soil and its bags", "Tank and glass")]
        self._forms = (
            Form(piece_place, self._piece_shape, self._piece),
            Form(folds[0], self._soil_shape, self._soil),
            Form(folds[1], lambda: bool(self.desk.layout) or None, self._tank),
        )
        with _fold(labels.ADD_PIECE):
            self._new_piece()
        if kept := self.desk.folder.kept():
            with _fold("Add from the stock"):
                self._stock(kept)
        with _fold("Build sheet, drawings, versions"):
            self._results()
        for name, told in (("Keys", words.KEYS), ("Cautions", CAUTIONS)):
            with _fold(name):
                for line in told:
                    element("p", "soft", line)

    def refresh(self) -> None:
        """Show the newest state in all fields."""
        for form in self._forms:
            form.refresh()
        now = self.desk.seen
        if self._written_of is not None and now is not self._written_of:
            self._written_of = None
            say(self._written, words.WRITTEN_BEFORE)

    async def _do(self, make: Callable[[], Edit]) -> None:
        """Make an edit when all that was begun before is done, so that nothing of it is lost."""
        await self.view.edit(lambda text: make()(text))

    def _entry(self) -> PieceEntry | None:
        return self.view.entry(self.view.selected)

    def _piece_shape(self) -> Any:
        entry = self._entry()
        if entry is None:
            return None
        sized = entry.shape.size is not None
        return entry.name, entry.rests == "bed", sized, tuple(e.name for e in self.view.entries)

    def _piece(self) -> None:
        entry = self._entry()
        assert entry is not None
        name, form, shown = entry.name, self._forms[0], self.measures.shown
        element("h2", "", name)
        with element("div", "pair"):
            self._piece_field("From left", lambda e: shown(e.at[0]), self._at(0))
            self._piece_field("From front", lambda e: shown(e.at[1]), self._at(1))
            self._piece_field(
                "Turn °", lambda e: f"{e.turn:g}", lambda _, text: {"turn": degrees(angle(text))}
            )
            self._piece_field(
                "Tilt °", lambda e: f"{e.tilt:g}", lambda _, text: {"tilt": degrees(angle(text))}
            )
            if entry.rests == "bed":
                self._piece_field(
                    "Pressed in",
                    lambda e: shown(e.pressed),
                    lambda _, text: {"pressed": self.measures.typed(text)},
                )
            if entry.shape.size is not None:
                for axis, side in enumerate(("Long", "Wide", "High")):
                    self._piece_field(side, partial(_side, shown, axis), self._size(axis))
            self._piece_field("Weighed", self._mass_of, self._mass)
            if entry.kind == "wood":
                example = labels.JUST_SINKS.format(mass=TUB_MASS[self.view.units])
                self._field(
                    form, example, partial(self._tub_of, name),
                    lambda told: lambda text: changes.with_tub_test(
                        text, self.desk.scape, name, told
                    ),
                )  # fmt: skip
            self._choice(
                form, "Made of", made_of(entry.kind), lambda: self.view.now(name).material.key,
                lambda value: _keys("piece", name, material=value),
            )  # fmt: skip
            self._choice(
                form, labels.SETTLES, [("", "as drawn"), ("true", labels.TURNS)],
                lambda: "true" if self.view.now(name).settle else "",
                lambda value: _keys("piece", name, settle=True if value else None),
            )  # fmt: skip
            grounds = [("floor", "the glass"), ("bed", labels.THE_BED)]
            grounds += [(e.name, e.name) for e in self.view.entries if e.name != name]
            self._choice(
                form, labels.STANDS_ON, grounds, lambda: self.view.now(name).rests,
                lambda value: _keys("piece", name, rests=value),
            )  # fmt: skip
        with element("div", "acts"):
            button("Copy", lambda: self.view.copy(name), "small")
            button("Mirror", lambda: self.view.mirror(name), "small")
            button("Take out", lambda: self.view.take_out(name), "small")
            if entry.kind == "stone":
                button(labels.TIE, lambda: self.view.tie(name), "small")

    def _piece_field(self, label: str, read: Callable[[PieceEntry], str], keys: Keys) -> None:
        name, now = self.view.selected, self.view.now
        self._field(
            self._forms[0], label, lambda: read(now(name)),
            lambda text: _keys("piece", name, **keys(now(name), text)),
        )  # fmt: skip

    def _at(self, axis: int) -> Keys:
        return lambda entry, text: {"at": self._with(entry.at, axis, text)}

    def _size(self, axis: int) -> Keys:
        return lambda entry, text: {"size": self._with(entry.shape.size or (), axis, text)}

    def _with(self, lengths: Sequence[float], axis: int, text: str) -> list[str]:
        """Write lengths [m], one of them as it was typed."""
        written = [self.measures.written(length) for length in lengths]
        return [*written[:axis], self.measures.typed(text), *written[axis + 1 :]]

    def _mass(self, _entry: PieceEntry, text: str) -> dict[str, Any]:
        return {"mass": self.measures.typed(text, "mass") if text.strip() else None}

    def _mass_of(self, entry: PieceEntry) -> str:
        return "" if entry.mass is None else self.measures.shown_mass(entry.mass)

    def _tub_of(self, wood: str) -> str:
        """Tell with which stone the group of a piece of wood just sinks."""
        tub = next((group.tub for group in self.desk.scape.groups if wood in group.wood), None)
        if tub is None:
            return ""
        return f"{written(tub.mass, 'mass', self.view.units)} {tub.material.name}"

    def _soil_shape(self) -> Any:
        if self.desk.layout is None:
            return None
        rows = changes.layer_rows(self.desk.text)
        row = next((row for row in rows if row["name"] == self.view.layer), None)
        names = tuple(row["name"] for row in rows)
        borders = tuple(border.name for border in self.desk.layout.scape.borders)
        zone = None if row is None else str(row.get("zone"))
        return names, borders, zone, None if row is None else _shape_of(row)

    def _row(self) -> dict[str, Any]:
        return changes.layer_row(self.desk.text, self.view.layer)

    def _soil(self) -> None:
        names = [row["name"] for row in changes.layer_rows(self.desk.text)]
        if self.view.layer in names:
            choose = Choice("Layer", [(name, name) for name in names], self.view.layer)
            choose.on_change = lambda: self.view.choose_layer(choose.value)
            self._layer(self.view.layer)
        with element("div", "pair"):
            material = Choice("New layer of", made_of("substrate"), "sand")
            zone = Choice("Where", [(zone, zone) for zone in ZONES], "all")
        button("Add the layer", lambda: self._add_layer(material.value, zone.value), "small")

    async def _add_layer(self, material: str, zone: str) -> None:
        await self.view.edit(
            lambda text: changes.with_new_layer(text, material, zone, self.measures)
        )
        self.view.choose_layer(changes.layer_rows(self.desk.text)[-1]["name"])

    def _layer(self, name: str) -> None:
        """Fields of one layer: material, heights, mounds, bags."""
        row, form = self._row(), self._forms[1]
        key = changes.level_key(row)
        with element("div", "pair"):
            self._choice(
                form, "Made of", made_of("substrate", "strip"),
                lambda: str(self._row()["material"]),
                lambda value: _keys("layer", name, material=value),
            )  # fmt: skip
            self._where(row)
            self._levels(key, row.get(key))
            for i, _ in enumerate(row.get("mounds", [])):
                self._deep(f"Mound {i + 1}: rise", ["mounds", i, "rise"])
                self._deep(f"Mound {i + 1}: radius", ["mounds", i, "radius"])
        with element("div", "acts"):
            self._changer("Add a mound", partial(self._mound, name))
            for i, _ in enumerate(row.get("mounds", [])):
                self._taker(f"Take mound {i + 1} away", ["mounds", i])
            self._changer("Add a terrace", partial(self._shaped, name, changes.with_terraces))
            sloped, apart = (partial(changes.with_slope, apart=apart) for apart in (False, True))
            self._changer("Slope: front and back", partial(self._shaped, name, sloped))
            self._changer("Each corner by itself", partial(self._shaped, name, apart))
        for i, _ in enumerate(row.get("bags", [])):
            with element("div", "pair"):
                self._deep(f"Bag {i + 1} holds", ["bags", i, "holds"], "volume")
                self._deep(f"Bag {i + 1} costs", ["bags", i, "price"], "price")
        with element("div", "acts"):
            bag = {"holds": f"5 {self.measures.unit('volume')}"}
            add = partial(changes.with_part, layer=name, key="bags", part=bag)
            self._changer("Add a size of bag", lambda: add)
            if row.get("bags"):
                self._taker("Take the last bag away", ["bags", -1])
            self._changer("Take the layer out", lambda: lambda text: without(text, "layer", name))

    def _where(self, row: dict[str, Any]) -> None:
        """Choose where a layer lies, and of several borders which one is meant."""
        name, form = self.view.layer, self._forms[1]
        if row.get("zone") in ZONES:
            self._choice(
                form, "Where", [(zone, zone) for zone in ZONES],
                lambda: str(self._row().get("zone")),
                lambda value: _keys("layer", name, zone=value, width=None),
            )  # fmt: skip
        borders = self.desk.layout.scape.borders if self.desk.layout else ()
        if len(borders) > 1 and str(row.get("zone", "")).endswith("border"):
            self._choice(
                form, "Which border", [(border.name, border.name) for border in borders],
                lambda: str(self._row().get("border", borders[0].name)),
                lambda value: _keys("layer", name, border=value),
            )  # fmt: skip

    def _levels(self, key: str, levels: Any) -> None:
        """Fields for the heights of a layer."""
        if isinstance(levels, str):
            self._deep("All over", [key])
        elif isinstance(levels, dict):
            for pane in LEVELS:
                if isinstance(levels.get(pane), str):
                    self._deep(pane.replace("_", " ").capitalize(), [key, pane])
            for i, _ in enumerate(levels.get("points", [])):
                self._deep(f"Point {i + 1} level", [key, "points", i, "level"])
            for i, _ in enumerate(levels.get("terraces", [])):
                self._deep(f"Terrace {i + 1} from", [key, "terraces", i, "from"])
                self._deep(f"Terrace {i + 1} level", [key, "terraces", i, "level"])

    def _mound(self, layer: str) -> Edit:
        """Add a mound where the layer is, at the back of the middle."""
        tank = self.desk.scape.tank
        at = (self.measures.snapped(tank.length / 2), self.measures.snapped(0.7 * tank.depth))
        return lambda text: changes.with_mound(text, layer, at, self.measures)

    def _shaped(self, layer: str, change: Callable[..., str]) -> Edit:
        return lambda text: change(text, layer, self.desk.scape, self.measures)

    def _deep(self, label: str, way: Way, kind: str = "length") -> None:
        """Make a field for one value deep inside the layer."""
        layer = self.view.layer

        def read() -> str:
            return str(changes.held_in(self._row(), way[:-1]).get(way[-1], ""))

        def edit(text: str) -> Edit:
            value: Any = self.measures.with_unit(text, kind) if kind != "price" else number(text)
            return lambda old: changes.with_in_layer(old, layer, way, value)

        self._field(self._forms[1], label, read, edit)

    def _tank(self) -> None:
        form = self._forms[2]

        def sides() -> list[float]:
            tank = self.desk.scape.tank
            return [side for side in (tank.length, tank.depth, tank.height) if side]

        def edit_of(axis: int, text: str) -> Edit:
            return _keys("tank", None, inside=self._with(sides(), axis, text), outside=None)

        def read(axis: int) -> str:
            return self.measures.shown(sides()[axis]) if axis < len(sides()) else ""

        with element("div", "pair"):
            for axis, name in enumerate(("Length inside", "Depth inside", "Height inside")):
                self._field(form, name, partial(read, axis), partial(edit_of, axis))
            self._field(
                form, "Glass, thick", lambda: self.measures.shown_pane(self.desk.scape.tank.glass),
                lambda text: _keys("tank", None, glass=self.measures.pane(text)),
            )  # fmt: skip

    def _new_piece(self) -> None:
        name = Field("Name of it", "Stone", None)
        with element("div", "pair"):
            material = Choice("Made of", made_of("stone", "wood"), "granite")
            shapes = [("", words.BY_SIZE), *((solid, solid) for solid in (*SOLIDS, "boulder"))]
            shape = Choice("Shape", shapes, "")
        with element("div", "sides"):
            sides = [
                Field(side, "", None, inputmode="decimal") for side in ("Long", "Wide", "High")
            ]

        async def add() -> None:
            size = [self.measures.typed(side.value) for side in sides]
            kind = load_materials()[material.value].kind
            keys: dict[str, Any] = {"kind": kind, "material": material.value, "size": size}
            if shape.value:
                keys["solid"] = shape.value
            lengths = [parse_quantity(side, "length") for side in size]
            await self._add({"name": name.value.strip() or kind.capitalize(), **keys}, lengths)

        button("Set it into the tank", telling(self.view.wrong, add), "main")

    def _stock(self, kept: Sequence[Kept]) -> None:
        with element("ul", "told"):
            for one in kept:
                mass = written(one.kilograms[1], "mass", self.view.units)
                told = f"{one.name}, {one.material}, {mass}"
                act = partial(self._add, changes.of_stock(one, self.measures), one.size)
                with element("li"):
                    element("button", "", told, type="button").on("click", act)

    async def _add(self, keys: dict[str, Any], size: Sequence[float]) -> None:
        """Set a new piece at the first free place, the middle first."""
        new: list[str] = []

        def edits() -> Iterator[Edit]:
            new.append(free_name(str(keys["name"]), pieces_named(self.desk.text)))
            row, others = {**keys, "name": new[0]}, [*self.desk.outlines().values()]
            floor = size[:2] or (0.0, 0.0)
            yield from changes.added_somewhere(row, floor, others, self.desk.scape, self.measures)

        if await self.view.edit_first(edits()):
            self.view.choose(new[0])

    def _results(self) -> None:
        button("Write build sheet and drawings", telling(self.view.wrong, self._write), "small")
        self._written = element("p", "", role="status")
        if self.desk.folder.result_of(self.desk.name, SHEET):
            self._link(words.WRITTEN_EARLIER)
        version = Field("Name of this version", "Second try")
        keep = partial(self._keep_version, version)
        button("Keep it as a version", telling(self.view.wrong, keep), "small")
        self._kept = element("p", "", role="status")
        with element("p"):
            address = f"/compare?one={self.desk.name}"
            element("a", "line", "Compare with another version or tank", href=address)

    async def _write(self) -> None:
        """Write all results beside the scape file, and link to the sheet."""
        from plumbstone.cli.results import write_results

        seen, name = self.desk.seen, self.desk.name
        if seen is None or not seen.judged:
            raise PlumbstoneError(words.NOT_YET)
        say(self._written, words.WRITING)
        folder = self.desk.folder.results_of(name)
        try:
            await asyncio.to_thread(write_results, seen.plan, seen.report, folder, self.view.units)
        except PlumbstoneError:
            say(self._written, "")
            raise
        self._written_of = seen
        self._link(words.WRITTEN_INTO)

    def _link(self, told: str) -> None:
        """Link to what is written, the sheet first."""
        folder, name = self.desk.folder, self.desk.name
        say(self._written, told.format(folder.results_of(name).name))
        with self._written, element("span", "acts"):
            for file in sorted(filter(partial(folder.result_of, name), RESULTS), key=SHEET.__ne__):
                element("a", "", file, href=f"/result/{name}/{file}", target="_blank")

    async def _keep_version(self, version: Field) -> None:
        """Write the tank as it is under a name of its own."""
        name = self.desk.folder.keep_version(self.desk.name, version.value, self.desk.text)
        say(self._kept, words.KEPT_VERSION.format(name))

    def _field(
        self, form: Form, label: str, read: Callable[[], str], edit: Callable[[str], Edit]
    ) -> None:
        async def typed() -> None:
            text = field.value
            await self._do(lambda: edit(text))

        field = Field(label, read(), typed, when="change", inputmode="text")
        form.follow(field, read)

    def _choice(
        self,
        form: Form,
        label: str,
        options: list[tuple[str, str]],
        read: Callable[[], str],
        edit: Callable[[str], Edit],
    ) -> None:
        now = read()
        if now not in [key for key, _ in options]:
            options = [(now, now), *options]

        async def chosen() -> None:
            key = choice.value
            await self._do(lambda: edit(key))

        choice = Choice(label, options, now, chosen)
        form.follow(choice, read)

    def _taker(self, label: str, way: Way) -> None:
        """Make a button that takes one part of the layer away."""
        gone = partial(changes.with_in_layer, layer=self.view.layer, way=way, value=None)
        self._changer(label, lambda: gone)

    def _changer(self, label: str, make: Callable[[], Edit]) -> None:
        button(label, lambda: self._do(make), "small")


def _fold(name: str) -> Element:
    """Make a place that unfolds; give what is inside of it."""
    with element("details"):
        element("summary", "", name)
        return element("div")


def _keys(table: str, name: str | None, **keys: Any) -> Edit:
    return lambda text: with_keys(text, table, name, keys)


def _side(shown: Callable[[float], str], axis: int, entry: PieceEntry) -> str:
    return "" if entry.shape.size is None else shown(entry.shape.size[axis])


def _shape_of(value: Any) -> Any:
    """Give the keys of a table and of all in it, without values."""
    if isinstance(value, dict):
        return tuple((key, _shape_of(part)) for key, part in value.items())
    return tuple(map(_shape_of, value)) if isinstance(value, list) else None
