"""Numbers, and ages as sentences of the season's language. Pure."""

from typing import TYPE_CHECKING

from lapsekit.plain import one_line
from lapsekit.site.elsewhere.told import DayTold, PlantTold
from lapsekit.site.wording import amount

if TYPE_CHECKING:
    from lapsekit.language.words import Words


def age_said(age_days: int, words: "Words") -> str:
    """``Day 34``; before sowing, how long before."""
    if age_days < 0:
        return words.counted("{n} day before sowing", "{n} days before sowing", -age_days)
    return words.text("Day {age}", age=age_days)


def signed(value: float, words: "Words", digits: int = 0) -> str:
    """``+43``, ``−3``; a number that rounds to nothing has no sign."""
    shown = words.number(abs(value), digits=digits)
    if round(abs(value), digits) == 0:
        return shown
    return ("+" if value > 0 else "−") + shown


def title_said(told: DayTold, words: "Words") -> str:
    """What a day is called in a list: ``Day 34, Saturday 3 May 2031``."""
    age, day = age_said(told.age_days, words), words.long_day(told.day)
    return words.text("{age}, {day}", age=age, day=day)


def row_said(row: PlantTold, words: "Words") -> str:
    """A row of the day's table in one or two sentences."""
    return " ".join(filter(None, (_now(row, words), _in_a_week(row, words))))


def _now(row: PlantTold, words: "Words") -> str:
    plant = one_line(row.title)
    if row.value is None:
        return words.text("{plant}: no value on this day.", plant=plant)
    value = amount(words, row.value)
    if row.low is None or row.high is None:
        if row.unit == "%":
            return words.text("{plant}: covers {value} % of its place.", plant=plant, value=value)
        return words.text("{plant}: covers {value} cm².", plant=plant, value=value)
    ends = {"low": amount(words, row.low), "high": amount(words, row.high)}
    if row.unit == "%":
        return words.text(
            "{plant}: covers {value} % of its place (between {low} and {high}).",
            plant=plant,
            value=value,
            **ends,
        )
    return words.text(
        "{plant}: covers {value} cm² (between {low} and {high}).", plant=plant, value=value, **ends
    )


def _in_a_week(row: PlantTold, words: "Words") -> str:
    share = row.change_share
    if share is None:
        return ""
    percent = words.number(abs(100 * share), digits=0)
    if row.alike or round(abs(100 * share)) == 0:
        return words.text("That is about as much as a week before.")
    if share > 0:
        return words.text("That is {percent} % more than a week before.", percent=percent)
    return words.text("That is {percent} % less than a week before.", percent=percent)
