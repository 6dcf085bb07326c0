"""Canopy that fell since the day before by more than its days usually differ.

A curve needs days after a loss to be sure of it; a grower wants to know at once. What is usual is
learned from the plant's own last weeks: the median of its daily changes, and how far they scatter
about it. What all plants have in common since yesterday is the weather's or the camera's.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

USUAL_DAYS, LEAST_CHANGES = 21, 6
"""Days before that tell what is usual, and fewest changes from one day to the next among them."""

MOST_APART = 3
"""Days that today may lie after the measured day before."""

LEAST_FALL = 0.08
"""Smallest share of the canopy whose fall is told; leaves of a healthy plant move by less."""

TIMES = 4.5
"""How many standard deviations of the usual changes a fall must lie beyond the others'. Daily
changes have heavier tails than a normal law: see ``tests/growth/test_falls.py`` for how often it is
passed by chance."""

LEAST_OTHERS = 2


@dataclass(frozen=True)
class Change:
    """How a region's area changed since the measured day before.

    Attributes
    ----------
    since, day : int
    change : float
        Natural log of the ratio of areas.
    beyond : float
        The same less what is usual for so many days.
    scatter : float
        Standard deviation of what is usual.
    """

    since: int
    day: int
    change: float
    beyond: float
    scatter: float


@dataclass(frozen=True)
class Fall:
    """A fall that stands out.

    Attributes
    ----------
    since, day : int
    share : float
        Of the canopy that went, 0 to 1.
    usual_share : float
        Largest fall that would have passed as usual.
    others_change : float or None
        Median change of the others' area since their day before, as a share; None if fewer than
        `LEAST_OTHERS` have one.
    """

    since: int
    day: int
    share: float
    usual_share: float
    others_change: float | None


def last_change(days, area_cm2, error_cm2) -> Change | None:
    """How the last day's area differs from the measured day before, and from what is usual.

    Parameters
    ----------
    days : array_like of int, shape (n,)
        Rising; the last is today.
    area_cm2, error_cm2 : array_like of float, shape (n,)
        Areas above zero and their standard errors.

    Returns
    -------
    Change or None
        None where the days before are too few or too long ago.
    """
    days, area, error = (np.asarray(each, float) for each in (days, area_cm2, error_cm2))
    if days.size < LEAST_CHANGES + 2 or days[-1] - days[-2] > MOST_APART:
        return None
    apart = np.diff(days)
    changes = np.diff(np.log(area))
    told = (days[1:-1] >= days[-1] - USUAL_DAYS) & (apart[:-1] <= MOST_APART)
    if told.sum() < LEAST_CHANGES:
        return None
    daily = changes[:-1][told] / apart[:-1][told]
    usual = float(np.median(daily))
    scatter = 1.4826 * float(np.median(np.abs(daily - usual)))
    # Areas whose intervals are wide may differ by as much, whatever the days before did
    doubt = float(np.hypot(*(error[-2:] / area[-2:])))
    beyond = float(changes[-1] - usual * apart[-1])
    return Change(int(days[-2]), int(days[-1]), float(changes[-1]), beyond, max(scatter, doubt))


def falls(changes: Mapping[str, Change]) -> dict[str, Fall]:
    """Those regions whose canopy fell by more than is usual, and by more than the others'.

    Parameters
    ----------
    changes : mapping of str to Change
        Of all regions of one camera that have one today.

    Returns
    -------
    dict of str to Fall
    """
    found = {}
    for name, own in changes.items():
        others = [other for n, other in changes.items() if n != name]
        common = (
            float(np.median([o.beyond for o in others])) if len(others) >= LEAST_OTHERS else 0.0
        )
        limit = min(common, 0.0) - TIMES * own.scatter
        if own.beyond < limit and -np.expm1(own.change) >= LEAST_FALL:
            usual = own.change - own.beyond + limit
            told = float(np.expm1(np.median([o.change for o in others]))) if others else None
            enough = len(others) >= LEAST_OTHERS
            shares = (float(max(-np.expm1(x), 0.0)) for x in (own.change, usual))
            found[name] = Fall(own.since, own.day, *shares, told if enough else None)
    return found
