"""Writing meshes in open formats."""

import numpy as np

from plumbstone.meshes.contents import seal_of
from plumbstone.meshes.piece import Floats, Indices


def ply_bytes(vertices: Floats, faces: Indices, note: str = "") -> bytes:
    """Give a mesh as a binary little-endian PLY, doubles and 32-bit indices.

    Parameters
    ----------
    vertices : (n, 3) float array
        Corner positions [m].
    faces : (m, 3) int array
        Rows of `vertices`.
    note : str
        One line for the header.
    """
    comment = f"comment {note}\n" if note else ""
    header = (
        "ply\nformat binary_little_endian 1.0\ncomment metres, z up\n"
        f"{comment}"
        f"element vertex {len(vertices)}\n"
        "property double x\nproperty double y\nproperty double z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.empty(len(faces), dtype=[("n", "u1"), ("v", "<i4", 3)])
    rows["n"], rows["v"] = 3, faces
    return (
        header.encode("ascii", errors="replace") + vertices.astype("<f8").tobytes() + rows.tobytes()
    )


def kept_bytes(vertices: Floats, faces: Indices, note: str) -> bytes:
    """Give a mesh [m] as `ply_bytes` does, sealed so that its note is believed when read."""
    plain = ply_bytes(vertices, faces, f"plumbstone {note}")
    seal = seal_of(plain)
    if seal is None:
        return plain
    return plain.replace(b"element vertex", f"comment seal {seal}\nelement vertex".encode(), 1)
