"""One style for all pictures, and what turns a figure into a file."""

import base64
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from PIL import Image

from plumbstone.cli.pictures.colours import FAINT, INK, MARK, PAPER, WARN
from plumbstone.meshes.errors import PlumbstoneError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAGE_COLOURS = {INK: "ink", FAINT: "faint", PAPER: "card", MARK: "mark", WARN: "warn"}
Constrained = Literal["constrained"] | None
WEBP_QUALITY = 80
DOTS = 150  # of an inch of a PNG
STYLE: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.4,
    "svg.fonttype": "none",
    "svg.hashsalt": "plumbstone",
    "text.parse_math": False,
}


def new_figure(
    width: float, height: float, layout: Constrained = "constrained", dpi: float = 100
) -> "Figure":
    """Make a figure of a size [inches], in the common style, drawn in memory only."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    mpl.rcParams.update(STYLE)
    figure = Figure(figsize=(width, height), layout=layout, dpi=dpi)
    FigureCanvasAgg(figure)
    return figure


def must_be_png(path: Path) -> None:
    """Refuse a picture of another kind before anything is drawn."""
    if path.suffix.lower() != ".png":
        raise PlumbstoneError(f"{path}: --picture draws PNG; end its name in .png.")


def png_bytes(figure: "Figure") -> bytes:
    """Give a figure as PNG."""
    stream = io.BytesIO()
    quickly = {"compress_level": 5}  # in half the time, a twentieth larger at most
    figure.savefig(stream, format="png", dpi=DOTS, metadata={"Software": None}, pil_kwargs=quickly)
    return stream.getvalue()


def svg_text(figure: "Figure", prefix: str = "") -> str:
    """Give a figure as an SVG element that takes its ink from the page around it.

    The prefix stands before the name of each part, so that several drawings can share a page.
    """
    stream = io.StringIO()
    figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None})
    text = stream.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"data:image/png;base64,([A-Za-z0-9+/=\s]+)", _as_webp, text)
    text = re.sub(r' d="[^"]*"', _shorter, text)
    named = set(re.findall(r'(?:href="#|url\(#)([^")]+)', text))
    text = re.sub(r' id="([^"]+)"', lambda m: m[0] if m[1] in named else "", text)
    text = re.sub(r">\s+<", "><", text)
    if prefix:
        text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{prefix}", text)
    for colour, name in PAGE_COLOURS.items():
        text = text.replace(colour, f"var(--{name})")
    return text


def _shorter(path: re.Match[str]) -> str:
    """Write a path to a tenth of a point, which is finer than any screen, without blanks."""
    rounded = re.sub(r"(?<=\d\.\d)\d+", "", path[0][4:])
    return ' d="' + re.sub(r"\s+(?=[A-Za-z])|(?<=[A-Za-z])\s+", "", rounded)


def _as_webp(found: re.Match[str]) -> str:
    """Pack an embedded picture a fourth as large."""
    stream = io.BytesIO()
    with Image.open(io.BytesIO(base64.b64decode(found[1]))) as picture:
        picture.save(stream, "WEBP", quality=WEBP_QUALITY)
    return "data:image/webp;base64," + base64.b64encode(stream.getvalue()).decode("ascii")
