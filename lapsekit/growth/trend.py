"""A smooth trend of log area under daily errors that hang together: curves and pauses rest on it.

The log of the area is a straight line, whose slope (the relative growth rate) wanders a little
from day to day, plus whatever is known to happen at once (a cut), plus daily errors. A wandering
slope is the prior of a cubic smoothing spline (Wahba 1978, J. R. Statist. Soc. B 40: 364–372) and
the local linear trend of structural time series (Harvey 1989). Neighbouring days' errors are
correlated, as leaves, light and registration carry over from one day to the next: rho to the power
of the days between them.

How much the slope wanders and how strongly errors hang together is not known. Both run over a
grid; results are averaged with the weight that the data give each pair, so that intervals contain
this doubt as well. The size of the errors is integrated out (O'Hagan & Forster 2004, *Bayesian
inference*, chapter 11), which gives Student's t in place of the normal. The days' own standard
errors say how sure they are relative to each other, and only a little about the common size.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from lapsekit.growth.series import Series

WANDER = (0.004, 0.012, 0.035, 0.1, 0.3)
"""Day-to-day standard deviation of the slope, over the typical daily error."""

CORRELATION = (0.0, 0.25, 0.5, 0.75)
"""Correlation of neighbouring days' errors."""

PRIOR_DAYS = 2.0
"""Days that the stated size of the errors is worth, beside the scatter itself."""

_PAIRS = np.array([(wander, rho) for wander in WANDER for rho in CORRELATION])


@dataclass(frozen=True)
class Estimate:
    """Means with 95 % intervals, each of shape (m,)."""

    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class Gains:
    """What each of m possible events would add to the fit.

    Attributes
    ----------
    gain : ndarray, shape (m,)
        Twice the gain in log-likelihood, every pair of the grid allowed with and without.
    size, error : ndarray, shape (m,)
        Estimated size of the event and its standard error, under the pair that fits best with it.
    """

    gain: np.ndarray
    size: np.ndarray
    error: np.ndarray


def hinges(at, knots) -> np.ndarray:
    """Days since each knot, 0 before it: shape (len(at), len(knots))."""
    return np.maximum(np.subtract.outer(np.asarray(at, float), knots), 0.0)


def steps(at, knots) -> np.ndarray:
    """1 from each knot on, 0 before it: shape (len(at), len(knots))."""
    return (np.subtract.outer(np.asarray(at, float), knots) >= 0).astype(float)


