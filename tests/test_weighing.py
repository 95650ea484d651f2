"""What is known of a volume and a mass: doubts, scales, tapes, buckets, by arithmetic and chance."""

import math
from dataclasses import replace

import numpy as np
import pytest

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.calipers import own_scale
from plumbstone.meshes.measures.doubts import Doubt, foremost, in_length, range_of, trust_in
from plumbstone.meshes.measures.extents import extents_of
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.shapes.primitives import box
from plumbstone.meshes.telling import metric
from plumbstone.volumes.bodies.weighing import (
    WeighingError,
    checked_by_mass,
    checked_by_table,
    density_by_bucket,
    density_of_two_weighings,
    mass_of,
    rescaled_to_mass,
    rescaled_to_volume,
    size_volume,
    tape_spread,
    volume_by_bucket,
    weigh_limbs,
    weigh_mass,
    weigh_size,
    weigh_volume,
    with_density,
)
from plumbstone.volumes.scape.materials import find_material

DENSITY = Range(2600.0, 2650.0, 2700.0)
GRANITE = with_density(find_material("granite"), DENSITY)


@pytest.mark.parametrize("share", [0.001, 0.01, 0.05, 0.2])
def test_a_doubt_of_lengths_is_cubed(share: float) -> None:
    # A length that is really (1 + s) or 1 / (1 + s) of what was measured.
    found = in_length("scale", share, "")
    assert 1 + found.above == pytest.approx((1 + share) ** 3)
    assert 1 - found.below == pytest.approx(1 / (1 + share) ** 3)


def test_independent_doubts_add_as_squares() -> None:
    # Sides 3 and 4, 6 and 8 of right triangles; and no volume falls to nothing.
    doubts = [Doubt("a", 0.03, 0.06, ""), Doubt("b", 0.04, 0.08, "")]
    found = range_of(2.0, doubts)
    assert (found.low, found.mid, found.high) == pytest.approx((1.9, 2.0, 2.2))
    assert range_of(2.0, [Doubt("c", 1.5, 0.1, "")]).low == pytest.approx(0.1)
    # The same by chance: half-widths at 90 % of normal errors are 1.645 deviations each.
    rng = np.random.default_rng(3)
    errors = rng.normal(size=(200_000, 2)) @ (np.array([0.06, 0.08]) / 1.6449)
    assert np.quantile(errors, 0.95) == pytest.approx(0.10, abs=1e-3)


def test_the_word_hangs_on_the_worst_doubt() -> None:
    wide, slight = Doubt("a", 0.1, 0.1, ""), Doubt("b", 0.01, 0.01, "")
    asked = Doubt("c", 0.02, 0.02, "", trust="poor")
    assert [doubt.word for doubt in (slight, wide, asked)] == ["good", "fair", "poor"]
    assert foremost([slight, wide, asked]) is asked
    assert foremost([slight, wide]) is wide
    assert foremost([Doubt("d", 0.06, 0.06, ""), wide]) is wide  # of one word, the widest
    assert trust_in(Range(0.98, 1.0, 1.02), [slight]) == "good"
    assert trust_in(Range(0.98, 1.0, 1.02), [slight, wide]) == "fair"
    assert trust_in(Range(0.8, 1.0, 1.2), [slight]) == "poor"  # together they are too wide


def test_mass_and_volume_turn_into_each_other() -> None:
    # Ends times ends: interval arithmetic (Moore 1966, from memory) holds whatever the two share.
    volume = Range(0.9e-3, 1.0e-3, 1.1e-3)
    found = mass_of(volume, DENSITY)
    assert (found.low, found.mid, found.high) == pytest.approx((0.9 * 2.6, 2.65, 1.1 * 2.7))
    back = DENSITY.dividing(2.65)
    assert (back.low, back.mid, back.high) == pytest.approx((2.65 / 2700, 1e-3, 2.65 / 2600))


def test_two_weighings_bound_the_density_by_the_step_of_the_scale() -> None:
    # Archimedes: 2 kg that weigh 1.2 kg in water displace 0.8 kg of it; each reading may be off
    # by half a step, so the difference by one.
    found = density_of_two_weighings(2.0, 1.2, 0.01, None, 1000.0)
    assert found.mid == pytest.approx(2500.0)
    assert found.low == pytest.approx(2000 / 0.81)
    assert found.high == pytest.approx(2000 / 0.79)
    for dry, wet in ((1.0, 1.1), (1.0, 0.995)):
        with pytest.raises(WeighingError, match="in water"):
            density_of_two_weighings(dry, wet, 0.01, None, 1000.0)


def test_a_bucket_on_a_scale() -> None:
    # A stone pushed under on a cord presses with the water that it displaces.
    found = volume_by_bucket(1.5, 0.005, 5.0, 1000.0)
    assert (found.low, found.mid, found.high) == pytest.approx((1.495e-3, 1.5e-3, 1.505e-3))
    with pytest.raises(WeighingError, match="finer"):
        volume_by_bucket(0.01, 0.005, None, 1000.0)
    with pytest.raises(WeighingError, match="beyond"):
        volume_by_bucket(6.0, 0.005, 5.0, 1000.0)
    weighed = weigh_volume(found, GRANITE)
    assert weighed.mass.mid == pytest.approx(1.5e-3 * 2650)
    assert weighed.confidence.word == "good"


