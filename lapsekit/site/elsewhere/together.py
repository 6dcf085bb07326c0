"""How much the whole bench has grown in a week. Pure.

The plants that have a value on both days are added up. How far the sum can be off is taken at its
widest, as if all plants of a day were off the same way; the two days are taken as independent. What
is only in doubt between plants that meet is given to one or the other, and cancels in the sum.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, hypot
from typing import TYPE_CHECKING

from lapsekit.site.elsewhere.told import PlantTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words


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
    plants = [plant for plant in plants if plant.is_plant]
    known = [p for p in plants if p.unit == "cm²" and p.change is not None]
    before = sum(p.before for p in known)
    if before <= 0:
        return None
    value = sum(p.value for p in known)
    low = high = None
    if value > 0:
        low, high = _ends(value / before, known)
    return Together(
        tuple(p.title for p in known),
        tuple(p.title for p in plants if p not in known),
        *(value, before, value / before - 1, low, high),
    )


def _ends(ratio: float, known: Sequence[PlantTold]) -> tuple[float | None, float | None]:
    """Interval of the change: the two days' doubts in quadrature, on the scale of growth."""
    off = [
        _off([p.doubt for p in known], sum(p.value for p in known)),
        _off([p.doubt_before for p in known], sum(p.before for p in known)),
    ]
    if None in off:
        return None, None
    return tuple(ratio * exp(side * hypot(*off)) - 1 for side in (-1, 1))


def _off(doubts: Sequence[float | None], whole: float) -> float | None:
    """Half-width of the interval of a sum, as a share of it."""
    return None if None in doubts else sum(doubts) / whole


def who_text(found: Together, words: "Words", most: int = 3) -> str:
    """Which plants are added up: ``All 8 plants together``."""
    n = len(found.known)
    if not found.missing:
        return words.counted("One plant", "All {n} plants together", n)
    total = n + len(found.missing)
    if len(found.missing) > most:
        return words.text("{n} of {total} plants together", n=n, total=total)
    names = ", ".join(found.missing)
    return words.text(
        "{n} of {total} plants together, without {names}", n=n, total=total, names=names
    )