class Trend:
    """The trend fitted to one series.

    Parameters
    ----------
    series : Series
    at_once : ndarray, shape (n, k), optional
        Columns of known form and unknown size, such as `steps`.
    turns : ndarray of float, shape (number of calendar days,), optional
        Standard deviation of an additional change of the slope on each calendar day, per day.
    unsure : ndarray, shape (n,), optional
        Additional variance of single days, in units of the typical daily error's.
    """

    def __init__(self, series: Series, *, at_once=None, turns=None, unsure=None):
        n = len(series.days)
        self.series = series
        self.typical = float(np.exp(np.log(series.error).mean()))
        self._middle = float(series.days.mean())
        self._known = np.empty((n, 0)) if at_once is None else np.asarray(at_once, float)
        extra = np.zeros(n) if unsure is None else np.asarray(unsure, float)
        turning = np.zeros(series.calendar.size) if turns is None else np.asarray(turns, float)
        wander = np.square(_PAIRS[:, :1]) + np.square(turning / self.typical)
        self._basis = hinges(series.days, series.calendar)
        self._slopes = self._basis.T * wander[:, :, None]  # covariance of the slope changes and y
        self._wander = wander
        self._fixed = np.column_stack([self._line(series.days), self._known])
        self._solve(self._basis @ self._slopes + self._errors(extra))

    def _line(self, days) -> np.ndarray:
        return np.column_stack([np.ones(len(days)), np.asarray(days) - self._middle])

    def _errors(self, extra: np.ndarray) -> np.ndarray:
        """Covariance of the daily errors, one matrix for each pair."""
        days, size = self.series.days, self.series.error / self.typical
        apart = np.abs(np.subtract.outer(days, days))
        return _PAIRS[:, 1, None, None] ** apart * np.outer(size, size) + np.diag(extra)

    def _solve(self, covariance: np.ndarray) -> None:
        n, p = self._fixed.shape
        y = self.series.log_area
        self._precision = np.linalg.inv(covariance)
        weighed = self._precision @ self._fixed
        normal = self._fixed.T @ weighed
        self._certainty = np.linalg.inv(normal)
        self._projected = self._precision - weighed @ self._certainty @ weighed.swapaxes(1, 2)
        self._weights = self._projected @ y
        self._coefficients = (self._certainty @ (weighed.swapaxes(1, 2) @ y)[..., None])[..., 0]
        self.freedom = PRIOR_DAYS + n - p
        self._squares = PRIOR_DAYS * self.typical**2 + np.maximum(self._weights @ y, 0.0)
        logs = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]
        self.fits = -0.5 * (logs + self.freedom * np.log(self._squares))
        likely = np.exp(self.fits - self.fits.max())
        self.shares = likely / likely.sum()

    def estimate(self, line: np.ndarray, slopes: np.ndarray) -> Estimate:
        """Anything linear in the trend.

        Parameters
        ----------
        line : ndarray, shape (m, 2 + k)
            Factors of the level, of the slope, and of the columns of `at_once`.
        slopes : ndarray, shape (m, calendar days)
            Factors of the changes of slope on each calendar day.
        """
        means, spreads = self._by_pair(line, slopes)
        mean = self.shares @ means
        between = np.square(means - mean)
        half = stdtrit(self.freedom, 0.975) * np.sqrt(self.shares @ (spreads + between))
        return Estimate(mean, mean - half, mean + half)

    def _by_pair(self, line, slopes) -> tuple[np.ndarray, np.ndarray]:
        cross = slopes @ self._slopes
        means = self._coefficients @ line.T + np.einsum("hmn,hn->hm", cross, self._weights)
        solved = cross @ self._precision
        left = line - solved @ self._fixed
        variance = np.square(slopes) @ self._wander.T
        variance = variance.T - np.einsum("hmn,hmn->hm", solved, cross)
        variance += np.einsum("hmp,hpq,hmq->hm", left, self._certainty, left)
        size = self._squares / self.freedom
        return means, size[:, None] * np.maximum(variance, 0.0)

    def levels(self, at, known=None) -> tuple[np.ndarray, np.ndarray]:
        """Factors for `estimate` that give the log area on days; `known` as `at_once` there."""
        at = np.asarray(at, float)
        known = np.zeros((len(at), self._known.shape[1])) if known is None else known
        return np.hstack([self._line(at), known]), hinges(at, self.series.calendar)

    def rates(self, at) -> tuple[np.ndarray, np.ndarray]:
        """Factors for `estimate` that give the slope, halfway between before and after the day."""
        apart = np.subtract.outer(np.asarray(at, float), self.series.calendar)
        line = np.zeros((len(apart), self._fixed.shape[1]))
        line[:, 1] = 1.0
        return line, (np.sign(apart) + 1) / 2

    def gains(self, columns: np.ndarray) -> Gains:
        """What each of m columns (n, m) would gain, one at a time."""
        pull = self._weights @ columns
        hold = np.einsum("nm,hnm->hm", columns, self._projected @ columns)
        return self._gains(pull, hold)

    def gains_of_days(self) -> Gains:
        """What each day would gain by standing alone."""
        return self._gains(self._weights, np.einsum("hnn->hn", self._projected))

    def gains_between(self, knots: np.ndarray) -> Gains:
        """What a slope that is another between any two knots would gain: m by m, first and last."""
        bends = hinges(self.series.days, knots)
        pull = self._weights @ bends
        hold = bends.T @ self._projected @ bends
        own = np.einsum("hmm->hm", hold)
        return self._gains(
            pull[:, :, None] - pull[:, None, :], own[:, :, None] + own[:, None, :] - 2 * hold
        )

    def _gains(self, pull, hold) -> Gains:
        shape = (-1,) + (1,) * (pull.ndim - 1)
        squares, fits = self._squares.reshape(shape), self.fits.reshape(shape)
        hold = np.maximum(hold, 1e-9)
        left = np.maximum(squares - pull**2 / hold, 1e-9 * squares)
        with_it = fits + 0.5 * self.freedom * np.log(squares / left)
        best = with_it.argmax(axis=0)[None]
        take = lambda x: np.take_along_axis(np.broadcast_to(x, pull.shape), best, 0)[0]  # noqa: E731
        gain = 2 * (take(with_it) - self.fits.max())
        error = np.sqrt(take(left) / (self.freedom - 1) / take(hold))
        return Gains(gain, take(pull / hold), error)

    def surprises(self) -> tuple[np.ndarray, np.ndarray]:
        """How far each day lies from what the others say, and the variance of that, each (n,).

        In units of the typical daily error as the data show it, and of its square.
        """
        best = int(self.shares.argmax())
        own = np.diagonal(self._projected[best])
        return self._weights[best] / own / np.sqrt(self._squares[best] / self.freedom), 1 / own
