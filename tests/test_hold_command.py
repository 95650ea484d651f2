"""`plumbstone hold`: logs of weighings, and answers that are kept."""

import os
import time
from pathlib import Path

import pytest
from commands import read_json, refuse, type_in
from held_wood import LOG, TANK, hold_of, tied, wood

from plumbstone.cli.kept_answers import JUST_NOW
from plumbstone.cli.wording.findings import finding_words
from plumbstone.cli.wording.units import Units
from plumbstone.volumes.holding import spread
from plumbstone.volumes.holding.findings import hold_findings
from plumbstone.volumes.holding.hold_down import HoldResult
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.scape.scape import read_scape


@pytest.mark.usefixtures("unoffered")
def test_a_log_with_dates_and_both_ways_of_weighing(tmp_path: Path) -> None:
    """Weighed in air and water on one day, the volume needs no form: (1.35 - 0.10) / 0.9982 L."""
    entries = ", ".join(
        [
            '{ date = 2026-03-01, mass = "1100 g" }',
            '{ date = 2026-03-08, mass = "1250 g" }',
            '{ date = 2026-03-22, mass = "1350 g" }',
            '{ date = 2026-03-22, mass = "100 g", weighed = "water" }',
        ]
    )
    soaking = hold_of(tmp_path, LOG, tied(more=f"log = [{entries}]")).soaking
    assert soaking is not None
    assert soaking.neutral_kg == pytest.approx(1.25, abs=1e-4)
    assert soaking.sinks


