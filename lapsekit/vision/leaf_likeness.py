"""Which of a picture's own kinds a colour is like: its sure leaves, or its sure ground.

Colours are counted on a grid of the logarithms of their channels, in which other light is a shift,
and counts are smoothed, mostly along lightness (colour histograms as likelihoods: Swain & Ballard
1991, Int. J. Comput. Vis. 7: 11-32; Jones & Rehg 2002, Int. J. Comput. Vis. 46: 81-96).
"""

import cv2
import numpy as np

from lapsekit.vision.colour import LOGARITHMS

LEVELS = 40
"""Levels a channel on the grid: 0.08 apart, as logarithms."""

SMOOTHED, SMOOTHED_LIGHT = 2, 4
"""How often counts are averaged with weights 1, 2, 1 along each channel, and along lightness."""

LEAST_PX = 100
"""Added to the number of pixels of a kind, so that few of them say little."""

RARE = 1e-6
"""Added to the share of a kind's pixels that have a colour: a colour that is rarer is not known."""

LIKENESS_RULES = [LEVELS, SMOOTHED, SMOOTHED_LIGHT, LEAST_PX, RARE]
"""All that shapes the result, for a mark."""

_SPAN = LOGARITHMS[-1] - LOGARITHMS[0]
LEVEL_OF = np.minimum((LOGARITHMS - LOGARITHMS[0]) / _SPAN * LEVELS, LEVELS - 1).astype(np.uint8)
"""(256,) The level of each value of a channel."""


class LeafLikeness:
    """What the colours of a picture's sure leaves and sure ground say of any pixel.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    leaf, ground : (H, W) ndarray
        Not 0 where a pixel is surely that.
    """

    def __init__(self, picture: np.ndarray, leaf: np.ndarray, ground: np.ndarray):
        levels = cv2.LUT(picture, LEVEL_OF)
        kinds = [_shares(levels, (kind > 0).view(np.uint8)) for kind in (leaf, ground)]
        self._like = np.log((kinds[0] + RARE) / (kinds[1] + RARE)).ravel()
        self._common = np.log(kinds[0] + kinds[1] + RARE).ravel()
        red, green, blue = cv2.split(levels)
        self._at = np.multiply(red, LEVELS, dtype=np.int32)
        self._at += green
        self._at *= LEVELS
        self._at += blue

    def like(self) -> np.ndarray:
        """How much more often each pixel's colour is leaf's than ground's.

        Returns
        -------
        (H, W) float32 ndarray
            Logarithm, above 0 where the colour is like leaf.
        """
        return self._like.take(self._at)

    def common(self, places: np.ndarray) -> np.ndarray:
        """How often both kinds together have the colour of pixels.

        Parameters
        ----------
        places : (n,) ndarray of int
            Flat indices.

        Returns
        -------
        (n,) float32 ndarray
            Logarithm.
        """
        return self._common.take(self._at.ravel().take(places))


def _shares(levels: np.ndarray, kind: np.ndarray) -> np.ndarray:
    """Share of the pixels of a kind that have each colour of the grid, smoothed."""
    counts = cv2.calcHist([levels], [0, 1, 2], kind, [LEVELS] * 3, [0, LEVELS] * 3)
    total = float(counts.sum(dtype=np.float64))
    for _ in range(SMOOTHED):
        for steps in ((1, 0, 0), (0, 1, 0), (0, 0, 1)):
            counts = _averaged(counts, steps)
    for _ in range(SMOOTHED_LIGHT):
        counts = _averaged(counts, (1, 1, 1))
    return counts / np.float32(total + LEAST_PX)


def _averaged(counts: np.ndarray, steps: tuple[int, int, int]) -> np.ndarray:
    """Weights 1, 2, 1 along a direction; what lies outside the grid is empty."""
    padded = np.pad(counts, [(step, step) for step in steps])
    ends = [tuple(slice(at * step, at * step + LEVELS) for step in steps) for at in (0, 2)]
    return (padded[ends[0]] + padded[ends[1]]) / 4 + counts / 2
