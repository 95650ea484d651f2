"""The one family of errors that a user can put right, and texts that show what is in them."""

import difflib
import unicodedata
from contextlib import suppress
from pathlib import Path

from plumbstone.meshes.telling import Naming, Telling, as_argument, metric, named

NOT_UTF8 = 'is not saved as UTF-8; choose that as "encoding" where you save it.'


class PlumbstoneError(Exception):
    """Anything the user can put right; the command line prints it and stops.

    Its `text` leaves open what is called otherwise by who tells it; as a string it speaks Python.
    """

    def __init__(self, message: str) -> None:
        super().__init__(shown(message))

    def __str__(self) -> str:
        return self.told(as_argument)

    @property
    def text(self) -> str:
        """What is wrong, see `telling.named`."""
        return str(self.args[0])

    def told(self, name: Naming, figures: Telling = metric) -> str:
        """Say what is wrong, with the names and the units of who tells it."""
        return named(self.text, name, figures)


def unreadable(path: Path, error: OSError) -> str:
    """Say why a file cannot be read, and which one beside it has such a name."""
    if path.is_symlink() and not path.exists():
        return "is a link to a file that is not there; copy the file itself here."
    near: list[str] = []
    with suppress(OSError):
        there = [*(path.parent if path.parent.is_dir() else path.parent.parent).iterdir()]
        near = [f"{other.name}/{path.name}" for other in there if (other / path.name).is_file()]
        near = near or sorted(other.name for other in there if other.stem == path.name)
        near = near or difflib.get_close_matches(path.name, [other.name for other in there], n=1)
    hint = f" Did you mean {near[0]}?" if near and isinstance(error, FileNotFoundError) else ""
    return f"cannot be read ({error.strerror or error}); check the name.{hint}"


def shown(text: str) -> str:
    r"""Write out what would act on a terminal or turn a line around instead of showing.

    Control characters, marks of direction, line separators and bytes of a file name that are
    no text become escapes, ``\x1b`` or ``\u202e``.

    Examples
    --------
    >>> print(shown("stone\x1b[2J"))
    stone\x1b[2J
    """
    if text.isprintable():  # no such sign acts
        return text
    return "".join(_escaped(sign) if _acts(sign) else sign for sign in text)


def _acts(sign: str) -> bool:
    """Tell whether a character does something else than show."""
    if unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp"):
        return True
    return unicodedata.bidirectional(sign) in _DIRECTIONS or sign in "\u200e\u200f\u061c\ufeff"


_DIRECTIONS = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")


def _escaped(sign: str) -> str:
    """Write one character as an escape."""
    code = ord(sign)
    if 0xDC80 <= code <= 0xDCFF:  # how Python keeps a byte of a name that is no text
        return f"\\x{code - 0xDC00:02x}"
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
