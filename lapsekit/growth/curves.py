"""A region's growth curve: area, relative growth rate and doubling time by day, with 95 % bands."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lapsekit.growth.breaks import Breaks, find_breaks
from lapsekit.growth.series import LEAST_DAYS, Series, measured_series
from lapsekit.growth.trend import Estimate, Trend
from lapsekit.growth.weighing import Prior, Weighed

MOST_GAP_DAYS = 3
"""Days without a value in a row that the curve bridges; over more it stays open."""

DOUBT = 3.7
"""Standard errors of the scatter's variance that are given to it before the rest is held common."""

DRIFT = 1.0
"""By how much of itself the common error may change while the plant grows by a factor of e: edges
weigh less the larger a plant is. With nothing, bands of rates held 68 % of the sample season's days
of plugs, whose common error is largest."""

TURN_PER_DAY = 0.08
"""By how much the growth rate may change when growth stops or starts, per day."""


@dataclass(frozen=True)
class GrowthCurve:
    """Growth of one region, one entry for every day from the first measured to the last.

    Attributes
    ----------
    days : ndarray of int, shape (m,)
    measured : ndarray of bool, shape (m,)
        Days that have a value of their own and are not bad.
    bad : ndarray of bool, shape (m,)
        Days whose value does not belong to the curve; it carries no weight.
    breaks : ndarray of int, shape (k,)
        Days on which the area had changed at once since the measured day before.
    area_cm2, low_cm2, high_cm2 : ndarray of float, shape (m,)
        The curve and its 95 % band, day by day; NaN where the curve is open: in a gap of more
        than `MOST_GAP_DAYS` days, and between the two days that enclose a break.
    common : ndarray of float, shape (m,)
        Standard error that all days have in common, as a share of the area; the band has it.
    rgr_per_day, rgr_low, rgr_high : ndarray of float, shape (m,)
        Relative growth rate, a break itself left out.
    doubling_days, doubling_low, doubling_high : ndarray of float, shape (m,)
        ln 2 / RGR; NaN unless the whole interval of the RGR is above zero.
    """

    days: np.ndarray
    measured: np.ndarray
    bad: np.ndarray
    breaks: np.ndarray
    area_cm2: np.ndarray
    low_cm2: np.ndarray
    high_cm2: np.ndarray
    common: np.ndarray
    rgr_per_day: np.ndarray
    rgr_low: np.ndarray
    rgr_high: np.ndarray
    doubling_days: np.ndarray
    doubling_low: np.ndarray
    doubling_high: np.ndarray


def growth_curve(
    days, area_cm2, error_cm2, turns: Sequence[tuple[float, float]] = (), lasting_cm2=None
) -> GrowthCurve | None:
    """Draw a smooth curve through daily areas; it may rise, rest, fall and break.

    Parameters
    ----------
    days : array_like of int, shape (n,)
        Rising: plant age in days, or a date's ordinal.
    area_cm2 : array_like of float, shape (n,)
        Canopy area; NaN (or nothing above zero) on a day without a value.
    error_cm2 : array_like of float, shape (n,)
        Standard error of each day: half its 95 % interval over 1.96. How far days stray by
        themselves is found from their scatter; what is stated beyond it is taken to be common to
        all days. It widens the band of the area, and, as it changes with growth, that of rates.
    turns : sequence of (first, last) days, optional
        Spans in which growth stopped or started again (`lapsekit.growth.pauses.turns_of`), so
        that the growth rate may change there faster than elsewhere.
    lasting_cm2 : array_like of float, shape (n,), optional
        A further standard error of each day that those near it share, as where all of a plant's
        leaves are hard to tell from soil. It weighs no day against another, and widens the bands
        as what is common does.

    Returns
    -------
    GrowthCurve or None
        None if fewer than `LEAST_DAYS` days have a value.

    Raises
    ------
    ValueError
        Lengths differ, days do not rise by whole days, or a measured day has no error.

    Notes
    -----
    See `lapsekit.growth.trend` for the model. Bands hold pointwise: each day is inside with
    95 %, all days together with less. Rates follow Hoffmann & Poorter (2002, Annals of Botany
    90: 37–42) in resting on the log of the area.
    """
    return curve_of(fitted(days, area_cm2, error_cm2, turns=turns, lasting_cm2=lasting_cm2))


