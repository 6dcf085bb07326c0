"""Round levels, dates to name, room between labels, fewer corners: what a chart needs. Pure."""

from collections.abc import Sequence
from datetime import date
from math import ceil, floor, inf, log2, log10

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


def decimals(level: float) -> int:
    """Decimals that a level has, at most four."""
    return next((n for n in range(4) if abs(round(level, n) - level) <= 1e-6 * abs(level)), 4)


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


def simplified(
    places: Sequence[tuple[float, float]], tolerance: float
) -> list[tuple[float, float]]:
    """Corners of a path that strays from `places` by no more than `tolerance`, up or down.

    The ends stay. In one pass from left to right: from each corner on, the slopes are known that
    keep to all places so far, and the last place that lies on one of them is the next corner (the
    sleeve of Zhao and Saalfeld, 1997, Proceedings of Auto-Carto 13: 214-223).

    Parameters
    ----------
    places : sequence of (float, float)
        From left to right.
    tolerance : float
    """
    if len(places) < 3:
        return list(places)
    kept = [places[0]]
    before, least, most = places[0], -inf, inf
    from_x, from_y = before
    for place in places[1:]:
        along, up = place[0] - from_x, place[1] - from_y
        if not (along > 0 and least * along <= up <= most * along):
            kept.append(before)
            from_x, from_y = before
            along, up = place[0] - from_x, place[1] - from_y
            least, most = -inf, inf
        if along > 0:
            low, high = (up - tolerance) / along, (up + tolerance) / along
            least, most = low if low > least else least, high if high < most else most
        before = place
    return [*kept, before]
