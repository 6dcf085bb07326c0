"""Specks go from a mask and pinholes are closed."""

import numpy as np

from lapsekit.vision.cleaning import SPECK_PX, clean


def test_cleaning_removes_specks_and_closes_pinholes():
    """Patches and holes below the limit go, those at the limit stay, the rest is untouched."""
    mask = np.zeros((40, 40), bool)
    mask[5:25, 5:25] = True
    wanted = mask.copy()
    mask[10, 10:13] = False
    mask[30, 30:33] = True
    mask[32:36, 5:9] = wanted[32:36, 5:9] = True
    assert SPECK_PX == 16
    np.testing.assert_array_equal(clean(mask), wanted)
    for value in (False, True):
        assert (clean(np.full((9, 9), value)) == value).all()
