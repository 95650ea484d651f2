"""Height maps: a table of centimetres, or a grey picture between two levels."""

import io
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError, unreadable
from plumbstone.meshes.limits import LARGEST_TABLE, MOST_PIXELS, raised
from plumbstone.meshes.piece import Floats

FORMATS = ("PNG", "TIFF", "JPEG")
HIGHEST = 100.0  # level that is believed [m]


class MapError(PlumbstoneError, ValueError):
    """A height map that cannot be read; the message begins after the name of the file."""


def table_levels(path: Path) -> Floats:
    """Read levels in centimetres from a CSV file, rows from the back [m].

    Raises
    ------
    MapError
        If the file cannot be read, is too large or holds something else.
    """
    size, most = _size(path), raised(LARGEST_TABLE)
    if size > most:
        raise MapError(f"is {size / 1e6:.0f} MB, over {most / 1e6:.0f} MB; raise <limits>.")
    try:
        text = path.read_text(encoding="utf-8-sig")
        if not text.strip():
            raise MapError("is empty.")
        if ";" in text:  # as a spreadsheet writes it where commas are decimal
            text = text.replace(",", ".").replace(";", ",")
        values = np.loadtxt(io.StringIO(text), delimiter=",", ndmin=2) * 1e-2
    except MapError:
        raise
    except ValueError:
        raise MapError("is no table of numbers in centimetres.") from None
    return _checked(values)


def picture_levels(path: Path, black: float, white: float) -> Floats:
    """Read levels [m] from the grey of a PNG, TIFF or JPEG, in the depth that it has.

    8 and 16 bits count from black to white in full; floating-point pictures from 0 to 1.

    Raises
    ------
    MapError
        If the file cannot be read, is too large or holds something else.
    """
    from PIL import Image, UnidentifiedImageError

    _size(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of its size; ours is told below
            with Image.open(path, formats=FORMATS) as picture:
                pixels, most = picture.width * picture.height, raised(MOST_PIXELS)
                if pixels > most:
                    problem = f"has {pixels / 1e6:.0f} million pixels, over {most / 1e6:.0f}"
                    raise MapError(f"{problem}; make it smaller, or raise <limits>.")
                grey = _grey(picture)
    except UnidentifiedImageError:
        raise MapError(f"is no picture of these kinds: {', '.join(FORMATS)}.") from None
    except Image.DecompressionBombError:
        raise MapError("has far too many pixels; make it smaller.") from None
    except MapError:
        raise
    except (OSError, SyntaxError, ValueError, EOFError):  # what the decoders raise
        raise MapError("is a damaged picture; export it again.") from None
    return _checked(black + grey * (white - black))


def _grey(picture: Any) -> Floats:
    """Give the grey of a picture from 0 to 1, without loss of depth."""
    if picture.mode.startswith("I"):  # 16 bits, however the library keeps them
        return np.clip(np.asarray(picture, dtype=float) / 65535, 0, 1)
    if picture.mode == "F":
        values = np.asarray(picture, dtype=float)
        if not np.isfinite(values).all() or values.min() < 0 or values.max() > 1:
            raise MapError("is a floating-point picture that leaves 0 to 1; scale it to that.")
        return values
    return np.asarray(picture.convert("L"), dtype=float) / 255


def _size(path: Path) -> int:
    """Give the size of a file [bytes]."""
    try:
        return path.stat().st_size
    except OSError as error:
        raise MapError(unreadable(path, error)) from None


def _checked(values: Floats) -> Floats:
    """Refuse what is no map."""
    if values.ndim != 2 or min(values.shape) < 2 or not np.isfinite(values).all():
        raise MapError("must hold at least 2 × 2 finite numbers.")
    if values.size > raised(MOST_PIXELS):
        raise MapError("holds too many numbers; make it smaller, or raise <limits>.")
    if (values < 0).any():
        raise MapError("holds a level below the glass.")
    if (values > HIGHEST).any():
        raise MapError(f"holds a level over {HIGHEST:g} m; its figures are centimetres.")
    return values
