"""The sizes of a body that tell what it passes; read from the cache without any array."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Extents:
    """Sizes that decide whether a body fits."""

    lowest: float  # height over the floor in its lowest turn [m]
    openings: tuple[tuple[float, float], ...]  # smallest rectangles it passes, short × long [m]
    sides: tuple[float, float, float]  # of the smallest box around it, longest first [m]

    @property
    def smallest(self) -> tuple[float, float]:
        """The passable rectangle of least area, short and long side [m]."""
        return min(self.openings, key=lambda sides: sides[0] * sides[1])

    def passes(self, width: float, depth: float) -> bool:
        """Tell whether the body passes a rectangle of two sides [m], turned as it may be."""
        short, long = sorted((width, depth))
        return any(a <= short and b <= long for a, b in self.openings)

    def times(self, factor: float) -> "Extents":
        """Sizes of the body scaled in all lengths [m]."""
        openings = tuple((a * factor, b * factor) for a, b in self.openings)
        a, b, c = (side * factor for side in self.sides)
        return Extents(self.lowest * factor, openings, (a, b, c))
