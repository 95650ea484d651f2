"""Reading one table of a scape file key by key, with errors that name file and key."""

import difflib
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar, TypeVarTuple

from plumbstone.meshes.errors import PlumbstoneError, shown
from plumbstone.meshes.limits import MOST_ENTRIES, MOST_POINTS, raised
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.reading.beside import OutsideError, file_beside
from plumbstone.volumes.scape.quantities import QuantityError, bare_number, parse_quantity

T = TypeVar("T")
Given = TypeVarTuple("Given")
_REQUIRED: Any = object()
LONGEST_TEXT = 300  # such as a name [characters]
TABLES = {
    "tank": '{ inside = ["60 cm", "30 cm", "36 cm"] }',
    "bags": '{ holds = "9 L", price = 22 }',
    "depth": '{ front = "3 cm", back = "8 cm" }',
}  # fmt: skip
CALLED = {  # what people call it: its key
    "weight": "mass", "position": "at", "pos": "at", "x": "at", "rotation": "turn", "angle": "turn",
    "slope": "front and back", "thickness": "depth", "dimensions": "size", "width": "size",
    "length": "size", "type": "material", "volume": "holds", "cost": "price", "file": "scan",
    "stone": "piece", "rock": "piece", "wood": "piece", "substrate": "layer", "soil": "layer",
    "diameter": "girth, around both ends, 3.14 times the diameter",
    "shape": "inside, as tanks are upright boxes here",
    "mounds": "front and back here, and mounds in the layer itself",
    "paths": "front and back here, and paths in the layer itself",
}  # fmt: skip
MOST_TOLD = 4  # of further mistakes in a file
LARGEST = 1e9  # of all that is a bare number
PLACES = {"xy": '["20 cm", "12 cm"]', "xyz": '["20 cm", "12 cm", "5 cm"]'}
EXAMPLES = {"length": '"20 cm"', "mass": '"2.5 kg"', "volume": '"9 L"', "area": '"900 cm2"'}


class ScapeError(PlumbstoneError, ValueError):
    """A scape file that says something impossible; names the file and the key."""

    def __init__(self, path: Path, where: str, problem: str) -> None:
        self.path, self.where, self.problem = path, where, problem
        super().__init__(f"{path}: {where}: {problem}" if where else f"{path}: {problem}")


