"""The diary's pages: one tap an event, photographs with it; every line changed, removed, undone."""

from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit import noting
from lapsekit.desk import photographs, pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.diary import VOCABULARY, Event
from lapsekit.edits.diary_text import not_there, with_changed_event, with_events, without_event
from lapsekit.errors import LapsekitError, SettingsError
from lapsekit.happened import latest_day
from lapsekit.season import DIARY_FILE, Season

MARKS = {
    "sown": "So",
    "emerged": "Em",
    "potted on": "Po",
    "moved": "Mo",
    "fed": "Fe",
    "watered": "Wa",
    "cut": "Cu",
    "pest": "Pe",
    "cold": "Co",
    "first flower": "Fl",
    "first fruit": "Fr",
    "harvest": "Ha",
    "height": "He",
}
"""Two letters for each word, to be found at a glance."""

_DAYS_SHOWN = 30


@dataclass(frozen=True)
class Chips:
    """What an event can concern: groups and regions by themselves, then the plants of groups."""

    near: tuple[tuple[str, str], ...]
    members: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]


def chips(season: Season) -> Chips:
    """Names and titles of what an event can concern."""
    regions = season.regions.region
    alone = [(region.name, region.title) for region in regions if not region.group]
    groups = list(dict.fromkeys(region.group for region in regions if region.group))
    members = [
        (group, tuple((r.name, r.title) for r in regions if r.group == group)) for group in groups
    ]
    whole = ((group, f"{group}, all") for group in groups)
    return Chips((*alone, *whole), tuple(members))


def _page(asked: Asked, refusal: str = "") -> Response:
    with asked.season() as season, season.catalogue_to_read():
        today = season.day_of(season.clock())
        found = noting.list_events(season)
        latest = _latest(season, found.events)
        facts = {"chips": chips(season), "latest": latest, "titles": _titles(season)}
    until = asked.day("until", latest) if asked.form else _asked_day(asked, latest)
    days, older = _days(found.events, until)
    return asked.page(
        "diary.html",
        words=[(word, MARKS[word], told) for word, told in VOCABULARY.items()],
        day=asked.text("day") or today.isoformat(),
        chosen=set(asked.texts("region")),
        typed={name: asked.text(name) for name in ("note", "bbch", "weight", "height", "own")},
        picked=_picked(asked),
        passed_over=found.passed_over,
        of_no_region=found.of_no_region,
        to_come=found.to_come,
        days=days,
        older=older,
        until=until,
        refusal=refusal,
        photograph=photographs.address,
        **facts,
    )


def _latest(season: Season, events: Iterable[Event]) -> date:
    """The last day that can be noted; where nothing can be, frames tell of days ahead alone."""
    ahead = max((event.day for event in events), default=date.min)
    return latest_day(season, date.max if season.is_writable else ahead)


def _asked_day(asked: Asked, latest: date) -> date:
    try:
        return date.fromisoformat(asked.query.get("until", ""))
    except ValueError:
        return latest


def _days(events: Iterable[Event], until: date) -> tuple[list[tuple[date, list[Event]]], str]:
    """Days with their events, the latest first, and the day from which older ones can be seen."""
    wanted = reversed([event for event in events if event.day <= until])
    days = [(day, list(of_day)) for day, of_day in groupby(wanted, key=lambda event: event.day)]
    older = days[_DAYS_SHOWN][0].isoformat() if len(days) > _DAYS_SHOWN else ""
    return days[:_DAYS_SHOWN], older


def _picked(asked: Asked) -> str:
    """The word that was tapped before something was still to be filled in; "" for none."""
    told = asked.text("event") if asked.text("event") in VOCABULARY else asked.text("picked")
    return told if told in VOCABULARY else ""


def _said(asked: Asked) -> tuple[str, str]:
    """The event and its note: words of one's own are an event, or the note of one picked before."""
    told, own, note = asked.text("event"), asked.text("own"), asked.text("note")
    if told in ("picked", "enter") and _picked(asked):
        return _picked(asked), "; ".join(filter(None, (note, own)))
    return (own if told in ("own", "picked", "enter") else told), note


def _add(asked: Asked) -> Response:
    what, note = _said(asked)
    try:
        with asked.season() as season:
            events, hints = noting.checked_events(
                season,
                asked.text("day"),
                _require_figures(asked, what),
                asked.texts("region"),
                note,
                _figures(asked),
            )
            titles = _titles(season)
        with _photographs(asked, events[0].day) as names:
            events[0] = _with_photographs(asked, events[0], names)
            new, there = not_there(asked.desk.book.text(DIARY_FILE).content, events)
            told = f"{_told(new, titles)}{_with(names)} noted"
            edits = {DIARY_FILE: lambda text: with_events(text, new)}
            change = asked.desk.book.change(told, edits)
    except LapsekitError as error:
        if asked.wants_data:
            raise
        return _page(asked, f"{error}")
    back = asked.text("back")
    return asked.changed(change, back if back == "/" else "/diary/", " ".join([*hints, *there]))


