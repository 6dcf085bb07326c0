"""What the grower's strokes make of a mask.

They correct log odds colour by colour (`lapsekit.vision.trained_colours`). The mixed colours along
the rim of a hose that they took away are nobody's: what is left of such a thing goes with it.
"""

import cv2
import numpy as np

from lapsekit.vision.cleaning import patches
from lapsekit.vision.edges import window
from lapsekit.vision.trained_colours import Colours, corrected

BESIDE_PX = 6
"""So far around what strokes took away, what is left may be its rim: half the width of a narrow
leaf, so that a thing that they took away in patches goes as a whole."""


def judged(
    picture: np.ndarray, odds: np.ndarray, colours: Colours | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """A mask before cleaning, and what strokes make of it.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    odds : (H, W) float32 ndarray
        A model's log odds of canopy.
    colours : TrainedColours or ZonedColours or None
        What the grower taught.

    Returns
    -------
    mask : (H, W) bool ndarray
    odds : (H, W) float32 ndarray
        As the grower corrects them.
    rims : (H, W) bool ndarray or None
        What was left of things that strokes took away, and is not in the mask; None without
        strokes.
    """
    mask = odds > 0
    if colours is None:
        return mask, odds, None
    corrections = colours.corrections(picture)
    told = corrected(odds, corrections)
    taught = told > 0
    lost = cv2.morphologyEx((mask & ~taught).view(np.uint8), cv2.MORPH_OPEN, window(1)).view(bool)
    rims = _rims(lost, taught, corrections)
    return taught & ~rims, told, rims


def _rims(lost: np.ndarray, kept: np.ndarray, corrections: np.ndarray) -> np.ndarray:
    """What is left of things that strokes took away: more was lost than is kept around it, or it is
    a sliver.
    """
    if not lost.any():
        return np.zeros_like(lost)
    size = (2 * BESIDE_PX + 1,) * 2
    gone, around = (cv2.blur(part.astype(np.float32), size) for part in (lost, kept))
    return (gone > around) | _slivers(lost, kept, corrections)


def _slivers(lost: np.ndarray, kept: np.ndarray, corrections: np.ndarray) -> np.ndarray:
    """Patches that lie wholly along what was lost and against which strokes speak."""
    near = cv2.dilate(lost.view(np.uint8), window(BESIDE_PX)).ravel()
    count, labels = patches(kept.view(np.uint8))
    beyond = np.bincount(labels.ravel(), near == 0, count)
    spoken = np.bincount(labels.ravel(), corrections.ravel(), count)
    return kept & ((beyond == 0) & (spoken < 0))[labels]
