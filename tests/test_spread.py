"""Draws by chance, what lies buried, and what of the bed is told, against closed forms."""

from statistics import NormalDist
from typing import Any

import numpy as np
import pytest

from plumbstone.meshes.measures.columns import Grid, Window, columns_of
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.shapes.placing import stood_at
from plumbstone.meshes.shapes.primitives import box
from plumbstone.volumes.bed.results import covered_share, depths_at
from plumbstone.volumes.holding.burial import burial_bonus, submerged_excess
from plumbstone.volumes.holding.spread import drawn, spread_of_lift
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.scape.layers import Spot
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.scape import scape_from


def test_bounds_of_a_range_are_drawn_at_one_in_twenty() -> None:
    places = [NormalDist().inv_cdf(p) for p in (0.05, 0.5, 0.95)]
    assert drawn(Range(1.0, 3.0, 4.0), np.array(places)) == pytest.approx([1, 3, 4])
    # Half as far out in deviations is half as far from the middle, on either side apart.
    assert drawn(Range(1.0, 3.0, 4.0), np.array(places) / 2) == pytest.approx([2, 3, 3.5])


def test_a_drawn_sinker_has_the_quantiles_of_its_lift() -> None:
    # The stone is exact: m = lift / (1 - 1000 / 2500) = lift / 0.6, whose quantiles are those
    # of a normal lift; 200 draws tell an edge to about a tenth of the range.
    found = spread_of_lift(Range(0.3, 0.5, 0.7), Range.exact(2500.0), 1000.0)
    assert found.needed == pytest.approx(found.lifts / 0.6)
    low, _, middle, _, high = found.quantiles(found.needed)
    assert middle == pytest.approx(0.5 / 0.6, abs=0.03)
    assert low == pytest.approx(0.3 / 0.6, abs=0.07)
    assert high == pytest.approx(0.7 / 0.6, abs=0.07)
    light = spread_of_lift(Range(0.3, 0.5, 0.7), Range(900.0, 950.0, 990.0), 1000.0)
    assert (light.needed[light.lifts > 0] > 5).all()  # pumice holds nothing down


@pytest.mark.parametrize(
    ("bulk", "grain", "pores", "excess"),
    [
        (1560, 2600, 0.0, 0.6 * 1600),  # 60 % solid: each litre of grains weighs 1.6 kg in water
        (700, 2000, 0.5, 0.7 * (1000 + 500 - 1000)),  # envelope 1000: 70 % solid, pores full
        (300, 500, 0.0, 0.0),  # floats: it presses on nothing
    ],
)
def test_covered_grains_weigh_what_they_displace_less(
    bulk: float, grain: float, pores: float, excess: float
) -> None:
    own = {"name": "Own", "like": "gravel", "bulk_density": f"{bulk} kg/m^3",
           "grain_density": f"{grain} kg/m^3", "grain_pores": pores}  # fmt: skip
    layout = bed_of(material=[own], layer=[{"material": "Own", "depth": "5 cm", "settling": 0}])
    material = layout.scape.layers[0].material
    assert submerged_excess(material, 1000.0) == pytest.approx(excess)


def bed_of(**parts: Any) -> Layout:
    tank = {"inside": ["60 cm", "30 cm", "40 cm"], "water_line": "35 cm"}
    return Layout(scape_from({"tank": tank, **parts}))


BLOCK = {"name": "Block", "material": "granite", "solid": "box",
         "size": ["10 cm", "10 cm", "4 cm"], "at": ["30 cm", "15 cm"]}  # fmt: skip


def test_only_what_lies_over_a_stone_counts_as_burial() -> None:
    # A block of 4 cm below 7 cm of gravel: a prism of 3 cm over 1 dm², 0.3 L.
    layer = {"material": "gravel", "height": "7 cm"}
    plan = bed_of(piece=[BLOCK], layer=[layer]).preview(0.005)
    assert plan.bed is not None
    excess = submerged_excess(find_material("gravel"), 1000.0)
    found = burial_bonus(plan.bodies, plan.bed, 1000.0)
    assert found == pytest.approx(0.3e-3 * excess, rel=5e-3)
    # The same stone twice is covered once.
    assert burial_bonus([*plan.bodies, *plan.bodies], plan.bed, 1000.0) == pytest.approx(found)
    assert burial_bonus([], plan.bed, 1000.0) == 0


def test_depth_at_a_place_counts_down_to_a_buried_stone() -> None:
    bed = bed_of(piece=[BLOCK], layer=[{"material": "gravel", "height": "7 cm"}]).preview(0.005).bed
    assert bed is not None
    over, beside = depths_at([Spot("a", (0.3, 0.15), None), Spot("b", (0.5, 0.15), 0.09)], bed)
    assert (over.height_m, over.depth_m) == pytest.approx((0.07, 0.03), abs=1e-6)
    assert (beside.height_m, beside.depth_m) == pytest.approx((0.07, 0.07), abs=1e-6)
    assert over.lacking_m == 0
    assert beside.lacking_m == pytest.approx(0.02)
    assert depths_at([], bed) == ()


@pytest.mark.parametrize(("soil", "share"), [(-1.0, 0.0), (0.0, 0.0), (0.01, 0.25), (0.5, 1.0)])
def test_the_share_of_a_block_below_the_soil(soil: float, share: float) -> None:
    grid = Grid.of_spacing(0.6, 0.3, 0.01)
    block = stood_at(box((0.1, 0.1, 0.04)), 0.3, 0.15)
    window = columns_of(block.vertices, block.faces, grid)
    assert covered_share(window, np.full((grid.ny, grid.nx), soil)) == pytest.approx(share)
    none = Window(np.empty((0, 0, 0)), np.empty((0, 0, 0)), 0, 0)
    assert covered_share(none, np.zeros((grid.ny, grid.nx))) == 0
