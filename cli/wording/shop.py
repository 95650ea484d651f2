"""How it is said in the shop whether the money reaches and a piece passes."""

from plumbstone.cli.wording.units import Toward, Units, written
from plumbstone.meshes.ranges import Range


def budget_words(price: Range, budget: float) -> str:
    """Say whether a budget takes a piece, judged by the dear end of its range.

    Examples
    --------
    >>> budget_words(Range(37.0, 48.0, 58.0), 50.0)
    'Likely takes it, but it may cost up to 58: 8.00 over. Weigh it on the till.'
    >>> budget_words(Range.exact(53.2), 50.0)
    '3.20 over.'
    """
    if price.high <= budget:
        left = written(budget - price.high, "money", Units.METRIC, Toward.DOWN)
        return f"Takes it; at least {left} left."
    over = written(price.mid - budget, "money", Units.METRIC, Toward.UP)
    if price.mid > budget:
        return f"{over} over."
    dear = written(price.high, "whole money", Units.METRIC, Toward.UP)
    over = written(price.high - budget, "money", Units.METRIC, Toward.UP)
    return f"Likely takes it, but it may cost up to {dear}: {over} over. Weigh it on the till."


def opening_words(passes: bool) -> str:
    """Say whether a piece passes an opening, by its drawn size."""
    if passes:
        return "Passes the opening, if its size is right."
    return "Does not pass the opening, however it is turned."
