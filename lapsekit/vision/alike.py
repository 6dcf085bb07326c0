"""One frame a day by similar light: what a camera took often enough, no correction need make.

A shadow's edge or an overcast sky cannot be evened out; but among a day's frames there may be one
that was lit as the days beside it were. Frames are chosen along a chain of days (Viterbi 1967,
IEEE Trans. Inf. Theory 13: 260-269) so that their light differs little from one day to the next and
none is far from the hour that is wished for. The choice of a day looks `AHEAD_DAYS` days ahead and
no further, so that it stays while the season grows.
"""

from collections.abc import Sequence

import numpy as np

from lapsekit.vision.even_light import LUMINANCE

AHEAD_DAYS = 7

HOUR_COSTS = 0.05
"""What an hour away from the wished one costs, in the unit of differences in light: there, 0.05 are
5 % by which cells differ after exposure is evened out. A sunny and an overcast frame of one place
differ by 0.3 or so: up to some hours are given for that."""

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
    levels : ndarray of float, shape (n, cells, 3)
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
    between = [_differences(levels, a, b) for a, b in zip(of_day, of_day[1:], strict=False)]
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


def _differences(levels: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Difference in light of every frame of one day to every frame of another."""
    return np.array([[difference(levels[a], levels[b]) for b in second] for a in first])


def difference(first: np.ndarray, second: np.ndarray) -> float:
    """How differently two frames are lit, beside what evening out can undo.

    Parameters
    ----------
    first, second : ndarray of float, shape (cells, 3)
        Levels of two frames.

    Returns
    -------
    float
        Mean size of the cells' difference in ln luminance about its median (shadows, contrast),
        and half of the difference in tint: 0.1 are about 10 %. 0.5 where too few cells are told.
    """
    told = np.isfinite(first).all(axis=1) & np.isfinite(second).all(axis=1)
    if told.sum() < _FEWEST_CELLS:
        return _UNKNOWN
    here, there = (np.asarray(each[told], float) for each in (first, second))
    luminance = np.log(np.exp(here) @ LUMINANCE) - np.log(np.exp(there) @ LUMINANCE)
    uneven = np.abs(luminance - np.median(luminance)).mean()
    tint = np.median(here - there, axis=0)
    return float(uneven + _TINT * np.ptp(tint) / 2)
