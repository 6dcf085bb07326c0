"""Days of a curve joined to strokes: which may be joined, and their paths in an SVG. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, lru_cache
from math import floor

import numpy as np

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


@dataclass(frozen=True, eq=False)
class Strand:
    """The days of a curve in columns, in order of day.

    Attributes
    ----------
    days : ndarray of int, shape (n,)
        As `datetime.date.toordinal` counts.
    values, lows, highs : ndarray of float, shape (n,)
        NaN where there is none.
    """

    days: np.ndarray
    values: np.ndarray
    lows: np.ndarray
    highs: np.ndarray

    @classmethod
    def of(cls, points: Iterable[Point]) -> "Strand":
        """The same days as points, which are in order of day."""
        rows = [(p.day.toordinal(), p.value, p.low, p.high) for p in points]
        days, *columns = np.array(rows, float).reshape(-1, 4).T
        return cls(days.astype(int), *columns)

    @cached_property
    def above_zero(self) -> "Strand":
        """The same without values that a scale of doublings cannot show."""
        return replace(self, values=np.where(self.values > 0, self.values, np.nan))

    @cached_property
    def known(self) -> np.ndarray:
        """Which days have a value: places in the columns, rising."""
        return np.flatnonzero(~np.isnan(self.values))


def usual_step(days: Iterable[int]) -> int:
    """Longest step in days across which a curve is still joined.

    One and a half times the season's median step, so at daily frames only neighbours are joined.

    Parameters
    ----------
    days : iterable of int
        The season's measured days, as `datetime.date.toordinal` counts.
    """
    steps = np.diff(np.unique(np.fromiter(days, int)))
    return max(1, floor(1.5 * float(np.median(steps)))) if steps.size else 1


def stretches(strand: Strand, longest_step: int, breaks: Sequence[date] = ()) -> list[slice]:
    """Stretches of a curve that may be joined.

    Parameters
    ----------
    strand : Strand
        None is joined across a day known to have no value.
    longest_step : int
        Longest step in days that is joined; see `usual_step`.
    breaks : sequence of date, optional
        Days that are not joined to the day before: the area had changed at once.
    """
    known = strand.known
    if not known.size:
        return []
    days = strand.days[known]
    apart = (np.diff(known) > 1) | (np.diff(days) > longest_step)
    apart |= np.isin(days[1:], [day.toordinal() for day in breaks])
    first, last = known[np.r_[True, apart]], known[np.r_[apart, True]]
    return [slice(a, b + 1) for a, b in zip(first.tolist(), last.tolist(), strict=True)]


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
    if not places:
        return ""
    start, *steps = _steps(places)
    return f"M{start}h0" + "".join(f"m{step}h0" for step in steps)


def _through(places: Sequence[Place]) -> str:
    start, *steps = _steps(places)
    return f"M{start}l" + " ".join(steps).replace(" -", "-") if steps else f"M{start}"


def _steps(places: Sequence[Place]) -> Iterator[str]:
    """The first place, then each as seen from the one before.

    Steps are short and much alike, which makes a page half as long as places do. They are counted
    in whole tenths of a px, so that none strays however many there are.
    """
    x = y = 0
    for to_x, to_y in ((round(10 * x), round(10 * y)) for x, y in places):
        yield f"{_px(to_x - x)} {_px(to_y - y)}".replace(" -", "-")
        x, y = to_x, to_y


@lru_cache(maxsize=20_000)
def _px(tenths: int) -> str:
    """``12.5``, ``-.3``: a number in as few letters as SVG allows."""
    return f"{tenths / 10:g}".replace("0.", ".", 1) if abs(tenths) < 10 else f"{tenths / 10:g}"
