"""Permutation tests on one number per plant, their intervals, and Holm's correction.

Under no difference any dealing of the plants to the groups was as likely as the one that was made
(Fisher 1935; Ernst 2004, Statistical Science 19: 676-685). Nothing is assumed of how plants
scatter, and how small a p can become is known beforehand.
"""

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations
from math import comb

import numpy as np

#: Dealings up to which all are looked at; beyond, `DRAWS` of them are drawn.
MAX_EXACT = 50_000
DRAWS = 19_999
SEED = 20_031
TIE = 1e-9


def smallest_p(first: int, second: int) -> float:
    """Smallest two-sided p that `first` plants against `second` can reach.

    Of all dealings the one that was made is as extreme as itself and, with equal sides, as its
    mirror: three against three give 2/20 = 0.10. Where dealings are drawn it is one of these.
    """
    return smallest_of(comb(first + second, first), first == second)


def smallest_of(ways: int, mirrored: bool) -> float:
    """Smallest two-sided p of so many dealings, of which each may have its mirror."""
    return (2 if mirrored else 1) / ways if ways <= MAX_EXACT else 1 / (DRAWS + 1)


def is_exact(first: int, second: int) -> bool:
    """Whether every dealing is looked at."""
    return comb(first + second, first) <= MAX_EXACT


@lru_cache(maxsize=8)
def dealings(first: int, second: int) -> np.ndarray:
    """Rows of booleans (m, first + second): which plants are dealt to the second side.

    The first row is the dealing that was made.
    """
    plants = first + second
    if is_exact(first, second):
        chosen = list(combinations(range(plants - 1, -1, -1), second))
        rows = np.zeros((len(chosen), plants), dtype=bool)
        np.put_along_axis(rows, np.array(chosen), True, axis=1)
        return rows  # combinations of falling numbers begin with the last `second` plants
    return drawn_dealings(first, second, np.random.default_rng(SEED))


def drawn_dealings(first: int, second: int, random: np.random.Generator) -> np.ndarray:
    """Rows as of `dealings`: the one that was made, and `DRAWS` that are dealt afresh."""
    made = np.arange(first + second) >= first
    drawn = random.permuted(np.tile(made, (DRAWS, 1)), axis=1)
    return np.vstack([made, drawn])


def permutation_p(first: Sequence[float], second: Sequence[float]) -> float:
    """Two-sided p of the difference between two means.

    Parameters
    ----------
    first, second : sequence of float
        One number a plant, at least one a side.

    Returns
    -------
    float
        Share of dealings whose means differ by at least as much.
    """
    return float(permutation_ps(np.array([[*first, *second]], dtype=float), len(first))[0])


def permutation_ps(experiments: np.ndarray, first: int) -> np.ndarray:
    """The same for many experiments of one size.

    Parameters
    ----------
    experiments : (k, n) array of float
        A row holds the numbers of the first side's plants, then those of the second's.
    first : int
        Plants on the first side.

    Returns
    -------
    (k,) array of float
    """
    rows = dealings(first, experiments.shape[1] - first)
    differences = np.abs(mean_differences(experiments.T, rows))
    return np.mean(differences >= differences[0] * (1 - TIE), axis=0)


def permutation_interval(
    first: Sequence[float], second: Sequence[float], level: float
) -> tuple[float, float] | None:
    """Interval of the second mean less the first: all shifts that the test does not reject.

    The set is found exactly, not searched: for one dealing the shifts at which its difference is
    at least as far from zero as the one seen form an interval around the estimate, whose ends
    solve two straight lines.

    Parameters
    ----------
    first, second : sequence of float
        One number a plant.
    level : float
        Such as 0.95.

    Returns
    -------
    low, high : float
        None where so few plants can reject no shift at this level.
    """
    if smallest_p(len(first), len(second)) > 1 - level:
        return None
    values = np.array([*first, *second], dtype=float)
    rows = dealings(len(first), len(second))
    differences = mean_differences(values, rows)
    moved = mean_differences((np.arange(len(values)) >= len(first)).astype(float), rows)
    return shifts_kept(differences, moved, level)


def shifts_kept(differences: np.ndarray, moved: np.ndarray, level: float) -> tuple[float, float]:
    """Ends of the shifts that a permutation test does not reject.

    Parameters
    ----------
    differences, moved : (m,) array of float
        What each dealing makes of the plants' numbers, and of a shift of 1 of the second side; the
        dealing that was made first.
    level : float
    """
    seen = differences[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.array([(seen + differences) / (1 + moved), (seen - differences) / (1 - moved)])
    whole = np.abs(moved) > 1 - TIE  # the dealing made and its mirror reject nothing
    low = np.where(whole, -np.inf, ends.min(axis=0))
    high = np.where(whole, np.inf, ends.max(axis=0))
    rejected = int((1 - level) * len(differences) * (1 + TIE))
    return float(np.sort(low)[rejected]), float(np.sort(high)[::-1][rejected])


def groups_p(groups: Sequence[Sequence[float]]) -> float:
    """P that several groups' means are alike, by a permutation test of the variance ratio F.

    Drawn by `DRAWS` random dealings, always the same ones.

    Parameters
    ----------
    groups : sequence of sequence of float
        At least two groups, one number a plant.
    """
    values = np.concatenate([np.asarray(g, dtype=float) for g in groups])
    sizes = [len(g) for g in groups]
    drawn = np.random.default_rng(SEED).permuted(np.tile(values, (DRAWS, 1)), axis=1)
    # F rises with the squares between groups, as squares in all stay what they are.
    between = _between(np.vstack([values, drawn]), sizes)
    return float(np.mean(between >= between[0] * (1 - TIE)))


def holm(p_values: Sequence[float]) -> list[float]:
    """P values corrected for being several (Holm 1979, Scand. J. Statistics 6: 65-70).

    Parameters
    ----------
    p_values : sequence of float, length m

    Returns
    -------
    list of float, length m
        In the same order; each may be held against the level as if it were the only one.
    """
    corrected, worst = [0.0] * len(p_values), 0.0
    for rank, at in enumerate(sorted(range(len(p_values)), key=lambda n: p_values[n])):
        worst = max(worst, min(1.0, (len(p_values) - rank) * p_values[at]))
        corrected[at] = worst
    return corrected


def mean_differences(values: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Second mean less first for each dealing (m,), or for each of k experiments too (m, k)."""
    second = rows[0].sum()
    sums = rows.astype(float) @ values
    return sums / second - (values.sum(axis=0) - sums) / (len(values) - second)


def _between(rows: np.ndarray, sizes: Sequence[int]) -> np.ndarray:
    middle = rows[0].mean()
    parts = np.split(rows, np.cumsum(sizes)[:-1], axis=1)
    return sum(len(p[0]) * (p.mean(axis=1) - middle) ** 2 for p in parts)
