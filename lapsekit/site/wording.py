"""How the pages say days, ages, areas and reasons. Pure: values in, text out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING

from lapsekit.catalogue import Daily
from lapsekit.language.phrases import act_text
from lapsekit.when import day_of

if TYPE_CHECKING:
    from lapsekit.diary import Event
    from lapsekit.language.words import Words
    from lapsekit.noticing import NoticedLoss, NoticedPause
    from lapsekit.settings import SunTime

#: Stands where there is nothing to say a number about.
NOTHING = "–"
_NBSP = "\u00a0"


def day_time(words: Words, at: time | SunTime) -> str:
    """A time of day by the clock or by the sun: ``08:00``, ``1 h 30 min before sunset``."""
    if isinstance(at, time):
        return f"{at:%H:%M}"
    event = {
        "sunrise": words.text("sunrise"),
        "noon": words.text("solar noon"),
        "sunset": words.text("sunset"),
    }[at.event]
    if not at.minutes:
        return event
    hours, minutes = divmod(abs(at.minutes), 60)
    span = " ".join(filter(None, (f"{hours} h" if hours else "", f"{minutes} min" * bool(minutes))))
    if at.minutes > 0:
        return words.text("{span} after {event}", span=span, event=event)
    return words.text("{span} before {event}", span=span, event=event)


def local_time(moment: datetime) -> str:
    """``12:02 (UTC+2)`` of a time in its own zone; the zone's name would tell the place."""
    offset = moment.utcoffset() or timedelta()
    minutes = int(offset.total_seconds() // 60)
    hours, rest = divmod(abs(minutes), 60)
    sign = "+" if minutes >= 0 else "−"
    return f"{moment:%H:%M} (UTC{sign}{hours}{f':{rest:02}' if rest else ''})"


def amount(words: Words, value: float) -> str:
    """A number with no more digits than were measured: one decimal below ten."""
    return words.number(value, 1 if abs(value) < 9.95 else 0)


def in_unit(row: Daily, unit: str) -> tuple[float | None, float | None, float | None]:
    """Low, value and high of a day in `unit`, ``cm²`` or ``%`` of the region."""
    if unit == "cm²":
        return row.area_low_cm2, row.area_cm2, row.area_high_cm2
    shares = (row.cover_low, row.cover, row.cover_high)
    return tuple(None if share is None else 100 * share for share in shares)


def value_text(words: Words, row: Daily | None, unit: str) -> str:
    """``212 cm²``, or a dash on a day without a value."""
    value = None if row is None else in_unit(row, unit)[1]
    return NOTHING if value is None else f"{amount(words, value)}{_NBSP}{unit}"


def range_text(words: Words, row: Daily | None, unit: str) -> str:
    """``205 to 220 cm²``, the interval at 95 % (of a group, its plants); a dash without."""
    low, _, high = (None,) * 3 if row is None else in_unit(row, unit)
    if low is None or high is None:
        return NOTHING
    low, high = amount(words, low), amount(words, high)
    most = f"{high}{_NBSP}{unit}"
    return words.text("{low} to {high}", low=low, high=most)


def standing_text(words: Words, row: Daily | None, titles: Mapping[str, str]) -> str:
    """``meets Chives, at its outline``; empty where a plant has room."""
    if row is None:
        return ""
    met = words.listed([titles.get(name, name) for name in row.touches])
    parts = [words.text("meets {plants}", plants=met)] if met else []
    return ", ".join([*parts, words.text("at its outline")] if row.crowded else parts)


def change_text(words: Words, row: Daily | None, before: Daily | None, unit: str) -> str:
    """Change between two days, ``+64 cm² (+43 %)``; a dash where one of them has no value."""
    new = None if row is None else in_unit(row, unit)[1]
    old = None if before is None else in_unit(before, unit)[1]
    if new is None or old is None:
        return NOTHING
    named = words.text("points") if unit == "%" else unit
    text = f"{_signed(words, new - old)}{_NBSP}{named}"
    if old <= 0:
        return text
    return f"{text} ({_signed(words, 100 * (new / old - 1), whole=True)}{_NBSP}%)"


def _signed(words: Words, value: float, whole: bool = False) -> str:
    text = words.number(abs(value)) if whole else amount(words, abs(value))
    if not text.strip("0.,"):
        return text
    return ("+" if value > 0 else "−") + text


def doubling_text(words: Words, days: float | None) -> str:
    """In how many days a canopy doubles, or that it is not shown to grow."""
    if days is None:
        return words.text("not shown to grow")
    return words.text("doubling in {days} days", days=doubling_days(words, days))


def doubling_days(words: Words, days: float) -> str:
    """Doubling time to two digits, which is more than its interval bears out."""
    digits = 0 if days >= 9.95 else 1
    return words.number(float(f"{days:.2g}"), digits).removesuffix(".0").removesuffix(",0")


def pause_text(words: Words, found: NoticedPause) -> str:
    """A pause in words, without the plant's name and a full stop."""
    p = found.pause
    return words.text(
        "growth paused for {days} days ({low} to {high}), from {start} to {end}{behind}; {others}",
        days=words.number(p.length_days),
        low=words.number(p.length_low),
        high=words.number(p.length_high),
        start=words.short_day(day_of(p.start)),
        end=words.short_day(day_of(p.end)),
        behind=_behind(words, found.event),
        others=_others_paused(words, found.others_paused, found.others),
    )


def loss_text(words: Words, found: NoticedLoss) -> str:
    """A sudden loss in words, without the plant's name and a full stop."""
    loss = found.loss
    return words.text(
        "{share} ({low} to {high}) of the canopy went between {since} and {day}{behind}; "
        "{others}; {back}",
        share=_percent(words, loss.share),
        low=_percent(words, loss.share_low),
        high=_percent(words, loss.share_high),
        since=words.short_day(day_of(loss.since)),
        day=words.short_day(day_of(loss.day)),
        behind=_behind(words, found.event),
        others=_others_lost(words, found.others_lost, found.others),
        back=_back(words, loss.recovered_days, loss.recovered_low, loss.recovered_high),
    )


def _percent(words: Words, share: float) -> str:
    return f"{words.number(100 * share)}{_NBSP}%"


def _back(words: Words, days: int | None, low: int | None, high: int | None) -> str:
    if days is None:
        return words.text("not back so far")
    text = words.counted("back after {n} day", "back after {n} days", days)
    if low is None or high is None:
        return text
    within = words.text("{low} to {high}", low=low, high=high)
    return f"{text} ({within})"


def _others_paused(words: Words, alike: int, asked: int) -> str:
    if not asked:
        return words.text("no other plant was measured then")
    if not alike:
        return words.counted(
            "the other plant did not pause then", "none of {n} other plants paused then", asked
        )
    return words.counted(
        "the other plant paused then too",
        "{alike} of {n} other plants paused then too",
        asked,
        alike=alike,
    )


def _others_lost(words: Words, alike: int, asked: int) -> str:
    if not asked:
        return words.text("no other plant was measured then")
    if not alike:
        return words.counted(
            "the other plant lost nothing then", "none of {n} other plants lost then", asked
        )
    return words.counted(
        "the other plant lost some then too",
        "{alike} of {n} other plants lost then too",
        asked,
        alike=alike,
    )


def _behind(words: Words, event: Event | None) -> str:
    if event is None:
        return ""
    what, day = act_text(words, event.what), words.short_day(event.day)
    return words.text(", after “{what}” on {day}", what=what, day=day)
