"""What a camera usually shows: figures of the season's own good frames, by time of day.

Frames are taken in order of time. Only frames that passed teach, and each is compared with those
before it, so that what is usual today does not change with tomorrow's frames. Where too few lie
before, at the start of a season, its first frames stand in for them.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import numpy as np

ENOUGH = 5
"""Comparable frames that make a usual value: the fewest whose median two mishaps cannot move."""

_SPAN = timedelta(days=21)
_SAME_HOUR_MINUTES = 75
_MOST = 240
_CHANGED_AFTER = timedelta(days=3)

Row = tuple[datetime, np.ndarray]
"""When a frame was taken, and its figures as float64, always in the same order."""


class Usual:
    """Remembers the figures of the good frames of the last three weeks (at most 240).

    A change that lasts, like another lens or a whitewashed roof, becomes the new usual: if at
    least ten frames over three days were refused and none passed, those are taught instead.

    Parameters
    ----------
    start : sequence of (datetime, ndarray of float64, shape (figures,))
        Figures of the season's first frames, used while too few frames lie before.
    """

    def __init__(self, start: Sequence[Row] = ()):
        self._start = list(start)
        self._good: deque[Row] = deque(maxlen=_MOST)
        self._refused: list[Row] = []

    def teach(self, at: datetime, figures: np.ndarray, passed: bool) -> None:
        """Remember a frame's figures, and whether it passed."""
        if passed:
            self._good.append((at, figures))
            self._refused = []
            return
        self._refused.append((at, figures))
        if len(self._refused) >= 2 * ENOUGH and at - self._refused[0][0] >= _CHANGED_AFTER:
            self._good = deque(self._refused, maxlen=_MOST)
            self._refused, self._start = [], []

    def at_this_hour(self, at: datetime) -> np.ndarray | None:
        """Median figures of good frames within 75 minutes of this clock time; None if too few."""
        return self._median(at, lambda rows: _of_hour(rows, at))

    def at_any_hour(self, at: datetime) -> np.ndarray | None:
        """Median figures of all good frames of the last three weeks; None if too few."""
        return self._median(at, lambda rows: [figures for _, figures in rows])

    def _median(self, at: datetime, chosen) -> np.ndarray | None:
        recent = chosen([row for row in self._good if at - row[0] <= _SPAN])
        if len(recent) < ENOUGH:
            recent = chosen([row for row in self._start if abs(at - row[0]) <= _SPAN])
        return np.median(recent, axis=0) if len(recent) >= ENOUGH else None


def _of_hour(rows: Iterable[Row], at: datetime) -> list[np.ndarray]:
    return [figures for then, figures in rows if minutes_apart(then, at) <= _SAME_HOUR_MINUTES]


def minutes_apart(one: datetime, other: datetime) -> float:
    """Minutes between two clock times, 0 to 720, whatever their days."""
    apart = abs(one.hour * 60 + one.minute - other.hour * 60 - other.minute)
    return float(min(apart, 1440 - apart))
