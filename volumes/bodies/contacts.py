"""What carries a body that lies on places below it, and the plane on which it comes to rest."""

import math
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.columns import Grid, Window
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.piece import Flags, Floats, Indices
from plumbstone.volumes.programs import Program, entries_of

LEVEL = 1e-9  # [m]: what differs by less is level
FAR_AROUND = 10 * np.array([[1.0, 0.0], [-0.5, 0.75**0.5], [-0.5, -(0.75**0.5)]])  # [m]
FAR_ABOVE, MOST_TURNS = 1e5, 500  # [m]; places that give way until a search is given up
APART = 1e-6  # [m]: what lies so far aside, no tolerance of a program reaches
SITS = 2e-3  # [m]: on a bed so near below it, a stone sits
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
    body: Window, surface: Floats, grid: Grid, centre: Floats
) -> tuple[float, float]:
    """Slopes along x and y of the plane by which a body sinks to rest on a surface.

    The surface (rows, columns) [m] carries its columns, and `centre` is its centre of mass from
    above, (2,) [m]; zero where it rests as it is.
    """
    if len(body.bottoms) == 0:
        return 0.0, 0.0
    under = body.lowest()
    rows, columns = np.nonzero(np.isfinite(under))
    points = np.column_stack([grid.x[body.column + columns], grid.y[body.row + rows]])
    gaps = np.maximum(under - surface[body.place], 0.0)[rows, columns]
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
    A linear program in three unknowns, by the dual simplex method: of three places that carry it,
    one gives way to the place that lies deepest below their plane, until none does. It begins on
    three far around, far above; where one of these is left, the centre lies beside all that is
    below, and there is no such plane: the body rests as drawn, and will fall.
    """
    count = len(gaps)
    level = np.array([float(gaps.min()) if count else 0.0, 0.0, 0.0])
    if count < 3 or np.ptp(gaps) < LEVEL:
        return level
    terms = np.column_stack([np.ones(count + 3), np.concatenate([places - centre, FAR_AROUND])])
    depths = np.concatenate([gaps, np.full(3, FAR_ABOVE)])
    carry = np.array([count, count + 1, count + 2])
    for _ in range(MOST_TURNS):
        plane = np.linalg.solve(terms[carry], depths[carry])
        left = depths - terms @ plane
        deepest = int(left.argmin())
        if left[deepest] >= -LEVEL:
            return level if carry.max() >= count else plane
        weights, shares = np.linalg.solve(
            terms[carry].T, np.column_stack([[1.0, 0.0, 0.0], terms[deepest]])
        ).T
        bound = shares > 1e-12
        carry[np.where(bound, weights / np.where(bound, shares, 1.0), np.inf).argmin()] = deepest
    return level


def can_rest(places: Floats, centre: Floats, held: Pulls) -> bool:
    """Whether pushes at places [m] and pulls up to their bounds [kg] balance a centred weight."""
    if not len(held.places) and len(places) > 2 and inside_hull(places, centre):
        return True
    places = places[hull_numbers(places)]
    points = np.concatenate([places, held.places]) - centre
    if not len(points) or (not len(held.places) and _lie_aside(points)):
        return False
    signs = np.concatenate([np.ones(len(places)), -np.ones(len(held.places))])
    matrix = np.vstack([np.ones(len(points)), points.T]) * signs
    most = np.concatenate([np.full(len(places), np.inf), held.shares])
    program = Program(entries_of(matrix[None]), *matrix.shape)
    return program.within(([1, 0, 0], [1, 0, 0]), (np.zeros(len(points)), most))


def _lie_aside(points: Floats) -> bool:
    """Tell at once of most points (n, 2) that the origin is not among them."""
    way = points.mean(axis=0)
    return bool((points @ way).min() > APART * float(np.linalg.norm(way)))


def inside_hull(places: Floats, points: Floats) -> Flags:
    """Whether points (p, 2) [m] lie in the hull of places (n, 2), (p,); no where that is flat."""
    hull = hull_of(places)
    if hull is None:
        return np.zeros(points.shape[:-1], dtype=bool)
    out = points @ hull.equations[:, :2].T + hull.equations[:, 2]
    return np.asarray((out <= LEVEL).all(axis=-1))


def hull_numbers(points: Floats) -> Indices:
    """Which of points (n, 2) [m] are corners of their hull, in order; the ends if in a row."""
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    if len(points) < 3:
        return np.arange(len(points))
    hull = hull_of(points)
    if hull is not None:
        return np.asarray(hull.vertices, dtype=np.int64)
    spread = points - points.mean(axis=0)
    along = spread @ np.linalg.svd(spread, full_matrices=False)[2][0]
    return np.array(sorted({int(along.argmin()), int(along.argmax())}), dtype=np.int64)


def air_below(window: Window, surface: Floats, grid: Grid, centre: Floats) -> float:
    """Height of the air below the middle of a piece that is set on the bed [m]; 0 where it rests.

    The surface is that of the bed, pieces showing through, (rows, columns) [m], and `centre` its
    middle of mass from above, (2,) [m].
    """
    places = np.stack([axis[window.place] for axis in grid.centres], axis=-1)
    air = window.lowest() - surface[window.place]
    if can_rest(places[air < SITS], centre, Pulls.none()):
        return 0.0
    nearest = np.linalg.norm(places - centre, axis=-1).argmin()
    return max(0.0, float(air.flat[nearest]))


def off_hull(points: Floats, places: Floats) -> Floats:
    """How far points (p, 2) lie beside the hull of places (n, 2), (p,) [m]; 0 within it."""
    around = places[hull_numbers(places)]
    dx, dy = (np.roll(around, -1, axis=0) - around).T
    x, y = points.T[..., None] - around.T[:, None]
    share = np.clip((x * dx + y * dy) / np.maximum(dx**2 + dy**2, 1e-12), 0, 1)
    square = (x - share * dx) ** 2 + (y - share * dy) ** 2
    inside = (dx * y - dy * x >= 0).all(axis=1) & (len(around) > 2)
    return np.asarray(np.where(inside, 0.0, np.sqrt(square.min(axis=1))))
