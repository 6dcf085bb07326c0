"""Growth laws fitted to a region's areas: which one the days support, and when a cover is reached.

A law with few parameters says more than a smooth curve does where it fits: how large the canopy
will become, and when. It says so only as far as the days support it: an asymptote that the plant
has not come near is refused, and whatever lies after the last measured day is marked.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import stdtrit

from lapsekit.growth.laws import LAWS, Law

SAME_RIDGE = 0.01
"""Two fits that did not settle and misfit by so nearly the same creep along one ridge."""

LEAST_REACHED = 0.75
"""Share of its asymptote that the fitted curve must have come to before the asymptote is stated."""

MOST_DOUBT = 0.25
"""Largest half-width of an asymptote's interval, as a share of it."""


@dataclass(frozen=True)
class Fit:
    """One growth law fitted to one region.

    Attributes
    ----------
    law : str
        "logistic", "gompertz", "richards" or "expolinear".
    parameters : mapping of str to float
        Named as in `lapsekit.growth.laws`; areas in the unit given, times in days.
    errors : mapping of str to float
        Standard errors, widened for daily errors that hang together.
    covariance : ndarray, shape (p, p)
        Of the parameters, in their order.
    aicc : float
        Akaike's criterion, corrected for few days; smaller is better.
    freedom : int
        Days less parameters.
    first_day, last_day : float
        First and last measured day.
    correlation : float
        Of neighbouring residuals; at least 0.
    asymptote : float or None
        Final area; None where it is refused.
    asymptote_low, asymptote_high : float or None
        95 % interval.
    refusal : str
        Why the asymptote is not stated; empty where it is.
    """

    law: str
    parameters: Mapping[str, float]
    errors: Mapping[str, float]
    covariance: np.ndarray
    aicc: float
    freedom: int
    first_day: float
    last_day: float
    correlation: float
    asymptote: float | None
    asymptote_low: float | None
    asymptote_high: float | None
    refusal: str

    def at(self, days) -> np.ndarray:
        """The fitted area on days, shape (m,)."""
        values = np.array(list(self.parameters.values()))
        return LAWS[self.law].value(np.asarray(days, float), values)


@dataclass(frozen=True)
class Comparison:
    """All laws fitted to one region, best first.

    Attributes
    ----------
    fits : tuple of Fit
        Rising in `Fit.aicc`.
    weights : tuple of float
        Akaike weights: how likely each is the best of those compared; their sum is 1.
    failed : mapping of str to str
        Laws that could not be fitted, each with the reason in words.
    """

    fits: tuple[Fit, ...]
    weights: tuple[float, ...]
    failed: Mapping[str, str]


def fit_laws(days, area, error=None, laws=tuple(LAWS)) -> Comparison:
    """Fit growth laws and compare them.

    Parameters
    ----------
    days : array_like of float, shape (n,)
    area : array_like of float, shape (n,)
        Area (or cover, or weight) in any unit; NaN on a day without a value.
    error : array_like of float, shape (n,), optional
        Standard error of each day in the same unit; without it all days weigh alike.
    laws : sequence of str
        Some of `lapsekit.growth.laws.LAWS`.

    Returns
    -------
    Comparison

    Raises
    ------
    ValueError
        An unknown law, lengths that differ, or an error that is not above zero.

    Notes
    -----
    Least squares, weighted by 1 / error². Laws are compared by AICc (Hurvich & Tsai 1989,
    Biometrika 76: 297–307; Burnham & Anderson 2002). Standard errors are widened by
    (1 + r) / (1 - r), with r the correlation of neighbouring residuals. A fit is not told of cuts:
    give it the days between them.
    """
    if unknown := set(laws) - LAWS.keys():
        raise ValueError(f"no growth law {sorted(unknown)}: choose from {sorted(LAWS)}")
    days, area, error = _usable(days, area, error)
    fits, failed = [], {}
    fitted: dict[str, np.ndarray] = {}
    for name in sorted(laws, key=list(LAWS).index):
        found = _fit(LAWS[name], days, area, error, fitted)
        if isinstance(found, str):
            failed[name] = found
        else:
            fits.append(found)
            fitted[name] = np.array(list(found.parameters.values()))
    fits.sort(key=lambda fit: fit.aicc)
    likely = np.exp(-0.5 * np.array([fit.aicc - fits[0].aicc for fit in fits]))
    return Comparison(tuple(fits), tuple((likely / likely.sum()).tolist()), failed)


