"""Agreement of masks is what counting squares by hand gives."""

import numpy as np
import pytest

from lapsekit.vision.overlap import counts, overlap


def squares(left, width, size=10):
    mask = np.zeros((size, size), bool)
    mask[:, left : left + width] = True
    return mask


def test_two_shifted_bands():
    """4 columns against 4, of which 3 are the same: 30 of 50 pixels; 6 of 8 halves."""
    found = overlap([counts(squares(1, 4), squares(2, 4))])
    assert (found.pooled_iou, found.median_iou, found.median_dice) == (0.6, 0.6, 0.75)
    assert (found.area_bias, found.cover_bias, found.cover_error) == (0, 0, 0)


def test_pictures_are_pooled_by_their_pixels_and_the_middle_one_counts():
    rows = [counts(squares(0, n), squares(0, 4)) for n in (2, 4, 8)]
    found = overlap(rows)
    assert found.pictures == 3
    assert found.pooled_iou == pytest.approx((20 + 40 + 40) / (40 + 40 + 80))
    assert (found.median_iou, found.median_dice) == (0.5, pytest.approx(2 / 3, abs=1e-4))
    assert found.area_bias == pytest.approx(140 / 120 - 1, abs=1e-4)
    assert found.cover_bias == pytest.approx((-0.2 + 0 + 0.4) / 3, abs=1e-4)
    assert found.cover_error == pytest.approx((0.2 + 0 + 0.4) / 3, abs=1e-4)


def test_an_empty_picture_found_empty_is_right():
    empty = counts(squares(0, 0), squares(0, 0))
    assert overlap([empty, counts(squares(0, 4), squares(0, 4))]).median_iou == 1
    assert overlap([]) is None
    assert overlap([empty]) is None
