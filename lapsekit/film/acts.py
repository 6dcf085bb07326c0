"""What the diary tells in a film, by day: captions and chapters. Pure."""

from collections.abc import Mapping, Sequence
from datetime import date

from lapsekit.diary import Event
from lapsekit.language.phrases import act_text
from lapsekit.language.words import Words

NO_CHAPTER = {"height", "camera", "watered"}
"""Acts that make no chapter and no caption: of the grower's book-keeping, or of every other day."""

MOST_NAMED = 3
"""So many plants are named for an act of one day."""

MOST_LETTERS = 120
"""So much of a note is told over a picture."""


def acts_by_day(
    words: Words, events: Sequence[Event], titles: Mapping[str, str]
) -> dict[date, list[str]]:
    """Each act of a day once, with all whom it concerned: ``Emerged (Basil and Chard)``.

    Parameters
    ----------
    words : Words
    events : sequence of Event
    titles : mapping of str to str
        Titles of regions by name.
    """
    whom: dict[tuple[date, str], list[str]] = {}
    for event in sorted(events, key=lambda each: each.day):
        if event.what.lower() in NO_CHAPTER:
            continue
        said = act_text(words, event.what)
        key = event.day, clipped(said[:1].upper() + said[1:])
        whom.setdefault(key, []).extend(filter(None, [titles.get(event.region, event.region)]))
    found: dict[date, list[str]] = {}
    for (day, what), plants in whom.items():
        found.setdefault(day, []).append(_with_plants(words, what, plants))
    return found


def _with_plants(words: Words, what: str, plants: Sequence[str]) -> str:
    named = [clipped(plant) for plant in dict.fromkeys(plants)]
    if len(named) > MOST_NAMED:
        rest = len(named) - MOST_NAMED
        named[MOST_NAMED:] = [words.counted("{n} more", "{n} more", rest)]
    return f"{what} ({words.listed(named)})" if named else what


def clipped(text: str) -> str:
    """No more of a text than can be read while it is shown."""
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS - 1].rstrip()}…"
