"""Published colour indices: canopy from fixed arithmetic on red, green and blue.

They need no training and no model, and they are what most reports compare with. They are also
easily misled: an automatic threshold always splits a picture in two, plants or not.
"""

import cv2
import numpy as np

from lapsekit.vision.features import require_picture

CIVE_RED, CIVE_GREEN, CIVE_BLUE, CIVE_OFFSET = 0.441, 0.811, 0.385, 18.78745
"""Kataoka's coefficients; copies with 0.881 for green circulate and are wrong."""


def _shares(picture: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shares of red and of green in R + G + B, float32; one third each where black."""
    require_picture(picture)
    total = picture.sum(axis=2, dtype=np.float32)
    red, green = picture[..., 0] / np.maximum(total, 1), picture[..., 1] / np.maximum(total, 1)
    black = total == 0
    red[black] = green[black] = np.float32(1 / 3)
    return red, green


def excess_green(picture: np.ndarray) -> np.ndarray:
    """Excess green 2g − r − b on chromatic coordinates (r + g + b = 1).

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255.

    Returns
    -------
    (H, W) float32 ndarray
        −1 (no green) to 2 (pure green), 0 for greys and black.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.

    References
    ----------
    .. [1] Woebbecke et al. (1995), Transactions of the ASAE 38(1).
    """
    _, green = _shares(picture)
    return 3 * green - 1


def excess_green_minus_red(picture: np.ndarray) -> np.ndarray:
    """Excess green minus excess red, (2g − r − b) − (1.4r − g); canopy where above 0.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255.

    Returns
    -------
    (H, W) float32 ndarray
        −2.4 (pure red) to 3 (pure green), −2/15 for greys and black.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.

    References
    ----------
    .. [1] Meyer & Neto (2008), Computers and Electronics in Agriculture 63(2).
    """
    red, green = _shares(picture)
    return 4 * green - np.float32(1.4) * red - 1


def cive(picture: np.ndarray) -> np.ndarray:
    """Colour index of vegetation extraction, lower where greener.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255.

    Returns
    -------
    (H, W) float32 ndarray
        0.441 R − 0.811 G + 0.385 B + 18.78745: about −188 (pure green) to 229 (magenta).

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.

    References
    ----------
    .. [1] Kataoka et al. (2003), Advanced Intelligent Mechatronics, IEEE/ASME.
    """
    require_picture(picture)
    weights = np.array([[CIVE_RED, -CIVE_GREEN, CIVE_BLUE]], np.float32)
    return cv2.transform(picture.astype(np.float32), weights) + np.float32(CIVE_OFFSET)


def above_otsu(index: np.ndarray) -> np.ndarray:
    """Split an index at Otsu's threshold, found on 256 levels between its least and greatest.

    Parameters
    ----------
    index : (H, W) float32 ndarray
        Any index that is higher where greener.

    Returns
    -------
    (H, W) bool ndarray
        True above the threshold; all False where the index is the same everywhere.

    References
    ----------
    .. [1] Otsu (1979), IEEE Transactions on Systems, Man and Cybernetics 9(1).
    """
    lowest, highest = float(index.min()), float(index.max())
    if highest <= lowest:
        return np.zeros(index.shape, bool)
    scale = 255 / (highest - lowest)
    levels = np.rint((index - np.float32(lowest)) * np.float32(scale)).astype(np.uint8)
    _, mask = cv2.threshold(levels, 0, 1, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    return mask.view(bool)


def excess_green_mask(picture: np.ndarray) -> np.ndarray:
    """Canopy by excess green and Otsu's threshold; see `excess_green`.

    Returns
    -------
    (H, W) bool ndarray
        Means nothing on a picture without plants: half of it is then called canopy.
    """
    return above_otsu(excess_green(picture))


def excess_green_minus_red_mask(picture: np.ndarray) -> np.ndarray:
    """Canopy where excess green exceeds excess red; see `excess_green_minus_red`.

    Returns
    -------
    (H, W) bool ndarray
        True above 0.
    """
    return excess_green_minus_red(picture) > 0
