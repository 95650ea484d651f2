"""Bags against brute force."""

import itertools
from dataclasses import replace
from math import radians, tan
from pathlib import Path

import pytest
from commands import read_json, type_in
from hypothesis import given, settings
from hypothesis import strategies as st

from plumbstone.volumes.bed import bags
from plumbstone.volumes.bed.bags import Bag, BagError, bags_of, cheapest_bags
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.scape.scape import read_scape


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


def test_many_sizes_are_solved_as_a_whole_number_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is too much to try is left to another solver, which finds the same."""
    monkeypatch.setattr(bags, "MOST_TRIED", 0)
    sizes = [Bag(2.0, False, 5.0), Bag(5.0, False, 11.0), Bag(9.0, False, 17.0)]
    for need in (1.0, 4.0, 7.5, 18.0, 23.0):
        choice = cheapest_bags(need, sizes, 1000.0)
        assert (choice.cost, choice.bought) == pytest.approx(brute_force(need, sizes))


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


OWN = '[[material]]\nname = "own"\nlike = "baked-clay soil"\nbulk_density = "0.8 kg/L"'


def soil(folder: Path, *lines: str) -> None:
    """Write t.toml, a tank of 60 × 40 cm with a layer of such lines."""
    tank = '[tank]\ninside = ["60 cm", "40 cm", "40 cm"]'
    material = "own" if OWN in lines else "baked-clay soil"
    layer = f'[[layer]]\nname = "Soil"\nmaterial = "{material}"'
    (folder / "t.toml").write_text("\n".join([tank, layer, *lines]), encoding="utf-8")


def test_more_bags_if_it_settles_more(tmp_path: Path) -> None:
    # 60 × 40 × 6.93 cm is 16.6 L; at 5 % 17.5 L, at 15 % 19.6 L: three bags of 9 L, not two.
    bags = 'bags = [{ holds = "9 L", price = 20 }]'
    soil(tmp_path, 'depth = "6.93 cm"', "settling = 0.05", bags)
    told = type_in("plumbstone bed t.toml", tmp_path).stdout
    assert "Soil: 2 bags; 3 if it settles by 15 %." in told
    (layer,) = read_json("plumbstone bed t.toml", tmp_path)["layers"]
    assert layer["poured_range_l"]["mid"] == pytest.approx(16.632 / 0.95, rel=1e-6)
    assert layer["poured_range_l"]["high"] == pytest.approx(16.632 / 0.85, rel=1e-6)
    assert [bag["count"] for bag in layer["bags_if_worse"]] == [3]
    soil(tmp_path, 'depth = "6.93 cm"', "settling = 0.05", bags, OWN)  # 0.8 kg in each litre
    (heavy,) = read_json("plumbstone bed t.toml", tmp_path)["layers"]
    for end, share in (("mid", 0.95), ("high", 0.85)):
        assert heavy["mass_kg"][end] == pytest.approx(16.632 * 0.8 / share, rel=1e-6)
    # Without 2 L that lie in gaps of the layer below, 14.6 L at 15 % are 17.2 L: two bags do.
    bed = Layout(read_scape(tmp_path / "t.toml")).plan().bed
    assert bed is not None
    assert bags_of(replace(bed.layers[0], gaps=2e-3))[1] is None


def test_fewer_but_larger_bags_are_told_by_their_sizes(tmp_path: Path) -> None:
    # 60 × 40 × 8.41 cm at 5 % are 21.2 L: 10 and 3 × 4 L at 24.40; at 15 % 23.7 L: two of 10 and
    # one of 4 L at 24.80. "4 bags; 3 if it settles by 15 %" would say that more takes less.
    bags = 'bags = [{ holds = "10 L", price = 10 }, { holds = "4 L", price = 4.8 }]'
    soil(tmp_path, 'depth = "8.41 cm"', "settling = 0.05", bags)
    told = type_in("plumbstone bed t.toml", tmp_path).stdout
    assert "Soil: 1 × 10 L, 3 × 4 L; 2 × 10 L, 1 × 4 L if it settles by 15 %." in told


def test_other_bags_where_it_stands_steeper(tmp_path: Path) -> None:
    # A heap over a strip of 10 × 60 cm: its litres go with the tangent of its repose, 30-38°.
    strip = ('height = "30 cm"', 'zone = "back strip"', 'width = "10 cm"')
    soil(tmp_path, *strip, "settling = 0.15", 'bags = [{ holds = "2.5 L" }]')
    low, mid, high = (0.6 * 0.1**2 * tan(radians(phi)) / 2 / 0.85 * 1e3 for phi in (30, 34, 38))
    (layer,) = read_json("plumbstone bed t.toml", tmp_path)["layers"]
    assert layer["poured_l"] == pytest.approx(mid, rel=1e-3)
    assert layer["poured_range_l"]["high"] == pytest.approx(high, rel=5e-3)
    assert layer["poured_range_l"]["low"] < low * 1.005  # it may settle by less, too
    told = type_in("plumbstone bed t.toml", tmp_path).stdout
    assert "Soil: 1 bag; 2 if it settles by 15 % and stands at 38°." in told
