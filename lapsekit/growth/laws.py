"""Growth laws: area as a function of time with a few parameters that mean something.

Times are in days; `full` is in the unit of the area; `middle` is the day on which growth per day is
largest, `scale` the days in which the logistic's distance from it changes by a factor of e.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Law:
    """One growth law.

    Attributes
    ----------
    name : str
    names : tuple of str
        Of the parameters.
    value : callable (days (n,), parameters (p,)) -> (n,)
    slopes : callable (days (n,), parameters (p,)) -> (n, p)
        Change of the value for each parameter's.
    reached : callable (area, parameters (m, p)) -> (m,)
        Day on which the area is reached; NaN if never.
    starts : callable (days, area, fitted) -> list of (p,)
        Where to start a fit; `fitted` holds the parameters of the laws before it, by name.
    asymptote : int or None
        Which parameter is the final area.
    """

    name: str
    names: tuple[str, ...]
    value: Callable
    slopes: Callable
    reached: Callable
    starts: Callable
    asymptote: int | None = 0

    def bounds(self, days, area) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest values a fit may take: wide, but such that nothing overflows."""
        span, top = float(np.ptp(days)), float(area.max())
        limits = {
            "full": (1e-3 * top, 1e4 * top),
            "middle": (days.min() - 2 * span, days.max() + 5 * span),
            "scale": (span / 1e3, 10 * span),
            "shape": (0.02, 20.0),
            "most_per_day": (1e-4 * top / span, 1e3 * top / span),
            "rgr_per_day": (1e-3 / span, 1e3 / span),
            "linear_from": (days.min() - 2 * span, days.max() + 5 * span),
        }
        low, high = zip(*(limits[name] for name in self.names), strict=True)
        return np.array(low), np.array(high)


def _logistic(days, values):
    full, middle, scale = values
    return full / (1 + np.exp(np.clip((middle - days) / scale, -500, 500)))


def _logistic_slopes(days, values):
    full, middle, scale = values
    share = _logistic(days, (1.0, middle, scale))
    steep = full * share * (1 - share) / scale
    return np.column_stack([share, -steep, steep * (middle - days) / scale])


def _logistic_reached(area, values):
    full, middle, scale = values.T
    return middle - scale * np.log(_above(full / area - 1))


def _gompertz(days, values):
    full, middle, scale = values
    return full * np.exp(-np.exp(np.clip((middle - days) / scale, -500, 500)))


def _gompertz_slopes(days, values):
    full, middle, scale = values
    away = np.clip((middle - days) / scale, -500, 500)
    share = np.exp(-np.exp(away))
    steep = full * share * np.exp(away) / scale
    return np.column_stack([share, -steep, steep * away])


def _gompertz_reached(area, values):
    full, middle, scale = values.T
    return middle - scale * np.log(_above(np.log(_above(full / area))))


def _richards(days, values):
    full, middle, scale, shape = values
    inner = np.exp(np.clip((middle - days) / scale, -500, 500))
    return full * np.exp(-np.log1p(shape * inner) / shape)


def _richards_slopes(days, values):
    full, middle, scale, shape = values
    away = np.clip((middle - days) / scale, -500, 500)
    inner = np.exp(away)
    share, part = np.exp(-np.log1p(shape * inner) / shape), inner / (1 + shape * inner)
    steep = full * share * part / scale
    bent = full * share * (np.log1p(shape * inner) / shape - part) / shape
    return np.column_stack([share, -steep, steep * away, bent])


def _richards_reached(area, values):
    full, middle, scale, shape = values.T
    return middle - scale * np.log(_above((_above(full / area) ** shape - 1) / _above(shape)))


def _expolinear(days, values):
    most_per_day, rgr_per_day, linear_from = values
    return most_per_day / rgr_per_day * np.logaddexp(0, rgr_per_day * (days - linear_from))


def _expolinear_slopes(days, values):
    most_per_day, rgr_per_day, linear_from = values
    grown = np.logaddexp(0, rgr_per_day * (days - linear_from)) / rgr_per_day
    share = _logistic(days, (1.0, linear_from, 1 / rgr_per_day))
    faster = most_per_day / rgr_per_day * (share * (days - linear_from) - grown)
    return np.column_stack([grown, faster, -most_per_day * share])


def _expolinear_reached(area, values):
    most_per_day, rgr_per_day, linear_from = values.T
    grown = area * rgr_per_day / _above(most_per_day)
    return linear_from + (grown + np.log(-np.expm1(-grown))) / _above(rgr_per_day)


def _above(values):
    """What is not above zero has no logarithm: NaN."""
    return np.where(values > 0, values, np.nan)


def _sigmoid_starts(days, area, fitted, *more):
    """Asymptotes just above and far above what was seen, the middle where half of each is."""
    starts = []
    for factor in (1.05, 1.5, 4.0):
        full = factor * float(area.max())
        middle = float(days[np.abs(area - full / 2).argmin()])
        starts.append(np.array([full, middle, np.ptp(days) / 8, *more]))
    return starts


def _richards_starts(days, area, fitted):
    """The laws that it contains, as far as they could be fitted, and steeper than both."""
    within = {"gompertz": 0.1, "logistic": 1.0}
    starts = [np.array([*fitted[n], shape]) for n, shape in within.items() if n in fitted]
    return [*starts, *_sigmoid_starts(days, area, fitted, 3.0)[: 3 - len(starts)]]


def _expolinear_starts(days, area, fitted):
    span, top = float(np.ptp(days)), float(area.max())
    return [
        np.array([2 * top / span, rate / span, days.min() + share * span])
        for rate in (3.0, 8.0)
        for share in (0.3, 0.7)
    ]


LAWS = {
    law.name: law
    for law in (
        Law(
            "logistic",
            ("full", "middle", "scale"),
            _logistic,
            _logistic_slopes,
            _logistic_reached,
            _sigmoid_starts,
        ),
        Law(
            "gompertz",
            ("full", "middle", "scale"),
            _gompertz,
            _gompertz_slopes,
            _gompertz_reached,
            _sigmoid_starts,
        ),
        Law(
            "richards",
            ("full", "middle", "scale", "shape"),
            _richards,
            _richards_slopes,
            _richards_reached,
            _richards_starts,
        ),
        Law(
            "expolinear",
            ("most_per_day", "rgr_per_day", "linear_from"),
            _expolinear,
            _expolinear_slopes,
            _expolinear_reached,
            _expolinear_starts,
            None,
        ),
    )
}
"""Logistic (Verhulst 1838), Gompertz (1825, as Winsor 1932), Richards (1959, J. exp. Bot. 10:
290–300; shape 1 is the logistic, towards 0 the Gompertz) and expolinear (Goudriaan & Monteith 1990,
Annals of Botany 66: 695–701)."""
