"""Two curves of the same kind of plant held together: along age, calendar or warmth.

Which clock plants keep is a question of its own: by age a warm spring looks like a better gardener;
by degree days it does not.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Line:
    """A growth curve along some clock.

    Attributes
    ----------
    at : ndarray of float, shape (n,)
        Where each day stands: days of age, days of the year or degree days. Not falling.
    area_cm2, low_cm2, high_cm2 : ndarray of float, shape (n,)
        The curve and its 95 % band; NaN where it is open.
    """

    at: np.ndarray
    area_cm2: np.ndarray
    low_cm2: np.ndarray
    high_cm2: np.ndarray


@dataclass(frozen=True)
class Beside:
    """One curve held against an earlier one, at the places where both are known.

    Attributes
    ----------
    index : ndarray of int, shape (m,)
        Days of the first curve, by their number in it.
    earlier_cm2 : ndarray of float, shape (m,)
        The earlier curve at the same places.
    ratio, low, high : ndarray of float, shape (m,)
        First over earlier, with its 95 % interval from both bands.
    ahead : float or None
        By how much of the clock the first curve came to its last area before the earlier curve
        did; below 0, after it. None if the earlier curve never came to it.
    """

    index: np.ndarray
    earlier_cm2: np.ndarray
    ratio: np.ndarray
    low: np.ndarray
    high: np.ndarray
    ahead: float | None


def side_by_side(own: Line, earlier: Line) -> Beside:
    """Hold a curve against an earlier one.

    Parameters
    ----------
    own, earlier : Line
        Along the same clock.

    Returns
    -------
    Beside
        Empty where they share no stretch. Between two days of the earlier curve it is read on a
        straight line of log area; days that stand at the same place (none warmer than the base)
        count as their last; across a day on which it is open nothing is read.
    """
    at, area, below, above = _steps(earlier)
    place = np.interp(own.at, at, np.arange(at.size), left=np.nan, right=np.nan)
    known = np.isfinite(place)
    before = np.floor(np.where(known, place, 0)).astype(int)
    after, share = np.minimum(before + 1, max(at.size - 1, 0)), place - before
    then, then_below, then_above = (
        np.where(share > 0, (1 - share) * each[before] + share * each[after], each[before])
        for each in (area, below, above)
    )
    own_log, (own_below, own_above) = np.log(own.area_cm2), _sides(own)
    index = np.flatnonzero(known & np.isfinite(then) & np.isfinite(own_log))
    change = (own_log - then)[index]
    less = np.hypot(own_below, then_above)[index]
    more = np.hypot(own_above, then_below)[index]
    ratios = (np.exp(each) for each in (change, change - less, change + more))
    return Beside(index, np.exp(then[index]), *ratios, _ahead(own, at, area))


def _sides(line: Line) -> tuple[np.ndarray, np.ndarray]:
    """How far the band reaches below and above the curve, in log area."""
    return np.log(line.area_cm2 / line.low_cm2), np.log(line.high_cm2 / line.area_cm2)


def _steps(line: Line) -> tuple[np.ndarray, ...]:
    """Places, log areas and how far their bands reach below and above; of days at one place the
    last.
    """
    last = np.append(np.diff(line.at) > 0, True)
    return tuple(each[last] for each in (line.at, np.log(line.area_cm2), *_sides(line)))


def _ahead(own: Line, at: np.ndarray, area: np.ndarray) -> float | None:
    """Where the earlier curve first came to the last area, less where the own did."""
    known = np.flatnonzero(np.isfinite(own.area_cm2))
    if not known.size:
        return None
    goal = float(np.log(own.area_cm2[known[-1]]))
    then, now = _first_at(at, area, goal), _first_at(own.at, np.log(own.area_cm2), goal)
    return None if then is None or now is None else then - now


def _first_at(at: np.ndarray, area: np.ndarray, goal: float) -> float | None:
    """Where a curve (log area) first comes to a goal; None if it never does, or began there."""
    with np.errstate(invalid="ignore"):
        reached = np.flatnonzero(area >= goal)
    if not reached.size or reached[0] == 0:
        return None
    after = int(reached[0])
    before = after - 1
    if not np.isfinite(area[before]):
        return None
    share = (goal - area[before]) / (area[after] - area[before])
    return float(at[before] + share * (at[after] - at[before]))
