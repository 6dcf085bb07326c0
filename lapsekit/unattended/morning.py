"""The morning chain: measure, growth, site."""

from dataclasses import dataclass

from lapsekit.measuring import MeasureReport, measure
from lapsekit.progress import Track, silent
from lapsekit.reporting import GrowthReport, write_daily
from lapsekit.season import Season
from lapsekit.site.build import SiteReport, build_site


@dataclass(frozen=True)
class MorningReport:
    """What each stage of the chain did."""

    measured: MeasureReport
    growth: GrowthReport
    site: SiteReport


def morning(season: Season, workers: int | None = None, track: Track = silent) -> MorningReport:
    """Measure what is new, write the growth tables, bring the site up to date.

    The caller holds the season's stage lock. Raises what the stages raise.
    """
    measured, growth = measure(season, workers, track), write_daily(season)
    return MorningReport(measured, growth, build_site(season, track, growth))
