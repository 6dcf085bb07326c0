"""Find a picture's large movement against another by features that stand out in both."""

from collections.abc import Iterator

import cv2
import numpy as np

from lapsekit.vision.pictures import reduced

_REDUCTIONS = (4, 2)
_FEATURES = 1200
_NOT_CLEARLY_BETTER = 0.85
_WITHIN_PX = 4.0
_ENOUGH = 8
_SEED = 1


class Searcher:
    """One picture, prepared to be found in others, however it has moved in its plane.

    SIFT features (Lowe 2004, IJCV 60: 91-110), matched where the best match is clearly better than
    the second, and the similarity on which most agree. Features bear other light and a turn of any
    size; where they lie is rough, so this only gives a start. They are looked for in the picture
    at a quarter of its size, and at half of it, at five times the cost, where that was not enough.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)
    usable : ndarray of bool, shape (height, width)
    """

    def __init__(self, luma: np.ndarray, usable: np.ndarray):
        self._at = {by: _features(luma, usable, by) for by in _REDUCTIONS}

    def movements(self, luma: np.ndarray, usable: np.ndarray | None = None) -> Iterator[np.ndarray]:
        """Likely similarities from the prepared picture to this one, (3, 3), coarse ones first."""
        for by in _REDUCTIONS:
            found = _similarity_of(*self._at[by], *_features(luma, usable, by))
            if found is not None:
                yield found


def _similarity_of(own_places, own_looks, places, looks) -> np.ndarray | None:
    """The similarity on which most matches of two pictures' features agree."""
    if own_looks is None or looks is None or min(len(looks), len(own_looks)) < _ENOUGH:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(own_looks, looks, k=2)
    good = [a for a, b in pairs if a.distance < _NOT_CLEARLY_BETTER * b.distance]
    if len(good) < _ENOUGH:
        return None
    here = own_places[[match.queryIdx for match in good]]
    there = places[[match.trainIdx for match in good]]
    cv2.setRNGSeed(_SEED)
    # Its own refining takes 130 MB for ten numbers (OpenCV's linear algebra on x86)
    onto, agree = cv2.estimateAffinePartial2D(
        here,
        there,
        method=cv2.RANSAC,
        ransacReprojThreshold=_WITHIN_PX,
        maxIters=3000,
        refineIters=0,
    )
    if onto is None or int(agree.sum()) < _ENOUGH:
        return None
    agree = agree.ravel() > 0
    return similarity(here[agree], there[agree])


def similarity(here: np.ndarray, there: np.ndarray) -> np.ndarray:
    """The movement, turn and scale, (3, 3), that brings points nearest to others.

    Parameters
    ----------
    here, there : ndarray of float, shape (n, 2)
        At least two different points, and where they shall come to.

    Notes
    -----
    Least squares in closed form, as Umeyama (1991, IEEE Trans. PAMI 13: 376-380) without mirroring.
    """
    (x, y), (to_x, to_y) = (here - here.mean(axis=0)).T, (there - there.mean(axis=0)).T
    size = np.sum(x**2 + y**2)
    along, across = np.sum(x * to_x + y * to_y) / size, np.sum(x * to_y - y * to_x) / size
    turn = np.array([[along, -across], [across, along]])
    shift = there.mean(axis=0) - turn @ here.mean(axis=0)
    return np.array([[*turn[0], shift[0]], [*turn[1], shift[1]], [0, 0, 1]])


def _features(luma, usable, by):
    """Places of features, in px of the whole picture, and what they look like."""
    small = reduced(luma, by)
    mask = None
    if usable is not None:
        size = small.shape[::-1]
        mask = cv2.resize(usable.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    found, looks = cv2.SIFT_create(_FEATURES).detectAndCompute(small, mask)
    return np.array([point.pt for point in found]).reshape(-1, 2) * by + (by - 1) / 2, looks
