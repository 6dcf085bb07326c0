"""The days as a JSON Feed, version 1.1. Pure."""

from typing import TYPE_CHECKING, Any

from lapsekit.plain import one_line
from lapsekit.site.elsewhere.addresses import JSON_FEED, at
from lapsekit.site.elsewhere.entries import Entry, entries
from lapsekit.site.elsewhere.json_form import as_json
from lapsekit.site.elsewhere.told import SeasonTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words

KIND = "application/feed+json"
VERSION = "https://jsonfeed.org/version/1.1"


def json_feed(season: SeasonTold, words: "Words") -> bytes | None:
    """The feed; None without a public address, and until there is a picture."""
    if season.address is None or season.latest is None:
        return None
    about = {"description": one_line(season.about, 500)} if season.about else {}
    home = at(season.address, "index.html")
    return as_json(
        {
            "version": VERSION,
            "title": one_line(season.title),
            **about,
            "home_page_url": home,
            "feed_url": at(season.address, JSON_FEED),
            "language": season.language,
            "authors": [{"name": one_line(season.title), "url": home}],
            "items": [_item(entry) for entry in entries(season, words)],
        }
    )


def _item(entry: Entry) -> dict[str, Any]:
    return {
        "id": entry.id,
        "url": entry.page,
        "title": entry.title,
        "content_html": entry.html,
        "summary": entry.summary,
        "image": entry.picture_address,
        "date_published": entry.taken_at,
        "date_modified": entry.taken_at,
        "attachments": [
            {
                "url": entry.picture_address,
                "mime_type": "image/jpeg",
                "title": entry.title,
                "size_in_bytes": entry.picture.length,
            }
        ],
    }
