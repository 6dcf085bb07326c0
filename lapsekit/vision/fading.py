"""How much canopy hangs on how strong a picture's colours are.

A network states how likely it is to be wrong among pictures like those that it learned from; of
others it says too little. What tells them apart is how its word bears a change that alters no leaf
(test-time augmentation; Wang et al. 2019, Neurocomputing 338: 34-45): with the saturation of all
colours a fifth less, canopy like that of its training loses a hundredth, and narrow grey leaves on
grey soil lose a third. Errors of area go with the loss or gain, in rendered plants and in
photographs alike (``tests/fit_doubt.py``); enlarging, darkening, blurring and sharpening tell less.
"""

import cv2
import numpy as np

from lapsekit.vision.cover import HALF
from lapsekit.vision.edges import window

FAINTER = 0.2
"""Share of the way from each pixel's colour to its grey."""

NEAR_PX = 12
"""So far around canopy, in px, what fades counts for it: leaves that were missed lie beside those
that were found. Farther off, faint odds of bare soil would outweigh a seedling."""

FADING_RULES = [FAINTER, NEAR_PX]
"""All that shapes the result beside the network's numbers, for a mark."""

_TO_GREY = (1 - FAINTER) * np.eye(3, dtype=np.float32) + np.float32(FAINTER / 3)


def fainter(picture: np.ndarray) -> np.ndarray:
    """A picture with less saturation, by `FAINTER`; the mean of red, green and blue stays.

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
    """How much canopy comes on the whole, or goes, where colours are fainter, as a share of it.

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


def near_canopy(cover: np.ndarray) -> np.ndarray:
    """Where canopy is, and `NEAR_PX` around it.

    Parameters
    ----------
    cover : (H, W) uint8 ndarray
        Share of canopy in each pixel, 0 to 255.

    Returns
    -------
    (H, W) bool ndarray
    """
    canopy = (cover >= HALF).view(np.uint8)
    return cv2.dilate(canopy, window(NEAR_PX)).view(bool)
