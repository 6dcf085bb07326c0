"""Is a frame fit to be measured? Dark, blown out or blurred frames are not."""

from dataclasses import dataclass

import cv2
import numpy as np

_CLIPPED_FROM = 250
_REBLUR_PX = 11
_JUDGED_AT_PX = 1024


@dataclass(frozen=True)
class Limits:
    """What makes a frame unusable; all in 0 to 1.

    Attributes
    ----------
    dark_below : float
        Mean luminance under which a frame is too dark.
    blown_above : float
        Share of clipped white pixels above which a frame is blown out.
    blurred_above : float
        Blur effect above which a frame is blurred.
    """

    dark_below: float
    blown_above: float
    blurred_above: float


@dataclass(frozen=True)
class Verdict:
    """What screening saw in a frame; usable when `reasons` is empty."""

    reasons: tuple[str, ...]
    luminance: float
    clipped: float
    blur: float


def screen(picture: np.ndarray, limits: Limits) -> Verdict:
    """Judge one frame.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB.
    limits : Limits
        Thresholds.

    Returns
    -------
    Verdict
        The first reason that applies, of "dark", "blown out" and "blurred": in a dark frame
        blur means nothing.
    """
    luma = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    luminance = float(luma.mean()) / 255
    white = cv2.inRange(picture, (_CLIPPED_FROM,) * 3, (255, 255, 255))
    clipped = cv2.countNonZero(white) / white.size
    blur = blur_effect(luma)
    found = {
        "dark": luminance < limits.dark_below,
        "blown out": clipped > limits.blown_above,
        "blurred": blur > limits.blurred_above,
    }
    reasons = tuple(reason for reason, applies in found.items() if applies)[:1]
    return Verdict(reasons, luminance, clipped, blur)


def blur_effect(luma: np.ndarray) -> float:
    """No-reference blur of a picture: 0 sharp, 1 blurred.

    Blurs the picture once more and asks how much of the variation between neighbours survives:
    in a sharp picture little, in a blurred one nearly all (Crété-Roffet, Dolmiere, Ladret &
    Nicolas 2007, Proc. SPIE 6492, doi:10.1117/12.702790). Larger pictures are first reduced to
    a long side of 1024 px, so that the noise of small pixels does not pass for detail and the
    verdict does not depend on the camera's resolution. Along each axis, the larger of both.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)

    Returns
    -------
    float
        In 0 to 1; 1 for a picture without any variation.
    """
    height, width = luma.shape
    scale = _JUDGED_AT_PX / max(height, width)
    if scale < 1:
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        luma = cv2.resize(luma, size, interpolation=cv2.INTER_AREA)
    return max(_axis_blur(luma.astype(np.float32), axis) for axis in (0, 1))


def _axis_blur(luma: np.ndarray, axis: int) -> float:
    size = (1, _REBLUR_PX) if axis == 0 else (_REBLUR_PX, 1)
    again = cv2.blur(luma, size, borderType=cv2.BORDER_REFLECT)
    sharp = _slope(luma, axis)
    lost = np.maximum(sharp - _slope(again, axis), 0)
    total = float(sharp.sum())
    return 1.0 if total == 0 else 1 - float(lost.sum()) / total


def _slope(luma: np.ndarray, axis: int) -> np.ndarray:
    """Absolute Sobel derivative along `axis`, without the border."""
    along = (0, 1) if axis == 0 else (1, 0)
    return np.abs(cv2.Sobel(luma, cv2.CV_32F, *along))[2:-2, 2:-2]
