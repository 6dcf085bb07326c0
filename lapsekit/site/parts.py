"""Parts of pages that rest on some days of the season alone, and are rendered once.

A long page grows by a row a day. Its rows stand in parts by month, and a new day renders one.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from itertools import groupby
from typing import Any

from lapsekit.site.almanac import Almanac
from lapsekit.site.digests import mark_of


@dataclass(frozen=True)
class Part:
    """A part of a page; a template puts it in place as ``part(…)``.

    Attributes
    ----------
    template, mark : str
        The mark changes when anything does that it shows, beside what is the same on every day.
    tell : callable
        Gives what the template is told; called only when the part is rendered.
    """

    template: str
    mark: str
    tell: Callable[[], dict[str, Any]] = field(repr=False, compare=False)


def part_of(
    almanac: Almanac,
    template: str,
    days: Iterable[date],
    tell: Callable[..., dict[str, Any]],
    *told: object,
) -> Part:
    """A part that rests on some days and plain values, and by its making on nothing else.

    Parameters
    ----------
    almanac : Almanac
    template : str
    days : iterable of date
        The days, in order.
    tell : callable
        Called with an almanac that knows of these days alone, the days, and `told`.
    *told : object
        Plain values whose `repr` says all that they are.
    """
    days = tuple(days)
    mark = mark_of(template, almanac.digests.days(days), told)
    return Part(template, mark, partial(_tell, almanac, days, tell, told))


def by_month(
    almanac: Almanac,
    template: str,
    days: Iterable[date],
    tell: Callable[..., dict[str, Any]],
    *told: object,
) -> list[tuple[date, Part]]:
    """The first day of each month among `days`, which are in order, with its part."""
    return [
        (month, part_of(almanac, template, of_month, tell, *told))
        for month, of_month in groupby(days, key=month_of)
    ]


def month_of(day: date) -> date:
    """The first day of its month."""
    return day.replace(day=1)


def _tell(
    almanac: Almanac, days: tuple[date, ...], tell: Callable[..., dict[str, Any]], told: tuple
) -> dict[str, Any]:
    return tell(almanac.only(days), days, *told)
