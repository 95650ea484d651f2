"""Tipping of standing stones against arithmetic on stated inputs."""

from dataclasses import replace
from pathlib import Path

import pytest

from plumbstone.meshes.placing import stood_at
from plumbstone.meshes.primitives import box
from plumbstone.volumes.scape import read_scape
from plumbstone.volumes.setting import Body, body_of
from plumbstone.volumes.standing import judge_standing, tip_angle, top_push
from plumbstone.volumes.water import GRAVITY


def test_upright_basalt() -> None:
    # 11 kg, 34 cm; centre of mass 15 cm up, 2.5 cm inside the edge: 9.5°; top push 7.9 N dry
    # and 5.2 N wet (basalt 2900 in fresh water of 997).
    assert tip_angle(0.025, 0.15) == pytest.approx(9.5, abs=0.05)
    weight = 11 * GRAVITY
    assert top_push(weight, 0.025, 0.34) == pytest.approx(7.9, abs=0.05)
    assert top_push(weight * (1 - 997 / 2900), 0.025, 0.34) == pytest.approx(5.2, abs=0.05)


def block(folder: Path, size: tuple[float, float, float]) -> Body:
    sides = ", ".join(f'"{side} m"' for side in size)
    path = folder / "t.toml"
    path.write_text(
        '[tank]\ninside = ["90 cm", "45 cm", "45 cm"]\n[[piece]]\nname = "Block"\n'
        f'material = "granite"\nsolid = "box"\nsize = [{sides}]\nat = ["30 cm", "20 cm"]\n',
        encoding="utf-8",
    )
    body = body_of(read_scape(path).pieces[0])
    return replace(body, piece=stood_at(box(size), 0.3, 0.2))


def test_a_block_tips_over_its_shorter_side(tmp_path: Path) -> None:
    # A box tips at atan(half its width / half its height), pushed by m g b / (2 h) at its top.
    standing = judge_standing(block(tmp_path, (0.10, 0.06, 0.30)), 997.0, (0.9, 0.45))
    assert standing.tip_angle == pytest.approx(tip_angle(0.03, 0.15), abs=1e-6)
    mass = 0.10 * 0.06 * 0.30 * 2650
    assert standing.push_dry == pytest.approx(mass * GRAVITY * 0.03 / 0.30, rel=1e-6)
    assert standing.upright
    assert standing.doubtful
    assert standing.to_pane == pytest.approx(0.2 - 0.03, abs=1e-9)


def test_a_flat_stone_is_not_doubtful(tmp_path: Path) -> None:
    standing = judge_standing(block(tmp_path, (0.20, 0.15, 0.05)), 997.0, (0.9, 0.45))
    assert not standing.upright
    assert not standing.doubtful
