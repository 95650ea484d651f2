"""Where soil comes to rest, against the cone of equal volume."""

from math import pi, radians, tan

import numpy as np
import pytest

from plumbstone.volumes.bed.slump import resting_surface


def test_a_tall_column_becomes_the_cone_of_its_volume() -> None:
    # V = π R³ tan φ / 3 for a cone of base R; a drawn cylinder of that volume must end as it.
    step, phi, volume = 0.004, 32, 0.4e-3
    t = tan(radians(phi))
    x = (np.arange(80) + 0.5) * step - 0.16
    distance = np.hypot(*np.meshgrid(x, x))
    drawn = np.where(distance < 0.05, 1.0, 0.0)
    drawn *= volume / (drawn.sum() * step**2)
    none = np.zeros(drawn.shape, dtype=bool)
    surface, excess = resting_surface(drawn, t, (step, step), none)
    assert surface.sum() * step**2 == pytest.approx(volume, rel=1e-9)
    assert excess <= 5e-3
    radius = (3 * volume / (pi * t)) ** (1 / 3)
    cone = np.maximum(t * (radius - distance), 0)
    assert np.abs(surface - cone).max() < 2 * step * t  # two cells of height at tip and foot
    assert np.abs(surface - cone).sum() * step**2 < 0.03 * volume


def test_what_is_stable_stays() -> None:
    y = np.linspace(0, 0.3, 40)
    drawn = np.tile(0.03 + 0.3 * y[:, None], (1, 30))
    none = np.zeros(drawn.shape, dtype=bool)
    surface, _ = resting_surface(drawn, 0.6, (0.0075, 0.0075), none)
    assert surface == pytest.approx(drawn, abs=1e-9)


def test_a_wall_holds_and_a_gap_lets_through() -> None:
    drawn = np.zeros((40, 60))
    drawn[20:] = 0.05
    wall = np.zeros(drawn.shape, dtype=bool)
    wall[19] = True
    held, _ = resting_surface(drawn, 0.6, (0.005, 0.005), wall)
    assert held == pytest.approx(drawn, abs=1e-9)
    wall[19, 28:32] = False
    through, excess = resting_surface(drawn, 0.6, (0.005, 0.005), wall)
    assert through[:19].sum() > 0
    assert through.sum() == pytest.approx(drawn.sum(), rel=1e-9)
    assert excess <= 5e-3
