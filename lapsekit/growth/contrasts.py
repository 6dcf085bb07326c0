"""Groups of plants against each other: ratio of areas, area under the curve, growth rate.

One number a plant first (`lapsekit.growth.plants`), then a permutation test: exact where there are
few plants, and with a plain refusal where there are too few for any claim.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import exp, isfinite

import numpy as np
from scipy.special import stdtrit

from lapsekit.growth.permutation import (
    groups_p,
    holm,
    is_exact,
    permutation_interval,
    permutation_p,
    smallest_p,
)
from lapsekit.growth.plants import Plant, growth_rate, log_area_at, log_area_days

BY_PERMUTATION, BY_WELCH = "permutation", "Welch"


@dataclass(frozen=True)
class Measure:
    """What each plant is boiled down to.

    Attributes
    ----------
    name : str
        In words, with the ages it rests on.
    of : callable
        Plant -> float; NaN where the plant has no such number.
    is_log : bool
        Whether the number is a natural log, so that a difference is a ratio.
    """

    name: str
    of: Callable[[Plant], float]
    is_log: bool


def area_at(age_days: float) -> Measure:
    """Area at one plant age; groups differ by a ratio."""
    return Measure(f"area at {age_days:g} days", lambda p: log_area_at(p, age_days), True)


def area_days(first_days: float, last_days: float) -> Measure:
    """Area under the curve between two ages; groups differ by a ratio."""
    told = f"area under the curve, {first_days:g} to {last_days:g} days"
    return Measure(told, lambda p: log_area_days(p, first_days, last_days), True)


def rgr(first_days: float, last_days: float) -> Measure:
    """Relative growth rate between two ages, per day; groups differ by a difference."""
    told = f"growth rate, {first_days:g} to {last_days:g} days"
    return Measure(told, lambda p: growth_rate(p, first_days, last_days), False)


def rgr_ratio(first_days: float, last_days: float) -> Measure:
    """The same rate as a ratio; a plant that did not grow has none."""

    def log_rate(plant: Plant) -> float:
        rate = growth_rate(plant, first_days, last_days)
        return float(np.log(rate)) if rate > 0 else float("nan")

    told = f"ratio of growth rates, {first_days:g} to {last_days:g} days"
    return Measure(told, log_rate, True)


@dataclass(frozen=True)
class Contrast:
    """The second group against the first, in one measure.

    Attributes
    ----------
    measure, first, second : str
        What is compared, and the groups' names.
    first_plants, second_plants : int
        Plants that have a number.
    without_number : tuple of str
        Plants left out because they have none.
    estimate : float or None
        Second mean less first; a natural log if `is_log`. None where a side has no plant.
    low, high : float or None
        Interval at `level`; None where nothing can be said.
    interval_by : str
        ``"permutation"``, ``"Welch"`` (takes plants' scatter as normal) or ``""``.
    p, p_corrected : float or None
        Two-sided, by permutation; the same after Holm's correction among all asked at once.
    smallest_p : float or None
        What these numbers of plants can reach at best.
    is_exact, is_log : bool
        Whether all dealings were looked at; whether estimate and interval are natural logs.
    level : float
        Such as 0.95.
    refusal : str
        Why no claim can be made whatever the plants did; empty where one can.
    """

    measure: str
    first: str
    second: str
    first_plants: int
    second_plants: int
    without_number: tuple[str, ...]
    estimate: float | None
    low: float | None
    high: float | None
    interval_by: str
    p: float | None
    p_corrected: float | None
    smallest_p: float | None
    is_exact: bool
    is_log: bool
    level: float
    refusal: str = ""

    @property
    def is_claimed(self) -> bool:
        """Whether the groups may be called different at this level."""
        return not self.refusal and self.p_corrected <= 1 - self.level

    @property
    def ratio(self) -> float | None:
        """Second over first, where the measure is a log."""
        return exp(self.estimate) if self.is_log and self.estimate is not None else None


def contrast(
    first: Mapping[str, float],
    second: Mapping[str, float],
    *,
    measure: str = "",
    names: tuple[str, str] = ("first", "second"),
    is_log: bool = False,
    level: float = 0.95,
) -> Contrast:
    """Compare two groups by one number a plant.

    Parameters
    ----------
    first, second : mapping of str to float
        Number of each plant; NaN where it has none, and it is left out and named.
    measure : str
        What the number is, in words.
    names : pair of str
    is_log : bool
        Whether the number is a natural log.
    level : float
        Between 0.5 and 1.

    Returns
    -------
    Contrast
        With a refusal, and no p, where a side has fewer than two plants; with a refusal beside the
        p where so few plants can reach no p below 1 - `level`.

    Raises
    ------
    ValueError
        If a plant stands on both sides, or the level is no level.
    """
    both = sorted(first.keys() & second.keys())
    if both:
        raise ValueError(f"{', '.join(both)} stands on both sides; a plant can be on one only")
    if not 0.5 < level < 1:
        raise ValueError(f"a level of {level:g} is none; give one between 0.5 and 1, like 0.95")
    sides = [[v for v in side.values() if isfinite(v)] for side in (first, second)]
    without = tuple(n for side in (first, second) for n, v in side.items() if not isfinite(v))
    counts = [len(side) for side in sides]
    estimate = float(np.mean(sides[1]) - np.mean(sides[0])) if all(counts) else None
    blank = Contrast(
        measure, *names, *counts, without, estimate, None, None, "", None, None, None, False,
        is_log, level, _refusal(counts, names, level),
    )  # fmt: skip
    return blank if min(counts) < 2 else _tested(blank, sides)


def contrasts(
    groups: Mapping[str, Sequence[Plant]], measures: Sequence[Measure], level: float = 0.95
) -> list[Contrast]:
    """Every pair of groups in every measure, with Holm's correction among all of them.

    Parameters
    ----------
    groups : mapping of str to sequence of Plant
    measures : sequence of Measure
    level : float

    Returns
    -------
    list of Contrast
        Measure by measure, pairs in the groups' order.
    """
    found = []
    for measure in measures:
        numbers = {g: {p.name: measure.of(p) for p in plants} for g, plants in groups.items()}
        found += [
            contrast(
                numbers[a],
                numbers[b],
                measure=measure.name,
                names=(a, b),
                is_log=measure.is_log,
                level=level,
            )
            for a, b in combinations(groups, 2)
        ]
    return corrected(found)


def corrected(found: Sequence[Contrast]) -> list[Contrast]:
    """The same contrasts, with p corrected (Holm) for being asked together."""
    asked = [c for c in found if c.p is not None]
    by_id = dict(zip(map(id, asked), holm([c.p for c in asked]), strict=True))
    # Holm claims nothing unless the smallest p, times how many were asked, is small enough.
    least = len(asked) * min((c.smallest_p for c in asked), default=0.0)
    told = [replace(c, p_corrected=by_id.get(id(c))) for c in found]
    return [_refused_as_one_of_many(c, len(asked), least) for c in told]


def alike(groups: Mapping[str, Sequence[Plant]], measure: Measure) -> float | None:
    """P that all groups are alike in a measure, by permutation; None where a group has no two."""
    values = [[v for p in plants if isfinite(v := measure.of(p))] for plants in groups.values()]
    return groups_p(values) if len(values) > 1 and min(map(len, values)) > 1 else None


def welch_interval(
    first: Sequence[float], second: Sequence[float], level: float
) -> tuple[float, float]:
    """Interval of the second mean less the first (Welch 1947, Biometrika 34: 28-35).

    Takes the scatter between plants as normal; sides may scatter differently, and need two plants
    each.
    """
    parts = [np.var(side, ddof=1) / len(side) for side in (first, second)]
    difference, whole = float(np.mean(second) - np.mean(first)), sum(parts)
    if whole == 0:
        return difference, difference
    free = whole**2 / sum(
        part**2 / (len(side) - 1) for part, side in zip(parts, (first, second), strict=True)
    )
    half = float(stdtrit(free, (1 + level) / 2) * np.sqrt(whole))
    return difference - half, difference + half


def _refused_as_one_of_many(found: Contrast, asked: int, least: float) -> Contrast:
    if found.refusal or least <= 1 - found.level:
        return found
    return replace(
        found,
        refusal=f"of {asked} comparisons at once none can reach a corrected p below {least:.2f} "
        f"with so few plants, and {1 - found.level:.2f} is needed for a claim; ask fewer "
        "questions, or grow more plants",
    )


def _tested(blank: Contrast, sides: Sequence[Sequence[float]]) -> Contrast:
    p, ends, by = permutation_p(*sides), permutation_interval(*sides, blank.level), BY_PERMUTATION
    if ends is None:
        ends, by = welch_interval(*sides, blank.level), BY_WELCH
    counts = blank.first_plants, blank.second_plants
    return replace(
        blank,
        low=ends[0],
        high=ends[1],
        interval_by=by,
        p=p,
        p_corrected=p,
        smallest_p=smallest_p(*counts),
        is_exact=is_exact(*counts),
    )


def _refusal(counts: Sequence[int], names: tuple[str, str], level: float) -> str:
    few = [f"{name} has {n}" for n, name in zip(counts, names, strict=True) if n < 2]
    if few:
        return (
            f"{' and '.join(few)} to compare: one plant a side cannot support a claim, since "
            "plants differ without any cause; grow at least four a side"
        )
    least = smallest_p(*counts)
    if least <= 1 - level:
        return ""
    return (
        f"{counts[0]} against {counts[1]} plants can reach no p below {least:.2f}, however they "
        f"grow, and {1 - level:.2f} is needed for a claim; grow at least four a side"
    )
