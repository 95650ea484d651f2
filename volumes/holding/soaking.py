"""When wood has drunk enough to stay down by itself, from a log of weighings."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.figures import SoakingFigures
from plumbstone.volumes.scape.groups import Weighing

CELL_WALL = 1540.0  # of cell-wall substance in water [kg/m³], from memory
LONGEST = 20 * 365.0  # [days]; beyond this no date is given
SLOWEST, FASTEST = 0.5, 5000.0  # time constants that are tried [days]
DRAWS = 400
FEWEST = 3  # weighings that are left once an odd one is set aside


class SoakingError(PlumbstoneError, ValueError):
    """A log of weighings that cannot be right."""


def saturated_density(basic: float, water: float) -> float:
    """Density [kg/m³] of wood whose pores are full, from its basic specific gravity.

    ρ_w + G (1000 - ρ_w / 1.54): the cell walls take the place of water (derived).
    """
    return water + basic * (1000 - water * 1000 / CELL_WALL)


def fit_weighings(
    log: Sequence[Weighing], volume: Range, dry: float, water: float
) -> SoakingFigures:
    """Fit a log of weighings in air or hanging in the water; see `fit_log`.

    Days rise; a day on which it was weighed both ways gives the volume itself, else that of the
    wood is given [m³], and the forecast keeps to all of it. `dry` is the mass before soaking [kg],
    `water` a density [kg/m³].

    Raises
    ------
    SoakingError
        If the log fits at no volume of the range.
    """
    by_day: dict[float, dict[bool, float]] = {}
    for weighing in log:
        by_day.setdefault(weighing.day, {})[weighing.in_water] = weighing.mass
    both = [found for found in by_day.values() if len(found) == 2]
    if both:
        volume = Range.exact(float(np.mean([(f[False] - f[True]) / water for f in both])))
    if volume.mid <= 0:
        raise SoakingError("The wood weighs more in water than in air; check the log.")
    fits, refused = [], []
    for size in dict.fromkeys((volume.mid, volume.low, volume.high)):
        masses = [f.get(False, f.get(True, 0.0) + water * size) for f in by_day.values()]
        try:
            fits.append(fit_log(list(by_day), masses, size, dry, water))
        except SoakingError as error:
            refused.append(error)
    if not fits:
        raise refused[0]
    ends = [fit.days for fit in fits if fit.days is not None]
    band = None
    if len(ends) == len(fits):  # a volume at which no date is in sight leaves none
        band = Range(min(e.low for e in ends), ends[0].mid, max(e.high for e in ends))
    return replace(fits[0], days=band, sinks=all(fit.sinks for fit in fits))


def fit_log(
    days: Sequence[float], masses: Sequence[float], volume: float, dry: float, water: float
) -> SoakingFigures:
    """Fit a log of weighings and tell when the wood is neutral.

    Parameters
    ----------
    days : (n,) floats
        After the wood was put in water, rising.
    masses : (n,) floats
        Out of the water, drained [kg].
    volume : float
        Of the swollen wood [m³].
    dry : float
        Mass before soaking [kg].
    water : float
        Density [kg/m³].

    Raises
    ------
    SoakingError
        If there is one weighing only, a mass falls, or one lies above saturation.

    Notes
    -----
    m = m₀ + A (1 - exp(-√(t / τ))): the square root of time at first (Rosen, Wood and Fiber
    Science, abstract read), then towards A, at most saturation. The range comes from
    drawing noise as large as the misfit, or 0.5 % of the mass, onto the fit. Of four or more
    weighings one that contradicts the others is set aside.
    """
    t, m = np.asarray(days, dtype=float), np.asarray(masses, dtype=float)
    saturated = saturated_density(dry / volume / 1000, water) * volume
    odd = _odd_one(t, m, dry, saturated)
    aside = () if odd is None else (float(t[odd]),)
    if odd is not None:
        t, m = np.delete(t, odd), np.delete(m, odd)
    _check(t, m, saturated)
    neutral = water * volume
    (gain, tau), misfit = _fitted(t, m, dry, saturated)
    curve = dry + gain * (1 - np.exp(-np.sqrt(t / tau)))
    rng = np.random.default_rng(11)
    noise = max(misfit, 0.005 * float(m[-1]))
    found = []
    for _ in range(DRAWS):
        drawn = curve + rng.normal(0, noise, len(t))
        found.append(_crossing(dry, neutral, *_fitted(t, drawn, dry, saturated)[0]))
    low, mid, high = np.quantile(found, [0.05, 0.5, 0.95], method="nearest")
    latest = float(m[-1])
    told = np.isfinite(mid) and mid <= LONGEST and high <= LONGEST
    days_left = Range(float(low), float(mid), float(high)) if told else None
    return SoakingFigures(neutral, saturated, latest, days_left, latest >= neutral, aside)


def _odd_one(t: Floats, m: Floats, dry: float, saturated: float) -> int | None:
    """Find the one weighing without which a log that cannot be right is right; None: none is."""
    if len(t) < FEWEST + 1 or len(t) != len(m) or _fits(t, m, saturated):
        return None
    without = {}
    for k in range(len(t)):
        rest = np.delete(t, k), np.delete(m, k)
        if _fits(*rest, saturated):
            without[k] = _fitted(*rest, dry, saturated)[1]
    return min(without, key=lambda k: without[k]) if without else None


def _fits(t: Floats, m: Floats, saturated: float) -> bool:
    """Whether a log can be right."""
    try:
        _check(t, m, saturated)
    except SoakingError:
        return False
    return True


def _check(t: Floats, m: Floats, saturated: float) -> None:
    """Refuse a log that cannot be right."""
    if len(t) < 2 or len(t) != len(m):
        raise SoakingError("One weighing tells no trend; weigh again after a week.")
    if (np.diff(t) <= 0).any() or t[0] < 0:
        raise SoakingError("The days of the log must rise from the first weighing on.")
    falls = np.flatnonzero(np.diff(m) < -0.005 * m[:-1])
    if len(falls):
        k = int(falls[0]) + 1
        raise SoakingError(
            f"The mass falls from {m[k - 1] * 1e3:.0f} g to {m[k] * 1e3:.0f} g on day {t[k]:g}; "
            "let it drain alike before each weighing."
        )
    if m.max() > saturated * 1.02:
        raise SoakingError(
            f"{m.max() * 1e3:.0f} g is more than this volume can hold when full "
            f"({saturated * 1e3:.0f} g); check volume and masses."
        )


def _fitted(
    t: Floats, m: Floats, dry: float, saturated: float
) -> tuple[tuple[float, float], float]:
    """Best gain [kg] and time constant [days], and the misfit [kg]."""
    taus = np.geomspace(SLOWEST, FASTEST, 120)
    shapes = 1 - np.exp(-np.sqrt(t / taus[:, None]))
    gains = np.clip(
        shapes @ (m - dry) / np.maximum((shapes**2).sum(axis=1), 1e-12), 0, saturated - dry
    )
    misfits = np.sqrt(np.mean((dry + gains[:, None] * shapes - m) ** 2, axis=1))
    best = int(misfits.argmin())
    return (float(gains[best]), float(taus[best])), float(misfits[best])


def _crossing(dry: float, neutral: float, gain: float, tau: float) -> float:
    """Day on which the fit reaches the neutral mass; infinite if never."""
    if dry >= neutral:
        return 0.0
    share = (neutral - dry) / gain if gain > 0 else np.inf
    return float(tau * np.log(1 - share) ** 2) if share < 1 else np.inf
