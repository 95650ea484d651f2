"""The surface on which loose grains come to rest, on a grid with stones standing in it.

Steady state of the sand-pile model of Prigozhin (1996, from memory): the largest s with
s = P(min(target, G(s))), G the upwind (Godunov) solution of |∇s| = slope and P the move out
of solids. Both are monotone, so sweeping down from above reaches it. The panes of the glass
are walls without friction: no neighbour there.
"""

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Columns, Grid
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.volumes.bed import loops

TOUCHING = 1e-6  # [m], a gap so thin is none


class SurfaceError(PlumbstoneError, ValueError):
    """A height field that cannot be solved."""


def stable_surface(
    target: Floats,
    ground: Floats,
    slope: float,
    spacing: float | tuple[float, float],
    *,
    columns: Columns | None = None,
    edge: Floats | None = None,
    walls: Flags | None = None,
    beyond: Floats | None = None,
    shadows: Floats | None = None,
) -> Floats:
    """Largest surface below a target that is nowhere steeper than its angle of repose.

    Parameters
    ----------
    target, ground : (rows, columns) float arrays
        Wanted surface, and what lies below it: floor, stone tops or an earlier layer [m]; rows
        run along y. A cell whose target lies on the ground carries no grains: a free edge.
    slope : float
        Tangent of the angle of repose.
    spacing : float or (float, float)
        Width of a cell [m], or along x and along y.
    columns : Columns, optional
        Solids over the cells; grains may run into free gaps under flanks and overhangs.
    edge : (rows, columns) float array, optional
        Signed distance to the free edge of the zone [m], positive where grains may lie;
        judged from the cells around if not given.
    walls : (rows, columns) bool array, optional
        Cells without grains that hold their neighbours up as a pane does: beyond a strip.
    beyond : (rows, columns) float array, optional
        Height up to which cells without grains hold their neighbours: beyond a low wall [m].
    shadows : (rows, columns) float array, optional
        What is wanted, stones left out [m]: given, the surface behind stones, to which no grain
        runs straight, follows from exact distances to their corners.

    Returns
    -------
    (rows, columns) float array
        The surface [m], at least `ground`.

    Raises
    ------
    SurfaceError
        If shapes differ, a value is not finite, or slope or spacing is not positive.

    Examples
    --------
    A row of cells against a wall, free on the right:

    >>> target = np.array([[9.0, 9.0, 9.0, 0.0]])
    >>> stable_surface(target, np.zeros((1, 4)), 1.0, 1.0)
    array([[2.5, 1.5, 0.5, 0. ]])
    """
    _check(target, ground, slope, spacing)
    dx, dy = spacing if isinstance(spacing, tuple) else (spacing, spacing)
    ground = np.ascontiguousarray(ground, dtype=float)
    surface = np.maximum(target, ground)
    bottoms = tops = np.empty((0, 1, 1))
    if columns is not None and len(columns.tops):
        bottoms, tops = columns.bottoms, columns.tops
    distance = np.empty((0, 0)) if edge is None else np.ascontiguousarray(edge, dtype=float)
    barred = np.zeros((0, 0), dtype=np.bool_) if walls is None else walls
    state = loops.states(surface, ground, bottoms, tops, barred)
    if beyond is not None:
        free = state == loops.FREE
        lying = surface[free]
        surface[free] = np.maximum(lying, beyond[free])
    loops.seed_edges(surface, ground, state, bottoms, distance, slope, dx, dy)
    loops.seed_fans(surface, ground, state, bottoms, distance, float(surface.max()), slope, dx, dy)
    settled = loops.settle(surface, ground, state, bottoms, tops, distance, slope, dx, dy)
    if shadows is not None and settled:
        limit = np.ascontiguousarray(shadows)
        loops.seed_shadows(surface, limit, ground, state, bottoms, tops, slope, dx, dy)
        settled = loops.settle(surface, ground, state, bottoms, tops, distance, slope, dx, dy)
    if not settled:
        raise SurfaceError("The surface did not settle; use a wider <grid>.")
    if beyond is not None:
        surface[free] = lying
    return surface


def lifted_out(surface: Floats, columns: Columns) -> Floats:
    """Return a surface whose cells that lie inside a solid are moved up to its top [m]."""
    return loops.lifted(surface, columns.bottoms, columns.tops, TOUCHING)


def empty_below(surface: Floats, columns: Columns, slope: float, grid: Grid) -> float:
    """Space under stones that stays empty below a surface [m³].

    Grains run in from the sides only, and fall at repose on the way; they do not rise again
    behind a low place of the roof.
    """
    if len(columns.bottoms) == 0:
        return 0.0
    roof = columns.bottoms[0]
    covered = (roof > TOUCHING) & (roof < surface)
    if not covered.any():
        return 0.0
    inner = np.where(roof > TOUCHING, surface, -np.inf)  # no grains where a solid stands on it
    level = np.where(covered, -np.inf, inner)
    loops.run_under(level, roof, covered, slope, *grid.spacing)
    void = np.where(covered, roof - np.clip(level, 0, roof), 0.0)
    return float(void.sum()) * grid.cell_area


def _check(
    target: Floats, ground: Floats, slope: float, spacing: float | tuple[float, float]
) -> None:
    """Refuse what cannot be solved, and say why."""
    if target.ndim != 2 or target.shape != ground.shape:
        message = f"Target {target.shape} and ground {ground.shape} must be equal 2-D arrays."
        raise SurfaceError(message)
    if not (np.isfinite(target).all() and np.isfinite(ground).all()):
        raise SurfaceError("Target and ground must be finite everywhere; drop NaN and infinity.")
    if not slope > 0 or not np.all(np.asarray(spacing) > 0):
        raise SurfaceError(f"Slope {slope} and spacing {spacing} must be above zero.")
