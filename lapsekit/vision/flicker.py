"""How much a film flickers: one number for a series of brightness levels.

A true change of light over weeks bends a series little from one picture to the next; flicker bends
it at every picture. The second difference sees the bend alone, its median the usual one, so that a
single dark frame or a step does not count as flicker.
"""

import numpy as np

from lapsekit.vision.robust import MAD_TO_SIGMA

_SECOND_DIFFERENCE = 6**0.5  # of independent errors, by how much it scatters more than they do


def flicker_index(levels: np.ndarray) -> float:
    """Standard deviation of ln luminance from picture to picture, free of slow change.

    1.4826 · MAD(second difference of ln level) / √6: 0.05 means that pictures are usually 5 % too
    bright or too dark.

    Parameters
    ----------
    levels : array_like of float, shape (n,)
        Mean linear luminance of the same static surroundings in pictures that follow each other;
        at least three, all above 0.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If there are fewer than three levels, or one is not above 0.
    """
    known = np.asarray(levels, float)
    if known.ndim != 1 or len(known) < 3:
        raise ValueError(f"flicker needs a series of three levels or more, got {known.shape}")
    if not (known > 0).all():
        raise ValueError("flicker needs levels above 0: leave pictures without light out")
    bends = np.diff(np.log(known), 2)
    return float(MAD_TO_SIGMA * np.median(np.abs(bends - np.median(bends))) / _SECOND_DIFFERENCE)
