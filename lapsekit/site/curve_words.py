"""How sure a curve is, and what it leaves out, in whole sentences. Pure: values in, text out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from lapsekit.site.curves import PlantCurve
from lapsekit.site.wording import amount

if TYPE_CHECKING:
    from lapsekit.language.words import Words

_NAMED = 4
"""So many spans or days are named; the table names the rest."""


@dataclass(frozen=True)
class Span:
    """Days on end that lack a value for one reason."""

    first: date
    last: date
    why: str


def in_words(words: Words, three: tuple, unit: str) -> str:
    """``212 cm² (205 to 220)``; without an interval, the value alone."""
    low, value, high = three
    known = f"{amount(words, value)}\u00a0{unit}"
    if low is None or high is None:
        return known
    return words.text(
        "{value} ({low} to {high})",
        value=known,
        low=amount(words, low),
        high=amount(words, high),
    )


def doubts(
    words: Words, curve: PlantCurve, why: Callable[[date], str], crowded: Sequence[date] = ()
) -> list[str]:
    """What is uncertain about a plant's curve and what it leaves out.

    Parameters
    ----------
    words : Words
    curve : PlantCurve
    why : callable
        Why a day has no value, in words.
    crowded : sequence of date
        Days on which its leaves met a neighbour's or reached its outline.

    Returns
    -------
    list of str
        Whole sentences; none where nothing is known of the plant.
    """
    if not curve.is_measured:
        return []
    # Of bare ground its rate says all
    found = [] if curve.bare_days else [_end_text(words, curve)]
    found.append(_missing_text(words, curve, why))
    if curve.outlying:
        found.append(
            words.text(
                "Passed over by the curve, since they lie too far from the days around them: "
                "{days}.",
                days=_days(words, curve.outlying),
            )
        )
    if curve.breaks:
        found.append(
            words.text(
                "The curve is open before {days}: the area had changed at once.",
                days=_days(words, curve.breaks),
            )
        )
    if crowded:
        found.append(
            words.counted(
                "On {n} day its leaves met a neighbour’s or reached its outline; what then was "
                "its own is less sure.",
                "On {n} days its leaves met a neighbour’s or reached its outline; what then was "
                "its own is less sure.",
                len(crowded),
            )
        )
    return found


def _end_text(words: Words, curve: PlantCurve) -> str:
    smooth = [day for day, three in curve.curve.items() if three[1] is not None]
    known = smooth or [day for day, three in curve.values.items() if three[1] is not None]
    day = max(known)
    low, value, high = (curve.curve if smooth else curve.values)[day]
    said = {"day": words.short_day(day), "value": f"{amount(words, value)}\u00a0{curve.unit}"}
    if low is None or high is None or value <= 0:
        return words.text("On {day}: {value}; how sure that is cannot be said.", **said)
    said |= {"low": amount(words, low), "high": amount(words, high)}
    if curve.mean_of:
        return words.text(
            "On {day} the mean is {value}; its plants lie between {low} and {high}.", **said
        )
    share = words.number(50 * (high - low) / value, digits=0 if high - low > 0.19 * value else 1)
    if smooth:
        return words.text(
            "The curve ends on {day} at {value}; its band there reaches from {low} to {high}, "
            "{share}\u00a0% to either side.",
            share=share,
            **said,
        )
    return words.text(
        "There is no smooth curve yet. On {day}: {value}; the interval reaches from {low} to "
        "{high}, {share}\u00a0% to either side.",
        share=share,
        **said,
    )


def _missing_text(words: Words, curve: PlantCurve, why: Callable[[date], str]) -> str:
    spans = missing(curve, why)
    if not spans:
        return words.text("Every day has a value.")
    return words.text(
        "Without a value: {days}.", days=_named(words, [_span_text(words, s) for s in spans])
    )


def missing(curve: PlantCurve, why: Callable[[date], str]) -> list[Span]:
    """Days without a value, those on end for one reason together."""
    spans: list[Span] = []
    for day in curve.open_days:
        reason = why(day)
        last = spans[-1] if spans else None
        if last and last.why == reason and day - last.last == timedelta(days=1):
            spans[-1] = Span(last.first, day, reason)
        else:
            spans.append(Span(day, day, reason))
    return spans


def _span_text(words: Words, span: Span) -> str:
    if span.first == span.last:
        return words.text("{day} ({why})", day=words.short_day(span.first), why=span.why)
    first, last = words.short_day(span.first), words.short_day(span.last)
    return words.text("{first} to {last} ({why})", first=first, last=last, why=span.why)


def _days(words: Words, days: Sequence[date]) -> str:
    return words.listed([words.short_day(day) for day in days])


def _named(words: Words, parts: Sequence[str]) -> str:
    """The first few of a list, and how many more there are."""
    if len(parts) <= _NAMED + 1:
        return "; ".join(parts)
    return words.counted(
        "{some}; and {n} more, in the table",
        "{some}; and {n} more, in the table",
        len(parts) - _NAMED,
        some="; ".join(parts[:_NAMED]),
    )
