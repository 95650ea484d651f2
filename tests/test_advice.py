"""Advice is said once, and helps where it is done as printed."""

import re
from pathlib import Path

import pytest
from commands import type_in

TANK = '[tank]\ninside = ["60 cm", "40 cm", "45 cm"]\n'
SOIL = '[[layer]]\nmaterial = "baked-clay soil"\n'


def piece(name: str, size: tuple[float, ...], at: tuple[float, float], more: str = "") -> str:
    sides, place = ([f"{v} cm" for v in values] for values in (size, at))
    return (
        f'[[piece]]\nname = "{name}"\nmaterial = "granite"\nsolid = "box"\nsize = {sides}\n'
        f"at = {place}\n{more}\n"
    )


def told(folder: Path, *parts: str) -> str:
    """Give what `plan` prints of a tank, the folds of its lines undone."""
    (folder / "tank.toml").write_text("\n".join((TANK, *parts)), encoding="utf-8")
    done = type_in("plumbstone plan tank.toml", folder)
    assert done.returncode == 0, done.stderr
    return " ".join(done.stdout.split())


def test_many_gaps_alike_are_told_once_by_name(tmp_path: Path) -> None:
    # Eleven stones of 4 cm leave ten gaps of 1.6 cm and two of 0 mm at the panes.
    row = [piece(f"K{i}", (4, 6, 6), (2 + 5.6 * i, 12)) for i in range(11)]
    names = [f"K{i}" for i in range(11)]
    border = f'[border]\nline = [["0 cm", "12 cm"], ["60 cm", "12 cm"]]\nstones = {names}\n'
    soil = f'{SOIL}name = "Soil"\nzone = "behind border"\nheight = "5 cm"\n'
    words = told(tmp_path, *row, border, soil)
    assert words.count("set a hidden strip") == 1
    assert len(re.findall(r"K\d+ - K\d+", words)) == 10


@pytest.mark.parametrize(("from_left", "told_of"), [(15.1, True), (17.0, False)])
def test_a_heavy_stone_at_a_pane_is_told(tmp_path: Path, from_left: float, told_of: bool) -> None:
    # 30 × 20 × 30 cm of granite: 48 kg, its side 1 mm or 2 cm off the left pane.
    words = told(tmp_path, piece("Great", (30, 20, 30), (from_left, 20)))
    assert ("drawn 1 mm off the left pane" in words) is told_of


def test_what_lies_on_a_lintel_is_no_load_of_one_leg_alone(tmp_path: Path) -> None:
    # A leg of 8 × 14 × 14 cm stands by itself; it was told that it does not, as the stone on the
    # lintel was laid on it without the lintel.
    legs = piece("L", (8, 14, 14), (18, 20)) + piece("R", (8, 14, 14), (42, 20))
    roof = piece("Lintel", (38, 12, 5), (30, 20), 'rests = "L"')
    top = piece("Top", (12, 10, 8), (30, 20), 'rests = "Lintel"')
    assert "Nothing found that has to be mended" in told(tmp_path, legs, roof, top)


def test_wood_that_falls_is_not_told_to_be_too_light(tmp_path: Path) -> None:
    # A limb that leans on nothing: no weight hung on it by rule of lift makes it stand.
    limb = (
        '[[piece]]\nname = "Limb"\nmaterial = "driftwood"\nat = ["30 cm", "20 cm"]\n'
        'limbs = [{ path = [["0 cm", "0 cm", "0 cm"], ["24 cm", "0 cm", "14 cm"]], '
        'girth = ["12 cm", "8 cm"] }]\n'
    )
    words = told(tmp_path, limb)
    assert "by its own weight" in words
    assert "by weight alone" not in words


def test_a_piece_through_a_pane_by_a_hair_is_told_in_millimetres(tmp_path: Path) -> None:
    # "reaches 0.0 cm through the right pane" told nothing.
    (tmp_path / "tank.toml").write_text(TANK + piece("A", (10, 10, 10), (55.03, 20)), "utf-8")
    assert "1 mm through the right pane" in type_in("plumbstone plan tank.toml", tmp_path).stderr


