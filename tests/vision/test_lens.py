"""The lens is found from chessboards, or the photographs are refused for a plain reason."""

import cv2
import numpy as np
import pytest

from lapsekit.errors import PictureError
from lapsekit.vision.lens import Lens, calibrate_lens, find_chessboard

SHAPE, INNER = (720, 960), (9, 6)
LENS = Lens(SHAPE, 900.0, (490.0, 350.0), (-0.22, 0.04))


def boards(count=12, tilt=0.5, reach=(3.5, 2.5), noise=0.1, far=10, lens=LENS):
    rng = np.random.default_rng(0)
    flat = np.zeros((54, 3))
    flat[:, :2] = np.mgrid[:9, :6].T.reshape(-1, 2) - [4, 2.5]
    found = []
    for _ in range(count):
        turn = cv2.Rodrigues(rng.uniform(-tilt, tilt, 3))[0]
        place = [*(rng.uniform(-1, 1, 2) * reach), rng.uniform(far, 1.3 * far)]
        seen = flat @ turn.T + place
        ideal = seen[:, :2] / seen[:, 2:] * lens.focal_px + lens.centre_px
        found.append(lens.distorted(ideal) + rng.normal(0, noise, (54, 2)))
    return found


def test_the_lens_is_found_and_straightens_the_picture():
    found = calibrate_lens(boards(), INNER, SHAPE)
    points = np.random.default_rng(1).uniform([0, 0], [959, 719], (100, 2))
    off = np.linalg.norm(found.undistorted(points) - LENS.undistorted(points), axis=1)
    bent = np.linalg.norm(points - LENS.undistorted(points), axis=1)
    assert np.median(bent) > 5
    assert off.max() < 0.4
    assert found.error_px < 0.2


def test_bending_and_straightening_are_each_other_s_way_back():
    points = np.random.default_rng(1).uniform([0, 0], [959, 719], (100, 2))
    assert LENS.distorted(LENS.undistorted(points)) == pytest.approx(points, abs=1e-4)


def test_the_stretch_of_areas_is_that_of_small_squares():
    point = np.array([[120.0, 80.0]])
    square = point + np.array([[-5, -5], [5, -5], [5, 5], [-5, 5.0]])
    x, y = LENS.undistorted(square).T
    area = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
    assert LENS.stretch(point)[0] == pytest.approx(area / 100, rel=1e-3)
    assert LENS.stretch(np.array([LENS.centre_px]))[0] == pytest.approx(1, abs=1e-4)


def test_a_drawn_chessboard_is_found_to_a_fraction_of_a_pixel():
    squares = np.kron(np.indices((7, 10)).sum(0) % 2, np.ones((40, 40))) * 200 + 20
    picture = np.full((480, 640), 220, np.uint8)
    picture[100:380, 120:520] = squares
    corners = find_chessboard(cv2.GaussianBlur(picture, (0, 0), 1), INNER)
    assert corners.min(0) == pytest.approx([159.5, 139.5], abs=0.1)
    assert corners.max(0) == pytest.approx([479.5, 339.5], abs=0.1)
    assert find_chessboard(np.full((480, 640), 90, np.uint8), INNER) is None


@pytest.mark.parametrize(
    ("seen", "says"),
    [
        ([*boards(3), None], "found in 3 of 4 photographs"),
        (boards(reach=(0.5, 0.5), far=30), "of the picture only"),
        (boards(tilt=0.02), "tilt the board"),
        (boards(noise=3), "miss their places by"),
    ],
)
def test_photographs_that_cannot_tell_the_lens_are_refused(seen, says):
    with pytest.raises(PictureError, match=says):
        calibrate_lens(seen, INNER, SHAPE)
