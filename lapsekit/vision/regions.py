"""Canopy of one region: pixels, cover and square centimetres."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from skimage.draw import polygon2mask

Points = Sequence[tuple[float, float]]
Inside = tuple[tuple[slice, slice], np.ndarray]


@dataclass(frozen=True)
class RegionCanopy:
    """Canopy inside one outline.

    Attributes
    ----------
    region_px, canopy_px : int
        Pixels whose centre lies inside the outline, and how many of them canopy would fill.
    cover : float
        Canopy share of the region, 0 to 1.
    area_cm2 : float or None
        Canopy area on the bench plane; None without a scale.
    """

    region_px: int
    canopy_px: int
    cover: float
    area_cm2: float | None


def region_mask(shape: tuple[int, int], points: Points | None) -> np.ndarray:
    """Pixels whose centres lie inside an outline.

    Parameters
    ----------
    shape : (height, width)
        Size of the upright picture in px.
    points : sequence of (x, y), or None
        Outline in px, x to the right and y down, the centre of the top left pixel at (0, 0);
        None for the whole picture.

    Returns
    -------
    ndarray of bool, shape (height, width)
    """
    if points is None:
        return np.ones(shape, bool)
    return polygon2mask(shape, [(y, x) for x, y in points])


def region_window(shape: tuple[int, int], points: Points | None) -> Inside:
    """The box around an outline, and the outline's pixels in it.

    Parameters
    ----------
    shape, points
        As for `region_mask`.

    Returns
    -------
    box : (slice, slice)
        Rows and columns.
    inside : ndarray of bool, of the shape of the box
        Kept, and not to be changed.
    """
    return _window(shape, points and tuple(map(tuple, points)))


@lru_cache(maxsize=256)
def _window(shape: tuple[int, int], points: tuple | None) -> Inside:
    if points is None:
        return (slice(None), slice(None)), np.ones(shape, bool)
    x, y = np.asarray(points, float).T
    left, top = max(0, int(np.floor(x.min()))), max(0, int(np.floor(y.min())))
    right, bottom = int(np.ceil(x.max())) + 1, int(np.ceil(y.max())) + 1
    box = (slice(top, min(bottom, shape[0])), slice(left, min(right, shape[1])))
    size = (max(0, box[0].stop - top), max(0, box[1].stop - left))
    return box, region_mask(size, [(px - left, py - top) for px, py in points])


def outside(
    shape: tuple[int, int], points: Sequence[tuple[float, float]] | None
) -> tuple[int, tuple[float, float]] | None:
    """The first point of an outline that lies outside the picture, with its number from 1."""
    height, width = shape
    for number, (x, y) in enumerate(points or (), start=1):
        if not (0 <= x <= width and 0 <= y <= height):
            return number, (x, y)
    return None


def region_canopy(
    cover: np.ndarray, region: np.ndarray, weights_cm2: np.ndarray | None
) -> RegionCanopy:
    """Sum up the canopy inside a region.

    Parameters
    ----------
    cover : ndarray of uint8, shape (height, width)
        Share of canopy in each pixel of the frame, 0 to 255.
    region : ndarray of bool, shape (height, width)
        Mask of the region.
    weights_cm2 : ndarray of float, shape (height, width), or None
        Bench area that each pixel covers; None without a scale.

    Returns
    -------
    RegionCanopy
    """
    region_px = int(np.count_nonzero(region))
    inside = np.where(region, cover, 0)
    share = float(inside.sum(dtype=np.int64)) / 255
    area = None
    if weights_cm2 is not None:
        area = float(np.einsum("ij,ij", inside, weights_cm2, dtype=np.float64)) / 255
    return RegionCanopy(region_px, round(share), share / region_px if region_px else 0.0, area)


def mean_share(shares: np.ndarray, region: np.ndarray) -> float:
    """Mean, 0 to 1, of shares of 255 (uint8) over a region (bool) of the same shape; 0 if empty."""
    inside = int(np.where(region, shares, 0).sum(dtype=np.int64))
    return inside / 255 / max(1, int(np.count_nonzero(region)))
