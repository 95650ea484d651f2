"""Where bodies rest on the bed, on the floor and on each other, from their columns."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.columns import Columns, Grid
from plumbstone.meshes.piece import Floats, Indices

TOUCHING = 0.003  # [m]: nearer than this to where it rests, a body touches
THROUGH = 0.02  # [m]: so far below a top that is not drawn exactly, a body still lies on it


@dataclass(frozen=True, slots=True, eq=False)
class Resting:
    """Where one body rests once it has settled."""

    places: Floats  # (c, 2) corners of the hulls of all contacts [m]
    below: Indices  # (c,) which body lies under each; -1: floor, bed or what is fixed
    slopes: tuple[float, float]  # along x and y, of the plane by which it sinks to rest so

    @property
    def lean(self) -> float:
        """How far it must tilt from its drawn pose to rest so [degrees]."""
        return math.degrees(math.atan(math.hypot(*self.slopes)))


@dataclass(frozen=True, slots=True, eq=False)
class Pulls:
    """What can pull a body down where it is tied."""

    places: Floats  # (t, 2) [m]
    shares: Floats  # (t,) greatest pull of each, in shares of the weight of the body


def gaps_below(
    body: Columns, ground: Floats, others: Sequence[tuple[int, Columns]]
) -> tuple[Floats, NDArray[np.int64]]:
    """Height of a body's underside over what is below, and what that is.

    Parameters
    ----------
    body : Columns
        Solid intervals of the body.
    ground : (rows, columns) float array
        Floor, or the bed where the body was set on it; it may reach into the bed [m].
    others : sequence of (int, Columns)
        What else can carry it, by number.

    Returns
    -------
    gaps : (rows, columns) float array
        [m], at least 0; +inf beside the body.
    below : (rows, columns) int array
        The number of what is nearest below; -1 is the ground.

    Notes
    -----
    Only tops that lie below the underside carry: a stone on top of wood is no ground.
    """
    if len(body.bottoms) == 0:
        return np.full(ground.shape, np.inf), np.full(ground.shape, -1)
    under = body.bottoms[0]
    highest, below = np.array(ground, dtype=float), np.full(ground.shape, -1)
    for number, columns in others:
        for bottom, top in zip(columns.bottoms, columns.tops, strict=True):
            middle = (bottom + top) / 2
            carries = np.isfinite(top) & (middle <= under) & (top <= under + THROUGH)
            higher = carries & (top > highest)
            highest[higher], below[higher] = top[higher], number
    with np.errstate(invalid="ignore"):
        gaps = np.where(np.isfinite(under), np.maximum(under - highest, 0.0), np.inf)
    return gaps, below


def resting_on(
    gaps: Floats,
    below: NDArray[np.int64],
    grid: Grid,
    centre: Floats,
    held: Pulls | None = None,
    tolerance: float = TOUCHING,
) -> Resting:
    """Find where a body comes to rest on what is below.

    Parameters
    ----------
    gaps, below
        As `gaps_below` gives them.
    grid : Grid
    centre : (2,) float array
        Its centre of mass from above [m].
    held : Pulls, optional
        What holds it down while it is dry.
    tolerance : float
        Cells nearer than this to the resting plane touch too [m].

    Notes
    -----
    It rests as drawn where what touches then can carry it. Else, among all planes below the
    gaps, the one highest at the centre of mass touches where it comes to rest: a linear
    program in three unknowns.
    """
    from scipy.optimize import linprog

    rows, columns = np.nonzero(np.isfinite(gaps))
    points = np.column_stack([grid.x[columns], grid.y[rows]])
    if len(points) == 0:
        return Resting(np.empty((0, 2)), np.empty(0, dtype=np.int64), (0.0, 0.0))
    height, owners = gaps[rows, columns], below[rows, columns]
    drawn = _touching(points, height - height.min(), owners, tolerance)
    if _can_rest(drawn[0], centre, held):
        return Resting(*drawn, (0.0, 0.0))
    terms = np.column_stack([np.ones(len(points)), points - centre])
    found = linprog(
        [-1.0, 0.0, 0.0], A_ub=terms, b_ub=height, bounds=[(None, None)] * 3, method="highs"
    )
    # A centre beside all that is below has no such plane: it rests as drawn, and will fall.
    plane = found.x if found.x is not None else np.array([height.min(), 0.0, 0.0])
    slopes = (float(plane[1]), float(plane[2]))
    return Resting(*_touching(points, height - terms @ plane, owners, tolerance), slopes)


def _touching(
    points: Floats, gaps: Floats, owners: NDArray[np.int64], tolerance: float
) -> tuple[Floats, Indices]:
    """Corners of the hulls of what touches, for each thing below by itself, and its number."""
    touching = gaps < tolerance
    places, numbers = [], []
    for number in np.unique(owners[touching]):
        hull = hull_corners(points[touching & (owners == number)])
        places.append(hull)
        numbers.append(np.full(len(hull), number))
    return np.concatenate(places), np.concatenate(numbers).astype(np.int64)


def _can_rest(places: Floats, centre: Floats, held: Pulls | None) -> bool:
    """Whether pushes at places, and pulls up to their bounds, balance a weight at its centre."""
    from scipy.optimize import linprog

    pulls = Pulls(np.empty((0, 2)), np.empty(0)) if held is None else held
    points = np.concatenate([places, pulls.places]) - centre
    signs = np.concatenate([np.ones(len(places)), -np.ones(len(pulls.places))])
    matrix = np.vstack([np.ones(len(points)), points.T]) * signs
    most = np.concatenate([np.full(len(places), np.inf), pulls.shares])
    found = linprog(
        np.zeros(len(points)),
        A_eq=matrix,
        b_eq=[1.0, 0.0, 0.0],
        bounds=np.column_stack([np.zeros(len(points)), most]),
        method="highs",
    )
    return found.x is not None


def hull_corners(points: Floats) -> Floats:
    """Corners of the convex hull of points (n, 2), in order; the ends where they lie in a row."""
    from scipy.spatial import ConvexHull, QhullError

    points = np.asarray(points, dtype=float).reshape(-1, 2)
    try:
        return np.asarray(points[ConvexHull(points).vertices], dtype=float)
    except (QhullError, ValueError):
        spread = points - points.mean(axis=0)
        along = spread @ np.linalg.svd(spread, full_matrices=False)[2][0]
        ends = sorted({int(along.argmin()), int(along.argmax())})
        return points[ends]
