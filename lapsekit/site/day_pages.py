"""What the pages of days, the list of all days and the front page are told."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

from lapsekit.catalogue import Frame
from lapsekit.language.phrases import age_text
from lapsekit.site import views
from lapsekit.site.almanac import Almanac
from lapsekit.site.contents import FRONT, WEEK, Page, Whole
from lapsekit.site.doors import doors
from lapsekit.site.followers_pages import pairs_on
from lapsekit.site.pairs import Pair
from lapsekit.site.parts import by_month
from lapsekit.site.wording import local_time

_ALWAYS_NEAR = timedelta(minutes=15)


@dataclass(frozen=True)
class ListedDay:
    """A day as the list of all days tells it."""

    day: date
    age: str
    has_page: bool
    told: tuple[str, ...]
    events: tuple[str, ...]


def day_pages(whole: Whole) -> Iterator[Page]:
    """A page for each day with a picture."""
    days, has_page = whole.almanac.picture_days, whole.almanac.page_days
    for number, day in enumerate(days):
        near = {
            "previous": days[number - 1] if number else None,
            "next": days[number + 1] if number + 1 < len(days) else None,
            "week_before": day - WEEK if day - WEEK in has_page else None,
            "week_after": day + WEEK if day + WEEK in has_page else None,
        }
        made_of = (day, whole.mark_around(day), near, pairs_on(whole, day))
        tell = partial(_day_facts, whole)
        yield Page(f"day/{day}/index.html", "day.html", made_of, tell, day)


def _day_facts(
    whole: Whole, made_of: tuple[date, str, dict[str, date | None], tuple[Pair, ...]]
) -> dict[str, Any]:
    day, _, near, pairs = made_of
    known = whole.around(day)
    told = _of_day(known, day, dict.fromkeys(known.almanac.cameras, day))
    return {**told, **near, "pairs": pairs}


def front_page(whole: Whole) -> Page:
    """The latest pictures, and the way to all else."""
    almanac = whole.almanac
    last = {camera: max(shown) for camera, shown in almanac.pictures.items() if shown}
    day = last.get(almanac.main_camera)
    told = _of_day(whole, day, last) if day else {"day": None, "reasons": _reasons(whole)}
    facts = {
        **told,
        "previous": max((d for d in almanac.picture_days if day and d < day), default=None),
        "newest": _newest(whole),
        "doors": list(doors(whole)),
        "frame_days": len(almanac.days),
    }
    return Page(FRONT, "index.html", facts, day=day)


def _newest(whole: Whole) -> str | None:
    """When the latest picture was taken, by the season's clock, so that a page knows its age."""
    shown = whole.almanac.pictures.values()
    moments = [days[max(days)].taken_at for days in shown if days]
    if not moments:
        return None
    return max(moments).astimezone(whole.season.zone).isoformat(timespec="minutes")


def all_days(whole: Whole) -> Page:
    """Every day of the season, by month."""
    months = by_month(whole.almanac, "days_of_month.html", whole.almanac.days, _listed)
    return Page("day/index.html", "days.html", {"months": months})


def _listed(almanac: Almanac, days: Sequence[date]) -> dict[str, list[ListedDay]]:
    return {
        "days": [
            ListedDay(
                day,
                age_text(almanac.words, day, almanac.sown),
                day in almanac.page_days,
                tuple(_told(almanac, camera, day) for camera in almanac.cameras),
                tuple(almanac.event_text(event) for event in almanac.events_on(day)),
            )
            for day in days
        ]
    }


def _told(almanac: Almanac, camera: str, day: date) -> str:
    """What became of one camera's frames on one day."""
    words, reason = almanac.words, almanac.gap_reason(camera, day)
    if day not in almanac.pictures[camera]:
        text = words.text("no picture ({reason})", reason=reason)
    else:
        counts = almanac.frames[camera][day]
        text = words.counted("{n} frame used", "{n} frames used", counts.usable)
        if counts.left_out:
            text = words.text("{used}, left out {reason}", used=text, reason=reason)
    if len(almanac.cameras) == 1:
        return text
    return words.text("{camera}: {told}", camera=camera, told=text)


def _reasons(whole: Whole) -> list[str]:
    """Why no picture can be shown of the last day with frames, by camera."""
    days = whole.almanac.days
    return (
        [_told(whole.almanac, camera, days[-1]) for camera in whole.almanac.cameras] if days else []
    )


def _of_day(whole: Whole, day: date, shown_day: dict[str, date]) -> dict[str, Any]:
    almanac = whole.almanac
    return {
        "day": day,
        "pictures": [_picture(whole, camera, on) for camera, on in shown_day.items()],
        "rows": views.day_rows(almanac, day),
        "events": [(almanac.event_text(e), e.note) for e in almanac.events_on(day)],
        "has_week_before": day - WEEK >= almanac.days[0],
        "grouped": len(almanac.rows) < len(almanac.regions),
    }


def _picture(whole: Whole, camera: str, day: date) -> dict[str, Any]:
    almanac = whole.almanac
    shown = whole.gallery.shown.get(camera, {}).get(day)
    told = {"camera": camera, "day": day, "shown": shown}
    if shown is None:
        return {**told, "reason": almanac.gap_reason(camera, day)}
    frame, counts = almanac.pictures[camera][day], almanac.frames[camera][day]
    wanted = _wanted(whole, frame)
    return {
        **told,
        "taken": local_time(frame.taken_at.astimezone(whole.season.zone)),
        "wanted": wanted and f"{wanted:%H:%M}",
        "usable": counts.usable,
        "total": counts.total,
        "alt": views.alt_text(almanac, camera, day),
    }


def _wanted(whole: Whole, frame: Frame) -> datetime | None:
    """When the daily picture should have been, where none near that time was good."""
    due = whole.season.daily_at(frame.day)
    within = timedelta(minutes=whole.season.settings.capture.daily_within_minutes)
    is_near = abs(frame.taken_at - due) <= max(within, _ALWAYS_NEAR)
    return None if is_near else due.astimezone(whole.season.zone)