def _usable(days, area, error) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    days, area = np.asarray(days, float), np.asarray(area, float)
    error = np.ones(days.shape) if error is None else np.asarray(error, float)
    if not days.shape == area.shape == error.shape:
        raise ValueError(f"shapes {days.shape}, {area.shape} and {error.shape} differ")
    kept = np.isfinite(area)
    if not (error[kept] > 0).all():
        raise ValueError("a day's error is not above zero: leave it out or give it one")
    return days[kept], area[kept], error[kept]


def _fit(law: Law, days, area, error, fitted) -> Fit | str:
    n, p = len(days), len(law.names)
    if n < p + 3:
        return f"{n} measured days are too few for {p} parameters: {p + 3} are needed"
    found = _least_squares(law, days, area, error, fitted)
    if found is None:
        return "the fit did not settle: the days do not show this form"
    values, jacobian, residuals = found
    squares = float(residuals @ residuals)
    beside = np.corrcoef(residuals[1:], residuals[:-1])[0, 1] if squares > 1e-20 else 0.0
    beside = float(np.clip(beside, 0.0, 0.9))
    try:
        covariance = np.linalg.inv(jacobian.T @ jacobian)
    except np.linalg.LinAlgError:
        return "its parameters cannot be told apart by these days"
    covariance = covariance * squares / (n - p) * (1 + beside) / (1 - beside)
    aicc = n * np.log(max(squares, 1e-300) / n) + 2 * (p + 1) * n / (n - p - 2)
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return Fit(
        law.name,
        dict(zip(law.names, values.tolist(), strict=True)),
        dict(zip(law.names, errors.tolist(), strict=True)),
        covariance,
        float(aicc),
        n - p,
        float(days.min()),
        float(days.max()),
        beside,
        *_asymptote(law, values, errors, n - p, days.max()),
    )


def _least_squares(law: Law, days, area, error, fitted):
    """Best of several starts: parameters, jacobian and weighted residuals; None if none settles."""
    best, ran_out = None, []
    low, high = law.bounds(days, area)
    for start in law.starts(days, area, fitted):
        inside = np.clip(start, low + 1e-9 * (high - low), high - 1e-9 * (high - low))
        with np.errstate(over="ignore", invalid="ignore"):
            found = least_squares(
                lambda values: (law.value(days, values) - area) / error,
                inside,
                lambda values: law.slopes(days, values) / error[:, None],
                bounds=(low, high),
                x_scale=np.maximum(np.abs(inside), 1e-6),
                xtol=1e-10,
                ftol=1e-10,
                max_nfev=200,
            )
        again = best is not None and abs(found.cost - best.cost) <= 1e-6 * best.cost
        if found.success and (best is None or found.cost < best.cost):
            best = found
        if not found.success:
            ran_out.append(found.cost)
        if again or _alike(ran_out):  # two starts that meet have found the same valley, or ridge
            break
    return None if best is None else (best.x, best.jac, best.fun)


def _alike(costs: list[float]) -> bool:
    """Whether the last two fits that ran out of steps lay on one ridge, which a third would too."""
    return len(costs) > 1 and abs(costs[-1] - costs[-2]) <= SAME_RIDGE * costs[-1]


def _asymptote(law: Law, values, errors, freedom: int, last_day: float) -> tuple:
    """Asymptote with interval, or None and the reason."""
    if law.asymptote is None:
        return None, None, None, f"{law.name} growth has no asymptote"
    full = values[law.asymptote]
    half = float(stdtrit(freedom, 0.975)) * errors[law.asymptote]
    reached = float(law.value(np.array([last_day]), values)[0]) / full
    if reached < LEAST_REACHED:
        share = f"{reached:.0%} of the asymptote"
        return None, None, None, f"the curve has come to {share} only: wait until it bends"
    if half > MOST_DOUBT * full:
        return None, None, None, f"the asymptote is uncertain by {half / full:.0%}: wait for more"
    return float(full), float(full - half), float(full + half), ""
