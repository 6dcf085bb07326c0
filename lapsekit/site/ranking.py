"""Which plant grows fastest now: relative growth rates of the last days, side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import log, sqrt
from statistics import mean, stdev
from typing import TYPE_CHECKING

from lapsekit.growing import Growth
from lapsekit.language.phrases import capital, no_rate_text
from lapsekit.site.curves import PlantCurve
from lapsekit.site.wording import amount

if TYPE_CHECKING:
    from lapsekit.language.words import Words

NOW = timedelta(days=3)
"""A rate that is older than this against the newest one is no rate of now."""


@dataclass(frozen=True)
class Rate:
    """A plant's relative growth rate per day on its last supported day, with its interval.

    Of a group, the mean of its plants; its interval rests on how they differ.
    """

    name: str
    title: str
    day: date
    per_day: float
    low: float
    high: float

    @property
    def grows(self) -> bool:
        """Whether the whole interval lies above zero."""
        return self.low > 0


@dataclass(frozen=True)
class Ranked:
    """One line of the list, in words; places are shares of the drawn scale, 0 to 1."""

    name: str
    title: str
    rate: str
    doubling: str
    low: float
    value: float
    high: float


@dataclass(frozen=True)
class Ranking:
    """Who grows fastest now.

    Attributes
    ----------
    headline : str
        The answer in one or two sentences.
    ranked : tuple of Ranked
        Fastest first.
    zero : float
        Where no growth lies on the drawn scale, 0 to 1.
    without : str
        Plants without a rate of now; empty where there are none.
    gain : str
        Who gained most area in a week; empty where nobody can be asked.
    """

    headline: str
    ranked: tuple[Ranked, ...]
    zero: float
    without: str
    gain: str


def rates(
    curves: Sequence[PlantCurve], growths: Mapping[str, Growth]
) -> tuple[list[Rate], list[str]]:
    """Rates of now, fastest first, and the titles of plants that have none."""
    found, without = [], []
    rows = [c for c in curves if c.in_overview]
    for curve in rows:
        rate = rate_of(curve, curves, growths)
        if rate is None:
            without.append(curve.title)
        else:
            found.append(rate)
    newest = max((rate.day for rate in found), default=None)
    old = [rate for rate in found if newest - rate.day > NOW]
    now = sorted((r for r in found if r not in old), key=lambda r: (-r.per_day, r.title))
    return now, [*without, *(rate.title for rate in old)]


def rate_of(
    curve: PlantCurve, curves: Sequence[PlantCurve], growths: Mapping[str, Growth]
) -> Rate | None:
    """The latest rate of a plant, or of a group's mean plant; None where there is none."""
    if curve.mean_of:
        return _mean_rate(curve, curves, growths)
    return _rate(curve, growths[curve.name]) if curve.name in growths else None


def _rate(curve: PlantCurve, growth: Growth) -> Rate | None:
    names = ("rgr_per_day", "rgr_low", "rgr_high")
    for day in sorted(curve.values, reverse=True):
        three = [growth.on(day.toordinal(), name) for name in names]
        if None not in three:
            return Rate(curve.name, curve.title, day, *three)
    return None


def _mean_rate(
    curve: PlantCurve, curves: Sequence[PlantCurve], growths: Mapping[str, Growth]
) -> Rate | None:
    """Mean of the group's plants on the last day on which all of them have a rate."""
    members = [
        growths[c.name]
        for c in curves
        if not c.mean_of and (c.group, c.camera) == (curve.group, curve.camera)
    ]
    for day in sorted(curve.values, reverse=True):
        each = [growth.on(day.toordinal(), "rgr_per_day") for growth in members]
        if len(each) > 1 and None not in each:
            from scipy.stats import t

            half = t.ppf(0.975, len(each) - 1) * stdev(each) / sqrt(len(each))
            middle = mean(each)
            return Rate(curve.name, curve.title, day, middle, middle - half, middle + half)
    return None


