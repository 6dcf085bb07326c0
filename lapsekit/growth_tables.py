"""What the growth tables hold: their columns, and their rows out of what was found."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from operator import attrgetter

from lapsekit.catalogue import Daily
from lapsekit.foretelling import Foretold
from lapsekit.growing import Growth
from lapsekit.noticing import Noticed
from lapsekit.season import Season
from lapsekit.tables import Column, Table, row_of
from lapsekit.when import day_of, days_between, plant_age

_SEEN = "colour pictures from above, canopy by pixel share, projected onto the bench plane; median"
_FITTED = "slope of a smooth trend of the log of the projected canopy area, with its 95 % interval"

DAILY = (
    Column("region", "string", "name in regions.toml"),
    Column("day", "date", "local calendar day"),
    Column("plant_age_days", "integer", "days since sowing", "d"),
    Column(
        *("area_cm2", "number"),
        "canopy area on the bench plane, what the day's usable frames agree on",
        *("cm2", "projected canopy area", _SEEN),
    ),
    Column("area_low_cm2", "number", "lower end of its 95 % interval", "cm2"),
    Column("area_high_cm2", "number", "upper end of its 95 % interval", "cm2"),
    Column(
        *("cover", "number"),
        "the same area as a share of the region; above 1 where leaves reach beyond it",
        *("1", "canopy cover", _SEEN),
    ),
    Column("cover_low", "number", "lower end of its 95 % interval", "1"),
    Column("cover_high", "number", "upper end of its 95 % interval", "1"),
    Column("frames_used", "integer", "usable frames the day's value rests on"),
    Column("frames_left_out", "integer", "frames of the day that were not used"),
    Column("left_out_because", "string", "reasons and counts"),
    Column("touches", "string", "regions whose leaves it meets, told apart with a wider interval"),
    Column("crowded", "integer", "1 where its leaves have reached its outline, 0 where not"),
    Column(
        *("movement", "number"),
        "largest less smallest of the frames' areas, as a share of the day's; 0 and up",
        "1",
    ),
    Column(
        *("midday_change", "number"),
        "midday's area against morning and evening, as a share; below 0, leaves hang",
        "1",
    ),
    Column(
        *("greenness", "number"),
        "green chromatic coordinate of the canopy, G / (R + G + B); 0 to 1",
        *("1", "canopy greenness", "green chromatic coordinate of canopy pixels"),
    ),
    Column("yellow_share", "number", "yellow share of the canopy; 0 to 1", "1"),
    Column("red_share", "number", "red or purple share of the canopy; 0 to 1", "1"),
    Column("outlying", "integer", "1 where the curve passes over the day's value, 0 where not"),
    Column("curve_cm2", "number", "area by the smooth curve through all days", "cm2"),
    Column("curve_low_cm2", "number", "lower end of its 95 % band", "cm2"),
    Column("curve_high_cm2", "number", "upper end of its 95 % band", "cm2"),
    Column(
        *("rgr_per_day", "number"),
        "relative growth rate by the curve, sudden losses left out",
        *("/d", "relative growth rate of projected canopy area", _FITTED),
    ),
    Column("rgr_low", "number", "lower end of its 95 % interval", "/d"),
    Column("rgr_high", "number", "upper end of its 95 % interval", "/d"),
    Column("doubling_days", "number", "ln 2 / RGR where the whole interval is above zero", "d"),
)

PAUSES = (
    Column("region", "string", "name in regions.toml"),
    Column("start", "date", "last day of growth before it"),
    Column("start_low", "date", "first day of the start's 95 % interval"),
    Column("start_high", "date", "last day of the start's 95 % interval"),
    Column("end", "date", "day from which growth goes on"),
    Column("end_low", "date", "first day of the end's 95 % interval"),
    Column("end_high", "date", "last day of the end's 95 % interval"),
    Column("length_days", "number", "from start to end", "d"),
    Column("length_low", "number", "lower end of its 95 % interval", "d"),
    Column("length_high", "number", "upper end of its 95 % interval", "d"),
    Column("rate_left", "number", "rate in the pause as a share of the rate around it", "1"),
    Column("after", "string", "diary event just before the start"),
    Column("others_too", "integer", "other plants that paused in the same days"),
    Column("others", "integer", "other plants that were asked"),
)

LOSSES = (
    Column("region", "string", "name in regions.toml"),
    Column("since", "date", "last measured day before it"),
    Column("day", "date", "first measured day after it"),
    Column("share", "number", "share of the canopy that went", "1"),
    Column("share_low", "number", "lower end of its 95 % interval", "1"),
    Column("share_high", "number", "upper end of its 95 % interval", "1"),
    Column("recovered_days", "integer", "days until the area was back", "d"),
    Column("recovered_low", "integer", "first day on which it may have been back", "d"),
    Column("recovered_high", "integer", "first day on which it surely was back", "d"),
    Column("after", "string", "diary event just before it"),
    Column("others_too", "integer", "other plants that lost canopy then too"),
    Column("others", "integer", "other plants that were asked"),
)

LAWS = (
    Column("region", "string", "name in regions.toml"),
    Column("law", "string", "growth law: logistic, gompertz, richards or expolinear"),
    Column("weight", "number", "Akaike weight among those compared", "1"),
    Column("aicc", "number", "Akaike's criterion, corrected for few days; smaller is better"),
    Column("first_day", "date", "first measured day of the fit"),
    Column("last_day", "date", "last measured day of the fit"),
    Column("parameters", "string", "name = value ± standard error; ages in days, areas in cm²"),
    Column("asymptote_cm2", "number", "final area, where the days support one", "cm2"),
    Column("asymptote_low_cm2", "number", "lower end of its 95 % interval", "cm2"),
    Column("asymptote_high_cm2", "number", "upper end of its 95 % interval", "cm2"),
    Column("refusal", "string", "why the asymptote is not stated"),
)

REACHED = (
    Column("region", "string", "name in regions.toml"),
    Column("cover", "number", "share of the region to be covered; 1 is the closed canopy", "1"),
    Column("day", "date", "day on which it is covered"),
    Column("day_low", "date", "first day of its 95 % interval"),
    Column("day_high", "date", "last day of its 95 % interval; empty if it may never be"),
    Column("by", "string", "measured: by the curve; else the growth laws that it rests on"),
    Column("note", "string", "what limits the answer, or why there is none"),
)


@dataclass(frozen=True)
class GrowthRow:
    """One region on one day; the fields are `DAILY`, None where there is no value."""

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
    outlying: int | None
    curve_cm2: float | None
    curve_low_cm2: float | None
    curve_high_cm2: float | None
    rgr_per_day: float | None
    rgr_low: float | None
    rgr_high: float | None
    doubling_days: float | None


_SMOOTH = (
    *("area_cm2", "low_cm2", "high_cm2"),
    *("rgr_per_day", "rgr_low", "rgr_high", "doubling_days"),
)


def daily_rows(season: Season, growth: Growth) -> list[GrowthRow]:
    """A row for every day from a region's first to its last, so that a gap shows as one."""
    if not growth.daily:
        return []
    known = {d.day: d for d in growth.daily}
    sown = season.sown(growth.region)
    days = days_between(growth.daily[0].day, growth.daily[-1].day)
    smooth = growth.told(*_SMOOTH)
    return [
        _row(growth, known.get(day), day, plant_age(day, sown), smooth.get(day.toordinal()))
        for day in days
    ]


