"""What the page "for your other places" lists, and the snippet that embeds the small page. Pure."""

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from lapsekit.plain import one_line
from lapsekit.site.elsewhere.addresses import (
    ATOM,
    CALENDAR,
    CARDS,
    EMBED,
    JSON_FEED,
    LATEST,
    PACKAGE,
    TODAY,
    at,
)
from lapsekit.site.elsewhere.told import SeasonTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words

#: Width of the frame that the small page is made for, and what it shows beside the picture, in px.
FRAME_WIDTH, BESIDE_PICTURE = 360, 190


@dataclass(frozen=True)
class Offer:
    """One thing to take away: what it is, a word for it, its path in the site and its address."""

    name: str
    about: str
    path: str
    address: str


def offers(season: SeasonTold, words: "Words") -> list[Offer]:
    """All that the site has for other places, in the order of the page."""
    found = []
    if season.latest is not None:
        found += _pictures(words)
    if season.address is not None and season.latest is not None:
        found += _feeds(words)
    found += _files(words)
    return [Offer(name, about, path, at(season.address, path)) for name, about, path in found]


def _pictures(words: "Words") -> list[tuple[str, str, str]]:
    text = words.text
    return [
        (
            text("Picture of the day"),
            text("Always the latest, at an address that stays: for a screen or another page."),
            TODAY,
        ),
        (
            text("Wide card"),
            text("1200 × 630 px, with the plant age and the week’s growth: for link previews."),
            CARDS["link"],
        ),
        (text("Square card"), text("The same, 1080 × 1080 px: for a post."), CARDS["square"]),
        (
            text("Upright card"),
            text("The same, 1080 × 1920 px, with nothing to read at its upper and lower ends."),
            CARDS["upright"],
        ),
    ]


def _feeds(words: "Words") -> list[tuple[str, str, str]]:
    text = words.text
    return [
        (
            text("Feed (Atom)"),
            text("Each day’s picture, numbers and diary, for a feed reader; the last 30 days."),
            ATOM,
        ),
        (
            text("Feed (JSON Feed)"),
            text("The same for programs that would rather read JSON."),
            JSON_FEED,
        ),
    ]


def _files(words: "Words") -> list[tuple[str, str, str]]:
    text = words.text
    return [
        (
            text("Calendar of the diary"),
            text("Subscribe to it: what was done and seen, each on its day."),
            CALENDAR,
        ),
        (
            text("The latest day for programs (JSON)"),
            text("Day, plant age, areas with their intervals, the week’s change; its keys stay."),
            LATEST,
        ),
        (
            text("All data"),
            text(
                "A Frictionless data package: it tells the columns and units of the CSV files that "
                "lie beside it."
            ),
            PACKAGE,
        ),
    ]


def snippet(season: SeasonTold) -> str | None:
    """HTML that shows the small page in another one; None without a public address."""
    if season.address is None:
        return None
    source, title = escape(at(season.address, EMBED)), escape(one_line(season.title, 120))
    size = f'width="{FRAME_WIDTH}" height="{_frame_height(season)}"'
    return f'<iframe src="{source}" title="{title}" {size} loading="lazy"></iframe>'


def _frame_height(season: SeasonTold) -> int:
    """So high that nothing has to be scrolled."""
    if season.latest is None:
        return BESIDE_PICTURE
    picture = season.latest.picture.largest
    return BESIDE_PICTURE + round(FRAME_WIDTH * picture.height / picture.width)


def table_names(words: "Words") -> dict[str, str]:
    """What the tables of the download are called, by the names of their files."""
    text = words.text
    return {
        "daily": text("Canopy of every plant by day"),
        "regions": text("Plants and where they belong"),
        "diary": text("The diary"),
        "responses": text("What followed each event"),
        "pauses": text("Pauses of growth"),
        "losses": text("Sudden losses of canopy"),
        "laws": text("Growth laws fitted"),
        "reached": text("When covers are reached"),
    }
