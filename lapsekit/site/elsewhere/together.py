"""How much the whole bench has grown in a week. Pure.

The plants that have a value on both days are added up. How far the sum can be off is taken at its
widest, as if all plants of a day were off the same way; the two days are taken as independent.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, hypot, log
from typing import TYPE_CHECKING

from lapsekit.site.elsewhere.told import PlantTold

if TYPE_CHECKING:
    from lapsekit.site.words import Words


@dataclass(frozen=True)
class Together:
    """The canopy of several plants together, and what a week did to it.

    Attributes
    ----------
    known, missing : tuple of str
        Titles of the plants added up, and of those without a value on one of the days.
    value_cm2, before_cm2 : float
        Today, and seven days earlier.
    share : float
        Change as a share of `before_cm2`: 0.43 is 43 % more.
    share_low, share_high : float or None
        Its 95 % interval; None where a plant has none.
    """

    known: tuple[str, ...]
    missing: tuple[str, ...]
    value_cm2: float
    before_cm2: float
    share: float
    share_low: float | None
    share_high: float | None


def together(plants: Iterable[PlantTold]) -> Together | None:
    """Add plants up; None where not one has an area on both days, or nothing was there before.

    Shares of outlines of different sizes cannot be added: plants without a scale are missing.
    """
    plants = list(plants)
    known = [p for p in plants if p.unit == "cm²" and p.change is not None]
    before = sum(p.before for p in known)
    if before <= 0:
        return None
    value = sum(p.value for p in known)
    off = _off([(p.low, p.high) for p in known]), _off([(p.before_low, p.before_high) for p in known])
    low = high = None
    if value > 0 and None not in off:
        wide = hypot(*off)
        low, high = (value / before * exp(side * wide) - 1 for side in (-1, 1))
    return Together(
        tuple(p.title for p in known),
        tuple(p.title for p in plants if p not in known),
        *(value, before, value / before - 1, low, high),
    )


def _off(intervals: Sequence[tuple[float | None, float | None]]) -> float | None:
    """Half-width of the interval of the sum's logarithm."""
    if any(low is None or high is None for low, high in intervals):
        return None
    low, high = (sum(ends) for ends in zip(*intervals, strict=True))
    return log(high / low) / 2 if low > 0 else None


def who_text(found: Together, words: "Words", most: int = 3) -> str:
    """Which plants are added up: ``All 8 plants together``."""
    n = len(found.known)
    if not found.missing:
        return words.counted("One plant", "All {n} plants together", n)
    total = n + len(found.missing)
    if len(found.missing) > most:
        return words.text("{n} of {total} plants together", n=n, total=total)
    names = ", ".join(found.missing)
    return words.text("{n} of {total} plants together, without {names}", n=n, total=total, names=names)
