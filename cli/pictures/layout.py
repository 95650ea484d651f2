"""Where a drawing lies on its page: on a screen, or on a sheet of paper."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from plumbstone.cli.pictures.colours import FAINT, INK, PAPER, WATER, colour_of, hatch_of
from plumbstone.cli.pictures.paper import Entry, Page, Panel, Place, legend, legend_height, measure
from plumbstone.cli.pictures.sight import Form, Outline, Sight
from plumbstone.cli.wording.units import Units

DIGIT = 0.729  # height of a digit of the font, of its size
RIGHT = 6.0  # room beside a drawing [points at the size of text on a screen]
HIDDEN: dict[str, Any] = {"color": PAPER, "linewidth": 1.1, "linestyle": (0, (3, 2))}


@dataclass(frozen=True, slots=True)
class Medium:
    """What a drawing is made for; lengths in points."""

    width: float
    height: float | None  # None: as high as it needs
    text: float
    number: float  # size of the numbers of pieces
    margin: float

    @property
    def narrow(self) -> bool:
        """Whether drawings stand one over the other on it."""
        return self.width < NARROW


SCREEN = Medium(430, None, 8.5, 9.5, 4)
PHONE = Medium(250, None, 10.8, 9.4, 3)  # its smallest words are 11 pixels high at 360
NARROW = 300  # [points]
CROWDED = 20  # pieces, beyond which not all find room for their number
PAPER_A4 = Medium(842, 595, 11, 4.05e-3 / 0.0254 * 72 / DIGIT, 34)  # digits of 4 mm


def laid_out(
    medium: Medium,
    size: tuple[float, float],
    entries: Sequence[Entry],
    *,
    above: float = 0.0,
    below: float = 0.0,
    title: str = "",
) -> Panel:
    """Make a page with one drawing to scale on it and its legend below.

    The drawing is of a size [m]; there is room above and below it beyond what its ticks need, in
    sizes of the text. The title stands above it on a sheet of paper.
    """
    text, edge = medium.text, medium.margin
    title = title if medium.height else ""
    left = edge + 3.4 * text
    key = edge + legend_height(entries, edge, medium.width, text)
    foot = key + (2.6 + below) * text
    head = edge + (above + (1.6 if title else 0.4)) * text
    wide = medium.width - left - edge - RIGHT * text / 8.5
    high = (medium.height or 0.95 * medium.width + head + foot) - head - foot
    scale = min(wide / size[0], high / size[1])
    page = Page.of_size(medium.width, medium.height or scale * size[1] + head + foot, text)
    bottom = foot if medium.height is None else foot + (high - scale * size[1]) / 2
    panel = Panel(page, left, bottom, scale, size)
    legend(page, entries, edge, key)
    if title:
        page.write_from(title, left, page.height - edge - measure(title, text)[1] / 2)
    return panel


def material_entries(sight: Sight, forms: Iterable[Form], *, cut: bool = False) -> list[Entry]:
    """Name what is drawn: layers, and these stones and wood by their material, a colour once."""
    named: dict[tuple[str, str], list[str]] = {}
    for result in sight.plan.bed.layers if sight.plan.bed else ():
        material = result.layer.material
        key = colour_of(material), hatch_of(material) if cut else ""
        named.setdefault(key, []).append(_short(result.layer.name))
    for form in forms:
        material = form.body.entry.material
        names = named.setdefault((colour_of(material), ""), [])
        if _short(material.name) not in names:
            names.append(_short(material.name))
    return [
        (", ".join(names), {"facecolor": colour, "hatch": hatch, "edgecolor": FAINT,
                            "linewidth": 0.5})
        for (colour, hatch), names in named.items()
    ]  # fmt: skip


def line_entry(words: str, **looks: Any) -> Entry:
    """Name a kind of line."""
    return words, {"color": INK, "linewidth": 1.2, **looks}


WATER_ENTRY: Entry = ("water", {"facecolor": WATER, "alpha": 0.4})


def unit_words(units: Units) -> str:
    """Name the unit of the numbers along the edges."""
    return "inches" if units is Units.US else "cm"


def _short(text: str) -> str:
    """Cut a long name for a drawing."""
    return text if len(text) <= 24 else f"{text[:23]}…"


def draw_hidden(panel: Panel, rings: Outline, zorder: int) -> None:
    """Draw the outline of a piece that the bed covers: dashed, on dark and on light ground."""
    panel.lines(rings, zorder=zorder, color=INK, linewidth=1.9, alpha=0.5)
    panel.lines(rings, zorder=zorder, **HIDDEN)


def write_number(
    panel: Panel, number: int, at: Place, size: float, *, radii: Sequence[float],
    angles: Sequence[float], far: float, must: bool,
) -> None:  # fmt: skip
    """Write a piece's number beside a place on the page, with a line to it from farther off.

    Its digits are of a size [points] and go as far from the place as one of the radii [points], in
    one of the angles [degrees]; a line leads to it from `far` on [points]. It is left out where no
    place is free, unless it must be written.
    """
    around = [(at[0] + r * np.cos(a), at[1] + r * np.sin(a))
              for r in radii for a in np.radians(angles)]  # fmt: skip
    found = panel.page.write(
        str(number), around, size=size, must=must, weight="bold",
        bbox={"boxstyle": "round,pad=0.10"},
    )  # fmt: skip
    if found and np.hypot(found[0] - at[0], found[1] - at[1]) > far:
        ends = zip(at, found, strict=True)
        panel.page.line(*ends, color=INK, linewidth=0.6, zorder=9)
