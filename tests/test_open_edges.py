"""How layers lie that no row of stones bounds, against areas times heights and repose."""

from dataclasses import replace
from math import tan

import numpy as np
import pytest

from plumbstone.cli.wording.bed import WORDED
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.findings import bed_findings
from plumbstone.volumes.bed.pouring import solve_bed
from plumbstone.volumes.bed.results import BedResult
from plumbstone.volumes.findings import Finding, Kind, Severity
from plumbstone.volumes.scape.layers import Layer, Profile, Sacks, Zone
from plumbstone.volumes.scape.materials import find_material

FLOOR = (0.6, 0.4)
SLOPE = tan(np.radians(33))
SOIL = replace(find_material("baked-clay soil"), repose=Range.exact(33))


def told(bed: BedResult, kind: Kind) -> list[Finding]:
    return [f for f in bed_findings(bed, None, (), ()) if f.kind is kind]


def test_the_layer_above_fills_the_gaps_between_sacks() -> None:
    # 60 × 40 × 4 cm of sacks with 15 % between them: 1.44 L more of the 3 cm above.
    filler = Layer("Filler", find_material("lava gravel"), Zone(), Profile(True, (0.04,) * 4),
                   0.0, (), 0.0, Sacks(1e-3, 0.15))  # fmt: skip
    soil = Layer("Soil", SOIL, Zone(), Profile(True, (0.07,) * 4), 0.0, (), 0.0)
    bed = solve_bed(FLOOR, [filler, soil])
    assert bed.layers[0].poured == pytest.approx(0.85 * 9.6e-3, rel=1e-3)
    assert bed.layers[1].poured == pytest.approx(7.2e-3 + 1.44e-3, rel=1e-3)


def test_a_height_that_cannot_stay_is_told_once() -> None:
    # 18 cm drawn over 18.5 cm of run stays at 18.5 tan = 12 cm, 6 cm lower.
    for drawn in (0.14, 0.18):
        profile = Profile(True, (drawn,) * 4)
        back = Layer("Soil", SOIL, Zone("back strip", 0.185), profile, 0.0, (), 0.0)
        (found,) = told(solve_bed(FLOOR, [back]), Kind.SLIDES)
        assert (found.how, found.where) == ("crest", "back")
        assert found.numbers["stays_m"] == pytest.approx(0.185 * SLOPE, abs=2e-3)
        assert found.numbers["lacking_m"] == pytest.approx(drawn - 0.185 * SLOPE, abs=2e-3)


@pytest.mark.parametrize("height", [0.02, 0.05])
def test_layers_side_by_side_hold_each_other(height: float) -> None:
    # 60 × 20 cm of each. Both 5 cm high, all stays; beside 2 cm the soil lies at repose from there:
    # a wedge of 3 cm × 3 cm / tan 33° / 2 over 60 cm is missing.
    front, back = (
        Layer(name, SOIL, Zone(f"{name} strip", 0.2), Profile(True, (h,) * 4), 0.0, (), 0.0)
        for name, h in (("front", height), ("back", 0.05))
    )
    missing = 0.6 * (0.05 - height) ** 2 / SLOPE / 2
    for layers in ((front, back), (back, front)):
        bed = solve_bed(FLOOR, layers)
        settled = {r.layer.name: r.settled for r in bed.layers}
        assert settled["front"] == pytest.approx(0.12 * height, rel=1e-3)
        assert settled["back"] == pytest.approx(0.12 * 0.05 - missing, rel=1e-3)
        hows = {found.how for found in told(bed, Kind.SLIDES)}
        assert hows == ({"in turn", "edge"} if height < 0.05 else {"in turn"})


def test_places_on_a_slanting_edge_that_two_layers_share_are_no_holes() -> None:
    # The edge runs through middles of cells, which lay in neither; 5 cm over 0.24 m² are 12 L.
    middle = (0.28, 0.0), (0.36, 0.4)
    left = Zone("", polygon=((0.0, 0.0), *middle, (0.0, 0.4)))
    right = Zone("", polygon=(middle[0], (0.6, 0.0), (0.6, 0.4), middle[1]))
    layers = [
        Layer(f"L{i}", SOIL, z, Profile(True, (0.05,) * 4), 0.0, (), 0.0)
        for i, z in enumerate((left, right))
    ]
    bed = solve_bed(FLOOR, layers)
    assert sum(r.settled for r in bed.layers) == pytest.approx(12e-3, rel=1e-3)


@pytest.mark.parametrize(("back", "slope"), [(0.38, 25.0), (0.465, 31.3)])
def test_a_slope_sideways_is_told(back: float, slope: float) -> None:
    # 10 to 38 cm over 60 cm: 25°; a bare one lasts at atan(0.6 tan 33°) = 21.3°. At 31.3° what
    # keeps 30° only, the low end of its repose, slides.
    soil = replace(SOIL, repose=Range(30, 33, 36))
    profile = Profile(True, (0.10, back, 0.10, back))
    (found,) = told(
        solve_bed(FLOOR, [Layer("Soil", soil, Zone(), profile, 0.0, (), 0.0)]), Kind.CREEPS
    )
    assert found.how == "left to right"
    assert found.numbers["slope_deg"] == pytest.approx(slope, abs=0.2)
    assert (found.severity is Severity.CARE) is (slope > 30)
    words = WORDED[Kind.CREEPS](found, Units("metric"))
    assert ("may slide from 30° on" in words) is (slope > 30)
