"""Growth that stops and starts again, such as after potting on.

A pause from one day to another takes the days' growth away: the log of the area is lower by the
lost rate times the days passed in it. Every pair of days is tried as beginning and end, against a
trend whose slope wanders by itself (see `lapsekit.growth.trend`): a scan statistic (Siegmund 1985,
*Sequential analysis*). Where the trend hints at a pause, growth laws are asked, which see shorter
ones (see `lapsekit.growth.standstills`); the pair of days that they make the best of is a pause if
it gains more than chance gives. So is a pair that gains so much against the trend that no law is
needed. What one jump explains as well (a knock, a cut) is none. The search is repeated with what
was found taken into account.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lapsekit.growth.breaks import find_breaks
from lapsekit.growth.forms import passed, steps
from lapsekit.growth.looks import Look
from lapsekit.growth.series import LEAST_DAYS, Series, measured_series
from lapsekit.growth.spans import GRAIN, Scan, Spans, pairs
from lapsekit.growth.trend import Trend
from lapsekit.growth.weighing import Prior

LEAST_PAUSE, MOST_PAUSE = 3, 35
"""Shortest and longest pause looked for, in days."""

LEAST_CLEAR = 3
"""Clear measured days that must lie before, within and after a pause."""

MOST_DOUBTFUL = 0.25
"""Largest share of a pause's days that may be doubtful."""

MOST_RATE_LEFT = 0.35
"""A pause leaves less than this share of the growth rate before and after it. Growth that slows for
a month to two fifths, as a plant's may that fills its pot, is no standstill."""

MOST_LEFT_BY_LAWS = 0.28
"""The same where growth laws have to tell a pause: they take slow days for one sooner."""

SURELY_LEFT = 0.75
"""The interval of what a pause leaves of the rate ends below this."""

LEAST_HINT = 4.0
"""Twice the log-likelihood that some span must gain against the trend, beyond twice the logarithm
of how often its length goes into the days measured, for laws to be asked: there are more chances
for a short one (Dümbgen & Spokoiny 2001, Ann. Statist. 29: 124–152)."""

LEAST_EVIDENCE = 8.5
"""Evidence by growth laws (`lapsekit.growth.looks.Look.evidence`) that makes a pause.
``tests/bench/growth_study.py`` counts the plants without a pause that reach it: fewer than one in a
hundred."""

LEAST_GAIN = 12.0
"""What a pause must gain against the trend, beyond chance, where laws do not tell it."""

LEAST_FROM_BREAK = -4.0
"""What a span must gain over a break within it, against the trend, for laws to be asked which of
the two it was."""

LEAST_SECOND_TURN = 4.5
"""What stopping and starting again must gain over either alone, where laws do not tell it."""