@dataclass(frozen=True)
class Fitted:
    """The measured days of a region, their breaks and the trend through them."""

    series: Series
    breaks: Breaks
    trend: Trend


def fitted(
    days,
    area_cm2,
    error_cm2,
    doubtful=None,
    turns: Sequence[tuple[float, float]] = (),
    lasting_cm2=None,
) -> Fitted | None:
    """What curve and losses of the same days have in common, worked out once.

    Parameters and errors are those of `growth_curve`; doubtful days (n,) are left out.

    Returns
    -------
    Fitted or None
        None if fewer than `LEAST_DAYS` days have a value.
    """
    series = measured_series(days, area_cm2, error_cm2, doubtful, lasting_cm2)
    if len(series.days) < LEAST_DAYS:
        return None
    breaks = find_breaks(Prior(series, turning_days(series, turns)))
    weighed = Weighed(breaks.weighed.prior.swaying(), breaks.weighed.unsure)
    return Fitted(series, breaks, Trend(weighed, breaks.columns(series)))


def curve_of(found: Fitted | None) -> GrowthCurve | None:
    """The curve of days that were fitted; see `growth_curve`."""
    if found is None:
        return None
    series, breaks, trend = found.series, found.breaks, found.trend
    every = series.calendar
    level = trend.estimate(trend.levels(every, breaks.columns(series, every)))
    rate = trend.estimate(trend.rates(every))
    common = _common_error(series, trend)
    level = level.widened(common)
    rate = rate.widened(DRIFT * common * np.abs(rate.mean))
    return _as_curve(series, breaks, level, common, rate)


def _common_error(series: Series, trend: Trend) -> np.ndarray:
    """Standard error of the log area that all days have in common, on each calendar day.

    A method that takes such leaves for larger than they are does so every day, which no scatter
    shows. Of the error that the days state, what their scatter does not reach, within the doubt
    about its size, is taken to be common to them; and what they say themselves is lasting.
    """
    doubt = 1 + DOUBT * np.sqrt(2 / trend.freedom)
    share = np.sqrt(max(0.0, 1 - doubt * (trend.scatter / trend.weighed.prior.typical) ** 2))
    own = share * np.exp(np.interp(series.calendar, series.days, np.log(series.error)))
    return np.hypot(own, np.interp(series.calendar, series.days, series.lasting))


def turning_days(series: Series, turns: Sequence[tuple[float, float]]) -> np.ndarray:
    """Additional change of slope on each calendar day, as `Prior` takes it."""
    every = series.calendar
    variance = np.zeros(every.size)
    for first, last in turns:
        inside = (every >= np.floor(first)) & (every <= np.ceil(last))
        variance[inside] += TURN_PER_DAY**2 / max(int(inside.sum()), 1)
    return np.sqrt(variance)


def _as_curve(
    series: Series, breaks: Breaks, level: Estimate, common: np.ndarray, rate: Estimate
) -> GrowthCurve:
    every = series.calendar
    shut = np.where(_open(series, breaks), np.nan, 1.0)
    grows = np.where(rate.low > 0, shut, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        doubling = [np.log(2) / r * grows for r in (rate.mean, rate.high, rate.low)]
    return GrowthCurve(
        every.astype(int),
        np.isin(every, series.days[~breaks.bad]),
        np.isin(every, series.days[breaks.bad]),
        series.days[breaks.at].astype(int),
        *(np.exp(x) * shut for x in (level.mean, level.low, level.high)),
        common,
        *(x * shut for x in (rate.mean, rate.low, rate.high)),
        *doubling,
    )


def _open(series: Series, breaks: Breaks) -> np.ndarray:
    """Days that stay without a curve."""
    every, good = series.calendar, series.days[~breaks.bad]
    is_open = np.zeros(every.size, bool)
    broken = set(series.days[breaks.at])
    for before, after in pairwise(series.days):
        if after in broken:
            is_open |= (every > before) & (every < after)
    for before, after in pairwise(good):
        if after - before - 1 > MOST_GAP_DAYS:
            is_open |= (every > before) & (every < after)
    return is_open
