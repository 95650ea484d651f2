"""Density of fresh and salt water."""

from collections.abc import Sequence
from functools import reduce

from plumbstone.meshes.errors import PlumbstoneError

GRAVITY = 9.80665  # standard acceleration of free fall [m/s²], exact by definition


class WaterRangeError(PlumbstoneError, ValueError):
    """Water outside the range of the density formulas."""


def water_density(celsius: float, salinity: float = 0.0) -> float:
    """Density of air-free water at normal pressure.

    Parameters
    ----------
    celsius : float
        Temperature, ITS-90 [°C], 0 to 40.
    salinity : float
        Practical salinity, near enough the salt content [g/kg], 0 to 42.

    Returns
    -------
    float
        Density [kg/m³]; fresh water to 0.001, salt water to 0.01.

    Raises
    ------
    WaterRangeError
        If temperature or salinity lies outside the formulas' range.

    Notes
    -----
    Fresh water after Tanaka et al. [1]_; the excess of salt water over fresh by the
    one-atmosphere equation of state EOS-80 [2]_ (its temperature scale is IPTS-68).

    References
    ----------
    .. [1] Tanaka, M. et al. (2001), Metrologia 38, 301-309; coefficients read in the
       program CryoGrid3, file waterDensity.m.
    .. [2] Millero, F. J. and Poisson, A. (1981), Deep-Sea Research 28A, 625-629,
       coefficients from memory; checked in the tests against TEOS-10.

    Examples
    --------
    >>> round(water_density(25.0), 3)
    997.047
    """
    if not 0 <= celsius <= 40:
        message = f"Water of {celsius:g} °C lies outside 0-40 °C, where the tables end."
        raise WaterRangeError(message)
    if not 0 <= salinity <= 42:
        message = f"A salinity of {salinity:g} g/kg lies outside 0-42, where the tables end."
        raise WaterRangeError(message)
    return _tanaka(celsius) + _salt_excess(celsius * 1.00024, salinity)


def _tanaka(t: float) -> float:
    """Density of fresh water [kg/m³] at t [°C]."""
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def _salt_excess(t: float, s: float) -> float:
    """Density of salt water less that of fresh water [kg/m³] at t [°C, IPTS-68]."""
    a = _polynomial([5.3875e-9, -8.2467e-7, 7.6438e-5, -4.0899e-3, 8.24493e-1], t)
    b = _polynomial([-1.6546e-6, 1.0227e-4, -5.72466e-3], t)
    return float(a * s + b * s**1.5 + 4.8314e-4 * s**2)


def _polynomial(coefficients: Sequence[float], at: float) -> float:
    """Value of a polynomial, its highest power first."""
    return reduce(lambda value, coefficient: value * at + coefficient, coefficients, 0.0)
