"""A figure that is known only between two bounds."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Range:
    """Low, middle and high of an uncertain figure; the truth lies inside at 90 %."""

    low: float
    mid: float
    high: float

    def __post_init__(self) -> None:
        """Refuse bounds out of order."""
        if not self.low <= self.mid <= self.high:
            raise ValueError(f"Range {self.low} … {self.mid} … {self.high} is not in rising order.")

    def __iter__(self) -> Iterator[float]:
        """Give low, middle and high."""
        return iter((self.low, self.mid, self.high))

    @classmethod
    def exact(cls, value: float) -> "Range":
        """Make a range of no width."""
        return cls(value, value, value)

    @classmethod
    def total(cls, parts: "Iterable[Range]") -> "Range":
        """Add independent figures: the distances to their bounds add as squares."""
        parts = tuple(parts)
        mid = sum(part.mid for part in parts)
        below = sum((part.mid - part.low) ** 2 for part in parts) ** 0.5
        above = sum((part.high - part.mid) ** 2 for part in parts) ** 0.5
        return cls(mid - below, mid, mid + above)

    @classmethod
    def alike(cls, parts: "Iterable[Range]") -> "Range":
        """Add figures that err to the same side, as stones of one rock do: their bounds add."""
        return cls(*map(sum, zip(*parts, strict=True)))

    def at(self, place: float) -> float:
        """Value at a place: -1 is low, 0 the middle, 1 high; beyond them in proportion."""
        span = self.high - self.mid if place > 0 else self.mid - self.low
        return self.mid + place * span

    def plus(self, value: float) -> "Range":
        """Shift by an exact value [of the same unit]."""
        return Range(self.low + value, self.mid + value, self.high + value)

    def negative(self) -> "Range":
        """Change the sign."""
        return Range(-self.high, -self.mid, -self.low)

    def times(self, factor: float) -> "Range":
        """Multiply by a factor ≥ 0 [any unit]."""
        return Range(self.low * factor, self.mid * factor, self.high * factor)

    def dividing(self, value: float) -> "Range":
        """Divide a value > 0 [any unit] by a range above 0."""
        return Range(value / self.high, value / self.mid, value / self.low)

    def parts_from(self, other: "Range") -> bool:
        """Whether no value lies in both."""
        return self.low > other.high or self.high < other.low

    @property
    def half_width(self) -> float:
        """Half of the distance between the bounds, as a share of the middle [-]."""
        return (self.high - self.low) / 2 / abs(self.mid) if self.mid else 0.0