def ranking(
    words: Words, curves: Sequence[PlantCurve], growths: Mapping[str, Growth]
) -> Ranking | None:
    """Rank the plants in words; None where no plant has a rate."""
    now, without = rates(curves, growths)
    if not now:
        return None
    low, high = min(0.0, *(r.low for r in now)), max(0.0, *(r.high for r in now))
    span = high - low or 1.0
    return Ranking(
        _headline(words, now),
        tuple(
            Ranked(
                *(r.name, r.title, _rate_text(words, r), _doubling_text(words, r)),
                *(round(float((x - low) / span), 3) for x in (r.low, r.per_day, r.high)),
            )
            for r in now
        ),
        round(float(-low / span), 3),
        words.text("No rate of now: {plants}.", plants=words.listed(without)) if without else "",
        _gain_text(words, curves),
    )


def rate_text(words: Words, rate: Rate | None, bare_days: int) -> str:
    """A plant's latest growth rate in words, or why there is none: see `no_rate_text`."""
    if rate is None:
        return f"{capital(no_rate_text(words, bare_days))}."
    return words.text(
        "Growth on {day}: {rate}; {doubling}.",
        day=words.short_day(rate.day),
        rate=_rate_text(words, rate),
        doubling=_doubling_text(words, rate),
    )


def _headline(words: Words, now: Sequence[Rate]) -> str:
    first = now[0]
    day = words.short_day(max(rate.day for rate in now))
    if not any(rate.grows for rate in now):
        return words.text(
            "No plant is shown to grow now ({day}): each interval reaches down to zero.", day=day
        )
    tied = [rate for rate in now[1:] if rate.high >= first.low]
    said = {"plant": first.title, "rate": _rate_text(words, first), "day": day}
    if not tied:
        return words.text(
            "{plant} grows fastest now ({day}): {rate}; {doubling}.",
            doubling=_doubling_text(words, first),
            **said,
        )
    if len(tied) > 3:
        return words.counted(
            "{plant} grows fastest now ({day}) by its middle value: {rate}; but the interval of "
            "{n} other plant overlaps with it, so the order among them is not sure.",
            "{plant} grows fastest now ({day}) by its middle value: {rate}; but the intervals of "
            "{n} other plants overlap with it, so the order among them is not sure.",
            len(tied),
            **said,
        )
    return words.text(
        "{plant} grows fastest now ({day}) by its middle value: {rate}; but this overlaps with the "
        "interval of {others}, so which of them is first is not sure.",
        others=words.listed([rate.title for rate in tied]),
        **said,
    )


def _rate_text(words: Words, rate: Rate) -> str:
    """``12 % a day (9 to 15)``: the relative growth rate, as everywhere on the site."""
    shares = [100 * x for x in (rate.per_day, rate.low, rate.high)]
    value, low, high = (words.number(x, 0 if abs(x) >= 9.95 else 1) for x in shares)
    return words.text("{value}\u00a0% a day ({low} to {high})", value=value, low=low, high=high)


def _doubling_text(words: Words, rate: Rate) -> str:
    """``doubles in 6 days (5 to 8)``."""
    if rate.high < 0:
        return words.text("it shrinks")
    if not rate.grows:
        return words.text("not shown to grow")
    days, low, high = (log(2) / x for x in (rate.per_day, rate.high, rate.low))
    if high > 365:
        return words.text(
            "doubles in {days} days (at least {low})",
            days=amount(words, days),
            low=amount(words, low),
        )
    return words.text(
        "doubles in {days} days ({low} to {high})",
        days=amount(words, days),
        low=amount(words, low),
        high=amount(words, high),
    )


def _gain_text(words: Words, curves: Sequence[PlantCurve]) -> str:
    """Who gained most area in the last week, which is another question."""
    rows = [c for c in curves if c.in_overview and not c.mean_of and c.unit == "cm²"]
    last = max((day for c in rows for day in c.values), default=None)
    gains = []
    for curve in rows:
        new, old = (
            curve.values.get(day, (None,) * 3)[1] for day in (last, last - timedelta(days=7))
        )
        if new is not None and old is not None:
            gains.append((new - old, curve.title))
    if not gains or max(gains)[0] <= 0:
        return ""
    gain, title = max(gains)
    return words.text(
        "Fastest means against a plant’s own size. In area, {plant} gained most in the last week: "
        "{gain}\u00a0cm².",
        plant=title,
        gain=amount(words, gain),
    )
