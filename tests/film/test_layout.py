"""Panels of a film lie side by side, alike, even, and within its picture."""

from itertools import combinations

import pytest

from lapsekit.film.layout import SHAPES, film_size, panel_boxes


@pytest.mark.parametrize("short", [120, 720, 1081, 2160])
@pytest.mark.parametrize("shape", ["picture", *SHAPES])
def test_both_sides_are_even_and_the_shorter_one_is_what_was_asked_for(shape, short):
    width, height = film_size(shape, short, 4 / 3)
    assert width % 2 == height % 2 == 0
    assert min(width, height) == pytest.approx(short, abs=1)
    assert width / height == pytest.approx(SHAPES.get(shape, 4 / 3), rel=0.02)


@pytest.mark.parametrize("own", [3 / 4, 1.0, 16 / 9])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
@pytest.mark.parametrize("shape", ["picture", *SHAPES])
def test_panels_are_alike_apart_and_fill_much_of_the_picture(shape, count, own):
    size = film_size(shape, 360, own)
    boxes = panel_boxes(count, size, own)
    sides = {(right - left, bottom - top) for left, top, right, bottom in boxes}
    assert len(boxes) == count and len(sides) == 1
    ((width, height),) = sides
    assert width % 2 == height % 2 == 0
    for left, top, right, bottom in boxes:
        assert 0 <= left < right <= size[0] and 0 <= top < bottom <= size[1]
    for one, other in combinations(boxes, 2):
        assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
    assert count == 1 or width / height == pytest.approx(own, rel=0.02)
    assert count * width * height > 0.45 * size[0] * size[1]
