"""How many plants a side a difference of a given size needs, from the scatter between plants."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, inf, isfinite, log, sqrt

import numpy as np
from scipy.special import chdtri, nctdtr, stdtrit

from lapsekit.growth.permutation import permutation_ps, smallest_p

#: Most plants a side that a plan looks at.
MOST_PLANTS = 500
#: Up to this many a side the permutation test's power is played through; beyond, t's is as good.
_PLAYED_UP_TO, _PLAYS = 7, 1000
_SEED = 20_031


@dataclass(frozen=True)
class Scatter:
    """How far plants that were treated alike lie apart.

    Attributes
    ----------
    sd : float
        Standard deviation between plants within groups, of one number a plant; of a natural log,
        about the share by which they differ.
    low, high : float
        Its own 95 % interval, which takes plants' scatter as normal; `high` may be infinite.
    free : int
        Degrees of freedom that it rests on: plants less groups.
    """

    sd: float
    low: float
    high: float
    free: int


@dataclass(frozen=True)
class Plan:
    """How many plants a side, and what they reach.

    Attributes
    ----------
    plants : int or None
        Plants a side; None where `MOST_PLANTS` are not enough.
    power : float or None
        Chance to find the difference with so many, 0 to 1.
    difference, scatter : float
        What was asked, in the same unit.
    least_plants : int
        Fewer a side can support no claim at this level, whatever they do.
    """

    plants: int | None
    power: float | None
    difference: float
    scatter: float
    least_plants: int


def scatter_between(groups: Sequence[Sequence[float]]) -> Scatter | None:
    """Scatter between plants within groups, pooled over the groups.

    Parameters
    ----------
    groups : sequence of sequence of float
        One number a plant; plants of a group were treated alike. NaN is left out.

    Returns
    -------
    Scatter or None
        None where no group has two plants.
    """
    known = [[v for v in group if isfinite(v)] for group in groups]
    known = [group for group in known if len(group) > 1]
    free = sum(len(group) - 1 for group in known)
    if not free:
        return None
    squares = sum(float(np.var(group)) * len(group) for group in known)
    # chdtri(free, q): the value that chi squared exceeds with chance q.
    ends = [sqrt(squares / float(chdtri(free, q))) for q in (0.025, 0.975)]
    return Scatter(sqrt(squares / free), *ends, free)


def plants_needed(
    difference: float, scatter: float, *, power: float = 0.8, level: float = 0.95
) -> Plan:
    """Plants a side for a difference to be found by a two-sided test.

    Up to seven a side the permutation test is played through with made-up plants (always the same
    ones); beyond, its power is that of the t test, by the noncentral t distribution (Cohen 1988,
    Statistical Power Analysis, chapter 2).

    Parameters
    ----------
    difference : float
        Between two means: ln 1.2 for areas that differ by a factor of 1.2. Not 0.
    scatter : float
        Standard deviation between plants treated alike, in the same unit; above 0.
    power : float
        Chance to find it, between 0 and 1.
    level : float

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If a number lies outside its range.
    """
    if not (isfinite(difference) and difference):
        raise ValueError(f"a difference of {difference:g} needs no plants; give one that is not 0")
    if not (isfinite(scatter) and scatter > 0):
        raise ValueError(f"a scatter of {scatter:g} cannot be; give one above 0, like 0.15")
    if not 0 < power < 1:
        raise ValueError(f"a power of {power:g} cannot be; give one between 0 and 1, like 0.8")
    effect = abs(difference) / scatter
    least = least_plants(level)
    for plants in range(least, MOST_PLANTS + 1):
        reached = power_of(plants, effect, level)
        if reached >= power:
            return Plan(plants, reached, difference, scatter, least)
    return Plan(None, None, difference, scatter, least)


def least_plants(level: float = 0.95) -> int:
    """Plants a side below which a permutation test can reach no claim: 4 at 95 %."""
    return next(n for n in range(2, MOST_PLANTS) if smallest_p(n, n) <= 1 - level)


def power_of(plants: int, effect: float, level: float = 0.95) -> float:
    """Chance of finding a difference with so many plants a side.

    Parameters
    ----------
    plants : int
        A side, at least 2.
    effect : float
        Difference over the scatter between plants, at least 0.
    level : float

    Returns
    -------
    float
        0 where no result could be claimed.
    """
    if smallest_p(plants, plants) > 1 - level:
        return 0.0
    if plants <= _PLAYED_UP_TO:
        return _played(plants, round(effect, 6), level)
    free = 2 * plants - 2
    edge = float(stdtrit(free, (1 + level) / 2))
    away = effect * sqrt(plants / 2)
    # Far out scipy's series ends in NaN; there nothing is missed any more.
    missed = float(nctdtr(free, away, edge)) - float(nctdtr(free, away, -edge))
    return 1 - missed if isfinite(missed) else 1.0


@lru_cache(maxsize=256)
def _played(plants: int, effect: float, level: float) -> float:
    experiments = np.random.default_rng(_SEED).normal(0, 1, (_PLAYS, 2 * plants))
    experiments[:, plants:] += effect
    return float(np.mean(permutation_ps(experiments, plants) <= 1 - level))


def smallest_ratio(
    plants: int, scatter: float, *, power: float = 0.8, level: float = 0.95
) -> float:
    """Smallest ratio of areas that so many plants a side find, for a scatter of ln area.

    Returns
    -------
    float
        Above 1; infinite where so few plants can support no claim.
    """
    if power_of(plants, 100.0, level) < power:
        return inf
    low, high = 0.0, 100.0
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (low, middle) if power_of(plants, middle, level) >= power else (middle, high)
    return exp(min(high * scatter, log(1e6)))