def test_a_factor_is_the_share_of_the_box() -> None:
    box_litres = 0.28 * 0.19 * 0.15
    found = size_volume((0.28, 0.19, 0.15))
    assert (found.low, found.mid, found.high) == pytest.approx(
        (0.4 * box_litres, 0.5 * box_litres, 0.6 * box_litres)
    )
    full = size_volume((0.28, 0.19, 0.15), 1.0)
    assert full.mid == full.high == pytest.approx(box_litres)  # no stone outgrows its box
    assert full.low == pytest.approx(0.8 * box_litres)
    for factor in (0.04, 1.01):
        with pytest.raises(WeighingError, match="factor"):
            size_volume((0.1, 0.1, 0.1), factor)
    with pytest.raises(WeighingError, match="unit"):
        size_volume((28.0, 19.0, 15.0))


@pytest.mark.parametrize(("kind", "share"), [("solid", 0.05), ("boulder", 0.2), ("limbs", 0.15)])
def test_a_tape_spreads_to_both_sides(kind: str, share: float) -> None:
    found = tape_spread(2.0, kind)
    assert (found.low, found.mid, found.high) == pytest.approx(
        (2 * (1 - share), 2.0, 2 * (1 + share))
    )


def test_limbs_add_up_as_cones() -> None:
    # V = h / 12π (a² + a b + b²) of girths a, b, less what round ends lose (at most a quarter of
    # the diameter at each end).
    limbs = [(0.6, 0.25, 0.12), (0.2, 0.09, 0.09)]
    cones = [h / (12 * math.pi) * (a * a + a * b + b * b) for h, a, b in limbs]
    found = weigh_limbs(limbs, find_material("driftwood"))
    assert found.volume.mid == pytest.approx(sum(cones), rel=0.02)
    assert found.volume.mid < sum(cones)
    one, other = (weigh_limbs([limb], find_material("driftwood")).volume.mid for limb in limbs)
    assert found.volume.mid == pytest.approx(one + other)


def test_a_scan_is_scaled_so_that_volume_and_mass_agree() -> None:
    # 1 L by the scan, 2.65 × 1.1³ kg on the scale: lengths × 1.1.
    sides = (0.2, 0.1, 0.05)
    scan = replace(
        weigh_volume(Range(0.95e-3, 1e-3, 1.05e-3), GRANITE),
        size=sides, piece=box(sides), extents=extents_of(box(sides).vertices),
    )  # fmt: skip
    found = rescaled_to_mass(scan, 2.65 * 1.1**3)
    assert found.size == pytest.approx([1.1 * side for side in sides])
    assert found.piece is not None
    assert found.piece.size == pytest.approx([1.1 * side for side in sides])
    assert found.extents is not None
    assert found.extents.sides == pytest.approx([1.1 * side for side in sides])
    assert found.volume.mid == pytest.approx(1.1**3 * 1e-3)
    assert found.mass.low == found.mass.high == pytest.approx(2.65 * 1.1**3)
    assert found.confidence.word != "good"  # lengths a tenth off are told
    assert rescaled_to_mass(scan, 2.66).confidence.word == "good"


@pytest.mark.parametrize("name", ["granite", "driftwood", "lava rock", "unknown stone"])
def test_a_mass_bears_no_better_word_than_the_density(name: str) -> None:
    """Density low to high: volumes differ by (1 / low - 1 / high) / 2 of that in the middle."""
    material = find_material(name)
    low, mid, high = material.dense
    share = mid * (1 / low - 1 / high) / 2
    word = "good" if share <= 0.05 else "fair" if share <= 0.15 else "poor"
    scan = weigh_volume(Range(0.99e-3, 1e-3, 1.01e-3), material)
    for found in (weigh_mass(mid * 1e-3, material), rescaled_to_mass(scan, mid * 1e-3)):
        assert (found.volume.half_width, found.confidence.word) == (pytest.approx(share), word)
        assert ("<bucket-rise>" in found.confidence.reason) == (word != "good")
    coarse = rescaled_to_volume(scan, volume_by_bucket(1.0, 0.06, None, 1000.0))  # 6 % to each side
    assert coarse.confidence.word == "fair"


def test_a_scan_is_scaled_to_its_volume_in_water() -> None:
    """By Archimedes it is what the reading rises by; the scan has 1 L, in water it is 1.02."""
    sides = (0.2, 0.1, 0.05)
    scan = replace(weigh_volume(Range(0.8e-3, 1e-3, 1.2e-3), GRANITE), size=sides, piece=box(sides))
    found = rescaled_to_volume(scan, volume_by_bucket(1.02, 0.001, None, 1000.0))
    assert found.piece is not None
    assert found.piece.size.prod() == pytest.approx(1.02e-3)
    assert found.volume.half_width == pytest.approx(0.001 / 1.02)
    assert (found.mass.mid, found.confidence.word) == (pytest.approx(2.65 * 1.02, rel=0.02), "good")
    other = rescaled_to_volume(scan, volume_by_bucket(2.0, 0.001, None, 1000.0))
    assert (other.confidence.word, other.confidence.reason[:14]) == ("poor", "water and scan")


