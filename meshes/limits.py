"""Limits on what is read and computed, so that a broken file cannot take the machine down."""

import math
import os

LARGEST_FILE = 1_000_000_000  # [bytes], also unpacked
MOST_FACES = 20_000_000
MOST_CELLS = 4_000_000  # of the grid of a bed
VARIABLE = "PLUMBSTONE_LIMITS"  # factor on all of them; child processes inherit it


def raised(limit: int) -> int:
    """Give a limit times the factor that the user asked for, 1 to 1000."""
    try:
        factor = float(os.environ.get(VARIABLE, "1"))
    except ValueError:
        factor = 1.0
    return int(limit * min(max(factor, 1.0), 1000.0)) if not math.isnan(factor) else limit
