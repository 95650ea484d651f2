"""A solid as a phone scans it: what the demo weighs."""

import numpy as np
import scipy

from plumbstone.meshes.mending.solids import together
from plumbstone.meshes.mending.welding import compacted
from plumbstone.meshes.piece import Floats, Indices, Piece

LOW, OVERHANG, DOWN = 0.003, 0.15, -0.5  # hidden: what lies below that height [m], and what looks
# down more than that below that share of its height
HOLES, HOLE = 3, (0.02, 0.05)  # in the skin: how many, and their radii over the size
WAVES, ROUGH = 0.0006, 0.0004  # noise over centimetres and from point to point [m]
TABLE, GAP = 0.9, 0.006  # half side of the table in view over the size; its gap to the foot [m]


def as_scanned(piece: Piece, seed: int) -> tuple[Floats, Indices]:
    """Scan a standing solid: a table around it, noise, holes, its underside unseen.

    The piece is star-shaped, on z = 0; the same seed gives the same scan: corners (n, 3) [m] that
    lie anywhere, a quarter turn about z off, and faces (m, 3).
    """
    rng = np.random.default_rng(seed)
    vertices, faces = piece.vertices, piece.faces
    size = float(np.ptp(vertices, axis=0).max())
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    middle, ways = (a + b + c) / 3, np.cross(b - a, c - a)
    down = ways[:, 2] < DOWN * np.linalg.norm(ways, axis=1)
    hidden = (middle[:, 2] < LOW) | (down & (middle[:, 2] < OVERHANG * vertices[:, 2].max()))
    for spot in middle[rng.integers(len(middle), size=HOLES)]:
        hidden |= np.linalg.norm(middle - spot, axis=1) < rng.uniform(*HOLE) * size
    out = vertices - vertices.mean(axis=0)
    out /= np.linalg.norm(out, axis=1)[:, None]
    ways, phases = rng.normal(size=(3, 12)) / 0.012, rng.uniform(0, 2 * np.pi, 12)
    off = WAVES * np.sin(vertices @ ways + phases).sum(axis=1) / np.sqrt(6)
    rough = vertices + out * (off + rng.normal(0, ROUGH, len(vertices)))[:, None]
    seen, skin = compacted(rough, faces[~hidden])
    points, faces = together([(seen, skin), _table(vertices, size, rng)])
    points = points[:, [1, 0, 2]] * [1.0, -1.0, 1.0]
    return points + rng.uniform(-0.2, 0.2, 3), faces


def _table(vertices: Floats, size: float, rng: np.random.Generator) -> tuple[Floats, Indices]:
    """Make a rough flat patch around the foot."""
    half, count = TABLE * size, 80
    x, y = np.meshgrid(*2 * [np.linspace(-half, half, count)])
    points = np.column_stack([x.ravel(), y.ravel(), rng.normal(0, ROUGH, count**2)])
    k = np.arange(count**2).reshape(count, count)
    a, b, c, d = (part.ravel() for part in (k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]))
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    apart = scipy.spatial.cKDTree(vertices[:, :2]).query(points[faces].mean(axis=1)[:, :2])[0]
    return compacted(points, faces[apart > GAP])