def test_commands_for_wood(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The picture, the spread and the log as a user types them; a second run gives the same."""
    monkeypatch.setattr(spread, "DRAWS", 60)
    (tmp_path / "t.toml").write_text(TANK + LOG, encoding="utf-8")
    done = type_in("plumbstone hold t.toml --picture p.png", tmp_path)
    assert done.returncode == 0, done.stderr
    assert "lifts off whole" in done.stdout
    assert (tmp_path / "p.png").read_bytes()[:4] == b"\x89PNG"
    found = read_json("plumbstone hold t.toml --spread", tmp_path)
    assert found == read_json("plumbstone hold t.toml --spread", tmp_path)
    low, *_, high = found["holds"][0]["spread"]["least_sinker_g"]
    assert 0 < low < found["holds"][0]["least_sinker_g"]["mid"] < high
    (tmp_path / "log.csv").write_text(
        "date,grams,weighed\n0,1100,air\n7,1250,air\n21,1350,air\n21,100,water\n", encoding="utf-8"
    )
    with_log = read_json("plumbstone hold t.toml --log log.csv", tmp_path)
    # The tank is at 20 °C: (1350 - 100) g is what it displaces.
    assert with_log["holds"][0]["soaking"]["neutral_kg"] == pytest.approx(1.25, abs=1e-6)


def test_what_lacks_before_anything_can_hold_is_named(tmp_path: Path) -> None:
    shallow = '[tank]\ninside = ["90 cm", "50 cm"]\n'
    for text, lacks in ((TANK, "no wood"), (shallow + LOG, "no water line")):
        (tmp_path / "t.toml").write_text(text, encoding="utf-8")
        assert lacks in refuse("plumbstone hold t.toml", tmp_path)


def test_a_log_as_a_spreadsheet_writes_it_where_commas_are_decimal(tmp_path: Path) -> None:
    found = []
    for name, part, point in (("a.csv", ",", "."), ("b.csv", ";", ",")):
        rows = (("date", "grams", "weighed"), ("2026-09-01", f"820{point}5", "air"),
                ("2026-09-08", "905", "air"), ("2026-09-22", "968", "air"))  # fmt: skip
        (tmp_path / name).write_text("\n".join(map(part.join, rows)), encoding="utf-8")
        line = f'plumbstone hold --wood-mass "820.5 g" --log {name}'
        found.append(read_json(line, tmp_path)["holds"][0]["soaking"])
    assert found[0] == found[1]


@pytest.mark.usefixtures("unoffered")
def test_a_log_begins_with_one_weighing(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(TANK + LOG, encoding="utf-8")
    (tmp_path / "log.csv").write_text("date,grams\n2026-03-01,1100\n", encoding="utf-8")
    told = type_in("plumbstone hold t.toml --log log.csv", tmp_path).stdout
    assert "one weighing tells no trend; weigh it again after a week." in " ".join(told.split())


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("day,mass\n1,2", "name the columns"),
        ("date,grams\n2026-03-01,1100\n2026-03-09,1000", "falls from 1100 g to 1000 g"),
        ("date,grams\n2026-03-01,1100\n2026-03-09,2900", "more than this volume can hold"),
        ("date,grams\nyesterday,1100", "line 2: date"),
        ("date,grams\n2026-03-01,a lot", "line 2: grams"),
        ("date,grams,group\n2026-03-01,1100,Twig", '"Twig" is no group'),
    ],
)
def test_logs_that_cannot_be_right(tmp_path: Path, lines: str, words: str) -> None:
    (tmp_path / "t.toml").write_text(TANK + LOG, encoding="utf-8")
    (tmp_path / "log.csv").write_text(lines + "\n", encoding="utf-8")
    assert words in refuse("plumbstone hold t.toml --log log.csv", tmp_path)


def test_hold_and_plan_say_the_same(tmp_path: Path) -> None:
    """One verdict, the same figures and the same lines, whichever command is asked."""
    parts = (LOG, wood("Twin", (30, 5, 5), 0.7, 85, "tilt = 20"))
    (tmp_path / "t.toml").write_text(TANK + "".join(parts), encoding="utf-8")
    alone, whole = (read_json(f"plumbstone {c} t.toml --json", tmp_path) for c in ("hold", "plan"))
    assert alone["holds"] == whole["holds"]
    assert [hold["verdict"] for hold in alone["holds"]] == ["moves", "moves"]
    told = {finding["text"] for finding in whole["findings"]}
    plan = Layout(read_scape(tmp_path / "t.toml")).plan()
    for hold in plan.holds:
        for finding in hold_findings(hold):
            assert finding_words(finding, Units.METRIC) in told
    spoken = " ".join(type_in("plumbstone hold t.toml", tmp_path).stdout.split())
    assert all(words in spoken for words in told if words.startswith(("Log", "Twin")))


def test_the_density_of_wood_that_was_not_weighed_is_not_told(tmp_path: Path) -> None:
    quick = "plumbstone hold --just-sinks-with '520 g granite'"
    assert "density" not in type_in(quick, tmp_path).stdout
    assert read_json(quick, tmp_path)["holds"][0]["density_kg_per_m3"] is None
    # 1.1 kg that lift 0.324 kg: 1.1 / 1.424 of the water.
    weighed = read_json(quick + " --wood-mass '1.1 kg'", tmp_path)["holds"][0]
    assert weighed["density_kg_per_m3"]["mid"] == pytest.approx(997.05 * 1.1 / 1.4244, rel=1e-3)


@pytest.fixture
def mapped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, unoffered: None) -> Path:
    """A log on a mapped bed; files that were there before any run began."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "map.csv").write_text("3,3\n3,3\n", encoding="utf-8")
    put_scape(tmp_path, 40)
    return tmp_path


def put_scape(folder: Path, long: int) -> None:
    (folder / "t.toml").write_text(
        '[tank]\ninside = ["46 cm", "14 cm", "24 cm"]\nwater_line = "20 cm"\n[[piece]]\n'
        f'name = "Log"\nkind = "wood"\nsolid = "box"\nsize = ["{long} cm", "6 cm", "6 cm"]\n'
        'material = "driftwood"\nrests = "bed"\nat = ["23 cm", "7 cm"]\n[[layer]]\n'
        'material = "sand"\nheight = { map = "map.csv" }\n',
        encoding="utf-8",
    )
    age(folder)


def age(folder: Path) -> None:
    """Wait until what was written lies clearly before the next run."""
    newest = max(path.stat().st_ctime for path in folder.glob("*.*"))
    while time.time() < newest + 2 * JUST_NOW:
        time.sleep(JUST_NOW)


def test_an_unchanged_scape_is_not_judged_again(
    mapped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = ("plumbstone hold t.toml", "plumbstone hold t.toml --json --units us")
    first = [type_in(line, mapped) for line in lines]
    assert all(done.returncode == 0 for done in first), first
    monkeypatch.setattr(Layout, "holds", None)  # would fail if it were called
    assert [type_in(line, mapped).stdout for line in lines] == [done.stdout for done in first]
    assert type_in("plumbstone hold t.toml --units us", mapped).returncode == 3
    assert type_in("plumbstone hold t.toml --spread", mapped).returncode == 3


@pytest.fixture
def judged_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let each scape be judged once, for tests of what becomes of the answers."""
    whole = Layout.holds

    def holds(layout: Layout) -> tuple[HoldResult, ...]:
        read = tuple(path.read_bytes() for path in layout.scape.files)
        if read not in JUDGED:
            JUDGED[read] = whole(layout)
        return JUDGED[read]

    monkeypatch.setattr(Layout, "holds", holds)


JUDGED: dict[tuple[bytes, ...], tuple[HoldResult, ...]] = {}


@pytest.mark.usefixtures("judged_once")
def test_the_oldest_answers_go_first(mapped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plumbstone.cli.kept_answers.MOST_KEPT", 2)
    kept = []
    for options in ("", " --json", " --units us"):
        assert type_in(f"plumbstone hold t.toml{options}", mapped).returncode == 0
        kept.append({path.name for path in (mapped / "cache" / "plumbstone" / "answers").iterdir()})
    assert [len(names) for names in kept] == [1, 2, 2]
    assert not kept[0] & kept[2]


@pytest.mark.parametrize("change", ["scape", "map", "damage", "limits", "code"])
@pytest.mark.usefixtures("judged_once")
def test_whatever_has_changed_is_judged_again(
    mapped: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    first = type_in("plumbstone hold t.toml", mapped).stdout
    kept = next((mapped / "cache" / "plumbstone" / "answers").iterdir())
    if change == "scape":
        put_scape(mapped, 44)
    elif change == "map":
        (mapped / "map.csv").write_text("9,9\n9,9\n", encoding="utf-8")
        age(mapped)
    elif change == "damage":
        kept.write_text(kept.read_text(encoding="utf-8").replace("Log", "Lag"), encoding="utf-8")
    elif change == "limits":
        monkeypatch.setenv("PLUMBSTONE_LIMITS", "2")
    else:
        monkeypatch.setattr("plumbstone.cli.kept_answers.code_digest", lambda *_: "another")
    before = kept.stat().st_ino
    again = type_in("plumbstone hold t.toml", mapped).stdout
    assert kept.stat().st_ino != before  # put anew
    assert (again == first) is (change in ("damage", "limits", "code"))


def test_what_changed_while_it_was_judged_is_not_kept(
    mapped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = Layout.holds

    def holds(layout: Layout) -> tuple[HoldResult, ...]:
        os.utime(mapped / "map.csv")
        return whole(layout)

    monkeypatch.setattr(Layout, "holds", holds)
    assert type_in("plumbstone hold t.toml", mapped).returncode == 0
    assert not (mapped / "cache" / "plumbstone" / "answers").exists()
