"""Stage: a collection -> a row for each season, without changing anything."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from lapsekit.checking import FINE, WATCH, WRONG, Finding, of_season
from lapsekit.collecting.members import Collection, Done, Member, in_turn
from lapsekit.measuring import frames_waiting
from lapsekit.season import Season
from lapsekit.when import Clock, system_clock

OVER, NEW = "over", "new"
OVER_DAYS = 30
"""A season whose last frame is older is over: nobody has to look after it."""


@dataclass(frozen=True)
class SeasonRow:
    """What is told of one season.

    Attributes
    ----------
    key, title, bench : str
    cameras, regions, frames : int
    first_day, last_day : date or None
        Of frames; None where there is none.
    measured_to : date or None
        The last day on which a region has a value.
    waiting : int
        Frames that are not measured, or not judged, by today's settings. Files that were put into
        the folder since its catalogue was last brought into step are not among them.
    health : str
        ``fine``, ``watch``, ``wrong``; ``over`` for a season whose last frame is `OVER_DAYS` old;
        ``new`` for one without any frame.
    told : str
        What is to be watched or wrong, the worst first.
    """

    key: str
    title: str
    bench: str
    cameras: int
    regions: int
    frames: int
    first_day: date | None
    last_day: date | None
    measured_to: date | None
    waiting: int
    health: str
    told: str


def rows(collection: Collection, clock: Clock = system_clock) -> Iterator[Done[SeasonRow]]:
    """A row for each season, as it is opened; parameters as of `in_turn`."""
    return in_turn(collection, row_of, clock)


def row_of(season: Season, member: Member) -> SeasonRow:
    """The row of one open season."""
    named = (member.key, member.title(season), member.bench)
    counts = (len(season.settings.cameras), len(season.regions.region))
    if not member.has_catalogue:
        told = "no catalogue yet; lapsekit measure makes it"
        return SeasonRow(*named, *counts, 0, None, None, None, 0, NEW, told)
    catalogue = season.catalogue
    span = catalogue.span()
    first, last = map(season.day_of, span) if span else (None, None)
    values = [catalogue.last_daily(region.name) for region in season.regions.region]
    health, told = _health(season, last)
    return SeasonRow(
        *named,
        *counts,
        sum(map(catalogue.number_of_frames, catalogue.cameras())),
        *(first, last, max((each.day for each in values if each), default=None)),
        frames_waiting(season),
        *(health, told),
    )


def is_over(season: Season, last: date | None) -> bool:
    """Whether a season's last frame is so old that nobody has to look after it."""
    return last is not None and (season.day_of(season.clock()) - last).days > OVER_DAYS


def _health(season: Season, last: date | None) -> tuple[str, str]:
    if last is None:
        return NEW, "no frame yet"
    if is_over(season, last):
        return OVER, ""
    found = sorted(of_season(season), key=lambda f: (WRONG, WATCH, FINE).index(f.how))
    amiss = [finding for finding in found if finding.how != FINE]
    return (found[0].how if found else FINE), "; ".join(map(_words, amiss))


def _words(finding: Finding) -> str:
    return f"{finding.what}: {finding.told}"
