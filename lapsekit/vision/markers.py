"""Find printed tags and locate their corners to a few hundredths of a pixel.

OpenCV's detector finds the tags; its corners read a black square too small. Straight lines fitted
along the square's edges are steadier, yet a bias stays: a camera's tone curve is not known, and
blurred by the lens, the place where a picture reads half-way between ink and paper lies off the
true edge, into the ink, by the same small distance at every edge. (Ink that spreads in the paper
does the opposite.) A tag carries the cure: its code has edges of both polarities at known places.
Whatever moves all of them towards the ink makes its white cells wide and its black ones narrow,
and from that the shift is known and taken off the square: tone curve, sharpening, exposure and
ink no longer change the size that is read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from lapsekit.vision.colour import LINEAR
from lapsekit.vision.homographies import homography, project
from lapsekit.vision.robust import tukey_weights

DICTIONARIES = ("4X4_50", "5X5_100", "6X6_250", "7X7_250", "APRILTAG_36h11", "ARUCO_ORIGINAL")
"""Common sets of printed tags, in the order in which they are tried."""

_ROUNDS = 4
_SIDE = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
_ACROSS = np.linspace(0.2, 0.8, 7)
"""Where profiles cut a cell's edge: away from its ends, where other edges round it off."""
_EDGES_NEEDED = 0.6
_CELL_OFF, _INNER_NEEDED = 0.1, 0.9
"""Printers place cells to a few hundredths of their size: nine in ten must lie within a tenth."""
_REACH_CELLS, _REACH_PX, _REACH_LEAST_PX = 0.45, 6.0, 1.5
"""How far profiles reach to each side: not into the next edge, and past the lens's blur."""


@dataclass(frozen=True)
class Tag:
    """A printed tag in a picture.

    Attributes
    ----------
    number : int
        Its number in its dictionary.
    corners_px : ndarray of float64, shape (4, 2)
        Corners (x, y) of the black square, clockwise in the print from its top left; the centre
        of the picture's top left pixel is at (0, 0).
    residual_px : float
        Typical (root mean square, robust) distance of the edges seen from the fitted grid.
    corner_error_px : float
        Standard error of a corner that this leaves.
    dictionary : str
        One of OpenCV's predefined sets, without its ``DICT_``.
    """

    number: int
    corners_px: np.ndarray
    residual_px: float
    corner_error_px: float
    dictionary: str


def find_tags(luma: np.ndarray, dictionary: str | Sequence[str] = DICTIONARIES) -> tuple[Tag, ...]:
    """Every tag whose printed pattern fits, by number.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)
    dictionary : str or sequence of str
        Set of tags, or sets to try: the first with a tag in the picture counts, since a bench
        carries tags of one set. Naming the one set makes the search several times faster.

    Returns
    -------
    tuple of Tag
        Empty when there is none. Squares that look like a tag but whose edges do not fit its
        pattern are left out, and so is a number that is seen twice.
    """
    names = (dictionary,) if isinstance(dictionary, str) else tuple(dictionary)
    for name in names:
        corners, numbers = _detect(luma, name)
        if not len(numbers):
            continue
        light = LINEAR[luma]
        fitted = [fit_tag(light, c, int(n), name) for c, n in zip(corners, numbers, strict=True)]
        tags = [tag for tag in fitted if tag is not None]
        single = [t for t in tags if sum(t.number == other.number for other in tags) == 1]
        if single:
            return tuple(sorted(single, key=lambda tag: tag.number))
    return ()


def _detect(luma: np.ndarray, name: str) -> tuple[list[np.ndarray], np.ndarray]:
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, numbers, _ = cv2.aruco.ArucoDetector(_set_of(name), settings).detectMarkers(luma)
    if numbers is None:
        return [], np.empty(0, int)
    return [c.reshape(4, 2).astype(float) for c in corners], numbers.ravel()


def _set_of(name: str):
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{name}"))


@cache
def _edges(name: str, number: int) -> tuple[np.ndarray, np.ndarray, int]:
    """Points on the edges of a tag's cells, on the grid, and the way from ink to paper there.

    Returns points (n, 2) and unit steps (n, 2) in cells, and the grid's size in cells.
    """
    marks = _set_of(name)
    cells = marks.markerSize + 2
    paper = np.ones((cells + 2, cells + 2), bool)
    paper[1:-1, 1:-1] = cv2.aruco.generateImageMarker(marks, number, cells) > 127
    points, steps = [], []
    for axis in (0, 1):
        change = np.diff(paper.astype(int), axis=axis)
        for row, column in np.argwhere(change):
            along = np.array([column, row], float) - 1
            for share in _ACROSS:
                offset = (share, 1.0) if axis == 0 else (1.0, share)
                points.append(along + offset)
                steps.append(np.eye(2)[1 - axis] * change[row, column])
    return np.array(points), np.array(steps), cells


