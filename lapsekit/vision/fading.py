"""How much canopy hangs on how strong a picture's colours are.

A network states how likely it is to be wrong among pictures like those that it learned from; of
others it says too little. What tells them apart is how its word bears a change that alters no leaf
(test-time augmentation; Wang et al. 2019, Neurocomputing 338: 34-45): with all colours a fifth
fainter, canopy like that of its training loses a hundredth, and narrow grey leaves on grey soil
lose a third. Errors of area go with what is lost, in rendered plants and in photographs alike
(``tests/fit_doubt.py``); enlarging, darkening, blurring and sharpening tell less.
"""

import cv2
import numpy as np

FAINTER = 0.2
"""Share of the way from each pixel's colour to its grey."""

_TO_GREY = (1 - FAINTER) * np.eye(3, dtype=np.float32) + np.float32(FAINTER / 3)


def fainter(picture: np.ndarray) -> np.ndarray:
    """A picture with all colours fainter by `FAINTER`, as light as it was.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.

    Returns
    -------
    (H, W, 3) uint8 ndarray
    """
    return cv2.transform(picture, _TO_GREY)


def faded_share(plain: np.ndarray, faint: np.ndarray) -> float:
    """How much of canopy, as a share, comes or goes where colours are fainter.

    Parameters
    ----------
    plain, faint : ndarray of float
        Shares of canopy in the same pixels, of the picture and of the fainter one.

    Returns
    -------
    float
        0 to 1; 0 without canopy.
    """
    before, after = (float(each.sum(dtype=np.float64)) for each in (plain, faint))
    return min(1.0, abs(after - before) / before) if before > 0 else 0.0
