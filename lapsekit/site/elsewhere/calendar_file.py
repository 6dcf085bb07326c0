"""The diary as a calendar file (RFC 5545) that any calendar can follow. Pure."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from typing import TYPE_CHECKING

from lapsekit.plain import one_line, readable
from lapsekit.site.elsewhere.addresses import at, day_page
from lapsekit.site.elsewhere.identities import identity
from lapsekit.site.elsewhere.told import EventTold, SeasonTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words

KIND = "text/calendar"
_LONGEST_LINE = 75
_SOWN = "sown"


def calendar(season: SeasonTold, words: "Words", pages: frozenset[date] = frozenset()) -> bytes:
    """Every line of the diary as an all-day event, and the day of sowing.

    Parameters
    ----------
    season : SeasonTold
    words : Words
    pages : frozenset of date
        Days that have a page to link to; linked only where the site has a public address.

    Returns
    -------
    bytes
        An event keeps its UID as long as its day, region and words stay; DTSTAMP is its own day,
        so that making the file anew changes nothing.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//lapsekit//diary//EN"]
    lines += ["CALSCALE:GREGORIAN", "METHOD:PUBLISH", f"NAME:{_text(one_line(season.title))}"]
    lines.append(f"X-WR-CALNAME:{_text(one_line(season.title))}")
    seen: Counter[tuple[date, str, str]] = Counter()
    for event in _with_sowing(season, words):
        key = event.day, event.region, event.what
        lines += _event(season, event, seen[key], pages)
        seen[key] += 1
    return "".join(f"{_folded(line)}\r\n" for line in [*lines, "END:VCALENDAR"]).encode()


def _with_sowing(season: SeasonTold, words: "Words") -> list[EventTold]:
    """A calendar must hold an event (RFC 5545, 3.6); every season has been sown."""
    told = any(e.day == season.sown and e.what.lower() == _SOWN for e in season.events)
    sown = EventTold(season.sown, "", _SOWN, words.text("sown"), "")
    return [*season.events] if told else [sown, *season.events]


def _event(
    season: SeasonTold, event: EventTold, number: int, pages: frozenset[date]
) -> Iterator[str]:
    uid = identity(season.own_name, "diary", event.day, event.region, event.what, number)
    yield "BEGIN:VEVENT"
    yield f"UID:{uid}"
    yield f"DTSTAMP:{event.day:%Y%m%d}T000000Z"
    yield f"DTSTART;VALUE=DATE:{event.day:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{event.day + timedelta(days=1):%Y%m%d}"
    yield "TRANSP:TRANSPARENT"
    yield f"SUMMARY:{_text(one_line(event.said))}"
    if event.note:
        yield f"DESCRIPTION:{_text(event.note)}"
    if season.address is not None and event.day in pages:
        yield f"URL:{at(season.address, day_page(event.day))}"
    yield "END:VEVENT"


def _text(text: str) -> str:
    """A value of type TEXT (RFC 5545, 3.3.11)."""
    escaped = readable(text).strip().replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return escaped.replace("\n", "\\n").replace("\t", " ")


def _folded(line: str) -> str:
    """A content line in pieces of at most 75 octets, no character cut in two (3.1)."""
    pieces, length = [[]], 0
    for letter in line:
        octets = len(letter.encode())
        if length + octets > _LONGEST_LINE:
            pieces.append([" "])
            length = 1
        pieces[-1].append(letter)
        length += octets
    return "\r\n".join("".join(piece) for piece in pieces)
