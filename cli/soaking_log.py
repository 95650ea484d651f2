"""A log of weighings of soaking wood, from a CSV file."""

import csv
import io
import stat
from datetime import date
from pathlib import Path

from plumbstone.meshes.errors import NOT_UTF8, PlumbstoneError, unreadable
from plumbstone.volumes.scape.groups import Weighing
from plumbstone.volumes.scape.quantities import QuantityError, bare_number

COLUMNS = "date,grams,weighed"
LARGEST = 1_000_000  # [bytes]


def read_log(path: Path) -> dict[str, list[Weighing]]:
    """Read weighings by group; the empty name where the file has no column `group`.

    The first line names the columns: `date` (2026-03-01, or a day number), `grams`, `weighed`
    ("air" or "water") and, for several groups, `group`, parted by commas or by semicolons. Days
    count from the first date.

    Raises
    ------
    PlumbstoneError
        If the file cannot be read; the message names the line.
    """
    try:
        state = path.stat()
        if not stat.S_ISREG(state.st_mode):
            raise PlumbstoneError(f"{path}: is no plain file; name a log of weighings.")
        if state.st_size > LARGEST:
            raise PlumbstoneError(f"{path}: is over 1 MB; a log is a page of text.")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise PlumbstoneError(f"{path}: {unreadable(path, error)}") from None
    except UnicodeDecodeError:
        raise PlumbstoneError(f"{path}: {NOT_UTF8}") from None
    spreadsheet = ";" in text.partition("\n")[0]  # as one writes whose commas are decimal
    rows = csv.DictReader(io.StringIO(text), delimiter=";" if spreadsheet else ",")
    names = [name.strip().lower() for name in rows.fieldnames or []]
    if not {"date", "grams"} <= set(names):
        raise PlumbstoneError(f"{path}: line 1: name the columns: {COLUMNS}.")
    rows.fieldnames = names
    found: dict[str, list[tuple[float, Weighing]]] = {}
    for number, row in enumerate(rows, 2):
        where = f"{path}: line {number}"
        day, mass = _day(row["date"], where), _grams(row["grams"], where)
        weighed = (row.get("weighed") or "air").strip().lower()
        if weighed not in ("air", "water"):
            raise PlumbstoneError(f'{where}: weighed is "{weighed}"; write air or water.')
        name = (row.get("group") or "").strip()
        found.setdefault(name, []).append((day, Weighing(0.0, mass, weighed == "water")))
    if not found:
        raise PlumbstoneError(f"{path}: holds no weighing; add lines of {COLUMNS}.")
    return {name: _from_first(weighings) for name, weighings in found.items()}


def _from_first(weighings: list[tuple[float, Weighing]]) -> list[Weighing]:
    """Count days from the first weighing on, in their order."""
    ordered = sorted(weighings, key=lambda pair: pair[0])
    first = ordered[0][0]
    return [Weighing(day - first, w.mass, w.in_water) for day, w in ordered]


def _day(text: str | None, where: str) -> float:
    """Read a date or the number of a day."""
    words = (text or "").strip()
    try:
        return float(date.fromisoformat(words).toordinal())
    except ValueError:
        pass
    try:
        day = float(words)
    except ValueError:
        day = float("nan")
    if not 0 <= day < 1e5:
        raise PlumbstoneError(f'{where}: date "{words}"; write 2026-03-01, or a day number.')
    return day


def _grams(text: str | None, where: str) -> float:
    """Read a mass in grams [kg]."""
    try:
        grams = bare_number(text or "")
    except QuantityError:
        grams = float("nan")
    if not -1e5 < grams < 1e6:
        raise PlumbstoneError(f'{where}: grams "{(text or "").strip()}"; write a number of grams.')
    return grams * 1e-3
