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


@pytest.mark.parametrize("name", indices.INDICES)
def test_masks_find_a_leaf_on_soil(name):
    """Every index returns exactly the green square of a two-coloured scene."""
    scene = np.full((40, 40, 3), (110, 90, 70), np.uint8)
    truth = np.zeros((40, 40), bool)
    truth[10:20, 5:30] = True
    scene[truth] = (60, 130, 50)
    mask = indices.INDICES[name].mask(scene)
    assert mask.dtype == bool
    np.testing.assert_array_equal(mask, truth)


@pytest.mark.parametrize("name", indices.INDICES)
def test_indices_survive_black_white_and_pure_colours(name):
    """No picture of extremes makes an index infinite."""
    corners = np.array(np.meshgrid([0, 255], [0, 255], [0, 255])).T.reshape(1, -1, 3)
    plane = indices.INDICES[name].compute(corners.astype(np.uint8))
    assert np.isfinite(plane).all()


def test_one_colour_has_no_canopy_by_otsu():
    """Where nothing differs there is nothing to split."""
    assert not indices.INDICES["exg"].mask(np.full((8, 8, 3), 120, np.uint8)).any()


@pytest.mark.parametrize(
    ("name", "colour", "expected"),
    [
        ("gli", (50, 100, 50), 100 / 300),
        ("vari", (50, 100, 60), 50 / 90),
        ("ndi", (50, 100, 0), 50 / 150),
        ("mexg", (10, 20, 30), 1.262 * 20 - 0.884 * 10 - 0.311 * 30),
        ("veg", (99, 99, 99), 0.0),
        ("veg", (0, 99, 0), np.log(100)),
        ("lab_a", (128, 128, 128), 0.0),
    ],
)
def test_other_indices_by_hand(name, colour, expected):
    """One colour of each index, worked out by hand from its publication."""
    assert indices.INDICES[name].compute(one(*colour))[0, 0] == pytest.approx(expected, abs=2e-2)


def test_com_adds_its_four_parts():
    """COM of grey: ExG 0, ExGR -2/15, CIVE's constant and its coefficients over 3, VEG 1."""
    grey = (0.441 - 0.811 + 0.385) / 3 + 18.78745
    expected = 0.30 * -2 / 15 + 0.33 * grey + 0.12
    assert indices.combined(one(90, 90, 90))[0, 0] == pytest.approx(expected, abs=1e-4)


def test_indices_refuse_grey_pictures():
    """A picture without colour is refused by every index."""
    for index in indices.INDICES.values():
        with pytest.raises(PictureError):
            index.compute(np.zeros((4, 4), np.uint8))
