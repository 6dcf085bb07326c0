"""Canopy lost from one day to the next (a harvest, wilting, damage), and when it was regained."""

from dataclasses import dataclass

import numpy as np

from lapsekit.growth.breaks import Breaks
from lapsekit.growth.curves import Fitted, fitted
from lapsekit.growth.series import Series
from lapsekit.growth.trend import Estimate, Trend

LEAST_SHARE = 0.05
"""Smallest share of the canopy that counts as a loss."""

LEAST_AFTER = 2
"""Measured days after a loss that confirm it: one alone may be a bad day."""

_TOGETHER_DAYS = 2


@dataclass(frozen=True)
class Loss:
    """One sudden loss.

    Attributes
    ----------
    since, day : int
        Last measured day before the loss and first one after it.
    share, share_low, share_high : float
        Share of the canopy that went, with its 95 % interval: 0.5 is half.
    confirmed : bool
        Whether `LEAST_AFTER` measured days lie at or after `day`.
    recovered_days : int or None
        Days from `day` until the area is back at what it was on `since`; None if it is not
        by the last day.
    recovered_low, recovered_high : int or None
        Its 95 % interval: first days on which the area may be, and surely is, back.
    """

    since: int
    day: int
    share: float
    share_low: float
    share_high: float
    confirmed: bool
    recovered_days: int | None
    recovered_low: int | None
    recovered_high: int | None


def find_losses(days, area_cm2, error_cm2, doubtful=None, turns=(), lasting_cm2=None) -> list[Loss]:
    """Find days on which a region had suddenly lost canopy.

    Parameters
    ----------
    days : array_like of int, shape (n,)
        Rising: plant age in days, or a date's ordinal.
    area_cm2 : array_like of float, shape (n,)
        Canopy area; NaN on a day without a value.
    error_cm2 : array_like of float, shape (n,)
        Standard error of each day: half its 95 % interval over 1.96.
    doubtful : array_like of bool, shape (n,), optional
        Days on which the region was crowded or obstructed, or the camera was knocked; left out. A
        loss that happened on one of them shows between the clear days around it.
    turns, lasting_cm2
        As for `lapsekit.growth.curves.growth_curve`.

    Returns
    -------
    list of Loss
        In order of time. Falls within two days count as one loss. A single low day
        followed by days as before is a bad day and no loss.

    Raises
    ------
    ValueError
        Lengths differ, days do not rise by whole days, or a measured day has no error.
    """
    return losses_of(fitted(days, area_cm2, error_cm2, doubtful, turns, lasting_cm2))


def losses_of(found: Fitted | None) -> list[Loss]:
    """The losses of days that were fitted; see `find_losses`."""
    if found is None:
        return []
    series, breaks, trend = found.series, found.breaks, found.trend
    losses = [_loss(series, breaks, trend, group) for group in _groups(series, breaks, trend)]
    return [loss for loss in losses if loss.share >= LEAST_SHARE and loss.share_low > 0]


def _groups(series: Series, breaks: Breaks, trend: Trend) -> list[np.ndarray]:
    """Breaks (their positions in `breaks.at`) that follow each other closely, falls or rises."""
    every = np.arange(breaks.at.size)
    if not every.size:
        return []
    falls = np.array([_change_at_once(trend, breaks, [k]).mean[0] < 0 for k in every])
    apart = (np.diff(series.days[breaks.at]) > _TOGETHER_DAYS) | (np.diff(falls) != 0)
    return np.split(every, np.flatnonzero(apart) + 1)


def _loss(series: Series, breaks: Breaks, trend: Trend, group: np.ndarray) -> Loss:
    first, last = int(breaks.at[group[0]]), int(breaks.at[group[-1]])
    good = np.flatnonzero(~breaks.bad)
    since = int(series.days[good[good < first][-1]]) if (good < first).any() else first
    change = _change_at_once(trend, breaks, group)
    change = change.widened(_unshared(series, since, series.days[last : last + 1]))
    back = _back(series, breaks, trend, since, int(series.days[last]))
    return Loss(
        since,
        int(series.days[last]),
        *(float(-np.expm1(x[0])) for x in (change.mean, change.high, change.low)),
        int((good >= last).sum()) >= LEAST_AFTER,
        *back,
    )


def _change_at_once(trend: Trend, breaks: Breaks, group) -> Estimate:
    factors = np.zeros((1, breaks.at.size))
    factors[0, group] = 1.0
    return trend.estimate(trend.at_once(factors))


def _back(series, breaks: Breaks, trend: Trend, since: int, day: int) -> tuple:
    """Days until the curve is back: likely, at the earliest, at the latest; None where never."""
    after = np.arange(day, int(series.days[-1]) + 1)
    later = trend.levels(after, breaks.columns(series, after))
    before = trend.levels([since], breaks.columns(series, [since]))
    gained = trend.estimate(later.less(before)).widened(_unshared(series, since, after))
    return tuple(_first(gain >= 0) for gain in (gained.mean, gained.high, gained.low))


def _unshared(series: Series, since: int, days: np.ndarray) -> np.ndarray:
    """Standard error of differences from a day, of what it does not share with days after it.

    Leaves that hang may be harder to tell from soil than they were the day before.
    """
    before, after = (np.interp(each, series.days, series.lasting) for each in (since, days))
    return np.abs(after - before)


def _first(reached: np.ndarray) -> int | None:
    return int(reached.argmax()) if reached.any() else None
