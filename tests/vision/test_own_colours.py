"""A picture's own leaves and ground settle what a model from elsewhere leaves open."""

import numpy as np
import pytest

from lapsekit.errors import PictureError
from lapsekit.vision.own_colours import MOST, with_own_colours

LEAF_COLOUR, GROUND_COLOUR = np.array([96, 120, 70]), np.array([118, 112, 88])


def scene(rng, width_px=200):
    """Blocks of leaf on ground, in colours of which a model is sure in three pixels of four."""
    leaf = np.kron(rng.uniform(size=(20, width_px // 10)) < 0.4, np.ones((10, 10))) > 0
    picture = np.where(leaf[..., None], LEAF_COLOUR, GROUND_COLOUR)
    picture = np.clip(picture + rng.normal(0, 4, picture.shape), 0, 255).astype(np.uint8)
    sure = np.where(leaf, 2.5, -2.5)
    open_to_doubt = np.kron(rng.uniform(size=(20, width_px // 10)) < 0.25, np.ones((10, 10))) > 0
    odds = np.where(open_to_doubt, rng.normal(0, 0.7, leaf.shape), sure).astype(np.float32)
    return picture, leaf, odds, open_to_doubt


def test_pixels_left_open_are_told_by_the_colours_of_the_sure_ones():
    picture, leaf, odds, doubtful = scene(np.random.default_rng(2))
    found = with_own_colours(odds, np.zeros_like(odds), picture) > 0
    before = ((odds > 0) == leaf)[doubtful].mean()
    assert before < 0.6
    assert (found == leaf)[doubtful].mean() > 0.9
    assert (found == leaf)[~doubtful].mean() > 0.999


def test_strips_leave_no_trace():
    """A picture wide enough to be worked through in several strips, and its left part alone."""
    picture, _, odds, _ = scene(np.random.default_rng(4), 8000)
    found = with_own_colours(odds, np.zeros_like(odds), picture)
    turned = with_own_colours(odds[::-1], np.zeros_like(odds), picture[::-1])[::-1]
    assert ((found > 0) == (turned > 0)).mean() > 0.999


def test_too_few_sure_pixels_change_nothing():
    rng = np.random.default_rng(3)
    picture, _, odds, _ = scene(rng)
    odds = np.where(odds > 1, 0.5, odds).astype(np.float32)
    np.testing.assert_array_equal(with_own_colours(odds, odds, picture), np.clip(odds, -MOST, MOST))


def test_a_grey_picture_is_refused():
    odds = np.zeros((40, 40), np.float32)
    odds[:20], odds[20:] = 3, -3
    with pytest.raises(PictureError, match=r"\(40, 40\)"):
        with_own_colours(odds, odds, np.zeros((40, 40), np.uint8))
