"""Times as loggers write them: many forms, often without an offset, twice the same in autumn."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

from lapsekit.when import EARLIEST_YEAR

_HOUR = timedelta(hours=1)
_CLOCKS = ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%I:%M:%S%p", "%I:%M%p")
_FORMS = tuple(f"{day} {clock}" for day in ("%Y/%m/%d", "%Y-%m-%d") for clock in _CLOCKS)
_CELL = re.compile(
    r"(?P<day>\d{1,2}(?P<mark>[/.-])\d{1,2}(?P=mark)(?P<year>\d{4}|\d{2}))"
    r"(?P<comma>,?)(?:\s+(?P<clock>\d{1,2}:\d{2}(?P<seconds>:\d{2})?(?P<half>\s?[AP]M)?))?",
    re.IGNORECASE,
)
_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2})?(\s?[AP]M)?", re.IGNORECASE)
_DAY = re.compile(r"\d{1,4}[/.-]\d{1,2}[/.-]\d{1,4}")
_ORDERS = {4: ("%d{0}%m{0}%Y", "%m{0}%d{0}%Y"), 2: ("%d{0}%m{0}%y", "%m{0}%d{0}%y", "%y{0}%m{0}%d")}
_HOW = "like %d/%m/%Y %H:%M or %m/%d/%Y %I:%M %p"


def kind_of(text: str) -> str:
    """What a cell holds by its looks: ``"moment"``, ``"day"``, ``"clock"``, or ``""``."""
    if _CLOCK.fullmatch(text):
        return "clock"
    day = _DAY.match(text)
    if day is None:
        return ""
    return "moment" if text[day.end() :] else "day"


@dataclass(frozen=True)
class Writing:
    """How a column of times is written, as far as all of it together tells.

    Attributes
    ----------
    forms : tuple of str
        strptime fields, where that is settled; several where seconds are left out at times.
    why_not : str
        Why no cell of it can be read; "" where some can.
    """

    forms: tuple[str, ...] = ()
    why_not: str = ""


def writing_of(texts: Sequence[str]) -> Writing:
    """How times are written whose first two numbers could be day and month, or month and day.

    Between points the day stands first, unless a number above 12 stands second.
    """
    told = [text for text in texts if text]
    found = [match for match in map(_CELL.fullmatch, told) if match]
    kinds = {kind_of(text) for text in told}
    if kinds == {"day"} and len(set(told)) < len(told):
        return Writing((), f'are days without a time of day, like "{told[0]}"')
    orders = _orders({(match["day"], match["mark"], len(match["year"])) for match in found})
    clocks = dict.fromkeys(map(_clock_form, found))
    ways = [tuple(map("".join, product((order,), clocks))) for order in orders]
    if found and len(ways) == 1:
        return Writing(ways[0])
    if not told or any(_plainly(text) for text in told):
        return Writing()
    if ways:
        asked = " or ".join(f'--time-form "{forms[0]}"' for forms in ways)
        return Writing((), f'could mean two days, like "{found[0][0]}"; say which with {asked}')
    if found:
        return Writing((), f'are not all written in one way, like "{found[0][0]}"')
    if kinds == {"clock"}:
        return Writing((), f'are times of day without their day, like "{told[0]}"')
    return Writing((), f'cannot be understood, like "{told[0]}"; say with --time-form, {_HOW}')


def _orders(days: Iterable[tuple[str, str, int]]) -> list[str]:
    """Orders of day, month and year that fit all of these days."""
    left: list[str] | None = None
    for day, mark, digits in days:
        fit = [form.format(mark) for form in _ORDERS[digits] if _fits(day, form.format(mark))]
        if fit:
            left = fit if left is None else [form for form in left if form in fit]
    return left[:1] if left and left[0].startswith("%d.") else left or []


def _fits(text: str, form: str) -> bool:
    return _read(text, (form,)) is not None


def _clock_form(match: re.Match[str]) -> str:
    if match["clock"] is None:
        return ""
    seconds, half = ":%S" if match["seconds"] else "", match["half"]
    blank = " " if half and half[0].isspace() else ""
    hours = f"%I:%M{seconds}{blank}%p" if half else f"%H:%M{seconds}"
    return f"{match['comma']} {hours}"


def _plainly(text: str) -> bool:
    """Whether a time can mean one moment only, whatever stands in other rows."""
    return _read(text, _FORMS) is not None or _iso(text) is not None


def _read(text: str, forms: Iterable[str]) -> datetime | None:
    for form in forms:
        try:
            return datetime.strptime(text, form)
        except ValueError:
            continue
    return None


def _iso(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


class LoggerClock:
    """Turns a logger's times into instants, row by row, in order of time.

    Parameters
    ----------
    zone : zoneinfo.ZoneInfo
        Of times without an offset.
    form : str, optional
        strptime fields; without it ISO 8601 and year/month/day are understood.
    settled : sequence of str
        Further strptime fields, that the column settles; see `writing_of`.
    """

    def __init__(self, zone: ZoneInfo, form: str | None, settled: Sequence[str] = ()):
        self._zone, self._given, self.settled = zone, form, tuple(settled)
        self._forms = [form] if form else [*settled, *_FORMS]
        self._last: datetime | None = None

    def instant(self, text: str) -> tuple[datetime, bool]:
        """UTC instant of a cell, and whether it had an offset of its own.

        Raises
        ------
        ValueError
            Says what is wrong with it.
        """
        moment = self.parsed(text)
        if moment.year < EARLIEST_YEAR:
            raise ValueError(f"is before {EARLIEST_YEAR}: the logger's clock was never set")
        if moment.tzinfo is not None:
            return moment.astimezone(UTC), True
        local = moment.replace(tzinfo=self._zone)
        # A clock put back repeats an hour: rows that do not go on from the last are its second.
        twice = local.utcoffset() != local.replace(fold=1).utcoffset()
        found = local.astimezone(UTC)
        if found.astimezone(self._zone).replace(tzinfo=None) != moment:
            raise ValueError(
                "is an hour that summer time skips; if the logger keeps winter time all year, name "
                "a zone without summer time, like --zone Etc/GMT-1"
            )
        if twice and self._last is not None and found <= self._last < found + _HOUR:
            found = local.replace(fold=1).astimezone(UTC)
        self._last = found
        return found, False

    def reads(self, text: str) -> bool:
        """Whether a time is written as it should be."""
        try:
            return self.parsed(text) is not None
        except ValueError:
            return False

    def parsed(self, text: str) -> datetime:
        """The time as it is written; raises as `instant` does."""
        if not text:
            raise ValueError("is empty")
        found = _read(text, self._forms)
        if found is None and self._given is None:
            found = _iso(text)
        if found is not None:
            return found
        if self._given:
            raise ValueError(f"does not fit --time-form {self._given}")
        raise ValueError(
            f"is no time that can mean one moment only; say how it is written with --time-form, "
            f"{_HOW}"
        )
