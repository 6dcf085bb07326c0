"""What the tables of a collection's growth hold: their columns, and rows out of one season."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from lapsekit.collecting.crops import crop_of
from lapsekit.collecting.groups import Compared
from lapsekit.collecting.members import Member
from lapsekit.growing import Growth
from lapsekit.growth_tables import DAILY, GrowthRow, daily_rows
from lapsekit.season import Season
from lapsekit.tables import Column, Table, row_of
from lapsekit.when import day_of, plant_age

_KNOWN = {column.name: column for column in DAILY}

WHOSE = (
    Column("season", "string", "its folder, from where the collection's file lies"),
    Column("bench", "string", "name of the bench in the collection's file"),
    Column("region", "string", "name in that season's regions.toml"),
    Column("group", "string", "group in that season's regions.toml"),
    Column("crop", "string", "by [crops] of the collection's file, or the region's name"),
    Column("sown", "date", "day of sowing"),
)

_VALUES = (
    *("area_cm2", "area_low_cm2", "area_high_cm2", "cover", "cover_low", "cover_high"),
    *("rgr_per_day", "rgr_low", "rgr_high", "doubling_days"),
)

DAYS = (
    *WHOSE,
    _KNOWN["day"],
    _KNOWN["plant_age_days"],
    *(_KNOWN[name] for name in (*_VALUES[:6], "frames_used", "crowded")),
    *(_KNOWN[name] for name in ("curve_cm2", "curve_low_cm2", "curve_high_cm2")),
    *(_KNOWN[name] for name in _VALUES[6:]),
    Column("paused", "integer", "1 in a span in which growth stood still, 0 outside"),
)

PLANTS = (
    *WHOSE,
    Column("title", "string", "title of the season"),
    Column("first_day", "date", "first day with a value"),
    Column("day", "date", "last day with a value; what follows is of this day"),
    _KNOWN["plant_age_days"],
    *(_KNOWN[name] for name in _VALUES),
    Column("days_measured", "integer", "days that have a value"),
    Column("pauses", "integer", "spans in which growth stood still"),
    Column("paused_days", "number", "their length together", "d"),
    Column("losses", "integer", "days on which canopy went at once"),
)

PAUSES = (
    *WHOSE,
    Column("start", "date", "last day of growth before it"),
    Column("end", "date", "day from which growth goes on"),
    Column("length_days", "number", "from start to end", "d"),
    Column("length_low", "number", "lower end of its 95 % interval", "d"),
    Column("length_high", "number", "upper end of its 95 % interval", "d"),
)

CONTRASTS = (
    Column("first", "string", "group"),
    Column("second", "string", "group that is held against it"),
    Column("measure", "string", "the one number of each plant"),
    Column("seasons", "integer", "seasons with plants of both, each a block"),
    Column("first_plants", "integer", "plants of the first group there"),
    Column("second_plants", "integer", "plants of the second group there"),
    Column("ratio", "number", "second over first, within seasons", "1"),
    Column("ratio_low", "number", "lower end of its 95 % interval", "1"),
    Column("ratio_high", "number", "upper end of its 95 % interval", "1"),
    Column("p", "number", "by permutation within seasons, two-sided"),
    Column("p_corrected", "number", "the same, corrected (Holm) for all comparisons here"),
    Column("refusal", "string", "why no claim can be made"),
)


@dataclass(frozen=True)
class Whose:
    """Which plant it is; the fields are `WHOSE`."""

    season: str
    bench: str
    region: str
    group: str | None
    crop: str
    sown: date


@dataclass(frozen=True)
class PlantRows:
    """What the tables say of one plant.

    `days` are tuples as `DAYS` names them, `pauses` as `PAUSES` does, and `plant` one as `PLANTS`
    does; None of a plant without any value.
    """

    whose: Whose
    plant: tuple | None
    days: list[tuple]
    pauses: list[tuple]


def whose(season: Season, member: Member, growth: Growth, crops: Mapping) -> Whose:
    """Which plant a growth is of."""
    region = growth.region
    crop = crop_of(region.name, crops)
    return Whose(member.key, member.bench, region.name, region.group, crop, season.sown(region))


def plant_rows(season: Season, member: Member, growth: Growth, crops: Mapping) -> PlantRows:
    """All that the tables say of one plant."""
    told = whose(season, member, growth, crops)
    own = row_of(told, WHOSE)
    rows = daily_rows(season, growth)
    paused = {
        day
        for pause in growth.pauses
        for day in range(round(pause.start) + 1, round(pause.end) + 1)
    }
    names = [column.name for column in DAYS[len(WHOSE) : -1]]
    has_curve = growth.has_area and bool(growth.asked)
    days = [
        (
            *own,
            *(getattr(row, name) for name in names),
            int(row.day.toordinal() in paused) if has_curve else None,
        )
        for row in rows
    ]
    return PlantRows(told, _last(season, member, growth, own, rows), days, _pauses(growth, own))


def _last(
    season: Season, member: Member, growth: Growth, own: tuple, rows: Sequence[GrowthRow]
) -> tuple | None:
    known = [row for row in rows if row.cover is not None]
    if not known:
        return None
    last = known[-1]
    return (
        *own,
        *(member.title(season), known[0].day, last.day, plant_age(last.day, own[-1])),
        *(getattr(last, name) for name in _VALUES),
        len(known),
        len(growth.pauses),
        sum(pause.length_days for pause in growth.pauses),
        len(growth.losses),
    )


def _pauses(growth: Growth, own: tuple) -> list[tuple]:
    return [
        (*own, day_of(p.start), day_of(p.end), p.length_days, p.length_low, p.length_high)
        for p in growth.pauses
    ]


def contrasts_table(found: Sequence[Compared]) -> Table:
    """Groups held against each other; pairs that cannot be are there with the reason."""
    rows = []
    for each in found:
        c = each.contrast
        rows.append(
            (
                *(c.first, c.second, c.measure, len(each.blocks)),
                *(c.first_plants, c.second_plants),
                *(each.ratio(c.estimate), each.ratio(c.low), each.ratio(c.high)),
                *(c.p, c.p_corrected, c.refusal),
            )
        )
    title = "Groups held against each other within seasons"
    return Table("contrasts", title, ("first", "second"), CONTRASTS, rows)