def test_what_is_asked_is_enough_once_it_is_hung(tmp_path: Path) -> None:
    # 1.3 · 520 g is 676 g, told as 680; hung, these lacked 10 g, and with 300 g the need was 690.
    line = 'plumbstone hold --wood-mass "1.35 kg" --just-sinks-with "520 g granite"'
    for hung, words in ((300, "Add 380 g"), (600, "add 80 g"), (680, "Heavy enough")):
        said = type_in(f'{line} --sinker "{hung} g granite"', tmp_path).stdout
        assert words in said
        assert "690" not in said


def test_a_bucket_read_in_millilitres_tells_the_volume(tmp_path: Path) -> None:
    said = type_in('plumbstone weigh --bucket-rise "820 ml" -m driftwood', tmp_path).stdout
    assert "0.82 L" in said
    assert '"820 g"' in type_in("plumbstone weigh --bucket-rise 820", tmp_path).stderr


def test_a_file_without_a_tank_is_told_what_to_write(tmp_path: Path) -> None:
    (tmp_path / "tank.toml").write_text('name = "x"\n', "utf-8")
    why = type_in("plumbstone plan tank.toml", tmp_path).stderr
    assert 'tank = { inside = ["60 cm", "30 cm", "36 cm"] }' in why


@pytest.mark.parametrize(("tilt", "told_of"), [(0, False), (4.6, True)])
def test_a_stone_on_its_edge_carries_nothing_as_drawn(
    tmp_path: Path, tilt: float, told_of: bool
) -> None:
    # In a rigid-body simulation a stone tilted by 4.6° lay down, and what lay on it moved by 5 mm.
    low = piece("Low", (14, 12, 6), (30, 20), f"tilt = {tilt}\nlean = 0")
    words = told(tmp_path, low, piece("Top", (8, 8, 5), (30, 20), 'rests = "Low"\nsettle = true'))
    assert ("Low: does not rest as drawn" in words) is told_of


@pytest.mark.parametrize("how", ["hanging", "standing"])
def test_no_cord_runs_through_wood_to_the_ground(tmp_path: Path, how: str) -> None:
    # A stump of 8 × 8 × 30 cm: a stone tied 28 cm up in its axis would hang beside it and tip it;
    # it was told to stay. From the underside of a log on two stones one does hang.
    stump = piece("Stump", (8, 8, 30), (30, 20), 'kind = "wood"\nmass = "1.3 kg"').replace(
        "granite", "driftwood"
    )
    group = '[[group]]\nwood = ["{}"]\nsinkers = [{{ mass = "2.5 kg", material = "granite", '
    tie = f'how = "{how}", at = ["30 cm", "20 cm", "{{}} cm"] }}}}]\n'
    (tmp_path / "tank.toml").write_text(TANK + stump + (group + tie).format("Stump", 28), "utf-8")
    assert "28.0 cm of wood" in type_in("plumbstone hold tank.toml", tmp_path).stderr
    legs = piece("L", (8, 14, 14), (18, 20)) + piece("R", (8, 14, 14), (42, 20))
    log = piece("Log", (36, 8, 6), (30, 20), 'kind = "wood"\nrests = "L"').replace(
        "granite", "driftwood"
    )
    assert "Stays, if set" in told(tmp_path, legs, log, (group + tie).format("Log", 17))


