"""A look at the likeliest spans with growth laws, where the trend hints at a pause."""

from collections.abc import Sequence

import numpy as np

from lapsekit.growth.spans import Scan
from lapsekit.growth.standstills import Laws
from lapsekit.growth.trend import Trend

REACH_DAYS = 60
"""Days before and after the middle of the likeliest span that laws are fitted to: none holds for
ever."""

LEAST_BESIDE = 3.0
"""What the span that laws prefer must gain against the trend, beyond chance: what the trend takes
for weather or for leaves that hang is no pause, however well laws fit."""

MOST_FROM_JUMP = 4.0
"""Up to this, what a standstill gains over the best jump counts as evidence."""

_HOPELESS = -8.0  # beyond chance, before the best days are looked for
_LEAST = -4.0  # beyond chance, against the trend
_COARSE, _FINE = (-4, -2, 0, 2, 4), (-1, 0, 1)


class Look:
    """Growth laws beside the days around the span that gains most.

    Parameters
    ----------
    trend : Trend
    scan : Scan
        Not empty.
    good : ndarray of bool, shape (n,)
        Days that belong.
    jumps : ndarray of float, shape (k,)
        Days from which on the area may differ by any factor.
    paused : sequence of (start, end)
        Pauses found before.

    Attributes
    ----------
    inside : ndarray of bool, shape (m,)
        Which spans were looked at.
    """

    def __init__(self, trend: Trend, scan: Scan, good, jumps, paused: Sequence = ()):
        spans, self._days = scan.spans, trend.series.days
        best = int(scan.beyond.argmax())
        middle = (spans.starts[best] + spans.ends[best]) / 2
        seen = good & (np.abs(self._days - middle) <= REACH_DAYS)
        first, last = self._days[seen][[0, -1]]
        self.inside = (spans.starts >= first) & (spans.ends <= last)
        self.inside[best] = True
        self._scan, self._jumps = scan, jumps
        self._laws = Laws(trend.weighed, seen, jumps, trend.scatter, paused)

    def likeliest(self) -> int | None:
        """Index of the span that laws make the best of; None if it is none to hope for."""
        tried = self._scan.various(self.inside, _LEAST)
        place, beyond = self._best_of(tried)
        if beyond < _HOPELESS:
            return None
        for steps in (_COARSE, _FINE):
            place, _ = self._best_of(self._scan.spans.around(place, steps))
        return place if self._scan.beyond[place] >= LEAST_BESIDE else None

    def evidence(self, place: int) -> float:
        """Twice the log-likelihood that a span gains beyond chance, and over the best jump.

        Minus infinity where one jump explains more.
        """
        gain, over_jump = self._by_laws(place)
        if over_jump < 0:
            return -np.inf
        return gain - self._scan.spans.chances[place] + min(over_jump, MOST_FROM_JUMP)

    def over_jump(self, place: int) -> float:
        """Twice the log-likelihood that a span gains over the best jump within it."""
        return self._by_laws(place)[1]

    def _by_laws(self, place: int) -> tuple[float, float]:
        start, end = self._scan.spans.starts[place], self._scan.spans.ends[place]
        within = self._days[(self._days > start) & (self._days <= np.ceil(end))]
        gain = self._laws.gain(start, end)
        return gain, gain - self._laws.jump_gain(np.setdiff1d(within, self._jumps))

    def _best_of(self, which: np.ndarray) -> tuple[int, float]:
        beyond = self._gains(which) - self._scan.spans.chances[which]
        return int(which[beyond.argmax()]), float(beyond.max())

    def _gains(self, which: np.ndarray) -> np.ndarray:
        return self._laws.gains(self._scan.spans.starts[which], self._scan.spans.ends[which])
