"""Laying a box or a can of known size into the skin of a body: at which scale, how closely."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import permutations

import numpy as np
import scipy

from plumbstone.meshes.measures.extents import across
from plumbstone.meshes.piece import Floats

FOOT = 0.06  # of its height: so much of a skin is left out, where it flares into the table
ENDS = (0.02, 0.98)  # quantiles between which a body reaches, its noise aside
STRAY, NEAR = 0.015, 0.05  # of half its mean side: skin that is farther off counts less, and strays
ON_TABLE = 0.2  # of the skin: so much weight has that a solid stands on the table
ALIKE = 0.98  # cosine between normals of one side
LEVEL = -0.3  # the same, between up and what may be seen from above
LEAST_SIDE = 0.04  # share of a skin that tells where a side lies
MOST_LOGS = 0.7  # farthest that a first guess of its size may be off, as a logarithm
THINNED, ROUGHLY, REFINED, CLOSELY = 4, 25, 3, 60  # of points, tries, fits that are refined, tries


@dataclass(frozen=True, slots=True)
class Fit:
    """A solid laid into a skin."""

    factor: float  # from the skin's lengths to the solid's
    off: float  # farthest middle distance of skin from one of its sides, over half the mean side
    stray: float  # share of the skin farther off than `NEAR`
    seen: float  # of its sides that look up or level the one with the least skin, over its share


def fits(points: Floats, normals: Floats, kind: str, sides: tuple[float, ...]) -> list[Fit]:
    """Lay a solid into a skin in every way that its sides may lie, the closest first.

    Parameters
    ----------
    points, normals : (n, 3) float array
        Spread evenly over the skin, z up from the table [m].
    kind : str
        "box" or "can".
    sides : tuple of float
        Three sides, or diameter and height [m].
    """
    upper = points[:, 2] > FOOT * points[:, 2].max()
    points, normals = points[upper], normals[upper]
    halves = np.array(sides if kind == "box" else (sides[0], sides[0], sides[1])) / 2
    roughly = list[tuple[float, int, Floats, Floats, Floats]]()
    for frame, own in _starts(normals, kind, halves):
        low, high = np.quantile(points @ frame.T, ENDS, axis=0)
        size = np.log(np.median((high - low) / 2 / own))
        start = np.array([0, 0, 0, *((low + high) / 2 @ frame), size])
        cost, pose = _laid(points[::THINNED], start, frame, kind, own, ROUGHLY)
        if abs(pose[6] - size) < MOST_LOGS:
            roughly.append((cost, len(roughly), pose, frame, own))
    found = []
    for _, _, start, frame, own in sorted(roughly)[:REFINED]:
        _, pose = _laid(points, start, frame, kind, own, CLOSELY)
        found.append(_fit(points, pose, frame, kind, own))
    return sorted(found, key=lambda fit: fit.off + fit.stray)


def _laid(
    points: Floats, start: Floats, frame: Floats, kind: str, halves: Floats, tries: int
) -> tuple[float, Floats]:
    """Turn, move and scale a solid so that skin lies on it and it on the table: cost and pose."""
    mean = float(halves.mean()) * np.exp(start[6])

    def gaps(pose: Floats) -> Floats:
        laid, turn = _in_frame(points, pose, frame)
        foot = pose[5] / np.exp(pose[6]) - _depth(turn, kind, halves)
        skin = np.linalg.norm(np.maximum(out := _beyond(laid, kind, halves), 0), axis=1)
        skin += np.minimum(out.max(axis=1), 0)
        off = np.append(skin, np.full(int(ON_TABLE * len(points)), foot))
        return np.asarray(off * np.exp(pose[6]) / mean)

    done = scipy.optimize.least_squares(gaps, start, loss="soft_l1", f_scale=STRAY, max_nfev=tries)
    return float(done.cost), done.x


def _fit(points: Floats, pose: Floats, frame: Floats, kind: str, halves: Floats) -> Fit:
    """Tell how closely a solid lies in a skin."""
    laid, turn = _in_frame(points, pose, frame)
    mean = float(halves.mean())
    out = _beyond(laid, kind, halves)
    off = out.max(axis=1)
    if kind == "box":
        side = out.argmax(axis=1)
        ways, areas = np.repeat(turn[:, 2], 2), np.repeat(halves.prod() / halves, 2)
    else:  # its wall, and a lid at either end
        side = np.where(out.argmax(axis=1), 2, 0)
        ways = turn[2, 2] * np.array([0, 0, 0, 0, 1, 1])
        areas = halves[0] * np.array([2 * halves[2], 2 * halves[2], 0, 0, halves[0], halves[0]]) / 2
    side = 2 * side + (laid[np.arange(len(laid)), side] > 0)
    looks = ways * np.tile([-1, 1], 3)
    asked = (looks > LEVEL) & (areas > 0)
    groups = [off[side == k] for k in np.flatnonzero(asked)]
    shares = areas[asked] / areas[asked].sum()
    near = [np.count_nonzero(np.abs(g) < NEAR * mean) / len(off) for g in groups]
    middles = [abs(np.median(g)) for g in groups if len(g) > LEAST_SIDE * len(off)]
    foot = abs(pose[5] / np.exp(pose[6]) - _depth(turn, kind, halves))
    return Fit(
        factor=float(np.exp(-pose[6])),
        off=float(max([*middles, foot])) / mean,
        stray=float((np.abs(off) > NEAR * mean).mean()),
        seen=float(min(np.array(near) / shares)),
    )


def _in_frame(points: Floats, pose: Floats, frame: Floats) -> tuple[Floats, Floats]:
    """Points (n, 3) as a solid in a pose sees them, and its axes as rows."""
    turn: Floats = frame @ scipy.spatial.transform.Rotation.from_rotvec(pose[:3]).as_matrix().T
    return (points - pose[3:6]) @ turn.T * np.exp(-pose[6]), turn


def _beyond(points: Floats, kind: str, halves: Floats) -> Floats:
    """How far points (n, 3) lie beyond each pair of sides, or a wall and both lids; inside < 0."""
    if kind == "box":
        return np.asarray(np.abs(points) - halves)
    around = np.hypot(points[:, 0], points[:, 1])
    return np.asarray(np.column_stack([around, np.abs(points[:, 2])]) - halves[[0, 2]])


def _starts(normals: Floats, kind: str, halves: Floats) -> Iterator[tuple[Floats, Floats]]:
    """Give frames to begin from, rows are axes, and half the sides along them."""
    up = np.array([0.0, 0.0, 1.0])
    if kind == "can":
        _, axes = np.linalg.eigh(normals.T @ normals)
        for axis in (up, *axes.T):
            yield np.vstack([across(axis), axis]), halves
        return
    tried = normals[:: max(1, len(normals) // 200)]
    first = tried[(np.abs(normals @ tried.T) > ALIKE).sum(axis=0).argmax()]
    level = normals[np.abs(normals @ first) < 0.3]
    for one in (up,) if abs(first @ up) > ALIKE else (first, up):
        aside = across(one)
        angle = 4 * np.arctan2(level @ aside[1], level @ aside[0])  # walls look four ways
        turn = np.arctan2(np.sin(angle).sum(), np.cos(angle).sum()) / 4
        c, s = np.cos(turn), np.sin(turn)
        frame = np.vstack([c * aside[0] + s * aside[1], c * aside[1] - s * aside[0], one])
        for order in set(permutations(halves.tolist())):
            yield frame, np.array(order)
        level = normals[np.abs(normals @ up) < 0.3]


def _depth(turn: Floats, kind: str, halves: Floats) -> float:
    """How far below its middle a turned solid reaches."""
    if kind == "box":
        return float(np.abs(turn[:, 2]) @ halves)
    level = np.hypot(turn[0, 2], turn[1, 2])
    return float(abs(turn[2, 2]) * halves[2] + level * halves[0])
