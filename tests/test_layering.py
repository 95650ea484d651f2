"""Layers against the filter rule and arithmetic on stated inputs."""

from dataclasses import replace
from pathlib import Path

import pytest
from small_tanks import planned

from plumbstone.volumes.bed.interfaces import filter_ratio, lasting_slope
from plumbstone.volumes.findings import Finding, Kind
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.report import findings_on
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.scape import read_scape


def told(path: Path) -> tuple[Finding, ...]:
    scape = read_scape(path)
    return findings_on(scape, Layout(scape).ground())


TANK = '[tank]\ninside = ["60 cm", "40 cm", "40 cm"]\nwater_line = "36 cm"\n'


def plan_of(folder: Path, *layers: tuple[str, str]):  # type: ignore[no-untyped-def]
    text = TANK + "".join(
        f'[[layer]]\nmaterial = "{material}"\ndepth = "{depth}"\n' for material, depth in layers
    )
    return planned(folder, text)


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
    assert 0.3 * 9.6e-3 < lost.most_m3 < 0.6 * 9.6e-3  # voids of 60 × 40 × 4 cm
    assert plan_of(tmp_path, ("lava gravel", "4 cm"), ("gravel", "3 cm")).swallowed == ()


def test_a_fabric_keeps_fine_sand_out(tmp_path: Path) -> None:
    layers = '[[layer]]\nmaterial = "lava gravel"\ndepth = "4 cm"\n[[layer]]\nmaterial = "sand"\n'
    bags = 'depth = "3 cm"\nbags = [{ holds = "2 L" }]\n'
    path = tmp_path / "tank.toml"
    path.write_text(TANK + layers + bags, encoding="utf-8")
    lost = next(f for f in told(path) if f.kind is Kind.RUNS_INTO)
    # 7.58 L are four bags; with some 4.5 L in the voids of 9.6 L of lava (47 %) they are seven.
    assert lost.numbers["bags_with"] == 4
    assert lost.numbers["bags_without"] in (6, 7)
    path.write_text(TANK + layers + bags + "fabric = true\n", encoding="utf-8")
    assert Kind.RUNS_INTO not in [f.kind for f in told(path)]


def test_a_ratio_between_four_and_five_is_borderline(tmp_path: Path) -> None:
    # D15 9 mm over D85 2 mm is 4.5.
    own = '[[material]]\nname = "grit"\nlike = "gravel"\nd85 = "2 mm"\n'
    layers = '[[layer]]\nmaterial = "lava gravel"\ndepth = "4 cm"\n[[layer]]\nmaterial = "grit"\n'
    path = tmp_path / "tank.toml"
    path.write_text(TANK + own + layers + 'depth = "3 cm"\n', encoding="utf-8")
    assert next(f.how for f in told(path) if f.kind is Kind.RUNS_INTO) == "borderline"


def test_floating_pumice_heaves(tmp_path: Path) -> None:
    # 4 L over 20 × 40 cm, 45 % voids, grains of 600 kg/m³ lift 4 · 0.55 · 0.398 = 0.87 kg; derived.
    # 2 cm of soil over it press some 0.8 kg at its middle.
    own = (
        '[[material]]\nname = "float"\nlike = "pumice gravel"\ndensity = "600 kg/m^3"\n'
        'bulk_density = "330 kg/m^3"\nsettling = 0\nrepose = 40\n'
    )
    text = TANK.replace('"60 cm"', '"20 cm"') + own
    text += '[[layer]]\nname = "Filler"\nmaterial = "float"\ndepth = "5 cm"\n'
    path = tmp_path / "tank.toml"
    path.write_text(
        text + '[[layer]]\nmaterial = "baked-clay soil"\ndepth = "2 cm"\n', encoding="utf-8"
    )
    heave = next(f for f in told(path) if f.kind is Kind.HEAVES)
    assert heave.numbers["lift_kg"] == pytest.approx(0.876, abs=0.005)
    assert 0.5 < heave.numbers["press_kg"] < 0.9  # type: ignore[operator]
    # The cover presses in proportion to its depth, and is asked for 1.3 times the lift.
    needed = 0.02 * 1.3 * heave.numbers["lift_kg"] / heave.numbers["press_kg"]  # type: ignore[operator]
    assert heave.numbers["cover_m"] == pytest.approx(needed, rel=1e-3)
    assert heave.numbers["lacking_m"] == pytest.approx(needed - 0.02, rel=1e-2)
    path.write_text(text, encoding="utf-8")
    assert next(f for f in told(path) if f.kind is Kind.HEAVES).about == ("Filler",)


def test_pumice_is_one_rock() -> None:
    stone, gravel = find_material("pumice stone"), find_material("pumice gravel")
    assert gravel.grain_envelope_density == stone.density
    assert gravel.bulk_density is not None
    # Loose heaps of grains have 30-50 % of voids; from memory.
    assert 0.5 < gravel.bulk_density.mid / gravel.grain_envelope_density.mid < 0.7


def test_dry_expanded_clay_lifts_a_thin_cover(tmp_path: Path) -> None:
    thin = plan_of(tmp_path, ("expanded clay", "5 cm"), ("gravel", "1 cm"))
    assert thin.heaves[0].filler == "Expanded clay"
    thick = plan_of(tmp_path, ("expanded clay", "5 cm"), ("gravel", "6 cm"))
    assert thick.heaves == ()


def test_lasting_slope_is_below_repose() -> None:
    # atan(0.6 tan 34°) = 22.0°
    repose = find_material("baked-clay soil").repose
    assert repose is not None
    assert lasting_slope(repose) == pytest.approx(22.0, abs=0.05)


def mound(rise: float, radius: float, more: str = "") -> str:
    """A tank with 2 cm of soil and one mound [cm]."""
    return (
        f'{TANK}[[layer]]\nmaterial = "baked-clay soil"\ndepth = "2 cm"\n'
        f'mounds = [{{ at = ["30 cm", "20 cm"], rise = "{rise} cm", radius = "{radius} cm" }}]\n'
        + more
    )


def test_a_steep_heap_on_a_flat_bed_creeps(tmp_path: Path) -> None:
    # (1 + cos π r / R) / 2 is steepest halfway, π × rise / (2 R): 7 cm on 16 cm are 34.5°, and
    # over three fifths of its 800 cm² are steeper than the lasting 22°; 3 cm are 16.4°.
    path = tmp_path / "tank.toml"
    path.write_text(mound(7, 16), encoding="utf-8")
    (creeps,) = (f for f in told(path) if f.kind is Kind.CREEPS)
    assert 28 < creeps.number("slope_deg") < 34.5
    assert creeps.how == ""
    stones = "".join(
        f'[[piece]]\nname = "S{i}{j}"\nmaterial = "basalt"\nsolid = "box"\nsize = ["3 cm", "3 cm", '
        f'"6 cm"]\nat = ["{6 + 8 * i} cm", "{5 + 7 * j} cm"]\n'
        for i in range(7)
        for j in range(5)
    )
    path.write_text(mound(3, 16, stones), encoding="utf-8")
    assert Kind.CREEPS not in [f.kind for f in told(path)]