def test_a_mass_that_contradicts_the_form_is_told() -> None:
    scan = weigh_volume(Range(0.95e-3, 1e-3, 1.05e-3), GRANITE)
    assert checked_by_mass(scan, 2.65).warnings == ()
    (told,) = checked_by_mass(scan, 2.65 * 1.3).warnings
    assert f"{1.3 ** (1 / 3):.3f}" in told  # the lengths, not the volume
    assert checked_by_mass(scan, 2.65 * 1.3).volume == scan.volume
    # One of the two is wrong, so neither is called good: it was, with a third too much mass.
    assert checked_by_mass(scan, 2.65).confidence == scan.confidence
    assert checked_by_mass(scan, 2.65 * 1.3).confidence.word == "poor"
    # Ten times too much is a slip of the point, and so is told.
    with pytest.raises(WeighingError, match=r"did you mean 2\.65 kg"):
        checked_by_mass(scan, 26.5)
    with pytest.raises(PlumbstoneError, match="at least"):
        weigh_size((0.2, 0.1, 0.1), GRANITE, mass=100.0)


def test_lengths_that_nobody_measured_are_told_beside_what_else_is_poor() -> None:
    own, slight = own_scale(), Doubt("a", 0.02, 0.02, "slight")
    alone = foremost([slight, own])
    assert alone.what == own.what
    assert alone.says.endswith("but for that it would be good")
    both = foremost([own, slight, Doubt("stand", 0.01, 0.01, "stands", trust="poor")])
    assert (both.what, both.says) == ("stand", f"stands; {own.says}")
    assert foremost([own]) is own


def test_a_density_that_was_measured_is_held_against_the_table() -> None:
    # By hand: 2.9 kg / 0.82 L = 3537 kg/m³ (granite: 2600 to 2700), hanging 2.9 - 0.82 = 2.08 kg.
    volume = volume_by_bucket(0.82, 0.001, None, 1000.0)
    stone = with_density(GRANITE, density_by_bucket(2.9, volume, GRANITE))
    told = checked_by_table(weigh_volume(volume, stone, 2.9))
    assert told.confidence.word == "fair"
    assert "3537 kg/m³ does not fit granite (2600 kg/m³ to 2700 kg/m³)" in metric(told.warnings[0])
    assert told.mass_in_water(1000.0).mid == pytest.approx(2.08, abs=1e-3)
    fits = with_density(GRANITE, density_by_bucket(2.17, volume, GRANITE))
    assert not checked_by_table(weigh_volume(volume, fits, 2.17)).warnings
    with pytest.raises(WeighingError, match="did you mean"):
        density_by_bucket(21.7, volume, GRANITE)


def test_a_tape_around_forked_wood_tells_little() -> None:
    # Three limbs 30 cm long and 12 to 6 cm around (0.60 L as frustums) in a
    # box of 40 × 20 × 15 cm, and a log that fills π/4 of its box: the range holds both.
    wood = find_material("driftwood")
    forked = 3 * 0.3 / (12 * np.pi) * (0.12**2 + 0.12 * 0.06 + 0.06**2) / (0.4 * 0.2 * 0.15)
    found = weigh_size((0.4, 0.2, 0.15), wood)
    shares = [v / (0.4 * 0.2 * 0.15) for v in (found.volume.low, found.volume.high)]
    assert shares[0] <= forked < np.pi / 4 <= shares[1]
    assert (found.name, found.confidence.word) == ("wood", "poor")
    weighed = weigh_size((0.4, 0.2, 0.15), wood, mass=0.9)  # 1.08 L are 9 % of the box
    assert weighed.volume.mid == pytest.approx(0.9 / wood.dense.mid)


def test_a_thickness_typed_as_a_girth_is_asked_for() -> None:
    # A stick 60 cm long and 5 cm thick has 1.18 L (a cylinder), by a girth of 5 cm 0.12 L.
    wood, mass = find_material("driftwood"), np.pi * 0.025**2 * 0.6 * 840
    with pytest.raises(WeighingError, match=r"It runs around, 3\.14 times that"):
        weigh_limbs([(0.6, 0.05, 0.05)], wood, mass)
    girth = 0.05 * np.pi
    assert weigh_limbs([(0.6, girth, girth)], wood, mass).mass.mid == mass
    with pytest.raises(
        WeighingError, match=r"did you mean 0\.9896 kg\? See the unit and the point\.$"
    ):
        weigh_limbs([(0.6, girth, girth)], wood, mass * 1e3)


def test_limbs_are_not_told_of_scans() -> None:
    (told,) = weigh_limbs([(0.6, 0.25, 0.12)], find_material("driftwood"), 0.7).warnings
    assert "girths read wrong" in told
    assert "--rescale" not in told
