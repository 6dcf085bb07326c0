"""Daily areas made ready for the growth model: logs, relative errors, only what was measured."""

from dataclasses import dataclass

import numpy as np

#: Half of a 95 % interval in standard errors.
NORMAL = 1.96

#: No day is believed to be surer than this share of its area, whatever its interval says.
LEAST_ERROR = 0.005

#: Half of an interval, as a share of the area, up to which it is taken to be as wide in logs.
NARROW = 0.5

#: Fewest measured days from which a curve is drawn or a pause looked for.
LEAST_DAYS = 6


@dataclass(frozen=True)
class Series:
    """The measured days of one region.

    Attributes
    ----------
    days : ndarray of float, shape (n,)
        Rising, whole days on any scale (plant age, say).
    log_area : ndarray of float, shape (n,)
        Natural logarithm of the area in cm².
    error : ndarray of float, shape (n,)
        Standard error of each day as a share of its area.
    lasting : ndarray of float, shape (n,)
        A further one that days near each other share.
    """

    days: np.ndarray
    log_area: np.ndarray
    error: np.ndarray
    lasting: np.ndarray

    @property
    def calendar(self) -> np.ndarray:
        """Every day from the first to the last, measured or not."""
        return np.arange(self.days[0], self.days[-1] + 1)


def measured_series(days, area_cm2, error_cm2, left_out=None, lasting_cm2=None) -> Series:
    """Keep the days that have an area above zero.

    Parameters
    ----------
    days : array_like of int, shape (n,)
        Rising: plant age in days, or a date's ordinal.
    area_cm2 : array_like of float, shape (n,)
        NaN on a day without a usable frame.
    error_cm2 : array_like of float, shape (n,)
        Standard error of each day: half its 95 % interval over 1.96.
    left_out : array_like of bool, shape (n,), optional
        Days to leave out.
    lasting_cm2 : array_like of float, shape (n,), optional
        A further standard error of each day, which those near it share. Days are not weighed
        against each other by it: its median counts as each day's own.

    Returns
    -------
    Series
        May be empty.

    Raises
    ------
    ValueError
        Lengths differ, days do not rise by whole days, or a measured day has no error.
    """
    days, area, error = (np.asarray(x, float) for x in (days, area_cm2, error_cm2))
    out = np.zeros(days.shape, bool) if left_out is None else np.asarray(left_out, bool)
    lasting = np.zeros(days.shape) if lasting_cm2 is None else np.asarray(lasting_cm2, float)
    _check(days, area, error, out, lasting)
    kept = np.isfinite(area) & (area > 0) & ~out
    if (bad := kept & ~(error > 0)).any():
        first = int(np.argmax(bad))
        raise ValueError(
            f"day {days[first]:g} has the area {area[first]:g} cm² and the error "
            f"{error[first]:g}: give every measured day a standard error above zero"
        )
    share = np.maximum(_in_logs(error[kept] / area[kept]), LEAST_ERROR)
    shared = _in_logs(lasting[kept] / area[kept])
    typical = float(np.median(shared)) if shared.size else 0.0
    beyond = np.sqrt(np.maximum(shared**2 - typical**2, 0))
    return Series(days[kept], np.log(area[kept]), np.hypot(share, typical), beyond)


def _in_logs(share: np.ndarray) -> np.ndarray:
    """Standard errors of log areas for those of areas, as shares of them.

    Nearly the same while intervals are narrow. One of twenty times the area reaches up to twenty
    times the area, not to its twentieth power.
    """
    half = NORMAL * share
    wide = np.log1p(half) + NARROW - np.log1p(NARROW)
    return np.where(half > NARROW, wide / NORMAL, share)


def _check(days, area, error, out, lasting) -> None:
    lengths = {x.shape for x in (days, area, error, out, lasting)}
    if len(lengths) != 1 or days.ndim != 1:
        raise ValueError(f"shapes {sorted(lengths)} differ: give one value for each day")
    if (np.diff(days) <= 0).any() or (days % 1 != 0).any():
        raise ValueError(f"days {days[:8]} … must be whole and rise: sort them, one row a day")
