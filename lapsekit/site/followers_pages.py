"""The pages of followers' pictures: all of them, how to send one, what becomes of the data."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from lapsekit.followers.wordings import wording
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.site.blocks import Block, blocks_of
from lapsekit.site.contents import Page, Whole
from lapsekit.site.pairs import Pair
from lapsekit.site.sending import code_line, code_link, lines_to_fill, mail_link

PATH = "followers/index.html"
SEND, PRIVACY = "followers/send/index.html", "followers/privacy/index.html"
#: The grower's own privacy notice, in the season folder; the first that is there.
NOTICES = ("followers-privacy.md", "followers-privacy.txt")
_MOST_BYTES = 100_000


@dataclass(frozen=True)
class Group:
    """Followers' pictures that are held against one of the grower's plants, or against none."""

    title: str
    path: str
    pairs: tuple[Pair, ...]


def followers_pages(whole: Whole) -> Iterator[Page]:
    """The pages, as far as there is something to tell."""
    if not has_followers(whole):
        return
    yield _all_of_them(whole)
    if is_open(whole):
        yield _send_page(whole)
    if has_notice(whole):
        yield _privacy_page(whole)


def has_followers(whole: Whole) -> bool:
    """Whether a picture is shown, or can be sent."""
    return bool(whole.pairs) or is_open(whole)


def is_open(whole: Whole) -> bool:
    """Whether the settings say a way by which readers can send a picture."""
    wanted = whole.season.settings.followers
    return wanted.address is not None or wanted.upload is not None


def has_notice(whole: Whole) -> bool:
    """Whether there is something to say of privacy: the grower's own words, or whom to turn to."""
    return bool(whole.notice) or whole.season.settings.followers.contact is not None


def pairs_on(whole: Whole, day: date) -> tuple[Pair, ...]:
    """Pictures that followers took on a day."""
    return tuple(pair for pair in whole.pairs if pair.told.taken_on == day)


def pairs_of(whole: Whole, regions: Sequence[Region]) -> tuple[Pair, ...]:
    """Pictures that are held against one of these plants, from young to old."""
    names = {region.name for region in regions}
    found = [pair for pair in whole.pairs if pair.region in names]
    known = [pair for pair in found if pair.told.age_days is not None]
    aged = sorted(known, key=lambda pair: pair.told.age_days)
    return (*aged, *(pair for pair in found if pair.told.age_days is None))


def own_notice(season: Season) -> tuple[tuple[Block, ...], list[str]]:
    """The grower's own privacy notice, and why it cannot be shown."""
    file = next((f for name in NOTICES if (f := season.folder / name).is_file()), None)
    if file is None:
        return (), []
    try:
        with file.open(encoding="utf-8-sig") as opened:
            return blocks_of(opened.read(_MOST_BYTES)), []
    except (OSError, UnicodeDecodeError) as error:
        return (), [f"{file}: cannot be read ({error}); save it as text in UTF-8"]


def _all_of_them(whole: Whole) -> Page:
    facts = {
        "groups": _groups(whole),
        "count": len(whole.pairs),
        "is_open": is_open(whole),
        "has_notice": has_notice(whole),
    }
    return Page(PATH, "followers.html", facts)


def _groups(whole: Whole) -> list[Group]:
    """By plant in the order of tables; what is held against none comes last."""
    almanac = whole.almanac
    of = {region.name: [p for p in whole.pairs if p.region == region.name]
          for region in almanac.regions}  # fmt: skip
    found = [
        Group(region.title, almanac.plant_paths[region.name], tuple(of[region.name]))
        for region in almanac.regions
        if of[region.name]
    ]
    others = tuple(pair for pair in whole.pairs if pair.region not in of)
    title = almanac.words.text("Other plants") if found else almanac.words.text("Plants")
    return [*found, *([Group(title, "", others)] if others else [])]


def _send_page(whole: Whole) -> Page:
    wanted, words = whole.season.settings.followers, whole.almanac.words
    agreed = wording(whole.season, words.language)
    address, no_minors = wanted.address, wanted.minors == "never"
    lines = lines_to_fill(words, with_parent=not no_minors)
    labels = [label for label, _ in lines]
    facts: dict[str, Any] = {
        "address": address,
        "mail": address and mail_link(address, words, whole.almanac.title, labels),
        "take_down": address and code_link(address, words),
        "lines": lines,
        "code_line": code_line(words),
        "upload": wanted.upload,
        "points": agreed.points,
        "contact": wanted.contact,
        "no_minors": no_minors,
        "waiting_days": wanted.keep_waiting_days,
        "declined_days": wanted.keep_declined_days,
        "contact_days": wanted.keep_contact_days,
        "largest_side": wanted.largest_side_px,
        "has_notice": has_notice(whole),
    }
    return Page(SEND, "followers_send.html", facts)


def _privacy_page(whole: Whole) -> Page:
    contact = whole.season.settings.followers.contact
    facts = {"notice": whole.notice, "contact": contact, "is_open": is_open(whole)}
    return Page(PRIVACY, "followers_privacy.html", facts)
