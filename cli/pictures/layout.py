"""Where a drawing lies on its page: on a screen, or on a sheet of paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from plumbstone.cli.pictures.colours import FAINT, INK, WATER, colour_of
from plumbstone.cli.pictures.paper import Page, Panel, legend, legend_height, measure
from plumbstone.cli.pictures.sight import Sight
from plumbstone.cli.wording.units import Units

DIGIT = 0.729  # height of a digit of the font, of its size
Entry = tuple[str, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Medium:
    """What a drawing is made for; lengths in points."""

    width: float
    height: float | None  # None: as high as it needs
    text: float
    number: float  # size of the numbers of pieces
    margin: float


SCREEN = Medium(430, None, 8.5, 9.5, 4)
PHONE = Medium(250, None, 10.8, 9.4, 3)  # its smallest words are 11 pixels high at 360
NARROW = 300  # below which drawings stand one over the other
CROWDED = 20  # pieces, beyond which not all find room for their number
PAPER_A4 = Medium(842, 595, 11, 4.05e-3 / 0.0254 * 72 / DIGIT, 34)  # digits of 4 mm


def laid_out(
    medium: Medium,
    size: tuple[float, float],
    entries: Sequence[Entry],
    *,
    above: float = 0.0,
    below: float = 0.0,
    right: float = 6.0,
    title: str = "",
) -> Panel:
    """Make a page with one drawing to scale on it and its legend below.

    Parameters
    ----------
    medium : Medium
    size : (float, float)
        Of what is drawn [m].
    entries : sequence of (str, dict)
        The legend.
    above, below, right : float
        Room beside the drawing beyond what its ticks need, in sizes of the text.
    title : str
        Written above the drawing.
    """
    text, edge = medium.text, medium.margin
    left = edge + 3.4 * text
    key = edge + legend_height(entries, edge, medium.width, text)
    foot = key + (2.6 + below) * text
    head = edge + (above + (1.6 if title else 0.4)) * text
    wide = medium.width - left - edge - right * text / 8.5
    high = (medium.height or 0.95 * medium.width + head + foot) - head - foot
    scale = min(wide / size[0], high / size[1])
    page = Page.of_size(medium.width, medium.height or scale * size[1] + head + foot, text)
    bottom = foot if medium.height is None else foot + (high - scale * size[1]) / 2
    panel = Panel(page, left, bottom, scale, size)
    legend(page, entries, edge, key)
    if title:
        width, height = measure(title, text)
        page.write(title, [(left + width / 2, page.height - edge - height / 2)], halo=False)
    return panel


def material_entries(sight: Sight, *, cut: bool = False, pieces: bool = True) -> list[Entry]:
    """Name what occurs: layers, stones and wood by their material, each colour once."""
    from plumbstone.cli.pictures.colours import hatch_of

    named: dict[tuple[str, str], list[str]] = {}
    for result in sight.plan.bed.layers if sight.plan.bed else ():
        material = result.layer.material
        key = colour_of(material), hatch_of(material) if cut else ""
        named.setdefault(key, []).append(_short(result.layer.name))
    for form in sight.forms if pieces else ():
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
