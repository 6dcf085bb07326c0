"""Where things lie in pictures, in shares of width and height. Pure.

A page shows a picture at any size, so boxes and turns are told in shares: 0 is the left or upper
edge of a picture, 1 its right or lower edge; the middle of its first pixel is at half a pixel.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from lapsekit.settings import Region

Size = tuple[int, int]
#: Left, top, width and height.
Box = tuple[float, float, float, float]

#: What is left around a region's outlines, as a share of their longer side.
ROOM = 0.06


def box_of(region: Region, size: Size) -> Box:
    """The part of the reference view in which a region is shown through the whole season.

    Parameters
    ----------
    region : Region
        All its outlines are in the box, whatever day they are valid from, with some room.
    size : (int, int)
        Width and height of the reference view in px.

    Returns
    -------
    left, top, width, height : float
        Shares of the view. Square in px, unless the view is too narrow for that; within the view.
    """
    return union_box([region], size)


def union_box(regions: Sequence[Region], size: Size) -> Box:
    """As `box_of`, of several regions together, as the plants of a group."""
    outlines = [outline.points for region in regions for outline in region.outline]
    if any(points is None for points in outlines):
        return 0.0, 0.0, 1.0, 1.0
    points = np.array([point for points in outlines for point in points], float) + 0.5
    low, high = points.min(0), points.max(0)
    longest = float((high - low).max())
    side = max(longest, min((1 + 2 * ROOM) * longest, *size))
    lengths = [min(side, whole) for whole in size]
    starts = [
        min(max(middle - length / 2, 0.0), whole - length)
        for middle, length, whole in zip((low + high) / 2, lengths, size, strict=True)
    ]
    found = (*starts, *lengths)
    return tuple(round(float(px) / whole, 5) for px, whole in zip(found, size * 2, strict=True))


def turn_of(
    matrix: np.ndarray | None, size: Size, reference_size: Size
) -> tuple[float, ...] | None:
    """From a picture's shares to the reference view's.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3), or None
        From the reference view to the frame, in px of both (as a placement has it); None where
        the frame is taken as it is.
    size, reference_size : (int, int)
        Width and height of the frame and of the reference view in px.

    Returns
    -------
    tuple of nine floats, or None
        Row by row, the last is 1: a point (x, y, 1) of the picture times this is, divided by its
        third number, the same thing's place in the reference view. None where the frame is taken
        as it is.
    """
    if matrix is None:
        return None
    turn = _shares(reference_size) @ np.linalg.inv(matrix) @ _px(size)
    return tuple(round(number, 7) for number in (turn / turn[2, 2]).ravel().tolist())


def crop_matrix(box: Box, reference_size: Size, crop_size: Size) -> np.ndarray:
    """From px of a crop to px of the reference view, for a box in shares of that: (3, 3)."""
    left, top, width, height = box
    place = np.array([[width, 0, left], [0, height, top], [0, 0, 1]])
    return _px(reference_size) @ place @ _shares(crop_size)


def crop_size_of(box: Box, reference_size: Size, longest: int) -> Size:
    """Width and height in px of a crop whose longer side has `longest`, or what the view has."""
    sides = [share * whole for share, whole in zip(box[2:], reference_size, strict=True)]
    by = min(1.0, longest / max(sides))
    return tuple(max(1, round(by * side)) for side in sides)


@lru_cache(maxsize=64)
def _px(size: Size) -> np.ndarray:
    """From shares to px, where the middle of the first pixel is 0: (3, 3)."""
    return np.array([[size[0], 0, -0.5], [0, size[1], -0.5], [0, 0, 1]])


@lru_cache(maxsize=64)
def _shares(size: Size) -> np.ndarray:
    """From px to shares: (3, 3)."""
    return np.linalg.inv(_px(size))
