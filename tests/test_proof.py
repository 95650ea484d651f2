"""What is proved of wood at the ends of its ranges, against arithmetic on stated inputs."""

from pathlib import Path

import pytest
from held_wood import hold_of, hung, plan_of, stone, tied, wood

from plumbstone.volumes.holding.hold_down import Verdict

pytestmark = pytest.mark.usefixtures("unoffered")


@pytest.mark.parametrize(("dense", "verdict"), [(970, Verdict.MOVES), (1030, Verdict.UNSURE)])
def test_wood_moves_only_where_it_does_at_both_ends_of_its_range(
    tmp_path: Path, dense: int, verdict: Verdict
) -> None:
    # Archimedes: what may be denser than the water may lie still, though its middle floats.
    own = (
        '[[material]]\nname = "own wood"\nlike = "driftwood"\n'
        f'density = ["920 kg/m^3", "{dense} kg/m^3"]\n'
    )
    log = (
        wood("Log", (30, 8, 6), 1, 45).replace("driftwood", "own wood").replace('mass = "1 kg"', "")
    )
    assert hold_of(tmp_path, own, log).verdict is verdict


@pytest.mark.parametrize(("inside", "stays"), [(4, True), (2, False)])
def test_wood_that_is_a_fifth_denser_at_one_end_stays_too(
    tmp_path: Path, inside: float, stays: bool
) -> None:
    # ρ (1 + 2 a x / L) over a length L has its middle a L / 6 off: 5 mm of 30 cm where one end is
    # 1.22 times as dense as the other (a = 0.1). 1.2 kg displace 0.96 L ± 5 %, so what is left of
    # their weight under water acts 22 to 31 mm off the middle. Both were told to stay.
    log = wood("Log", (30, 8, 4), 1.2, 45 + 9 - inside, 'rests = "Block"')
    parts = stone("Block", (18, 12, 6), 45), log.replace("driftwood", "mopane wood")
    assert hold_of(tmp_path, *parts).stays is stays


@pytest.mark.parametrize(("gap", "verdict"), [(0.02, Verdict.UNSURE), (1, Verdict.MOVES)])
def test_wood_that_may_jam_between_two_stones_is_not_said_to_float(
    tmp_path: Path, gap: float, verdict: Verdict
) -> None:
    # Two flanks that push with N each hold 2 μ N against a lift, and nothing tells N; statics. Between
    # a pane and a stone such a plank held at three of four densities in a simulation.
    log = wood("Log", (20, 4, 6), 0.3, 45)
    stones = (stone(f"S{side}", (9, 12, 9), 45 + side * (14.5 + gap)) for side in (-1, 1))
    assert hold_of(tmp_path, log, *stones).verdict is verdict


def test_a_twig_that_floats_off_does_not_move_what_it_lay_on(tmp_path: Path) -> None:
    # Archimedes: 0.4 kg of 0.6 L float off a log that 3 kg of granite hold; the log was told to move.
    log = wood("Log", (30, 10, 6), 1.2, 45)
    twig = wood("Twig", (15, 8, 5), 0.4, 45, 'rests = "Log"')
    parts = log, twig, tied(hung("3 kg", 45, 3, "strapped"))
    found = {hold.group.name: hold.verdict for hold in plan_of(tmp_path, *parts).holds}
    assert [*found.values()] == [Verdict.UNSURE, Verdict.MOVES]
