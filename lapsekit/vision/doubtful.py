"""What a second look sees of a pixel in doubt: its surroundings, and this picture's own colours.

Leaves and ground of which the network is sure say what leaves and ground look like in this light,
within a few leaves' width and in the whole picture; a pixel in doubt is held against both. That a
judge's own sure answers teach it about the rest is self-training (Scudder 1965, IEEE Transactions
on Information Theory 11: 363-371); here a perceptron learned on rendered benches how far they are
to be trusted. The wide windows around a pixel lie in planes at half and at a quarter of the size.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.vision.colour import LOGARITHMS
from lapsekit.vision.detail import Detail
from lapsekit.vision.leaf_likeness import LIKENESS_RULES, LeafLikeness

UNSURE = 2.5
"""Log odds, either way, beyond which the network's word stands: one in thirteen to be wrong.
Looking at more, to one in fifty, costs twice as much and brought areas of rendered plants no
nearer."""

MOST_ODDS = 4.0
"""Log odds of the neighbours are held within this, either way."""

SURE = 0.9
"""Share from which a pixel counts as leaf, and up to 1 less it as ground, for what both look like:
log odds of 2.2, so that some that are looked at again count too."""

LEAST_SURE_PX = 200
"""Pixels of a picture that must be surely leaf, and surely ground. Where there are fewer, the
network's own doubts would teach that nothing is leaf."""

AROUND_PX, FAR_PX = 13, 25
"""Sides of windows, in px of the picture at half size, and at a quarter: 26 and 100 px in full."""

BESIDE_PX, NEAR_PX = 9, 5
"""Sides of the window for how light it is near by, and of the pixels that are looked at one by one.
"""

LIKE_PX = (5, 11)
"""Sides of windows for how like leaves the colours near by are."""

LEAST_AROUND, LEAST_FAR = 0.02, 0.005
"""Share of a window that must be surely leaf, or ground, to say what that looks like."""

EVEN = 1e-4
"""Least variance of lightness, that of rounding to 8 bits."""

OF_PLACE = 26
"""Figures of the place itself; see `Surroundings.of`."""

OF_FILE = 2
"""Numbers that say how finely the picture's file keeps colours."""

LOOKS = OF_PLACE + OF_FILE + 2 * (NEAR_PX**2 - 1)
"""What is looked at: figures of the place, two of the picture's file, and the neighbours."""

SEEING_RULES = [UNSURE, MOST_ODDS, SURE, LEAST_SURE_PX, AROUND_PX, FAR_PX, BESIDE_PX, NEAR_PX]
SEEING_RULES += [*LIKE_PX, LEAST_AROUND, LEAST_FAR, EVEN, *LIKENESS_RULES]
"""All that shapes what is seen, for a mark."""


@dataclass(frozen=True)
class Sure:
    """Each pixel's share of leaf by the network, and what is surely leaf and surely ground.

    (H, W) float32 each; the latter two are 1 or 0.
    """

    share: np.ndarray
    leaf: np.ndarray
    ground: np.ndarray

    @classmethod
    def by(cls, odds: np.ndarray) -> "Sure":
        """By log odds (H, W)."""
        share = np.negative(odds)
        cv2.exp(share, share)
        share += 1
        np.divide(np.float32(1), share, out=share)
        _, leaf = cv2.threshold(share, SURE, 1, cv2.THRESH_BINARY)
        _, ground = cv2.threshold(1 - share, SURE, 1, cv2.THRESH_BINARY)
        return cls(share, leaf, ground)

    @property
    def is_enough(self) -> bool:
        """Whether both kinds are there to be compared with."""
        return min(map(cv2.countNonZero, (self.leaf, self.ground))) >= LEAST_SURE_PX


