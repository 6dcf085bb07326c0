"""Homographies and similarities as matrices (3, 3), and what is done with them."""

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


def similarity(source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Least-squares shift, turn and zoom from points (n, 2) to others: (3, 3)."""
    here, there = (points[:, 0] + 1j * points[:, 1] for points in (source, target))
    off = here - here.mean()
    zoom = (off.conj() * (there - there.mean())).sum() / (np.abs(off) ** 2).sum()
    shift = there.mean() - zoom * here.mean()
    return np.array(
        [[zoom.real, -zoom.imag, shift.real], [zoom.imag, zoom.real, shift.imag], [0, 0, 1]]
    )


def nearest_similarity(matrix: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """The similarity nearest to a homography over a picture of that shape."""
    places = corners_of(shape)
    return similarity(places, project(matrix, places))


def apart_px(first: np.ndarray, second: np.ndarray, shape: tuple[int, int]) -> float:
    """How far apart two movements put a corner of the picture, at most."""
    places = corners_of(shape)
    return float(np.linalg.norm(project(first, places) - project(second, places), axis=1).max())


def settled(matrix: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """A movement with the picture's corners on whole hundredths of a pixel, the nearest to it.

    Processors add in different orders, so the same frame is placed some 0.0001 px apart on two of
    them; a level of light read there, then the rim of a seedling, follows. Settled, both go on from
    the same place, but where a corner lies that close to the middle between two hundredths.
    """
    places = corners_of(shape)
    there = np.round(project(matrix, places) * 100) / 100
    return np.round(homography(places, there), 12)


def resized(matrix: np.ndarray, by: float) -> np.ndarray:
    """A movement between pictures, for the same pictures `by` times as large."""
    # The pixel centres of a picture made smaller lie in the middles of the pixels merged.
    size = np.array([[by, 0, (by - 1) / 2], [0, by, (by - 1) / 2], [0, 0, 1]])
    return size @ matrix @ np.linalg.inv(size)
