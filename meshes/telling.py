"""How notes and errors tell figures, and leave open what is called otherwise by who tells them."""

import re
from collections.abc import Callable

from plumbstone.meshes.limits import VARIABLE

Naming = Callable[[str, str], str]  # of a thing and its value, "" for none
Telling = Callable[[str], str]  # of a text, the figures that it leaves open
TRUST = "PLUMBSTONE_TRUST"  # folders, joined as in PATH; child processes inherit it
PLACES = (
    "across", "all", "bucket-rise", "grid", "in-water", "known", "limb", "limits", "longest",
    "mass", "mat", "mat-control", "one-piece", "opening", "picture", "rescale", "same-stone",
    "scale-capacity", "scale-step", "settle", "shape-factor", "size", "source", "trust", "unit",
)  # fmt: skip
FIGURE = re.compile(r"<([-+.e\d]+) (mm|cm|cm²|L|mL|kg|kg/m³)>")  # left open for other units
_OPEN = re.compile(rf"<({'|'.join(PLACES)})(?: ([^<>]+))?>")
SETTLE = "settle = true"  # in a scape file
ARGUMENTS = {
    "across": "across_m", "grid": "spacing", "limits": VARIABLE, "longest": "longest_m",
    "mass": "mass_kg", "one-piece": "one_piece=True", "settle": SETTLE, "size": "size_m",
    "source": "the file", "trust": TRUST, "unit": "unit",
}  # fmt: skip


def metric(text: str) -> str:
    """Write the figures that a text leaves open, `<24.6 cm>`, as they stand."""
    return FIGURE.sub(r"\1 \2", text)


def named(text: str, name: Naming, figures: Telling = metric) -> str:
    """Name what a text leaves open: `<longest>`, with a value `<unit mm>`, or its `<source>`.

    What is asked for is an option of the command line, an argument in Python, a key of a scape
    file and a field of the page. What else stands in brackets, as in an error of a library, is left
    as it is.

    Examples
    --------
    >>> named("needs <unit>: <class 'x'>", lambda thing, value: thing)
    "needs unit: <class 'x'>"
    """
    return _OPEN.sub(lambda found: name(found[1], found[2] or ""), figures(text))


def as_option(thing: str, value: str = "") -> str:
    """Name a thing as the command line does.

    Examples
    --------
    >>> named('give <unit mm> or <longest 24.3 cm>', as_option)
    'give --unit mm or --longest "24.3 cm"'
    """
    return {"source": "the file", "settle": SETTLE}.get(thing) or valued(f"--{thing}", value)


def as_argument(thing: str, value: str = "") -> str:
    """Name a thing as Python does.

    Examples
    --------
    >>> named("give <unit mm> or <longest 24.3 cm>, or see <picture>", as_argument)
    'give unit="mm" or longest_m=0.243, or see plumbstone weigh --picture'
    """
    if thing not in ARGUMENTS:
        return f"plumbstone weigh {as_option(thing, value)}"
    if not value:
        return ARGUMENTS[thing]
    length, _, unit = value.partition(" ")
    return f"{ARGUMENTS[thing]}=" + (f"{float(length) / 100:g}" if unit == "cm" else f'"{value}"')


def valued(name: str, value: str) -> str:
    """Put the value of a thing behind its name."""
    return f'{name} "{value}"' if " " in value else f"{name} {value}".rstrip()


def percent(share: float, digits: int = 0) -> str:
    """Word a share [-] in per cent: 0.914 is "91 %"."""
    return f"{share * 100:.{digits}f} %"


def litres(*volumes: float, joint: str = " and ") -> str:
    """Word volumes [m³] in litres, small ones in millilitres, open for other units."""
    unit, per = ("L", 1e3) if max(volumes) >= 1e-4 else ("mL", 1e6)
    return joint.join(f"<{volume * per:.2f} {unit}>" for volume in volumes)
