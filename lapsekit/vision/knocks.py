"""Lasting changes of a camera's view, told from jitter, from warming up and from single frames."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lapsekit.vision.homographies import project
from lapsekit.vision.robust import robust_sigma

_FRAMES_TO_COMPARE = 5
_FRAMES_TO_LAST = 2
_CLEAR_SIGMAS = 6.0
_LEAST_PX = 1.0
"""A view that changed by less moves no outline by a pixel; warming up moves it by about as much."""


@dataclass(frozen=True)
class Knock:
    """A lasting change of view.

    Attributes
    ----------
    before, at : int
        Last frame seen in the old view and first frame seen in the new one.
    shift_px : tuple of float
        How far the middle of the picture moved to the right and down.
    size_px : float
        Its length.
    turn_deg : float
        How far the picture turned about its middle, clockwise as one looks at it.
    """

    before: int
    at: int
    shift_px: tuple[float, float]
    size_px: float
    turn_deg: float


def knocks(matrices: Sequence[np.ndarray | None], shape: tuple[int, int]) -> tuple[Knock, ...]:
    """Find the lasting changes of view in a series of registrations.

    The series is cut where the view steps, from one frame to the next, clear of its own jitter
    (by six times the robust standard deviation of its steps, at least one pixel). A knock is a
    cut whose two sides, each of two frames or more, differ by as much in the middle of the five
    frames next to it. A single frame out of place is none, and neither is a slow drift.

    Parameters
    ----------
    matrices : sequence of ndarray (3, 3) or None
        From the reference view to each frame, in order of time; None where a frame could not be
        registered.
    shape : (height, width)
        Of the pictures.

    Returns
    -------
    tuple of Knock
        In order of time; places count in `matrices`. A change in the last frame alone is not
        reported yet.
    """
    known = [k for k, matrix in enumerate(matrices) if matrix is not None]
    if len(known) < 2 * _FRAMES_TO_LAST:
        return ()
    cross = _cross(shape)
    seen = np.array([project(matrices[k], cross) for k in known])
    steps = np.diff(seen, axis=0)
    bound = max(_LEAST_PX, _CLEAR_SIGMAS * robust_sigma(_length(steps)))
    starts = [0, *(np.flatnonzero(_length(steps) >= bound) + 1), len(seen)]
    views = [(a, b) for a, b in pairwise(starts) if b - a >= _FRAMES_TO_LAST]
    found = []
    for (since, until), (start, end) in pairwise(views):
        old = np.median(seen[max(since, until - _FRAMES_TO_COMPARE) : until], 0)
        new = np.median(seen[start : min(end, start + _FRAMES_TO_COMPARE)], 0)
        if _length(new - old) >= bound:
            found.append(_told(known[until - 1], known[start], old, new))
    return tuple(found)


def _cross(shape):
    """The picture's middle and the middles of its left, right, upper and lower side."""
    height, width = shape
    x, y = (width - 1) / 2, (height - 1) / 2
    return np.array([[x, y], [0, y], [2 * x, y], [x, 0], [x, 2 * y]])


def _length(moves):
    """Root mean square over the points of moves (..., points, 2)."""
    return np.sqrt((moves**2).sum(-1).mean(-1))


def _told(before, at, old, new) -> Knock:
    # Perspective moves opposite sides alike: it drops out of the lines between them.
    turns = []
    for one, other in ((1, 2), (3, 4)):
        (ax, ay), (bx, by) = old[other] - old[one], new[other] - new[one]
        turns.append(np.arctan2(ax * by - ay * bx, ax * bx + ay * by))
    right, down = new[0] - old[0]
    return Knock(
        before,
        at,
        (float(right), float(down)),
        float(np.hypot(right, down)),
        float(np.rad2deg(np.mean(turns))),
    )
