"""Days on which the canopy changed at once, and days that do not belong.

A cut leaves the following days lower; a bad day stands alone. Each is tried on every day, the one
that improves the fit most is taken, and the search goes on until nothing stands out (de Jong &
Penzer 1998, J. Am. Statist. Assoc. 93: 796–806). Leaves that hung stand up again within days, which
would pass for bad ones: after a break the growth rate is left free for a week where the days are
likelier so. What still lies a little far off is weighed down the farther it lies, as under a
heavy-tailed law of errors.
"""

from dataclasses import dataclass

import numpy as np

from lapsekit.growth.forms import steps
from lapsekit.growth.series import LEAST_DAYS, Series
from lapsekit.growth.trend import Gains, Trend
from lapsekit.growth.weighing import Prior, Weighed

LEAST_GAIN = 20.0
"""Twice the log-likelihood that a break or bad day must gain: about one in a hundred series of
72 days without any reaches it."""

LEAST_STEP = 0.05
"""Smallest change of log area that counts as a break."""

UNSETTLED_DAYS, UNSETTLED = 7, 0.07
"""Days from a break on, and by how much the growth rate may change from each of them to the next,
where that makes what was measured likelier by a factor of e to the power `LIKELIER`."""

LIKELIER = 1.0

FAR = 2.5
"""Standard errors from which on a day is weighed down."""

_MOST = 12
_ROUNDS = 3
_BAD_DAY = 1e4
_NEAR = 3
_SETTLED = 0.1

# Beside a break, a bad day and another break the day after are the same thing, as are two bad days
# between two breaks. Rounding must not choose: as on the last day, a fall is a break and a rise a
# bad day, and of two the first.
_ALIKE = 1e-3


@dataclass(frozen=True)
class Breaks:
    """What `find_breaks` found.

    Attributes
    ----------
    at : ndarray of int, shape (k,)
        Index (in the series) of the first day after each break, rising.
    bad : ndarray of bool, shape (n,)
        Days that do not belong: they carry no weight.
    weighed : Weighed
        The days as sure as they are then taken to be.
    """

    at: np.ndarray
    bad: np.ndarray
    weighed: Weighed

    def columns(self, series: Series, days=None) -> np.ndarray:
        """The breaks as columns for `Trend`, on the series' days or on others."""
        return steps(series.days if days is None else days, series.days[self.at])


def find_breaks(prior: Prior) -> Breaks:
    """Find breaks and bad days of a series.

    Returns
    -------
    Breaks
        Where the days cannot tell a break from a bad day (on the very last day, or right beside
        another break), a fall is taken as a break and a rise as a bad day: a fall is what a grower
        wants to look at.
    """
    n = len(prior.series.days)
    at, bad = [], np.zeros(n, bool)
    weighed = Weighed(prior)
    for _ in range(min(_MOST, n // LEAST_DAYS)):
        trend = _trend(weighed, at)
        found = _most_striking(trend, at, bad)
        if found is None:
            break
        index, is_step = found
        if is_step:
            at.append(index)
            weighed = _unsettled(weighed, at)
        else:
            bad[index] = True
            weighed = Weighed(weighed.prior, _BAD_DAY * bad)
    else:
        trend = _trend(weighed, at)
    at = np.array(sorted(at), int)
    bad, trend = _exchanged(bad, trend, at)
    return Breaks(at, bad, _weighed_down(trend.weighed, at, bad, trend))


def _unsettled(weighed: Weighed, at: list[int]) -> Weighed:
    """The days with a free growth rate after the last of the breaks, if they are likelier so."""
    series = weighed.series
    since = series.calendar - series.days[at[-1]]
    free = weighed.prior.turning(UNSETTLED * ((since >= 0) & (since < UNSETTLED_DAYS)))
    tried = Weighed(free, weighed.unsure)
    gain = _trend(tried, at).fits.max() - _trend(weighed, at).fits.max()
    return tried if gain > LIKELIER else weighed


def _exchanged(bad: np.ndarray, trend: Trend, at) -> tuple[np.ndarray, Trend]:
    """Bad days near a break, chosen before it was known, against the days beside them."""
    for index in np.flatnonzero(bad):
        if not (np.abs(at - index) <= _NEAR).any():
            continue
        for other in (index - 1, index + 1):
            if not 0 < other < bad.size or bad[other] or not bad[index]:
                continue
            tried = bad.copy()
            tried[index], tried[other] = False, True
            again = _trend(Weighed(trend.weighed.prior, _BAD_DAY * tried), at)
            if again.fits.max() - trend.fits.max() > _ALIKE:
                bad, trend = tried, again
    return bad, trend


def _trend(weighed: Weighed, at) -> Trend:
    days = weighed.series.days
    return Trend(weighed, steps(days, days[np.array(sorted(at), int)]))


def _most_striking(trend: Trend, at, bad) -> tuple[int, bool] | None:
    alone = trend.gains(trend.weighed.spikes)
    stepped = trend.gains(trend.weighed.steps)
    spike = np.where(bad, 0.0, alone.gain)
    step = np.where(np.abs(stepped.size) >= LEAST_STEP, stepped.gain, 0.0)
    step[[0, *at]] = 0.0
    step[bad] = 0.0
    step, spike = _the_ends(step, spike, stepped)
    if max(step.max(), spike.max()) < LEAST_GAIN:
        return None
    first_step, first_spike = (int((x >= x.max() - _ALIKE).argmax()) for x in (step, spike))
    more = step.max() - spike.max()
    is_step = more >= _ALIKE or (more > -_ALIKE and stepped.size[first_step] < 0)
    return (first_step if is_step else first_spike), bool(is_step)


def _the_ends(step, spike, stepped: Gains) -> tuple[np.ndarray, np.ndarray]:
    """On the last day a break and a bad day look alike; on the second, the first is the bad one."""
    step, spike = step.copy(), spike.copy()
    step[1] = 0.0
    if stepped.size[-1] < 0:
        spike[-1] = 0.0
    else:
        step[-1] = 0.0
    return step, spike


def _weighed_down(weighed: Weighed, at, bad, trend: Trend) -> Weighed:
    for _ in range(_ROUNDS):
        away, variance = trend.surprises()
        most_less = -weighed.unsure
        more = np.where(bad, 0.0, np.maximum(np.square(away / FAR) - variance, most_less))
        if (np.abs(more) < _SETTLED).all():
            break
        weighed = Weighed(weighed.prior, weighed.unsure + more)
        trend = _trend(weighed, at)
    return weighed
