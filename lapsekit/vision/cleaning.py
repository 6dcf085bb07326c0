"""What tidies a mask: specks go, pinholes are closed."""

import cv2
import numpy as np

SPECK_PX = 16
"""Plant-coloured specks below this many pixels are noise: a 4:2:0 JPEG stores colour on a grid of
2 × 2 px, so that 16 px hold four samples of colour, too few to call a leaf."""

HOLE_PX = 16
"""Holes below this many pixels are closed: a glint or a vein inside a leaf, by the same count."""


def clean(mask: np.ndarray, speck_px: int = SPECK_PX) -> np.ndarray:
    """Remove specks and close pinholes: holes (4-connected) below `HOLE_PX`.

    Parameters
    ----------
    mask : (H, W) bool ndarray
        True where canopy.
    speck_px : int
        Least area in pixels of a patch of canopy (8-connected) that stays.

    Returns
    -------
    (H, W) bool ndarray
        A new mask.
    """
    kept = _without_small(mask, speck_px, 8)
    return ~_without_small(~kept, HOLE_PX, 4)


def patches(mask: np.ndarray, connectivity: int = 8) -> tuple[int, np.ndarray]:
    """Number the patches of a mask.

    Parameters
    ----------
    mask : (H, W) uint8 ndarray
        Not 0 where a patch is.
    connectivity : int
        4, or 8: pixels that touch at a corner hang together too.

    Returns
    -------
    count : int
        Of the numbers, 0 among them.
    labels : (H, W) int32 ndarray
        0 outside all patches.
    """
    return cv2.connectedComponentsWithAlgorithm(mask, connectivity, cv2.CV_32S, cv2.CCL_GRANA)


def _without_small(mask: np.ndarray, least_px: int, connectivity: int) -> np.ndarray:
    """The mask without its patches of fewer than `least_px` pixels."""
    count, labels = patches(np.ascontiguousarray(mask).view(np.uint8), connectivity)
    # Counted here: OpenCV's own statistics of places and middles take six times as long
    large = np.bincount(labels.ravel(), minlength=count) >= least_px
    large[0] = False
    return large.view(np.uint8).take(labels).view(bool)
