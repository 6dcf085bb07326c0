"""A follower's plant held beside the grower's of the same age: which picture, in which words. Pure.

What followers wrote is a stranger's: it is made fit to be read here, whatever the record holds.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from lapsekit.plain import one_line
from lapsekit.site.crops import nearest

if TYPE_CHECKING:
    from lapsekit.language.words import Words
    from lapsekit.site.cropping import Crop
    from lapsekit.site.gallery import Shown

#: Letters that are shown of a stranger's words.
MOST_NAME, MOST_PLANT, MOST_CAPTION = 60, 60, 500


@dataclass(frozen=True)
class Told:
    """What a follower told, as readers may read it; "" for what was not told.

    `language` is that of the words where it is another than the site's.
    """

    name: str
    plant: str
    caption: str
    language: str
    taken_on: date | None
    age_days: int | None


@dataclass(frozen=True)
class Ours:
    """The grower's plant beside it: the day of its picture, its age then, what it covered."""

    day: date
    age: str
    value: str
    crop: Crop


@dataclass(frozen=True)
class Pair:
    """A follower's picture as pages show it.

    Attributes
    ----------
    mark : str
        Names it in addresses: a hash of what is shown, that leads to no record.
    shown : Shown
    told : Told
    region, title : str
        The grower's plant that it is held against; "" for none.
    age : str
        ``34 days old``; "" where it is not known.
    day : str
        The day that it was taken on, with its year where that is not the season's.
    ours : Ours or None
    alone : str
        Why there is none of ours beside it.
    alt : str
    """

    mark: str
    shown: Shown
    told: Told
    region: str
    title: str
    age: str
    day: str
    ours: Ours | None
    alone: str
    alt: str


def told_of(
    name: str, plant: str, caption: str, language: str, taken_on: date | None, age: int | None
) -> Told:
    """A stranger's words on one line each and of bounded length."""
    return Told(
        one_line(name, MOST_NAME),
        one_line(plant, MOST_PLANT),
        one_line(caption, MOST_CAPTION),
        language,
        taken_on,
        age,
    )


def day_of_ours(sown: date, age_days: int, seen: Collection[date]) -> date | None:
    """The day whose picture shows the grower's plant at an age, or within a few days of it.

    Parameters
    ----------
    sown : date
        When the grower's plant was sown.
    age_days : int
        Age of the follower's plant.
    seen : collection of date
        Days with a picture of it.
    """
    return nearest(sown + timedelta(age_days), seen)


def why_alone(words: Words, told: Told, title: str, sown: date, last: date | None) -> str:
    """Why a picture stands without one of ours, as a sentence.

    Parameters
    ----------
    words : Words
    told : Told
    title : str
        The grower's plant, "" for none.
    sown : date
        When that was sown.
    last : date or None
        The season's latest day.
    """
    if not title:
        return words.text("We grow none that we could hold beside it.")
    if told.age_days is None:
        return words.text("Its age is not known, so none of ours stands beside it.")
    day = sown + timedelta(told.age_days)
    if last is None or day > last:
        return words.text("Ours will be as old on {day}.", day=words.long_day(day))
    return words.text("Ours has no picture at that age.")


def old_text(words: Words, age_days: int) -> str:
    """``34 days old``."""
    return words.counted("{n} day old", "{n} days old", age_days)


def day_text(words: Words, told: Told, season_day: date) -> str:
    """The day on which a picture was taken; "" where that is not known."""
    if told.taken_on is None:
        return ""
    is_near = told.taken_on.year == season_day.year
    return words.short_day(told.taken_on) if is_near else words.long_day(told.taken_on)


def alt_text(words: Words, told: Told, title: str, age: str) -> str:
    """What is known of a follower's picture, for whoever cannot see it."""
    parts = [title or told.plant, age]
    known = ", ".join(part for part in parts if part)
    if told.name and known:
        return words.text("Picture by {name}: {told}", name=told.name, told=known)
    if told.name:
        return words.text("Picture by {name}", name=told.name)
    return (
        words.text("A follower’s picture: {told}", told=known)
        if known
        else words.text("A follower’s picture")
    )
