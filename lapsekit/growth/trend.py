"""A smooth trend of log area under daily errors that hang together: curves and pauses rest on it.

The log of the area is a shallow curve whose slope, the relative growth rate, changes from day to
day in two ways: it sways, as growth laws do (a slope with a slope of its own), and it wanders, as
weather makes it. To this come changes at once of known date (a cut) and daily errors. Such priors
are those of smoothing splines (Wahba 1978, J. R. Statist. Soc. B 40: 364–372) and of trends in
structural time series (Harvey 1989). Neighbouring days' errors are correlated, as leaves, light and
registration carry over from one day to the next: rho to the power of the days between them.

How much the slope sways and wanders and how strongly errors hang together is not known. All three
run over a grid; results are averaged with the weight that the data give each cast of the three, so
that intervals contain this doubt as well. The size of the errors is integrated out (O'Hagan &
Forster 2004, *Bayesian inference*, chapter 11), which gives Student's t in place of the normal. The
days' own standard errors say how sure they are relative to each other, and only a little about the
common size.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import stdtrit

from lapsekit.growth.series import Series

WANDER = (0.0, 0.03, 0.1, 0.3)
"""Day-to-day standard deviation of the slope, over the typical daily error. Each is taken to be
less likely than the one before by a factor of e: growth is smooth unless the data say otherwise."""

SWAY = (0.002, 0.01)
"""Day-to-day standard deviation of the slope's own slope, over the typical daily error."""

CORRELATION = (0.0, 0.35, 0.7)
"""Correlation of neighbouring days' errors."""

PRIOR_DAYS = 1.0
"""Days that the stated size of the errors is worth, beside the scatter itself."""

