"""A page to draw on: its layout in points, and labels that never lie over each other."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property, partial
from math import nan
from typing import Any

from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.image import BboxImage
from matplotlib.lines import Line2D
from matplotlib.patches import FancyArrowPatch, Patch, PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Bbox, IdentityTransform, Transform, TransformedBbox

from plumbstone.cli.pictures.colours import FAINT, INK, PAPER
from plumbstone.cli.pictures.drawing import new_figure
from plumbstone.cli.wording.units import INCH, RULED, Units
from plumbstone.meshes.piece import Floats

POINT = 0.0254 / 72  # [m]
FRAME = "frame"  # of a drawing, by its name in a figure
BELOW = 1e-3  # what is drawn in it lies below what stands on the page, in the same order
APART = 1.5  # between two labels [points]
TICKS = {Units.METRIC: (0.05, 0.10, 0.20, 0.50), Units.US: tuple(n * INCH for n in (2, 4, 8, 20))}
BAR = {Units.METRIC: 10, Units.US: 4}  # length of a bar beside a drawing [cm or inches]
TICK, TICK_ROOM = 3.0, 26.0  # how long one is, and what its number needs [points]
Box = tuple[float, float, float, float]  # left, bottom, right, top [points]
Place = tuple[float, float]
Stroke = tuple[Place, Place]  # both ends of a straight line
Entry = tuple[str, dict[str, Any]]  # words of a legend, and how what they name looks
PATCH, ROW = 1.8, 1.6  # of a legend: width and height, in sizes of its words


@cache
def measure(words: str, size: float, weight: str = "normal") -> Place:
    """Give the width and height of words in letters of a size [points]."""
    told, height = _letters(size, weight)
    return told(words)[0] + 1, height + 1


@cache
def _letters(size: float, weight: str) -> tuple[Callable[[str], Place], float]:
    """Give what measures words in letters of a size, and how high a line of them is [points]."""
    agg: Any = RendererAgg
    font = FontProperties(family=["DejaVu Sans"], size=size, weight=weight)
    told = partial(agg(8, 8, 72).get_text_width_height_descent, prop=font, ismath=False)
    return told, told("lp")[1]


def joined(ends: Iterable[Stroke]) -> tuple[list[float], list[float]]:
    """Join straight lines [points or m] to one with a gap after each, which is drawn faster."""
    places = [place for start, end in ends for place in (start, end, (nan, nan))]
    return [x for x, _ in places], [y for _, y in places]


@dataclass(slots=True)
class Page:
    """A figure with fixed places [points], and what is written on it already."""

    figure: Figure
    points: Transform  # from places on the page [points], left and bottom 0
    width: float
    height: float
    text: float  # size of words [points]
    taken: list[Box] = field(default_factory=list)

    @classmethod
    def of_size(cls, width: float, height: float, text: float) -> "Page":
        """Make a blank page of a width and height [points]."""
        figure = new_figure(width / 72, height / 72, layout=None, dpi=72)
        points = Affine2D().scale(1 / 72) + figure.dpi_scale_trans
        return cls(figure, points, width, height, text)

    def line(self, right: Sequence[float], up: Sequence[float], **looks: Any) -> None:
        """Draw a line, or marks, through places over all drawings [points]."""
        self.figure.add_artist(Line2D(right, up, transform=self.points, **{"zorder": 2, **looks}))

    def box(self, box: Box, **looks: Any) -> None:
        """Fill a box on the page [points]."""
        left, bottom, right, top = box
        patch = Rectangle((left, bottom), right - left, top - bottom, **looks)
        patch.set_transform(self.points)
        self.figure.add_artist(patch)

    def arrow(self, start: Place, end: Place) -> None:
        """Point from one place to another [points]."""
        arrow = FancyArrowPatch(
            start, end, arrowstyle="->", mutation_scale=10, shrinkA=2, shrinkB=2, color=INK,
            linewidth=0.9, zorder=11, transform=self.points,
        )  # fmt: skip
        self.figure.add_artist(arrow)

    def is_free(self, box: Box) -> bool:
        """Tell whether a box [points] lies on the page and over nothing that is written."""
        left, bottom, right, top = box
        if left < 1 or bottom < 1 or right > self.width - 1 or top > self.height - 1:
            return False
        return not any(
            left < r + APART and right > le - APART and bottom < t + APART and top > b - APART
            for le, b, r, t in self.taken
        )

    def keep_free(self, box: Box) -> None:
        """Let no label lie in a box [points]."""
        self.taken.append(box)

    def write(
        self,
        words: str,
        middles: Iterable[Place],
        *,
        size: float | None = None,
        must: bool = False,
        halo: bool = True,
        **looks: Any,
    ) -> Place | None:
        """Write words around the first of the places that is free.

        Their middle lies at one of `middles` [points], the best first, which is given back; their
        letters are of a size [points]. They must be written at the first place, or are left out,
        where none is free. Paper shows around words with a halo.
        """
        size, places = size or self.text, list(middles)
        width, height = measure(words, size, looks.get("weight", "normal"))
        boxes = [(x - width / 2, y - height / 2, x + width / 2, y + height / 2) for x, y in places]
        free = next((i for i, box in enumerate(boxes) if self.is_free(box)), 0 if must else None)
        if free is None or not boxes:
            return None
        self._put(words, boxes[free], size, halo, looks)
        return places[free]

    def write_from(self, words: str, left: float, y: float, size: float | None = None) -> None:
        """Write words that begin at a place, on the plain page [points]."""
        width, _ = measure(words, size or self.text)
        self.write(words, [(left + width / 2, y)], size=size, halo=False)

    def _put(self, words: str, box: Box, size: float, halo: bool, looks: dict[str, Any]) -> None:
        self.taken.append(box)
        style = {"color": INK, "zorder": 12, **looks}
        if halo:
            style["bbox"] = {
                "boxstyle": "round,pad=0.12", "facecolor": PAPER, "edgecolor": "none",
                "alpha": 0.85, **style.get("bbox", {}),
            }  # fmt: skip
        self.figure.text(
            (box[0] + box[2]) / 2, (box[1] + box[3]) / 2, words, transform=self.points,
            ha="center", va="center", fontsize=size, **style,
        )  # fmt: skip


@dataclass
class Panel:
    """A drawing on a page, to scale: metres inside, points outside.

    Axes would take longer to make than all that is drawn in them, for ticks that are never drawn.
    """

    page: Page
    left: float  # [points]
    bottom: float  # [points]
    scale: float  # points for one metre
    size: Place  # [m]
    framed: bool = True

    @cached_property
    def frame(self) -> Patch:
        """Line around it, at which all that is drawn in it ends."""
        metres = Affine2D().scale(self.scale).translate(self.left, self.bottom) + self.page.points
        frame = Rectangle(
            (0, 0), *self.size, fill=False, edgecolor=FAINT, linewidth=0.8, zorder=2.5 * BELOW,
            transform=metres, gid=FRAME, visible=self.framed,
        )  # fmt: skip
        self.page.figure.add_artist(frame)
        return frame

    @property
    def metres(self) -> Transform:
        """From places in the drawing [m] to the page."""
        return self.frame.get_data_transform()

    def put(self, artist: Artist, transform: Transform | None = None) -> None:
        """Draw something in metres, as far as the frame, below all that stands on the page."""
        artist.set_transform(self.metres if transform is None else transform)
        artist.set_clip_path(self.frame)
        artist.set_zorder(artist.get_zorder() * BELOW)
        self.page.figure.add_artist(artist)

    def picture(self, colours: Floats, **looks: Any) -> None:
        """Fill it with a picture (rows, columns, colours), its first row lowest."""
        place = TransformedBbox(Bbox.from_bounds(0, 0, *self.size), self.metres)
        image = BboxImage(place, origin="lower", interpolation="bilinear", **looks)
        image.set_data(colours)
        self.put(image, IdentityTransform())

    def at(self, x: float, y: float) -> Place:
        """Give the place on the page of a place in the drawing [points]."""
        return self.left + x * self.scale, self.bottom + y * self.scale

    def tick(self, units: Units, *, right: bool = True) -> None:
        """Write round numbers along the left edge and, if they tell something, the lower one."""
        size = 0.8 * self.page.text
        room = max(TICK_ROOM, 2.6 * size)
        step = next((s for s in TICKS[units] if s * self.scale >= room), TICKS[units][-1])
        unit, _ = RULED[units]
        ticks: list[Stroke] = []
        for along, (end, wanted) in enumerate(zip(self.size, (right, True), strict=True)):
            for k in range(int(end / step + 1e-6) + 1):
                x, y = self.at(0, step * k) if along else self.at(step * k, 0)
                ticks.append(((x, y), (x - TICK, y) if along else (x, y - TICK)))
                if not wanted:
                    continue
                words = f"{step * k / unit:.0f}"
                width, height = measure(words, size)
                middle = (x - width / 2 - 5, y) if along else (x, y - height / 2 - 5)
                self.page.write(words, [middle], size=size, halo=False, color=FAINT)
        self.page.line(*joined(ticks), color=FAINT, linewidth=0.8)

    def line(
        self, right: Sequence[float] | Floats, up: Sequence[float] | Floats, **looks: Any
    ) -> None:
        """Draw a line, or marks, through places [m]."""
        self.put(Line2D(right, up, **{"zorder": 2, **looks}))

    def lines(self, rings: Sequence[Floats], **looks: Any) -> None:
        """Draw lines through places [m]."""
        for ring in rings:
            self.line(*ring.T, **looks)

    def fill(self, rings: Sequence[Floats], **looks: Any) -> None:
        """Fill what closed rings of places go around [m], but for what rings inside of them do."""
        shape = Path.make_compound_path(*(Path(ring, closed=True) for ring in rings))
        self.put(PathPatch(shape, **looks))

    def scale_bar(self, units: Units, right: float, y: float) -> None:
        """Draw a bar of a round length that ends there [points], with its length beside it."""
        (unit, name), count = RULED[units], BAR[units]
        length = count * unit * self.scale
        self.page.line([right - length, right], [y, y], color=INK, linewidth=2.2)
        ends = (right - length, right)
        self.page.line(*joined([((x, y - 3), (x, y + 3)) for x in ends]), color=INK, linewidth=1)
        words = f"{count} {name}"
        width, _ = measure(words, 0.85 * self.page.text)
        self.page.keep_free((right - length, y - 4, right, y + 4))
        middle = (right - length - width / 2 - 5, y)
        self.page.write(words, [middle], size=0.85 * self.page.text, halo=False)


def legend(page: Page, entries: Sequence[Entry], left: float, top: float) -> None:
    """Write what colours and lines mean, in rows from a height downwards.

    Each entry has its words, and how the patch (`facecolor` …) or the line (`linestyle` …) beside
    them looks. The rows begin at `left`, `top` [points].
    """
    size = 0.9 * page.text
    places = _legend_places(entries, left, page.width, size)
    for (words, looks), (x, row) in zip(entries, places, strict=True):
        y, end = top - ROW * size / 2 - row * ROW * size, x + PATCH * size
        if "facecolor" in looks:
            page.box((x, y - 0.35 * size, end, y + 0.35 * size), **looks)
        else:
            page.line([x, end], [y, y], **looks)
        width, _ = measure(words, size)
        page.write(words, [(end + 4 + width / 2, y)], size=size, halo=False, must=True)


def legend_height(entries: Sequence[Entry], left: float, width: float, text: float) -> float:
    """Tell how high a legend will be on a page of a width, with words of a size [points]."""
    size = 0.9 * text
    rows = [row for _, row in _legend_places(entries, left, width, size)]
    return (1 + max(rows, default=0)) * (ROW * size)


def _legend_places(
    entries: Sequence[Entry], left: float, width: float, size: float
) -> list[tuple[float, int]]:
    """Give where each entry of a legend begins [points], and in which row."""
    x, row, found = left, 0, []
    for words, _ in entries:
        long = PATCH * size + 4 + measure(words, size)[0]
        if x > left and x + long > width - 4:
            x, row = left, row + 1
        found.append((x, row))
        x += long + 1.1 * size
    return found
