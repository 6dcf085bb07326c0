"""One growth law for many plants: each is fitted alone, then the fits are brought together.

The global two-stage method (Steimer and others 1984, Drug Metabolism Reviews 15: 265–292; Davidian
& Giltinan 1995, *Nonlinear models for repeated measurement data*, chapter 5): plants differ in
their parameters by a covariance that is estimated with the mean, and a plant whose own days say
little weighs little. A mixed model fits all at once instead; where most plants are fitted well
alone, both come to nearly the same mean.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lapsekit.growth.fits import Fit

LEAST_PLANTS = 3
_ROUNDS, _SETTLED = 500, 1e-7
_NO_ERROR = 1e-6  # of a parameter; a fit through every point would outweigh all others


@dataclass(frozen=True)
class Pooled:
    """The mean plant of a group.

    Attributes
    ----------
    law : str
    parameters, errors : mapping of str to float
        Means over plants, and their standard errors.
    spread : mapping of str to float
        Standard deviation between plants.
    plants : int
        Fits that it rests on.
    """

    law: str
    parameters: Mapping[str, float]
    errors: Mapping[str, float]
    spread: Mapping[str, float]
    plants: int


def pooled(fits: Sequence[Fit]) -> Pooled | None:
    """Bring fits of one law to several plants together.

    Parameters
    ----------
    fits : sequence of Fit
        All of one law, a plant each, those with doubtful asymptotes too: to leave them out would
        favour small plants.

    Returns
    -------
    Pooled or None
        None with fewer than `LEAST_PLANTS` fits.

    Raises
    ------
    ValueError
        If the fits are of more than one law.
    """
    laws = sorted({fit.law for fit in fits})
    if len(laws) > 1:
        raise ValueError(f"fits of {', '.join(laws)} cannot be pooled: give those of one law")
    if len(fits) < LEAST_PLANTS:
        return None
    names = list(fits[0].parameters)
    own = np.array([list(fit.parameters.values()) for fit in fits])
    within = np.array([_covariance(fit) for fit in fits])
    mean, between = np.median(own, axis=0), np.diag(_spread(own) ** 2)
    for _ in range(_ROUNDS):
        before = mean
        # Each plant as the others and its own days make it likely
        pull = between @ np.linalg.inv(between + within)
        likely = mean + np.einsum("nij,nj->ni", pull, own - mean)
        left = between - pull @ between
        mean = _mean(own, within, between)[0]
        away = likely - mean
        between = (left + np.einsum("ni,nj->nij", away, away)).mean(axis=0)
        if np.allclose(mean, before, rtol=_SETTLED, atol=0):
            break
    mean, certain = _mean(own, within, between)
    errors, spread = np.sqrt(np.diag(certain)), np.sqrt(np.diag(between))
    told = (dict(zip(names, each.tolist(), strict=True)) for each in (mean, errors, spread))
    return Pooled(laws[0], *told, len(fits))


def _covariance(fit: Fit) -> np.ndarray:
    floor = _NO_ERROR * np.abs(np.array(list(fit.parameters.values())))
    return fit.covariance + np.diag(floor**2)


def _spread(own: np.ndarray) -> np.ndarray:
    """A robust spread of the plants' own parameters, to begin with."""
    low, high = np.percentile(own, (25, 75), axis=0)
    return np.maximum((high - low) / 1.349, 1e-3 * np.abs(np.median(own, axis=0)))


def _mean(own, within, between) -> tuple[np.ndarray, np.ndarray]:
    """Mean weighted by certainty, and its covariance."""
    weights = np.linalg.inv(between + within)
    certain = np.linalg.inv(weights.sum(axis=0))
    return certain @ np.einsum("nij,nj->i", weights, own), certain
