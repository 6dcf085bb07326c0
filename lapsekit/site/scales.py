"""Round levels, dates to name, and room between labels: what an axis needs. Pure."""

from collections.abc import Sequence
from datetime import date
from math import ceil, floor, log2, log10

from lapsekit.when import plant_age

_AGE_STEPS = (1, 2, 5, 7, 14, 28, 56, 91, 182, 365)


def linear_levels(highest: float) -> list[float]:
    """Round levels from zero to above `highest`, four to seven of them."""
    if highest <= 0:
        return [0.0, 1.0]
    raw = highest / 5
    power = 10.0 ** floor(log10(raw))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= raw * 0.9999)
    return [step * number for number in range(ceil(highest / step - 1e-9) + 1)]


def doubling_levels(lowest: float, highest: float) -> list[float]:
    """Levels each twice the one before, around `lowest` and `highest` (both above zero)."""
    first = floor(log2(lowest) + 1e-9)
    last = max(first + 1, ceil(log2(highest) - 1e-9))
    return [2.0**power for power in range(first, last + 1)]


def date_ticks(first: date, last: date, sown: date, most: int) -> list[date]:
    """Days to name on the axis: round plant ages, at most `most` of them."""
    low, high = plant_age(first, sown), plant_age(last, sown)
    for step in _AGE_STEPS:
        ages = range(ceil(low / step) * step, high + 1, step)
        if len(ages) <= most:
            break
    found = [date.fromordinal(sown.toordinal() + age) for age in ages]
    return found or [first]


def spread(places: Sequence[float], gap: float, top: float, bottom: float) -> list[float]:
    """Move label places apart to at least `gap`, within `top` to `bottom` while there is room."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    moved: list[float] = []
    for i in order:
        lowest = moved[-1] + gap if moved else top
        moved.append(max(places[i], lowest))
    limit = bottom
    for k in reversed(range(len(moved))):
        moved[k] = min(moved[k], limit)
        limit = moved[k] - gap
    result = [0.0] * len(places)
    for i, y in zip(order, moved, strict=True):
        result[i] = y
    return result
