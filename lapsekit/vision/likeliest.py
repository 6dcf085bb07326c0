"""What to add to log odds so that what was told of them becomes likeliest.

At each place by itself (local likelihood: Tibshirani & Hastie 1987, J. Am. Stat. Assoc. 82:
559-567), with the log odds as they are as an offset and at a cost for every correction.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import expit

LEAST_SURPRISE, SOFT = 1.0, 0.5
"""Looks at a place by which the log odds must be wrong before they are corrected, and the size up
to which less moves them a little. Beyond, nothing holds a correction back: its cost grows with its
size, not with its square (pseudo-Huber; Charbonnier et al. 1997, IEEE Trans. Image Process. 6:
298-311), for a model that is wrong of a place may be surely wrong."""

MOST_STEPS, LONGEST_STEP, NEAR_ENOUGH = 200, 2.0, 1e-3
"""Steps at most, and log odds: how far one goes, and what is left to go where it ends."""

Looks = tuple[float, np.ndarray, np.ndarray]


def likeliest(looks: Sequence[Looks]) -> np.ndarray:
    """Corrections of log odds at n places.

    Parameters
    ----------
    looks : sequence of (odds, yes, all)
        Log odds as they are, how often those were told "yes" at each place, and how often they were
        told anything: (n,) ndarrays, 0 or more; parts of a look count too.

    Returns
    -------
    (n,) float64 ndarray
        At each place the d with the least
        Σ all · log(1 + exp(odds + d)) − Σ yes · d + `LEAST_SURPRISE` · (√(d² + `SOFT`²) − `SOFT`),
        which has one minimum: 0 where nothing was told.
    """
    if not looks:
        return np.zeros(0)
    found, going = np.zeros(len(looks[0][1])), np.arange(len(looks[0][1]))
    for _ in range(MOST_STEPS):
        here = found[going]
        # Of the cost, the steepest parabola above it: Newton's own steps would overshoot
        curvature = LEAST_SURPRISE / np.sqrt(here**2 + SOFT**2)
        slope = -here * curvature
        for odds, yes, every in looks:
            expected = expit(odds + here)
            slope += yes - every * expected
            curvature += every * expected * (1 - expected)
        step = np.clip(slope / curvature, -LONGEST_STEP, LONGEST_STEP)
        found[going] = here + step
        still = np.abs(step) > NEAR_ENOUGH
        if not still.any():
            break
        going = going[still]
        looks = [(odds, yes[still], every[still]) for odds, yes, every in looks]
    return found
