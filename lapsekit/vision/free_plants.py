"""Whose leaves are whose: of a container's plant, or of one that grows without a container."""

from collections.abc import Sequence

import cv2
import numpy as np

from lapsekit.vision.closed_lines import CERTAIN, Container
from lapsekit.vision.sights import Sight
from lapsekit.vision.standing import STILL_THERE, shared

LESSER = 0.1
"""Leaves of less than this share of the largest plant's beside them are no plant: pieces, weeds."""

LEAST_PLANT = 0.0004
"""Share of the picture that a plant without a container takes at least; less is a weed."""

JOINED = 0.008
"""Leaves of one plant lie within twice this share of the picture's width of each other."""

BESIDE, TOUCHES = 0.02, 0.003
"""Leaves this near to a container are its plant's, as a share of the picture's mean side: small
pieces, whose stalk may not be seen, and plants."""

PLANT_CONFIDENCE = 0.5


class Nearest:
    """Which container every pixel lies nearest to, and how far from it."""

    def __init__(self, shape: tuple[int, int], places: Sequence[Container]):
        self._owner = np.full(shape, -1, np.int16)
        self._away = np.full(shape, np.inf, np.float32)
        self._count = 0
        for place in places:
            self.add(place)

    def add(self, place: Container) -> None:
        """One more container."""
        outside = (~place.mask(self._owner.shape)).view(np.uint8)
        away = cv2.distanceTransform(outside, cv2.DIST_L2, 3)
        nearer = away < self._away
        self._away[nearer], self._owner[nearer] = away[nearer], self._count
        self._count += 1

    def owners(self, leaf: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Whose each pixel of leaf is, by number, -1 for nobody's; and the leaf that is nobody's.

        Plants belong to a container that they touch, small pieces to one that is near.
        """
        count, labels, stats, _ = cv2.connectedComponentsWithStats(_joined(leaf))
        places = np.flatnonzero(leaf)
        of, away = labels.ravel()[places], self._away.ravel()[places]
        nearest = np.full(count, np.inf)
        np.minimum.at(nearest, of, away)
        small = stats[:, cv2.CC_STAT_AREA] < LEAST_PLANT * leaf.size
        mine = nearest < np.where(small, BESIDE, TOUCHES) * np.sqrt(leaf.size)
        owned = leaf & mine[labels]
        return np.where(owned, self._owner, -1), leaf & ~owned


def growing_free(sights: Sequence[Sight], nearest: Nearest) -> list[Container]:
    """Plants without a container, as they last stood apart; `nearest` learns of them."""
    found: list[Container] = []
    for sight in reversed(sights):
        free = nearest.owners(sight.leaf)[1]
        for points in plants_in(free):
            hull = cv2.convexHull(points.astype(np.float32))[:, 0]
            area = cv2.contourArea(hull)
            plant = Container(hull, area, CERTAIN, PLANT_CONFIDENCE, "plant")
            grown = area and np.mean(sights[-1].leaf[plant.mask(free.shape)])
            if grown > STILL_THERE and all(shared(plant, other) < 0.2 for other in found):
                found.append(plant)
                nearest.add(plant)
    return found


def _joined(leaf: np.ndarray) -> np.ndarray:
    """Leaf with what lies close together joined: stalks are narrow, and may not be seen."""
    reach = max(1, round(JOINED * leaf.shape[1]))
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)
    return cv2.morphologyEx(leaf.view(np.uint8), cv2.MORPH_CLOSE, around)


def plants_in(leaf: np.ndarray) -> list[np.ndarray]:
    """Points (n, 2) of each plant without a container."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(_joined(leaf))
    areas = stats[1:, cv2.CC_STAT_AREA]
    least = max(LEAST_PLANT * leaf.size, LESSER * areas.max(initial=0))
    return [points_of(labels == k) for k in np.flatnonzero(areas > least) + 1]


def points_of(mask: np.ndarray) -> np.ndarray:
    """Pixels of a mask: (n, 2), x and y."""
    return np.argwhere(mask)[:, ::-1].astype(float)
