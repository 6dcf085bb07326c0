"""A frame comes to its exact place in the film, sharp, without shimmer, and filled to its edges."""

import cv2
import numpy as np
import pytest

from lapsekit.film.warping import film_to_frame, place, reduction_for, scale_of, uncovered_px
from lapsekit.vision.homographies import project
from lapsekit.vision.pictures import reduced
from tests.vision.benches import movement

SIZE = (320, 180)


def window(scale, left=20.0, top=15.0):
    return np.array([[scale, 0, left], [0, scale, top], [0, 0, 1.0]])


def drawn(place_of, shape=(480, 640), wave_px=40.0):
    """A smooth pattern, known at every point; `place_of` gives where each pixel lies in it."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    at = project(place_of, np.stack([x, y], -1).astype(float))
    wave = 2 * np.pi / wave_px
    values = [np.sin(wave * at[..., 0]), np.sin(wave * at[..., 1]), np.sin(wave * at.sum(-1) / 2)]
    return np.clip(128 + 90 * np.stack(values, -1) + 0.5, 0, 255).astype(np.uint8)


MOVED = movement((480, 640), (6.3, -4.7), 0.9, 1.01)


@pytest.mark.parametrize("quick", [False, True])
@pytest.mark.parametrize("scale", [0.3, 0.5, 0.9, 1.0, 1.4, 1.8])
def test_the_film_shows_what_lies_at_each_place_of_the_reference_view(scale, quick):
    frame = drawn(np.linalg.inv(MOVED))
    found = place(frame, MOVED, window(scale), SIZE, quick=quick)
    true = drawn(window(scale), SIZE[::-1])
    seen = uncovered_px(film_to_frame(MOVED, window(scale)), SIZE, frame.shape[:2]) == 0
    assert seen
    assert np.abs(found.astype(float) - true).max() < (6 if scale < 1.2 else 12)


@pytest.mark.parametrize("by", [2, 4, 8])
def test_a_frame_decoded_smaller_comes_to_the_same_place(by):
    shape = (1440, 2560)
    placement = movement(shape, (11, -9), 0.5)
    frame = drawn(np.linalg.inv(placement), shape, wave_px=400)
    to_reference = window(by * 0.95, 40, 30)
    size = (int(2300 / by), int(1300 / by))
    found = place(reduced(frame, by), placement, to_reference, size, by)
    true = drawn(to_reference, size[::-1], wave_px=400)
    assert np.abs(found.astype(float) - true).max() < 3


@pytest.mark.parametrize(
    ("scale", "by"), [(0.5, 1), (1.9, 1), (2.0, 2), (3.9, 2), (4, 4), (8, 8), (20, 8)]
)
def test_a_frame_is_decoded_as_small_as_loses_nothing(scale, by):
    assert reduction_for(window(scale), SIZE) == by
    assert scale_of(window(scale), SIZE) == pytest.approx(scale)


def contrast(found):
    return float(found[20:-20, 20:-20].std())


def gratings(scale, cycles_a_film_px):
    """Upright bars in a frame of which so many come to a px of the film."""
    x = np.arange(900)
    row = 128 + 100 * np.sin(2 * np.pi * cycles_a_film_px / scale * x)
    return np.repeat(np.repeat(row[None, :, None], 500, 0), 3, 2).astype(np.uint8)


def test_slats_finer_than_the_film_can_show_go_grey_instead_of_shimmering():
    too_fine, plain = gratings(1.9, 0.9), window(1.9)
    ours = contrast(place(too_fine, None, plain, SIZE))
    unsoftened = cv2.warpPerspective(too_fine, plain, SIZE, flags=cv2.INTER_CUBIC | 16)
    assert ours < 0.35 * contrast(unsoftened)


@pytest.mark.parametrize("scale", [0.3, 0.5, 0.6, 1.0])
def test_it_is_twice_as_true_as_linear_interpolation_at_once(scale):
    to_frame = window(scale, 20.3, 15.3)
    frame, true = (drawn(view, wave_px=5.0) for view in (np.eye(3), to_frame))
    linear = cv2.warpPerspective(frame, to_frame, SIZE, flags=cv2.INTER_LINEAR | 16)
    ours = place(frame, None, to_frame, SIZE)
    truth = true[: SIZE[1], : SIZE[0]].astype(float)
    assert (ours - truth).std() < 0.5 * (linear - truth).std()


@pytest.mark.parametrize("scale", [0.5, 1.0, 1.5])
def test_beyond_the_frame_its_edge_is_drawn_out(scale):
    frame = np.full((200, 200, 3), (90, 120, 60), np.uint8)
    beyond = window(scale, -6, -4)
    assert (place(frame, None, beyond, (100, 100)) == (90, 120, 60)).all()
    assert uncovered_px(beyond, (100, 100), (200, 200)) == pytest.approx(5.5 / scale)


def test_the_same_comes_out_on_any_number_of_threads():
    frame = drawn(np.eye(3))
    before = cv2.getNumThreads()
    try:
        cv2.setNumThreads(1)
        one = place(frame, MOVED, window(0.5), SIZE)
        cv2.setNumThreads(3)
        assert np.array_equal(place(frame, MOVED, window(0.5), SIZE), one)
    finally:
        cv2.setNumThreads(before)
