"""The printed tag in the frames has the stated size and lies where camera.csv says."""

import functools

import cv2
import numpy as np
import pytest

from lapsekit.vision.markers import find_tags
from tests.sample.conftest import SAMPLE, rows_of

EVERY = 9


@functools.cache
def lumas():
    """Every ninth usable frame, with the row of camera.csv."""
    state = {r["taken_at"]: r for r in rows_of("truth", "frames.csv")}
    rows = [r for r in rows_of("truth", "camera.csv") if state[r["taken_at"]]["state"] == "usable"]
    return [
        (row, cv2.imread(str(SAMPLE / state[row["taken_at"]]["path"]), cv2.IMREAD_GRAYSCALE))
        for row in rows[::EVERY]
    ]


@pytest.fixture(scope="module")
def corners(render):
    """True corners of the black square in the reference view, in px, clockwise."""
    layout = render.layout
    return layout.View().project(layout.tag_corners())[0] - 0.5  # pixel centres at whole numbers


def from_reference(row):
    return np.array([float(row[f"m{r}{c}"]) for r in range(3) for c in range(3)]).reshape(3, 3)


def side_px(corners):
    return np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean()


def test_plain_opencv_reads_the_scale_within_one_percent(corners):
    """Sub-pixel corners of its detector; in the median over sun, shade and knock."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(tags, settings)
    ratios = []
    for _, luma in lumas():
        found, numbers, _ = detector.detectMarkers(luma)
        assert numbers is not None and len(numbers) == 1
        ratios.append(side_px(found[0][0]) / side_px(corners))
    assert abs(np.median(ratios) - 1) < 0.01
    assert np.mean(np.abs(np.array(ratios) - 1) < 0.01) > 0.9


def test_true_registration_carries_the_tag_to_where_it_is_seen(corners):
    """Within 0.3 px at every corner: edges fitted, so that shadow and tone curve do not pull."""
    for row, luma in lumas():
        (tag,) = find_tags(luma)
        expected = cv2.perspectiveTransform(corners[None], from_reference(row))[0]
        off = np.linalg.norm(tag.corners_px - expected, axis=1)
        assert off.max() < 0.3, (row["taken_at"], off)
