"""The data of the site as files for others: CSV beside the data package that describes them.

What a table tells stands on the pages too. Weather, place and time zone are in none of them.
"""

from collections.abc import Iterable, Mapping, Sequence

from lapsekit.diary import Event
from lapsekit.growth.responses import Effect
from lapsekit.growth_tables import losses_table, pauses_table
from lapsekit.noticing import Noticed
from lapsekit.plain import one_line, readable
from lapsekit.reporting import GrowthReport
from lapsekit.responding import EventResponse
from lapsekit.settings import Region
from lapsekit.site.elsewhere.addresses import PACKAGE
from lapsekit.tables import Column, Table, data_package

REGIONS = (
    Column("region", "string", "name in the other tables"),
    Column("title", "string", "what the pages call it"),
    Column("camera", "string", "camera that sees it"),
    Column("group", "string", "regions of one group are treated alike"),
    Column("sown", "date", "day on which it was sown"),
)
DIARY = (
    Column("number", "integer", "place in the diary, from 1"),
    Column("day", "date", "local calendar day"),
    Column("region", "string", "name of the region; empty for the whole bench"),
    Column("event", "string", "what was done or seen"),
    Column("note", "string", "what else was written"),
)
_CHANGE = "change in growth rate beyond that of other plants on the same days"
_STEP = "change of canopy at once beyond that of other plants, as a difference of logarithms"
RESPONSES = (
    Column("number", "integer", "place of the event in the diary"),
    Column("day", "date", "day of the event"),
    Column("region", "string", "name of the region; empty for the whole bench"),
    Column("event", "string", "what was done or seen"),
    Column("rate_before", "number", "mean relative growth rate before", "/d"),
    Column("rate_after", "number", "mean relative growth rate after", "/d"),
    Column("others_rate_before", "number", "the same of the other plants, before", "/d"),
    Column("others_rate_after", "number", "the same of the other plants, after", "/d"),
    Column("rate_change", "number", _CHANGE, "/d"),
    Column("rate_change_low", "number", "lower end of its interval", "/d"),
    Column("rate_change_high", "number", "upper end of its interval", "/d"),
    Column("rate_change_p", "number", "two-sided, corrected for all questions asked", "1"),
    Column("step", "number", _STEP, "1"),
    Column("step_low", "number", "lower end of its interval", "1"),
    Column("step_high", "number", "upper end of its interval", "1"),
    Column("step_p", "number", "two-sided, corrected for all questions asked", "1"),
    Column("level", "number", "of the intervals, such as 0.95", "1"),
    Column("others", "integer", "other plants that the rate is held against"),
    Column("asked", "integer", "questions that were asked in all, and corrected for"),
    Column("refusal", "string", "why nothing can be said, where nothing can"),
)


def season_tables(
    growth: GrowthReport,
    noticed: Noticed,
    regions: Sequence[Region],
    sown: Mapping[str, object],
    events: Sequence[Event],
    responses: Sequence[EventResponse],
) -> list[Table]:
    """Every table of the download.

    Parameters
    ----------
    growth : GrowthReport
        As `lapsekit.reporting.work_out` gives it.
    noticed : Noticed
        Pauses and losses.
    regions : sequence of Region
        In the order of regions.toml.
    sown : mapping of str to datetime.date
        Day on which each region was sown, by its name.
    events : sequence of Event
        The diary, in order of day.
    responses : sequence of EventResponse
        What followed its events.
    """
    tables = [growth.daily, regions_table(regions, sown), diary_table(events)]
    return [
        *tables,
        responses_table(events, responses),
        pauses_table(noticed),
        losses_table(noticed),
    ]


def data_files(title: str, tables: Iterable[Table]) -> dict[str, bytes]:
    """Content of each file of the download by its path in the site."""
    tables = list(tables)
    files = {f"data/{table.name}.csv": table.csv for table in tables}
    package = data_package("season", one_line(title), tables)
    return files | {PACKAGE: package.encode()}


def regions_table(regions: Iterable[Region], sown: Mapping[str, object]) -> Table:
    """What stands where; outlines are not told, since pictures of the site are not frames."""
    rows = [(r.name, one_line(r.title), r.camera, r.group, sown[r.name]) for r in regions]
    return Table("regions", "Regions that are measured", ("region",), REGIONS, rows)


def diary_table(events: Iterable[Event]) -> Table:
    """The diary as the pages show it; comments and lines that were passed over are not in it."""
    rows = [
        (number, e.day, e.region or None, readable(e.what), readable(e.note) or None)
        for number, e in enumerate(events, start=1)
    ]
    return Table("diary", "What the grower did and saw", ("number",), DIARY, rows)


def responses_table(events: Iterable[Event], responses: Iterable[EventResponse]) -> Table:
    """What followed each event that was asked about, held against other plants."""
    number = {(e.line, e): n for n, e in enumerate(events, start=1)}
    rows = [(number[r.event.line, r.event], *_response(r)) for r in responses]
    return Table("responses", "What followed each event", ("number",), RESPONSES, rows)


def _response(told: EventResponse) -> tuple:
    event, found = told.event, told.response
    head = event.day, event.region or None, readable(event.what)
    if found is None:
        return (*head, *(None,) * 13, None, told.asked, readable(told.refusal))
    return (
        *head,
        *(found.before, found.after, found.others_before, found.others_after),
        *_effect(found.rate),
        *_effect(found.step),
        *(found.level, len(found.others), told.asked, readable(told.refusal) or None),
    )


def _effect(effect: Effect | None) -> tuple:
    if effect is None:
        return (None,) * 4
    return effect.estimate, effect.low, effect.high, effect.p_corrected
