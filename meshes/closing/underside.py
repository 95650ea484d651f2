"""Closing a body whose underside was never seen, and filling the holes of its skin."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from plumbstone.meshes.faces import (
    corner_sums,
    corners_of,
    near_faces,
    seen_from_above,
    shells,
)
from plumbstone.meshes.measures.calipers import corner_normals
from plumbstone.meshes.measures.faults import enclosed_volume, face_areas, open_edges
from plumbstone.meshes.measures.hulls import hull_of
from plumbstone.meshes.measures.isolating import Plane, upright
from plumbstone.meshes.piece import Floats, Indices

LEAST_BULGED = 12  # corners around a hole from which its cap follows the skin
WIDE_OPENING = 0.5  # rim length over that of the body's outline from above
LEAST_RIM = 0.2  # length of a further rim over that of the longest
LOOKS_DOWN = 0.5  # downward part of a rim's vector area
RINGS, BESIDE, LEVEL = 4, 24, 4.0  # rings of faces along a rim, how many of them tell how its flank
# leans at a place, and how far it goes inward at most, for each height
BEYOND = 2.0  # times a circular segment: what may lie beyond the bridge over a missing side
CLIMBS, LEAST_CLIMB = 0.25, 0.40  # of a body's height: rim that left its foot, and how far it goes
STRAIGHT_DOWN = 0.9  # downward part of the normals of a skin that no camera on a table sees
INNER, FARTHEST = 0.75, 1.0  # of a cap: the width of what is pushed out, and how far at most in
# roots of its area
UPPER, MOST_CORNERS = 0.6, 40_000  # of a body's height: its hull is measured above the rims, at
# most from there on, and on so many corners
SPOTS = 1000  # of a table that are looked at
FOOT = 0.03  # of the height: what lies lower is taken to be the ground
MOST_BULGED = 50  # holes that are closed so; the smaller ones are closed flat


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """The open edge of a body, and what is known of the space below it."""

    edges: Indices  # (k, 2), as the faces beside them walk
    under: float  # volume between the rim and the table [m³]
    area: float  # of the rim seen from below [m²]


@dataclass(frozen=True, slots=True)
class Breach:
    """A side of a body that was not seen: its rim climbs there."""

    width: float  # [m]
    height: float  # [m]
    volume: float  # that may lie beyond what bridges it [m³]


def breach_of(vertices: Floats, edges: Indices) -> Breach | None:
    """Find where a rim leaves the foot of a body that stands on z = 0 and climbs its side.

    Notes
    -----
    What bridges it is flat where the skin bulged: a circular segment on the width of the
    breach, of the radius of the body, as high as the rim climbs.
    """
    ring = vertices[edges[:, 0]]
    top = float(vertices[:, 2].max())
    foot = float(np.quantile(ring[:, 2], 0.2))
    high = ring[ring[:, 2] > foot + CLIMBS * top]
    height = float(ring[:, 2].max()) - foot
    if len(high) < 5 or height < LEAST_CLIMB * top:
        return None
    radius = float(np.ptp(vertices[:, :2], axis=0).mean()) / 2
    flat = high[:, :2] - high[:, :2].mean(axis=0)
    width = min(float(np.ptp(flat @ np.linalg.svd(flat, full_matrices=False)[2][0])), 2 * radius)
    half = np.arcsin(min(1.0, width / 2 / radius))
    segment = float(radius**2 * (half - np.sin(half) * np.cos(half)))
    return Breach(width, height, BEYOND * segment * height)


def boundary_parts(faces: Indices, count: int) -> list[Indices]:
    """Group the open edges of a surface into connected parts, longest first, (k, 2) each."""
    edges = open_edges(faces)
    if len(edges) == 0:
        return []
    part = shells(edges[:, [0, 1, 1]], count)
    order = np.argsort(part, kind="stable")
    starts = np.flatnonzero(np.diff(part[order])) + 1
    return sorted(np.split(edges[order], starts), key=len, reverse=True)


def rims_and_holes(
    vertices: Floats, parts: list[Indices], on_table: bool
) -> tuple[list[Indices], list[Indices]]:
    """Tell the rims of what was not seen from above from holes in the skin, longest first.

    A rim is long and looks down. Without a table, a single part can be a rim: one that is long
    against the outline of the body.
    """
    if not parts:
        return [], []
    sizes = np.array([part_size(vertices, edges) for edges in parts])
    order = np.argsort(-sizes)
    first = parts[order[0]]
    if not on_table:
        outline = 2 * float(np.sort(np.ptp(vertices, axis=0))[1:].sum()) * 0.8
        wide = sizes[order[0]] > WIDE_OPENING * outline
        return ([first], [parts[k] for k in order[1:]]) if wide else ([], parts)
    rims: list[Indices] = []
    holes: list[Indices] = []
    for k in order:
        area, _ = fan(vertices, parts[k])
        down = -area[2] > LOOKS_DOWN * float(np.linalg.norm(area))
        long = sizes[k] > LEAST_RIM * sizes[order[0]]
        (rims if down and long else holes).append(parts[k])
    return rims, holes


def stood_on_rim(vertices: Floats, rim: Indices, own: int | None = None) -> Floats:
    """Turn a body without a table so that its rim lies level and touches z = 0.

    The first `own` vertices are the body's; others go along.
    """
    body = vertices[:own]
    ring = vertices[np.unique(rim)]
    middle = ring.mean(axis=0)
    _, _, axes = np.linalg.svd(ring - middle, full_matrices=False)
    up = axes[2] if (body.mean(axis=0) - middle) @ axes[2] > 0 else -axes[2]
    turned = upright(vertices, Plane(up, float(middle @ up), 0.0))
    low = float(turned[np.unique(rim), 2].min())
    return turned - [0.0, 0.0, low]


def part_size(vertices: Floats, edges: Indices) -> float:
    """Length of an open part [m]."""
    steps = vertices[edges[:, 1]] - vertices[edges[:, 0]]
    return float(np.linalg.norm(steps, axis=1).sum())


def filled(
    vertices: Floats, faces: Indices, parts: list[Indices]
) -> tuple[Floats, Indices, Floats]:
    """Close open parts of the skin by caps that bulge as the skin around them does.

    Returns
    -------
    vertices : (n + added, 3) float array
    faces : (m + added, 3) int array
    areas : float array
        Of the caps [m²].
    """
    tips, caps = [], []
    for k, edges in enumerate(parts):
        ring = np.unique(edges)
        bulged = k < MOST_BULGED and len(ring) >= LEAST_BULGED
        tips.append(_bulged_tip(vertices, faces, ring) if bulged else vertices[ring].mean(axis=0))
        caps.append(np.column_stack([edges[:, ::-1], np.full(len(edges), len(vertices) + k)]))
    if not parts:
        return vertices, faces, np.zeros(0)
    cap = np.concatenate(caps)
    vertices = np.concatenate([vertices, np.array(tips)])
    starts = np.cumsum([len(edges) for edges in parts]) - [len(edges) for edges in parts]
    areas: Floats = np.add.reduceat(face_areas(vertices, cap), starts)
    return vertices, np.concatenate([faces, cap]), areas


def fan(vertices: Floats, edges: Indices) -> tuple[Floats, Floats]:
    """Vector area [m²] of a fan over an open part, facing away from the skin, and its middle."""
    middle = vertices[np.unique(edges)].mean(axis=0)
    a, b = vertices[edges[:, 1]] - middle, vertices[edges[:, 0]] - middle
    area: Floats = np.cross(a, b).sum(axis=0) / 2
    return area, middle


def skirt_volume(vertices: Floats, faces: Indices) -> float:
    """Volume of an open body with vertical walls dropped from its rims to z = 0 [m³].

    It is the flux of (0, 0, z) through the skin: neither walls nor floor add to it.
    """
    flat, height = seen_from_above(vertices, faces)
    return float(flat @ height)


def invented_volume(vertices: Floats, faces: Indices) -> float:
    """Volume between the table z = 0 and skin that no camera can have seen [m³].

    Such skin looks straight down; an app that closes its surfaces invents it below overhangs.
    """
    of_corners = corner_normals(vertices, faces)
    normals = of_corners[faces[:, 0]] + of_corners[faces[:, 1]] + of_corners[faces[:, 2]]
    down = -normals[:, 2] > STRAIGHT_DOWN * np.linalg.norm(normals, axis=1)
    return max(0.0, -skirt_volume(vertices, faces[down]))


def measure_rim(vertices: Floats, edges: Indices) -> Rim:
    """Measure one open part of a body that stands on the table z = 0.

    Notes
    -----
    The flux of (0, 0, z) through a lid over the rim is the volume under it.
    """
    tip = vertices[np.unique(edges)].mean(axis=0)
    lid = np.column_stack([edges[:, ::-1], np.full(len(edges), len(vertices))])
    under = -skirt_volume(np.concatenate([vertices, tip[None]]), lid)
    return Rim(edges, under, -float(fan(vertices, edges)[0][2]))


def undercut(vertices: Floats, faces: Indices, rims: Sequence[Rim]) -> float:
    """Share of the volume under rims that their flanks leave free if they go on straight.

    It is over 1 where they would meet before they reach z = 0.
    """
    edges = np.concatenate([rim.edges for rim in rims])
    near = faces[near_faces(faces, len(vertices), np.unique(edges), RINGS)]
    a, b, c = (vertices[near[:, k]] for k in range(3))
    start, end = vertices[edges[:, 0]], vertices[edges[:, 1]]
    _, nearest = scipy.spatial.cKDTree((a + b + c) / 3).query(
        (start + end) / 2, min(BESIDE, len(a))
    )
    ways = np.cross(b - a, c - a)[nearest].reshape(len(edges), -1, 3).sum(axis=1)
    flat = np.linalg.norm(ways[:, :2], axis=1) + 1e-300
    run = np.clip(-ways[:, 2] / flat, 0, LEVEL)  # inward, for each height
    (x, y), (dx, dy) = (ways[:, :2] / flat[:, None]).T, (end - start)[:, :2].T
    wide = np.where(run < LEVEL, np.maximum(x * dy - y * dx, 0), np.hypot(dx, dy))
    free = float(((start + end)[:, 2] ** 2 / 8 * run * wide).sum())
    return free / max(sum(rim.under for rim in rims), 1e-300)


def seen_below(vertices: Floats, rims: Sequence[Rim], table: Floats) -> float:
    """Share of the area under rims on which a table (k, 3, 3) around the body is seen."""
    edges = np.concatenate([rim.edges for rim in rims])
    start, end = (vertices[edges[:, k], :2] @ [1, 1j] for k in (0, 1))
    low, high = vertices[edges[:, 0], :2].min(axis=0), vertices[edges[:, 0], :2].max(axis=0)
    table = table[((table[:, 0, :2] > low) & (table[:, 0, :2] < high)).all(axis=1)]
    every = 1 + len(table) // SPOTS
    a, b, c = (table[::every, k, :2] @ [1, 1j] for k in range(3))
    spots = ((a + b + c) / 3)[:, None]
    around = np.angle((end - spots) * (start - spots).conj()).sum(axis=1)
    areas = np.abs(((b - a) * (c - a).conj()).imag) / 2
    return every * float(areas[np.abs(around) > np.pi].sum()) / sum(rim.area for rim in rims)


def foot_share(vertices: Floats, faces: Indices) -> float:
    """Share of a body's outline from above that lies on the ground; of a closed mesh, z up [m]."""
    areas, heights = seen_from_above(vertices, faces)
    low, high = vertices[:, 2].min(), vertices[:, 2].max()
    foot = (areas < 0) & (heights < low + FOOT * (high - low))
    return float(-areas[foot].sum() / areas[areas > 0].sum())


