"""What is said of a picture to whoever cannot see it, made of what was measured. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from lapsekit.language.words import Words

#: At most so many plants are named.
MOST = 4
#: Intervals that have this much of the shorter one in common show no change.
_ALIKE = 0.5


@dataclass(frozen=True)
class Value:
    """A plant's canopy on one day with its interval at 95 %, all in the plant's unit."""

    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Seen:
    """One plant in a picture.

    Attributes
    ----------
    title : str
        What the page calls it.
    unit : str
        ``cm²``, or ``%`` of its region where there is no scale.
    now, before : Value or None
        On the picture's day and a week earlier; None where it was not measured.
    """

    title: str
    unit: str
    now: Value | None = None
    before: Value | None = None


def alternative(words: Words, age_days: int, plants: Sequence[Seen]) -> str:
    """A picture in a few sentences.

    Parameters
    ----------
    words : Words
        The reader's language.
    age_days : int
        Days since sowing; negative before it.
    plants : sequence of Plant
        All that have an outline in the picture, measured or not.

    Returns
    -------
    str
        The day, how many plants there are, and at most `MOST` of those that were measured: first
        those that changed most within a week, in their unit, then the largest. A change is told
        only where both days were measured with an interval.
    """
    measured = [plant for plant in plants if plant.now is not None]
    named = sorted(measured, key=_weight, reverse=True)[:MOST]
    told = [_start(words, age_days, len(plants)), *(_told(words, plant) for plant in named)]
    rest = len(measured) - len(named)
    if rest:
        told.append(
            words.counted("{n} more plant was measured.", "{n} more plants were measured.", rest)
        )
    return " ".join(told)


def _start(words: Words, age_days: int, count: int) -> str:
    if age_days < 0:
        age = words.counted("{n} day before sowing", "{n} days before sowing", -age_days)
    else:
        age = words.text("Day {age}", age=words.number(age_days))
    if not count:
        return words.text("{age}: the bench seen from above.", age=age)
    if age_days < 0:
        return words.counted(
            "{age}: {n} place for plants seen from above.",
            "{age}: {n} places for plants seen from above.",
            count,
            age=age,
        )
    return words.counted(
        "{age}: {n} plant seen from above.", "{age}: {n} plants seen from above.", count, age=age
    )


def _told(words: Words, plant: Seen) -> str:
    """A sentence on one plant, which was measured."""
    value = _amount(words, plant.now.value, plant.unit)
    change = change_of(plant)
    if change is None:
        return words.text("{plant} covers {value}.", plant=plant.title, value=value)
    if alike(plant):
        return words.text(
            "{plant} covers {value}, about as much as a week ago.", plant=plant.title, value=value
        )
    share = words.number(100 * abs(change))
    message = (
        words.text("{plant} covers {value}, {share} % more than a week ago.")
        if change > 0
        else words.text("{plant} covers {value}, {share} % less than a week ago.")
    )
    return message.format(plant=plant.title, value=value, share=share)


def change_of(plant: Seen) -> float | None:
    """Change within a week as a share of what there was; None where it is not known."""
    both = (plant.now, plant.before)
    if any(each is None or each.low is None or each.high is None for each in both):
        return None
    return plant.now.value / plant.before.value - 1 if plant.before.value > 0 else None


def alike(plant: Seen) -> bool:
    """Whether the intervals of both days overlap so widely that no change is seen."""
    now, before = plant.now, plant.before
    common = min(now.high, before.high) - max(now.low, before.low)
    shorter = min(now.high - now.low, before.high - before.low)
    rounds_to_none = abs(change_of(plant)) < 0.005
    return rounds_to_none or (common >= 0 and common >= _ALIKE * shorter)


def _weight(plant: Seen) -> tuple[float, float]:
    """What puts a plant before others: its change as it is seen in the picture, then its size."""
    if change_of(plant) is None or alike(plant):
        return 0.0, plant.now.value
    return abs(plant.now.value - plant.before.value), plant.now.value


def _amount(words: Words, value: float, unit: str) -> str:
    text = words.number(value, digits=1 if abs(value) < 9.95 else 0)
    if unit == "%":
        return words.text("{value} % of its place", value=text)
    return f"{text}\u00a0{unit}"
