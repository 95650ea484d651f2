"""How notes on a mesh tell figures, and leave open what is called otherwise by who tells them."""

import re
from collections.abc import Callable

PLACES = (
    "across", "all", "bucket-rise", "known", "limb", "limits", "longest", "mat-control",
    "one-piece", "picture", "rescale", "same-stone", "source", "unit",
)  # fmt: skip
_OPEN = re.compile(rf"<({'|'.join(PLACES)})(?: ([^<>]+))?>")


def named(text: str, name: Callable[[str, str], str]) -> str:
    """Name what a note leaves open: `<longest>`, with a value `<unit mm>`, or its `<source>`.

    What a note asks for is an option of the command line, an argument in Python and a key of a
    scape file; `name` takes the thing and its value, "" for none. What else stands in brackets, as
    in an error of a library, is left as it is.

    Examples
    --------
    >>> named("needs <unit>: <class 'x'>", lambda thing, value: thing)
    "needs unit: <class 'x'>"
    """
    return _OPEN.sub(lambda found: name(found[1], found[2] or ""), text)


def as_option(thing: str, value: str = "") -> str:
    """Name a thing as the command line does.

    Examples
    --------
    >>> named('give <unit mm> or <longest 24.3 cm>', as_option)
    'give --unit mm or --longest "24.3 cm"'
    """
    if thing == "source":
        return "the file"
    return " ".join([f"--{thing}", *([f'"{value}"' if " " in value else value] if value else [])])


def percent(share: float, digits: int = 0) -> str:
    """Word a share [-] in per cent: 0.914 is "91 %"."""
    return f"{share * 100:.{digits}f} %"


def litres(*volumes: float, joint: str = " and ") -> str:
    """Word volumes [m³] in litres, small ones in millilitres."""
    unit, per = ("L", 1e3) if max(volumes) >= 1e-4 else ("mL", 1e6)
    return joint.join(f"{volume * per:.2f}" for volume in volumes) + f" {unit}"
