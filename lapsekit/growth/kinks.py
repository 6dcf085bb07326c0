"""Kinks: what a few neighbouring days' values show that no shallow curve can.

A kink is a weighed sum of five days' values that is zero for every line and every parabola, and in
which the errors of all days before, as far as they carry over, cancel. Kinks say all that the days
say about changes of slope and errors, and those that share no days are independent of each other:
their covariance is a narrow band. That is why the work goes with the days of a season and not with
their cube. (Error contrasts: Harville 1974, Biometrika 61: 383–385.)
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

SPAN = 5
"""Days in a kink; the kinks of n days are n - 3, the first of them over four days."""

# A kink whose last factor is smaller is all but the same as the one before, which rounding would
# not survive. A day's size moved by so little tells them apart and shifts nothing that is read;
# where it does not suffice (about never), it is moved farther.
_ALIKE = 3e-6
_NUDGES = 3e-5 * 4.0 ** np.arange(8)


@dataclass(frozen=True)
class Events:
    """Columns that touch but a few kinks each.

    Attributes
    ----------
    first : ndarray of int, shape (m,)
        First kink touched; may lie before the first that there is.
    values : ndarray, shape (m, w)
        Of the w kinks from there on.
    """

    first: np.ndarray
    values: np.ndarray


class Kinks:
    """The kinks of days whose neighbours' errors are correlated.

    Parameters
    ----------
    days : ndarray of float, shape (n,)
        Whole and rising, four or more.
    size : ndarray of float, shape (n,)
        Standard deviation of each day's error.
    correlation : float
        Of errors one day apart, 0 to below 1.

    Attributes
    ----------
    factors : ndarray, shape (n - 3, 5)
        Of the values of days i - 1 to i + 3.
    """

    def __init__(self, days: np.ndarray, size: np.ndarray, correlation: float):
        self.days = days
        carried = np.concatenate([[0.0], correlation ** np.diff(days)])
        self._fresh = 1 - carried**2
        for nudge in _NUDGES:
            self._over(size, carried)
            alike = np.abs(self.factors[:, -1]) < _ALIKE
            if not alike.any():
                break
            size = size * (1 + nudge * np.append(alike, [False] * 3))

    def _over(self, size, carried) -> None:
        """Find the factors: first of errors that are fresh on each day, then of the values."""
        n = self.days.size - 3
        within = np.arange(n)[:, None] + np.arange(4)
        fresh, before = 1 / size[within], carried[within] / size[within - 1]
        away = self.days[within] - self.days[within[:, :1]]
        ago = self.days[within - 1] - self.days[within[:, :1]]
        shapes = [fresh * away**k - before * ago**k for k in range(3)]
        self._own = _across(np.stack(shapes, axis=-1))
        self.factors = np.zeros((n, SPAN))
        self.factors[:, 1:] += self._own * fresh
        self.factors[:, :-1] -= self._own * before
        most = np.abs(self.factors).max(axis=1, keepdims=True)
        self.factors /= most
        self._own /= most

    @property
    def log_scale(self) -> float:
        """What the factors' size adds to the log determinant of the kinks' covariance."""
        return 2 * float(np.log(np.abs(self.factors[:, -1])).sum())

    def of(self, columns: np.ndarray) -> np.ndarray:
        """Kinks of columns of daily values, (n, m) -> (n - 3, m)."""
        n = self.factors.shape[0]
        found = self.factors[:, 1, None] * columns[:n]
        found[1:] += self.factors[1:, 0, None] * columns[: n - 1]
        for place in range(2, SPAN):
            found += self.factors[:, place, None] * columns[place - 1 : place - 1 + n]
        return found

    def back(self, values: np.ndarray) -> np.ndarray:
        """Daily weights of weighed kinks, (n - 3, m) -> (n, m): the transpose of `of`."""
        n = self.factors.shape[0]
        found = np.zeros((n + SPAN - 1, values.shape[1]))
        for place in range(SPAN):
            found[place : place + n] += self.factors[:, place, None] * values
        return found[1:]

    def changes(self) -> tuple[csr_array, csr_array]:
        """Kinks of a change of slope by 1 on each calendar day, and of one that lasts from then.

        The second are kinks of slopes whose daily change differs from that day on; both have shape
        (n - 3, calendar days).
        """
        n = self.factors.shape[0]
        place = np.clip(np.arange(n)[:, None] + np.arange(SPAN) - 1, 0, None)
        days = self.days[place]
        knots = days[:, :1] + np.arange(1, int((days[:, -1] - days[:, 0]).max()))
        apart = np.maximum(days[:, :, None] - knots[:, None], 0.0)
        once = np.einsum("ip,ips->is", self.factors, apart)
        lasting = once[:, ::-1].cumsum(axis=1)[:, ::-1]
        inside = knots < days[:, -1:]
        row = np.broadcast_to(np.arange(n)[:, None], knots.shape)[inside]
        where = row, (knots[inside] - self.days[0]).astype(int)
        shape = n, int(self.days[-1] - self.days[0]) + 1
        return tuple(csr_array((each[inside], where), shape) for each in (once, lasting))

    def error_bands(self) -> np.ndarray:
        """Covariance of the kinks from the days' errors, (5, n - 3) as `banded` stores it."""
        return _overlaps(self._own, self._fresh)

    def single_bands(self, variance: np.ndarray) -> np.ndarray:
        """Covariance of the kinks from errors that single days have for themselves."""
        return _overlaps(self.factors, np.concatenate([[0.0], variance]))

    def steps(self, at: np.ndarray) -> Events:
        """Values that rise by 1 from the day with an index on, one event for each index (m,)."""
        first = np.asarray(at) - 3
        later = self.factors[:, ::-1].cumsum(axis=1)[:, ::-1]
        rows = first[:, None] + np.arange(4)
        # From the day's own place in each kink on: row i has day i - 1 + place
        return Events(first, self._known(rows, later[self._held(rows), [[4, 3, 2, 1]]]))

    def spikes(self) -> Events:
        """Values that differ on one day alone, one event for each day."""
        first = np.arange(self.days.size) - 3
        rows = first[:, None] + np.arange(SPAN)
        return Events(first, self._known(rows, self.factors[self._held(rows), [[4, 3, 2, 1, 0]]]))

    def bends(self, knots: np.ndarray) -> Events:
        """Values that rise by 1 a day from a moment on, one event for each moment (m,)."""
        first = np.searchsorted(self.days, knots, side="right") - 3
        rows = first[:, None] + np.arange(4)
        place = np.clip(self._held(rows)[..., None] + np.arange(SPAN) - 1, 0, None)
        passed = np.maximum(self.days[place] - np.asarray(knots)[:, None, None], 0.0)
        kinks = (self.factors[self._held(rows)] * passed).sum(axis=-1)
        return Events(first, self._known(rows, kinks))

    def _held(self, rows: np.ndarray) -> np.ndarray:
        return np.clip(rows, 0, self.factors.shape[0] - 1)

    def _known(self, rows: np.ndarray, values: np.ndarray) -> np.ndarray:
        return np.where((rows >= 0) & (rows < self.factors.shape[0]), values, 0.0)


def _across(shapes: np.ndarray) -> np.ndarray:
    """Four factors each that make three shapes (n, 4, 3) zero: (n, 4)."""
    found = np.empty(shapes.shape[:2])
    for place in range(4):
        one, two, three = np.delete(shapes, place, axis=1).transpose(1, 0, 2)
        found[:, place] = (-1) ** place * (one * np.cross(two, three)).sum(axis=1)
    return found


def _overlaps(factors: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Bands of sums of independent values: row i weighs the values i, i + 1, ... by its factors."""
    n, width = factors.shape
    bands = np.zeros((SPAN, n))
    for k in range(min(width, n)):
        for place in range(width - k):
            both = factors[: n - k, place + k] * factors[k:, place]
            bands[k, : n - k] += both * variance[k + place : n + place]
    return bands
