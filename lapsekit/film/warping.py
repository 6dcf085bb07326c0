"""A frame of the season -> its place in the film's picture, resampled as little as can be. Pure.

Matrices go from px of what is made to px of what is there; the middle of the first pixel is 0.
"""

import cv2
import numpy as np

from lapsekit.lettering import PAPER
from lapsekit.vision.homographies import corners_of, project

Size = tuple[int, int]

_SHRUNK_FROM = 1.2
"""From how many frame px to a film px on a picture is softened before it is sampled."""
_FINER_AT_MOST = 4
_MARGIN_PX = 4
_INVERSE = cv2.WARP_INVERSE_MAP


def film_to_frame(placement: np.ndarray | None, window: np.ndarray) -> np.ndarray:
    """From px of the film's picture to px of a frame: (3, 3).

    Parameters
    ----------
    placement : ndarray of float, shape (3, 3), or None
        From the reference view to the frame; None where it is taken as it is.
    window : ndarray of float, shape (3, 3)
        From the film's picture to the reference view.
    """
    return window if placement is None else placement @ window


def scale_of(matrix: np.ndarray, size: Size) -> float:
    """How many px of the frame a px in the middle of the film's picture is wide.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3)
        From the film's picture to the frame.
    size : (int, int)
        Width and height of the film's picture.
    """
    middle = (np.array(size) - 1) / 2
    here, right, below = project(matrix, middle + np.array([[0, 0], [1, 0], [0, 1]]))
    (ax, ay), (bx, by) = right - here, below - here
    return float(abs(ax * by - ay * bx) ** 0.5)


def reduction_for(matrix: np.ndarray, size: Size) -> int:
    """How many times smaller a frame may be decoded for the film: 1, 2, 4 or 8.

    The most that leaves a px of the frame for each of the film: nothing sharp is lost then, and
    what is left to shrink is less than a half.
    """
    scale = scale_of(matrix, size)
    return next((by for by in (8, 4, 2) if scale >= by), 1)


def place(
    picture: np.ndarray,
    placement: np.ndarray | None,
    window: np.ndarray,
    size: Size,
    by: int = 1,
    *,
    inner: tuple[int, int, int, int] | None = None,
    quick: bool = False,
) -> np.ndarray:
    """A frame as the film shows it.

    Enlarged, the part that is seen is first made finer by a whole number (bicubic; its weights
    are the same all over, which is fast) and that is read between its pixels; near its own size
    it is read by bicubic interpolation at once; shrunk, it is softened first by what the film
    cannot show, so that boards and slats do not shimmer.

    Where the film's picture reaches beyond the frame, the frame's edge is drawn out. Windows are
    chosen so that this is a few pixels of a single frame; drawn out it has the light and colour
    of its own frame, where a strip of the neighbouring frame would come and go as a border.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        The frame, decoded `by` times smaller.
    placement : ndarray of float, shape (3, 3), or None
        From the reference view to the frame at its own size; None where it is taken as it is.
    window : ndarray of float, shape (3, 3)
        From the film's picture to the reference view.
    size : (int, int)
        Width and height of the film's picture.
    by : {1, 2, 4, 8}
        See `picture` and `reduction_for`.
    inner : (int, int, int, int), optional
        Left, top, width and height of where the frame is shown; what is around it is paper. All
        of the film's picture by default.
    quick : bool
        Near its own size or shrunk, read by linear interpolation: a little softer and three times
        as fast, for windows that move with every picture of the film.

    Returns
    -------
    ndarray of uint8, shape (size[1], size[0], 3)
    """
    matrix = _of_reduced(film_to_frame(placement, window), by)
    if inner is None or inner == (0, 0, *size):
        return _read(picture, matrix, size, quick)
    left, top, width, height = inner
    sheet = np.full((size[1], size[0], 3), PAPER, np.uint8)
    matrix = matrix @ np.array([[1, 0, left], [0, 1, top], [0, 0, 1]])
    sheet[top : top + height, left : left + width] = _read(picture, matrix, (width, height), quick)
    return sheet


def _read(picture, matrix, size, quick):
    """A picture read at the places that `matrix` gives the px of another."""
    scale = scale_of(matrix, size)
    if scale <= 0.75:
        part, shift = _seen_part(picture, matrix, size)
        finer = min(_FINER_AT_MOST, max(2, round(1 / scale)))
        part = cv2.resize(part, None, fx=finer, fy=finer, interpolation=cv2.INTER_CUBIC)
        return _linear(part, _finer(finer) @ shift @ matrix, size)
    if scale >= _SHRUNK_FROM:
        part, shift = _seen_part(picture, matrix, size)
        picture, matrix = _softened(part, scale), shift @ matrix
    if quick:
        return _linear(picture, matrix, size)
    return cv2.warpPerspective(
        picture, matrix, size, flags=cv2.INTER_CUBIC | _INVERSE, borderMode=cv2.BORDER_REPLICATE
    )


def uncovered_px(matrix: np.ndarray, size: Size, shape: tuple[int, int]) -> float:
    """How deep, in px of the film, its picture reaches beyond a frame; 0 where it is all in it.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3)
        From the film's picture to the frame.
    size : (int, int)
        Width and height of the film's picture.
    shape : (height, width)
        Of the frame.
    """
    at = project(matrix, corners_of(size[::-1]))
    low, high = -0.5, np.array(shape[::-1]) - 0.5
    return float(np.maximum(low - at, at - high).max(initial=0)) / scale_of(matrix, size)


def _of_reduced(matrix: np.ndarray, by: int) -> np.ndarray:
    """A matrix to px of a frame as one to px of it decoded `by` times smaller."""
    return _finer(1 / by) @ matrix


def _finer(by: float) -> np.ndarray:
    """From px of a picture to px of the same `by` times as large: (3, 3)."""
    return np.array([[by, 0, (by - 1) / 2], [0, by, (by - 1) / 2], [0, 0, 1]])


def _seen_part(picture, matrix, size):
    """The part of a picture that the film's picture shows, and the matrix (3, 3) to its px."""
    seen = project(matrix, corners_of(size[::-1]))
    limits = np.array(picture.shape[1::-1])
    low = np.clip(np.floor(seen.min(0)).astype(int) - _MARGIN_PX, 0, limits - 1)
    high = np.clip(np.ceil(seen.max(0)).astype(int) + _MARGIN_PX + 1, low + 1, limits)
    shift = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]], float)
    return picture[low[1] : high[1], low[0] : high[0]], shift


def _softened(picture, scale):
    """Freed of what is finer than a pixel `scale` times as wide can show."""
    sigma = 0.5 * (scale**2 - 1) ** 0.5
    reach = 2 * int(np.ceil(2 * sigma)) + 1
    return cv2.GaussianBlur(picture, (reach, reach), sigma, borderType=cv2.BORDER_REPLICATE)


def _linear(picture, matrix, size):
    # Four channels are read twice as fast as three: a pixel is then one word
    four = cv2.cvtColor(picture, cv2.COLOR_RGB2RGBA)
    flags = cv2.INTER_LINEAR | _INVERSE
    found = cv2.warpPerspective(four, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return cv2.cvtColor(found, cv2.COLOR_RGBA2RGB)
