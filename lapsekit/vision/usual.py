"""What a camera usually shows: figures of the season's own good frames, by time of day.

Frames are taken in order of time. Only frames that passed teach, and each is compared with those
before it, so that what is usual today does not change with tomorrow's frames. Where too few lie
before, at the start of a season, its first frames stand in for them.
"""

from collections import deque
from collections.abc import Sequence
from datetime import datetime, timedelta
from statistics import median

ENOUGH = 5
"""Comparable frames that make a usual value: the fewest whose median two mishaps cannot move."""

_SPAN = timedelta(days=21)
_SAME_HOUR_MINUTES = 75
_MOST = 240
_CHANGED_AFTER = timedelta(days=3)


class Usual:
    """Remembers one figure of the good frames of the last three weeks (at most 240).

    A change that lasts, like another lens or a whitewashed roof, becomes the new usual: if at
    least ten frames over three days were refused and none passed, those are taught instead.

    Parameters
    ----------
    start : sequence of (datetime, float)
        Figures of the season's first frames, used while too few frames lie before.
    """

    def __init__(self, start: Sequence[tuple[datetime, float]] = ()):
        self._start = list(start)
        self._good: deque[tuple[datetime, float]] = deque(maxlen=_MOST)
        self._refused: list[tuple[datetime, float]] = []

    def teach(self, at: datetime, value: float, passed: bool) -> None:
        """Remember a frame's figure, and whether it passed."""
        if passed:
            self._good.append((at, value))
            self._refused = []
            return
        self._refused.append((at, value))
        if len(self._refused) >= 2 * ENOUGH and at - self._refused[0][0] >= _CHANGED_AFTER:
            self._good = deque(self._refused, maxlen=_MOST)
            self._refused, self._start = [], []

    def at_this_hour(self, at: datetime) -> float | None:
        """Median figure of good frames within 75 minutes of this clock time; None if too few."""
        return self._median(at, lambda then: minutes_apart(then, at) <= _SAME_HOUR_MINUTES)

    def at_any_hour(self, at: datetime) -> float | None:
        """Median figure of all good frames of the last three weeks; None if too few."""
        return self._median(at, lambda then: True)

    def _median(self, at: datetime, counts) -> float | None:
        recent = [value for then, value in self._good if at - then <= _SPAN and counts(then)]
        if len(recent) < ENOUGH:
            near = [(t, value) for t, value in self._start if abs(at - t) <= _SPAN]
            recent = [value for then, value in near if counts(then)]
        return median(recent) if len(recent) >= ENOUGH else None


def minutes_apart(one: datetime, other: datetime) -> float:
    """Minutes between two clock times, 0 to 720, whatever their days."""
    apart = abs(one.hour * 60 + one.minute - other.hour * 60 - other.minute)
    return float(min(apart, 1440 - apart))
