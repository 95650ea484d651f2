"""How a piece stands: in words, and as a small outline from above and from the front."""

import numpy as np
from markupsafe import Markup

from plumbstone.cli.pictures.colours import colour_of
from plumbstone.cli.pictures.sight import Form, Outline, longest_side
from plumbstone.volumes.figures import PieceFigures

ROUND = 1.25  # a longest side so much longer than the other says how a piece is turned
ALONG, ACROSS = 12.0, 78.0  # from the front pane [degrees]
BOX = 40.0  # of one small outline
SIDES = ("right", "back right", "back", "back left", "left", "front left", "front", "front right")


def stands_words(form: Form, figures: PieceFigures) -> str:
    """Say how a piece is turned and tilted, as one sees it from the front."""
    words = [_turned(form)]
    if abs(figures.tilt_deg) >= 1:
        lean = figures.lean_deg + (180 if figures.tilt_deg < 0 else 0)
        side = SIDES[round(lean % 360 / 45) % 8]
        words.append(f"tilted {abs(figures.tilt_deg):.0f}° to the {side}")
    return "; ".join(words)


def small_outlines(form: Form) -> Markup:
    """Draw a piece from above (front pane below) and from the front, both to one scale."""
    scale = (BOX - 5) / float(max(form.body.piece.size))
    views = (("above", form.above), ("front", form.front))
    drawn = Markup("").join(
        Markup('<svg class="shape" viewBox="0 0 {0:.0f} {0:.0f}" aria-hidden="true">'
               '<path d="{1}" fill="{2}"/><path class="edge" d="M1 {3:.0f}H{3:.0f}"/></svg>')
        .format(BOX, _path(outline, scale, stands=name == "front"),
                colour_of(form.body.entry.material), BOX - 1)
        for name, outline in views
    )  # fmt: skip
    return Markup('<span class="shapes">{}</span>').format(drawn)


def _turned(form: Form) -> str:
    """Say which way the longest side runs."""
    if not form.above:
        return "as drawn"
    angle, ratio = longest_side(form.above)
    if ratio < ROUND:
        turn = (form.body.entry.turn + 180) % 360 - 180
        way = "anticlockwise" if turn > 0 else "clockwise"
        return "about as wide as deep" + (f", turned {abs(turn):.0f}° {way}" if turn else "")
    if angle < ALONG or angle > 180 - ALONG:
        return "long side along the front pane"
    if ACROSS < angle < 180 - ACROSS:
        return "long side from front to back"
    off, end = (angle, "right") if angle < 90 else (180 - angle, "left")
    return f"long side {off:.0f}° off the front pane, its {end} end farther back"


def _path(outline: Outline, scale: float, *, stands: bool) -> str:
    """Write an outline as the path of an SVG, in the middle of its box, or at its foot."""
    if not outline:
        return ""
    points = np.concatenate(outline)
    low, high = points.min(axis=0), points.max(axis=0)
    shift = (BOX - (high[0] - low[0]) * scale) / 2
    lift = 2.0 if stands else (BOX - (high[1] - low[1]) * scale) / 2
    rings = []
    for ring in outline:
        every = max(1, len(ring) // 26)
        x = (ring[::every, 0] - low[0]) * scale + shift
        y = BOX - ((ring[::every, 1] - low[1]) * scale + lift)
        rings.append("M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True)) + "Z")
    return "".join(rings)