def _row(
    growth: Growth, daily: Daily | None, day: date, age: int, smooth: tuple | None
) -> GrowthRow:
    d = daily or Daily(growth.region.name, day, None, None, None, None, None, None, 0, {})
    smooth = smooth or (None,) * len(_SMOOTH)
    if not growth.has_area:
        smooth = (None, None, None, *smooth[3:])
    return GrowthRow(
        growth.region.name,
        day,
        age,
        *(d.area_cm2, d.area_low_cm2, d.area_high_cm2, d.cover, d.cover_low, d.cover_high),
        d.frames_used,
        sum(d.left_out.values()),
        ", ".join(f"{n} {why}" for why, n in sorted(d.left_out.items())),
        ", ".join(d.touches),
        None if d.cover is None else int(d.crowded),
        *(d.range_share, d.midday_change, d.greenness, d.yellow_share, d.red_share),
        growth.is_outlying(day.toordinal()),
        *smooth,
    )


def daily_table(rows: Iterable[GrowthRow]) -> Table:
    """Everything by region and day."""
    told = attrgetter(*(column.name for column in DAILY))
    rows = [told(row) for row in rows]
    return Table("daily", "Canopy of every region by day", ("region", "day"), DAILY, rows)


def pauses_table(found: Noticed) -> Table:
    """Spans in which growth stood still."""
    days = ("start", "start_low", "start_high", "end", "end_low", "end_high")
    rows = [
        (
            p.region,
            *(day_of(getattr(p.pause, name)) for name in days),
            *(p.pause.length_days, p.pause.length_low, p.pause.length_high, p.pause.rate_left),
            *(p.event and p.event.what, p.others_paused, p.others),
        )
        for p in found.pauses
    ]
    return Table("pauses", "Spans in which growth stood still", ("region", "start"), PAUSES, rows)


def losses_table(found: Noticed) -> Table:
    """Days on which canopy went at once."""
    rows = [
        (
            x.region,
            *(day_of(x.loss.since), day_of(x.loss.day)),
            *row_of(x.loss, LOSSES[3:9]),
            *(x.event and x.event.what, x.others_lost, x.others),
        )
        for x in found.losses
    ]
    return Table("losses", "Days on which canopy went at once", ("region", "day"), LOSSES, rows)


def laws_table(found: Mapping[str, Foretold]) -> Table:
    """Growth laws fitted to each region, best first."""
    rows = [
        (
            name,
            *(fit.law, weight, fit.aicc, day_of(fit.first_day + told.sown)),
            day_of(fit.last_day + told.sown),
            "; ".join(f"{k} = {v:.6g} ± {fit.errors[k]:.3g}" for k, v in fit.parameters.items()),
            *(fit.asymptote, fit.asymptote_low, fit.asymptote_high, fit.refusal),
        )
        for name, told in found.items()
        for fit, weight in zip(told.compared.fits, told.compared.weights, strict=True)
    ]
    return Table("laws", "Growth laws fitted to each region", ("region", "law"), LAWS, rows)


def reached_table(found: Mapping[str, Foretold]) -> Table:
    """When covers are reached."""
    rows = [(name, *row_of(r, REACHED[1:])) for name, told in found.items() for r in told.reached]
    return Table("reached", "When covers are reached", ("region", "cover"), REACHED, rows)
