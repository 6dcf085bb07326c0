"""Stage: growth -> tables, the package that describes them, and plots, in ``growth/``."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from lapsekit.alerting import Alert, alerts
from lapsekit.catalogue import Daily
from lapsekit.diary import read_diary
from lapsekit.foretelling import CLOSED, Foretold, foretell
from lapsekit.growing import Growth, grow, keep_settled
from lapsekit.growth_tables import (
    GrowthRow,
    daily_rows,
    daily_table,
    laws_table,
    losses_table,
    pauses_table,
    reached_table,
)
from lapsekit.noticing import Noticed, notice
from lapsekit.progress import Track, silent
from lapsekit.safely import remove_leftovers, write_safely
from lapsekit.season import DIARY_FILE, Season
from lapsekit.tables import Table, data_package, has_parquet

PACKAGE = "datapackage.json"


@dataclass(frozen=True)
class GrowthReport:
    """A season's growth, the rows of its daily table by region, and what was written.

    `alerts` are those of the last day; `noticed` and `foretold` are there only after
    `report_growth`.
    """

    growths: dict[str, Growth]
    by_region: dict[str, list[GrowthRow]]
    alerts: list[Alert]
    written: list[Path] = field(default_factory=list)
    noticed: Noticed | None = None
    foretold: Mapping[str, Foretold] = field(default_factory=dict)

    @property
    def rows(self) -> list[GrowthRow]:
        """All rows, in the order of regions.toml."""
        return [row for rows in self.by_region.values() for row in rows]

    @property
    def values(self) -> list[Daily]:
        """Daily values of all regions that growth was worked out of, each region's by day."""
        return [each for growth in self.growths.values() for each in growth.daily]

    @cached_property
    def daily(self) -> Table:
        """The rows as a table."""
        return daily_table(self.rows)


def work_out(season: Season) -> GrowthReport:
    """Growth of each region, a row for every day from its first to its last.

    A day without any frame is a row without values, so that a gap shows as one.
    """
    growths = grow(season)
    rows = {name: daily_rows(season, growth) for name, growth in growths.items()}
    return GrowthReport(growths, rows, alerts(season, growths))


def write_daily(season: Season) -> GrowthReport:
    """Write the daily table alone (CSV, and Parquet where pyarrow is installed), and keep what is
    settled of growth.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.
    """
    report = work_out(season)
    keep_settled(season, report.growths)
    season.tables.mkdir(exist_ok=True)
    remove_leftovers(season.tables)
    _write(season, report.written, [report.daily])
    return report


def report_growth(
    season: Season, covers: Sequence[float] = (CLOSED,), track: Track = silent
) -> GrowthReport:
    """Write all tables, their data package and, where there is something to draw, the plots.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.
    covers : sequence of float
        Shares of each region whose dates are asked for; see `lapsekit.foretelling`.
    track : Track
        Told about progress.

    Raises
    ------
    SettingsError
        If the diary cannot be read, or a cover is out of range.
    """
    report = work_out(season)
    keep_settled(season, report.growths)
    noticed = notice(season, report.growths)
    foretold = foretell(season, report.growths, covers, track)
    report = replace(report, noticed=noticed, foretold=foretold)
    season.tables.mkdir(exist_ok=True)
    remove_leftovers(season.tables)
    tables = [report.daily, pauses_table(noticed), losses_table(noticed)]
    tables += [laws_table(foretold), reached_table(foretold)]
    _write(season, report.written, tables)
    title = f"Growth of {season.settings.season.title}"
    content = data_package("growth", title, tables)
    _put(season, report.written, PACKAGE, content.encode())
    if any(row.cover is not None for row in report.rows):
        from lapsekit.growth_plots import area_plot, rate_plot

        growths, events = list(report.growths.values()), read_diary(season.folder / DIARY_FILE)[0]
        for name, draw in (("growth", area_plot), ("rates", rate_plot)):
            for kind, content in draw(growths, events).items():
                _put(season, report.written, f"{name}.{kind}", content)
    return report


def _write(season: Season, written: list[Path], tables: Sequence[Table]) -> None:
    for table in tables:
        _put(season, written, f"{table.name}.csv", table.csv)
        if has_parquet():
            _put(season, written, f"{table.name}.parquet", table.as_parquet())


def _put(season: Season, written: list[Path], name: str, content: bytes) -> None:
    written.append(season.tables / name)
    write_safely(written[-1], content)
