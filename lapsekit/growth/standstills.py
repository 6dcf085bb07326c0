"""Growth laws on a clock that stands still: how much a standstill explains that no law does.

Under a growth law the relative growth rate falls and never rises; growth that rests and goes on
fits it only on a clock that rests with it. Laws have few parameters and see far shorter pauses than
a trend whose slope may wander. What they take for a pause and is none is weather: that the trend
has to tell.

Laws are fitted to the log of the area, errors of neighbouring days being correlated as in
`lapsekit.growth.trend`, by damped Gauss-Newton steps, many clocks at once; the level and changes at
once are solved for on the way (Golub & Pereyra 1973, SIAM J. Numer. Anal. 10: 413–432).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lapsekit.growth.forms import passed, steps
from lapsekit.growth.laws import LAWS
from lapsekit.growth.trend import PRIOR_DAYS
from lapsekit.growth.weighing import CORRELATION, Weighed

LEFT = 0.1
"""Share of its rate at which a plant is taken to go on in a standstill."""

_AT_FIRST = 1  # of CORRELATION: with it clocks are compared, before the best is tried with all
_ROUNDS = 6
_SETTLED = 0.01  # of the scatter's square, in squares
_SMALL = 1e-4
_DAMPING = 0.03
_LAST_SHARE = 1e-6


@dataclass(frozen=True)
class _Form:
    """A law and its parameters beside its level, as they are fitted: which as logarithms."""

    name: str
    logged: tuple[bool, ...]

    def logs(self, days: np.ndarray, values: np.ndarray) -> np.ndarray:
        """Log areas but for the level, (..., n), by parameters (..., p)."""
        each = [
            np.exp(np.clip(x, -30, 30)) if logged else x
            for x, logged in zip(np.moveaxis(values, -1, 0)[..., None], self.logged, strict=True)
        ]
        return np.log(np.maximum(LAWS[self.name].value(days, [1.0, *each]), 1e-300))


_RICHARDS = _Form("richards", (False, True, True))
_EXPOLINEAR = _Form("expolinear", (True, False))


class Laws:
    """Richards' law (logistic and Gompertz among it) and expolinear growth, beside some days.

    Parameters
    ----------
    weighed : Weighed
        All days of a region.
    inside : ndarray of bool, shape (n,)
        Those looked at, eight or more.
    jumps : ndarray of float, shape (k,)
        Days from which on the area may differ by any factor.
    scatter : float
        Size of the daily errors of the log area.
    paused : sequence of (start, end)
        Standstills known before.
    """

    def __init__(self, weighed: Weighed, inside, jumps, scatter: float, paused=()):
        series = weighed.series
        self.days, self._logs = series.days[inside], series.log_area[inside]
        self._typical, self._scatter = weighed.prior.typical, scatter
        self._size = np.sqrt(weighed.prior.size[inside] ** 2 + weighed.unsure[inside])
        carried = np.power.outer(np.array(CORRELATION), np.diff(self.days))
        self._carried = np.pad(carried, ((0, 0), (1, 0)))
        self._fresh = 1 / np.sqrt(1 - self._carried**2)
        self._logs_of_sizes = 2 * (np.log(self._size).sum() - np.log(self._fresh).sum(axis=1))
        self._clock = self.days - sum(_stood(self.days, *each) for each in paused)
        self._hold(np.column_stack([np.ones(self.days.size), steps(self.days, jumps)]))
        self._begin()

    def gains(self, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
        """Twice the log-likelihood that standstills (m,) gain, each alone, at one correlation."""
        fits = self._best(self._still(starts, ends), np.full(starts.size, _AT_FIRST))
        return 2 * (fits - self._without[_AT_FIRST])

    def gain(self, start: float, end: float) -> float:
        """Twice the log-likelihood that one standstill gains, correlations free."""
        return self._gain_of(self._still(np.array([start]), np.array([end])))

    def jump_gain(self, days: np.ndarray) -> float:
        """What the best of possible changes at once (m,) gains, correlations free."""
        if not days.size:
            return 0.0
        jumps = steps(self.days, days).T
        clocks = np.broadcast_to(self._clock, jumps.shape)
        best = int(self._best(clocks, np.full(len(jumps), _AT_FIRST), jumps).argmax())
        return self._gain_of(self._clock[None], jumps[best])

    def _gain_of(self, clock: np.ndarray, jump: np.ndarray | None = None) -> float:
        every = np.arange(len(CORRELATION))
        clocks = np.repeat(clock, every.size, axis=0)
        jumps = None if jump is None else np.broadcast_to(jump, clocks.shape)
        return 2 * float(self._best(clocks, every, jumps).max() - self._without.max())

    def _still(self, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
        return self._clock - _stood(self.days, starts[:, None], ends[:, None])

    def _hold(self, columns: np.ndarray) -> None:
        """Solve for columns (n, k) on the way: an orthonormal basis for each correlation."""
        every = np.arange(len(CORRELATION))
        white = np.stack([self._white(each[None], every) for each in columns.T], axis=-1)
        bases, strengths, _ = np.linalg.svd(white, full_matrices=False)
        rank = int((strengths > _LAST_SHARE * strengths[:, :1]).sum(axis=1).min())
        self._bases = bases[..., :rank]
        self._freedom = PRIOR_DAYS + self.days.size - 3 - rank

    def _begin(self) -> None:
        """Fit the laws without a standstill, from several starts."""
        span, middle = float(np.ptp(self.days)), float(self.days.mean())
        long = np.log(span / 6)
        priors = {
            _RICHARDS: ([middle + span / 4, long, -1.0], [span, 1.0, 1.5]),
            _EXPOLINEAR: ([-long, middle], [1.0, span]),
        }
        self._priors = {form: tuple(map(np.array, prior)) for form, prior in priors.items()}
        self._from, fits = {}, []
        for form, (mean, _) in self._priors.items():
            place = form.logged.index(False)
            starts = np.tile(mean, (8, 1))
            starts[:, place] = middle + span * np.repeat([-0.6, -0.2, 0.1, 0.5], 2)
            starts[:, 1 - place] += np.tile([-0.7, 0.7], 4)
            clocks = np.broadcast_to(self._clock, (8, self.days.size))
            squares, values = self._fit(form, clocks, np.full(8, _AT_FIRST), starts)
            start = np.tile(values[squares.argmin()], (len(CORRELATION), 1))
            every = np.arange(len(CORRELATION))
            clocks = clocks[: every.size]
            squares, values = self._fit(form, clocks, every, start, rounds=2 * _ROUNDS)
            self._from[form] = values
            fits.append(self._likely(squares, every))
        self._without = np.max(fits, axis=0)

    def _best(self, clocks, which, jumps=None) -> np.ndarray:
        """Log-likelihood on clocks (m, n) under correlations (m,), of the better law."""
        fits = []
        for form, start in self._from.items():
            squares, _ = self._fit(form, clocks, which, start[which], jumps)
            fits.append(self._likely(squares, which))
        return np.max(fits, axis=0)

    def _likely(self, squares: np.ndarray, which: np.ndarray) -> np.ndarray:
        logs = self._freedom * np.log(PRIOR_DAYS * self._typical**2 + squares)
        return -0.5 * (self._logs_of_sizes[which] + logs)

    def _white(self, values: np.ndarray, which: np.ndarray) -> np.ndarray:
        """Errors (..., m, n) freed of what each day carries over from the one before."""
        values = values / self._size
        before = np.pad(values[..., :-1], [(0, 0)] * (values.ndim - 1) + [(1, 0)])
        return (values - self._carried[which] * before) * self._fresh[which]

    def _fit(self, form, clocks, which, values, jumps=None, rounds=_ROUNDS):
        """Squares (m,) and parameters (m, p) from `values` on, on clocks (m, n)."""
        free = self._freed(which, jumps)
        descent = _Descent(
            *(free(self._logs), lambda tried: free(form.logs(clocks, tried))),
            *(*self._priors[form], self._scatter),
        )
        return descent.from_(values, rounds)

    def _freed(self, which: np.ndarray, jumps: np.ndarray | None) -> Callable:
        """What makes logs (..., m, n) white and takes out what level and changes explain."""
        bases = self._bases[which]
        across = bases.transpose(0, 2, 1)

        def known_out(white):
            return white - ((white[..., None, :] @ bases) @ across)[..., 0, :]

        if jumps is None:
            return lambda logs: known_out(self._white(logs, which))
        beside = known_out(self._white(jumps, which))
        size = np.linalg.norm(beside, axis=-1, keepdims=True)
        beside = beside / np.maximum(size, _LAST_SHARE)

        def all_out(logs):
            white = known_out(self._white(logs, which))
            return white - (white * beside).sum(axis=-1, keepdims=True) * beside

        return all_out


@dataclass(frozen=True)
class _Descent:
    """Damped Gauss-Newton steps for m fits at once (Marquardt 1963, J. SIAM 11: 431–441).

    Attributes
    ----------
    data : ndarray, shape (m, n)
    predict : callable (..., m, p) -> (..., m, n)
    mean, spread : ndarray, shape (p,)
        Priors of the parameters.
    scatter : float
        Standard deviation of the data.
    """

    data: np.ndarray
    predict: Callable
    mean: np.ndarray
    spread: np.ndarray
    scatter: float

    def from_(self, tried: np.ndarray, rounds: int) -> tuple[np.ndarray, np.ndarray]:
        """Least squares (m,), priors among them, and parameters (m, p)."""
        squares, damping = np.full(len(tried), np.inf), np.zeros(len(tried))
        settled, kept = np.zeros(len(tried), bool), None
        for _ in range(rounds + 1):
            new = self._at(tried)
            better = new[0] < squares
            settled |= better & (squares - new[0] < _SETTLED * self.scatter**2)
            kept = new if kept is None else _whichever(better, new, kept)
            squares = kept[0]
            if settled.all():
                break
            damping = np.where(better, damping / 10, np.maximum(10 * damping, _DAMPING))
            tried = kept[1] + self._step(kept, damping)
        return kept[0], kept[1]

    def _at(self, tried: np.ndarray) -> tuple[np.ndarray, ...]:
        """Squares, parameters, errors, doubts and slopes."""
        nudges = _SMALL * np.eye(tried.shape[1])[:, None]
        found = self.predict(np.concatenate([tried[None], tried + nudges]))
        error, doubt = self.data - found[0], self.scatter / self.spread * (self.mean - tried)
        squares = (error**2).sum(axis=-1) + (doubt**2).sum(axis=-1)
        return squares, tried, error, doubt, (found[1:] - found[0]).transpose(1, 0, 2) / _SMALL

    def _step(self, kept, damping: np.ndarray) -> np.ndarray:
        _, _, error, doubt, slopes = kept
        weight, each = self.scatter / self.spread, range(self.spread.size)
        normal = slopes @ slopes.transpose(0, 2, 1) + np.diag(weight**2)
        normal[:, each, each] *= 1 + damping[:, None]
        pull = (slopes @ error[..., None])[..., 0] + weight * doubt
        step = np.linalg.solve(normal, pull[..., None])[..., 0]
        return np.clip(step, -self.spread, self.spread)


def _whichever(better, new, old) -> tuple[np.ndarray, ...]:
    """Of arrays (m, ...), the rows of the new that are better, else the old."""
    chosen = (better.reshape(-1, *[1] * (each.ndim - 1)) for each in new)
    return tuple(np.where(*each) for each in zip(chosen, new, old, strict=True))


def _stood(days, start, end) -> np.ndarray:
    """By how much the clock is behind on each day."""
    return (1 - LEFT) * passed(days, start, end)
