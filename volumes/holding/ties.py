"""What is tied to wood or laid on it: where it pulls or presses, and which way."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.measures.columns import signed_hits
from plumbstone.meshes.measures.nearest import nearest_on
from plumbstone.meshes.piece import Flags, Floats
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.scape.groups import Group, Sinker

TIE_REACH = 0.03  # a tie farther than this from all wood is not on it [m]
CORD = 0.01  # [m]: side of the square at whose corners a cord may leave wood
LEVEL = 1e-3  # [m]: corners so little above the lowest one are as low


@dataclass(frozen=True, slots=True, eq=False)
class Moving:
    """Pieces that move as one: a group with what is strapped to it, or one stone."""

    name: str
    pieces: tuple[Body, ...]
    group: Group | None = None  # None for a stone


@dataclass(frozen=True, slots=True)
class Tie:
    """What pulls or presses on a body from outside."""

    sinker: Sinker
    place: tuple[float, float, float]  # where it meets the wood [m]
    direction: tuple[float, float, float]  # unit, of its pull
    to: str  # the stone that stands at its other end; empty where its pull is all that counts
    taut: bool
    exact: bool  # whether it pulls with just its weight


def ties_of(moving: Moving, placed: Mapping[str, Body]) -> tuple[Tie, ...]:
    """List what pulls or presses on a body: its sinkers that are neither strapped nor bodies."""
    sinkers = moving.group.sinkers if moving.group else ()
    return tuple(
        _tie(sinker, moving, placed)
        for sinker in sinkers
        if sinker.how != "strapped" and not lies_as_body(sinker, placed)
    )


def lies_as_body(sinker: Sinker, placed: Mapping[str, Body]) -> bool:
    """Whether a sinker lies on wood as a piece with a place, which is judged by its contacts."""
    return sinker.how == "laid on" and sinker.stone in placed


def tie_place(sinker: Sinker, moving: Moving, placed: Mapping[str, Body]) -> Floats:
    """Where a sinker meets the wood, (3,) [m]: as given, or a place on the wood.

    Without `at` a stone without a place hangs at the lowest point, in the middle of a level
    underside, or lies over the middle; one with a place is tied to the nearest point of the
    wood above it.
    """
    if sinker.at is not None:
        return np.array(sinker.at)
    wood = [b for b in moving.pieces if b.entry.kind == "wood"]
    corners = np.concatenate([b.piece.vertices for b in wood])
    if sinker.stone in placed and sinker.how != "strapped":
        stone = placed[sinker.stone].piece.vertices
        over = corners[corners[:, 2] > stone[:, 2].max()]
        corners = over if len(over) else corners
        middle = (stone.min(axis=0) + stone.max(axis=0)) / 2
        return corners[np.hypot(*(corners - middle)[:, :2].T).argmin()]
    height = corners[:, 2].max() if sinker.how == "laid on" else corners[:, 2].min()
    there = corners if sinker.how == "laid on" else corners[corners[:, 2] < height + LEVEL]
    return nearest_on(skin_of(wood), np.array([*there[:, :2].mean(axis=0), height]))


def _tie(sinker: Sinker, moving: Moving, placed: Mapping[str, Body]) -> Tie:
    """Say where a sinker pulls and which way."""
    place = tie_place(sinker, moving, placed)
    direction, to = np.array([0.0, 0.0, -1.0]), ""
    if sinker.how == "standing" and sinker.stone in placed:
        anchor = nearest_point(placed[sinker.stone], place)
        length = float(np.linalg.norm(anchor - place))
        to = sinker.stone
        if length > 1e-6:
            direction = (anchor - place) / length
        straight = math.hypot(direction[0], direction[1]) < 1e-3
        direction = np.array([0.0, 0.0, -1.0]) if straight and direction[2] < 0 else direction
    height = (sinker.mass / sinker.material.dense.mid) ** (1 / 3)
    hangs = sinker.how == "hanging" and place[2] > height
    return Tie(
        sinker,
        (float(place[0]), float(place[1]), float(place[2])),
        (float(direction[0]), float(direction[1]), float(direction[2])),
        to=to,
        taut=sinker.slack == 0 or sinker.how == "laid on",
        exact=hangs or sinker.how == "laid on",
    )


def nearest_point(body: Body, place: Floats) -> Floats:
    """Point of a body's surface that is nearest to a place, (3,) [m]."""
    return nearest_on(body.piece.vertices[body.piece.faces], place)


def skin_of(wood: Sequence[Body]) -> Floats:
    """All faces of some pieces, (n, 3, 3) [m]."""
    return np.concatenate([body.piece.vertices[body.piece.faces] for body in wood])


def hung_from(triangles: Floats, place: Floats) -> float:
    """Height [m] where a cord from a place (3,) leaves wood (n, 3, 3) downward.

    That of the place where no wood is straight below it, or it lies at an edge.
    """
    corners = triangles.reshape(-1, 3) - [*place[:2], 0.0]
    corners[:, :2] = corners[:, :2] / CORD + 1
    cells, heights, upward = signed_hits(corners, np.arange(len(corners)).reshape(-1, 3), 2, 2)
    lines = (cells == k for k in range(4))
    return max(_leaves(heights[line], upward[line], float(place[2])) for line in lines)


def _leaves(heights: Floats, upward: Flags, height: float) -> float:
    """Height [m] of the underside of what a line down from a height runs through.

    Its skins are met at `heights` (k,) and look upward there or down.
    """
    order, depth = np.argsort(-heights), 0  # of skins that the line is in
    for low, enters in zip(heights[order], upward[order], strict=True):
        if depth == 0 and low < height - TIE_REACH:
            break
        depth += 1 if enters else -1
        if depth == 0 and low <= height:
            return float(low)
    return height


def loose_strapped(moving: Moving, placed: Mapping[str, Body]) -> list[tuple[Sinker, Floats]]:
    """Sinkers strapped to a body that are no pieces of their own, and their places (3,) [m]."""
    named = {b.entry.name for b in moving.pieces}
    sinkers = moving.group.sinkers if moving.group else ()
    loose = [s for s in sinkers if s.how == "strapped" and s.stone not in named]
    return [(s, tie_place(s, moving, placed)) for s in loose]
