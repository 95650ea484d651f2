"""What is to be bought, and what it costs, added up by hand."""

from typing import Any

import pytest

from plumbstone.volumes.figures import Report
from plumbstone.volumes.findings import Finding, Kind, Severity, worst_first
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.report import report_of
from plumbstone.volumes.scape.scape import scape_from


def bought(**parts: Any) -> Report:
    tank = {"inside": ["60 cm", "30 cm", "40 cm"], "water_line": "35 cm"}
    return report_of(Layout(scape_from({"tank": tank, **parts})).preview(0.01))


def wood(name: str, at: float, **more: Any) -> dict[str, Any]:
    return {
        "name": name, "kind": "wood", "material": "driftwood", "solid": "box",
        "size": ["10 cm", "4 cm", "4 cm"], "mass": "100 g", "at": [f"{at} cm", "15 cm"], **more,
    }  # fmt: skip


STONE = {"name": "Block", "material": "granite", "solid": "box", "size": ["10 cm"] * 3,
         "mass": "2.6 kg", "at": ["50 cm", "22 cm"]}  # fmt: skip


def amounts(report: Report) -> dict[str, int]:
    found: dict[str, int] = {}
    for item in report.shopping:
        found[item.what] = found.get(item.what, 0) + item.count
    return found


def test_ties_pads_strips_and_fabric_are_counted() -> None:
    # Two sinkers tied, one laid on; two pairs of wood tied together, told from either side.
    sinkers = [
        {"mass": "300 g", "material": "slate", "how": "strapped"},
        {"mass": "300 g", "material": "slate", "how": "hanging", "at": ["10 cm", "15 cm", "2 cm"]},
        {"mass": "300 g", "material": "slate", "how": "laid on", "at": ["10 cm", "15 cm", "4 cm"]},
    ]
    report = bought(
        piece=[
            wood("A", 10, tied_to=["B"]), wood("B", 21, tied_to=["A", "C"]), wood("C", 32), STONE,
        ],
        group=[{"wood": ["A", "B", "C"], "sinkers": sinkers}],
        border={"line": [["0 cm", "3 cm"], ["30 cm", "7 cm"], ["60 cm", "3 cm"]], "strip": "3 cm"},
        layer=[
            {"name": "Low", "material": "gravel", "depth": "1 cm", "zone": "behind border"},
            {"name": "Top", "material": "sand", "depth": "1 cm", "zone": "behind border",
             "fabric": True},
        ],
        prices={"tie": 0.5, "pad": 0.25, "strip": 6, "fabric": 2},
    )  # fmt: skip
    counts = amounts(report)
    assert (counts["tie"], counts["pad"], counts["strip"], counts["fabric"]) == (4, 1, 1, 1)
    assert counts["sinker"] == 3
    (strip,) = (item for item in report.shopping if item.what == "strip")
    assert strip.length_m == pytest.approx(2 * (0.30**2 + 0.04**2) ** 0.5)  # Pythagoras
    small = {i.what: i.cost.mid for i in report.shopping if i.cost is not None}
    assert small == {"tie": 2.0, "pad": 0.25, "strip": 6.0, "fabric": 2.0}
    assert report.costs.total is not None
    assert report.costs.total.mid == pytest.approx(10.25)
    # What has no price stays on the list and is named.
    assert {"A", "B", "C", "Block", "Low", "Top"} <= set(report.costs.without_price)


def test_bags_are_bought_whole_and_loose_soil_by_the_litre() -> None:
    # 18 dm² × 2 cm = 3.6 L, poured with nothing lost: two bags of 2 L at 5 each.
    layer = {"name": "Soil", "material": "gravel", "depth": "2 cm", "settling": 0}
    report = bought(layer=[layer | {"bags": [{"holds": "2 L", "price": 5}], "spare": 0}])
    (bag,) = report.shopping
    assert (bag.what, bag.count) == ("bag", 2)
    assert bag.volume_m3 == pytest.approx(4e-3)
    assert bag.cost is not None
    assert bag.cost.mid == report.costs.bags == 10
    (loose,) = bought(layer=[layer]).shopping
    assert loose.what == "loose"
    assert loose.volume_m3 == pytest.approx(3.6e-3, rel=1e-3)
    assert loose.cost is None
    assert bought().costs.total is None


def test_prices_by_the_kilogram_have_the_range_of_the_mass() -> None:
    # A lump of 4 kg at 3 a kilogram; the mass of three stones by tape is not known exactly.
    lump = {"material": "granite", "count": 2, "mass": "4 kg", "price": 3}
    report = bought(lump=[lump])
    (item,) = report.shopping
    assert item.cost is not None
    assert item.cost.mid == pytest.approx(12)
    assert item.mass_kg is not None
    assert item.cost.high / item.cost.mid == pytest.approx(item.mass_kg.high / item.mass_kg.mid)


def test_the_worst_is_told_first_and_equals_keep_their_order() -> None:
    kinds = list(Kind)
    told = [
        Finding(kinds[k], severity, (str(number),))
        for number, (k, severity) in enumerate(
            (k, s) for s in sorted(Severity) for k in (3, 1, 3, 0)
        )
    ]
    found = worst_first(told)
    severities = [finding.severity for finding in found]
    assert severities == sorted(severities, reverse=True)
    for severity in Severity:
        mine = [f for f in found if f.severity == severity]
        assert [kinds.index(f.kind) for f in mine] == [0, 1, 3, 3]
        threes = [int(f.about[0]) for f in mine if f.kind == kinds[3]]
        assert threes == sorted(threes)
