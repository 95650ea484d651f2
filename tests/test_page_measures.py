"""What is typed into fields of the page, read and written back in either system."""

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from plumbstone.cli.page.measures import Measures, angle, degrees, number
from plumbstone.cli.soaking_log import read_log
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.scape.quantities import parse_quantity

CM, INCHES = Measures(Units.METRIC), Measures(Units.US)


@pytest.mark.parametrize("measures", [CM, INCHES])
@settings(max_examples=60, deadline=None)
@given(metres=st.floats(0.001, 2.5))
def test_what_is_written_is_read_again(measures: Measures, metres: float) -> None:
    # To a hundredth of a millimetre in the file, to what a field has room for on the screen.
    assert parse_quantity(measures.written(metres), "length") == pytest.approx(metres, abs=1e-5)
    room = 0.0254 / 200 if measures is INCHES else 0.5e-4
    assert parse_quantity(measures.shown(metres), "length") == pytest.approx(
        metres, abs=1.01 * room
    )
    snapped = measures.snapped(metres)
    assert abs(snapped - metres) <= measures.step / 2 + 1e-12
    assert snapped / measures.step == pytest.approx(round(snapped / measures.step))
    assert measures.snapped(snapped) == pytest.approx(snapped)
    whole = parse_quantity(f"1 {measures.unit()}", "length")
    assert abs(measures.rounded(metres) - metres) <= whole / 2 + 1e-12


@pytest.mark.parametrize(
    ("measures", "typed", "metres"),
    [
        (CM, "12", 0.12), (CM, " 12,5 ", 0.125), (CM, "12 mm", 0.012), (CM, "5 in", 0.127),
        (INCHES, "5", 0.127), (INCHES, "2.", 0.0508), (INCHES, "12 cm", 0.12),
    ],
)  # fmt: skip
def test_a_bare_number_has_the_unit_of_its_reader(
    measures: Measures, typed: str, metres: float
) -> None:
    # One inch is 25.4 mm: NIST SP 811, appendix B.8.
    assert parse_quantity(measures.typed(typed), "length") == pytest.approx(metres)


def test_panes_are_told_in_millimetres() -> None:
    assert parse_quantity(CM.pane("8"), "length") == pytest.approx(0.008)
    assert parse_quantity(CM.pane("0.8 cm"), "length") == pytest.approx(0.008)
    assert parse_quantity(INCHES.pane("0.5"), "length") == pytest.approx(0.0127)
    for wrong in ("8 parsecs", "thick", ""):
        with pytest.raises(PlumbstoneError):
            CM.pane(wrong)


@settings(deadline=None)
@given(st.floats(-1e4, 1e4))
@example(8460.00390625)  # it is rounded to half a turn
def test_angles_keep_their_direction(turn: float) -> None:
    found = degrees(turn)
    assert -180 < found <= 180
    assert (found - turn + 180) % 360 - 180 == pytest.approx(0, abs=0.006)


def test_angles_and_amounts_as_typed() -> None:
    assert [angle(text) for text in ("30", " -12,5° ", "370")] == [30, -12.5, 370]
    assert (degrees(180), degrees(-180), degrees(370)) == (180, 180, 10)
    assert isinstance(degrees(90.0), int)
    assert (number(""), number("3,5"), number("0")) == (None, 3.5, 0)
    for wrong in ("steep", "1e9"):
        with pytest.raises(PlumbstoneError, match="degrees"):
            angle(wrong)
    for wrong in ("-1", "much", "nan"):
        with pytest.raises(PlumbstoneError):
            number(wrong)


def log(folder: Path, text: str) -> Path:
    (folder / "log.csv").write_text(text, encoding="utf-8")
    return folder / "log.csv"


def test_weighings_are_read_by_group_and_counted_from_the_first(tmp_path: Path) -> None:
    text = (
        "\ufeffDate, Grams ,weighed,group\n2026-03-09,1250,air,Root\n2026-03-01,1100,,Root\n"
        "2026-03-09,100,Water,Root\n5,400,air,Log\n12.5,420,air,Log\n"
    )
    found = read_log(log(tmp_path, text))
    assert {name: [w.day for w in rows] for name, rows in found.items()} == {
        "Root": [0, 8, 8], "Log": [0, 7.5],
    }  # fmt: skip
    assert [w.mass for w in found["Root"]] == pytest.approx([1.1, 1.25, 0.1])
    assert [w.in_water for w in found["Root"]] == [False, False, True]
    # Without a column for groups all are of the only one; dates run over leap days.
    found = read_log(log(tmp_path, "date,grams\n2028-02-28,10\n2028-03-01,11\n"))
    assert [w.day for w in found[""]] == [0, 2]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("day,mass\n1,2\n", "line 1: name the columns"),
        ("date,grams\n", "holds no weighing"),
        ("date,grams\n1,2\nsoon,3\n", "line 3: date"),
        ("date,grams\n-1,2\n", "line 2: date"),
        ("date,grams\n1,heavy\n", "line 2: grams"),
        ("date,grams\n1,1e7\n", "line 2: grams"),
        ("date,grams,weighed\n1,2,fog\n", "write air or water"),
    ],
)
def test_logs_that_are_none(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(PlumbstoneError, match=words):
        read_log(log(tmp_path, text))
    with pytest.raises(PlumbstoneError, match="cannot be read"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(PlumbstoneError, match="no plain file"):
        read_log(tmp_path)
