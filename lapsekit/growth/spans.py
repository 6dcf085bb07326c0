"""Spans in which growth may have stood still, and what they add to a trend."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from lapsekit.growth.trend import Gains, Trend
from lapsekit.growth.weighing import Spells, Weighed

GRAIN = 0.5
"""Days between the moments that are tried."""

_LENGTHS = (0, 6, 12, 20)
_EACH = 4
_APART = 3.0  # days by which starts and ends of two spans differ, together


@dataclass(frozen=True)
class Spans:
    """Spans (m,) of a series.

    Attributes
    ----------
    first, last : ndarray of int
        Which moments begin and end them.
    starts, ends : ndarray of float
        On the scale of the days.
    among_days : float
        Days of the season, which chances are counted over.
    spells : Spells
    """

    first: np.ndarray
    last: np.ndarray
    starts: np.ndarray
    ends: np.ndarray
    among_days: float
    spells: Spells | None

    @classmethod
    def between(cls, weighed: Weighed, knots, first, last, among_days: float) -> "Spans":
        """Spans between moments (k,), by their indices."""
        spells = weighed.spells(knots, first, last) if first.size else None
        return cls(first, last, knots[first], knots[last], among_days, spells)

    @property
    def size(self) -> int:
        """How many there are."""
        return self.first.size

    @property
    def lengths(self) -> np.ndarray:
        """In days."""
        return self.ends - self.starts

    @cached_property
    def chances(self) -> np.ndarray:
        """Twice the logarithm of how often each goes into the season."""
        return 2 * np.log(self.among_days / self.lengths)

    def some(self, which: np.ndarray) -> "Spans":
        """Those with the indices given."""
        arrays = {name: getattr(self, name)[which] for name in ("first", "last", "starts", "ends")}
        return replace(self, **arrays, spells=self.spells.some(which))

    def scanned(self, trend: Trend) -> "Scan":
        """What each adds to a trend."""
        return Scan(self, trend.gains(self.spells))

    def around(self, place: int, steps) -> np.ndarray:
        """Indices of those that begin and end by so many moments later than one of them."""
        first, last = self.first - self.first[place], self.last - self.last[place]
        return np.flatnonzero(np.isin(first, steps) & np.isin(last, steps))


@dataclass(frozen=True)
class Scan:
    """Spans beside what they add to a trend."""

    spans: Spans
    gains: Gains

    @cached_property
    def beyond(self) -> np.ndarray:
        """Gains beyond chance; 0 where growth is rather faster."""
        return np.where(self.gains.size < 0, self.gains.gain - self.spans.chances, 0.0)

    def some(self, which: np.ndarray) -> "Scan":
        """Those with the indices given."""
        return Scan(self.spans.some(which), self.gains.some(which))

    def various(self, among: np.ndarray, least: float) -> np.ndarray:
        """Indices of the best of those among (m,), of all lengths and apart from each other."""
        lengths, found = self.spans.lengths, []
        length_class = np.digitize(lengths, _LENGTHS)
        for each in range(1, len(_LENGTHS) + 1):
            which = np.flatnonzero(among & (length_class == each) & (self.beyond > least))
            found += self._apart(which[np.argsort(-self.beyond[which])])
        return np.array(found, int)

    def _apart(self, which: np.ndarray) -> list[int]:
        chosen: list[int] = []
        while which.size and len(chosen) < _EACH:
            chosen.append(int(which[0]))
            starts, ends = self.spans.starts, self.spans.ends
            apart = np.abs(starts[which] - starts[which[0]]) + np.abs(ends[which] - ends[which[0]])
            which = which[apart >= _APART]
        return chosen


def pairs(moments: int, lengths: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All pairs of moments that lie so many moments apart, in order of the first."""
    first = np.repeat(np.arange(moments), lengths.size)
    last = first + np.tile(lengths, moments)
    return first[last < moments], last[last < moments]
