"""Limits on what is read and computed, so that a broken file cannot take the machine down."""

import math
import os

LARGEST_FILE = 1_000_000_000  # [bytes], also unpacked
MOST_FACES = 20_000_000
COPIES, SPARE_CORNERS = 4, 200_000  # corners that repeated parts may come to, per stored, and more
MOST_CELLS = 4_000_000  # of the grid of a bed
LARGEST_TABLE = 20_000_000  # of a height map in figures [bytes]
MOST_PIXELS = 20_000_000  # of a height map
MOST_ENTRIES = 200  # tables of one kind in a scape file, such as [[piece]]
MOST_AT_HAND = 60  # stones that could be hung on wood
MOST_WOOD = 30  # pieces of wood
MOST_POINTS = 300  # of a line, a zone or a surface
MOST_CORNERS = 400  # of all zones and borders of a scape
MOST_MEMORY = 4_000_000_000  # of the program with its workers [bytes]
MOST_SECONDS = 600  # of a command, or of each of many scans
VARIABLE = "PLUMBSTONE_LIMITS"  # factor on all of them; child processes inherit it


def raised(limit: int) -> int:
    """Give a limit times the factor that the user asked for, 1 to 1000."""
    try:
        factor = float(os.environ.get(VARIABLE, "1"))
    except ValueError:
        factor = 1.0
    return int(limit * min(max(factor, 1.0), 1000.0)) if not math.isnan(factor) else limit
