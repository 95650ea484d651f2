"""Groups typed as in a scape file, against arithmetic on stated inputs."""

from pathlib import Path

import numpy as np
import pytest

from plumbstone.volumes.equilibrium import Rig, least_sinkers
from plumbstone.volumes.hold_down import HoldResult
from plumbstone.volumes.plan import make_plan
from plumbstone.volumes.scape import read_scape
from plumbstone.volumes.water import GRAVITY


def judged(folder: Path, sinkers: str) -> HoldResult:
    """A block 40 × 6 × 6 cm of 1.1 kg that just sinks with 520 g of granite."""
    path = folder / "t.toml"
    path.write_text(
        '[tank]\ninside = ["90 cm", "45 cm", "45 cm"]\nwater_line = "41 cm"\n'
        'temperature = "25 °C"\n[[piece]]\nname = "Log"\nkind = "wood"\nsolid = "box"\n'
        'size = ["40 cm", "6 cm", "6 cm"]\nmass = "1.1 kg"\nmaterial = "driftwood"\n'
        'at = ["45 cm", "22 cm"]\n[[group]]\nwood = ["Log"]\n'
        f'just_sinks_with = {{ mass = "520 g", material = "granite" }}\n{sinkers}\n',
        encoding="utf-8",
    )
    return make_plan(read_scape(path)).holds[0]


@pytest.mark.parametrize("slack", [0, 5])
def test_a_slack_tie_holds_only_after_it_has_moved(tmp_path: Path, slack: int) -> None:
    # 700 g hold a lift of 324 g (436 g under water), but a slack cord cannot pull in the drawn
    # pose; statics.
    found = judged(
        tmp_path,
        'sinkers = [{ mass = "700 g", material = "granite", how = "standing", '
        f'slack = "{slack} cm", at = ["45 cm", "22 cm", "3 cm"] }}]',
    )
    assert found.stays is (slack == 0)
    assert found.still_held


def test_a_stone_that_has_tipped_the_wood_pulls_with_all_its_weight(tmp_path: Path) -> None:
    found = judged(
        tmp_path,
        'sinkers = [{ mass = "700 g", material = "granite", at = ["26 cm", "22 cm", "3 cm"] }]',
    )
    assert not found.stays
    # 0.7 kg of 2650 kg/m³ in water of 997.05: 4.282 N.
    assert found.tie_forces[0] == pytest.approx(0.7 * (1 - 997.05 / 2650) * GRAVITY, rel=1e-4)


def test_the_factor_multiplies_the_net_lift() -> None:
    # 1.1 kg, net lift 324 g, share under water 0.6238, factor 1.3: 0.324 × 1.3 / 0.6238 kg.
    place = np.zeros((1, 2))
    rig = Rig(1.1, place[0], np.array([1.424 * GRAVITY]), place, place, np.empty((0, 2)),
              np.empty((1, 0)), np.empty((1, 0)))  # fmt: skip
    masses = least_sinkers(rig, place, np.array([0.6238]), 1.3)
    assert masses is not None
    assert masses[0] == pytest.approx(0.324 * 1.3 / 0.6238, rel=1e-6)
