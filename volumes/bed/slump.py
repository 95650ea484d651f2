"""Where sliding soil comes to rest: the nearest stable surface that keeps the volume."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from plumbstone.meshes.piece import Floats
from plumbstone.volumes.bed.pouring import BedResult, LayerResult
from plumbstone.volumes.scape.layers import Border, zone_distance

MOST_STEPS = 20_000
EXCESS = 2e-3  # slope above repose at which the iteration stops, share
CHECKED = 50  # steps between two checks
CELL = 0.005  # [m]: the form at rest needs no finer one
WORTH_TELLING = 0.02  # of a layer's volume must slide before its form at rest is sought


@dataclass(frozen=True, slots=True)
class Rest:
    """Where a layer that is drawn too steep comes to rest."""

    layer: str
    outside: float  # volume that ends beyond its zone [m³]
    reach: float  # how far beyond the edge of its zone [m]
    excess: float  # slope above repose that is left, share
    pulled: bool = False  # a divider held it until it was pulled


def resting_surface(
    drawn: Floats, slope: float, spacing: tuple[float, float], walls: NDArray[np.bool_]
) -> tuple[Floats, float]:
    """Let a drawn surface slide until it is stable, keeping its volume.

    Parameters
    ----------
    drawn : (rows, columns) float array
        The surface before it slides, ground where nothing is poured [m].
    slope : float
        Tangent of the angle of repose.
    spacing : (float, float)
        Width of a cell along x and along y [m].
    walls : (rows, columns) bool array
        Cells that take no soil: stones that stand out of it.

    Returns
    -------
    surface : (rows, columns) float array
        [m]; walls keep their drawn height. The volume is that of `drawn` to rounding.
    excess : float
        How much steeper than repose it still is at the worst place, share.

    Notes
    -----
    The minimiser of ½‖s - t‖² with |∇s| ≤ tan φ (Prigozhin 1996, from memory). Written
    s = t + div m, it minimises ½‖t + div m‖² + tan φ ‖m‖ over the flux m, here by an
    accelerated proximal gradient method (Beck and Teboulle 2009, from memory); no flux
    through panes and walls, so every litre is kept at every step.
    """
    dx, dy = spacing
    open_x = ~(walls[:, 1:] | walls[:, :-1])
    open_y = ~(walls[1:] | walls[:-1])
    surface = np.ascontiguousarray(drawn, dtype=float).copy()
    flux_x, flux_y = np.zeros(drawn.shape), np.zeros(drawn.shape)
    excess = _slide(surface, flux_x, flux_y, open_x, open_y, slope, dx, dy)
    return surface, float(excess)


def come_to_rest(result: LayerResult, bed: BedResult, border: Border | None) -> Rest | None:
    """Find where a layer comes to rest; None where it stays as drawn.

    Stones that fill more than half of a column below the drawn surface count as walls, and so
    does higher ground beyond the zone; lower ground there is what it runs onto. Soil that a
    divider held while it was poured slides once that is pulled.
    """
    pulled = _stood_against_divider(result, border)
    if result.slide.volume < WORTH_TELLING * result.settled and not pulled:
        return None
    edge = zone_distance(result.layer.zone, border, bed.grid)
    every = max(1, round(CELL / bed.grid.spacing[0]))
    pick = (slice(every // 2, None, every), slice(every // 2, None, every))
    solid = bed.columns.solid_below(result.drawn)
    blocked = (solid > 0.5 * np.maximum(result.drawn, 1e-3))[pick]
    blocked |= (bed.columns.highest() > bed.surface + 1e-3)[pick] & (solid[pick] > 0)
    inside = np.ones(blocked.shape, dtype=bool) if edge is None else (edge > 0)[pick]
    beyond = np.minimum(bed.surface, np.where(bed.columns.highest() > 0, 0.0, bed.surface))[pick]
    if not inside.any():
        return None
    drawn = np.where(inside, result.drawn[pick], beyond)
    blocked |= ~inside & (beyond > float(result.drawn[pick][inside].max()))
    spacing = bed.grid.spacing[0] * every, bed.grid.spacing[1] * every
    surface, excess = resting_surface(drawn, result.layer.slope, spacing, blocked)
    risen = np.where(inside | blocked, 0.0, surface - drawn)
    covered = risen > 1e-3
    reach = 0.0
    if edge is not None and covered.any():
        reach = float(-edge[pick][covered].min())
    volume = float(np.clip(risen, 0, None).sum()) * spacing[0] * spacing[1]
    return Rest(result.layer.name, volume, reach, max(excess, 0.0), pulled)


def _stood_against_divider(result: LayerResult, border: Border | None) -> bool:
    """Tell whether a divider that is pulled held a layer while it was poured."""
    divided = border is not None and border.divider and not border.strip
    return divided and result.layer.zone.name == "behind border"


@njit(cache=True)
def _slide(
    surface: Floats,
    flux_x: Floats,
    flux_y: Floats,
    open_x: NDArray[np.bool_],
    open_y: NDArray[np.bool_],
    slope: float,
    dx: float,
    dy: float,
) -> float:  # pragma: no cover
    """Iterate in place; give the excess of the steepest place."""
    drawn = surface.copy()
    rows, columns = surface.shape
    step = 1.0 / (4 / dx**2 + 4 / dy**2)
    old_x, old_y = flux_x.copy(), flux_y.copy()
    lead_x, lead_y = flux_x.copy(), flux_y.copy()
    momentum = 1.0
    excess = np.inf
    for turn in range(MOST_STEPS):
        _add_divergence(surface, drawn, lead_x, lead_y, dx, dy)
        for j in range(rows):
            for i in range(columns):
                gx, gy = _gradient(surface, open_x, open_y, j, i, dx, dy)
                mx, my = lead_x[j, i] + step * gx, lead_y[j, i] + step * gy
                size = np.sqrt(mx * mx + my * my)
                keep = max(0.0, 1 - step * slope / size) if size > 0 else 0.0
                flux_x[j, i], flux_y[j, i] = keep * mx, keep * my
        following = (1 + np.sqrt(1 + 4 * momentum**2)) / 2
        weight = (momentum - 1) / following
        turned = 0.0
        for j in range(rows):
            for i in range(columns):
                sx, sy = flux_x[j, i] - old_x[j, i], flux_y[j, i] - old_y[j, i]
                turned += (lead_x[j, i] - flux_x[j, i]) * sx + (lead_y[j, i] - flux_y[j, i]) * sy
                lead_x[j, i] = flux_x[j, i] + weight * sx
                lead_y[j, i] = flux_y[j, i] + weight * sy
                old_x[j, i], old_y[j, i] = flux_x[j, i], flux_y[j, i]
        momentum = following
        if turned > 0:  # the lead runs uphill: start it anew
            momentum = 1.0
            lead_x[:], lead_y[:] = flux_x, flux_y
        if turn % CHECKED == CHECKED - 1:
            _add_divergence(surface, drawn, flux_x, flux_y, dx, dy)
            excess = _excess(surface, open_x, open_y, slope, dx, dy)
            if excess < EXCESS:
                break
    _add_divergence(surface, drawn, flux_x, flux_y, dx, dy)
    return _excess(surface, open_x, open_y, slope, dx, dy)


@njit(cache=True)
def _gradient(
    surface: Floats,
    open_x: NDArray[np.bool_],
    open_y: NDArray[np.bool_],
    j: int,
    i: int,
    dx: float,
    dy: float,
) -> tuple[float, float]:  # pragma: no cover
    """Slope from a cell to the next along x and along y; 0 across a wall or a pane."""
    gx = gy = 0.0
    if i + 1 < surface.shape[1] and open_x[j, i]:
        gx = (surface[j, i + 1] - surface[j, i]) / dx
    if j + 1 < surface.shape[0] and open_y[j, i]:
        gy = (surface[j + 1, i] - surface[j, i]) / dy
    return gx, gy


@njit(cache=True)
def _add_divergence(
    surface: Floats, drawn: Floats, flux_x: Floats, flux_y: Floats, dx: float, dy: float
) -> None:  # pragma: no cover
    """Set the surface to the drawn one plus the divergence of a flux."""
    rows, columns = surface.shape
    for j in range(rows):
        for i in range(columns):
            change = flux_x[j, i] / dx + flux_y[j, i] / dy
            if i > 0:
                change -= flux_x[j, i - 1] / dx
            if j > 0:
                change -= flux_y[j - 1, i] / dy
            surface[j, i] = drawn[j, i] + change


@njit(cache=True)
def _excess(
    surface: Floats,
    open_x: NDArray[np.bool_],
    open_y: NDArray[np.bool_],
    slope: float,
    dx: float,
    dy: float,
) -> float:  # pragma: no cover
    """Steepest slope over repose, less one."""
    rows, columns = surface.shape
    steepest = 0.0
    for j in range(rows):
        for i in range(columns):
            gx, gy = _gradient(surface, open_x, open_y, j, i, dx, dy)
            steepest = max(steepest, np.sqrt(gx * gx + gy * gy))
    return steepest / slope - 1
