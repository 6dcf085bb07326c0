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
from scipy.special import stdtrit

from lapsekit.growth import banded
from lapsekit.growth.weighing import CASTS, EACH, WANDER, Spells, Tries, Weighed

PRIOR_DAYS = 1.0
"""Days that the stated size of the errors is worth, beside the scatter itself."""

_NEGLIGIBLE = 1e-3
_LIKELY = -np.array([WANDER.index(wander) for _, wander, _ in CASTS], float)
_ANCHORS = 3  # days that fix a parabola


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

    def some(self, which: np.ndarray) -> "Gains":
        """Those with the indices given."""
        return Gains(self.gain[which], self.size[which], self.error[which])


@dataclass(frozen=True)
class Asked:
    """Linear forms of a trend that `Trend.estimate` tells.

    Each is stated as what a parabola through some measured days makes of it, and what the changes
    of slope add to that.

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


def steps(at, knots) -> np.ndarray:
    """1 from each knot on, 0 before it: shape (len(at), len(knots))."""
    return (np.subtract.outer(np.asarray(at, float), knots) >= 0).astype(float)


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
        self.weighed, self.series = weighed, weighed.series
        n = len(self.series.days)
        self._known = np.empty((n, 0)) if at_once is None else np.asarray(at_once, float)
        self.freedom = PRIOR_DAYS + n - 3 - self._known.shape[1]
        self._solve()

    def _solve(self) -> None:
        weighed = self.weighed
        (kinked, solved), known = weighed.values, weighed.kinked(self._known)
        self._held = weighed.solved(known)
        known, kinked = (np.repeat(each, EACH, axis=-1) for each in (known, kinked[:, 0]))
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
        self.fits = _LIKELY - 0.5 * (logs + self.freedom * np.log(self._squares))
        likely = np.exp(self.fits - self.fits.max())
        self.shares = likely / likely.sum()

    @property
    def known_count(self) -> int:
        """How many columns of known form there are."""
        return self._known.shape[1]

    def levels(self, at, known=None) -> Asked:
        """The log area on days; `known` as `at_once` there."""
        at = np.asarray(at, float)
        days, apart = self._anchors(at)
        shares = [
            (apart[:, one] * apart[:, two]) / self._from_others(days, place)
            for place, one, two in _around()
        ]
        return self._asked(days, shares, known, hinges(at, self.series.calendar))

    def rates(self, at, known=None) -> Asked:
        """The slope, halfway between before and after the day; `known` adds to it."""
        at = np.asarray(at, float)
        days, apart = self._anchors(at)
        shares = [
            (apart[:, one] + apart[:, two]) / self._from_others(days, place)
            for place, one, two in _around()
        ]
        turned = (np.sign(np.subtract.outer(at, self.series.calendar)) + 1) / 2
        return self._asked(days, shares, known, turned)

    def at_once(self, known: np.ndarray) -> Asked:
        """The columns themselves, by factors (m, k)."""
        m = len(known)
        nothing = np.zeros((m, self.series.calendar.size))
        return Asked(np.zeros((m, 1), int), np.zeros((m, 1)), known, nothing)

    def _anchors(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Indices of three measured days near each moment, and the days from them to it."""
        days = self.series.days
        first = np.clip(np.searchsorted(days, at) - 1, 0, days.size - _ANCHORS)
        near = first[:, None] + np.arange(_ANCHORS)
        return near, at[:, None] - days[near]

    def _from_others(self, days: np.ndarray, place: int) -> np.ndarray:
        at = self.series.days[days]
        return np.prod([at[:, place] - at[:, k] for k in range(_ANCHORS) if k != place], axis=0)

    def _asked(self, days, shares, known, slopes) -> Asked:
        shares = np.column_stack(shares)
        known = np.zeros((len(days), self._known.shape[1])) if known is None else known
        bends = hinges(self.series.days, self.series.calendar)
        for place in range(_ANCHORS):
            slopes = slopes - shares[:, place, None] * bends[days[:, place]]
        return Asked(days, shares, known, slopes)

    def estimate(self, asked: Asked) -> Estimate:
        """Anything linear in the trend."""
        counting = np.flatnonzero(self.shares > _NEGLIGIBLE)
        shares = self.shares[counting] / self.shares[counting].sum()
        casts = []
        for place in np.unique(counting // EACH):
            joint = _Joint(self.weighed, int(place), asked)
            casts += [self._under(cast, joint) for cast in counting[counting // EACH == place]]
        means, spreads = (np.array(x) for x in zip(*casts, strict=True))
        mean = shares @ means
        between = np.square(means - mean)
        half = stdtrit(self.freedom, 0.975) * np.sqrt(shares @ (spreads + between))
        return Estimate(mean, mean - half, mean + half)

    def _under(self, cast: int, joint: "_Joint") -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of what is asked, if one cast holds."""
        asked = joint.asked
        cross, variance = joint.under(*CASTS[cast][1:])
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


def _around() -> list[tuple[int, int, int]]:
    """Each anchor with the two others."""
    return [(0, 1, 2), (1, 0, 2), (2, 0, 1)]


class _Joint:
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
