"""The published indices hold to their publications."""

import numpy as np
import pytest

from lapsekit.errors import PictureError
from lapsekit.vision import indices


def one(red, green, blue):
    return np.array([[[red, green, blue]]], np.uint8)


@pytest.mark.parametrize(
    ("colour", "exg", "exgr"),
    [
        ((0, 255, 0), 2.0, 3.0),
        ((255, 0, 0), -1.0, -2.4),
        ((0, 0, 255), -1.0, -1.0),
        ((90, 90, 90), 0.0, -2 / 15),
        ((0, 0, 0), 0.0, -2 / 15),
        ((50, 100, 50), 0.5, 0.65),
    ],
)
def test_known_colours(colour, exg, exgr):
    """Pure, grey, black and leaf colours give the values worked out by hand."""
    assert indices.excess_green(one(*colour))[0, 0] == pytest.approx(exg, abs=1e-5)
    assert indices.excess_green_minus_red(one(*colour))[0, 0] == pytest.approx(exgr, abs=1e-5)


def test_cive_keeps_kataokas_coefficients():
    """Each channel alone shows its published coefficient, 0.811 (not 0.881) for green."""
    assert indices.cive(one(0, 0, 0))[0, 0] == pytest.approx(18.78745, abs=1e-4)
    for channel, coefficient in enumerate((0.441, -0.811, 0.385)):
        colour = [0, 0, 0]
        colour[channel] = 100
        found = (indices.cive(one(*colour))[0, 0] - 18.78745) / 100
        assert found == pytest.approx(coefficient, abs=1e-5)


def test_excess_green_ignores_brightness():
    """Half the light leaves the index where it was."""
    bright, dim = one(80, 160, 60), one(40, 80, 30)
    assert indices.excess_green(bright) == pytest.approx(indices.excess_green(dim), abs=1e-6)


def test_masks_find_a_leaf_on_soil():
    """Both masks return exactly the green square of a two-coloured scene."""
    scene = np.full((40, 40, 3), (110, 90, 70), np.uint8)
    truth = np.zeros((40, 40), bool)
    truth[10:20, 5:30] = True
    scene[truth] = (60, 130, 50)
    for mask in (indices.excess_green_mask, indices.excess_green_minus_red_mask):
        assert mask(scene).dtype == bool
        np.testing.assert_array_equal(mask(scene), truth)


def test_one_colour_has_no_canopy_by_otsu():
    """Where nothing differs there is nothing to split."""
    assert not indices.excess_green_mask(np.full((8, 8, 3), 120, np.uint8)).any()


@pytest.mark.parametrize(
    "wrong", [np.zeros((4, 4), np.uint8), np.zeros((4, 4, 3)), np.zeros((0, 4, 3), np.uint8)]
)
def test_other_arrays_are_refused(wrong):
    """Grey, floating-point and empty arrays are refused with what to do."""
    with pytest.raises(PictureError, match="8-bit RGB"):
        indices.excess_green(wrong)
