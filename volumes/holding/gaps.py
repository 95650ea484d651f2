"""How far the skins of pieces lie apart, on their flanks too."""

from collections.abc import Container, Iterable, Sequence

import numpy as np
import scipy

from plumbstone.meshes.piece import Floats, Piece
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.memo import Memo

SKIN_STEP = 0.01  # [m] between points of a skin
CLOSE_STEP, BESIDE = 0.004, 0.005  # [m]: points so far apart, and so near others, may touch
SOME = 16  # every so many of them bound how near the others are sought
FAR = 0.05  # [m]: boxes so far apart need no closer look


def widest_gap(bodies: Sequence[Body], memo: Memo) -> tuple[float, str]:
    """How far pieces that are to move as one lie apart [m] where nearest, and which one is off."""
    pieces = list(bodies)
    joined_up, widest = [pieces.pop(0)], (0.0, "")
    while pieces:
        gap, k = min(
            (memo(_gap_between, a.piece, b.piece, SKIN_STEP, FAR), k)
            for a in joined_up
            for k, b in enumerate(pieces)
        )
        widest = max(widest, (gap, pieces[k].entry.name))
        joined_up.append(pieces.pop(k))
    return widest


def beside(
    own: Sequence[Body], others: Iterable[Body], counted: Container[str], memo: Memo
) -> list[str]:
    """Name what some pieces come near, on its flanks too, that is not counted, by name."""
    near = [body for body in others if body.entry.name not in counted]
    return [
        body.entry.name
        for body in near
        if any(memo(_gap_between, b.piece, body.piece, CLOSE_STEP, BESIDE) < BESIDE for b in own)
    ]


def _gap_between(one: Piece, other: Piece, step: float, far: float) -> float:
    """Distance of two skins [m], as points of them a step apart tell it; of their boxes if far."""
    apart = np.maximum(one.low - other.high, other.low - one.high)
    if apart.max() > far:
        return float(apart.max())
    skin, points = _skin_points(one, step), _skin_points(other, step)
    tree = scipy.spatial.cKDTree(skin, balanced_tree=False, compact_nodes=False)
    near = tree.query(points[::SOME])[0].min()
    nearer = tree.query(points, distance_upper_bound=near)[0].min()  # infinite where none is
    return float(min(near, nearer))


def _skin_points(piece: Piece, step: float) -> Floats:
    """All corners, and points of each face, no farther apart than a step, (p, 3) [m]."""
    faces = piece.vertices[piece.faces]
    longest = np.linalg.norm(faces - np.roll(faces, 1, axis=1), axis=2).max(axis=1)
    parts = np.maximum(1, np.ceil(longest / step).astype(int))
    found = [piece.vertices]
    for n in np.unique(parts[parts > 1]):
        i, j = (v.ravel() for v in np.mgrid[: n + 1, : n + 1])
        shares = np.column_stack((i, j, n - i - j))[i + j <= n] / n
        found.append(np.einsum("pk,fkd->fpd", shares, faces[parts == n]).reshape(-1, 3))
    return np.concatenate(found)
