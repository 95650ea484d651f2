"""Meshes put together: side by side, or as solids of manifold3d, which unites and thins them."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from plumbstone.meshes.piece import Floats, Indices


def together(meshes: Sequence[tuple[Floats, Indices]]) -> tuple[Floats, Indices]:
    """Put corners (n, 3) [m] and faces (m, 3) of several meshes into one; nothing is merged."""
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in meshes)])
    faces = [own + start for (_, own), start in zip(meshes, starts, strict=False)]
    return np.concatenate([vertices for vertices, _ in meshes]), np.concatenate(faces)


def solid_of(vertices: Floats, faces: Indices) -> Any:
    """Make a solid of a closed mesh: corners (n, 3) [m], faces (m, 3)."""
    import manifold3d

    return manifold3d.Manifold(manifold3d.Mesh64(vertices.astype(float), faces.astype(np.uint64)))


def mesh_of(solid: Any) -> tuple[Floats, Indices]:
    """Give the corners (n, 3) [m] and faces (m, 3) of a solid."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties)[:, :3], np.array(mesh.tri_verts, dtype=np.int64)
