"""Two groups that stand on several benches: held against each other within each bench.

Benches differ in light, warmth and days, so plants are dealt to the groups within their bench
alone, and the differences of the benches are put together by how much each of them tells. That is
the permutation test of a randomized block design (Fisher 1935; Edgington & Onghena 2007,
Randomization Tests, ch. 6).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from math import comb, isfinite, prod

import numpy as np

from lapsekit.growth.contrasts import BY_PERMUTATION, Contrast
from lapsekit.growth.permutation import (
    MAX_EXACT,
    SEED,
    TIE,
    dealings,
    drawn_dealings,
    mean_differences,
    shifts_kept,
    smallest_of,
)

Sides = tuple[Sequence[float], Sequence[float]]
"""One number a plant: those of the first group on a bench, those of the second."""


@dataclass(frozen=True)
class Blocked:
    """Two groups compared within benches.

    Attributes
    ----------
    contrast : Contrast
        The second against the first; counts are of plants on the benches that tell something.
    blocks : dict of str to float
        Benches with plants of both groups, and the second mean less the first on each.
    left_out : tuple of str
        Benches on which not both groups have a plant with a number.
    """

    contrast: Contrast
    blocks: dict[str, float]
    left_out: tuple[str, ...]


def blocked_contrast(
    first: Mapping[str, Mapping[str, float]],
    second: Mapping[str, Mapping[str, float]],
    *,
    measure: str = "",
    names: tuple[str, str] = ("first", "second"),
    is_log: bool = False,
    level: float = 0.95,
) -> Blocked:
    """Compare two groups by one number a plant, with the bench as a block.

    Parameters
    ----------
    first, second : mapping of str to mapping of str to float
        By bench, the number of each plant of the group; NaN where it has none.
    measure, names, is_log, level
        As of `lapsekit.growth.contrasts.contrast`.

    Returns
    -------
    Blocked
        With a refusal where no bench has both groups, where one plant stands against one, or where
        so few plants can reach no p below 1 - `level`. There is no interval where the permutations
        are too few for one.
    """
    sides = {
        name: (_known(first.get(name)), _known(second.get(name))) for name in (*first, *second)
    }
    both = {name: pair for name, pair in sides.items() if all(pair)}
    counts = [sum(len(pair[side]) for pair in both.values()) for side in (0, 1)]
    blank = Contrast(
        measure, *names, *counts, _without(first, second), None, None, None, "", None, None, None,
        False, is_log, level, _refusal(list(both.values()), names, level),
    )  # fmt: skip
    told = {n: float(np.mean(pair[1]) - np.mean(pair[0])) for n, pair in both.items()}
    left_out = tuple(name for name in sides if name not in both)
    return Blocked(_tested(blank, list(both.values())) if both else blank, told, left_out)


def _known(plants: Mapping[str, float] | None) -> list[float]:
    return [value for value in (plants or {}).values() if isfinite(value)]


def _without(*groups: Mapping[str, Mapping[str, float]]) -> tuple[str, ...]:
    return tuple(
        f"{plant} ({bench})"
        for group in groups
        for bench, plants in group.items()
        for plant, value in plants.items()
        if not isfinite(value)
    )


def smallest_blocked_p(blocks: Sequence[Sides]) -> float:
    """Smallest two-sided p that these numbers of plants can reach, dealt within their benches."""
    return smallest_of(_ways(blocks), all(len(a) == len(b) for a, b in blocks))


def _ways(blocks: Sequence[Sides]) -> int:
    return prod(comb(len(a) + len(b), len(a)) for a, b in blocks)


def _refusal(blocks: Sequence[Sides], names: tuple[str, str], level: float) -> str:
    if not blocks:
        return (
            f"no bench has measured plants of both {names[0]} and {names[1]}: what differs could "
            "as well be the benches' light or days; grow both groups on each bench"
        )
    least = smallest_blocked_p(blocks)
    if least <= 1 - level:
        return ""
    return (
        f"so few plants of both groups on a bench can reach no p below {least:.2f}, however they "
        f"grow, and {1 - level:.2f} is needed for a claim; grow at least four a side on one bench, "
        "or two a side on three"
    )


def _tested(blank: Contrast, blocks: Sequence[Sides]) -> Contrast:
    differences, moved, is_exact = _dealt(blocks)
    p = float(np.mean(np.abs(differences) >= abs(differences[0]) * (1 - TIE)))
    tested = replace(blank, estimate=float(differences[0]), is_exact=is_exact)
    least = smallest_blocked_p(blocks)
    if least >= 1:  # one against one
        return tested
    if least <= 1 - blank.level:
        low, high = shifts_kept(differences, moved, blank.level)
        tested = replace(tested, low=low, high=high, interval_by=BY_PERMUTATION)
    return replace(tested, p=p, p_corrected=p, smallest_p=least)


def _dealt(blocks: Sequence[Sides]) -> tuple[np.ndarray, np.ndarray, bool]:
    """What every dealing makes of the plants' numbers, and of a shift of 1 of the second side.

    Differences (m,) and shifts (m,), the dealing that was made first; and whether these are all
    dealings. Benches weigh as a common difference is best told by: by plants on both sides.
    """
    weights = np.array([len(a) * len(b) / (len(a) + len(b)) for a, b in blocks])
    weights /= weights.sum()
    sizes = [(len(a), len(b)) for a, b in blocks]
    if _ways(blocks) <= MAX_EXACT:
        rows, together = [dealings(*size) for size in sizes], _every_sum
    else:  # one draw deals every bench, and no bench's draws are used twice
        random = np.random.default_rng(SEED)
        rows, together = (drawn_dealings(*size, random) for size in sizes), np.add
    parts = [_of_block(*each) for each in zip(blocks, rows, weights, strict=True)]
    found = [reduce(together, each) for each in zip(*parts, strict=True)]
    return found[0], found[1], together is _every_sum


def _every_sum(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.add.outer(a, b).ravel()


def _of_block(block: Sides, rows: np.ndarray, weight: float) -> tuple[np.ndarray, np.ndarray]:
    """The bench's share of difference and shift, for each dealing."""
    values = np.array([*block[0], *block[1]], dtype=float)
    return weight * mean_differences(values, rows), weight * mean_differences(
        rows[0].astype(float), rows
    )
