"""How measured daily areas agree with true ones."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

import numpy as np


@dataclass(frozen=True)
class Pair:
    """One day's true and measured area; `measured` is None where the day has no value.

    `low` and `high` are the ends of the measured value's interval, where it has one.
    """

    day: date
    true_cm2: float
    measured_cm2: float | None
    low_cm2: float | None = None
    high_cm2: float | None = None

    @property
    def error(self) -> float | None:
        """Measured against true: 0.02 is 2 % too large."""
        return None if self.measured_cm2 is None else self.measured_cm2 / self.true_cm2 - 1


@dataclass(frozen=True)
class Agreement:
    """Errors of many days, as shares of the true area; None where no day counts.

    Attributes
    ----------
    days : int
        Days that count: true area not below the least.
    without_value : int
        Those of them that have no measured value.
    median_error, bias, p95_error : float or None
        Median of absolute errors, mean of signed ones, 95th percentile of absolute ones.
    worst_day : date or None
    worst_error : float or None
        The signed error farthest from 0, and its day.
    covered : float or None
        Share of days whose interval holds the true area.
    half_width : float or None
        Median of half the interval's width over the measured area.
    """

    days: int
    without_value: int
    median_error: float | None
    bias: float | None
    p95_error: float | None
    worst_day: date | None
    worst_error: float | None
    covered: float | None
    half_width: float | None


def agreement(pairs: Sequence[Pair], least_cm2: float) -> Agreement:
    """Sum up how a region's (or all regions') measured days agree with truth.

    Parameters
    ----------
    pairs : sequence of Pair
        Days with a true area.
    least_cm2 : float
        Days whose true area is smaller do not count: a seedling of 1 cm² has hardly more inner
        pixels than edge, and its relative error says little about the method.

    Returns
    -------
    Agreement
    """
    counting = [p for p in pairs if p.true_cm2 >= least_cm2]
    known = [p for p in counting if p.measured_cm2 is not None]
    without = len(counting) - len(known)
    if not known:
        return Agreement(len(counting), without, *[None] * 7)
    errors = [p.error for p in known]
    worst = max(known, key=lambda p: abs(p.error))
    spans = [p for p in known if p.low_cm2 is not None and p.high_cm2 is not None]
    covered = [p.low_cm2 <= p.true_cm2 <= p.high_cm2 for p in spans]
    widths = [(p.high_cm2 - p.low_cm2) / 2 / p.measured_cm2 for p in spans if p.measured_cm2]
    return Agreement(
        len(counting),
        without,
        median(map(abs, errors)),
        float(np.mean(errors)),
        float(np.quantile(np.abs(errors), 0.95)),
        worst.day,
        worst.error,
        sum(covered) / len(covered) if covered else None,
        median(widths) if widths else None,
    )


def overall(by_region: Mapping[str, Sequence[Pair]], least_cm2: float) -> Agreement:
    """The same over all regions, each region's day counting once."""
    return agreement([pair for pairs in by_region.values() for pair in pairs], least_cm2)


_MEMORIES = np.linspace(0, 0.95, 20)

LEAST_ERRORS = 20
"""Days, all but one with one beside it, that a region must have for their scatter to be told."""


@dataclass(frozen=True)
class DayToDay:
    """How errors scatter from day to day: medians over regions of `LEAST_ERRORS` days and more.

    Attributes
    ----------
    scatter : float or None
        Standard deviation of the log of measured over true area, what drifts slowly taken out.
    correlation : float or None
        Of such errors on days side by side.
    regions : int
    """

    scatter: float | None
    correlation: float | None
    regions: int


def day_to_day(by_region: Mapping[str, Sequence[Pair]], least_cm2: float) -> DayToDay:
    """Scatter and memory of daily errors; what drifts by a cubic over the season is left out.

    Errors whose correlation falls off by its power with each day between them are assumed (an
    autoregression of first order); what the cubic takes of it is given back (Cheang & Reinsel 2000,
    J. Am. Statist. Assoc. 95: 1173–1184, on that bias).

    Growth curves rest on both: see `lapsekit.growth.trend`.
    """
    found = []
    for pairs in by_region.values():
        known = [p for p in pairs if p.true_cm2 >= least_cm2 and p.measured_cm2]
        days = np.array([p.day.toordinal() for p in known], float)
        if (np.diff(days) == 1).sum() < LEAST_ERRORS - 1:
            continue
        errors = np.log([p.measured_cm2 / p.true_cm2 for p in known])
        found.append(_scatter_and_memory(days, errors))
    if not found:
        return DayToDay(None, None, 0)
    scatter, correlation = np.median(found, axis=0)
    return DayToDay(float(scatter), float(correlation), len(found))


def _scatter_and_memory(days: np.ndarray, errors: np.ndarray) -> tuple[float, float]:
    """Both as they are before a cubic is taken out, which takes some of each away."""
    slow = np.vander((days - days.mean()) / np.ptp(days), 4)
    rest = np.eye(days.size) - slow @ np.linalg.pinv(slow)
    left = rest @ errors
    beside = np.flatnonzero(np.diff(days) == 1)
    squares = float(left @ left)
    seen = float(left[beside + 1] @ left[beside]) / squares
    apart = np.abs(np.subtract.outer(days, days))
    told, kept = [], []
    for memory in _MEMORIES:
        expected = rest @ memory**apart @ rest
        kept.append(np.trace(expected))
        told.append(expected[beside + 1, beside].sum() / kept[-1])
    memory = float(np.interp(seen, told, _MEMORIES))
    return float(np.sqrt(squares / np.interp(memory, _MEMORIES, kept))), memory
