"""Relative growth rate and doubling time over a sliding window of days."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import log

import numpy as np
from scipy.special import stdtrit

#: Days with a value that a window must hold before a rate is stated.
MIN_DAYS = 4


@dataclass(frozen=True)
class Rate:
    """Growth over the window of days that ends on `day`.

    Attributes
    ----------
    day : date
        Last day of the window.
    rgr_per_day : float or None
        Relative growth rate, per day; None where the window holds too few days.
    rgr_low, rgr_high : float or None
        95 % confidence interval of the slope, from the scatter around it.
    doubling_days : float or None
        ln 2 / RGR; None unless the whole interval says that the canopy grew.
    """

    day: date
    rgr_per_day: float | None
    rgr_low: float | None
    rgr_high: float | None
    doubling_days: float | None


def growth_rates(
    days: Sequence[date], values: Sequence[float | None], window_days: int
) -> list[Rate]:
    """Relative growth rate for each day, from the log of what was measured up to it.

    RGR is the slope of ln(area) on time (Hoffmann & Poorter 2002, Annals of Botany 90: 37–42),
    by least squares over the days of the window that have a value above zero. Its interval
    takes the daily errors as independent; over few days it is wide, and it should be.

    Parameters
    ----------
    days : sequence of date, length n
        In rising order.
    values : sequence of float or None, length n
        Canopy area (or cover) of each day; None on a day without a usable frame.
    window_days : int
        Length of the window in days, at least 3.

    Returns
    -------
    list of Rate, length n
    """
    known = [
        (day.toordinal(), log(value))
        for day, value in zip(days, values, strict=True)
        if value is not None and value > 0
    ]
    times = [time for time, _ in known]
    rates = []
    for day in days:
        last = day.toordinal()
        window = slice(bisect_right(times, last - window_days), bisect_right(times, last))
        rates.append(_rate(day, tuple(known[window])))
    return rates


@lru_cache(maxsize=1 << 16)  # every morning asks again for all the days before
def _rate(day: date, window: tuple[tuple[int, float], ...]) -> Rate:
    if len(window) < MIN_DAYS:
        return Rate(day, None, None, None, None)
    x, y = np.array(window, dtype=float).T
    x -= x.mean()
    slope = float(x @ y / (x @ x))
    residuals = y - y.mean() - slope * x
    free = len(x) - 2
    error = float(np.sqrt(residuals @ residuals / free / (x @ x)))
    half = float(stdtrit(free, 0.975)) * error
    grew = slope - half > 0
    return Rate(day, slope, slope - half, slope + half, log(2) / slope if grew else None)
