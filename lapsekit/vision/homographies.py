"""Homographies: projecting points, and the one that takes four points to four others."""

import numpy as np


def project(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Points (..., 2) moved by a homography (3, 3)."""
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return moved[..., :2] / moved[..., 2:]


def homography(source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """The homography that takes four points (4, 2), no three on a line, to four others.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        Its last number is 1.
    """
    rows = []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    return np.array([*np.linalg.solve(rows, np.ravel(target)), 1.0]).reshape(3, 3)


def normal_form(shape: tuple[int, int]) -> np.ndarray:
    """Takes pixels to a picture's middle as origin and half its width as unit: (3, 3)."""
    height, width = shape
    unit = 2 / width
    return np.array(
        [[unit, 0, -(width - 1) / 2 * unit], [0, unit, -(height - 1) / 2 * unit], [0, 0, 1]]
    )


def corners_of(shape: tuple[int, int]) -> np.ndarray:
    """Centres of a picture's corner pixels, clockwise from the top left: (4, 2)."""
    height, width = shape
    return np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
