"""How strongly days hang together under each cast of what is not known, and what follows from it.

See `lapsekit.growth.trend` for what is cast. What rests on the days alone is worked out once for a
series, what rests on how sure each day is once for each try of that; fits with other columns share
both.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations_with_replacement, product

import numpy as np

from lapsekit.growth import banded
from lapsekit.growth.kinks import SPAN, Events, Kinks
from lapsekit.growth.series import Series

WANDER = (0.0, 0.03, 0.1, 0.3)
"""Day-to-day standard deviation of the slope, over the typical daily error."""

UNLIKELY = 2.5
"""Each of them is taken to be less likely than the one before by a factor of e to this power:
growth is smooth unless the data say otherwise. With it bands of rates hold 96.8 % of simulated
days, and 95.1 % where weather moves a plant's clock by 2 % a day (``tests.bench.growth_study``);
with 2 they held 97.1 % of the former."""

SWAY = (0.002, 0.01)
"""Day-to-day standard deviation of the slope's own slope, over the typical daily error."""

STRONG_SWAY = (*SWAY, 0.05, 0.25)
"""The same for curves, whose breaks are known: the slope of a seedling's log area halves within a
week. Each beyond `SWAY` is less likely than the one before likewise. Where breaks are looked for it
would explain them away."""

CORRELATION = (0.0, 0.35, 0.7)
"""Correlation of neighbouring days' errors."""

_AT_ONCE = 500  # pairs: what they need stays in the processor's cache


class Casts:
    """The grid of what is not known.

    Parameters
    ----------
    sway : tuple of float
        `SWAY`, or `STRONG_SWAY`.

    Attributes
    ----------
    all : ndarray, shape (casts, 3)
        Correlation, wander and sway; casts of one correlation follow each other.
    each : int
        How many casts each correlation has.
    likely : ndarray, shape (casts,)
        Logarithm of how likely each is held before anything is seen, up to a constant.
    """

    def __init__(self, sway: tuple[float, ...]):
        self.sway = sway
        self.all = np.array(list(product(CORRELATION, WANDER, sway)))
        self.each = len(self.all) // len(CORRELATION)
        rough = [max(0, place + 1 - len(SWAY)) for place in range(len(sway))]
        steps = [at + more for at, more in product(range(len(WANDER)), rough)]
        self.likely = -UNLIKELY * np.array(steps * len(CORRELATION), float)


USUAL, STRONG = Casts(SWAY), Casts(STRONG_SWAY)


class Prior:
    """What is held of a series before its values are seen, but for how sure single days are.

    Parameters
    ----------
    series : Series
    turns : ndarray of float, shape (number of calendar days,), optional
        Standard deviation of an additional change of the slope on each calendar day, per day.
    casts : Casts, optional
        `USUAL` or `STRONG`.
    """

    def __init__(self, series: Series, turns: np.ndarray | None = None, casts: Casts = USUAL):
        self.series, self.casts = series, casts
        self.typical = float(np.exp(np.log(series.error).mean()))
        every = series.calendar
        self.turns = np.square(np.zeros(every.size) if turns is None else turns / self.typical)
        self.size = series.error / self.typical
        self.kinks = [Kinks(series.days, self.size, rho) for rho in CORRELATION]
        self.changes = [kinks.changes() for kinks in self.kinks]

    def turning(self, more: np.ndarray) -> "Prior":
        """The same where the slope may change by more: (number of calendar days,), as `turns`."""
        return Prior(self.series, np.hypot(self._turns_per_day, more), self.casts)

    def swaying(self) -> "Prior":
        """The same over the casts for curves."""
        return Prior(self.series, self._turns_per_day, STRONG)

    @property
    def _turns_per_day(self) -> np.ndarray:
        return np.sqrt(self.turns) * self.typical

    @cached_property
    def bands(self) -> np.ndarray:
        """Covariance of the kinks for each cast, as `banded` stores it: (casts, 5, n - 3)."""
        parts = []
        for kinks, (once, lasting) in zip(self.kinks, self.changes, strict=True):
            fixed = kinks.error_bands()
            if self.turns.any():
                fixed += _bands(once.multiply(self.turns).tocsr() @ once.T)
            wandering, swaying = (_bands(each @ each.T) for each in (once, lasting))
            parts += [
                fixed + wander**2 * wandering + sway**2 * swaying
                for wander, sway in product(WANDER, self.casts.sway)
            ]
        return np.array(parts)

    @cached_property
    def scale(self) -> np.ndarray:
        """For each cast, what the kinks' own size adds to the log determinant."""
        return np.repeat([kinks.log_scale for kinks in self.kinks], self.casts.each)

    def errors(self, at: np.ndarray, place: int) -> np.ndarray:
        """Covariance of all days' carried-over errors (n) with those of some (m), by index."""
        days, rho = self.series.days, CORRELATION[place]
        apart = np.abs(np.subtract.outer(days, days[at]))
        return rho**apart * np.outer(self.size, self.size[at])