def solidity(vertices: Floats, faces: Indices, rims: Sequence[Rim]) -> float:
    """Share that a body fills of the hull of what stands above its rims, 0 to 1.

    Where rims climb, of its upper part; of a fine skin some corners tell the hull.
    """
    ring = vertices[np.concatenate([rim.edges[:, 0] for rim in rims]), 2]
    level = min(float(ring.max()), UPPER * float(vertices[:, 2].max()))
    above = vertices[corners_of(faces)]
    above = above[above[:, 2] >= level]
    flat, height = seen_from_above(vertices, faces)
    hull = hull_of(above[:: 1 + len(above) // MOST_CORNERS])
    if hull is None:
        return 0.0
    return float(np.clip(flat @ np.maximum(height - level, 0) / hull.volume, 0, 1))


def close_below(vertices: Floats, faces: Indices, rim: Rim, share: float) -> tuple[Floats, Indices]:
    """Close a body so that it holds its skin and a share of the volume under its rim.

    Walls drop from the rim by that share of its height; a lid closes them, so that exactly
    this share of `under` is added.
    """
    ring = np.unique(rim.edges)
    lower = vertices[ring].copy()
    lower[:, 2] *= 1 - share
    tip = lower.mean(axis=0)
    place = np.full(len(vertices), -1, dtype=np.int64)
    place[ring] = len(vertices) + np.arange(len(ring))
    a, b = rim.edges.T
    low_a, low_b = place[a], place[b]
    last = len(vertices) + len(ring)
    walls = np.concatenate([np.column_stack([b, a, low_a]), np.column_stack([b, low_a, low_b])])
    lid = np.column_stack([low_b, low_a, np.full(len(a), last)])
    return np.concatenate([vertices, lower, tip[None]]), np.concatenate([faces, walls, lid])


def unseen_side(vertices: Floats, way: Floats) -> str:
    """Name the side of a body, z up, to which a level way (2,) leads."""
    flat = vertices[:, :2] - vertices[:, :2].mean(axis=0)
    right = np.linalg.eigh(flat.T @ flat)[1][:, 1]
    if (flat @ right).max() < -(flat @ right).min():  # it reaches farther from its middle there
        right = -right
    along, away = float(way @ right), float(right[0] * way[1] - right[1] * way[0])
    if abs(along) > abs(away):
        return "its thinner end" if along > 0 else "its heavier end"
    facing = "away from you" if away > 0 else "towards you"
    return f"the side {facing} when its heavier end lies to your left"


def bulged(vertices: Floats, faces: Indices, seen: int, volume: float) -> tuple[Floats, Indices]:
    """Push the widest cap that faces sideways out, so that the body holds so much more [m³].

    The first `seen` faces are no caps and stay first. What is pushed out is the inner part of the
    cap, as it is; the volume grows in proportion to the way.
    """
    areas = corner_sums(vertices, faces)[:, :2] / 2
    areas[corners_of(faces[:seen])] = 0.0
    wide = np.linalg.norm(areas, axis=1)
    tip = int(wide.argmax())
    star = np.flatnonzero((faces == tip).any(axis=1))
    if wide[tip] == 0:
        return vertices, faces
    ring = corners_of(faces[star])
    ring, place = ring[ring != tip], np.arange(len(vertices))
    place[ring] = len(vertices) + np.arange(len(ring))
    inner = vertices[tip] + INNER * (vertices[ring] - vertices[tip])
    turn = (faces[star] == tip).argmax(axis=1)
    a, b = (faces[star, (turn + k) % 3] for k in (1, 2))
    walls = np.concatenate(
        [np.column_stack([a, b, place[a]]), np.column_stack([b, place[b], place[a]])]
    )
    whole = np.concatenate([faces, walls])
    whole[star] = place[faces[star]]
    flat, way = np.concatenate([vertices, inner]), np.zeros((len(vertices) + len(ring), 3))
    way[[tip, *place[ring]], :2] = areas[tip] / wide[tip]
    least = enclosed_volume(flat, whole)
    far = volume / (enclosed_volume(flat + way, whole) - least)
    return flat + min(far, FARTHEST * float(wide[tip]) ** 0.5) * way, whole


def _bulged_tip(vertices: Floats, faces: Indices, ring: Indices) -> Floats:
    """Middle of a cap, on a quadric through the skin around the hole."""
    middle: Floats = vertices[ring].mean(axis=0)
    reach = np.linalg.norm(vertices[ring] - middle, axis=1).max()
    around = corners_of(faces[near_faces(faces, len(vertices), ring, 4)])
    local = vertices[around] - middle
    _, _, axes = np.linalg.svd(vertices[ring] - middle, full_matrices=False)
    u, v, w = (local @ axes.T).T
    terms = np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v])
    if len(around) < 12:
        return middle
    fit, *_ = np.linalg.lstsq(terms, w, rcond=None)
    lift = float(np.clip(fit[0], -0.5 * reach, 0.5 * reach))
    return middle + lift * axes[2]
