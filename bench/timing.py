"""How long a piece of work takes."""

import time
from collections.abc import Callable
from typing import Any


def timed(work: Callable[[], Any], repeats: int = 3) -> float:
    """Best of some runs [s]."""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best
