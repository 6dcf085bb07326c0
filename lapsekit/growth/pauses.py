"""Growth that stops and starts again, such as after potting on.

A pause from one day to another takes the days' growth away: the log of the area is lower by the
lost rate times the days passed in it. Every pair of days is tried as beginning and end, against a
trend whose slope wanders by itself (see `lapsekit.growth.trend`), and the pair that improves the
fit most is a pause if the gain is larger than chance gives (a scan statistic; Siegmund 1985,
*Sequential analysis*). What one jump explains as well (a knock, a cut) is none. The search is
repeated with what was found taken into account.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lapsekit.growth.breaks import find_breaks
from lapsekit.growth.forms import hinges, steps
from lapsekit.growth.series import LEAST_DAYS, Series, measured_series
from lapsekit.growth.trend import Gains, Trend
from lapsekit.growth.weighing import Prior

LEAST_PAUSE, MOST_PAUSE = 3, 35
"""Shortest and longest pause looked for, in days."""

LEAST_CLEAR = 3
"""Clear measured days that must lie before, within and after a pause."""

MOST_DOUBTFUL = 0.25
"""Largest share of a pause's days that may be doubtful."""

MOST_RATE_LEFT = 0.4
"""A pause leaves less than this share of the growth rate before and after it."""

SURELY_LEFT = 0.75
"""The interval of what a pause leaves of the rate ends below this."""

LEAST_GAIN = 6.0
"""Twice the log-likelihood that a pause must gain, beyond twice the logarithm of how often its
length goes into the days measured: there are more chances for a short one (Dümbgen & Spokoiny
2001, Ann. Statist. 29: 124–152). ``tests/bench/growth_study.py`` counts the plants without a pause
that reach it: about one in a hundred."""

LEAST_SECOND_TURN = 4.5
"""Twice the log-likelihood that stopping and starting again must gain over either alone."""

_NEAR = 2.0
_INTERVAL_GAIN = 6.0
_MOST_PAUSES = 4
_GRAIN = 0.5  # days between the moments that are tried


@dataclass(frozen=True)
class Pause:
    """A span in which growth stood (nearly) still.

    Attributes
    ----------
    start, end : float
        Last day of growth before, and first day from which it goes on, on the scale of the days.
    start_low, start_high, end_low, end_high : float
        95 % intervals.
    length_days, length_low, length_high : float
        From start to end.
    lost_rgr_per_day : float
        By how much the relative growth rate was lower.
    rate_left, rate_left_low, rate_left_high : float
        Rate in the pause as a share of the rate around it: 0 is a standstill, below 0 the canopy
        shrank.
    gain : float
        Twice the log-likelihood gained; the larger, the surer.
    """

    start: float
    start_low: float
    start_high: float
    end: float
    end_low: float
    end_high: float
    length_days: float
    length_low: float
    length_high: float
    lost_rgr_per_day: float
    rate_left: float
    rate_left_low: float
    rate_left_high: float
    gain: float


def find_pauses(
    days, area_cm2, error_cm2, doubtful=None, among_days: float | None = None
) -> list[Pause]:
    """Find the spans in which growth stopped and then went on.

    Parameters
    ----------
    days : array_like of int, shape (n,)
        Rising: plant age in days, or a date's ordinal.
    area_cm2 : array_like of float, shape (n,)
        Canopy area; NaN on a day without a value.
    error_cm2 : array_like of float, shape (n,)
        Standard error of each day: half its 95 % interval over 1.96.
    doubtful : array_like of bool, shape (n,), optional
        Days on which the region was crowded or obstructed, or the camera was knocked. They are
        left out; across them the area may change at once, so that growth missing there is not
        taken for a pause. A pause neither begins nor ends on one of them, and at most
        `MOST_DOUBTFUL` of its days are doubtful.
    among_days : float, optional
        Days of the season that these are part of; all by default. The more there are, the more
        chances for what looks like a pause.

    Returns
    -------
    list of Pause
        In order of time. Growth that stops for good is no pause: nothing shows that it ended.

    Raises
    ------
    ValueError
        Lengths differ, days do not rise by whole days, or a measured day has no error.
    """
    series = measured_series(days, area_cm2, error_cm2, doubtful)
    if len(series.days) < 2 * LEAST_DAYS:
        return []
    doubted = np.empty(0) if doubtful is None else np.asarray(days, float)[np.asarray(doubtful)]
    search = _Search(series, doubted, among_days)
    return sorted(search.pauses(), key=lambda pause: pause.start)


def turns_of(pauses: Sequence[Pause]) -> list[tuple[float, float]]:
    """Spans in which growth stopped or started again, as `growth_curve` takes them."""
    starts = [(p.start_low, p.start_high) for p in pauses]
    return [*starts, *((p.end_low, p.end_high) for p in pauses)]


