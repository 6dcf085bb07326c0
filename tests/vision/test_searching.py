"""A movement found from points is the one that brought them where they are."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapsekit.vision.searching import similarity


@settings(deadline=None)
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
