"""Stage: daily values -> growth tables and a plot, in the season's ``growth`` folder."""

import csv
import importlib.util
import io
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date
from functools import cached_property
from pathlib import Path

from lapsekit.catalogue import Daily
from lapsekit.growth.rates import Rate, growth_rates
from lapsekit.safely import remove_leftovers, write_safely
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.when import days_between, plant_age

COLUMNS = {
    "region": "name in regions.toml",
    "day": "local calendar day",
    "plant_age_days": "days since sowing",
    "area_cm2": "canopy area on the bench plane, what the day's usable frames agree on; cm²",
    "area_low_cm2": "lower end of its 95 % interval; cm²",
    "area_high_cm2": "upper end of its 95 % interval; cm²",
    "cover": "the same area as a share of the region; above 1 where leaves reach beyond it",
    "cover_low": "lower end of its 95 % interval",
    "cover_high": "upper end of its 95 % interval",
    "frames_used": "usable frames the day's value rests on",
    "frames_left_out": "frames of the day that were not used",
    "left_out_because": "reasons and counts",
    "touches": "regions whose leaves it meets, told apart with a wider interval",
    "crowded": "1 where its leaves have reached its outline, 0 where not",
    "movement": "largest less smallest of the frames' areas, as a share of the day's; 0 and up",
    "midday_change": "midday's area against morning and evening, as a share; below 0, leaves hang",
    "greenness": "green chromatic coordinate of the canopy, G / (R + G + B); 0 to 1",
    "yellow_share": "yellow share of the canopy; 0 to 1",
    "red_share": "red or purple share of the canopy; 0 to 1",
    "rgr_per_day": "relative growth rate over the window that ends on the day; per day",
    "rgr_low": "lower end of its 95 % interval; per day",
    "rgr_high": "upper end of its 95 % interval; per day",
    "doubling_days": "ln 2 / RGR where the whole interval is above zero; days",
}


@dataclass(frozen=True)
class GrowthRow:
    """One region on one day; the fields are `COLUMNS`, None where there is no value."""

    region: str
    day: date
    plant_age_days: int
    area_cm2: float | None
    area_low_cm2: float | None
    area_high_cm2: float | None
    cover: float | None
    cover_low: float | None
    cover_high: float | None
    frames_used: int
    frames_left_out: int
    left_out_because: str
    touches: str
    crowded: int | None
    movement: float | None
    midday_change: float | None
    greenness: float | None
    yellow_share: float | None
    red_share: float | None
    rgr_per_day: float | None
    rgr_low: float | None
    rgr_high: float | None
    doubling_days: float | None


@dataclass(frozen=True)
class GrowthReport:
    """What the growth stage wrote, and the rows it wrote, by region."""

    by_region: dict[str, list[GrowthRow]]
    written: list[Path]

    @property
    def rows(self) -> list[GrowthRow]:
        """All rows, in the order of regions.toml."""
        return [row for rows in self.by_region.values() for row in rows]

    @cached_property
    def csv(self) -> str:
        """The rows as CSV."""
        return csv_text(self.rows)


def growth_rows(season: Season) -> dict[str, list[GrowthRow]]:
    """Growth of each region, a row for every day from its first to its last.

    Returns
    -------
    dict of str to list of GrowthRow
        In the order of regions.toml. A day without any frame is a row without values, so that
        a gap shows as one.
    """
    return {
        region.name: _region_rows(season, region, season.catalogue.daily(region.name))
        for region in season.regions.region
    }


def _region_rows(season: Season, region: Region, daily: list[Daily]) -> list[GrowthRow]:
    if not daily:
        return []
    known = {d.day: d for d in daily}
    days = list(days_between(daily[0].day, daily[-1].day))
    values = [_growing(known.get(day)) for day in days]
    rates = growth_rates(days, values, season.settings.growth.window_days)
    sown = season.sown(region)
    return [
        _row(region.name, known.get(day), rate, plant_age(day, sown))
        for day, rate in zip(days, rates, strict=True)
    ]


def _growing(daily: Daily | None) -> float | None:
    """The value whose log grows: the area, or the cover where the camera has no scale."""
    if daily is None:
        return None
    return daily.cover if daily.area_cm2 is None else daily.area_cm2


def _row(region: str, daily: Daily | None, rate: Rate, age: int) -> GrowthRow:
    d = daily or Daily(region, rate.day, None, None, None, None, None, None, 0, {})
    return GrowthRow(
        region=region,
        day=rate.day,
        plant_age_days=age,
        area_cm2=d.area_cm2,
        area_low_cm2=d.area_low_cm2,
        area_high_cm2=d.area_high_cm2,
        cover=d.cover,
        cover_low=d.cover_low,
        cover_high=d.cover_high,
        frames_used=d.frames_used,
        frames_left_out=sum(d.left_out.values()),
        left_out_because=", ".join(f"{n} {why}" for why, n in sorted(d.left_out.items())),
        touches=", ".join(d.touches),
        crowded=None if d.cover is None else int(d.crowded),
        movement=d.range_share,
        midday_change=d.midday_change,
        greenness=d.greenness,
        yellow_share=d.yellow_share,
        red_share=d.red_share,
        rgr_per_day=rate.rgr_per_day,
        rgr_low=rate.rgr_low,
        rgr_high=rate.rgr_high,
        doubling_days=rate.doubling_days,
    )


def csv_text(rows: Iterable[GrowthRow]) -> str:
    """The growth table as CSV: a header, then one row per region and day."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(COLUMNS)
    for row in rows:
        table.writerow([_cell(value) for value in vars(row).values()])
    return out.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def write_tables(season: Season) -> GrowthReport:
    """Write the growth table: CSV, and Parquet where pyarrow is installed.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.

    Returns
    -------
    GrowthReport
    """
    report = GrowthReport(growth_rows(season), [])
    season.tables.mkdir(exist_ok=True)
    remove_leftovers(season.tables)
    contents = {"daily.csv": report.csv.encode()}
    if importlib.util.find_spec("pyarrow"):
        contents["daily.parquet"] = _parquet(report.rows)
    for name, content in contents.items():
        report.written.append(season.tables / name)
        write_safely(report.written[-1], content)
    return report


def report_growth(season: Season) -> GrowthReport:
    """Write the growth table and, where there is something to draw, its plot (SVG and PNG).

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.

    Returns
    -------
    GrowthReport
    """
    report = write_tables(season)
    if report.rows:
        from lapsekit.plotting import growth_plot

        for kind in ("svg", "png"):
            report.written.append(season.tables / f"growth.{kind}")
            write_safely(report.written[-1], growth_plot(report.by_region, season.regions, kind))
    return report


def _parquet(rows: list[GrowthRow]) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    whole = pa.int64()
    kinds = {str: pa.string(), int: whole, int | None: whole, date: pa.date32()}
    schema = pa.schema(
        [
            pa.field(f.name, kinds.get(f.type, pa.float64()), metadata={"about": COLUMNS[f.name]})
            for f in fields(GrowthRow)
        ]
    )
    out = io.BytesIO()
    columns = [pa.array([getattr(r, f.name) for r in rows], f.type) for f in schema]
    pq.write_table(pa.Table.from_arrays(columns, schema=schema), out)
    return out.getvalue()
