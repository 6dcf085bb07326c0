"""Intervals of what is told by several casts, each with its own weight, mean and spread."""

import numpy as np
from scipy.special import gammaln, stdtr, stdtrit

MOST_STEPS = 60
_NEAR_ENOUGH = 1e-9
_NO_SPREAD = 1e-15


def quantile(level: float, shares, means, variances, freedom: float) -> np.ndarray:
    """Quantile of a mixture of Student's t distributions, by Newton's method.

    A mixture's interval is not that of one distribution with its mean and variance: a cast of
    little weight and large spread makes the variance, and hardly moves the quantile.

    Parameters
    ----------
    level : float
        Between 0 and 1.
    shares : ndarray, shape (c,)
        Weights of the casts; they sum to 1.
    means, variances : ndarray, shape (c, m)
        Location and squared scale of each cast for each of m unknowns.
    freedom : float
        Degrees of freedom, common to all casts.

    Returns
    -------
    ndarray, shape (m,)
    """
    spreads = np.sqrt(np.maximum(variances, _NO_SPREAD**2))
    middle = shares @ means
    whole = np.sqrt(shares @ (np.square(spreads) + np.square(means - middle)))
    ends = means + stdtrit(freedom, level) * spreads
    low, high = ends.min(axis=0), ends.max(axis=0)
    found = np.clip(middle + stdtrit(freedom, level) * whole, low, high)
    for _ in range(MOST_STEPS):
        away = (found - means) / spreads
        off = shares @ stdtr(freedom, away) - level
        if np.abs(off).max() < _NEAR_ENOUGH:
            break
        low, high = np.where(off < 0, found, low), np.where(off > 0, found, high)
        density = shares @ (_density(freedom, away) / spreads)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            step = found - off / density
        step = np.where((step > low) & (step < high), step, (low + high) / 2)
        found = np.where(np.abs(off) < _NEAR_ENOUGH, found, step)
    return found


def _density(freedom: float, x: np.ndarray) -> np.ndarray:
    half = (freedom + 1) / 2
    scale = np.exp(gammaln(half) - gammaln(freedom / 2)) / np.sqrt(np.pi * freedom)
    return scale * np.exp(-half * np.log1p(np.square(x) / freedom))
