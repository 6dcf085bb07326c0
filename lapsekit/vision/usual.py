"""What a camera usually shows: figures of the season's own good frames, by time of day.

Frames are taken in order of time. Only frames that passed teach, and each is compared with those
before it, so that what is usual today does not change with tomorrow's frames. Where too few lie
before, at the start of a season, its first frames stand in for them.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from lapsekit.vision.packing import packed, unpacked

ENOUGH = 5
"""Comparable frames that make a usual value: the fewest whose median two mishaps cannot move."""

_SPAN = timedelta(days=21)
_SAME_HOUR_MINUTES = 75
_MOST = 240
_DAY_MINUTES = 1440
_CHANGED_AFTER = timedelta(days=3)


class Usual:
    """Remembers the figures of the good frames of the last three weeks (at most 240).

    A change that lasts, like another lens or a whitewashed roof, becomes the new usual: if at
    least ten frames over three days were refused and none passed, those are taught instead.

    Parameters
    ----------
    start : sequence of (datetime, ndarray of float64, shape (figures,))
        When the season's first frames were taken, and their figures, always in the same order:
        used while too few frames lie before.
    """

    def __init__(self, start: Sequence[tuple[datetime, np.ndarray]] = ()):
        self._start = _table([_row(at, figures) for at, figures in start])
        self._good = _table([])
        self._refused = _table([])

    def as_plain(self) -> dict[str, object]:
        """All that is remembered, for JSON; `from_plain` takes it back."""
        return {name: packed(getattr(self, f"_{name}")) for name in ("start", "good", "refused")}

    @classmethod
    def from_plain(cls, plain: dict) -> "Usual":
        """What `as_plain` gave, remembered again."""
        usual = cls()
        usual._start, usual._good, usual._refused = (
            unpacked(plain[name]) for name in ("start", "good", "refused")
        )
        return usual

    def teach(self, at: datetime, figures: np.ndarray, passed: bool) -> None:
        """Remember a frame's figures, and whether it passed."""
        row = _row(at, figures)
        if passed:
            self._good, self._refused = _with_row(self._good[1 - _MOST :], row), _table([])
            return
        self._refused = _with_row(self._refused, row)
        lasting = row[0] - self._refused[0, 0] >= _CHANGED_AFTER.total_seconds()
        if lasting and len(self._refused) >= 2 * ENOUGH:
            self._good = self._refused[-_MOST:]
            self._refused, self._start = _table([]), _table([])

    def at_this_hour(self, at: datetime) -> np.ndarray | None:
        """Median figures of good frames within 75 minutes of this clock time; None if too few."""
        return self._median(at, _SAME_HOUR_MINUTES)

    def at_any_hour(self, at: datetime) -> np.ndarray | None:
        """Median figures of all good frames of the last three weeks; None if too few."""
        return self._median(at, _DAY_MINUTES)

    def _median(self, at: datetime, most_apart: float) -> np.ndarray | None:
        for table in (self._good, self._start):
            near = table[_near(table, at, most_apart)] if len(table) else table
            if len(near) >= ENOUGH:
                half = len(near) // 2
                return np.partition(near[:, 2:], half, axis=0)[half]
        return None


def _row(at: datetime, figures: np.ndarray) -> np.ndarray:
    """Seconds since 1970, minutes of the clock, figures."""
    return np.concatenate([[at.timestamp(), at.hour * 60 + at.minute], figures])


def _table(rows: list[np.ndarray]) -> np.ndarray:
    return np.array(rows) if rows else np.empty((0, 2))


def _with_row(table: np.ndarray, row: np.ndarray) -> np.ndarray:
    return np.vstack([table, row]) if len(table) else row[None]


def _near(table: np.ndarray, at: datetime, most_apart: float) -> np.ndarray:
    """Which rows lie within three weeks and within so many minutes of the clock time."""
    now, clock = _row(at, np.empty(0))
    apart = np.abs(table[:, 1] - clock)
    recent = np.abs(table[:, 0] - now) <= _SPAN.total_seconds()
    return recent & (np.minimum(apart, _DAY_MINUTES - apart) <= most_apart)


def minutes_apart(one: datetime, other: datetime) -> float:
    """Minutes between two clock times, 0 to 720, whatever their days."""
    apart = abs(one.hour * 60 + one.minute - other.hour * 60 - other.minute)
    return float(min(apart, _DAY_MINUTES - apart))
