"""A region's pixels are those whose centres lie inside its outline."""

import numpy as np
import pytest

from lapsekit.vision.regions import outside, region_canopy, region_mask
from tests.scenes import disc_px


def test_a_rectangle_holds_the_pixels_whose_centres_it_holds():
    mask = region_mask((10, 20), [(2.5, 1.5), (7.5, 1.5), (7.5, 4.5), (2.5, 4.5)])
    assert mask.sum() == 5 * 3
    assert mask[2:5, 3:8].all()


def test_without_points_a_region_is_the_whole_picture():
    assert region_mask((10, 20), None).all()


def test_neighbours_that_share_an_edge_share_no_pixel():
    left = region_mask((9, 9), [(-0.5, -0.5), (4.5, -0.5), (4.5, 8.5), (-0.5, 8.5)])
    right = region_mask((9, 9), [(4.5, -0.5), (8.5, -0.5), (8.5, 8.5), (4.5, 8.5)])
    assert not (left & right).any()
    assert (left | right).all()


def test_a_concave_outline_leaves_its_notch_out():
    mask = region_mask((20, 20), [(0, 0), (19, 0), (19, 19), (10, 5), (0, 19)])
    assert not mask[15, 10]
    assert mask[2, 10]


def test_canopy_is_counted_inside_the_region_only():
    y, x = np.mgrid[:60, :80]
    canopy = (x - 40) ** 2 + (y - 30) ** 2 <= 20**2
    cover = canopy * np.uint8(255)
    whole = region_canopy(cover, region_mask((60, 80), None), np.full((60, 80), 0.01))
    assert whole.canopy_px == disc_px(20)
    assert whole.area_cm2 == pytest.approx(np.pi * 4, rel=0.01)
    half = region_canopy(cover, x >= 40, np.full((60, 80), 0.01))
    assert half.canopy_px == (canopy & (x >= 40)).sum()
    assert half.cover == pytest.approx(half.canopy_px / (60 * 40))


def test_a_pixel_that_is_half_leaf_counts_by_half():
    cover = np.full((10, 10), 128, np.uint8)
    found = region_canopy(cover, np.ones((10, 10), bool), np.full((10, 10), 2.0))
    assert found.cover == pytest.approx(0.5, abs=0.005)
    assert found.area_cm2 == pytest.approx(100, rel=0.01)


def test_without_a_scale_there_is_no_area():
    mask = np.ones((4, 4), bool)
    assert region_canopy(mask * np.uint8(255), mask, None).area_cm2 is None


def test_the_point_that_lies_outside_is_named():
    assert outside((240, 320), [(0, 0), (320, 240), (10, 240)]) is None
    assert outside((240, 320), [(0, 0), (321, 5), (5, 5)]) == (2, (321, 5))
    assert outside((240, 320), [(0, 0), (5, 5), (5, -1)]) == (3, (5, -1))
    assert outside((240, 320), None) is None
