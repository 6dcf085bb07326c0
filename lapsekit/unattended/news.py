"""Growth alarms in words, and as news for those who are called."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lapsekit.language.words import ENGLISH
from lapsekit.season import Season
from lapsekit.unattended.calls import note_news
from lapsekit.when import day_of

if TYPE_CHECKING:
    from lapsekit.alerting import Alert


def note_alerts(season: Season, found: Sequence[Alert]) -> None:
    """Remember growth alarms for the next call, each once a region and day."""
    keys = [f"growth of {each.region}, {day_of(each.fall.day)}" for each in found]
    note_news(season, zip(keys, look_sentences(season, found), strict=True))


def look_sentences(season: Season, found: Sequence[Alert]) -> list[str]:
    """What to look at today: a sentence for every plant whose canopy fell, in their order."""
    titles = {region.name: region.title for region in season.regions.region}
    return [_sentence(titles[each.region], each) for each in found]


def _sentence(title: str, alert: Alert) -> str:
    fall, noted = alert.fall, ""
    if alert.event is not None:
        noted = f" (the diary says “{alert.event.what}” on {ENGLISH.short_day(alert.event.day)})"
    day, since = (ENGLISH.short_day(day_of(each)) for each in (fall.day, fall.since))
    return (
        f"LOOK: on {day} the canopy of {title} was {fall.share:.0%} smaller than on {since}"
        f"{_others(alert)}: look for wilting, pests or a moved pot{noted}."
    )


def _others(alert: Alert) -> str:
    change, share = alert.fall.others_change, alert.fall.share
    if change is None:
        return ""
    kind = "others did not"
    if change < -0.02:
        kind = "others fell less" if -change < share / 2 else "others fell too"
    return f"; {kind} ({change:+.0%})"
