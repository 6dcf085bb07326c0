"""Weights that keep outliers from steering a fit."""

import numpy as np

MAD_TO_SIGMA = 1.4826
TUKEY_SIGMAS = 4.685
"""Tukey's tuning for 95 % of the efficiency of least squares on normal errors."""


def robust_sigma(values: np.ndarray) -> float:
    """Standard deviation of errors around zero, from the median of their sizes.

    Parameters
    ----------
    values : ndarray
        Errors; up to half of them may be outliers.

    Returns
    -------
    float
        1.4826 times the median absolute value; 0 for an empty array.
    """
    return float(MAD_TO_SIGMA * np.median(np.abs(values))) if len(values) else 0.0


def tukey_weights(errors: np.ndarray, sigma: float | None = None) -> np.ndarray:
    """Biweights of errors around zero: near 1 for small errors, 0 for outliers.

    Parameters
    ----------
    errors : ndarray
    sigma : float, optional
        Their standard deviation; by default `robust_sigma`.

    Returns
    -------
    ndarray of float64, in 0 to 1

    References
    ----------
    .. [1] Beaton & Tukey (1974), Technometrics 16: 147-185.
    """
    scale = TUKEY_SIGMAS * (robust_sigma(errors) if sigma is None else sigma)
    share = np.minimum(np.abs(errors) / max(scale, 1e-12), 1.0)
    return (1 - share**2) ** 2
