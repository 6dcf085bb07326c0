"""How the pages say days, ages, areas and reasons. Pure: values in, text out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from lapsekit.catalogue import Daily
from lapsekit.when import day_of, plant_age

if TYPE_CHECKING:
    from lapsekit.diary import Event
    from lapsekit.noticing import NoticedLoss, NoticedPause
    from lapsekit.settings import SunTime

#: Stands where there is nothing to say a number about.
NOTHING = "–"


def long_day(day: date) -> str:
    """``Saturday 3 May 2031``."""
    return f"{day:%A} {day.day} {day:%B %Y}"


def short_day(day: date) -> str:
    """``3 May``."""
    return f"{day.day} {day:%b}"


def age_text(day: date, sown: date) -> str:
    """Plant age as a phrase: ``day 34``; before sowing, how long before."""
    age = plant_age(day, sown)
    return f"day {age}" if age >= 0 else counted(-age, "day") + " before sowing"


def day_time(at: time | SunTime) -> str:
    """A time of day by the clock or by the sun: ``08:00``, ``1 h 30 min before sunset``."""
    if isinstance(at, time):
        return f"{at:%H:%M}"
    event = "solar noon" if at.event == "noon" else at.event
    hours, minutes = divmod(abs(at.minutes), 60)
    parts = (f"{hours} h" if hours else "", f"{minutes} min" if minutes else "")
    span = " ".join(filter(None, parts))
    return f"{span} {'after' if at.minutes > 0 else 'before'} {event}" if span else event


def local_time(moment: datetime) -> str:
    """``12:02 (UTC+2)`` of a time in its own zone; the zone's name would tell the place."""
    offset = moment.utcoffset() or timedelta()
    minutes = int(offset.total_seconds() // 60)
    hours, rest = divmod(abs(minutes), 60)
    sign = "+" if minutes >= 0 else "−"
    return f"{moment:%H:%M} (UTC{sign}{hours}{f':{rest:02}' if rest else ''})"


def counted(number: int, noun: str) -> str:
    """``1 frame``, ``3 frames``."""
    return f"{grouped(number)} {noun}{'' if number == 1 else 's'}"


def grouped(number: float) -> str:
    """A whole number with a thin no-break space between thousands."""
    return f"{number:,.0f}".replace(",", "\u202f")


def amount(value: float) -> str:
    """A number with no more digits than were measured: one decimal below ten."""
    return f"{value:.1f}" if abs(value) < 9.95 else grouped(value)


def reasons_text(reasons: Mapping[str, int]) -> str:
    """``2 blurred, 1 dark``; empty where nothing was left out."""
    ordered = sorted(reasons.items(), key=lambda item: (-item[1], item[0]))
    return ", ".join(f"{count} {reason.replace('-', ' ')}" for reason, count in ordered)


def listed(words: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def in_unit(row: Daily, unit: str) -> tuple[float | None, float | None, float | None]:
    """Low, value and high of a day in `unit`, ``cm²`` or ``%`` of the region."""
    if unit == "cm²":
        return row.area_low_cm2, row.area_cm2, row.area_high_cm2
    shares = (row.cover_low, row.cover, row.cover_high)
    return tuple(None if share is None else 100 * share for share in shares)


def value_text(row: Daily | None, unit: str) -> str:
    """``212 cm²``, or a dash on a day without a value."""
    value = None if row is None else in_unit(row, unit)[1]
    return NOTHING if value is None else f"{amount(value)}\u00a0{unit}"


def range_text(row: Daily | None, unit: str) -> str:
    """``205 to 220 cm²``, the interval at 95 % (of a group, its plants); a dash without."""
    low, _, high = (None,) * 3 if row is None else in_unit(row, unit)
    if low is None or high is None:
        return NOTHING
    return f"{amount(low)} to {amount(high)}\u00a0{unit}"


def standing_text(row: Daily | None, titles: Mapping[str, str]) -> str:
    """``meets Chives, at its outline``; empty where a plant has room."""
    if row is None:
        return ""
    met = listed([titles.get(name, name) for name in row.touches])
    parts = [f"meets {met}"] if met else []
    return ", ".join([*parts, "at its outline"] if row.crowded else parts)


def change_text(row: Daily | None, before: Daily | None, unit: str) -> str:
    """Change between two days, ``+64 cm² (+43 %)``; a dash where one of them has no value."""
    new = None if row is None else in_unit(row, unit)[1]
    old = None if before is None else in_unit(before, unit)[1]
    if new is None or old is None:
        return NOTHING
    points = "points" if unit == "%" else unit
    text = f"{_signed(new - old)}\u00a0{points}"
    return f"{text} ({_signed(100 * (new / old - 1), whole=True)}\u00a0%)" if old > 0 else text


def _signed(value: float, whole: bool = False) -> str:
    text = grouped(abs(value)) if whole else amount(abs(value))
    if not text.strip("0."):
        return text
    return ("+" if value > 0 else "−") + text


def doubling_text(days: float | None) -> str:
    """Doubling time to two digits, which is more than its interval bears out."""
    return "not shown to grow" if days is None else f"doubling in {float(f'{days:.2g}'):g} days"


def pause_text(found: NoticedPause) -> str:
    """A pause in words, without the plant's name and a full stop."""
    p = found.pause
    length = f"{p.length_days:.0f} days ({p.length_low:.0f} to {p.length_high:.0f})"
    others = _others(found.others_paused, found.others, "paused")
    return (
        f"growth paused for {length}, from {short_day(day_of(p.start))} to "
        f"{short_day(day_of(p.end))}{_behind(found.event)}; {others}"
    )


def loss_text(found: NoticedLoss) -> str:
    """A sudden loss in words, without the plant's name and a full stop."""
    loss = found.loss
    share = f"{loss.share:.0%} ({loss.share_low:.0%} to {loss.share_high:.0%})"
    back = "not back so far"
    if loss.recovered_days is not None:
        back = f"back after {loss.recovered_days} days"
        if loss.recovered_low is not None and loss.recovered_high is not None:
            back += f" ({loss.recovered_low} to {loss.recovered_high})"
    others = _others(found.others_lost, found.others, "lost")
    return (
        f"{share} of the canopy went between {short_day(day_of(loss.since))} and "
        f"{short_day(day_of(loss.day))}{_behind(found.event)}; {others}; {back}"
    )


def _others(alike: int, asked: int, did: str) -> str:
    if not asked:
        return "no other plant was measured then"
    if alike:
        return f"{alike} of {asked} other plants {did} then too"
    return f"none of {asked} other plants {did} then"


def _behind(event: Event | None) -> str:
    if event is None:
        return ""
    return f", after “{event.what}” on {short_day(event.day)}"
