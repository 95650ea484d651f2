"""Which bags to buy: the cheapest set that covers a need."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.bed.results import LayerResult
from plumbstone.volumes.scape.layers import Bag

MOST_BAGS = 10_000
MOST_TRIED = 200_000  # sets of bags that are tried one by one
ROUNDING = 1e-9  # of a need or a cost


class BagError(PlumbstoneError, ValueError):
    """Bags that cannot cover a need."""


@dataclass(frozen=True, slots=True)
class BagChoice:
    """How many of each bag to buy."""

    bags: tuple[Bag, ...]
    counts: tuple[int, ...]
    cost: float | None  # None where a price is missing
    bought: float  # poured volume [m³]
    left_over: float  # poured volume [m³]


@dataclass(frozen=True, slots=True)
class BagsIfWorse:
    """Other bags that a layer takes if it needs more than expected."""

    choice: BagChoice
    settling: float  # the share of what is poured by which it then settles
    repose: float | None  # the angle at which it then stands [degrees]; None: as expected


def cheapest_bags(need: float, bags: Sequence[Bag], bulk_density: float) -> BagChoice:
    """Choose the cheapest set of bags that covers a need.

    Parameters
    ----------
    need : float
        Volume to pour [m³].
    bags : sequence of Bag
        The sizes on sale, as many of each as needed.
    bulk_density : float
        Of the loose heap [kg/m³], for bags sold by mass.

    Returns
    -------
    BagChoice
        Least cost, then least left over; where a price is missing, fewest bags,
        then least left over.

    Raises
    ------
    BagError
        If there is no bag to choose, or it would take more than 10 000.

    Notes
    -----
    All counts of all sizes but the smallest are tried; where those are too many, two integer
    programs find first the least cost, then, at that cost, the least volume.
    """
    if not bags:
        raise BagError('No bag sizes are given; write bags = [{ holds = "9 L", price = 22 }].')
    volumes = np.array([bag.volume(bulk_density) for bag in bags])
    priced = all(bag.price is not None for bag in bags)
    costs = np.array([bag.price if priced else 1.0 for bag in bags], dtype=float)
    if need > MOST_BAGS * volumes.max():
        message = (
            f"<{need * 1e3:.0f} L> would take over {MOST_BAGS} bags; check bag sizes and units."
        )
        raise BagError(message)
    counts = _best_of_all(costs, volumes, need)
    if counts is None:
        counts = _least(costs, volumes, need)
        counts = _least(volumes, volumes, need, (costs, float(costs @ counts)))
    bought = float(volumes @ counts)
    return BagChoice(
        tuple(bags),
        tuple(int(n) for n in counts),
        float(costs @ counts) if priced else None,
        bought,
        bought - need,
    )


def bags_of(result: LayerResult) -> tuple[BagChoice | None, BagsIfWorse | None]:
    """Choose the bags for a layer and its spare, and those it takes if it needs more than expected.

    It may settle by more than stated, and then stand as steep as its material can.
    """
    layer, bulk = result.layer, result.layer.material.bulk_density
    if not layer.bags:
        return None, None
    assert bulk is not None

    def choice(need: float) -> BagChoice:
        return cheapest_bags(need * (1 + layer.spare), layer.bags, bulk.mid)

    usual = choice(result.poured)
    usual = replace(usual, left_over=usual.bought - result.poured)
    if layer.sacks is not None:
        return usual, None
    most = layer.settles.high
    for settled, repose in ((result.settled, None), (result.settled_range.high, layer.repose.high)):
        worse = choice((settled - result.gaps) / (1 - most))
        if worse.counts != usual.counts:
            return usual, BagsIfWorse(worse, most, repose)
    return usual, None


def _best_of_all(costs: Floats, volumes: Floats, need: float) -> Floats | None:
    """Try all sets of bags that cover a need; None where there are too many."""
    if need <= 0:
        return np.zeros(len(volumes))
    need = need * (1 - ROUNDING)
    smallest = int(volumes.argmin())
    larger = np.delete(np.arange(len(volumes)), smallest)
    most = np.ceil(need / volumes[larger]) + 1
    if float(most.prod()) > MOST_TRIED:
        return None
    tried = np.zeros((int(most.prod()), len(volumes)))
    if len(larger):
        tried[:, larger] = np.indices(tuple(int(n) for n in most)).reshape(len(larger), -1).T
    lacking = np.maximum(need - tried @ volumes, 0.0)
    tried[:, smallest] = np.ceil(lacking / volumes[smallest])
    cost = tried @ costs
    cheap = tried[cost <= cost.min() * (1 + ROUNDING)]
    return cheap[(cheap @ volumes).argmin()]


def _least(
    costs: Floats, volumes: Floats, need: float, cap: tuple[Floats, float] | None = None
) -> Floats:
    """Whole numbers of least cost that cover the need and, if given, stay under a cap."""
    from scipy.optimize import LinearConstraint, milp

    limits = [LinearConstraint(volumes / volumes.max(), need / volumes.max() * (1 - ROUNDING))]
    if cap is not None:
        limits.append(LinearConstraint(cap[0], ub=cap[1] * (1 + ROUNDING)))
    whole = np.ones(len(volumes))
    found = milp(costs / max(costs.max(), 1e-12), integrality=whole, constraints=limits).x
    if found is None:
        raise BagError(f"No set of bags covers <{need * 1e3:.1f} L>; check bag sizes and prices.")
    return np.round(found)