def fit_tag(light: np.ndarray, corners_px: np.ndarray, number: int, name: str) -> Tag | None:
    """Fit the edges of a tag's printed pattern to a picture, from rough corners.

    Parameters
    ----------
    light : ndarray of float32, shape (height, width)
        Linear light.
    corners_px : ndarray, shape (4, 2)
        Rough corners, good to a quarter of a cell.
    number : int
    name : str
        Dictionary.

    Returns
    -------
    Tag or None
        None where fewer than 60 % of the pattern's edges are seen near where they should be, or
        the code's own edges do not fit the square (part of it is covered, or it is no tag).
    """
    points, steps, cells = _edges(name, number)
    square, corners = _SIDE * cells, corners_px
    for _ in range(_ROUNDS):
        side_px = np.linalg.norm(corners - np.roll(corners, 1, 0), axis=1).min()
        reach = min(_REACH_CELLS * side_px / cells, _REACH_PX)
        matrix = homography(square, corners)
        at, normal = _on_picture(matrix, points, steps)
        offset = _crossings(light, at, normal, reach)
        if reach < _REACH_LEAST_PX or np.isfinite(offset).mean() < _EDGES_NEEDED:
            return None
        seen = at + np.nan_to_num(offset)[:, None] * normal
        sides = [_line(seen[on]) for on in _sides(points, cells, np.isfinite(offset))]
        if None in sides:
            return None
        corners = np.array([_meet(sides[k - 1], sides[k]) for k in range(4)])
    shift, shift_error, fits = _shift(offset, points, steps, cells, _CELL_OFF * side_px / cells)
    if fits < _INNER_NEEDED:
        return None
    moved = np.array([_meet(_moved(sides[k - 1], corners, shift), _moved(sides[k], corners, shift))
                      for k in range(4)])  # fmt: skip
    residual = float(np.sqrt(np.mean([side.spread**2 for side in sides])))
    # Neighbouring profiles share what a cell's edge has of grain and print: one value a cell. A
    # line's end is twice as unsure as its middle.
    error = float(np.hypot(2 * residual / np.sqrt(cells), shift_error))
    return Tag(number, moved, residual, error, name)


@dataclass(frozen=True)
class _Line:
    """A line ``normal · point = distance`` and the spread of what it was fitted to, in px."""

    normal: np.ndarray
    distance: float
    spread: float


def _sides(points, cells, seen):
    """Which points lie on the top, right, bottom and left side of the black square."""
    for axis, place in ((1, 0), (0, cells), (1, cells), (0, 0)):
        yield seen & (points[:, axis] == place)


def _line(points) -> _Line | None:
    """Robust total least squares; None with fewer than three points that agree."""
    weights = np.ones(len(points))
    for _ in range(6):
        if np.count_nonzero(weights) < 3:
            return None
        middle = weights @ points / weights.sum()
        off = points - middle
        normal = np.linalg.eigh((off * weights[:, None]).T @ off)[1][:, 0]
        weights = tukey_weights(off @ normal)
    spread = np.sqrt(weights @ (off @ normal) ** 2 / weights.sum())
    return _Line(normal, float(normal @ middle), float(spread))


def _moved(line: _Line, corners, distance: float) -> _Line:
    """The line `distance` nearer to the middle of the corners."""
    inwards = np.sign(line.normal @ corners.mean(0) - line.distance)
    return _Line(line.normal, line.distance + inwards * distance, line.spread)


def _meet(first: _Line, second: _Line) -> np.ndarray:
    return np.linalg.solve([first.normal, second.normal], [first.distance, second.distance])


def _on_picture(matrix, points, steps):
    """Places of the pattern's edge points and the unit normals there, from ink to paper."""
    at = project(matrix, points)
    along = project(matrix, points + 0.1 * steps[:, ::-1]) - at
    normal = np.stack([along[:, 1], -along[:, 0]], -1)
    to_paper = project(matrix, points + 0.1 * steps) - at
    normal *= np.sign((normal * to_paper).sum(1))[:, None]
    return at, normal / np.linalg.norm(normal, axis=1)[:, None]


def _shift(offset, points, steps, cells, tolerance_px):
    """How far every edge reads towards the paper and its standard error in px; share that fits.

    With all four outer edges shifted by s, the square fitted to them is stretched, and an inner
    edge at the share x of the square (-1 to 1), with paper on the side p (1 or -1), reads off its
    place on that square by s (1 - p x).
    """
    share = 2 * points / cells - 1
    lever = 1 - (share * steps).sum(1)
    inner = ((points > 0) & (points < cells)).all(1) & np.isfinite(offset)
    if not inner.any():
        return 0.0, np.inf, 0.0
    weights = np.ones(inner.sum())
    for _ in range(6):
        strength = weights @ lever[inner] ** 2
        shift = weights @ (lever[inner] * offset[inner]) / strength
        left = offset[inner] - shift * lever[inner]
        weights = tukey_weights(left)
    variance = weights @ left**2 / weights.sum()
    error = float(np.sqrt(len(_ACROSS) * variance / strength))
    return float(shift), error, float((np.abs(left) < tolerance_px).mean())


def _crossings(light, at, normal, reach):
    """How far along each normal a profile passes half-way from ink to paper; NaN where not."""
    steps = np.linspace(-reach, reach, 2 * int(np.ceil(4 * reach)) + 1)
    path = at[:, None] + steps[:, None] * normal[:, None]
    height, width = light.shape
    inside = ((path >= 1) & (path <= [width - 2, height - 2])).all((1, 2))
    path = path.astype(np.float32)
    profile = cv2.remap(light, path[..., 0], path[..., 1], cv2.INTER_CUBIC).astype(float)
    third = len(steps) // 3
    ink, paper = np.median(profile[:, :third], 1), np.median(profile[:, -third:], 1)
    half = ((ink + paper) / 2)[:, None]
    rising = (profile[:, :-1] < half) & (profile[:, 1:] >= half)
    middle = np.where(rising, np.abs(steps[:-1]), np.inf).argmin(1)
    line = np.arange(len(at))
    below, above = profile[line, middle], profile[line, middle + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (half[:, 0] - below) / (above - below)
    found = steps[middle] + share * (steps[1] - steps[0])
    return np.where(rising.any(1) & (paper > ink) & inside, found, np.nan)