def _require_figures(asked: Asked, what: str) -> str:
    """The event; a height is nothing without a figure and a region."""
    if what == "height" and not (asked.text("height") and asked.texts("region")):
        raise SettingsError("For a height choose a region, and write its centimetres under More.")
    for name, word in (("height", "height"), ("weight", "harvest")):
        if asked.text(name) and what != word:
            raise SettingsError(f"A {name} goes with “{word}”: tap that, or empty the field.")
    if not what:
        raise SettingsError("Tap what was done or seen, or write it in words of your own.")
    return what


def _figures(asked: Asked) -> noting.Figures:
    def number(name: str) -> float | None:
        return asked.number(name) if asked.text(name) else None

    bbch = number("bbch")
    return noting.Figures(None if bbch is None else int(bbch), number("weight"), number("height"))


def _photographs(asked: Asked, day: date) -> AbstractContextManager[tuple[str, ...]]:
    """The photographs that came with a form, filed."""
    sent = [each.data for each in asked.files.get("pictures", [])]
    return photographs.filed(asked.desk.folder, day, sent)


def _with_photographs(asked: Asked, event: Event, names: tuple[str, ...]) -> Event:
    """The event with further photographs; of several at once the first line has them."""
    pictures = (*event.pictures, *names)
    on_site = bool(pictures) and bool(asked.text("on_site"))
    return replace(event, pictures=pictures, on_site=on_site)


def _titles(season: Season) -> dict[str, str]:
    return {region.name: region.title for region in season.regions.region}


def _told(events: list[Event], titles: Mapping[str, str]) -> str:
    first = events[0]
    whom = titles.get(first.region, first.region) if len(events) == 1 else f"{len(events)} regions"
    return f"{first.day}, {whom or 'whole bench'}: {first.what}"


def _with(names: tuple[str, ...]) -> str:
    """Photographs that came with an event, in words."""
    if not names:
        return ""
    return f", with {len(names)} photograph{'' if len(names) == 1 else 's'},"


def _line(asked: Asked) -> Response:
    number = asked.named["line"]
    with asked.season() as season:
        found = noting.list_events(season)
        event = next((each for each in found.events if str(each.line) == number), None)
        if event is None:
            raise HTTPException(404)
        latest = max(_latest(season, [event]), event.day)  # a line of a day to come may keep it
        facts = {"latest": latest, "regions": season.regions.region}
    own = [] if event.what in VOCABULARY else [event.what]
    names = photographs.address
    return asked.page(
        "diary_line.html", event=event, words=[*own, *VOCABULARY], photograph=names, **facts
    )


def _was(asked: Asked) -> Event:
    """The event as the form was made from it; its line may have moved since."""
    day, line = asked.day("was_day"), asked.text("was_line")
    if not line.isdigit():
        raise SettingsError(f'was_line = "{line}": open the page again')
    return Event(
        day,
        asked.text("was_region"),
        asked.text("was_event"),
        asked.text("was_note"),
        int(line),
        tuple(asked.texts("was_picture")),
        bool(asked.text("was_on_site")),
    )


def _change(asked: Asked) -> Response:
    was, region = _was(asked), asked.text("region")
    with asked.season() as season:
        (now,), hints = noting.checked_events(
            season,
            asked.text("day"),
            asked.text("own") or asked.text("event"),
            [region] if region else [],
            asked.text("note"),
            noting.Figures(),
            was.day,
        )
        titles = _titles(season)
    kept = tuple(name for name in was.pictures if name in asked.texts("picture"))
    with _photographs(asked, now.day) as names:
        now = _with_photographs(asked, replace(now, pictures=kept), names)
        edits = {DIARY_FILE: lambda text: with_changed_event(text, was, now)}
        change = asked.desk.book.change(f"{_told([was], titles)} changed", edits)
    return asked.changed(change, "/diary/", " ".join(hints))


def _remove(asked: Asked) -> Response:
    was = _was(asked)
    with asked.season() as season:
        titles = _titles(season)
    change = asked.desk.book.change(
        f"{_told([was], titles)} removed", {DIARY_FILE: lambda text: without_event(text, was)}
    )
    return asked.changed(change, "/diary/")


def _photograph(asked: Asked) -> Response:
    side = pictures.asked_side(asked)
    file = photographs.find(asked.desk.folder, asked.named["name"])
    if file is None:
        raise HTTPException(404)
    headers = {"cache-control": "private, max-age=86400"}
    data = pictures.small(file.read_bytes(), side)
    return Response(data, media_type="image/jpeg", headers=headers)


ROUTES = (
    get("/diary/", _page),
    post("/diary/pictures", _add),
    get("/diary/line/{line}", _line),
    post("/diary/line/{line}/pictures", _change),
    post("/diary/remove", _remove),
    get("/diary/photograph/{name}", _photograph),
)
