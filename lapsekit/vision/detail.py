"""How finely a picture's file keeps colours, which decides how a narrow leaf's edges look.

A JPEG mostly keeps colours at half the resolution of lightness, and in steps that grow as its
quality falls (ITU-T T.81, 1992). Leaf and gap a few pixels wide run into each other then: without
knowing, the canopy network takes the same seedlings for 7 % larger in one file and for 11 % smaller
in another.

Nor is a file's word enough. A photograph that was once such a JPEG and is saved again, turned,
enlarged or without loss, says that every pixel has a colour of its own, and shows the colours of
before. What was interpolated lacks the finest grain (Gallagher 2005, Detection of linear and cubic
interpolation in JPEG compressed images, 2nd Canadian Conf. on Computer and Robot Vision: 65-72), so
colours are held against lightness: how much of their grain is as fine as a pixel.
"""

from dataclasses import dataclass

import cv2
import numpy as np

MOST_COARSE = 0.6
"""Coarser steps than those of quality 70 are told as these: the network has seen no others."""


HALVED, FINE = 0.4, 0.6
"""Fine grain of colours as a share of lightness's, each beside its coarser grain, below which they
are taken as kept at half the resolution, and above which a file is believed. Photographs and
rendered benches that were JPEGs of quality 88 have 0.2 to 0.6, saved again with all colours 0.3 to
0.7; those that never were 0.7 to 3, and what was made smaller lies between."""

COARSE_BEFORE = 0.3
"""Steps of a file that was saved before, which nobody knows any more: those of quality 85."""

_ROUNDED, _LEAST_GRAIN = 0.1, 0.3
"""Squared grain of colours that comes of whole numbers, and that of coarser grain from which there
is any colour to judge."""

#: Red, green and blue to lightness and two colours (ITU-R BT.601).
_PARTS = np.float32([[0.299, 0.587, 0.114], [-0.169, -0.331, 0.5], [0.5, -0.419, -0.081]])


@dataclass(frozen=True)
class Detail:
    """What the canopy network is told of a picture's colours.

    Attributes
    ----------
    halved : float
        1 where colours are kept at half the resolution of lightness, 0 where at the same, 0.5 where
        at half along one side only.
    coarseness : float
        Steps in which colours are kept, as a share of those in the standard's example tables: 0.4
        at quality 80 of the common encoders; at most `MOST_COARSE`.

    Raises
    ------
    ValueError
        If a number is out of its range.
    """

    halved: float = 0.0
    coarseness: float = 0.0

    def __post_init__(self):
        if not (0 <= self.halved <= 1 and 0 <= self.coarseness <= MOST_COARSE):
            raise ValueError(
                f"halved ({self.halved}) must lie in 0 to 1, coarseness ({self.coarseness}) in 0 "
                f"to {MOST_COARSE}"
            )

    def as_seen_in(self, picture: np.ndarray) -> "Detail":
        """What the picture itself shows, where its file says that it keeps colours whole.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, as decoded, not made smaller.

        Returns
        -------
        Detail
        """
        if self.halved:
            return self
        halved = float(np.clip((FINE - fine_share(picture)) / (FINE - HALVED), 0, 1))
        return Detail(halved, max(self.coarseness, halved * COARSE_BEFORE))


WHOLE = Detail()
"""Every pixel has a colour of its own: pictures that were made smaller, drawn, or kept without
loss."""


def fine_share(picture: np.ndarray) -> float:
    """How fine the colours' grain is beside that of lightness.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255.

    Returns
    -------
    float
        What neighbouring pixels differ by, squared, over the same in a picture of half the size: of
        the colours, as a share of lightness's; 1 where there is too little to judge.
    """
    if min(picture.shape[:2]) < 4:
        return 1.0
    parts = cv2.transform(picture.astype(np.float32), _PARTS)
    (fine_light, *fine), half = _grain(parts)
    (coarse_light, *coarse), _ = _grain(half)
    fine, coarse = sum(fine) - _ROUNDED, sum(coarse)
    if coarse < _LEAST_GRAIN or min(fine_light, coarse_light) < _LEAST_GRAIN:
        return 1.0
    return fine / coarse * coarse_light / fine_light


def _grain(parts: np.ndarray) -> tuple[list[float], np.ndarray]:
    """What a picture of half the size does not hold, squared, of each part; and that picture."""
    height, width = (side // 2 * 2 for side in parts.shape[:2])
    half = cv2.resize(parts[:height, :width], (width // 2, height // 2), None, 0, 0, cv2.INTER_AREA)
    rest = parts[:height, :width] - cv2.resize(half, (width, height))
    return [float(each) for each in np.square(rest).mean(axis=(0, 1), dtype=float)], half
