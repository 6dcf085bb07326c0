"""Axes of the curve that draws itself: they ease as it grows, and know no day to come. Pure."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10

import numpy as np

from lapsekit.film.face.told import Point

#: The pen is half a day behind the picture: it reaches a day's noon when the day is over, and on
#: its way there needs only that day's value and the one before.
PEN_LAG_DAYS = 0.5
#: Two values further apart than this are not joined: between them there is a gap.
MOST_APART_DAYS = 1.5
_LEAST_SPAN_DAYS = 7.0
_ROOM_RIGHT, _ROOM_ABOVE = 0.94, 0.88
_STEPS = (1.0, 2.0, 5.0)
#: Ticks stand at least this share of the axis apart, and as much below its end.
_APART, _BELOW = 0.34, 0.14


@dataclass(frozen=True)
class Drawn:
    """What of a curve the pen has drawn: stretches without a gap, the last value, its day."""

    stretches: tuple[tuple[Point, ...], ...]
    value: float | None


def drawn(points: Sequence[Point], from_days: float, now_days: float) -> Drawn:
    """The curve as far as it is known while the film shows `now_days`.

    Parameters
    ----------
    points : sequence of (float, float)
        Day and value, in order of day.
    from_days, now_days : float
        The axis's beginning; the day that is shown.

    Returns
    -------
    Drawn
        Rests on nothing after the day of `now_days`. `value` is the last one that the pen has
        come to, None where the day before the pen has none.
    """
    pen, today = now_days - PEN_LAG_DAYS, floor(now_days)
    known = [point for point in points if from_days <= point[0] and floor(point[0]) <= today]
    passed = known[: bisect_right([at for at, _ in known], pen)]
    stretches: list[list[Point]] = []
    for point in passed:
        if not stretches or point[0] - stretches[-1][-1][0] > MOST_APART_DAYS:
            stretches.append([])
        stretches[-1].append(point)
    if passed and len(known) > len(passed):
        following = known[len(passed)]
        if following[0] - passed[-1][0] <= MOST_APART_DAYS:
            stretches[-1].append(_between(passed[-1], following, pen))
    fresh = passed and pen - passed[-1][0] <= MOST_APART_DAYS
    return Drawn(tuple(map(tuple, stretches)), passed[-1][1] if fresh else None)


def _between(one: Point, other: Point, at: float) -> Point:
    share = (at - one[0]) / (other[0] - one[0])
    return at, one[1] + share * (other[1] - one[1])


@dataclass(frozen=True)
class Axes:
    """From where to where the inset reaches: days, and values from 0 to `top`."""

    from_days: float
    to_days: float
    top: float

    def places(self, points: Sequence[Point], box: tuple[int, int, int, int]) -> np.ndarray:
        """Points in px of `box` (left, top, right, bottom), shape (n, 2)."""
        left, above, right, below = box
        days, values = np.asarray(points, float).T
        x = left + (days - self.from_days) / (self.to_days - self.from_days) * (right - left)
        return np.stack([x, below - values / self.top * (below - above)], axis=1)

    def ticks(self) -> list[float]:
        """One or two round values, far enough apart for their letters."""
        ten = 10.0 ** (floor(log10(self.top)) - 1)
        steps = (ten * factor * step for factor in (1, 10, 100) for step in _STEPS)
        step = next(step for step in steps if step >= _APART * self.top)
        values = [round(number * step, 9) for number in (1, 2)]
        return [value for value in values if value <= (1 - _BELOW) * self.top] or [step]


def axes(curves: Sequence[Drawn], from_days: float, now_days: float, least: float) -> Axes:
    """Axes that hold what is drawn, with some room before the pen; they grow without a jump."""
    span = max(_LEAST_SPAN_DAYS, (now_days - PEN_LAG_DAYS - from_days) / _ROOM_RIGHT)
    values = [value for curve in curves for each in curve.stretches for _, value in each]
    top = max([least, 1e-6, *(value / _ROOM_ABOVE for value in values)])
    return Axes(from_days, from_days + span, top)
