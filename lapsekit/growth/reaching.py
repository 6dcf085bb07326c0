"""When a fitted growth law comes to an area: a given cover, or the closed canopy."""

from dataclasses import dataclass

import numpy as np

from lapsekit.growth.fits import Fit
from lapsekit.growth.laws import LAWS

MOST_AHEAD = 0.5
"""How far ahead of the last measured day an answer may lie, as a share of the days measured."""

_DRAWS = 2000


@dataclass(frozen=True)
class Reach:
    """When a fitted curve comes to an area.

    Attributes
    ----------
    day, low, high : float or None
        With the 95 % interval; `high` is None if it may never come, `day` if nothing is stated.
    extrapolated : bool
        Whether the day lies after the last measured one.
    note : str
        What limits the answer, or why there is none; empty where nothing does.
    """

    day: float | None
    low: float | None
    high: float | None
    extrapolated: bool
    note: str


def day_reached(fit: Fit, area: float, seed: int = 0) -> Reach:
    """When the fitted curve comes to an area: a cover, or the closed canopy.

    Parameters
    ----------
    fit : Fit
    area : float
        In the unit of the fit; for canopy closure, the area of the region (or the cover 1).
    seed : int
        Of the draws that the interval rests on.

    Returns
    -------
    Reach

    Raises
    ------
    ValueError
        `area` is not above zero.

    Notes
    -----
    The interval is that of 2,000 draws of the parameters from their joint normal distribution.
    It takes the law for granted: compare the answers of the laws that fit about as well.
    """
    if not area > 0:
        raise ValueError(f"an area of {area:g} cannot be waited for: give one above zero")
    law = LAWS[fit.law]
    values = np.array(list(fit.parameters.values()))
    day = float(law.reached(area, values[None])[0])
    if not np.isfinite(day):
        return Reach(None, None, None, False, f"the curve stays below {area:g}")
    if refusal := _too_far(fit, area, day):
        return Reach(None, None, None, day > fit.last_day, refusal)
    draws = np.random.default_rng(seed).multivariate_normal(
        values, fit.covariance, _DRAWS, check_valid="ignore", method="eigh"
    )
    with np.errstate(all="ignore"):
        times = law.reached(area, draws)
    times = np.sort(np.where(np.isnan(times), np.inf, times))
    low, high = float(times[_DRAWS // 40]), float(times[-_DRAWS // 40])
    return Reach(day, min(low, day), high if np.isfinite(high) else None, *_limits(fit, day, high))


def _limits(fit: Fit, day: float, high: float) -> tuple[bool, str]:
    notes = []
    if day > fit.last_day:
        notes.append(f"extrapolated by {day - fit.last_day:.1f} days")
    if day < fit.first_day:
        notes.append("before the first measured day")
    if not np.isfinite(high):
        notes.append("it may never be reached")
    return day > fit.last_day, "; ".join(notes)


def _too_far(fit: Fit, area: float, day: float) -> str:
    ahead, span = day - fit.last_day, fit.last_day - fit.first_day
    if ahead > MOST_AHEAD * span:
        return f"{area:g} would lie {ahead:.0f} days ahead: too far for {span:.0f} measured days"
    return ""
