"""How much of a pixel at the edge of a leaf is leaf.

A lens and a JPEG spread an edge over some pixels, and a bright leaf on dark soil spreads farther
than a dark one, because pictures store light on a curve: wherever a threshold is put, areas come
out wrong by up to a pixel all round (8 % of a disc of radius 27 px). But light itself is neither
lost nor made by blur: in linear light, a pixel that is half leaf has the mean of the leaf's and the
ground's colours. So the share of leaf is read from the pure colours on both sides, nearby
(two-source unmixing; Adams, Smith & Johnson 1986, Journal of Geophysical Research 91).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.vision.colour import LINEAR

PURE_PX = (2, 3)
"""Pixels at least so far from the outline show pure leaf or pure ground: beyond the blur of a cheap
lens (1 px) and the coarser colour of a 4:2:0 JPEG (2 px). The farther ones count `PURER` times."""

PURER = 8.0
NEARBY = (3, 3)
"""Pure colours are means over squares of so many pixels at a quarter resolution, one after the
other, which comes near a Gaussian with a sigma of 5 px: as wide as a narrow leaf, so that light and
colour are those of the edge itself."""

LEAST_PURE_LEAF, LEAST_PURE_GROUND = 0.15, 0.05
"""Shares of that window that must be pure leaf, and pure ground. On the rim of a leaf 12 px broad
0.15 is pure leaf; on a narrower one, or a tuft with ground between, what counts as pure is not.
Where sides are multiples of 4, shares are whole 324ths: none lies on a bound, where rounding would
decide."""

LEAST_CONTRAST = 0.0004
"""Squared distance of the two colours in linear light (0 to 1 a channel) below which noise decides:
five times that of one step of 255 at middle grey, in three channels."""

EDGE_RULES = [*PURE_PX, PURER, *NEARBY, LEAST_PURE_LEAF, LEAST_PURE_GROUND, LEAST_CONTRAST]
"""All that shapes the result, for a mark."""


@dataclass(frozen=True, eq=False, repr=False)
class Shares:
    """Shares of leaf at some pixels.

    Attributes
    ----------
    leaf : (n,) float32 ndarray
        0 to 1.
    known : (n,) bool ndarray
        Where pure leaf and pure ground are near and differ. Elsewhere, `leaf` means nothing.
    purity : (n,) float32 ndarray
        Share of the window that is pure leaf: how much the leaf's colour rests on.
    """

    leaf: np.ndarray
    known: np.ndarray
    purity: np.ndarray


def window(reach_px: int) -> np.ndarray:
    """Square of ones that reaches so far on all sides."""
    return np.ones((2 * reach_px + 1,) * 2, np.uint8)


def leaf_shares(picture: np.ndarray, mask: np.ndarray, places: np.ndarray) -> Shares:
    """Share of leaf at pixels near the outline of a mask.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    mask : (H, W) uint8 ndarray
        1 where canopy, right to about 1.5 px; 0 elsewhere.
    places : (n,) intp ndarray
        Flat positions of the pixels that are asked for.

    Returns
    -------
    Shares
    """
    size = _halves(mask.shape[::-1])
    small = cv2.LUT(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), LINEAR)
    planes = cv2.split(small)
    rows, columns = np.divmod(places, mask.shape[1])
    across, down = _halves(size)
    at = np.minimum(rows // 4, down - 1) * across + np.minimum(columns // 4, across - 1)
    seen = cv2.LUT(picture.reshape(-1, 3).take(places, axis=0), LINEAR)
    ground, ground_near = _pure(planes, _weight([1 - cv2.dilate(mask, window(n)) for n in PURE_PX]))
    leaf, leaf_near = _pure(planes, _weight([cv2.erode(mask, window(n)) for n in PURE_PX]))
    enough = (leaf_near > LEAST_PURE_LEAF) & (ground_near > LEAST_PURE_GROUND)
    share, known = _between(seen, leaf, ground, enough, at)
    return Shares(share, known, leaf_near.ravel().take(at))


def _between(seen, leaf, ground, enough, at) -> tuple[np.ndarray, np.ndarray]:
    """How far colours lie on the way from ground to leaf, and where that can be told."""
    ways = [cv2.subtract(end, start) for end, start in zip(leaf, ground, strict=True)]
    contrast = sum(way * way for way in ways)
    known = (enough & (contrast > LEAST_CONTRAST)).ravel().take(at)
    share = np.zeros(len(at), np.float32)
    for level, start, way in zip(seen.T, ground, ways, strict=True):
        share += (level - start.ravel().take(at)) * way.ravel().take(at)
    share /= np.maximum(contrast.ravel().take(at), np.float32(1e-9))
    return np.clip(share, 0, 1, out=share), known


def _halves(size: tuple[int, int]) -> tuple[int, int]:
    return max(1, size[0] // 2), max(1, size[1] // 2)


def _weight(masks: list[np.ndarray]) -> np.ndarray:
    """What pure pixels count, at half resolution."""
    size = _halves(masks[0].shape[::-1])
    near, far = (cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST) for mask in masks)
    return near.astype(np.float32) + np.float32(PURER - 1) * far


def _pure(planes: Sequence[np.ndarray], weight: np.ndarray) -> tuple[list, np.ndarray]:
    """Weighted mean of the colours nearby, plane by plane, and the window's share with weight.

    Planes and weight are at half resolution, what is found at a quarter.
    """
    total = np.maximum(_nearby(weight), np.float32(1e-6))
    colour = [_nearby(cv2.multiply(plane, weight)) for plane in planes]
    for plane in colour:
        cv2.divide(plane, total, plane)
    return colour, _nearby(cv2.min(weight, 1))


def _nearby(plane: np.ndarray) -> np.ndarray:
    """Means over `NEARBY` pixels at half the plane's resolution."""
    found = cv2.resize(plane, _halves(plane.shape[::-1]), interpolation=cv2.INTER_AREA)
    for side in NEARBY:
        found = cv2.blur(found, (side, side), borderType=cv2.BORDER_REFLECT_101)
    return found
