"""What a feed tells of a day: the picture, the numbers in words, the diary. Pure."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from typing import TYPE_CHECKING

from lapsekit.plain import one_line, readable
from lapsekit.site.elsewhere.addresses import at, day_page
from lapsekit.site.elsewhere.identities import urn
from lapsekit.site.elsewhere.saying import row_said, title_said
from lapsekit.site.elsewhere.together import together
from lapsekit.site.elsewhere.told import DayTold, PictureFile, SeasonTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words

#: How many days with a picture a feed tells.
DAYS_TOLD = 30
#: Feeds show the smallest file that has at least so many px in width.
SHOWN_WIDTH = 1000
#: More of a note than any reader shows.
LONGEST_NOTE = 4000


@dataclass(frozen=True)
class Entry:
    """A day as a feed tells it; addresses are absolute, `summary` is the content without markup."""

    id: str
    title: str
    page: str
    taken_at: str
    html: str
    summary: str
    picture: PictureFile
    picture_address: str


def entries(season: SeasonTold, words: "Words") -> list[Entry]:
    """The last days of a season that has a public address, the latest first."""
    return [_entry(season, told, words) for told in reversed(season.days[-DAYS_TOLD:])]


def utc_said(moment: datetime) -> str:
    """``2031-05-03T10:02:00Z``: in UTC, so that nothing tells where the bench stands."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _entry(season: SeasonTold, told: DayTold, words: "Words") -> Entry:
    picture = told.picture.largest
    return Entry(
        id=urn(season.own_name, "day", told.day),
        title=title_said(told, words),
        page=at(season.address, day_page(told.day)),
        taken_at=utc_said(told.picture.taken_at),
        html="".join(_html(season, told, words)),
        summary=one_line(" ".join(_sentences(told, words)), 1000),
        picture=picture,
        picture_address=at(season.address, picture.path),
    )


def _sentences(told: DayTold, words: "Words") -> list[str]:
    """The day without its picture."""
    return [f"{one_line(event.said)}." for event in told.events] + [
        row_said(row, words) for row in told.rows
    ]


def _html(season: SeasonTold, told: DayTold, words: "Words") -> Iterator[str]:
    page = escape(at(season.address, day_page(told.day)))
    for picture in told.pictures:
        file = _shown(picture.files)
        source, alt = escape(at(season.address, file.path)), escape(one_line(picture.alt, 1000))
        size = f'width="{file.width}" height="{file.height}"'
        yield f'<p><a href="{page}"><img src="{source}" alt="{alt}" {size}></a></p>'
    if told.events:
        heading = words.text("Diary of the day")
        yield f"<h2>{escape(heading)}</h2><ul>"
        for event in told.events:
            note = (
                f": <bdi>{escape(readable(event.note)[:LONGEST_NOTE])}</bdi>" if event.note else ""
            )
            yield f"<li><bdi>{escape(one_line(event.said))}</bdi>{note}</li>"
        yield "</ul>"
    if told.rows:
        heading = words.text("Canopy, seen from above")
        yield f"<h2>{escape(heading)}</h2><ul>"
        for row in told.rows:
            yield f"<li><bdi>{escape(row_said(row, words))}</bdi></li>"
        yield f"</ul>{_whole(told, words)}"


def _whole(told: DayTold, words: "Words") -> str:
    found = together(told.plants)
    if found is None or len(found.known) < 2:
        return ""
    return f"<p>{escape(week_said(told, words))}</p>"


def week_said(told: DayTold, words: "Words") -> str:
    """The week of the whole bench in a sentence; empty where it cannot be said."""
    found = together(told.plants)
    if found is None:
        return ""
    n = len(found.known)
    percent = words.number(abs(100 * found.share), digits=0)
    if found.share >= 0:
        return words.counted(
            "One plant has {percent} % more canopy than a week before.",
            "{n} plants together have {percent} % more canopy than a week before.",
            n,
            percent=percent,
        )
    return words.counted(
        "One plant has {percent} % less canopy than a week before.",
        "{n} plants together have {percent} % less canopy than a week before.",
        n,
        percent=percent,
    )


def _shown(files: tuple[PictureFile, ...]) -> PictureFile:
    return next((file for file in files if file.width >= SHOWN_WIDTH), files[-1])
