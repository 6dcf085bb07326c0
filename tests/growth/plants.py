"""Simulated plants whose every day is known: curves, pauses, cuts, gaps, errors that hang together.

A plant's clock stands still (or nearly) in a pause; its area follows a growth law on that clock,
and a cut takes a share off at once. Days are measured with errors whose neighbours are correlated;
their stated size is wrong by a common factor and by chance from day to day, as stated sizes are.
"""

from dataclasses import dataclass

import numpy as np

#: Share of a plant's own rate at which it goes on growing in a pause, at most.
MOST_LEFT = 0.2


@dataclass(frozen=True)
class Plant:
    """What is true of a plant and what was measured of it; arrays have one entry a day."""

    days: np.ndarray
    true_cm2: np.ndarray
    true_rgr: np.ndarray
    area_cm2: np.ndarray
    error_cm2: np.ndarray
    rgr: float
    pause: tuple[float, float] | None = None
    cut: tuple[int, float] | None = None
    noise: np.ndarray | None = None


def log_law(kind: str, rgr: float, start_cm2: float, full_cm2: float):
    """Log area as a function of the clock in days; `rgr` is the rate at the start."""
    room = start_cm2 / full_cm2
    if kind == "logistic":
        speed = rgr / (1 - room)
        return lambda t: np.log(full_cm2) - np.log1p((1 / room - 1) * np.exp(-speed * t))
    if kind == "gompertz":
        speed = rgr / -np.log(room)
        return lambda t: np.log(full_cm2) + np.log(room) * np.exp(-speed * t)
    linear_from = np.log(full_cm2 / start_cm2) / rgr  # expolinear
    return lambda t: np.log(
        start_cm2 * np.exp(rgr * linear_from) * np.log1p(np.exp(rgr * (t - linear_from)))
    )


def correlated(random, days: int, rho: float) -> np.ndarray:
    """Errors of standard deviation 1 whose neighbours are correlated by `rho`."""
    errors = random.normal(size=days)
    for day in range(1, days):
        errors[day] = rho * errors[day - 1] + np.sqrt(1 - rho**2) * errors[day]
    return errors


def simulated(
    random,
    noise: float = 0.04,
    rho: float = 0.4,
    days: int = 72,
    rgr: float | None = None,
    pause: tuple[float, float] | None = None,
    cut: tuple[int, float] | None = None,
    gaps: bool = True,
    kind: str | None = None,
    weather: float = 0.0,
) -> Plant:
    """One plant; what is not given is drawn.

    Parameters
    ----------
    random : numpy.random.Generator
    noise : float
        Standard deviation of the daily errors, as a share.
    rho : float
        Correlation of neighbouring days' errors.
    rgr : float
        Per day, at the start.
    pause : (first, last) days, optional
        Growth stands (nearly) still from the first to the last.
    cut : (day, share), optional
        From that day on the share is gone.
    gaps : bool
        Leave out single days and a hole of some days.
    kind : str
        "logistic", "gompertz" or "expolinear".
    weather : float
        Standard deviation of the speed of the clock from day to day; its neighbours are
        correlated by 0.6.
    """
    rgr = random.uniform(0.03, 0.12) if rgr is None else rgr
    kind = random.choice(["logistic", "gompertz", "expolinear"]) if kind is None else kind
    start = random.uniform(2, 10)
    law = log_law(kind, rgr, start, start * np.exp(rgr * days * random.uniform(0.7, 1.3)))
    left = random.uniform(0, MOST_LEFT)
    first, last = pause or (days, days)

    day = np.arange(days, dtype=float)
    speed = np.maximum(1 + weather * correlated(random, days + 2, 0.6), 0) if weather else 1.0
    clock = np.cumsum(speed * np.ones(days + 2)) - 2

    def log_area(t):
        passed = t - (1 - left) * np.clip(t - first, 0, last - first)
        return law(np.interp(passed, np.arange(-1, days + 1), clock))

    gone = np.where(day >= cut[0], np.log1p(-cut[1]), 0.0) if cut else 0.0
    true = np.exp(log_area(day) + gone)
    rate = log_area(day + 0.5) - log_area(day - 0.5)
    share = noise * random.uniform(0.7, 1.3, days)
    area = true * np.exp(share * correlated(random, days, rho))
    if gaps:
        area[missing_days(random, days)] = np.nan
    stated = area * share * random.uniform(0.6, 1.6)
    return Plant(day, true, rate, area, stated, rgr, pause, cut, share)


def missing_days(random, days: int) -> np.ndarray:
    """One day in twenty, and in every other plant a hole of two to six days."""
    missing = random.random(days) < 0.05
    if random.random() < 0.5:
        begin = random.integers(1, days - 8)
        missing[begin : begin + random.integers(2, 7)] = True
    missing[[0, -1]] = False
    return missing