@pytest.mark.usefixtures("unoffered")
@pytest.mark.parametrize(
    ("material", "solid", "may_float"),
    [("driftwood", "box", True), ("mopane wood", "boulder", False)],
)
def test_the_headline_agrees_with_the_lines_below_it(
    tmp_path: Path, material: str, solid: str, may_float: bool
) -> None:
    # "Do not fill yet" stood above "See to: held, but without the reserve" alone.
    log = piece("Log", (18, 8, 8), (30, 18), "seed = 4").replace('"box"', f'"{solid}"')
    group = '[[group]]\nwood = ["Log"]\n'
    if may_float:
        log += 'mass = "0.92 kg"\n'
        group += 'sinkers = [{ mass = "550 g", material = "granite", how = "strapped" }]\n'
    words = told(tmp_path, log.replace("granite", material), group)
    assert ("Do not fill yet" in words) is ("Mend first" in words) is may_float
    assert "See to" in words or may_float


@pytest.mark.parametrize(("line", "mark"), [(10, "See to"), (13, "See to"), (30, "")])
def test_what_stays_in_a_tank_planted_before_it_is_filled_is_told_so(
    tmp_path: Path, line: int, mark: str
) -> None:
    # A log of 9 to 15 cm above the glass on two stones stays at 10 cm of water and floats at 30.
    legs = piece("L", (12, 14, 9), (18, 20)) + piece("R", (12, 14, 9), (42, 20))
    log = piece("Log", (36, 8, 6), (30, 20), 'rests = "L"').replace("granite", "driftwood")
    (tmp_path / "tank.toml").write_text(f'{TANK}water_line = "{line} cm"\n{legs}{log}', "utf-8")
    words = " ".join(type_in("plumbstone plan tank.toml", tmp_path).stdout.split())
    if line == 30:
        assert "Do not fill yet" in words
    assert (f"{mark}: Log: is judged up to {line} cm of water" in words) is bool(mark)


def terraces(*steps: tuple[float, float, float, float]) -> str:
    """Write walls across the tank, each with the soil behind it: place, top, front, back."""
    text = ""
    for k, (y, top, front, back) in enumerate(steps):
        text += piece(f"Wall {k}", (60, 3, top), (30, y)).replace("granite", "slate")
        text += f'[[border]]\nname = "{k}"\nline = [["0 cm", "{y} cm"], ["60 cm", "{y} cm"]]\n'
        text += f'stones = ["Wall {k}"]\n{SOIL}name = "Soil {k}"\nzone = "behind border"\n'
        text += f'border = "{k}"\nheight = {{ front = "{front} cm", back = "{back} cm" }}\n'
    return text


def test_each_way_to_mend_terraces_that_are_too_steep_helps(tmp_path: Path) -> None:
    # From 18 cm at its line soil rises over 14 cm by tan 34° to 27.4 cm; there was no more of run.
    low, high = (12, 9, 8, 8), (26, 19, 18, 30)
    words = told(tmp_path, terraces(low, high))
    assert "Soil 1: back stays at 27.5 cm of the 30 cm drawn" in words
    lower, taller = (26, 19, 18, 26), (26, 24, 22, 30)
    between = (33, 26, 25, 30)
    for mended in ((low, lower), (low, taller), (low, (26, 19, 18, 18), between)):
        assert "drawn (" not in told(tmp_path, terraces(*mended))


def test_soil_that_runs_over_its_row_is_not_told_of_a_divider(tmp_path: Path) -> None:
    # Each row ends 8 cm below the soil behind it; "once the divider is pulled" spoke of none.
    words = told(tmp_path, terraces((10, 6, 8, 8), (18, 6, 14, 14), (26, 6, 20, 20)))
    assert "run over its border" in words
    assert "divider" not in words


