"""Printed tags are read in their true size, whatever the camera makes of their edges."""

import cv2
import numpy as np
import pytest

from lapsekit.vision.homographies import homography, project
from lapsekit.vision.markers import find_tags
from tests.vision.benches import bench, developed, pictured, printed_tag

SHAPE = (300, 400)
SEEN = np.array([[90.3, 60.7], [215.4, 72.1], [208.9, 193.2], [84.6, 186.5]])


def tag_light(paper, corners, seen=SEEN):
    return 0.02 + 0.6 * pictured(paper, homography(corners, seen), SHAPE, 1.0)


def size_error(corners):
    """Error of the square's mean side."""

    def side(square):
        return np.linalg.norm(square - np.roll(square, 1, 0), axis=1).mean()

    return side(corners) / side(SEEN) - 1  # fmt: skip


TONES = {
    "linear": lambda x: x,
    "film": lambda x: x * (1 + x / 7) / (1 + 0.93 * x),
    "steep": lambda x: np.clip(1.6 * x, 0, 1) ** 0.8,
    "flat": lambda x: x**0.6,
}


@pytest.mark.parametrize("tone", TONES)
@pytest.mark.parametrize("sharpen", [0.0, 0.6])
def test_no_tone_curve_and_no_sharpening_changes_the_size_that_is_read(tone, sharpen):
    picture = developed(tag_light(*printed_tag()), TONES[tone], sharpen=sharpen, noise=1.5)
    (tag,) = find_tags(picture, "4X4_50")
    assert tag.number == 7
    assert abs(size_error(tag.corners_px)) < 0.001
    assert np.linalg.norm(tag.corners_px - SEEN, axis=1).max() < 0.1


def test_corners_alone_would_read_the_same_picture_too_small():
    picture = developed(tag_light(*printed_tag()), TONES["flat"], noise=1.5)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    marks = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, _, _ = cv2.aruco.ArucoDetector(marks, settings).detectMarkers(picture)
    assert size_error(corners[0][0]) < -0.002


def test_ink_that_spreads_does_not_change_the_size_that_is_read():
    paper, corners = printed_tag()
    spread = cv2.erode(paper, np.ones((5, 5)))  # two of a cell's forty steps on every side
    (tag,) = find_tags(developed(tag_light(spread, corners)), "4X4_50")
    assert abs(size_error(tag.corners_px)) < 0.002


def test_a_shadow_across_the_tag_does_not_bend_it():
    light = tag_light(*printed_tag())
    cv2.fillPoly(shade := np.ones(SHAPE, np.float32), [np.array([[0, 0], [170, 0], [120, 299],
                 [0, 299]])], 0.3)  # fmt: skip
    (tag,) = find_tags(developed(light * shade), "4X4_50")
    assert np.linalg.norm(tag.corners_px - SEEN, axis=1).max() < 0.15


def test_a_tag_whose_side_is_covered_a_little_is_left_out_not_read_too_small():
    paper, corners = printed_tag()
    picture = developed(tag_light(paper, corners))
    to_picture = homography(corners, SEEN)
    low = corners[2, 1]
    sheet = np.array([[0, low - 9], [400, low - 9], [400, low + 80], [0, low + 80]])
    cv2.fillPoly(picture, [np.round(project(to_picture, sheet)).astype(np.int32)], 200)
    assert find_tags(picture, "4X4_50") == ()


@pytest.mark.parametrize("seed", range(3))
def test_a_bench_without_a_tag_has_none(seed):
    assert find_tags(developed(bench(seed=seed))) == ()


@pytest.mark.parametrize(("name", "number"), [("5X5_100", 3), ("6X6_250", 41)])
def test_the_common_sets_are_found_without_being_named(name, number):
    picture = developed(tag_light(*printed_tag(number, name)))
    (tag,) = find_tags(picture)
    assert (tag.dictionary, tag.number) == (name, number)
    assert abs(size_error(tag.corners_px)) < 0.001


def test_the_stated_error_of_a_corner_is_not_smaller_than_what_grain_does_to_it():
    light = tag_light(*printed_tag())
    tags = [find_tags(developed(light, noise=3, seed=s), "4X4_50")[0] for s in range(12)]
    spread = np.std([tag.corners_px for tag in tags], axis=0).mean()
    assert spread < np.mean([tag.corner_error_px for tag in tags]) < 20 * spread
