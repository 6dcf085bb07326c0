"""Commands that write down what was done, what was seen, and the weather."""

from pathlib import Path
from typing import Annotated

import typer

from lapsekit import telling_notes
from lapsekit.cli.application import app, hint
from lapsekit.cli.shared import (
    HERE,
    AsJson,
    FirstDay,
    LastDay,
    SeasonFolder,
    days_asked,
    either_season,
    report_facts,
    zone_named,
)
from lapsekit.season import Season

diary_app = typer.Typer(invoke_without_command=True, rich_markup_mode=None)


app.add_typer(diary_app, name="diary")


NearRegions = Annotated[
    list[str] | None,
    typer.Option(
        "--region", help="Region or group it concerns; may be given again.", show_default="bench"
    ),
]


@diary_app.callback()
def diary(
    context: typer.Context,
    season: SeasonFolder = HERE,
    region: Annotated[
        str | None, typer.Option(help="One region's only, with the bench's.", show_default="all")
    ] = None,
    first: FirstDay = None,
    last: LastDay = None,
    as_json: AsJson = False,
) -> None:
    """List what was done and seen; add to it."""
    if context.invoked_subcommand:
        return
    from lapsekit.noting import list_events

    found = list_events(Season(season), region, *days_asked(first, last))
    hint(found.problems)
    report_facts(as_json, telling_notes.diary_told(found), telling_notes.diary_facts(found))


@diary_app.command("add")
def diary_add(
    context: typer.Context,
    date: Annotated[str, typer.Argument(help="Day like 2031-04-17.")],
    event: Annotated[
        str,
        typer.Argument(
            help="sown, emerged, potted on, moved, fed, watered, cut, pest, cold, first flower, "
            "first fruit, harvest, height, or words of your own."
        ),
    ],
    region: NearRegions = None,
    note: Annotated[str, typer.Option(help="More about it.", show_default="none")] = "",
    bbch: Annotated[
        int | None, typer.Option(help="Growth stage, 0 to 99.", show_default="none")
    ] = None,
    weight: Annotated[
        float | None, typer.Option(help="Of a harvest, in grams.", show_default="none")
    ] = None,
    height: Annotated[
        float | None, typer.Option(help="Of the canopy, in cm.", show_default="none")
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Add an event to diary.csv, which keeps all that stands in it."""
    from lapsekit.noting import Figures, add_events

    opened = Season(either_season(context, season))
    figures = Figures(bbch, weight, height)
    events, hints = add_events(opened, date, event, region or [], note, figures)
    hint(hints)
    facts = {"added": [telling_notes.event_facts(e) for e in events], "hints": hints}
    report_facts(as_json or context.parent.params["as_json"], telling_notes.noted(events), facts)


@app.command()
def weather(
    file: Annotated[
        Path | None, typer.Argument(help="A logger's CSV file.", show_default="list the days")
    ] = None,
    time: Annotated[
        list[str] | None,
        typer.Option(
            help="Its column of times; given twice, its column of days and that of times of day.",
            show_default="time",
        ),
    ] = None,
    temp: Annotated[str, typer.Option(help="Its column of temperatures.")] = "temp_c",
    humidity: Annotated[
        str | None, typer.Option(help="Its column of relative humidity, %.", show_default="none")
    ] = None,
    light: Annotated[
        str | None, typer.Option(help="Its column of PPFD, µmol/m²s.", show_default="none")
    ] = None,
    zone: Annotated[
        str | None,
        typer.Option(help="Zone of times without an offset.", show_default="the season's"),
    ] = None,
    time_form: Annotated[
        str | None,
        typer.Option(help="strptime fields, like %d/%m/%Y %H:%M.", show_default="found out"),
    ] = None,
    temp_unit: Annotated[
        str | None,
        typer.Option(help="C, F or K.", show_default="as the column's name says, or C"),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be added, write nothing.")
    ] = False,
    base: Annotated[
        float | None,
        typer.Option(help="Base of degree days, °C.", show_default="season.toml's base_c"),
    ] = None,
    cap: Annotated[
        float | None,
        typer.Option(help="Cap of degree days, °C.", show_default="season.toml's cap_c"),
    ] = None,
    sine: Annotated[
        bool, typer.Option("--sine", help="Degree days by single sine, not by average.")
    ] = False,
    chill: Annotated[
        float | None, typer.Option(help="Flag nights as cold as this, °C.", show_default="none")
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Bring a logger's readings in; without a file, list the days' weather."""
    opened = Season(season)
    if file is None:
        from lapsekit.weather import days_of_weather

        whole = opened.settings.season
        base, cap = whole.base_c if base is None else base, whole.cap_c if cap is None else cap
        days, sums, flags, cautions = days_of_weather(opened, base, cap, sine, chill)
        rows = [
            {**vars(d), "degree_days": total, "flags": told}
            for d, total, told in zip(days, sums, flags, strict=True)
        ]
        lines = telling_notes.weather_told(days, sums, flags, cautions)
        report_facts(as_json, lines, {"days": rows, "cautions": cautions})
        return
    from lapsekit.logger_columns import Columns, times_named
    from lapsekit.logger_file import bring_weather_in
    from lapsekit.logger_units import unit_named
    from lapsekit.weather import WEATHER_FILE

    times, unit = times_named(time or []), unit_named(temp_unit)
    columns = Columns(times, temp, humidity, light, time_form, unit)
    of_times = zone_named(zone, "--zone") if zone else opened.zone
    target = opened.folder / WEATHER_FILE
    brought = bring_weather_in(file, columns, of_times, target, dry_run, opened.clock())
    refused = telling_notes.weather_refused(file, brought)
    facts = {**vars(brought.laid), "written": brought.written, "refused": refused}
    facts["columns"] = telling_notes.columns_facts(brought, columns)
    report_facts(as_json, telling_notes.weather_brought(brought, columns, of_times, dry_run), facts)
    hint(telling_notes.weather_refused_told(file, brought))
    if refused:
        raise typer.Exit(65)
