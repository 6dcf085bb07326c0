"""A day as people write it: read, or what is wrong with it and which may be meant. Pure."""

import difflib
import re
from calendar import monthrange
from datetime import date, timedelta

_WRITTEN = re.compile(r"\d{4}-\d\d-\d\d")
_THREE = re.compile(r"\s*(\d{1,4})\s*[-./ ]\s*(\d{1,2})\s*[-./ ]\s*(\d{1,4})\s*\.?")
_TOGETHER = re.compile(r"(\d{4})(\d\d)(\d\d)")


def read_day(text: str) -> date | None:
    """The day that is written YYYY-MM-DD; None where it is written otherwise, or there is none."""
    try:
        return date.fromisoformat(text) if _WRITTEN.fullmatch(text) else None
    except ValueError:
        return None


def not_a_day(text: str, first: date, last: date) -> str:
    """What is wrong with a text that `read_day` makes nothing of, and what to write.

    Parameters
    ----------
    text : str
    first, last : datetime.date
        Between which the day is likely to lie; another is no guess.

    Returns
    -------
    str
        Goes on after the text: ``is no day: the month is 13; write YYYY-MM-DD, such as
        2026-05-13``.
    """
    parts = _parts(text)
    if parts is None:
        return f"is no day; write YYYY-MM-DD, such as {last}"
    year, month, day = parts
    if not (year >= 1 and 1 <= month <= 12):
        turned = _day_or_none(year, day, month)
        meant = turned if turned and first <= turned <= last else last
        which = f"month is {month}" if year else "year is 0"
        return f"is no day: the {which}; write YYYY-MM-DD, such as {meant}"
    if not day:
        return f"is no day: the day is 0; write YYYY-MM-DD, such as {last}"
    in_month = monthrange(year, month)[1]
    if day > in_month:
        end = date(year, month, in_month)
        near = f"; did you mean {end}?" if first <= end <= last else ""
        return f"is no day: month {month} of {year} has {in_month} days{near}"
    other = _day_or_none(year, day, month) if _is_open(text) else None
    or_else = f", or {other} if the month stands first" if other and day != month else ""
    return f"is not written YYYY-MM-DD; write {date(year, month, day)}{or_else}"


def nearest_day(text: str, first: date, last: date) -> date | None:
    """The day from `first` to `last` that is written most like a day; of equals the latest."""
    days = [last - timedelta(days=n) for n in range((last - first).days + 1)]
    near = difflib.get_close_matches(text, map(str, days), n=1, cutoff=0.6)
    return date.fromisoformat(near[0]) if near else None


def _parts(text: str) -> tuple[int, int, int] | None:
    """Year, month and day, in this order or the other way round; the year has four digits."""
    found = _THREE.fullmatch(text) or _TOGETHER.fullmatch(text)
    if found is None:
        return None
    one, month, other = found.groups()
    if len(one) == 4 and len(other) <= 2:
        return int(one), int(month), int(other)
    if len(other) == 4 and len(one) <= 2:
        return int(other), int(month), int(one)
    return None


def _is_open(text: str) -> bool:
    """Whether a text may begin with the day as well as with the month."""
    return "/" in text and not re.match(r"\s*\d{4}", text)


def _day_or_none(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
