"""Linear forms of a trend: its level on a day, its slope, differences of them.

Each is stated as what a parabola through a few measured days near by makes of it, and what the
changes of slope add to that. Neither large values nor far days then enter, and rounding stays small
however long the season is.
"""

from dataclasses import dataclass

import numpy as np

from lapsekit.growth.series import Series
from lapsekit.growth.weighing import Weighed

_ANCHORS = 3  # days that fix a parabola
_AROUND = ((0, 1, 2), (1, 0, 2), (2, 0, 1))  # each anchor with the two others


@dataclass(frozen=True)
class Asked:
    """Linear forms of a trend that `lapsekit.growth.trend.Trend.estimate` tells.

    Attributes
    ----------
    days : ndarray of int, shape (m, q)
        Indices of the measured days of the parabola.
    shares : ndarray, shape (m, q)
        Factors of those days' values.
    known : ndarray, shape (m, k)
        Factors of the columns of `at_once`.
    slopes : ndarray, shape (m, calendar days)
        Factors of the changes of slope, beyond what the parabola holds of them.
    """

    days: np.ndarray
    shares: np.ndarray
    known: np.ndarray
    slopes: np.ndarray

    def less(self, other: "Asked") -> "Asked":
        """The difference from other forms, or from a single one."""
        m = len(self.days)
        days = np.hstack([self.days, np.broadcast_to(other.days, (m, other.days.shape[1]))])
        shares = np.broadcast_to(-other.shares, (m, other.shares.shape[1]))
        shares = np.hstack([self.shares, shares])
        return Asked(days, shares, self.known - other.known, self.slopes - other.slopes)


def hinges(at, knots) -> np.ndarray:
    """Days since each knot, 0 before it: shape (len(at), len(knots))."""
    return np.maximum(np.subtract.outer(np.asarray(at, float), knots), 0.0)


def passed(at, start, end) -> np.ndarray:
    """Days passed between two moments, up to each day; all three are broadcast together."""
    return np.clip(np.asarray(at, float) - start, 0, end - start)


def steps(at, knots) -> np.ndarray:
    """1 from each knot on, 0 before it: shape (len(at), len(knots))."""
    return (np.subtract.outer(np.asarray(at, float), knots) >= 0).astype(float)


def levels(series: Series, at: np.ndarray, known: np.ndarray) -> Asked:
    """The log area on days; `known` are factors of the columns known, (m, k)."""
    days, apart = _anchors(series, at)
    shares = [
        apart[:, one] * apart[:, two] / _from_others(series, days, place)
        for place, one, two in _AROUND
    ]
    return _beyond(series, days, shares, known, hinges(at, series.calendar))


def rates(series: Series, at: np.ndarray, known: np.ndarray) -> Asked:
    """The slope, halfway between before and after the day."""
    days, apart = _anchors(series, at)
    shares = [
        (apart[:, one] + apart[:, two]) / _from_others(series, days, place)
        for place, one, two in _AROUND
    ]
    turned = (np.sign(np.subtract.outer(at, series.calendar)) + 1) / 2
    return _beyond(series, days, shares, known, turned)


def columns(series: Series, known: np.ndarray) -> Asked:
    """The columns known and nothing else, by factors (m, k)."""
    m = len(known)
    nothing = np.zeros((m, series.calendar.size))
    return Asked(np.zeros((m, 1), int), np.zeros((m, 1)), known, nothing)


def _anchors(series: Series, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Indices of three measured days near each moment, and the days from them to it."""
    first = np.clip(np.searchsorted(series.days, at) - 1, 0, series.days.size - _ANCHORS)
    near = first[:, None] + np.arange(_ANCHORS)
    return near, at[:, None] - series.days[near]


def _from_others(series: Series, days: np.ndarray, place: int) -> np.ndarray:
    at = series.days[days]
    return np.prod([at[:, place] - at[:, k] for k in range(_ANCHORS) if k != place], axis=0)


def _beyond(series: Series, days, shares, known, slopes) -> Asked:
    bends = hinges(series.days, series.calendar)
    for place, share in enumerate(shares):
        slopes = slopes - share[:, None] * bends[days[:, place]]
    return Asked(days, np.column_stack(shares), known, slopes)


class Joint:
    """How what is asked hangs together with the kinks, for all casts of one correlation."""

    def __init__(self, weighed: Weighed, place: int, asked: Asked):
        self.asked, prior = asked, weighed.prior
        once, lasting = prior.changes[place]
        slopes, drift = asked.slopes.T, _drifting(asked.slopes).T
        self._wandering = once @ slopes, np.square(slopes).sum(axis=0)
        self._swaying = lasting @ drift, np.square(drift).sum(axis=0)
        turning = prior.turns[:, None] * slopes
        self._fixed = once @ turning, (turning * slopes).sum(axis=0)
        days, back = np.unique(asked.days, return_inverse=True)
        back = back.reshape(asked.days.shape)
        errors = prior.errors(days, place)
        errors[days, np.arange(days.size)] += weighed.unsure[days]
        kinked = prior.kinks[place].of(errors)
        cross, variance = self._fixed
        for one in range(back.shape[1]):
            cross = cross - asked.shares[:, one] * kinked[:, back[:, one]]
            for two in range(back.shape[1]):
                both = asked.shares[:, one] * asked.shares[:, two]
                variance = variance + both * errors[asked.days[:, one], back[:, two]]
        self._fixed = cross, variance

    def under(self, wander: float, sway: float) -> tuple[np.ndarray, np.ndarray]:
        """Covariance with the kinks (n - 3, m), and variance (m,)."""
        parts = zip(self._fixed, self._wandering, self._swaying, strict=True)
        return tuple(fixed + wander**2 * w + sway**2 * s for fixed, w, s in parts)


def _drifting(slopes: np.ndarray) -> np.ndarray:
    """Factors of the steps of a drift that is none in the middle, from those of its values."""
    middle = slopes.shape[1] // 2
    later = slopes[:, ::-1].cumsum(axis=1)[:, ::-1]
    before = slopes.cumsum(axis=1) - slopes
    return np.where(np.arange(slopes.shape[1]) > middle, later, -before)
