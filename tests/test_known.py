"""Sheets and cards in a picture of a table whose scale is known."""

import io
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFilter

from plumbstone.meshes.measures.rulers import Known
from plumbstone.meshes.reading.known import read_sheet
from plumbstone.meshes.reading.parts import Parsed, Part, ScanError

pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
A4 = Known("sheet", (0.297, 0.210), "A4")  # ISO 216
CARD = Known("sheet", (0.08560, 0.05398), "card")  # ISO/IEC 7810, ID-1
WIDE, PER_MM, UNIT = 0.48, 3, 0.017  # of the table [m]; pixels; size of the file's unit [m]


@cache
def bare_table() -> tuple[np.ndarray, ...]:
    """Places across and down a grained table [m], its greys; corners and faces of its mesh."""
    n = int(WIDE * 1e3 * PER_MM)
    x, y = (np.meshgrid(np.arange(n), np.arange(n)) + np.array(0.5)) / (1e3 * PER_MM)
    grey = 95 + 12 * np.sin(160 * x + 2 * np.sin(33 * y)) + 20 * (y < WIDE / 2)
    steps = np.linspace(0, 1, 61)
    u, v = (grid.ravel() for grid in np.meshgrid(steps, steps, indexing="ij"))
    vertices = np.column_stack([u, v, np.random.default_rng(1).normal(0, 3e-4, len(u))])
    first = np.arange(60 * 61).reshape(60, 61)[:, :-1].ravel()
    faces = np.concatenate([[[k, k + 61, k + 62], [k, k + 62, k + 1]] for k in first])
    return x, y, grey, vertices, faces


def table(
    *things: tuple[tuple[float, float], float, float, int], hole: tuple[float, float] = (0.0, 0.0)
) -> Parsed:
    """A grained table with rectangles: sides [m], a turn [rad], a place across it, a grey.

    Where there is a `hole`, a book of such sides [m] hides the table.
    """
    x, y, bare, vertices, faces = bare_table()
    grey = bare.copy()
    for (long, short), turn, place, light in things:
        reach = int(np.hypot(long, short) / 2 * 1e3 * PER_MM) + 1
        across, down = (int(part * len(x)) for part in (place, 0.55))
        there = np.s_[max(down - reach, 0) : down + reach, max(across - reach, 0) : across + reach]
        aside, below = x[there] - place * WIDE, y[there] - 0.55 * WIDE
        along = np.abs(np.cos(turn) * aside + np.sin(turn) * below) / long
        beside = np.abs(np.cos(turn) * below - np.sin(turn) * aside) / short
        grey[there][(along < 0.5) & (beside < 0.5)] = light
        grey[there][(along < 0.3) & (beside < 0.1)] = light // 2  # what is printed on it
    picture = Image.fromarray(grey.astype(np.uint8))
    held = io.BytesIO()
    picture.filter(ImageFilter.GaussianBlur(1.0)).save(held, "PNG", compress_level=1)
    middle = vertices[faces].mean(axis=1)[:, :2] - [0.6, 0.5]
    hidden = (np.abs(middle * WIDE) < np.array(hole) / 2).all(axis=1)
    faces = faces[~hidden]
    part = Part(vertices * WIDE / UNIT, faces, vertices[faces][:, :, :2], held.getvalue())
    return Parsed((part,))


@pytest.mark.parametrize(
    ("known", "grey"),
    [
        (A4, 40),
        (CARD, 235),
        pytest.param(A4, 235, marks=pytest.mark.slow),
        pytest.param(CARD, 60, marks=pytest.mark.slow),
    ],
)
def test_a_sheet_is_measured_by_its_edges(known: Known, grey: int) -> None:
    found = read_sheet(Path("scan"), table(((*known.sides,), 0.3, 0.5, grey)), known)
    assert found.unit == pytest.approx(UNIT, rel=0.003)


def test_two_cards_agree() -> None:
    cards = (CARD.sides, 0.3, 0.3, 235), (CARD.sides, 1.4, 0.7, 40)
    assert read_sheet(Path("scan"), table(*cards), CARD).unit == pytest.approx(UNIT, rel=0.003)


def test_a_place_that_nobody_saw_is_no_sheet() -> None:
    with pytest.raises(ScanError, match="shows no A4 flat on the table"):
        read_sheet(Path("scan"), table(hole=(0.28, 0.20)), A4)


def test_what_only_looks_like_it_is_told() -> None:
    larger = (0.1284, 0.0810), 1.4, 0.7, 40
    two = table((CARD.sides, 0.3, 0.3, 235), larger)
    with pytest.raises(ScanError, match="several things of the proportions of card"):
        read_sheet(Path("scan"), two, CARD)
    book = table(((0.30, 0.20), 0.3, 0.5, 235))  # its proportions are 6 % off
    with pytest.raises(ScanError, match="shows no A4"):
        read_sheet(Path("scan"), book, A4)
