"""What goes to the terminal: nothing in it acts, and every terminal can show it."""

import codecs
import io
import re
import sys
import unicodedata
from typing import TextIO

from plumbstone.meshes.errors import shown

ERRORS = "plumbstone_plain"
PLAIN = {
    "×": "x", "·": ".", "−": "-", "–": "-", "…": "...", "≥": ">=", "≤": "<=", "±": "+-",
    "→": "->", "°": " deg", "ρ": "rho", "″": '"', "′": "'", "ø": "o", "Ø": "O", "µ": "u",
    "ß": "ss", "─": "-", "━": "-",
}  # fmt: skip


class Terminal(io.TextIOBase):
    """A stream for people: escapes what acts, and spells out what its encoding lacks.

    It offers no `buffer`, so that nothing writes past it.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=ERRORS)

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """Encoding of the stream behind it."""
        return self._stream.encoding or "ascii"

    def write(self, text: str) -> int:
        """Write lines; only their ends act."""
        ends = re.split(r"(\r?\n|\t)", text)
        return self._stream.write("".join(p if p.isspace() else shown(p) for p in ends))

    def flush(self) -> None:
        """Write out what is kept."""
        self._stream.flush()

    def isatty(self) -> bool:
        """Tell whether someone is looking."""
        return self._stream.isatty()

    def fileno(self) -> int:
        """Give the number of the stream behind it."""
        return self._stream.fileno()

    def writable(self) -> bool:
        """Tell that it takes text."""
        return True


def set_terminal() -> None:
    """Put a `Terminal` before both output streams."""
    codecs.register_error(ERRORS, _spelt_out)
    sys.stdout, sys.stderr = Terminal(sys.stdout), Terminal(sys.stderr)


def _spelt_out(error: UnicodeError) -> tuple[str, int]:
    """Replace what an encoding cannot say: "3 × 9 L" as "3 x 9 L"."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    part = error.object[error.start : error.end]
    return "".join(map(_plain, part)), error.end


def _plain(sign: str) -> str:
    """Spell one character in ASCII."""
    base = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
    return PLAIN.get(sign) or base or f"\\u{ord(sign):04x}"