_NEAR = 2.0
_NEARBY = np.arange(-12, 13)  # by so many moments ends of an interval may differ from the best
_INTERVAL_GAIN = 6.0
_MOST_PAUSES = 4


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
        Twice the log-likelihood gained against the trend; the larger, the surer.
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
    days,
    area_cm2,
    error_cm2,
    doubtful=None,
    among_days: float | None = None,
    lasting_cm2=None,
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
    lasting_cm2 : array_like of float, shape (n,), optional
        As for `lapsekit.growth.curves.growth_curve`.

    Returns
    -------
    list of Pause
        In order of time. Growth that stops for good is no pause: nothing shows that it ended.

    Raises
    ------
    ValueError
        Lengths differ, days do not rise by whole days, or a measured day has no error.
    """
    series = measured_series(days, area_cm2, error_cm2, doubtful, lasting_cm2)
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
    """The search among all beginnings and ends."""

    def __init__(self, series: Series, doubted: np.ndarray, among_days: float | None):
        self.series, self.doubted = series, doubted
        self.knots = np.arange(series.days[0], series.days[-1] + GRAIN, GRAIN)
        self.among_days = max(np.ptp(self.knots), among_days or 0)
        self.breaks = find_breaks(Prior(series))
        after = np.unique(np.searchsorted(series.days, doubted))
        after = after[(after > 0) & (after < len(series.days))]
        nuisance = np.setdiff1d(after, self.breaks.at)
        self.jumps = np.sort([*self.breaks.at, *nuisance]).astype(int)
        self._good = ~self.breaks.bad

    def pauses(self) -> list[Pause]:
        found, spans = [], self._possible()
        while spans.size and len(found) < _MOST_PAUSES and self._enough(found):
            trend = self._trend(found)
            scan = spans.scanned(trend)
            jumps, pause = self.jumps, self._by_trend(trend, scan, found)
            if pause is None:
                self.jumps = self._sure_jumps(jumps, spans, found)
                if self.jumps.size < jumps.size:
                    trend = self._trend(found)
                    scan = spans.scanned(trend)
                pause = self._by_laws(trend, scan, found)
            if pause is None:
                break
            found.append(pause)
            spans = spans.some((spans.starts > pause.end + 1) | (spans.ends < pause.start - 1))
        return found

    def _enough(self, found: Sequence[Pause]) -> bool:
        return len(self.series.days) >= LEAST_DAYS + self.jumps.size + len(found)

    def _sure_jumps(self, jumps: np.ndarray, spans: Spans, found) -> np.ndarray:
        """Jumps but for the breaks that a standstill of some days explains as well by laws."""
        days = self.series.days
        for at in np.intersect1d(jumps, self.breaks.at):
            across = (spans.starts < days[at]) & (np.ceil(spans.ends) >= days[at])
            if not across.any():
                continue
            others = jumps[jumps != at]
            trend = self._trend(found, others)
            scan = spans.some(across).scanned(trend)
            step = trend.gains(self.breaks.weighed.steps.some(np.array([at]))).gain[0]
            if scan.beyond.max() - step < LEAST_FROM_BREAK:
                continue
            look = Look(trend, scan, self._good, days[others], _times(found))
            place = look.likeliest()
            if place is not None and look.over_jump(place) >= 0:
                jumps = others
        return jumps

    def _by_laws(self, trend: Trend, scan: Scan, found) -> Pause | None:
        """The first pause that growth laws tell and the trend does not deny.

        None across a jump: what is free to change within a span lets laws bend to anything.
        """
        at = self.series.days[self.jumps]
        upto = np.searchsorted(at, scan.spans.starts, side="right")
        scan = scan.some(np.searchsorted(at, np.ceil(scan.spans.ends), side="right") == upto)
        while scan.spans.size and scan.beyond.max() >= LEAST_HINT:
            look = Look(trend, scan, self._good, self.series.days[self.jumps], _times(found))
            place = look.likeliest()
            if place is not None and look.evidence(place) >= LEAST_EVIDENCE:
                near = scan.spans.around(place, _NEARBY)
                gain = scan.gains.gain[near]
                near = near[(gain >= gain.max() - _INTERVAL_GAIN) | (near == place)]
                pause = self._pause(scan, place, near, found)
                if _stops(pause) and pause.rate_left < MOST_LEFT_BY_LAWS:
                    return pause
            scan = scan.some(~look.inside)
        return None

    def _by_trend(self, trend: Trend, scan: Scan, found) -> Pause | None:
        """The pause that the trend alone tells, whatever laws say."""
        while scan.spans.size and scan.beyond.max() >= LEAST_GAIN:
            best = int(scan.beyond.argmax())
            near = scan.beyond >= scan.beyond[best] - _INTERVAL_GAIN
            pause = self._pause(scan, best, near, found)
            if self._rather_a_jump(trend, pause):
                if not self._enough(found):
                    break
                trend = self._trend(found)
                scan = scan.spans.scanned(trend)
                continue
            if self._stops_and_starts(trend, pause) and _stops(pause):
                return pause
            spans = scan.spans  # a slow spell may hold a pause within
            kept = (spans.starts > pause.end + 1) | (spans.ends < pause.start - 1)
            scan = scan.some(kept | (spans.lengths < pause.length_days - 1))
        return None

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

    def _trend(self, found: Sequence[Pause], jumps=None, more: Sequence[np.ndarray] = ()) -> Trend:
        days = self.series.days
        lost = [passed(days, *each) for each in _times(found)]
        jumps = steps(days, days[self.jumps if jumps is None else jumps])
        return Trend(self.breaks.weighed, np.column_stack([jumps, *lost, *more]))

    def _possible(self) -> Spans:
        """All spans that may be a pause at all."""
        lengths = np.arange(LEAST_PAUSE, MOST_PAUSE + GRAIN, GRAIN)
        first, last = pairs(self.knots.size, (lengths / GRAIN).astype(int))
        clear = self.series.days[~self.breaks.bad]
        upto = np.searchsorted(clear, self.knots, side="right")
        doubtful = np.searchsorted(self.doubted, self.knots, side="right")
        length = (last - first) * GRAIN
        many = doubtful[last] - doubtful[first] > MOST_DOUBTFUL * length
        ends = np.isin(np.floor(self.knots), self.doubted)
        ends |= np.isin(np.ceil(self.knots), self.doubted)
        kept = (
            (upto[first] >= LEAST_CLEAR)
            & (upto[last] - upto[first] >= LEAST_CLEAR)
            & (clear.size - upto[last] >= LEAST_CLEAR)
            & ~(many | ends[first] | ends[last])
        )
        return Spans.between(
            self.breaks.weighed, self.knots, first[kept], last[kept], self.among_days
        )

    def _pause(self, scan: Scan, place: int, near: np.ndarray, found) -> Pause:
        starts, ends = scan.spans.starts, scan.spans.ends
        start, end = float(starts[place]), float(ends[place])
        return Pause(
            *(start, *_span(starts[near], GRAIN / 2)),
            *(end, *_span(ends[near], GRAIN / 2)),
            *(end - start, *_span((ends - starts)[near], GRAIN)),
            float(-scan.gains.size[place]),
            *self._rate_left(start, end, found),
            float(scan.gains.gain[place]),
        )

    def _rate_left(self, start, end, found) -> tuple[float, float, float]:
        """Share of the rate around a pause that it leaves, with its interval."""
        trend = self._trend(found, more=[passed(self.series.days, start, end)])
        middle, last = [(start + end) / 2], trend.known_count - 1
        usual = trend.estimate(trend.rates(middle))
        inside = trend.estimate(trend.rates(middle, np.arange(last + 1)[None] == last))
        around = max(float(usual.mean[0]), 1e-6)
        return tuple(float(x[0]) / around for x in (inside.mean, inside.low, inside.high))


def _stops(pause: Pause) -> bool:
    return pause.rate_left < MOST_RATE_LEFT and pause.rate_left_high < SURELY_LEFT


def _times(pauses: Sequence[Pause]) -> list[tuple[float, float]]:
    return [(pause.start, pause.end) for pause in pauses]


def _span(values: np.ndarray, beyond: float) -> tuple[float, float]:
    return float(values.min()) - beyond, float(values.max()) + beyond
