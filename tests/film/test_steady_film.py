"""A drawn bench filmed by a camera that sags, jitters and is knocked stands still in the film."""

import cv2
import numpy as np
import pytest

from lapsekit.film.framing import framed
from lapsekit.film.warping import place
from lapsekit.vision.homographies import corners_of, homography, project
from lapsekit.vision.knocks import knocks
from lapsekit.vision.steadying import steadied
from tests.vision.benches import bench, developed, movement

SHAPE, SIZE = (360, 480), (640, 360)
ROOM = np.array([[1, 0, 120], [0, 1, 90], [0, 0, 1.0]])
"""From px of the reference view to px of the drawn world around it."""
DAYS = 12


def world():
    light = np.repeat(bench((540, 720), seed=4, boards=False)[..., None], 3, 2)
    return developed(1.6 * light * [1.0, 0.9, 0.75], blur=1.2)


def seen(picture, to_world, size):
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return cv2.warpPerspective(picture, to_world, size, flags=flags)


def filmed(knock):
    """Frames of the drawn world, three a day, and their placements as registration would tell."""
    rng, drawn, frames, told = np.random.default_rng(2), world(), [], []
    for k in range(3 * DAYS):
        shift = np.array([0.3 * (k % 3), 0.03 * k])
        true = movement(SHAPE, shift) if k < 18 else movement(SHAPE, shift + knock[0], knock[1])
        frames.append(seen(drawn, ROOM @ np.linalg.inv(true), SHAPE[::-1]))
        corners = corners_of(SHAPE)
        told.append(homography(corners, project(true, corners) + rng.normal(0, 0.15, (4, 2))))
    return drawn, frames, told


def film(knock, beats=4):
    """Each picture of the film beside what a perfect camera would show through its window."""
    drawn, frames, told = filmed(knock)
    at = [day + hour / 24 for day in range(DAYS) for hour in (9, 12, 15)]
    found = knocks(told, SHAPE)
    calm = steadied(told, [0.2] * len(told), at, found, SHAPE)
    framing = framed(calm, SHAPE, SIZE, found)
    shown = [(k,) for k in range(len(frames)) for _ in range(beats)]
    for (k,), (window,) in zip(shown, framing.windows(shown, 24), strict=True):
        true = seen(drawn, ROOM @ window.matrix, SIZE)
        yield place(frames[k], calm[k], window.matrix, SIZE), true, window


def shift_between(picture, true):
    """How far two pictures lie apart, in px, by phase correlation."""
    grey = [cv2.cvtColor(p, cv2.COLOR_RGB2GRAY).astype(np.float32) for p in (picture, true)]
    return np.hypot(*cv2.phaseCorrelate(*grey, cv2.createHanningWindow(SIZE, cv2.CV_32F))[0])


@pytest.mark.parametrize("knock", [((7, -4), 0.6), ((70, 30), 2.0)], ids=["small", "large"])
def test_every_picture_shows_its_window_as_a_camera_that_never_moved_would(knock):
    off, unlike, windows = [], [], []
    for picture, true, window in film(knock):
        off.append(shift_between(picture, true))
        inner = np.s_[8:-8, 8:-8]
        unlike.append(np.abs(picture[inner].astype(float) - true[inner]).mean())
        windows.append(window)
    assert np.sqrt(np.mean(np.square(off))) < 0.15
    assert max(off) < 0.4
    assert max(unlike) < 6
    assert (len(set(windows)) == 1) == (knock[0] == (7, -4))
