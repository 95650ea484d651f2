"""One report for every mouth: terminal, documents and sheet say the same, in both units."""

import html
import re
from typing import Any

import pytest

from plumbstone.cli import documents, plan
from plumbstone.cli.pictures.sight import look_at
from plumbstone.cli.sheet.build_sheet import build_sheet
from plumbstone.cli.wording.findings import WORDED, finding_words
from plumbstone.cli.wording.units import TABLE, Toward, Units, written
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.findings import Kind, Severity
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.plan import Plan
from plumbstone.volumes.report import report_of
from plumbstone.volumes.scape.scape import scape_from

TROUBLED: dict[str, Any] = {
    "name": "Troubled tank",
    "tank": {"inside": ["60 cm", "35 cm", "30 cm"], "water_line": "27 cm", "glass": "8 mm"},
    "piece": [
        {"name": "Needle", "material": "basalt", "solid": "box", "mass": "2.2 kg",
         "size": ["5 cm", "5 cm", "31 cm"], "at": ["10 cm", "25 cm"], "price": 3.5},
        {"name": "Sunk stone", "material": "granite", "size": ["6 cm", "5 cm", "4 cm"],
         "at": ["45 cm", "28 cm"]},
        {"name": "Raft", "kind": "wood", "material": "driftwood", "at": ["32 cm", "22 cm"],
         "limbs": [{"length": "22 cm", "girth": ["14 cm", "9 cm"]}]},
    ],
    "group": [{"name": "Raft", "wood": ["Raft"]}],
    "layer": [
        {"name": "Filler", "material": "pumice gravel", "depth": "3 cm",
         "bags": [{"holds": "5 L", "price": 9}]},
        {"name": "Soil", "material": "fine baked-clay soil",
         "height": {"front": "4 cm", "back": "24 cm"}, "bags": [{"holds": "9 L", "price": 22}]},
    ],
    "spot": [{"name": "Fern", "at": ["30 cm", "3 cm"], "root_depth": "12 cm"}],
}  # fmt: skip


@pytest.fixture(scope="module")
def troubled() -> Plan:
    return Layout(scape_from(TROUBLED)).plan(0.005)


def squeezed(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def printed(troubled: Plan, units: Units, capsys: pytest.CaptureFixture[str]) -> str:
    plan.print_plan(troubled, report_of(troubled), units)
    return squeezed(capsys.readouterr().out)


@pytest.mark.parametrize("units", Units)
def test_every_finding_is_said_in_the_terminal(
    troubled: Plan, units: Units, capsys: pytest.CaptureFixture[str]
) -> None:
    text = printed(troubled, units, capsys)
    report = report_of(troubled)
    assert len(report.findings) >= 5
    assert report.findings[0].severity is Severity.STOP
    assert text.index("Do not fill yet") < text.index("stones and wood")
    for finding in report.findings:
        assert squeezed(finding_words(finding, units)) in text


def test_documents_hold_every_finding_and_figure(troubled: Plan) -> None:
    report = report_of(troubled)
    document = documents.plan_document(report)
    assert [f["text"] for f in document["findings"]] == [
        finding_words(f, Units.METRIC) for f in report.findings
    ]
    for layer, told in zip(document["layers"], report.layers, strict=True):
        assert layer["poured_l"] == pytest.approx(told.poured_m3 * 1e3)
        assert layer["mass_kg"]["high"] == told.mass_kg.high
    assert document["pieces"][0]["top_cm"] == pytest.approx(report.pieces[0].top_m * 100)


@pytest.mark.usefixtures("worded")
@pytest.mark.parametrize("units", Units)
def test_sheet_and_terminal_write_the_same_figures(
    troubled: Plan, units: Units, capsys: pytest.CaptureFixture[str]
) -> None:
    text = printed(troubled, units, capsys)
    report = report_of(troubled)
    sheet = squeezed(html.unescape(build_sheet(look_at(troubled), report, units)))
    assert report.water is not None
    assert report.load is not None
    assert report.load.full_kg is not None
    figures = [
        written(report.water.dosing_m3.mid, "volume", units),
        written(report.load.full_kg.mid, "mass", units),
        *(written(layer.poured_m3, "volume", units) for layer in report.layers),
    ]
    for figure in figures:
        assert figure in text
        assert figure in sheet
    for finding in report.findings:
        if finding.severity is Severity.STOP:
            assert finding.about[0] in sheet


def test_every_kind_of_finding_is_worded_once() -> None:
    assert set(WORDED) == set(Kind)


@pytest.mark.parametrize("units", Units)
@pytest.mark.parametrize("kind", TABLE)
def test_needs_are_rounded_up_and_offers_down(kind: str, units: Units) -> None:
    for value in (0.03337, 0.70243, 1.67891, 12.33917):
        numbers = [
            float(re.match(r"-?[\d.]+", written(value, kind, units, toward))[0])  # type: ignore[index]
            for toward in (Toward.DOWN, Toward.NEAREST, Toward.UP)
        ]
        assert numbers == sorted(numbers)
        assert numbers[0] < numbers[2]


def test_a_piece_has_one_number(troubled: Plan) -> None:
    report = report_of(troubled)
    assert [piece.number for piece in report.pieces] == list(range(1, len(report.pieces) + 1))
    assert [p.name for p in report.pieces] == [body.entry.name for body in troubled.bodies]


def test_ranges_of_a_report_rise(troubled: Plan) -> None:
    for piece in report_of(troubled).pieces:
        for figure in (piece.volume_m3, piece.mass_kg, piece.mass_in_water_kg):
            assert isinstance(figure, Range)
            assert figure.low <= figure.mid <= figure.high
