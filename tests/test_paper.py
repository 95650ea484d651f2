"""A page to draw on: what is free on it, and how large words are, by shapely and Matplotlib."""

import numpy as np
import pytest
import shapely
from matplotlib.text import Text

from plumbstone.cli.pictures.paper import APART, Page, Panel, measure

WIDTH, HEIGHT = 300.0, 200.0  # [points]


def test_a_box_is_free_on_the_page_and_apart_from_all_others() -> None:
    rng = np.random.default_rng(5)
    page = Page.of_size(WIDTH, HEIGHT, 9)
    inner = shapely.box(1, 1, WIDTH - 1, HEIGHT - 1)
    kept: list[shapely.Polygon] = []
    told = set()
    for _ in range(400):
        left, bottom = rng.uniform([-20, -20], [WIDTH, HEIGHT])
        box = left, bottom, left + rng.uniform(5, 60), bottom + rng.uniform(5, 30)
        shape = shapely.box(*box)
        reach = shape.buffer(APART, join_style="mitre")
        free = inner.covers(shape) and not any(
            reach.overlaps(k) or reach.covers(k) or k.covers(reach) for k in kept
        )
        assert page.is_free(box) is free
        told.add(free)
        if free:
            page.keep_free(box)
            kept.append(shape)
    assert told == {True, False}


@pytest.mark.parametrize("words", ["9 cm", "Great stone", "¾ × 2 L", "lp"])
@pytest.mark.parametrize("size", [6.0, 11.0])
def test_words_are_as_large_as_they_are_drawn(words: str, size: float) -> None:
    page = Page.of_size(WIDTH, HEIGHT, size)
    drawn = page.figure.add_artist(Text(0.5, 0.5, words, fontsize=size, fontfamily=["DejaVu Sans"]))
    box = drawn.get_window_extent(page.figure.canvas.get_renderer())  # type: ignore[attr-defined]
    width, height = measure(words, size)  # a page has 72 dots an inch, so a dot is a point
    assert width == pytest.approx(box.width, abs=2)  # one point is air
    assert height >= box.height - 1


def test_words_take_the_first_place_that_is_free() -> None:
    page = Page.of_size(WIDTH, HEIGHT, 9)
    places = [(60.0, 60.0), (60.0, 120.0), (160.0, 60.0)]
    assert [page.write("Great stone", places) for _ in range(3)] == places
    assert page.write("Great stone", places) is None
    assert page.write("Great stone", places, must=True) == places[0]
    assert page.write("out", [(0.0, 0.0)]) is None
    assert page.write("nowhere", [], must=True) is None
    assert len(page.figure.texts) == 4


def test_a_drawing_ends_at_its_frame_below_what_stands_on_the_page() -> None:
    page = Page.of_size(WIDTH, HEIGHT, 9)
    panel = Panel(page, 100, 50, 100, (1.0, 1.0))
    panel.line([-0.5, 1.5], [0.5, 0.5], color="black", linewidth=4)
    page.box((140, 90, 160, 110), facecolor="white")
    page.figure.canvas.draw()
    row = np.asarray(page.figure.canvas.buffer_rgba())[100, :, 0]  # type: ignore[attr-defined]
    assert [row[x] for x in (60, 120, 150, 180, 240)] == [255, 0, 255, 0, 255]
