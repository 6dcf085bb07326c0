"""Colours as linear light, which blur neither loses nor makes, and as logarithms.

As logarithms, a change of exposure or of white balance is a constant.
"""

import cv2
import numpy as np

from lapsekit.errors import PictureError

DARK = 12.0
"""Added to each channel (0 to 255) before the logarithm, so that the noise of near-black pixels,
one or two steps of 255, does not read as colour."""

LOGARITHMS = np.log(np.arange(256) + DARK).astype(np.float32)
"""Natural logarithm of each value of a channel, with `DARK` added."""

_LEVELS = np.arange(256) / 255

LINEAR = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4).astype(
    np.float32
)
"""Linear light (0 to 1) of each sRGB-encoded value of a channel (IEC 61966-2-1)."""

_GREY_LEVELS, _MAY_BE_COLOURED = 3, 0.01
"""What JPEG makes of grey, and the share of a picture that a camera writes its clock on. Of 521
photographs, real and rendered, with fog and dusk, none but dark ones keep within 27 levels."""

_OPPONENT = np.float32([[1 / 3, 1 / 3, 1 / 3], [-1, 1, 0], [0, 1, -1]])


def require_picture(picture: np.ndarray) -> None:
    """Refuse what is not an (H, W, 3) picture of uint8.

    Parameters
    ----------
    picture : ndarray
        The candidate.

    Raises
    ------
    PictureError
        If the shape or the kind of number differs, or the picture is empty.
    """
    if picture.ndim != 3 or picture.shape[2] != 3 or picture.dtype != np.uint8 or not picture.size:
        raise PictureError(
            f"expected an RGB picture of shape (H, W, 3) and uint8, got {picture.shape} "
            f"{picture.dtype}: decode the picture to 8-bit RGB first"
        )


def is_grey(picture: np.ndarray) -> bool:
    """Whether a picture has no colours, as cameras take them by infrared light.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        Three channels in any order, 0 to 255. One that shows next to nothing is grey too.
    """
    first, second, third = cv2.split(picture)
    highest = cv2.max(cv2.max(first, second), third)
    coloured = cv2.subtract(highest, cv2.min(cv2.min(first, second), third)) > _GREY_LEVELS
    return bool(np.count_nonzero(coloured) <= _MAY_BE_COLOURED * coloured.size)


def opponent_logarithms(picture: np.ndarray) -> np.ndarray:
    """Lightness and two colour differences on a logarithmic scale.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.

    Returns
    -------
    (H, W, 3) float32 ndarray
        Mean of the channels' logarithms, ln G − ln R, and ln G − ln B, each channel with
        `DARK` added. A change of exposure moves the first only, a change of white balance moves
        all by a constant (but for the tone curve and for dark pixels).
    """
    return cv2.transform(cv2.LUT(picture, LOGARITHMS), _OPPONENT)
