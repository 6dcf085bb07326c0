"""The morning chain: measure, growth, followers' pictures tidied, site, publish."""

from dataclasses import dataclass

from lapsekit.followers.retention import TidyReport, tidy
from lapsekit.measuring import MeasureReport, measure
from lapsekit.memory import give_back
from lapsekit.progress import Track, silent
from lapsekit.publishing import PublishReport, publish
from lapsekit.reporting import GrowthReport, write_daily
from lapsekit.season import Season
from lapsekit.site.build import SiteReport, build_for_readers
from lapsekit.unattended.news import note_alerts


@dataclass(frozen=True)
class MorningReport:
    """What each stage of the chain did."""

    measured: MeasureReport
    growth: GrowthReport
    tidied: TidyReport
    site: SiteReport
    published: PublishReport | None


def morning(season: Season, workers: int | None = None, track: Track = silent) -> MorningReport:
    """Measure what is new, write the growth tables, bring the site up to date, and publish it.

    It is published only where season.toml says where to. The caller holds the season's stage lock.
    Raises what the stages raise; what the stages before did stands.
    """
    measured, growth = measure(season, workers, track), write_daily(season)
    give_back()
    note_alerts(season, growth.alerts)  # before what may fail: they are told by the next call
    tidied = tidy(season)  # before the site, which must not show what has to go
    site = build_for_readers(season, track, growth)
    sent = publish(season, track=track) if season.settings.publish.to else None
    return MorningReport(measured, growth, tidied, site, sent)
