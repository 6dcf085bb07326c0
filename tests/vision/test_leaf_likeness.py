"""What colours are taken for leaf's or for ground's, by a picture's own sure pixels."""

import numpy as np
import pytest

from lapsekit.vision.leaf_likeness import LEAST_PX, RARE, LeafLikeness

GREEN, BROWN, BLUE = (60, 140, 50), (110, 80, 60), (40, 60, 200)


def halves(leaf_rows=50):
    """Green above, brown below, one blue pixel that is neither; which is surely leaf or ground."""
    picture = np.full((100, 80, 3), BROWN, np.uint8)
    picture[:50] = GREEN
    leaf, ground = np.zeros((100, 80), np.float32), np.zeros((100, 80), np.float32)
    leaf[:leaf_rows], ground[50:] = 1, 1
    picture[10, 10], leaf[10, 10] = BLUE, 0
    return picture, leaf, ground


def test_leafs_colours_are_above_nought_and_grounds_below_and_others_between():
    found = LeafLikeness(*halves())
    like = found.like()
    assert like[20, 20] > 8
    assert like[80, 20] < -8
    assert like[10, 10] == 0
    rare, frequent = found.common(np.array([10 * 80 + 10, 20 * 80 + 20]))
    assert rare == pytest.approx(np.log(RARE))
    assert frequent > rare + 8


def test_how_much_more_often_is_the_logarithm_of_two_shares():
    """Half of the leaf and a tenth of the ground have one colour."""
    picture = np.full((100, 80, 3), GREEN, np.uint8)
    leaf, ground = np.zeros((100, 80), np.float32), np.zeros((100, 80), np.float32)
    leaf[:50], ground[50:] = 1, 1
    picture[:25], picture[50:95] = BLUE, BROWN
    like = LeafLikeness(picture, leaf, ground).like()
    assert like[40, 40] == pytest.approx(np.log(5), abs=1e-3)
    assert np.ptp(like[25:50]) == 0


def test_neighbouring_colours_are_alike_and_lightness_carries_further():
    picture, leaf, ground = halves()
    picture[0, 0], leaf[0, 0] = (70, 162, 58), 0  # a sixth lighter
    picture[0, 1], leaf[0, 1] = (70, 140, 43), 0  # as far off, but redder and less blue
    like = LeafLikeness(picture, leaf, ground).like()
    assert like[20, 20] > like[0, 0] > like[0, 1] > 0


def test_few_sure_pixels_say_little():
    few, many = LeafLikeness(*halves(1)).like(), LeafLikeness(*halves()).like()
    assert many[20, 20] - few[20, 20] == pytest.approx(
        np.log(3999 / (3999 + LEAST_PX) * (80 + LEAST_PX) / 80), abs=1e-3
    )
    assert few[80, 20] == many[80, 20]


def test_without_sure_pixels_nothing_is_like_anything():
    picture, leaf, _ = halves()
    found = LeafLikeness(picture, 0 * leaf, 0 * leaf)
    assert not found.like().any()
    assert found.common(np.arange(8000)) == pytest.approx(np.log(RARE))
