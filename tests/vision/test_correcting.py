"""What is left of things that strokes took away goes with them."""

import numpy as np
import pytest

from lapsekit.vision.correcting import _rims


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
