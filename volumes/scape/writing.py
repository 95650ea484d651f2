"""Edits of a scape file's text: what is not touched stays as it was, byte for byte.

Texts go in and come out; nothing is read from or written to a disk here. A file is taken apart
into blocks, each a table header with the lines below it; only the block that is meant is parsed
and written anew, so comments, order and spacing of all others cannot change.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import tomlkit

from plumbstone.meshes.errors import PlumbstoneError

_HEADER = re.compile(r"[ \t]*(\[\[?)\s*([^\[\]\s]+)\s*\]\]?[ \t]*(#.*)?")


class WritingError(PlumbstoneError, ValueError):
    """An edit of something that the file does not have, or has in another form."""


@dataclass(frozen=True, slots=True)
class _Block:
    """One table of the file; the first has no header."""

    table: str  # "piece", "tank.sump"; empty for the top of the file
    text: str  # header and keys
    after: str = ""  # blank lines and comments below, which may speak of the next table

    @property
    def name(self) -> Any:
        """Give its name, None where it has none."""
        return self.values.get("name")

    @property
    def values(self) -> Mapping[str, Any]:
        """Give its keys as plain data."""
        found: Any = tomllib.loads(self.text)
        for part in self.table.split(".") if self.table else ():
            found = found[part]
            found = found[0] if isinstance(found, list) else found
        values: Mapping[str, Any] = found
        return values


def with_keys(text: str, table: str, name: str | None, keys: Mapping[str, Any]) -> str:
    r"""Set keys of one table.

    Parameters
    ----------
    text : str
        The scape file.
    table : str
        Such as ``"piece"`` or ``"tank"``.
    name : str or None
        Which of several tables of that kind; None for the only one, which is added if missing.
    keys : mapping of str to value
        As they shall stand in the file, lengths with their unit; None takes a key away.

    Raises
    ------
    WritingError
        If there is no such table.

    Examples
    --------
    >>> print(with_keys('[tank]\nwater_line = "30 cm"  # mine', "tank", None,
    ...                 {"water_line": "31 cm"}))
    [tank]
    water_line = "31 cm"  # mine
    """
    blocks = _blocks(text)
    if name is None and not any(block.table == table for block in blocks):
        return with_added(text, table, keys, listed=False)
    at = _place(blocks, table, name)
    parts = {f"{table}.{key}" for key in keys}  # a key may stand as tables of its own
    for place in reversed(range(at + 1, _last_of(blocks, at) + 1)):
        if blocks[place].table in parts:
            blocks = _dropped(blocks, place)
    blocks[at] = _set(blocks[at], keys)
    return _joined(blocks)


def with_added(text: str, table: str, keys: Mapping[str, Any], *, listed: bool = True) -> str:
    """Add a table after the last one of its kind, or at the end of the file."""
    brackets = ("[[", "]]") if listed else ("[", "]")
    end = _line_end(text)
    block = _set(_Block(table, f"{brackets[0]}{table}{brackets[1]}{end}"), keys)
    blocks = _blocks(text)
    same = [i for i, other in enumerate(blocks) if f"{other.table}.".startswith(f"{table}.")]
    _insert(blocks, same[-1] if same else len(blocks) - 1, [block], end)
    return _joined(blocks)


def with_copy(text: str, table: str, name: str, keys: Mapping[str, Any]) -> str:
    """Add a copy right after the original, with other values for some keys (its name among them).

    Raises
    ------
    WritingError
        If there is no such table.
    """
    blocks = _blocks(text)
    at = _place(blocks, table, name)
    last = _last_of(blocks, at)
    copies = [_set(replace(blocks[at], after=""), keys)]
    copies += [replace(block, after="") for block in blocks[at + 1 : last + 1]]
    _insert(blocks, last, copies, _line_end(text))
    return _joined(blocks)


def without(text: str, table: str, name: str | None) -> str:
    """Take one table away; comments below it stay, as they may speak of what follows.

    Raises
    ------
    WritingError
        If there is no such table.
    """
    blocks = _blocks(text)
    return _joined(_dropped(blocks, _place(blocks, table, name)))


def without_piece(text: str, name: str) -> str:
    """Take a piece away, and every mention of it in ties, border, groups and sinkers.

    What rested on it rests on the floor. A group without wood goes too.
    """
    blocks = [_freed(block, name) for block in _blocks(without(text, "piece", name))]
    for at in reversed(range(1, len(blocks))):
        if blocks[at].table == "group" and not blocks[at].values.get("wood"):
            blocks = _dropped(blocks, at)
    return _joined(blocks)


def pieces_named(text: str) -> tuple[str, ...]:
    """List the names of all pieces in the order of the file."""
    return tuple(str(block.name) for block in _blocks(text) if block.table == "piece")


def free_name(wanted: str, taken: Iterable[str]) -> str:
    """Give a name that is not taken: "Stone", "Stone 2", "Stone 3".

    Examples
    --------
    >>> free_name("Stone 2", ["Stone", "Stone 2"])
    'Stone 3'
    """
    taken = {*taken, "floor", "bed"}
    stem = re.sub(r" \d+\Z", "", wanted)
    count, name = 1, wanted
    while name in taken:
        count += 1
        name = f"{stem} {count}"
    return name


def _freed(block: _Block, piece: str) -> _Block:
    """Take the mention of a piece out of one table."""
    values, keys = block.values, dict[str, Any]()
    lists = {"piece": "tied_to", "border": "stones", "group": "wood"}
    listed = lists.get(block.table, "")
    if piece in _texts(values.get(listed)):
        others = [name for name in _texts(values[listed]) if name != piece]
        keys[listed] = others or (None if listed == "tied_to" else [])
    if block.table == "piece" and values.get("rests") == piece:
        keys["rests"] = None
    sinkers = values.get("sinkers", []) if block.table == "group" else []
    if any(sinker.get("stone") == piece for sinker in sinkers):
        keys["sinkers"] = [s for s in sinkers if s.get("stone") != piece] or None
    return _set(block, keys) if keys else block


def _dropped(blocks: list[_Block], at: int) -> list[_Block]:
    """Take a table away with its parts; comments below stay."""
    last, above = _last_of(blocks, at), blocks[at - 1]
    kept = blocks[last].after
    kept = kept.lstrip("\r\n") if above.after else kept
    return [*blocks[: at - 1], replace(above, after=above.after + kept), *blocks[last + 1 :]]


def _texts(value: Any) -> list[str]:
    """Give one text or a list of them as a list."""
    if value is None:
        return []
    return list(value) if isinstance(value, list) else [value]


def _blocks(text: str) -> list[_Block]:
    """Take a file apart; a header counts where the text before it is whole TOML."""
    lines = text.splitlines(keepends=True)
    starts, tables, offset = [0], [""], 0
    for line in lines:
        found = _HEADER.fullmatch(line.rstrip("\r\n"))
        if found and _is_whole(text[starts[-1] : offset]):
            starts.append(offset)
            tables.append(found[2])
        offset += len(line)
    ends = [*starts[1:], len(text)]
    return [_cut(table, text[a:b]) for table, a, b in zip(tables, starts, ends, strict=True)]


def _cut(table: str, text: str) -> _Block:
    """Cut a block into its keys and the blank lines and comments that follow them."""
    lines = text.splitlines(keepends=True)
    end = len(lines)
    while end and not lines[end - 1].split("#")[0].strip():
        end -= 1
    last = "".join(lines[:end])
    if not _is_whole(last):  # what looks like a comment is part of a long text
        return _Block(table, text)
    return _Block(table, last, "".join(lines[end:]))


def _is_whole(text: str) -> bool:
    """Tell whether a text ends outside of any value."""
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return True


def _joined(blocks: Iterable[_Block]) -> str:
    """Put a file together again."""
    return "".join(block.text + block.after for block in blocks)


def _place(blocks: list[_Block], table: str, name: str | None) -> int:
    """Find a block by its table and name."""
    for i, block in enumerate(blocks):
        if block.table == table and (name is None or block.name == name):
            return i
    wanted = f'{table} "{name}"' if name is not None else f"[{table}]"
    raise WritingError(
        f"{wanted} is not written as a table of its own in the file, so it cannot be changed "
        "here; write it so, or change it in an editor."
    )


def _last_of(blocks: list[_Block], at: int) -> int:
    """Find the last block that is a part of the one at a place."""
    last = at
    while last + 1 < len(blocks) and blocks[last + 1].table.startswith(f"{blocks[at].table}."):
        last += 1
    return last


def _insert(blocks: list[_Block], after: int, new: list[_Block], end: str) -> None:
    """Put blocks behind another one, one blank line between them."""
    before = blocks[after]
    text = before.text
    if text and not text.endswith("\n"):
        text += end
    if after == len(blocks) - 1:  # comments at the end of a file stay with what is above
        blocks[after] = replace(before, text=text, after=_ended(before.after, end))
        gap = end if (text or before.after) else ""
        tail = ""
    else:
        blocks[after] = replace(before, text=text, after="")
        gap, tail = end, before.after
    new = [replace(new[0], text=gap + new[0].text), *new[1:]]
    new[-1] = replace(new[-1], after=tail)
    blocks[after + 1 : after + 1] = new


def _ended(text: str, end: str) -> str:
    """Give the lines without blank ones at their end, the last one whole."""
    kept = text.rstrip()
    return kept + end if kept else ""


def _set(block: _Block, keys: Mapping[str, Any]) -> _Block:
    """Set and remove keys of one block; the others keep their lines."""
    document = tomlkit.parse(block.text)
    table: Any = document
    for part in block.table.split(".") if block.table else ():
        table = table[part]
        table = table[0] if isinstance(table, list) else table
    for key, value in keys.items():
        if value is not None:
            table[key] = _item(value)
        elif key in table:
            del table[key]
    text = tomlkit.dumps(document)
    text = text if text.endswith("\n") or not block.after else text + _line_end(block.text)
    lines = text.replace("\r\n", "\n")
    return replace(block, text=lines.replace("\n", "\r\n") if "\r\n" in block.text else text)


def _item(value: Any) -> Any:
    """Give a value as it is written: tables in a line, lists of tables one a line."""
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        table.update({key: _item(part) for key, part in value.items()})
        return table
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        array.extend([_item(part) for part in value])
        if value and isinstance(value[0], Mapping):
            array.multiline(len(value) > 1)
        return array
    return tomlkit.item(value)


def _line_end(text: str) -> str:
    """Give how the lines of a text end."""
    return "\r\n" if "\r\n" in text else "\n"
