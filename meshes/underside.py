"""Closing a body whose underside was never seen, and filling the holes of its skin."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plumbstone.meshes.faults import open_edges
from plumbstone.meshes.piece import Floats, Indices

BAND = 3  # rings of faces above the rim that tell the slope of the wall


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """The open edge of a body, and what is known of the space below it."""

    edges: Indices  # (k, 2), as the faces beside them walk
    skirt: float  # volume with the walls dropped straight to the table [m³]
    under: float  # volume between the rim and the table [m³]
    lean: float  # mean upward part of the walls' outward normals at the rim, -1 to 1
    height: float  # mean height of the rim [m]


def boundary_parts(faces: Indices, count: int) -> list[Indices]:
    """Group the open edges of a surface into connected parts, longest first, (k, 2) each."""
    edges = open_edges(faces)
    if len(edges) == 0:
        return []
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(edges)), edges.T), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    part = label[edges[:, 0]]
    found = [edges[part == k] for k in np.unique(part)]
    return sorted(found, key=len, reverse=True)


def part_size(vertices: Floats, edges: Indices) -> float:
    """Length of an open part [m]."""
    steps = vertices[edges[:, 1]] - vertices[edges[:, 0]]
    return float(np.linalg.norm(steps, axis=1).sum())


def filled(vertices: Floats, faces: Indices, parts: list[Indices]) -> tuple[Floats, Indices, float]:
    """Close open parts of the skin by caps that bulge as the skin around them does.

    Returns
    -------
    vertices : (n + added, 3) float array
    faces : (m + added, 3) int array
    area : float
        Of all caps [m²].
    """
    area = 0.0
    for edges in parts:
        ring = np.unique(edges)
        tip = _bulged_tip(vertices, faces, ring)
        cap = np.column_stack([edges[:, 1], edges[:, 0], np.full(len(edges), len(vertices))])
        vertices = np.concatenate([vertices, tip[None]])
        corners = vertices[cap]
        sides = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area += float(np.linalg.norm(sides, axis=1).sum()) / 2
        faces = np.concatenate([faces, cap])
    return vertices, faces, area


def measure_rim(vertices: Floats, faces: Indices, edges: Indices) -> Rim:
    """Measure a body that stands open on the table z = 0.

    Notes
    -----
    The flux of (0, 0, z) through the skin is the volume down to z = 0 with vertical walls
    below the rim; the same flux through a lid over the rim is the volume under it.
    """
    skirt = _flux(vertices, faces)
    tip = vertices[np.unique(edges)].mean(axis=0)
    lid = np.column_stack([edges[:, 1], edges[:, 0], np.full(len(edges), len(vertices))])
    under = -_flux(np.concatenate([vertices, tip[None]]), lid)
    return Rim(edges, skirt, under, _lean(vertices, faces, edges), float(tip[2]))


def close_below(vertices: Floats, faces: Indices, rim: Rim, share: float) -> tuple[Floats, Indices]:
    """Close a body so that it holds its skin and a share of the volume under its rim.

    Walls drop from the rim by that share of its height; a lid closes them. The volume is
    skirt - (1 - share) · under, exactly.
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


def _flux(vertices: Floats, faces: Indices) -> float:
    """Flux of (0, 0, z) through a surface [m³]."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    area = (
        (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    ) / 2
    return float(area @ (a[:, 2] + b[:, 2] + c[:, 2]) / 3)


def _rings_of(faces: Indices, count: int, corners: Indices, rings: int) -> NDArray[np.bool_]:
    """Which faces lie within some rings of given corners, (m,)."""
    near = np.zeros(count, dtype=bool)
    near[corners] = True
    touched: NDArray[np.bool_] = np.zeros(len(faces), dtype=bool)
    for _ in range(rings):
        touched = np.any(near[faces], axis=1)
        near[faces[touched]] = True
    return touched


def _lean(vertices: Floats, faces: Indices, edges: Indices) -> float:
    """Mean z of the unit normals of the faces just above the rim, weighted by area."""
    beside = faces[_rings_of(faces, len(vertices), np.unique(edges), BAND)]
    a, b, c = (vertices[beside[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    total = np.linalg.norm(normal, axis=1).sum()
    return float(normal[:, 2].sum() / total) if total > 0 else 0.0


def _bulged_tip(vertices: Floats, faces: Indices, ring: Indices) -> Floats:
    """Middle of a cap, on a quadric through the skin around the hole."""
    middle: Floats = vertices[ring].mean(axis=0)
    reach = np.linalg.norm(vertices[ring] - middle, axis=1).max()
    around = np.unique(faces[_rings_of(faces, len(vertices), ring, 4)])
    local = vertices[around] - middle
    _, _, axes = np.linalg.svd(vertices[ring] - middle, full_matrices=False)
    u, v, w = (local @ axes.T).T
    terms = np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v])
    if len(around) < 12:
        return middle
    fit, *_ = np.linalg.lstsq(terms, w, rcond=None)
    lift = float(np.clip(fit[0], -0.5 * reach, 0.5 * reach))
    tip: Floats = middle + lift * axes[2]
    return tip
