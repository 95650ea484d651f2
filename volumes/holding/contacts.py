"""What carries a body that lies on places below it, and the plane on which it comes to rest."""

import math
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.columns import Columns, Grid
from plumbstone.meshes.piece import Floats, Indices

LEVEL = 1e-9  # [m]: what differs by less is level
AT_ONCE = 8  # places that are added to a program
TOUCHING = 3e-4  # [m]: nearer than this to where it rests, a body touches


@dataclass(frozen=True, slots=True, eq=False)
class Pulls:
    """What can pull a body down where it is tied."""

    places: Floats  # (t, 2) [m]
    shares: Floats  # (t,) greatest pull of each, in shares of the weight of the body

    @classmethod
    def none(cls) -> "Pulls":
        """Nothing pulls."""
        return cls(np.empty((0, 2)), np.empty(0))


def settling_slopes(
    body: Columns, surface: Floats, grid: Grid, centre: Floats
) -> tuple[float, float]:
    """Slopes along x and y of the plane by which a body sinks to rest on a surface.

    Parameters
    ----------
    body : Columns
        Solid intervals of the body.
    surface : (rows, columns) float array
        What carries it [m].
    grid : Grid
    centre : (2,) float array
        Its centre of mass from above [m].

    Returns
    -------
    (float, float)
        Zero where it rests as it is.
    """
    if len(body.bottoms) == 0:
        return 0.0, 0.0
    under = body.bottoms[0]
    rows, columns = np.nonzero(np.isfinite(under))
    points = np.column_stack([grid.x[columns], grid.y[rows]])
    gaps = np.maximum(under - surface, 0.0)[rows, columns]
    if can_rest(points[gaps < gaps.min() + TOUCHING], centre, Pulls.none()):
        return 0.0, 0.0
    plane = rest_plane(points, gaps, centre)
    return float(plane[1]), float(plane[2])


def lean_of(slopes: tuple[float, float]) -> float:
    """Tilt of a plane of two slopes [degrees]."""
    return math.degrees(math.atan(math.hypot(*slopes)))


def rest_plane(places: Floats, gaps: Floats, centre: Floats) -> Floats:
    """Height at the centre [m] and slopes (3,) of the plane below all gaps, highest there.

    Notes
    -----
    A linear program in three unknowns, over the few places that bear on it: those at the corners
    from above, then what would still lie below the plane. A centre beside all that is below has
    no such plane: the body rests as drawn, and will fall.
    """
    from scipy.optimize import linprog

    level = np.array([float(gaps.min()) if len(gaps) else 0.0, 0.0, 0.0])
    if len(gaps) < 3 or np.ptp(gaps) < LEVEL:
        return level
    terms = np.column_stack([np.ones(len(places)), places - centre])
    bearing = np.zeros(len(gaps), dtype=bool)
    bearing[hull_numbers(places)] = True
    while True:
        found = linprog(
            [-1.0, 0.0, 0.0], A_ub=terms[bearing], b_ub=gaps[bearing],
            bounds=[(None, None)] * 3, method="highs",
        )  # fmt: skip
        if found.x is None:
            return level
        left = np.where(bearing, np.inf, gaps - terms @ found.x)
        if left.min() >= -LEVEL:
            return np.asarray(found.x, dtype=float)
        bearing[np.argsort(left)[:AT_ONCE]] = True


def can_rest(places: Floats, centre: Floats, held: Pulls) -> bool:
    """Whether pushes at places [m] and pulls up to their bounds [kg] balance a centred weight."""
    from scipy.optimize import linprog

    if not len(held.places) and len(places) > 2 and inside_hull(places, centre):
        return True
    places = places[hull_numbers(places)]
    points = np.concatenate([places, held.places]) - centre
    if not len(points):
        return False
    signs = np.concatenate([np.ones(len(places)), -np.ones(len(held.places))])
    matrix = np.vstack([np.ones(len(points)), points.T]) * signs
    most = np.concatenate([np.full(len(places), np.inf), held.shares])
    found = linprog(
        np.zeros(len(points)),
        A_eq=matrix,
        b_eq=[1.0, 0.0, 0.0],
        bounds=np.column_stack([np.zeros(len(points)), most]),
        method="highs",
    )
    return found.x is not None


def inside_hull(places: Floats, points: Floats) -> bool:
    """Whether points (p, 2) [m] all lie in the hull of places (n, 2); no where that is flat."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        sides = ConvexHull(places).equations
    except (QhullError, ValueError):
        return False
    return bool((points @ sides[:, :2].T + sides[:, 2] <= LEVEL).all())


def hull_numbers(points: Floats) -> Indices:
    """Which of points (n, 2) are corners of their hull, in order; the ends if in a row."""
    from scipy.spatial import ConvexHull, QhullError

    points = np.asarray(points, dtype=float).reshape(-1, 2)
    if len(points) < 3:
        return np.arange(len(points))
    try:
        return np.asarray(ConvexHull(points).vertices, dtype=np.int64)
    except (QhullError, ValueError):
        spread = points - points.mean(axis=0)
        along = spread @ np.linalg.svd(spread, full_matrices=False)[2][0]
        return np.array(sorted({int(along.argmin()), int(along.argmax())}), dtype=np.int64)


def off_hull(points: Floats, places: Floats) -> Floats:
    """How far points (p, 2) lie beside the hull of places (n, 2), (p,) [m]; 0 within it."""
    around = places[hull_numbers(places)]
    along = np.roll(around, -1, axis=0) - around
    out = points[:, None] - around
    length = np.maximum((along**2).sum(axis=1), 1e-12)
    share = np.clip((out * along).sum(axis=2) / length, 0, 1)
    found = np.linalg.norm(out - share[..., None] * along, axis=2).min(axis=1)
    left = along[:, 0] * out[..., 1] - along[:, 1] * out[..., 0] >= 0
    inside = left.all(axis=1) & (len(around) > 2)
    return np.asarray(np.where(inside, 0.0, found))
