"""A picture's fingerprint: 128 bits that stay nearly the same when it is sent again.

A difference hash: the picture is averaged to a few cells, and each bit says whether a cell is
brighter than its neighbour. Another size, encoding or brightness changes few of the bits; another
picture, about half of them.
"""

import numpy as np

NEAR_BITS = 12
"""Pictures that differ in no more are nearly the same. Of independent ones, one pair in about 10²¹
would (binomial); those of one kind of scene are more alike than independent ones are, so a grower
is told, and nothing is thrown away."""

_SIDE = 8
_LUMINANCE = np.array([0.299, 0.587, 0.114])


def fingerprint(picture: np.ndarray) -> str:
    """Bits of a picture, as 32 hexadecimal digits.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB; at least 9 px each way.
    """
    grey = picture @ _LUMINANCE
    across = np.diff(_cells(grey, _SIDE, _SIDE + 1), axis=1) > 0
    down = np.diff(_cells(grey, _SIDE + 1, _SIDE), axis=0) > 0
    return np.packbits(np.concatenate([across.ravel(), down.ravel()])).tobytes().hex()


def bits_apart(one: str, other: str) -> int:
    """In how many bits two fingerprints differ, 0 to 128."""
    return (int(one, 16) ^ int(other, 16)).bit_count()


def _cells(grey: np.ndarray, rows: int, columns: int) -> np.ndarray:
    """Means of equal parts of a plane."""
    height, width = grey.shape
    tops = np.arange(rows) * height // rows
    lefts = np.arange(columns) * width // columns
    sums = np.add.reduceat(np.add.reduceat(grey, tops, axis=0), lefts, axis=1)
    heights, widths = np.diff([*tops, height]), np.diff([*lefts, width])
    return sums / (heights[:, None] * widths)
