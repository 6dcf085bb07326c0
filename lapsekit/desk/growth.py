"""How the plants grow: curves, numbers, pauses, what followed; and numbers put right in public."""

from dataclasses import replace
from datetime import date

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.catalogue import reaches_beyond
from lapsekit.corrections import Correction, read_corrections, with_correction
from lapsekit.desk.asking import Asked, get, post
from lapsekit.errors import SettingsError
from lapsekit.growth_tables import daily_table
from lapsekit.happened import latest_day, not_come
from lapsekit.language.words import ENGLISH
from lapsekit.noticing import notice
from lapsekit.reporting import GrowthReport, work_out
from lapsekit.responding import responses_of
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.site.almanac import gather
from lapsekit.site.chart import Chart, Paper, draw
from lapsekit.site.curves import gathered, told_events
from lapsekit.site.growth_facts import curve_alt, growth_facts, overviews
from lapsekit.site.response_words import response_text
from lapsekit.unattended.news import look_sentences

CORRECTIONS_FILE = "corrections.csv"
_LONGEST = 500


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        report = work_out(season)
        almanac = replace(gather(season), words=ENGLISH)
        curves = gathered(almanac, report.growths)
        facts = growth_facts(almanac, curves, report.growths, notice(season, report.growths))
        corrections, problems = read_corrections(season.folder / CORRECTIONS_FILE)
        titles = {region.name: region.title for region in season.regions.region}
        members = set(titles) - {region.name for region in almanac.rows}
        told = {
            "overviews": overviews(almanac, curves),
            "alerts": look_sentences(season, report.alerts),
            "followed": _followed(season, titles),
            "beyond": _beyond(season),
            "latest": latest_day(season),
            "has_site": (season.site / "index.html").is_file(),
            "single": [c for c in curves if c.name in members and c.is_measured],
        }
    return asked.page(
        "growth.html",
        corrections=corrections,
        problems=problems,
        titles=titles,
        asked_of={name: asked.query.get(name, "") for name in ("from", "until")},
        short_day=ENGLISH.short_day,
        number=ENGLISH.number,
        **facts,
        **told,
    )


def _beyond(season: Season) -> list[tuple[Region, date]]:
    """Regions whose plants reached beyond their outlines on their last measured day, with that."""
    rows = (season.catalogue.last_daily(region.name) for region in season.regions.region)
    known = season.regions.by_name
    return [(known[r.region], r.day) for r in rows if r is not None and reaches_beyond(r)]


def _followed(season: Season, titles: dict[str, str]) -> list[tuple[str, str]]:
    """What followed acts of the diary, the latest first: the act, and what can be told."""
    found = []
    for each in reversed(responses_of(season)[0]):
        told = response_text(ENGLISH, each)
        whom = titles.get(each.event.region, each.event.region or "whole bench")
        if told and each.response is not None and not each.response.refusal:
            found.append((f"{each.event.day.isoformat()}, {whom}: {each.event.what}", told))
    return found


def _plant(asked: Asked) -> Response:
    with asked.season() as season:
        region = _region(asked, season)
        report = work_out(season)
        almanac = replace(gather(season), words=ENGLISH)
        curves = gathered(almanac, report.growths)
        curve = next(each for each in curves if each.name == region.name)
        events = [e.day for e in told_events(almanac) if e.region in ("", region.name)]
        rows = list(report.by_region[region.name])

    def drawn(paper: Paper) -> Chart | None:
        return draw([curve.drawn(0)], paper, curve.sown, events=events) if rows else None

    return asked.page(
        "growth_plant.html",
        region=region,
        wide=drawn(Paper(960, 420, 52, 20, letter_px=16)),
        narrow=drawn(Paper(360, 300, 40, 14)),
        alt=curve_alt(ENGLISH, curve),
        unit=curve.unit,
        rows=list(reversed(rows)),
        short_day=ENGLISH.short_day,
        number=ENGLISH.number,
    )


def _region(asked: Asked, season: Season) -> Region:
    region = season.regions.by_name.get(asked.named["name"])
    if region is None:
        raise HTTPException(404)
    return region


def _csv(asked: Asked) -> Response:
    """The daily table: of the whole season, or of one region."""
    with asked.season() as season:
        report: GrowthReport = work_out(season)
        rows = report.rows
        name = "growth"
        if "name" in asked.named:
            name = _region(asked, season).name
            rows = report.by_region[name]
    headers = {"content-disposition": f'attachment; filename="{name}.csv"'}
    return Response(daily_table(rows).csv, media_type="text/csv; charset=utf-8", headers=headers)


def _correct(asked: Asked) -> Response:
    wrong, region = asked.text("wrong"), asked.text("region")
    if not wrong:
        raise SettingsError("Say what was wrong, in a sentence for your readers.")
    with asked.season() as season:
        today = season.day_of(season.clock())
        if region and region not in season.regions.by_name:
            raise SettingsError(f'region = "{region}": no such region; open the page again')
        first, last = (_day_or_none(asked, season, name) for name in ("from", "until"))
    if first and last and first > last:
        raise SettingsError(f"The first day ({first}) is later than the last ({last}).")
    texts = (asked.text(name)[:_LONGEST] for name in ("wrong", "change"))
    correction = Correction(today, region, first, last, *texts)
    change = asked.desk.book.change(
        "Correction for readers written down",
        {CORRECTIONS_FILE: lambda text: with_correction(text, correction)},
    )
    return asked.changed(change, "/growth/")


def _day_or_none(asked: Asked, season: Season, name: str) -> date | None:
    """A day whose numbers readers may have seen."""
    day = asked.day(name) if asked.text(name) else None
    if day and (late := not_come(season, day)):
        raise SettingsError(f"{name} = {day} {late}: it has no number that could be wrong.")
    return day


ROUTES = (
    get("/growth/", _page),
    get("/growth/growth.csv", _csv),
    get("/growth/plant/{name}", _plant),
    get("/growth/plant/{name}/growth.csv", _csv),
    post("/growth/correct", _correct),
)
