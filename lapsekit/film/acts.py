"""What the diary tells in a film, by day: captions and chapters. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from lapsekit.diary import Event
from lapsekit.film.tracks import clipped
from lapsekit.language.phrases import act_text
from lapsekit.language.words import Words

NO_CHAPTER = {"height", "camera", "watered"}
"""Acts that make no chapter and no caption: of the grower's book-keeping, or of every other day."""

MOST_NAMED = 3
"""So many plants are named for an act of one day."""


@dataclass(frozen=True)
class Act:
    """What was done on a day, or seen, and to whom (empty: to the whole bench)."""

    day: date
    what: str
    whom: str

    @property
    def text(self) -> str:
        """``Emerged (Basil and Chard)``."""
        return f"{self.what} ({self.whom})" if self.whom else self.what


def acts(words: Words, events: Sequence[Event], titles: Mapping[str, str]) -> list[Act]:
    """Each act of a day once, with all whom it concerned, in order of day.

    Parameters
    ----------
    words : Words
    events : sequence of Event
    titles : mapping of str to str
        Titles of regions by name.
    """
    whom: dict[tuple[date, str], list[str]] = {}
    for event in sorted(events, key=lambda each: each.day):
        if event.what.lower() not in NO_CHAPTER:
            said = act_text(words, event.what)
            key = event.day, clipped(said[:1].upper() + said[1:])
            plants = [titles.get(event.region, event.region)]
            whom.setdefault(key, []).extend(filter(None, plants))
    return [Act(day, what, _listed(words, plants)) for (day, what), plants in whom.items()]


def _listed(words: Words, plants: Sequence[str]) -> str:
    named = [clipped(plant) for plant in dict.fromkeys(plants)]
    if len(named) > MOST_NAMED:
        named[MOST_NAMED:] = [words.counted("{n} more", "{n} more", len(named) - MOST_NAMED)]
    return words.listed(named)
