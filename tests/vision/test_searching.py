"""A movement found from points is the one that brought them where they are."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.vision.searching import Searcher, similarity
from tests.vision.benches import bench, movement, worst_px


@given(
    turn_deg=st.floats(-180, 180),
    scale=st.floats(0.5, 2),
    shift=st.tuples(st.floats(-200, 200), st.floats(-200, 200)),
    seed=st.integers(0, 1000),
)
def test_points_that_were_moved_give_the_movement_back(turn_deg, scale, shift, seed):
    here = np.random.default_rng(seed).uniform(0, 900, (12, 2))
    along, across = scale * np.cos(np.deg2rad(turn_deg)), scale * np.sin(np.deg2rad(turn_deg))
    true = np.array([[along, -across, shift[0]], [across, along, shift[1]], [0, 0, 1]])
    there = here @ true[:2, :2].T + shift
    assert similarity(here, there) == pytest.approx(true, abs=1e-9)


def test_among_points_with_noise_no_other_movement_lies_nearer():
    """As far as OpenCV's own search for the least squares comes, and not behind it."""
    random = np.random.default_rng(3)
    here = random.uniform(0, 900, (60, 2))
    there = here @ [[1.01, 0.05], [-0.05, 1.01]] + [5, 7] + random.normal(0, 0.5, (60, 2))
    theirs, _ = cv2.estimateAffinePartial2D(here, there, ransacReprojThreshold=50.0)

    def squares(matrix):
        return np.square(here @ matrix[:2, :2].T + matrix[:2, 2] - there).sum()

    ours = squares(similarity(here, there))
    assert ours <= squares(theirs) + 1e-9
    assert ours == pytest.approx(squares(theirs), rel=1e-6)


def turned(flat, shift, turn_deg):
    """A bench as it is and moved, and how."""
    luma = cv2.convertScaleAbs(flat, alpha=500)
    matrix = movement(luma.shape, shift, turn_deg, 1.02)
    return luma, cv2.warpPerspective(luma, matrix, luma.shape[::-1], borderValue=90), matrix


def test_a_bench_that_was_moved_far_is_found_at_a_quarter_of_its_size():
    luma, moved, true = turned(bench((720, 960), boards=False), (55, -40), 20)
    first = next(Searcher(luma, np.ones(luma.shape, bool)).movements(moved))
    assert worst_px(first, true, luma.shape) < 8


def test_what_is_too_fine_for_a_quarter_of_the_size_is_found_at_half_of_it():
    grain = np.random.default_rng(4).normal(0, 1, (260, 340)).astype(np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 1.2)
    luma, moved, true = turned(0.25 + 0.08 * grain / grain.std(), (9, -7), 12)
    found = list(Searcher(luma, np.ones(luma.shape, bool)).movements(moved))
    assert len(found) == 1
    assert worst_px(found[0], true, luma.shape) < 8
