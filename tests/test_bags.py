"""Bags against brute force."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plumbstone.volumes.bed.bags import Bag, BagError, cheapest_bags, most_bags


def brute_force(need: float, bags: list[Bag]) -> tuple[float, float]:
    """Least cost, and least volume at that cost, over all counts that could matter."""
    ranges = [range(int(need / bag.holds) + 2) for bag in bags]
    best = (float("inf"), float("inf"))
    for counts in itertools.product(*ranges):
        volume = sum(n * bag.holds for n, bag in zip(counts, bags, strict=True))
        if volume >= need * (1 - 1e-9):
            cost = sum(n * (bag.price or 0.0) for n, bag in zip(counts, bags, strict=True))
            best = min(best, (round(cost, 6), volume))
    return best


@settings(max_examples=40, deadline=None)
@given(
    need=st.integers(1, 30),
    sizes=st.lists(
        st.tuples(st.sampled_from([2, 3, 5, 9]), st.integers(3, 30)),
        min_size=1, max_size=3, unique_by=lambda pair: pair[0],
    ),
)  # fmt: skip
def test_cheapest_is_cheapest(need: int, sizes: list[tuple[int, int]]) -> None:
    bags = [Bag(float(size), False, float(price)) for size, price in sizes]
    choice = cheapest_bags(float(need), bags, 1000.0)
    cost, volume = brute_force(float(need), bags)
    assert choice.cost == pytest.approx(cost)
    assert choice.bought == pytest.approx(volume)
    assert choice.left_over == pytest.approx(choice.bought - need)


def test_without_prices_the_fewest_bags() -> None:
    choice = cheapest_bags(10.0, [Bag(3.0, False), Bag(9.0, False)], 1000.0)
    assert choice.counts == (1, 1)
    assert choice.cost is None


def test_bags_by_mass_use_the_heap_density() -> None:
    # 20 kg of sand at 1.6 kg/L is 12.5 L.
    choice = cheapest_bags(0.020, [Bag(20.0, True, 10.0)], 1600.0)
    assert choice.counts == (2,)
    assert choice.bought == pytest.approx(0.025)


def test_no_bag_and_too_many_are_refused() -> None:
    with pytest.raises(BagError, match="No bag sizes"):
        cheapest_bags(1.0, [], 1000.0)
    with pytest.raises(BagError, match="over 10000 bags"):
        cheapest_bags(1e6, [Bag(1.0, False, 1.0)], 1000.0)


def test_more_bags_if_it_settles_more() -> None:
    # 17.5 L at 5 % leave 16.6 L; at 15 % they need 19.6 L: three bags of 9 L, not two.
    bags = [Bag(9e-3, False, 20.0)]
    assert sum(cheapest_bags(17.5e-3, bags, 850.0).counts) == 2
    assert most_bags(17.5e-3, 0.05, bags, 850.0) == 3
    assert most_bags(17.5e-3, 0.15, bags, 850.0) == 2
