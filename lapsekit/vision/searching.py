"""Find a picture's large movement against another by features that stand out in both."""

import cv2
import numpy as np

_FEATURES = 1200
_NOT_CLEARLY_BETTER = 0.85
_WITHIN_PX = 4.0
_ENOUGH = 8
_SEED = 1


class Searcher:
    """One picture, prepared to be found in others, however it has moved in its plane.

    SIFT features (Lowe 2004, IJCV 60: 91-110) of the picture at half its size, matched where the
    best match is clearly better than the second, and the similarity on which most agree. Features
    bear other light and a turn of any size; where they lie is rough, so this only gives a start.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)
    usable : ndarray of bool, shape (height, width)
    """

    def __init__(self, luma: np.ndarray, usable: np.ndarray):
        self._places, self._looks = _features(luma, usable)

    def movement(self, luma: np.ndarray, usable: np.ndarray | None = None) -> np.ndarray | None:
        """The likeliest similarity from the prepared picture to this one, (3, 3), or None."""
        places, looks = _features(luma, usable)
        if self._looks is None or looks is None or min(len(looks), len(self._looks)) < _ENOUGH:
            return None
        pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(self._looks, looks, k=2)
        good = [a for a, b in pairs if a.distance < _NOT_CLEARLY_BETTER * b.distance]
        if len(good) < _ENOUGH:
            return None
        here = self._places[[match.queryIdx for match in good]]
        there = places[[match.trainIdx for match in good]]
        cv2.setRNGSeed(_SEED)
        onto, agree = cv2.estimateAffinePartial2D(
            here, there, method=cv2.RANSAC, ransacReprojThreshold=_WITHIN_PX, maxIters=3000
        )
        if onto is None or int(agree.sum()) < _ENOUGH:
            return None
        return np.vstack([onto, [0, 0, 1]])


def _features(luma, usable):
    height, width = luma.shape
    size = (width // 2, height // 2)
    half = cv2.resize(luma[: size[1] * 2, : size[0] * 2], size, interpolation=cv2.INTER_AREA)
    mask = None
    if usable is not None:
        mask = cv2.resize(usable.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    found, looks = cv2.SIFT_create(_FEATURES).detectAndCompute(half, mask)
    return np.array([point.pt for point in found]).reshape(-1, 2) * 2 + 0.5, looks
