"""Layers against the filter rule and arithmetic on stated inputs."""

from dataclasses import replace
from pathlib import Path

import pytest

from plumbstone.volumes.bed.interfaces import filter_ratio, lasting_slope
from plumbstone.volumes.layout import make_plan
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.scape import read_scape

TANK = '[tank]\ninside = ["60 cm", "40 cm", "40 cm"]\nwater_line = "36 cm"\n'


def plan_of(folder: Path, *layers: tuple[str, str]):  # type: ignore[no-untyped-def]
    text = TANK + "".join(
        f'[[layer]]\nmaterial = "{material}"\ndepth = "{depth}"\n' for material, depth in layers
    )
    path = folder / "tank.toml"
    path.write_text(text, encoding="utf-8")
    return make_plan(read_scape(path))


def test_filter_example_of_the_river_manual() -> None:
    # HDS-6 after Anderson et al. 1968: rock D15 100 mm on sand D85 1.5 mm: 67, limit 5; a
    # filter of D15 up to 7.5 mm would hold the sand.
    sand = replace(find_material("sand"), d85=1.5e-3)
    assert filter_ratio(replace(sand, d15=0.1), sand) == pytest.approx(67, abs=0.5)
    assert filter_ratio(replace(sand, d15=7.5e-3), sand) == pytest.approx(5.0, rel=1e-9)


def test_fine_sand_runs_into_lava(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, ("lava gravel", "4 cm"), ("sand", "3 cm"))
    lost = plan.swallowed[0]
    assert (lost.fine, lost.coarse) == ("Sand", "Lava gravel")
    assert 0.3 * 9.6e-3 < lost.most < 0.6 * 9.6e-3  # voids of 60 × 40 × 4 cm
    assert plan_of(tmp_path, ("lava gravel", "4 cm"), ("gravel", "3 cm")).swallowed == ()


def test_dry_expanded_clay_lifts_a_thin_cover(tmp_path: Path) -> None:
    thin = plan_of(tmp_path, ("expanded clay", "5 cm"), ("gravel", "1 cm"))
    assert thin.heaves[0].filler == "Expanded clay"
    thick = plan_of(tmp_path, ("expanded clay", "5 cm"), ("gravel", "6 cm"))
    assert thick.heaves == ()


def test_lasting_slope_is_below_repose() -> None:
    # atan(0.6 tan 34°) = 22.0°
    assert lasting_slope(find_material("baked-clay soil")) == pytest.approx(22.0, abs=0.05)
