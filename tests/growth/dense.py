"""The growth model by its definition: whole covariance matrices, inverted. Slow, and plainly right.

`lapsekit.growth.trend` says what the model is; it works with narrow bands instead and must come to
the same.
"""

import numpy as np
from scipy.optimize import brentq
from scipy.stats import t

from lapsekit.growth.trend import PRIOR_DAYS
from lapsekit.growth.weighing import STRONG_SWAY, SWAY, UNLIKELY, USUAL, WANDER, Casts


class Dense:
    """The trend of a series; parameters as those of `Prior`, `Weighed` and `Trend` together."""

    def __init__(self, series, turns, unsure, known, casts: Casts = USUAL):
        days, every = series.days, series.calendar
        self.series, self.known = series, known
        typical = np.exp(np.log(series.error).mean())
        size, turned = series.error / typical, np.square(turns / typical)
        since = np.arange(every.size) - every.size // 2
        same = np.sign(since)[:, None] * np.sign(since) > 0
        drift = np.where(same, np.minimum.outer(abs(since), abs(since)), 0)
        self.bends = bends(days, every)
        self.fixed = np.hstack([self.line(days), known])
        self.changes, self.inverse, self.projected, logs = [], [], [], []
        for rho, wander, sway in casts.all:
            changes = wander**2 * np.eye(every.size) + sway**2 * drift + np.diag(turned)
            errors = rho ** abs(np.subtract.outer(days, days)) * np.outer(size, size)
            covariance = self.bends @ changes @ self.bends.T + errors + np.diag(unsure)
            inverse = np.linalg.inv(covariance)
            normal = self.fixed.T @ inverse @ self.fixed
            weighed = inverse @ self.fixed
            self.changes.append(changes)
            self.inverse.append(inverse)
            self.projected.append(inverse - weighed @ np.linalg.inv(normal) @ weighed.T)
            logs.append(np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1])
        self.freedom = PRIOR_DAYS + len(days) - self.fixed.shape[1]
        y = series.log_area
        self.squares = PRIOR_DAYS * typical**2 + np.array([y @ q @ y for q in self.projected])
        rough = [
            WANDER.index(wander) + (0 if sway in SWAY else STRONG_SWAY.index(sway) - 1)
            for _, wander, sway in casts.all
        ]
        likely = -UNLIKELY * np.array(rough)
        self.fits = likely - 0.5 * (np.array(logs) + self.freedom * np.log(self.squares))
        shares = np.exp(self.fits - self.fits.max())
        self.shares = shares / shares.sum()

    def line(self, at):
        away = (at - self.series.days.mean()) / 30
        return np.column_stack([np.ones(len(at)), away, away**2])

    def gain(self, column):
        """Twice the gain in log-likelihood, and the size, of one column."""
        pull = np.array([column @ q @ self.series.log_area for q in self.projected])
        hold = np.array([column @ q @ column for q in self.projected])
        left = self.squares - pull**2 / hold
        with_it = self.fits + 0.5 * self.freedom * np.log(self.squares / left)
        best = with_it.argmax()
        return 2 * (with_it[best] - self.fits.max()), pull[best] / hold[best]

    def levels(self, at, known):
        return self._estimate(np.hstack([self.line(at), known]), bends(at, self.series.calendar))

    def rates(self, at):
        line = np.zeros((len(at), self.fixed.shape[1]))
        line[:, 1] = 1 / 30
        line[:, 2] = 2 * (at - self.series.days.mean()) / 30**2
        return self._estimate(line, (np.sign(np.subtract.outer(at, self.series.calendar)) + 1) / 2)

    def _estimate(self, line, slopes):
        counting = np.flatnonzero(self.shares > 1e-3)
        shares = self.shares[counting] / self.shares[counting].sum()
        each = [self._under(cast, line, slopes) for cast in counting]
        means, spreads = (np.array(x).T for x in zip(*each, strict=True))
        ends = [
            [self._end(level, shares, *one) for one in zip(means, np.sqrt(spreads), strict=True)]
            for level in (0.025, 0.975)
        ]
        return means @ shares, *map(np.array, ends)

    def _end(self, level, shares, means, spreads):
        """Where a mixture of Student's t has so much below it."""
        far = 50 * spreads.max() + np.ptp(means)
        return brentq(
            lambda x: shares @ t.cdf((x - means) / spreads, self.freedom) - level,
            means.min() - far,
            means.max() + far,
            xtol=1e-12,
        )

    def _under(self, cast, line, slopes):
        inverse, fixed = self.inverse[cast], self.fixed
        cross = slopes @ self.changes[cast] @ self.bends.T
        certainty = np.linalg.inv(fixed.T @ inverse @ fixed)
        found = certainty @ fixed.T @ inverse @ self.series.log_area
        left = line - cross @ inverse @ fixed
        mean = line @ found + cross @ inverse @ (self.series.log_area - fixed @ found)
        own = np.einsum("mi,ij,mj->m", slopes, self.changes[cast], slopes)
        own -= np.einsum("mi,ij,mj->m", cross, inverse, cross)
        own += np.einsum("mi,ij,mj->m", left, certainty, left)
        return mean, self.squares[cast] / self.freedom * own


def bends(at, knots):
    return np.maximum(np.subtract.outer(at, knots), 0.0)