class Surroundings:
    """What is seen around each pixel of a picture.

    Parameters
    ----------
    picture, odds, detail
        As for `lapsekit.vision.second_look.SecondLook.odds`.
    sure : Sure
        What of the picture is surely leaf, and surely ground.
    """

    def __init__(self, picture: np.ndarray, odds: np.ndarray, detail: Detail, sure: Sure):
        # In place where that can be: the system clears each new plane, which takes longer than most
        # of what is worked out here
        self._size, self._told = odds.shape, (detail.halved, detail.coarseness)
        red, green, blue = (cv2.LUT(plane, LOGARITHMS) for plane in cv2.split(picture))
        light = cv2.add(red, green)
        light += blue
        light *= np.float32(1 / 3)
        colours = light, cv2.subtract(green, red, red), cv2.subtract(green, blue, blue)
        squared = cv2.multiply(light, light, green)
        self._own = odds, *colours
        lighter = self._see_lightness(light, squared)
        self._colours = LeafLikeness(picture, sure.leaf, sure.ground)
        like = self._colours.like()
        self._like = like, *(cv2.blur(like, (side, side)) for side in LIKE_PX)
        self._see_windows(sure, (*colours, squared))
        reach = NEAR_PX // 2
        held = np.clip(odds, -np.float32(MOST_ODDS), np.float32(MOST_ODDS))
        self._padded = [
            cv2.copyMakeBorder(plane, *(reach,) * 4, cv2.BORDER_REFLECT_101)
            for plane in (held, lighter)
        ]

    def _see_windows(self, sure: Sure, planes) -> None:
        share, work = sure.share, np.empty_like(sure.share)
        around = [halved(cv2.subtract(share, cv2.multiply(share, share, work), work))]
        around += [halved(share)]
        for kind in (sure.leaf, sure.ground):
            around += [halved(kind)]
            around += [halved(cv2.multiply(kind, plane, work)) for plane in planes]
        far = [halved(plane) for plane in around[:6]]  # neither how uneven leaves are nor ground
        self._around = [cv2.blur(plane, (AROUND_PX, AROUND_PX)) for plane in around]
        self._far = [cv2.blur(plane, (FAR_PX, FAR_PX)) for plane in far]

    def _see_lightness(self, light, squared) -> np.ndarray:
        side = BESIDE_PX, BESIDE_PX
        self._beside, self._beside_squared = cv2.blur(light, side), cv2.blur(squared, side)
        self._usual = np.float32(cv2.mean(light)[0])
        return cv2.subtract(light, self._beside)

    def of(self, places: np.ndarray) -> np.ndarray:
        """What is seen of some pixels.

        Parameters
        ----------
        places : (n,) ndarray of int
            Flat indices.

        Returns
        -------
        (n, LOOKS) float32 ndarray
            The log odds; how doubtful and how leafy it is around; how much lighter it is than near
            by, and how uneven near by; how much lighter, greener against red and greener against
            blue than sure leaves around, how uneven these are and how much of the window they are;
            the same of sure ground; how much more often sure leaf of this picture has such a colour
            than sure ground, here and on average near by (two windows), and how common it is in
            both (logarithms); how much lighter than the picture; how doubtful and how leafy it is
            far around, how much lighter, greener and greener than leaves there, and how much of it
            these are; the two numbers of the file; log odds and lightness, against what is near
            by, of the neighbours row by row.
        """
        rows, columns = np.divmod(places, self._size[1])
        odds, *mine = (plane.ravel()[places] for plane in self._own)
        doubt, leafy, *sides = (plane[rows // 2, columns // 2] for plane in self._around)
        far = [plane[rows // 4, columns // 4] for plane in self._far]
        beside, beside_squared = (
            plane.ravel()[places] for plane in (self._beside, self._beside_squared)
        )
        light = mine[0]
        figures = [odds, doubt, leafy, light - beside, _spread(beside_squared - beside**2)]
        figures += _against(mine, sides[:5]) + _against(mine, sides[5:])
        figures += [plane.ravel()[places] for plane in self._like] + [self._colours.common(places)]
        figures += [light - self._usual, far[0], far[1], *_differing(mine, far[2:], LEAST_FAR)]
        figures += [far[2], *(np.full(places.size, told) for told in self._told)]
        width = self._padded[0].shape[1]
        steps = (np.arange(NEAR_PX)[:, None] * width + np.arange(NEAR_PX)).ravel()
        near = (rows * width + columns)[:, None] + np.delete(steps, steps.size // 2)
        looks = np.empty((places.size, LOOKS), np.float32)
        looks[:, : len(figures)] = np.stack(figures, axis=1)
        looks[:, len(figures) :] = np.hstack([plane.ravel()[near] for plane in self._padded])
        return looks


def halved(plane: np.ndarray) -> np.ndarray:
    """Means of 2 x 2 px, mirrored where a side is odd.

    Parameters
    ----------
    plane : (H, W) float32 ndarray

    Returns
    -------
    ((H + 1) // 2, (W + 1) // 2) float32 ndarray
    """
    down, across = (side % 2 for side in plane.shape)
    if down or across:
        plane = cv2.copyMakeBorder(plane, 0, down, 0, across, cv2.BORDER_REFLECT_101)
    size = plane.shape[1] // 2, plane.shape[0] // 2
    return cv2.resize(plane, size, interpolation=cv2.INTER_AREA)


def _differing(mine, window, least: float) -> list[np.ndarray]:
    """Light and colours less those of sure pixels in a window; 0 where too few are sure."""
    much = np.maximum(window[0], np.float32(least))
    known = window[0] > least
    return [np.where(known, a - b / much, 0) for a, b in zip(mine, window[1:4], strict=True)]


def _against(mine, window) -> list[np.ndarray]:
    """`_differing` around, how uneven what is sure there is, and how much of the window it is."""
    much = np.maximum(window[0], np.float32(LEAST_AROUND))
    uneven = _spread(window[4] / much - (window[1] / much) ** 2)
    uneven = np.where(window[0] > LEAST_AROUND, uneven, 0)
    return [*_differing(mine, window, LEAST_AROUND), uneven, window[0]]


def _spread(variance: np.ndarray) -> np.ndarray:
    return np.sqrt(np.maximum(variance, np.float32(EVEN)))
