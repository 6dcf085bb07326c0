"""Canopy of one region: pixels, cover and square centimetres."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from skimage.draw import polygon2mask


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


def region_mask(shape: tuple[int, int], points: Sequence[tuple[float, float]] | None) -> np.ndarray:
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
