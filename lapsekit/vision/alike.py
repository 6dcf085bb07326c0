"""One frame a day by similar light: what a camera took often enough, no correction need make.

A shadow's edge or an overcast sky cannot be evened out; but among a day's frames there may be one
that was lit as the days beside it were. Frames are chosen along a chain of days (Viterbi 1967,
IEEE Trans. Inf. Theory 13: 260-269) so that their light differs little from one day to the next and
none is far from the hour that is wished for. The choice of a day looks `AHEAD_DAYS` days ahead and
no further, so that it stays while the season grows.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from lapsekit.vision.even_light import LUMINANCE

AHEAD_DAYS = 7

HOUR_COSTS = 0.02
"""What an hour away from the wished one costs, in the unit of differences in light: 0.02 are 2 %
by which cells differ after exposure is evened out. A sunny and an overcast frame of one place
differ by about 0.3."""

_CELLS = 400
_FEWEST_CELLS = 12
_UNKNOWN = 0.5
_TINT = 0.5


def alike(
    levels: np.ndarray,
    days: Sequence[int] | np.ndarray,
    hour_of_day: Sequence[float] | np.ndarray,
    wished_hour: float,
    hour_costs: float = HOUR_COSTS,
) -> list[int]:
    """One frame of each day, lit like its neighbours and near the wished hour.

    Parameters
    ----------
    levels : ndarray of float, shape (n, cells, 4)
        From `LightCells.measure`, in order of time.
    days : sequence of int, n
        Number of each frame's day, rising.
    hour_of_day : sequence of float, n
        In 0 to 24.
    wished_hour : float
    hour_costs : float
        What an hour away from the wished one costs; 0 leaves the hour free.

    Returns
    -------
    list of int
        Places of the chosen frames, one for every day that has a frame.
    """
    hours = np.asarray(hour_of_day, float)
    away = np.abs((hours - wished_hour + 12) % 24 - 12) * hour_costs
    of_day = [np.flatnonzero(np.asarray(days) == day) for day in np.unique(days)]
    between = [differences(levels[a], levels[b]) for a, b in pairwise(of_day)]
    chosen: list[int] = []
    for number, frames in enumerate(of_day):
        ahead = np.zeros(len(of_day[min(number + AHEAD_DAYS, len(of_day) - 1)]))
        for later in range(min(number + AHEAD_DAYS, len(of_day) - 1), number, -1):
            costs = between[later - 1] + (away[of_day[later]] + ahead)
            ahead = costs.min(axis=1)
        costs = away[frames] + ahead
        if chosen:
            costs = costs + between[number - 1][np.flatnonzero(of_day[number - 1] == chosen[-1])[0]]
        chosen.append(int(frames[np.argmin(costs)]))
    return chosen


def differences(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """How differently frames are lit, beside what evening out can undo.

    Parameters
    ----------
    first : ndarray of float, shape (a, cells, 4)
    second : ndarray of float, shape (b, cells, 4)
        Levels of frames.

    Returns
    -------
    ndarray of float64, shape (a, b)
        Mean size of the cells' difference in ln luminance about its median (shadows, contrast),
        and half of the difference in tint: 0.1 are about 10 %. 0.5 where too few cells are told.
    """
    every = max(1, first.shape[1] // _CELLS)
    here, there = (np.asarray(each[:, ::every, :3], float) for each in (first, second))
    return np.array([_from_one(frame, there, _FEWEST_CELLS / every) for frame in here])


def _from_one(frame: np.ndarray, others: np.ndarray, fewest: float) -> np.ndarray:
    """Differences of one frame (cells, 3) from others (b, cells, 3)."""
    off = _luminance(frame) - _luminance(others)
    told = np.isfinite(off).sum(axis=1) >= fewest
    off[~told] = 0
    uneven = np.nanmean(np.abs(off - np.nanmedian(off, axis=1, keepdims=True)), axis=1)
    tint = frame - others
    tint[~told] = 0
    tinted = np.ptp(np.nanmedian(tint, axis=1), axis=1) / 2
    return np.where(told, uneven + _TINT * tinted, _UNKNOWN)


def _luminance(levels: np.ndarray) -> np.ndarray:
    return np.log(np.exp(levels) @ LUMINANCE)