class Section:
    """One table of a scape file.

    Each reader takes a key away; `done` then refuses what is left over, so a
    misspelt key never passes unseen. Every reader raises `ScapeError` when the key
    is missing (unless a default is given) or its value is of the wrong kind.
    """

    def __init__(
        self, values: Any, path: Path, where: str = "", files: list[Path] | None = None
    ) -> None:
        self.path, self.where = path, where
        self.files = [path] if files is None else files  # all that is read for the whole file
        if not isinstance(values, dict):
            like = TABLES.get(where.rpartition(".")[2].split(" ")[0], "[tank]")
            given = f"a list, as below [[{where}]]" if isinstance(values, list) else _brief(values)
            raise ScapeError(path, where, f"is {given}; it must be keys, as in {like}.")
        self._left: dict[str, Any] = dict(values)
        self._known: list[str] = []
        self._amiss: list[ScapeError] = []

    def error(self, key: str, problem: str) -> ScapeError:
        """Make an error about one key, to be raised by the caller."""
        key = f"{key[:60]}..." if len(key) > 60 else key
        return ScapeError(self.path, f"{self.where}.{key}" if self.where else key, problem)

    def has(self, key: str) -> bool:
        """Tell whether the key is given and not read yet; marks it as known."""
        self._known.append(key)
        return key in self._left

    def peek(self, key: str) -> Any:
        """Look at a value without taking it; None where it is not given."""
        self._known.append(key)
        return self._left.get(key)

    def raw(self, key: str, default: Any = _REQUIRED, like: str = "") -> Any:
        """Take a value as TOML gave it; `like` is an example, told where it is missing."""
        self._known.append(key)
        if key in self._left:
            return self._left.pop(key)
        if default is _REQUIRED:
            hint = f"; write {key} = {like}" if like else ""
            hint += f" (given: {', '.join(map(shown, self._left))[:80]})" if self._left else ""
            meant = [CALLED.get(given.lower(), "") for given in self._left]
            hint += "".join(f"; give {word}" for word in meant if word.startswith(f"{key}, "))
            raise self.error(key, f"is missing{hint}.")
        return default

    def quantity(
        self, key: str, kind: str, default: Any = _REQUIRED, *, least: float = -math.inf
    ) -> Any:
        """Take one quantity ("8 cm") [SI], or the default as it is.

        `kind` is as in `parse_quantity`; a value below `least` (SI) is refused.
        """
        value = self.raw(key, default, EXAMPLES.get(kind, ""))
        return value if value is default else self._parsed(key, value, kind, least)

    def lengths(
        self,
        key: str,
        default: Any = _REQUIRED,
        *,
        count: int | None = None,
        least: float = -math.inf,
    ) -> Any:
        """Take a list of lengths as a tuple of floats [m]; `count` fixes how many."""
        like = ", ".join([EXAMPLES["length"]] * (count or 2))
        value = self.raw(key, default, f"[{like}]")
        if value is default:
            return value
        if not isinstance(value, list) or (count is not None and len(value) != count):
            wanted = f"{count} quantities" if count else "quantities"
            raise self.error(key, f"must be a list of {wanted}, each with its unit: [{like}].")
        parts = enumerate(value, 1)
        return tuple(self._parsed(f"{key}[{i}]", v, "length", least) for i, v in parts)

    def points(
        self,
        key: str,
        default: Any = _REQUIRED,
        *,
        axes: str = "xy",
        least_count: int = 1,
        most: int = MOST_POINTS,
    ) -> Any:
        """Take a list of positions ("20 cm", "12 cm") as a tuple of tuples, one [m] an axis."""
        like = PLACES[axes]
        value = self.raw(key, default, f"[{like}, ...]")
        if value is default:
            return value
        if not isinstance(value, list) or len(value) < least_count:
            told = ", ".join(f'"{axis}"' for axis in axes)
            raise self.error(key, f"must be a list of at least {least_count} [{told}] points.")
        self._check_count(key, value, most)
        for i, place in enumerate(value, 1):
            if not isinstance(place, list) or len(place) != len(axes):
                raise self.error(f"{key}[{i}]", f"must be a point such as {like}.")
        return tuple(
            tuple(self._parsed(f"{key}[{i}]", part, "length", -math.inf) for part in place)
            for i, place in enumerate(value, 1)
        )

    def range(self, key: str, kind: str, default: Any = _REQUIRED) -> Any:
        """Take a quantity, or [low, high] or [low, mid, high] of them, as a `Range`."""
        value = self.raw(key, default)
        if value is default:
            return value
        if not isinstance(value, list):
            return Range.exact(self._parsed(key, value, kind, -math.inf))
        if len(value) not in (2, 3):
            raise self.error(key, "must be one value, [low, high] or [low, mid, high].")
        parts = [self._parsed(key, part, kind, -math.inf) for part in value]
        if len(parts) == 2:
            parts.insert(1, sum(parts) / 2)
        if not parts[0] <= parts[1] <= parts[2]:
            raise self.error(key, "must rise from low to high.")
        return Range(*parts)

    def number(
        self,
        key: str,
        default: Any = _REQUIRED,
        *,
        least: float = -LARGEST,
        most: float = LARGEST,
        sign: str = "",
    ) -> Any:
        """Take a bare number within bounds, or a text of one with a sign, as in `bare_number`."""
        value = self.raw(key, default)
        if value is default:
            return value
        if isinstance(value, str):
            try:
                value = bare_number(value, sign)
            except QuantityError as error:
                raise self.error(key, error.text) from None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.error(key, f"is {_brief(value)}; it must be a number.")
        if not least <= value <= most or not math.isfinite(value):
            percent = f' For {value:g} % write "{value:g} %".' if sign == "%" and value > 1 else ""
            problem = f"is {_brief(value)}; it must lie from {least:g} to {most:g}.{percent}"
            raise self.error(key, problem)
        return float(value)

    def whole(self, key: str, default: Any = _REQUIRED, *, least: int = 0) -> Any:
        """Take a whole number of at least `least`."""
        value = self.raw(key, default)
        if value is default:
            return value
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value < 10**9:
            raise self.error(
                key, f"is {_brief(value)}; it must be a whole number of {least} or more."
            )
        return value

    def text(self, key: str, default: Any = _REQUIRED) -> Any:
        """Take a text."""
        value = self.raw(key, default, '"..."')
        if value is default:
            return value
        if not isinstance(value, str) or not value.strip():
            raise self.error(key, "must be a text in quotation marks.")
        if len(value) > LONGEST_TEXT:
            raise self.error(key, f"is a text of over {LONGEST_TEXT} characters; shorten it.")
        return shown(value)

    def file(self, key: str, default: Any = _REQUIRED) -> Any:
        """Take the name of a file beside or below this one as its path."""
        value = self.raw(key, default)
        if value is default:
            return value
        if not isinstance(value, str) or not value.strip():
            raise self.error(key, "must be the name of a file in quotation marks.")
        try:
            path = file_beside(self.path.parent, value)
        except OutsideError as error:
            raise self.error(key, f'"{value[:80]}" {error.text}') from None
        self.files.append(path)
        return path

    def texts(self, key: str) -> tuple[str, ...]:
        """Take one text or a list of texts as a tuple, empty where it is not given."""
        value = self.raw(key, [])
        parts = value if isinstance(value, list) else [value]
        if not all(isinstance(part, str) for part in parts):
            raise self.error(key, "must be a text or a list of texts.")
        return tuple(map(shown, parts))

    def choice(self, key: str, options: Sequence[str], default: Any = _REQUIRED) -> Any:
        """Take one of the given words."""
        value = self.raw(key, default)
        if value is default or value in options:
            return value
        raise self.error(key, f"is {_brief(value)}; it must be one of {', '.join(options)}.")

    def flag(self, key: str) -> bool:
        """Take true or false; false where it is not given."""
        value = self.raw(key, False)
        if not isinstance(value, bool):
            raise self.error(key, "must be true or false.")
        return value

    def section(self, key: str, default: Any = _REQUIRED) -> Any:
        """Take a sub-table as a `Section`, or the default as it is."""
        value = self.raw(key, default, TABLES.get(key, ""))
        if value is default:
            return value
        where = f"{self.where}.{key}" if self.where else key
        return Section(value, self.path, where, self.files)

    def sections(self, key: str, *, most: int = MOST_ENTRIES) -> "list[Section]":
        """Take an array of tables ([[piece]]) as a list, empty where it is not given."""
        value = self.raw(key, [])
        if not isinstance(value, list):
            like = f"{key} = [{{ ... }}]" if self.where else f"[[{key}]]"
            raise self.error(key, f"must be an array of tables; write {like}.")
        self._check_count(key, value, most)
        found = []
        for i, entry in enumerate(value, 1):
            name = entry.get("name") if isinstance(entry, dict) else None
            label = f' "{name[:60]}"' if isinstance(name, str) else ""
            prefix = f"{self.where}." if self.where else ""
            found.append(Section(entry, self.path, f"{prefix}{key} {i}{label}", self.files))
        return found

    def table(self, key: str, read: "Callable[[Section, *Given], T]", *given: *Given) -> T | None:
        """Take a sub-table whole by a function that reads it; None where it is not given."""
        found = self.section(key, None)
        return None if found is None else found.read_by(read, *given)

    def tables(
        self,
        key: str,
        read: "Callable[[Section, *Given], T]",
        *given: *Given,
        most: int = MOST_ENTRIES,
    ) -> tuple[T, ...]:
        """Take an array of tables, each whole by a function that reads one."""
        found = []
        for entry in self.sections(key, most=most):
            with self.gathering():
                found.append(entry.read_by(read, *given))
        return tuple(found)

    @contextmanager
    def gathering(self) -> Iterator[None]:
        """Go on after what is amiss in a table of the file, so that `refuse` can tell all of it."""
        try:
            yield
        except ScapeError as error:
            if self.where:
                raise
            self._amiss.append(error)

    def refuse(self) -> None:
        """Refuse a file for what was gathered."""
        if self._amiss:
            first, *more = self._amiss
            also = "".join(f" Also {each.where}: {each.problem}" for each in more[:MOST_TOLD])
            raise ScapeError(self.path, first.where, first.problem + also)

    def read_by(self, read: "Callable[[Section, *Given], T]", *given: *Given) -> T:
        """Give what a function makes of this table; refuse keys that it did not read."""
        found = read(self, *given)
        self.done()
        return found

    def done(self) -> None:
        """Refuse the keys that nobody read, and name the nearest known one."""
        for key in self._left:
            called = CALLED.get(key.lower(), "")
            near = [called] if called.replace(",", "").partition(" ")[0] in self._known else []
            near = near or difflib.get_close_matches(key, self._known, n=1, cutoff=0.5)
            hint = f' Did you mean "{near[0]}"?' if near else ""
            known = "" if near else f" Known keys: {', '.join(sorted(set(self._known)))}."
            raise self.error(key, f"is not a known key.{hint}{known}")

    def _check_count(self, key: str, values: list[Any], most: int) -> None:
        """Refuse lists whose computation would take hours."""
        if len(values) > raised(most):
            problem = f"holds {len(values)} entries, over {raised(most)}; take fewer, or raise"
            raise self.error(key, f"{problem} <limits>.")

    def _parsed(self, key: str, value: Any, kind: str, least: float) -> float:
        """Parse one quantity and check its lower bound (SI)."""
        try:
            number = parse_quantity(value, kind)
        except QuantityError as error:
            raise self.error(key, error.text) from None
        if number < least:
            bound = "less than nothing" if least == 0 else f"below {_written(least, kind)}"
            raise self.error(key, f"is {value}, {bound}; give a larger {kind}.")
        return number


def _written(value: float, kind: str) -> str:
    """Write a bound (SI) in the unit that people use for its kind."""
    unit, size = {"length": ("cm", 1e-2), "mass": ("g", 1e-3)}.get(kind, ("L", 1e-3))
    return f"{value / size:g} {unit}"


def _brief(value: Any) -> str:
    """Quote what a file says, at most a line of it."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:60]}…"
