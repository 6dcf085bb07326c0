"""What is left of things that strokes took away goes with them."""

import numpy as np
import pytest

from lapsekit.vision.correcting import _rims, judged


@pytest.mark.parametrize(("spoken", "stays"), [(-0.5, False), (0.5, True)])
def test_a_sliver_along_what_strokes_took_away_goes_if_they_speak_against_it(spoken, stays):
    lost, kept = np.zeros((60, 60), bool), np.zeros((60, 60), bool)
    lost[20:24, 10:50] = True
    kept[24:28, 10:50] = True  # along it: as much is kept as is lost
    kept[40:55, 10:50] = True  # a leaf of its own
    corrections = np.where(kept, np.float32(spoken), np.float32(-5))
    found = _rims(lost, kept, corrections)
    assert found[26, 30] != stays
    assert not found[40:].any()


class Told:
    """Strokes that say one thing of each pixel."""

    def __init__(self, corrections):
        self._corrections = np.float32(corrections)

    def corrections(self, picture):
        return self._corrections


def scene():
    """A thing of 10 x 40 px with a rim of 3 px around it that the model takes for leaf as well."""
    odds, corrections = np.full((60, 60), -6, np.float32), np.zeros((60, 60), np.float32)
    odds[17:33, 7:53] = 2
    corrections[20:30, 10:50] = -6
    return np.zeros((60, 60, 3), np.uint8), odds, corrections


def test_the_rim_of_a_thing_that_strokes_took_away_goes_with_it():
    """Its mixed colours, of which strokes say nothing, are in no mask and told apart."""
    picture, odds, corrections = scene()
    mask, told, rims = judged(picture, odds, Told(corrections))
    assert not mask[17:33, 15:45].any()
    assert rims[18, 30] and (told > 0)[18, 30]


def test_a_lone_pixel_that_is_lost_makes_no_rim():
    """Where a leaf loses single pixels of soil's colours, what is around them stays."""
    picture, odds, corrections = scene()
    corrections[:] = 0
    corrections[18:32:4, 8:52:4] = -6
    mask, _, rims = judged(picture, odds, Told(corrections))
    assert not rims.any()
    assert mask.sum() == 16 * 46 - (corrections < 0).sum()


def test_without_strokes_the_mask_is_what_the_model_says():
    picture, odds, _ = scene()
    mask, told, rims = judged(picture, odds, None)
    assert rims is None and told is odds and mask.sum() == 16 * 46