class _Search:
    """The scan over all beginnings and ends."""

    def __init__(self, series: Series, doubted: np.ndarray, among_days: float | None):
        self.series, self.doubted = series, doubted
        self.knots = np.arange(series.days[0], series.days[-1] + _GRAIN, _GRAIN)
        self.among_days = max(self.knots[-1] - self.knots[0], among_days or 0)
        self.breaks = find_breaks(Prior(series))
        after = np.unique(np.searchsorted(series.days, doubted))
        after = after[(after > 0) & (after < len(series.days))]
        nuisance = np.setdiff1d(after, self.breaks.at)
        self.jumps = np.sort([*self.breaks.at, *nuisance]).astype(int)

    def pauses(self) -> list[Pause]:
        found, trend = [], None
        first, last = self._possible()
        spells = self.breaks.weighed.spells(self.knots, first, last) if first.size else None
        while len(found) < _MOST_PAUSES and first.size and self._enough(found):
            if trend is None:
                trend = self._trend(found)
                gains = trend.gains(spells)
                gain = self._beyond_chance(gains, first, last)
            if gain.max() < LEAST_GAIN:
                break
            pause = self._pause(self.knots[first], self.knots[last], gains, gain, found)
            if self._rather_a_jump(trend, pause):
                trend = None
                continue
            both = self._stops_and_starts(trend, pause)
            kept = (self.knots[first] > pause.end + 1) | (self.knots[last] < pause.start - 1)
            least = pause.rate_left < MOST_RATE_LEFT and pause.rate_left_high < SURELY_LEFT
            if both and least:
                found.append(pause)
                trend = None
            else:  # a slow spell may hold a pause within
                kept |= self.knots[last] - self.knots[first] < pause.length_days - 1
            first, last, spells = first[kept], last[kept], spells.some(kept)
            gains, gain = gains.some(kept), gain[kept]
        return found

    def _beyond_chance(self, gains: Gains, first, last) -> np.ndarray:
        chances = 2 * np.log(self.among_days)
        chances -= 2 * np.log(self.knots[last] - self.knots[first])
        return np.where(gains.size < 0, gains.gain - chances, 0.0)

    def _enough(self, found: Sequence[Pause]) -> bool:
        return len(self.series.days) >= LEAST_DAYS + self.jumps.size + len(found)

    def _rather_a_jump(self, trend: Trend, pause: Pause) -> bool:
        """Whether one jump within the pause explains as much; it is then allowed for."""
        days = self.series.days
        within = np.flatnonzero((days > pause.start) & (days <= np.ceil(pause.end)))
        within = np.setdiff1d(within, self.jumps)
        gain = trend.gains(self.breaks.weighed.steps.some(within)).gain
        if not within.size or gain.max() < pause.gain:
            return False
        self.jumps = np.sort([*self.jumps, within[gain.argmax()]]).astype(int)
        return True

    def _stops_and_starts(self, trend: Trend, pause: Pause) -> bool:
        """Whether a single turn of the growth rate, near or in the pause, explains clearly less."""
        near = (self.knots >= pause.start - _NEAR) & (self.knots <= pause.end + _NEAR)
        single = trend.gains(self.breaks.weighed.bends(self.knots[near])).gain.max()
        return pause.gain - single >= LEAST_SECOND_TURN

    def _trend(self, found: Sequence[Pause], *more: np.ndarray) -> Trend:
        lost = [_lost(self.series.days, p.start, p.end) for p in found]
        jumps = steps(self.series.days, self.series.days[self.jumps])
        columns = np.column_stack([jumps, *lost, *more])
        return Trend(self.breaks.weighed, columns)

    def _possible(self) -> tuple[np.ndarray, np.ndarray]:
        """Beginnings and ends (indices of knots) of all spans that may be a pause at all."""
        lengths = np.arange(LEAST_PAUSE, MOST_PAUSE + _GRAIN, _GRAIN)
        first, last = _spans(self.knots.size, (lengths / _GRAIN).astype(int))
        clear = self.series.days[~self.breaks.bad]
        upto = np.searchsorted(clear, self.knots, side="right")
        doubtful = np.searchsorted(self.doubted, self.knots, side="right")
        length = (last - first) * _GRAIN
        many = doubtful[last] - doubtful[first] > MOST_DOUBTFUL * length
        ends = np.isin(np.floor(self.knots), self.doubted)
        ends |= np.isin(np.ceil(self.knots), self.doubted)
        kept = (
            (upto[first] >= LEAST_CLEAR)
            & (upto[last] - upto[first] >= LEAST_CLEAR)
            & (clear.size - upto[last] >= LEAST_CLEAR)
            & ~(many | ends[first] | ends[last])
        )
        return first[kept], last[kept]

    def _pause(self, starts, ends, gains: Gains, gain: np.ndarray, found) -> Pause:
        best = int(gain.argmax())
        near = gain >= gain[best] - _INTERVAL_GAIN
        start, end = float(starts[best]), float(ends[best])
        return Pause(
            *(start, *_span(starts[near], _GRAIN / 2)),
            *(end, *_span(ends[near], _GRAIN / 2)),
            *(end - start, *_span((ends - starts)[near], _GRAIN)),
            float(-gains.size[best]),
            *self._rate_left(start, end, found),
            float(gains.gain[best]),
        )

    def _rate_left(self, start, end, found) -> tuple[float, float, float]:
        """Share of the rate around a pause that it leaves, with its interval."""
        trend = self._trend(found, _lost(self.series.days, start, end))
        middle, last = [(start + end) / 2], trend.known_count - 1
        usual = trend.estimate(trend.rates(middle))
        inside = trend.estimate(trend.rates(middle, np.arange(last + 1)[None] == last))
        around = max(float(usual.mean[0]), 1e-6)
        return tuple(float(x[0]) / around for x in (inside.mean, inside.low, inside.high))


def _spans(knots: int, lengths: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All pairs of knots that lie so many knots apart, in order of the first."""
    first = np.repeat(np.arange(knots), lengths.size)
    last = first + np.tile(lengths, knots)
    return first[last < knots], last[last < knots]


def _span(values: np.ndarray, beyond: float) -> tuple[float, float]:
    return float(values.min()) - beyond, float(values.max()) + beyond


def _lost(days, start, end) -> np.ndarray:
    """Days passed in a pause, up to each day."""
    first, last = hinges(days, [start, end]).T
    return first - last