_NEGLIGIBLE = 1e-3
_BEND = 1e3  # keeps the columns of a line of alike size
_CASTS = np.array(list(product(WANDER, SWAY, CORRELATION)))
_PRIOR = -np.repeat(np.arange(len(WANDER), dtype=float), len(_CASTS) // len(WANDER))


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
        Twice the gain in log-likelihood, every cast of the grid allowed with and without.
    size, error : ndarray, shape (m,)
        Estimated size of the event and its standard error, under the cast that fits best with it.
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


def _swaying(every: np.ndarray) -> np.ndarray:
    """Covariance of daily changes of slope that drift by 1 a day, from none in the middle."""
    since = np.arange(every.size) - every.size // 2
    same = np.sign(since)[:, None] * np.sign(since) > 0
    return np.where(same, np.minimum.outer(np.abs(since), np.abs(since)), 0).astype(float)


def _log_determinant(matrices: np.ndarray) -> np.ndarray:
    diagonals = np.diagonal(np.linalg.cholesky(matrices), axis1=1, axis2=2)
    return 2 * np.log(diagonals).sum(axis=1)


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
        every = series.calendar
        self._turns = np.square(np.zeros(every.size) if turns is None else turns / self.typical)
        self._swaying = _swaying(every)
        self._fixed = np.column_stack([self._line(series.days), self._known])
        self._solve(self._covariance(hinges(series.days, every)) + np.diag(extra))

    def _line(self, days) -> np.ndarray:
        away = np.asarray(days) - self._middle
        return np.column_stack([np.ones(len(days)), away, away**2 / _BEND])

    def _covariance(self, bends: np.ndarray) -> np.ndarray:
        """Covariance of the daily values, one matrix for each cast."""
        days, size = self.series.days, self.series.error / self.typical
        apart = np.abs(np.subtract.outer(days, days))
        errors = {rho: rho**apart * np.outer(size, size) for rho in CORRELATION}
        wandering, swaying = bends @ bends.T, bends @ self._swaying @ bends.T
        turning = (bends * self._turns) @ bends.T
        return np.array(
            [
                wander**2 * wandering + sway**2 * swaying + errors[rho] + turning
                for wander, sway, rho in _CASTS
            ]
        )

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
        logs = _log_determinant(covariance) + _log_determinant(normal)
        self.fits = _PRIOR - 0.5 * (logs + self.freedom * np.log(self._squares))
        likely = np.exp(self.fits - self.fits.max())
        self.shares = likely / likely.sum()

    def estimate(self, line: np.ndarray, slopes: np.ndarray) -> Estimate:
        """Anything linear in the trend.

        Parameters
        ----------
        line : ndarray, shape (m, 3 + k)
            Factors of the level, the slope, its bend, and the columns of `at_once`.
        slopes : ndarray, shape (m, calendar days)
            Factors of the changes of slope on each calendar day.
        """
        counting = np.flatnonzero(self.shares > _NEGLIGIBLE)
        shares = self.shares[counting] / self.shares[counting].sum()
        casts = [self._under_cast(cast, line, slopes) for cast in counting]
        means, spreads = (np.array(x) for x in zip(*casts, strict=True))
        mean = shares @ means
        between = np.square(means - mean)
        half = stdtrit(self.freedom, 0.975) * np.sqrt(shares @ (spreads + between))
        return Estimate(mean, mean - half, mean + half)

    def _under_cast(self, cast: int, line, slopes) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of what is linear in the trend, if one cast holds."""
        wander, sway, _ = _CASTS[cast]
        changes = wander**2 * slopes + slopes * self._turns + sway**2 * (slopes @ self._swaying)
        cross = changes @ hinges(self.series.days, self.series.calendar).T
        mean = line @ self._coefficients[cast] + cross @ self._weights[cast]
        solved = cross @ self._precision[cast]
        left = line - solved @ self._fixed
        variance = (changes * slopes).sum(axis=1) - (solved * cross).sum(axis=1)
        variance += (left @ self._certainty[cast] * left).sum(axis=1)
        size = self._squares[cast] / self.freedom
        return mean, size * np.maximum(variance, 0.0)

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
        line[:, 2] = 2 * (np.asarray(at, float) - self._middle) / _BEND
        return line, (np.sign(apart) + 1) / 2

    def gains(self, columns: np.ndarray) -> Gains:
        """What each of m columns (n, m) would gain, one at a time."""
        pull = self._weights @ columns
        hold = np.einsum("nm,hnm->hm", columns, self._projected @ columns)
        return self._gains(pull, hold)

    def gains_of_days(self) -> Gains:
        """What each day would gain by standing alone."""
        return self._gains(self._weights, np.einsum("hnn->hn", self._projected))

    def gains_between(self, knots: np.ndarray, first: np.ndarray, last: np.ndarray) -> Gains:
        """What a slope that is another between two knots would gain; (m,) indices of the pairs."""
        bends = hinges(self.series.days, knots)
        pull = self._weights @ bends
        hold = bends.T @ self._projected @ bends
        own = np.einsum("hkk->hk", hold)
        held = own[:, first] + own[:, last] - 2 * hold[:, first, last]
        return self._gains(pull[:, first] - pull[:, last], held)

    def _gains(self, pull, hold) -> Gains:
        squares, fits = self._squares[:, None], self.fits[:, None]
        hold = np.maximum(hold, 1e-9)
        left = np.maximum(squares - pull**2 / hold, 1e-9 * squares)
        with_it = fits + 0.5 * self.freedom * np.log(squares / left)
        best = with_it.argmax(axis=0), np.arange(pull.shape[1])
        gain = 2 * (with_it[best] - self.fits.max())
        error = np.sqrt(left[best] / (self.freedom - 1) / hold[best])
        return Gains(gain, pull[best] / hold[best], error)

    def surprises(self) -> tuple[np.ndarray, np.ndarray]:
        """How far each day lies from what the others say, and the variance of that, each (n,).

        In units of the typical daily error as the data show it, and of its square.
        """
        best = int(self.shares.argmax())
        # A day that a break has for itself alone says nothing
        own = np.maximum(np.diagonal(self._projected[best]), 1e-9)
        return self._weights[best] / own / np.sqrt(self._squares[best] / self.freedom), 1 / own
