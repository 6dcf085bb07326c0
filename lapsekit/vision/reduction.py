"""Large pictures are measured smaller than they are.

A bench fills a few hundred pixels of any camera; the rest is paid for in every step. A JPEG is
decoded at a half, a quarter or an eighth of its size faster than in full, by leaving out the fine
part of its cosine transform. What is measured there is told in the pixels of the whole frame.
"""

from collections.abc import Sequence

import numpy as np

from lapsekit.vision.plane import BenchPlane

LEAST_LONG_SIDE_PX = 800
"""No picture is reduced below this: a bench 1.3 m wide then still has 6 px a centimetre."""

_REDUCTIONS = (8, 4, 2)


def reduction_of(size: Sequence[int]) -> int:
    """How many times smaller a picture of some size (two sides, in px) is measured: 1, 2, 4 or 8.

    The most that leaves `LEAST_LONG_SIDE_PX` on its long side, and a pixel on its short one.
    """
    least = LEAST_LONG_SIDE_PX
    return next((by for by in _REDUCTIONS if max(size) >= by * least and min(size) >= by), 1)


def reduced_shape(shape: tuple[int, int], by: int) -> tuple[int, int]:
    """Height and width of a picture that was decoded `by` times smaller."""
    height, width = (side // by for side in shape)
    return height, width


def _to_whole(by: float) -> np.ndarray:
    """From the reduced picture to the whole one: (3, 3).

    The centre of the first reduced pixel is the middle of the first `by` × `by` whole ones.
    """
    return np.array([[by, 0, (by - 1) / 2], [0, by, (by - 1) / 2], [0, 0, 1]])


def reduced_points(points: Sequence[tuple[float, float]], by: float) -> tuple:
    """Points (x, y) of the whole picture in the reduced one."""
    if by == 1:
        return tuple(points)
    moved = (np.asarray(points, float) - (by - 1) / 2) / by
    return tuple((float(x), float(y)) for x, y in moved)


def whole_matrix(matrix: np.ndarray, by: float) -> np.ndarray:
    """A homography (3, 3) between two reduced pictures, as one between the whole ones."""
    if by == 1:
        return matrix
    there = _to_whole(by)
    return there @ matrix @ np.linalg.inv(there)


def reduced_matrix(matrix: np.ndarray, by: float) -> np.ndarray:
    """A homography (3, 3) between two whole pictures, as one between the reduced ones."""
    if by == 1:
        return matrix
    there = _to_whole(by)
    return np.linalg.inv(there) @ matrix @ there


def reduced_plane(plane: BenchPlane, by: int) -> BenchPlane:
    """The bench in the reduced picture, given where it lies in the whole one."""
    return plane if by == 1 else BenchPlane(plane.to_cm @ _to_whole(by))
