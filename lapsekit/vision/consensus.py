"""What a day's frames agree on, pixel by pixel, and what regions measure in a map of labels.

All masks lie in the reference view. A pixel's square centimetres may be one number or differ over
the view, as they do on a bench seen at a slant.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

_CROFTON = np.pi / 4


@dataclass(frozen=True, eq=False)
class Consensus:
    """The vote of a day's frames.

    Attributes
    ----------
    share : (H, W) float32 ndarray
        Share of the frames' weight that calls the pixel canopy, 0 to 1.
    frames : int
        How many frames voted.
    """

    share: np.ndarray
    frames: int

    @property
    def canopy(self) -> np.ndarray:
        """Pixels that at least half of the weight calls canopy: (H, W) bool."""
        return self.share >= 0.5 - 1e-6

    @property
    def votes(self) -> np.ndarray:
        """1 where canopy, and a half where the frames are divided evenly: (H, W) float32.

        An even number of frames has ties; counted in full they would enlarge every plant.
        """
        return np.where(np.abs(self.share - 0.5) < 1e-6, 0.5, self.canopy).astype(np.float32)


def consensus(masks: Iterable[np.ndarray], weights: Iterable[float] | None = None) -> Consensus:
    """Let a day's frames vote on every pixel.

    Parameters
    ----------
    masks : iterable of (H, W) bool ndarray
        Canopy of each usable frame in the reference view, one at a time: they are not kept.
    weights : iterable of float, optional
        What each frame's voice counts, above 0; all alike by default.

    Returns
    -------
    Consensus

    Raises
    ------
    ValueError
        If there is no mask, or a weight is not positive, or shapes or numbers differ.
    """
    total, count, summed = 0.0, 0, None
    voices = iter(weights) if weights is not None else None
    for mask in masks:
        weight = 1.0 if voices is None else float(next(voices, 0.0))
        if not weight > 0:
            raise ValueError(f"frame {count + 1} of the day has the weight {weight}; give one > 0")
        if summed is None:
            summed = np.zeros(mask.shape, np.float32)
        summed += np.float32(weight) * mask
        total += weight
        count += 1
    if summed is None:
        raise ValueError("no frame, so nothing to agree on: such a day is a gap")
    return Consensus(summed / np.float32(total), count)


def region_areas(
    labels: np.ndarray, pixel_cm2: np.ndarray | float, count: int, votes: np.ndarray | None = None
) -> np.ndarray:
    """Area of each region in a map of labels.

    Parameters
    ----------
    labels : (H, W) integer ndarray
        Number of the region from 1, 0 for none.
    pixel_cm2 : (H, W) ndarray or float
        Bench area that a pixel covers.
    count : int
        Number of regions.
    votes : (H, W) ndarray, optional
        How much of each pixel counts (`Consensus.votes`).

    Returns
    -------
    (count,) float64 ndarray
        In cm².
    """
    weights = np.broadcast_to(np.asarray(pixel_cm2, np.float64), labels.shape)
    if votes is not None:
        weights = weights * votes
    return np.bincount(labels.ravel(), weights.ravel(), count + 1)[1 : count + 1]


def disagreement(
    frame_labels: np.ndarray, day_labels: np.ndarray, pixel_cm2: np.ndarray | float, count: int
) -> np.ndarray:
    """Area on which a frame and the day differ, by region: (count,) float64 in cm².

    Canopy of one that is not the other's, both ways. Its mean over the frames says how much of a
    plant's shape is in dispute, even where areas agree.
    """
    differ = frame_labels != day_labels
    weights = np.broadcast_to(np.asarray(pixel_cm2, np.float64), differ.shape)[differ]
    both = (np.bincount(part[differ], weights, count + 1) for part in (frame_labels, day_labels))
    return sum(both)[1 : count + 1]


def edge_lengths(labels: np.ndarray, count: int) -> np.ndarray:
    """Length of each region's free edge, against what is no canopy: (count,) float64 in px.

    Crossings along both pixel axes times pi / 4, after Crofton: right on average for edges of all
    directions, within 11 % for any one.
    """
    crossings = np.zeros(count + 1, np.int64)
    padded = cv2.copyMakeBorder(labels.astype(np.uint16), 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    for one, other in ((padded[:, 1:], padded[:, :-1]), (padded[1:], padded[:-1])):
        crossed = (one != other) & ((one == 0) | (other == 0))
        crossings += np.bincount(one[crossed] + other[crossed], minlength=count + 1)[: count + 1]
    return _CROFTON * crossings[1:]
