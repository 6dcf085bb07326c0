"""A picture's fine pattern, freed of light and shade."""

import cv2
import numpy as np

_NOISE = 8.0
_SMOOTHED_PX = 0.7
_WITHIN_PX = 7
_FLAT = 0.02
_LOG = np.log(np.arange(256) + _NOISE).astype(np.float32)


def log_luma(luma: np.ndarray) -> np.ndarray:
    """Logarithm of an 8-bit picture; 8 levels are added, so that the noise of the dark is small."""
    return cv2.LUT(luma, _LOG)


def evened(log_picture: np.ndarray) -> np.ndarray:
    """The picture's fine pattern: local mean 0, local contrast 1, within 7 px.

    Parameters
    ----------
    log_picture : ndarray of float32, shape (height, width)
        From `log_luma`.

    Returns
    -------
    ndarray of float32, shape (height, width)
        What is flatter than 2 % of contrast stays flat.
    """
    smooth = cv2.GaussianBlur(log_picture, (5, 5), _SMOOTHED_PX)
    window = (_WITHIN_PX, _WITHIN_PX)
    off = smooth - cv2.blur(smooth, window)
    contrast = cv2.sqrt(cv2.blur(cv2.multiply(off, off), window))
    return cv2.divide(off, contrast + np.float32(_FLAT))
