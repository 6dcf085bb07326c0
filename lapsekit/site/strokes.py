"""Days of a curve joined to strokes: which may be joined, and their paths in an SVG. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import floor
from statistics import median

from lapsekit.site.scales import simplified

TOLERANCE_PX = 0.3
"""How far a drawn path may stray from its days; less than half a line's width."""

Place = tuple[float, float]


@dataclass(frozen=True)
class Point:
    """One day of a curve; `value` is None on a day without a usable frame."""

    day: date
    value: float | None
    low: float | None = None
    high: float | None = None


def usual_step(days: Sequence[date]) -> int:
    """Longest step in days across which a curve is still joined.

    One and a half times the season's median step, so at daily frames only neighbours are joined.
    """
    steps = [(b - a).days for a, b in pairwise(sorted(days))]
    return max(1, floor(1.5 * median(steps))) if steps else 1


def stretches(
    points: Sequence[Point], longest_step: int, breaks: Sequence[date] = ()
) -> list[slice]:
    """Stretches of a curve that may be joined.

    Parameters
    ----------
    points : sequence of Point
        In order of day. None is joined across a point known to have no value.
    longest_step : int
        Longest step in days that is joined; see `usual_step`.
    breaks : sequence of date, optional
        Days that are not joined to the day before: the area had changed at once.
    """
    found, first, last = [], 0, None
    for place, point in enumerate(points):
        day = None if point.value is None else point.day
        near = day and last and (day - last).days <= longest_step and day not in breaks
        if not near:
            if last:
                found.append(slice(first, place))
            first = place
        last = day
    return [*found, slice(first, len(points))] if last else found


def runs(
    points: Sequence[Point], longest_step: int, breaks: Sequence[date] = ()
) -> list[Sequence[Point]]:
    """The points of each of a curve's `stretches`."""
    return [points[each] for each in stretches(points, longest_step, breaks)]


def path(places: Sequence[Place]) -> str:
    """A line through places from left to right, in no more corners than can be seen."""
    return _through(simplified(places, TOLERANCE_PX))


def band(upper: Sequence[Place], lower: Sequence[Place]) -> str:
    """Outline of intervals, whose ends run from left to right; a lone day gets a short bar."""
    if not upper:
        return ""
    if len(upper) == 1:
        ((x, high),), ((_, low),) = upper, lower
        return _through([(x - 1.5, high), (x + 1.5, high), (x + 1.5, low), (x - 1.5, low)]) + "Z"
    upper, lower = (simplified(side, TOLERANCE_PX) for side in (upper, lower))
    return _through([*upper, *reversed(lower)]) + "Z"


def specks(places: Sequence[Place]) -> str:
    """Days as strokes of no length; round ends make them dots."""
    return "".join(f"M{x:g} {y:g}h0" for x, y in places)


def _through(places: Sequence[Place]) -> str:
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in places)