@pytest.mark.parametrize(("pounds", "told_of"), [(1, "0.07 times"), (12, ""), (40, "2.77 times")])
def test_mass_and_form_are_compared_in_no_units_that_a_tank_in_inches_has_not(
    tmp_path: Path, pounds: int, told_of: str
) -> None:
    # 20 × 5 × 4 in are 6.55 L; 1 lb is 454 g. "0.454 kg and 6.55 L" stood among pounds and gallons.
    (tmp_path / "tank.toml").write_text(
        '[tank]\ninside = ["48 in", "18 in", "20 in"]\n[[piece]]\nname = "Log"\nsolid = "box"\n'
        f'material = "driftwood"\nmass = "{pounds} lb"\nsize = ["20 in", "5 in", "4 in"]\n'
        'at = ["24 in", "9 in"]\n',
        "utf-8",
    )
    done = type_in("plumbstone plan tank.toml", tmp_path)
    words = " ".join((done.stdout + done.stderr).split())
    assert (f"{told_of} as heavy as water" in words) is bool(told_of)
    assert "kg" not in words
    assert done.returncode == (1 if pounds == 40 else 0)


LOG = (
    '[[piece]]\nname = "Log"\nmaterial = "driftwood"\nmass = "0.45 kg"\nat = ["36 cm", "18 cm"]\n'
    'limbs = [{ path = [["0 cm", "0 cm", "0 cm"], ["34 cm", "0 cm", "0 cm"]], '
    'girth = ["16 cm", "14 cm"] }]\nrests = "Rock"\nsettle = true\n'
)


def test_a_log_against_a_round_rock_is_told_what_to_try_and_what_to_write(tmp_path: Path) -> None:
    # One end on the glass, the other 10 cm up on a boulder: it lies at 22°, wet wood slides at 15°.
    rock = piece("Rock", (16, 16, 10), (22, 18), "seed = 9").replace('"box"', '"boulder"')
    group = '[[group]]\nwood = ["Log"]\n'
    words = told(tmp_path, rock, LOG, group)
    assert "write its rise over run as friction" in words
    group += "friction = 0.5\n"
    words = told(tmp_path, rock, LOG, group)
    assert 'write tied_to = ["Rock"] at its wood' in words
    words = told(tmp_path, rock, f'{LOG}tied_to = ["Rock"]\n', group)
    assert "Stays, if set as described" in words
    assert "hinge" not in words


def test_a_strap_that_may_be_a_hinge_is_told(tmp_path: Path) -> None:
    # Tied as one body it stays; tied at one point to its pier it fell by 108° in a simulation, as
    # its middle lies 7 cm from that of the pier. On a flat pier under its middle it lies dry, but
    # wood that lay on its stone turned by 62° in a loop, as it floats.
    log = LOG.replace("36 cm", "29.2 cm") + 'tied_to = ["Rock"]\n'
    for size, hinge in (((10, 10, 11.6), True), ((26, 12, 11.6), False)):
        words = told(tmp_path, piece("Rock", size, (22, 18)), log)
        assert "Stays, if set as described" in words
        assert ("a strap round one place is a hinge" in words) is hinge
        assert ("round one strap it may turn as it floats" in words) is not hinge


def test_what_has_settled_is_not_told_to_be_set_as_it_rests(tmp_path: Path) -> None:
    # A log that settled between two boulders leans by 3° with them; it was to be "set again".
    sides = piece("L", (14, 14, 15), (20, 18)) + piece("R", (14, 14, 15), (40, 18), "seed = 3")
    log = LOG.replace("36 cm", "30 cm").replace('rests = "Rock"', 'rests = "L"')
    log = log.replace('["34 cm", "0 cm", "0 cm"]', '["34 cm", "0 cm", "2 cm"]')
    sides = sides.replace('"box"', '"boulder"')
    words = told(tmp_path, sides, log)
    assert "does not rest as it has settled" in words
    assert "Set it again" not in words
    assert "Mend first how it rests, then judge it anew" in words


def test_wood_that_surely_sinks_does_not_lift_off(tmp_path: Path) -> None:
    # Mopane of 1000-1200 kg/m³ on the single point of an ellipsoid rolls; it was to "lift off whole
    # with the first water".
    log = piece("Log", (18, 8, 8), (30, 18)).replace('"box"', '"ellipsoid"')
    words = told(tmp_path, log.replace("granite", "mopane wood"))
    assert "may roll on its small foot" in words
    assert "lift off" not in words
