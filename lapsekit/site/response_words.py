"""What followed an act, as the pages say it: one or two plain sentences. Pure.

Growth rates are relative growth rates, told in % a day: 10 % a day double a plant in a week.
"""

from __future__ import annotations

from math import expm1
from typing import TYPE_CHECKING

from lapsekit.growth.plants import MIN_VALUES

if TYPE_CHECKING:
    from lapsekit.growth.responses import Effect, Response
    from lapsekit.language.words import Words
    from lapsekit.responding import EventResponse

_NBSP = "\u00a0"


ENDS = {"harvest"}
"""Acts after which nothing is there that could follow."""


def response_text(words: Words, found: EventResponse) -> str:
    """What followed an event, held against other plants on the same days, or why nothing is told.

    Parameters
    ----------
    words : Words
    found : EventResponse

    Returns
    -------
    str
        Whole sentences.
    """
    told = found.response
    if told is None and found.event.what.lower() in ENDS:
        return ""
    if told is None and not found.event.region:
        return words.text("The whole bench had it: nothing is left to tell it from the weather.")
    if told is None:
        return words.text("No plant is known by this name.")
    if told.refusal:
        return _refusal(words, told)
    sentences = [_step(words, told), *_rate(words, told), _standing_up(words, told)]
    return " ".join(filter(None, sentences))


def _refusal(words: Words, told: Response) -> str:
    if not told.plants:
        return words.text(
            "What followed cannot be told (yet): it takes {days} measured days before and {days} "
            "after, free of other acts.",
            days=words.number(MIN_VALUES),
        )
    if not told.step_others:
        return words.text(
            "No other plant was measured and left alone on these days, to tell what followed from "
            "the weather."
        )
    return words.counted(
        "Only {n} other plant was measured and left alone on these days, too few to tell what "
        "followed from the weather.",
        "Only {n} other plants were measured and left alone on these days, too few to tell what "
        "followed from the weather.",
        len(told.step_others),
    )


def _rate(words: Words, told: Response) -> list[str]:
    went = {"before": _daily(words, told.before), "after": _daily(words, told.after)}
    if told.rate is None:
        return [
            words.text(
                "Its growth rate went from {before} to {after} % a day; too few plants of like "
                "size stood beside it to hold that against.",
                **went,
            )
        ]
    rates = words.counted(
        "Its growth rate went from {before} to {after} % a day, that of {n} other of like size "
        "from {others_before} to {others_after}.",
        "Its growth rate went from {before} to {after} % a day, that of {n} others of like size "
        "from {others_before} to {others_after}.",
        len(told.others),
        others_before=_daily(words, told.others_before),
        others_after=_daily(words, told.others_after),
        **went,
    )
    return [rates, _verdict(words, told, told.rate)]


def _verdict(words: Words, told: Response, rate: Effect) -> str:
    if not told.is_claimed(rate):
        return words.text(
            "Nothing beyond what the others did is shown ({low} to {high} points a day).",
            low=_signed(words, rate.low),
            high=_signed(words, rate.high),
        )
    low, high = sorted((abs(rate.low), abs(rate.high)))
    values = {
        "points": _daily(words, abs(rate.estimate)),
        "low": _daily(words, low),
        "high": _daily(words, high),
    }
    if rate.estimate < 0:
        return words.text(
            "That is {points} ({low} to {high}) points a day slower than theirs led to expect.",
            **values,
        )
    return words.text(
        "That is {points} ({low} to {high}) points a day faster than theirs led to expect.",
        **values,
    )


def _step(words: Words, told: Response) -> str:
    if not told.is_claimed(told.step):
        return ""
    step = told.step
    low, high = sorted(abs(expm1(end)) for end in (step.low, step.high))
    share, low, high = (
        f"{words.number(100 * part)}{_NBSP}%" for part in (abs(expm1(step.estimate)), low, high)
    )
    values = {"share": share, "low": low, "high": high}
    count = len(told.step_others)
    if step.estimate < 0:
        return words.counted(
            "Its canopy fell at once by {share} ({low} to {high}) beyond that of {n} other plant.",
            "Its canopy fell at once by {share} ({low} to {high}) beyond that of {n} other plants.",
            count,
            **values,
        )
    return words.counted(
        "Its canopy rose at once by {share} ({low} to {high}) beyond that of {n} other plant.",
        "Its canopy rose at once by {share} ({low} to {high}) beyond that of {n} other plants.",
        count,
        **values,
    )


def _standing_up(words: Words, told: Response) -> str:
    fell = told.is_claimed(told.step) and told.step.estimate < 0
    if fell and told.is_claimed(told.rate) and told.rate.estimate > 0:
        return words.text("Leaves that stand up again count as growth here.")
    return ""


def _daily(words: Words, per_day: float) -> str:
    return words.number(100 * per_day, 1)


def _signed(words: Words, per_day: float) -> str:
    text = _daily(words, per_day)
    return text if text.startswith("−") or not text.strip("0.,") else f"+{text}"
