"""The ways from the front page into the season: a name and a sentence that says what is new."""

from collections.abc import Iterator
from dataclasses import dataclass

from lapsekit.language.phrases import day_text
from lapsekit.site.contents import Whole
from lapsekit.site.followers_pages import PATH as FOLLOWERS
from lapsekit.site.followers_pages import SEND, is_open
from lapsekit.site.ranking import ranking


@dataclass(frozen=True)
class Door:
    """A page, what it is called, and what waits behind it."""

    path: str
    name: str
    told: str


def doors(whole: Whole) -> Iterator[Door]:
    """The pages that a reader of the front page may want next."""
    words, almanac = whole.almanac.words, whole.almanac
    rank = ranking(words, whole.curves, whole.growth.growths)
    if rank is not None:
        yield Door("growth/index.html", words.text("How they grow"), rank.headline)
    if almanac.events:
        yield Door("diary/index.html", words.text("What happened"), _latest_act(whole))
    if len(almanac.picture_days) > 1:
        yield Door(
            "two/index.html",
            words.text("Two days, held together"),
            words.text("Wipe or blink between any two days, of the whole view or of one plant."),
        )
        yield Door(
            "yours/index.html",
            words.text("Yours against ours"),
            words.text(
                "Hold a photo of your own plant against ours at the same age, and measure it. It "
                "stays on your device."
            ),
        )
    if whole.pairs:
        yield Door(
            FOLLOWERS,
            words.text("Followers’ plants"),
            words.counted(
                "{n} picture, next to ours at the same age.",
                "{n} pictures, each next to ours at the same age.",
                len(whole.pairs),
            ),
        )
    elif is_open(whole):
        yield Door(
            SEND,
            words.text("Show us yours"),
            words.text("Send a picture of your plant, to stand next to ours at the same age."),
        )
    if whole.films:
        yield Door(
            "film/index.html",
            words.text("The film"),
            words.counted(
                "{n} day of growth in motion.",
                "{n} days of growth in motion.",
                len(almanac.picture_days),
            ),
        )


def _latest_act(whole: Whole) -> str:
    """The latest line of the diary, and the latest stop or loss that the curves show."""
    words, almanac = whole.almanac.words, whole.almanac
    event = almanac.events[-1]
    told = words.text(
        "Latest entry: {act}, {day}.",
        act=almanac.event_text(event),
        day=day_text(words, event.day, almanac.sown),
    )
    seen = [each for each in whole.happenings if each.kind in ("pause", "loss")]
    if not seen:
        return told
    last = seen[-1]
    return words.text(
        "{latest} Last seen in a curve: {what}, {plant}, {day}.",
        latest=told,
        what=last.what,
        plant=last.where,
        day=words.short_day(last.day),
    )
