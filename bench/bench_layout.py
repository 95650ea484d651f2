"""How long a layout takes again after one change, as a share of the first time."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

Row = tuple[str, float, float, float, str]
ROOM = Path(__file__).parent.parent / "cli" / "reading-room.toml"


def changed_layouts() -> list[Row]:
    """Time the demo tank: all anew, then with a stone moved and with another water line."""
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.scape.scape import read_scape

    scape = read_scape(ROOM)
    Layout(scape).plan()  # compiled code is loaded here
    layout = Layout(scape)
    x, y = scape.pieces[1].at
    moved = layout.moved(scape.pieces[1].name, (x + 0.004, y))
    lower = layout.with_water_line(0.40)
    whole = _once(layout.plan)
    layout.preview()
    rows = [
        ("stone moved, preview", moved.preview, "≤ 0.04 s"),
        ("stone moved, exact bed", moved.ground, "≤ 0.4 s"),
        ("stone moved, whole plan", moved.plan, "≤ 1.5 s"),
        ("water line moved, preview", lower.preview, "≤ 0.04 s"),
    ]
    return [(name, spent := _once(work), whole, whole / spent, goal) for name, work, goal in rows]


def _once(work: Callable[[], Any]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
