"""Days of a curve joined to strokes: which may be joined, and their paths in an SVG. Pure."""

from collections.abc import Callable, Sequence
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


def runs(
    points: Sequence[Point], longest_step: int, breaks: Sequence[date] = ()
) -> list[list[Point]]:
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
    found: list[list[Point]] = []
    open_run = False
    for point in points:
        if point.value is None:
            open_run = False
            continue
        near = open_run and (point.day - found[-1][-1].day).days <= longest_step
        if near and point.day not in breaks:
            found[-1].append(point)
        else:
            found.append([point])
        open_run = True
    return found


def path(places: Sequence[Place]) -> str:
    """A line through places, in no more corners than can be seen."""
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in simplified(places, TOLERANCE_PX))


def band(
    run: Sequence[Point], x_of: Callable[[date], float], y_of: Callable[[float], float]
) -> str:
    """Outline of the days' intervals; a lone day gets a short bar."""
    whole = [p for p in run if p.low is not None and p.high is not None]
    if not whole:
        return ""
    if len(whole) == 1:
        x, low, high = x_of(whole[0].day), y_of(whole[0].low), y_of(whole[0].high)
        return path([(x - 1.5, high), (x + 1.5, high), (x + 1.5, low), (x - 1.5, low)]) + "Z"
    upper = simplified([(x_of(p.day), y_of(p.high)) for p in whole], TOLERANCE_PX)
    lower = simplified([(x_of(p.day), y_of(p.low)) for p in reversed(whole)], TOLERANCE_PX)
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in upper + lower) + "Z"


def specks(places: Sequence[Place]) -> str:
    """Days as strokes of no length; round ends make them dots."""
    return "".join(f"M{x:g} {y:g}h0" for x, y in places)
