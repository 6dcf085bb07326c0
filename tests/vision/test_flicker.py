"""The flicker index tells known flicker, and nothing else."""

import numpy as np
import pytest

from lapsekit.vision.flicker import flicker_index


def test_flicker_of_known_size_is_told_within_a_tenth():
    levels = np.exp(np.random.default_rng(1).normal(0, 0.05, 2000))
    assert flicker_index(levels) == pytest.approx(0.05, rel=0.1)


def test_a_slow_change_is_no_flicker():
    day = np.arange(72)
    assert flicker_index(1 + 0.5 * np.sin(2 * np.pi * day / 72)) < 0.005


def test_one_step_and_one_dark_frame_do_not_count():
    levels = np.ones(60)
    levels[30:] = 2
    levels[10] = 0.1
    assert flicker_index(levels) == 0


@pytest.mark.parametrize("levels", [[1, 2], [1, 0, 1], [[1, 2, 3]], [1, np.nan, 2]])
def test_what_is_no_series_of_light_is_refused(levels):
    with pytest.raises(ValueError, match="flicker needs"):
        flicker_index(levels)
