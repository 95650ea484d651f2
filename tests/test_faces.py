"""Walks over faces, against the same by sorting, on small meshes torn, twisted and turned."""

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from plumbstone.meshes.faces import contrary, listed, places, repeated, sharing, shells
from plumbstone.meshes.measures.faults import is_closed
from plumbstone.meshes.shapes.primitives import boulder


def strip(rng: np.random.Generator) -> tuple[np.ndarray, int]:
    """A torn sheet, a ring or a ring with a twist, its faces in disorder, some turned or doubled."""
    rows, columns = rng.integers(2, 8, 2)
    place = np.arange(rows * columns).reshape(rows, columns)
    if rng.random() < 0.6:
        place = np.concatenate([place, place[:1, :: rng.choice([-1, 1])]])
    a, b, c, d = (
        p.ravel() for p in (place[:-1, :-1], place[1:, :-1], place[1:, 1:], place[:-1, 1:])
    )
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    faces = faces[rng.random(len(faces)) < rng.choice([1.0, 0.8, 0.5])]
    faces = np.concatenate([faces, faces[rng.integers(0, len(faces), 2)]]) if len(faces) else faces
    turned = rng.random(len(faces)) < rng.choice([0.0, 0.3])
    return rng.permutation(np.where(turned[:, None], faces[:, ::-1], faces)), rows * columns


@pytest.mark.parametrize(
    "seed", [*range(80), *(pytest.param(k, marks=pytest.mark.slow) for k in range(80, 200))]
)
def test_walks_find_what_sorting_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    faces, count = strip(rng)
    edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    _, which, times = np.unique(edges, axis=0, return_inverse=True, return_counts=True)
    assert np.array_equal(sharing(faces, count), times[which.ravel()].reshape(-1, 3))
    links = coo_array((np.ones(len(edges)), edges.T), shape=(count, count))
    label = connected_components(links, directed=False)[1][faces[:, 0]]
    assert np.array_equal(shells(faces, count), np.unique(label, return_inverse=True)[1])
    alike = np.sort(faces, axis=1)
    first = np.unique(alike, axis=0, return_index=True)[1]
    plain = np.array([len(set(row)) == 3 for row in alike.tolist()], dtype=bool)
    kept = np.isin(np.arange(len(faces)), first) & plain
    assert np.array_equal(~repeated(faces, count), kept)
    some = faces[rng.random(len(faces)) < 0.3]
    keys, theirs = (part[:, 0] * count + part[:, 1] for part in (faces, some))
    assert np.array_equal(listed(faces, some, count), np.isin(keys, theirs))
    numbers = rng.integers(0, 2 ** int(rng.integers(1, 62)), 300)
    found = np.unique(numbers, return_index=True, return_inverse=True)[1:]
    assert all(map(np.array_equal, places(numbers.astype(np.uint64)), found))


@pytest.mark.parametrize("share", [0.1, 0.45, 0.8])
def test_turned_faces_of_a_closed_body_are_found(share: float) -> None:
    stone = boulder((0.2, 0.15, 0.1), seed=3, subdivisions=3)
    turned = np.random.default_rng(4).random(len(stone.faces)) < share
    mixed = np.where(turned[:, None], stone.faces[:, ::-1], stone.faces)
    assert is_closed(stone.faces, len(stone.vertices))
    assert not is_closed(mixed, len(stone.vertices))
    fewer = turned if share < 0.5 else ~turned
    assert np.array_equal(contrary(mixed, len(stone.vertices)), fewer)
