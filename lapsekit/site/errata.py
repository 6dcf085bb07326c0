"""Numbers corrected after they had been published, as pages tell them (pure)."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from lapsekit.corrections import Correction
from lapsekit.language.words import Words
from lapsekit.site.almanac import Almanac


@dataclass(frozen=True)
class Erratum:
    """One correction: when, whose numbers (empty for the whole bench), of which days, what."""

    noticed: date
    who: str
    days: str
    wrong: str
    change: str


def errata(almanac: Almanac, own: Collection[str] | None = None) -> list[Erratum]:
    """Corrections of the season, newest first.

    Parameters
    ----------
    almanac : Almanac
    own : collection of str, optional
        Names of regions: only theirs, with those of the whole bench.
    """
    titles = {region.name: region.title for region in almanac.regions}
    return [
        Erratum(
            each.noticed,
            titles.get(each.region, each.region),
            _days(almanac.words, each),
            each.wrong,
            each.change,
        )
        for each in almanac.corrections
        if own is None or not each.region or each.region in own
    ]


def _days(words: Words, each: Correction) -> str:
    first, last = (day and words.short_day(day) for day in (each.first, each.last))
    if first and last and first != last:
        return words.text("Numbers of {first} to {last} changed.", first=first, last=last)
    if first and last:
        return words.text("Numbers of {day} changed.", day=first)
    if first:
        return words.text("Numbers from {day} on changed.", day=first)
    return words.text("Numbers until {day} changed.", day=last) if last else ""