class Weighed:
    """A prior with days that are less sure than others, and the values seen.

    Arrays whose last axis is not named otherwise have one entry for each cast there.

    Parameters
    ----------
    prior : Prior
    unsure : ndarray, shape (n,), optional
        Additional variance of single days, in units of the typical daily error's.
    """

    def __init__(self, prior: Prior, unsure: np.ndarray | None = None):
        self.prior, self.casts = prior, prior.casts
        self.series = prior.series
        self.unsure = np.zeros(len(prior.series.days)) if unsure is None else unsure
        bands = prior.bands
        if self.unsure.any():
            single = [kinks.single_bands(self.unsure) for kinks in prior.kinks]
            bands = bands + np.repeat(single, self.casts.each, axis=0)
        self.lower = banded.factors(bands)
        self.log_determinants = banded.log_determinants(self.lower) - prior.scale

    def kinked(self, columns: np.ndarray) -> np.ndarray:
        """Kinks of columns of daily values: (n, m) -> (n - 3, m, correlations)."""
        return np.stack([kinks.of(columns) for kinks in self.prior.kinks], axis=-1)

    def solved(self, kinked: np.ndarray) -> np.ndarray:
        """Covariance solved for kinks (n - 3, m, correlations) -> (n - 3, m, casts)."""
        found = np.empty((*kinked.shape[:2], len(self.casts.all)))
        for cast, lower in enumerate(self.lower):
            found[..., cast] = banded.solved(lower, kinked[..., cast // self.casts.each])
        return found

    @cached_property
    def values(self) -> tuple[np.ndarray, np.ndarray]:
        """Kinks of the log areas, and the covariance solved for them."""
        kinked = self.kinked(self.series.log_area[:, None])
        return kinked, self.solved(kinked)

    @cached_property
    def steps(self) -> "Tries":
        """Steps from each day on."""
        every = np.arange(self.series.days.size)
        return self._tried([kinks.steps(every) for kinks in self.prior.kinks])

    @cached_property
    def spikes(self) -> "Tries":
        """Each day alone."""
        return self._tried([kinks.spikes() for kinks in self.prior.kinks])

    def bends(self, knots: np.ndarray) -> "Tries":
        """Slopes that differ by 1 from moments on."""
        return self._tried([kinks.bends(knots) for kinks in self.prior.kinks])

    @cached_property
    def _near(self) -> banded.NearInverse:
        return banded.NearInverse(self.lower, SPAN - 1)

    def _tried(self, events: list[Events]) -> "Tries":
        values = np.stack([each.values for each in events], axis=-1)
        values = np.repeat(values, self.casts.each, axis=-1)
        rows = events[0].first[:, None] + np.arange(values.shape[1])
        rows = np.clip(rows, 0, self.lower.shape[2] - 1)
        hold = np.zeros((len(rows), len(self.casts.all)))
        for one, two in combinations_with_replacement(range(values.shape[1]), 2):
            between = self._near.at(rows[:, one], two - one) * values[:, one] * values[:, two]
            hold += between if one == two else 2 * between
        return Tries(rows, values, hold)

    def spells(self, knots: np.ndarray, first: np.ndarray, last: np.ndarray) -> "Spells":
        """Slopes that differ by 1 between two moments; (m,) indices of the pairs."""
        bends = self.bends(knots)
        start = bends.rows[:, 0]
        most = int((start[last] - start[first]).max())
        width = bends.values.shape[1]
        near = banded.NearInverse(self.lower, most + width)
        # What each bend holds of the kinks before it and its own, the farthest first
        back = np.arange(most + width)
        rows = np.clip(start[:, None] - most + back, 0, None)
        of_bend = np.zeros((*rows.shape, len(self.casts.all)))
        for place in range(width):
            apart = bends.rows[:, place, None] - rows
            of_bend += near.at(rows, apart) * bends.values[:, place, None]
        between = np.empty((first.size, len(self.casts.all)))
        for some in np.array_split(np.arange(first.size), first.size // _AT_ONCE + 1):
            one, two = first[some], last[some]
            row = bends.rows[one] - start[two, None] + most
            both = bends.values[one], of_bend[two[:, None], row]
            between[some] = np.einsum("mwc,mwc->mc", *both)
        return Spells(bends, first, last, bends.hold[first] + bends.hold[last] - 2 * between)


@dataclass(frozen=True)
class Tries:
    """Columns that may be added to a fit, one at a time.

    Attributes
    ----------
    rows : ndarray of int, shape (m, w)
        The kinks that each touches.
    values : ndarray, shape (m, w, casts)
        Its kinks there.
    hold : ndarray, shape (m, casts)
        How firmly the days hold it, no other column beside: its inverse variance.
    """

    rows: np.ndarray
    values: np.ndarray
    hold: np.ndarray

    def of(self, weights: np.ndarray) -> np.ndarray:
        """Sums over each one's kinks by weights (n - 3, casts): (m, casts)."""
        return sum(self.values[:, k] * weights[self.rows[:, k]] for k in range(self.rows.shape[1]))

    def some(self, which: np.ndarray) -> "Tries":
        """Those with the indices given."""
        return Tries(self.rows[which], self.values[which], self.hold[which])


@dataclass(frozen=True)
class Spells:
    """Pairs of bends, the second taking back the first, as `Tries` takes them."""

    bends: Tries
    first: np.ndarray
    last: np.ndarray
    hold: np.ndarray

    def of(self, weights: np.ndarray) -> np.ndarray:
        """Sums over each one's kinks by weights (n - 3, casts): (m, casts)."""
        each = self.bends.of(weights)
        return each[self.first] - each[self.last]

    def some(self, which: np.ndarray) -> "Spells":
        """Those with the indices given."""
        return Spells(self.bends, self.first[which], self.last[which], self.hold[which])


def _bands(covariance) -> np.ndarray:
    """The diagonals of a sparse symmetric matrix, as `banded` stores them."""
    n = covariance.shape[0]
    bands = np.zeros((SPAN, n))
    for k in range(min(SPAN, n)):
        bands[k, : n - k] = covariance.diagonal(k)
    return bands
