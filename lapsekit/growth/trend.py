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

Only what differs from a parabola in a few days' reach is worked with (`lapsekit.growth.kinks`), so
that a season costs in proportion to its days.
"""

from dataclasses import dataclass

import numpy as np

from lapsekit.growth import banded, forms
from lapsekit.growth.forms import Asked
from lapsekit.growth.mixtures import quantile
from lapsekit.growth.series import NORMAL
from lapsekit.growth.weighing import Spells, Tries, Weighed

PRIOR_DAYS = 1.0
"""Days that the stated size of the errors is worth, beside the scatter itself."""

_NEGLIGIBLE = 1e-3


@dataclass(frozen=True)
class Estimate:
    """Means with 95 % intervals, longer on one side at times; each of shape (m,)."""

    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def widened(self, error: np.ndarray) -> "Estimate":
        """With a further standard error."""
        below, above = (
            np.hypot(np.maximum(half, 0), NORMAL * error)
            for half in (self.mean - self.low, self.high - self.mean)
        )
        return Estimate(self.mean, self.mean - below, self.mean + above)


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

    def some(self, which: np.ndarray) -> "Gains":
        """Those with the indices given."""
        return Gains(self.gain[which], self.size[which], self.error[which])


class Trend:
    """The trend fitted to one series.

    Parameters
    ----------
    weighed : Weighed
        The series, and how strongly its days hang together.
    at_once : ndarray, shape (n, k), optional
        Columns of known form and unknown size, such as `steps`.
    """

    def __init__(self, weighed: Weighed, at_once: np.ndarray | None = None):
        self.weighed, self.series, self._casts = weighed, weighed.series, weighed.casts
        n = len(self.series.days)
        self._known = np.empty((n, 0)) if at_once is None else np.asarray(at_once, float)
        self.freedom = PRIOR_DAYS + n - 3 - self._known.shape[1]
        self._solve()

    def _solve(self) -> None:
        weighed = self.weighed
        (kinked, solved), known = weighed.values, weighed.kinked(self._known)
        self._held = weighed.solved(known)
        known, kinked = (np.repeat(x, self._casts.each, axis=-1) for x in (known, kinked[:, 0]))
        normal = np.einsum("njc,nkc->cjk", known, self._held)
        self._root = np.linalg.inv(np.linalg.cholesky(normal))
        pulled = np.einsum("njc,nc->cj", known, solved[:, 0])
        self._coefficients = np.einsum("cij,cik,ck->cj", self._root, self._root, pulled)
        self._weights = solved[:, 0] - np.einsum("nkc,ck->nc", self._held, self._coefficients)
        left = kinked - np.einsum("nkc,ck->nc", known, self._coefficients)
        squares = np.maximum((left * self._weights).sum(axis=0), 0.0)
        self._squares = PRIOR_DAYS * weighed.prior.typical**2 + squares
        roots = np.log(np.diagonal(self._root, axis1=1, axis2=2)).sum(axis=1)
        logs = weighed.log_determinants - 2 * roots
        self.fits = self._casts.likely - 0.5 * (logs + self.freedom * np.log(self._squares))
        likely = np.exp(self.fits - self.fits.max())
        self.shares = likely / likely.sum()

    @property
    def known_count(self) -> int:
        """How many columns of known form there are."""
        return self._known.shape[1]

    @property
    def scatter(self) -> float:
        """Size of the daily errors of the log area, as the likeliest cast has it."""
        return float(np.sqrt(self._squares[self.shares.argmax()] / self.freedom))

    def levels(self, at, known=None) -> Asked:
        """The log area on days; `known` as `at_once` there."""
        return forms.levels(self.series, np.asarray(at, float), self._factors(at, known))

    def rates(self, at, known=None) -> Asked:
        """The slope, halfway between before and after the day; `known` adds to it."""
        return forms.rates(self.series, np.asarray(at, float), self._factors(at, known))

    def at_once(self, known: np.ndarray) -> Asked:
        """The columns themselves, by factors (m, k)."""
        return forms.columns(self.series, known)

    def _factors(self, at, known) -> np.ndarray:
        return np.zeros((len(at), self.known_count)) if known is None else known

    def estimate(self, asked: Asked) -> Estimate:
        """Anything linear in the trend."""
        counting = np.flatnonzero(self.shares > _NEGLIGIBLE)
        shares = self.shares[counting] / self.shares[counting].sum()
        casts = []
        places = counting // self._casts.each
        for place in np.unique(places):
            joint = forms.Joint(self.weighed, int(place), asked)
            casts += [self._under(cast, joint) for cast in counting[places == place]]
        means, spreads = (np.array(x) for x in zip(*casts, strict=True))
        low, high = (quantile(p, shares, means, spreads, self.freedom) for p in (0.025, 0.975))
        return Estimate(shares @ means, low, high)

    def _under(self, cast: int, joint: forms.Joint) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of what is asked, if one cast holds."""
        asked = joint.asked
        cross, variance = joint.under(*self._casts.all[cast][1:])
        known = asked.known - np.einsum("mq,mqk->mk", asked.shares, self._known[asked.days])
        mean = (asked.shares * self.series.log_area[asked.days]).sum(axis=1)
        mean = mean + known @ self._coefficients[cast]
        mean += np.einsum("n,nm->m", self._weights[:, cast], cross)
        halved = banded.halved(self.weighed.lower[cast], cross)
        variance = variance - np.square(halved).sum(axis=0)
        # Not by matrix products, whose threads wait for each other on a busy machine
        held = np.einsum("nm,nk->mk", cross, self._held[..., cast])
        left = (known - held) @ self._root[cast].T
        variance += np.square(left).sum(axis=1)
        return mean, self._squares[cast] / self.freedom * np.maximum(variance, 0.0)

    def gains(self, tries: Tries | Spells) -> Gains:
        """What possible events would gain, one at a time."""
        pull, hold = tries.of(self._weights), tries.hold
        for column in np.einsum("njc,ckj->knc", self._held, self._root):
            hold = hold - np.square(tries.of(column))
        hold = np.maximum(hold, 1e-9)
        left = np.maximum(self._squares - pull**2 / hold, 1e-9 * self._squares)
        better = np.exp(2 * (self.fits - self.fits.max()) / self.freedom) * self._squares / left
        best = np.arange(len(pull)), better.argmax(axis=1)
        error = np.sqrt(left[best] / (self.freedom - 1) / hold[best])
        return Gains(self.freedom * np.log(better[best]), pull[best] / hold[best], error)

    def surprises(self) -> tuple[np.ndarray, np.ndarray]:
        """How far each day lies from what the others say, and the variance of that, each (n,).

        In units of the typical daily error as the data show it, and of its square.
        """
        best, spikes = int(self.shares.argmax()), self.weighed.spikes
        own = spikes.hold[:, best]
        for column in np.einsum("njc,ckj->knc", self._held, self._root):
            own = own - np.square(spikes.of(column))[:, best]
        # A day that a break has for itself alone says nothing
        own = np.maximum(own, 1e-9)
        pull = spikes.of(self._weights)[:, best]
        return pull / own / np.sqrt(self._squares[best] / self.freedom), 1 / own
