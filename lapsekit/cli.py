"""The commands. The only module that prints or exits."""

import json
import os
import signal
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated, Any, NoReturn
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from lapsekit import __version__, telling, telling_growth
from lapsekit.errors import CameraError, LapsekitError, SettingsError
from lapsekit.season import Season

app = typer.Typer(
    help="One season's plants, seed to harvest: captured on schedule, measured in square "
    "centimetres, shown every morning, filmed at the end.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

SeasonFolder = Annotated[
    Path,
    typer.Option(
        "--season", "-s", envvar="LAPSEKIT_SEASON", help="The season folder.", show_default="here"
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object for scripts.")]
Workers = Annotated[
    int | None, typer.Option(min=1, max=256, help="Frames worked on at once.", show_default="cores")
]
Wait = Annotated[
    float, typer.Option(min=0, help="Seconds to wait if another stage holds the season.")
]
Port = Annotated[int, typer.Option(min=0, max=65535, help="Port to try first; 0 for any.")]
SampleFolder = Annotated[
    Path | None,
    typer.Option("--frames", help="The sample season's folder.", show_default="the checkout's"),
]
HERE = Path()
PATIENCE = 600.0
LEAST_TRUE_CM2 = 15.0


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="The folder to make.")],
    title: Annotated[str, typer.Option(help="What the season is called.")] = "My bench",
    time_zone: Annotated[
        str | None, typer.Option(help="Like UTC or Area/City.", show_default="this machine's")
    ] = None,
    sown: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], help="Sowing day.", show_default="today"),
    ] = None,
) -> None:
    """Make a season folder with commented settings that work as they are."""
    from lapsekit.founding import found_season

    zone = str(_zone(time_zone)) if time_zone else _machine_zone()
    found_season(folder, title, zone, sown.date() if sown else date.today())
    _say(telling.founded(folder, zone))


@app.command("import")
def import_(
    folder: Annotated[Path, typer.Argument(help="Folder of photographs; folders inside too.")],
    camera: Annotated[str, typer.Option(help="Camera of season.toml to file them under.")],
    season: SeasonFolder = HERE,
    pattern: Annotated[
        str | None,
        typer.Option(help="Take times from file names: strptime fields, like IMG_%Y%m%d_%H%M%S."),
    ] = None,
    file_time: Annotated[
        bool, typer.Option("--file-time", help="Take times from the files' own dates.")
    ] = False,
    time_zone: Annotated[
        str | None,
        typer.Option(help="Zone of times without an offset.", show_default="the season's"),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be filed, file nothing.")
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Bring a folder of photographs in, by EXIF time unless told otherwise."""
    from lapsekit.frames.bringing_in import TimeSource, bring_in

    opened = Season(season)
    if camera not in opened.settings.cameras:
        raise SettingsError(telling.unknown_camera(opened.settings.cameras, camera))
    if pattern is not None and file_time:
        raise SettingsError("--pattern and --file-time are two sources of time; give one")
    zone = _zone(time_zone) if time_zone else opened.zone
    times = TimeSource(zone, pattern, file_time)
    with _held(opened, "import", wait):
        if not dry_run:
            opened.index()
        report = bring_in(
            folder,
            camera,
            times,
            opened.archive,
            opened.catalogue,
            opened.clock,
            opened.day_of,
            dry_run,
            _track(as_json),
        )
    _report(as_json, telling.imported(report, zone, dry_run), vars(report))
    if report.refused or (report.passed_over and not (report.stored or report.duplicates)):
        raise typer.Exit(65)


@app.command()
def index(
    season: SeasonFolder = HERE,
    rebuild: Annotated[
        bool, typer.Option("--rebuild", help="Read every frame file again.")
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Bring the catalogue into step with the frame files."""
    opened = Season(season)
    with _held(opened, "index", wait):
        report = opened.index(rebuild, _track(as_json))
    _report(as_json, telling.indexed(report), vars(report))
    if report.unreadable:
        raise typer.Exit(65)


@app.command()
def mask(
    frame: Annotated[Path, typer.Argument(help="Any picture file.")],
    out: Annotated[Path, typer.Option(help="The mask to write (PNG).")],
    method: Annotated[
        str, typer.Option(help="What counts as canopy: model, or a colour index like exgr or exg.")
    ] = "model",
    model: Annotated[
        Path | None, typer.Option(help="A canopy model file.", show_default="the shipped one")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write what counts as canopy as an 8-bit mask (255 = canopy) and print the cover."""
    from lapsekit.masking import mask_file

    cover, shape = mask_file(frame, out, method, model)
    _report(as_json, telling.masked(out, cover), {"mask": out, "cover": cover, "size": shape})


@app.command()
def measure(
    season: SeasonFolder = HERE,
    workers: Workers = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Measure the frames that are not measured yet."""
    from lapsekit.measuring import measure

    opened = Season(season)
    with _held(opened, "measure", wait):
        report = measure(opened, workers, _track(as_json))
    _report(as_json, telling.measured(report), vars(report))


frames_app = typer.Typer(invoke_without_command=True, rich_markup_mode=None)
app.add_typer(frames_app, name="frames")
Frames = Annotated[list[str], typer.Argument(help="Frames: their paths or file names.")]
Note = Annotated[str | None, typer.Option(help="Why, for verdicts.csv.", show_default="none")]


@frames_app.callback()
def frames(
    context: typer.Context,
    season: SeasonFolder = HERE,
    left_out: Annotated[
        bool, typer.Option("--left-out", help="Only those that are not used.")
    ] = False,
    first: Annotated[
        datetime | None,
        typer.Option("--from", formats=["%Y-%m-%d"], help="First day.", show_default="all"),
    ] = None,
    last: Annotated[
        datetime | None,
        typer.Option("--until", formats=["%Y-%m-%d"], help="Last day.", show_default="all"),
    ] = None,
    camera: Annotated[
        str | None, typer.Option(help="One camera's only.", show_default="all")
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(help="Write a contact sheet of what was left out (PNG), people blurred."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List frames with the reasons why some are left out; say yes or no to one."""
    if context.invoked_subcommand:
        return
    from lapsekit.listing import list_frames
    from lapsekit.measuring import frames_waiting

    opened = Season(season)
    if camera is not None and camera not in opened.settings.cameras:
        raise SettingsError(telling.unknown_camera(opened.settings.cameras, camera))
    _hint(telling.waiting(frames_waiting(opened)))
    days = (first and first.date(), last and last.date())
    report = list_frames(opened, left_out, *days, camera)
    if sheet is not None:
        from lapsekit.sheet import write_sheet

        report.sheet = str(write_sheet(sheet, report, opened.archive.read))
    facts = {**vars(report), "rows": [vars(row) for row in report.rows]}
    _report(as_json, telling.listed(report), facts)


@frames_app.command("use")
def frames_use(
    context: typer.Context,
    names: Frames,
    season: SeasonFolder = HERE,
    note: Note = None,
    wait: Wait = PATIENCE,
) -> None:
    """Use frames, whatever screening holds of them: on pages and in films too."""
    _rule(_either(context, season), names, True, note, wait)


@frames_app.command("hold")
def frames_hold(
    context: typer.Context,
    names: Frames,
    season: SeasonFolder = HERE,
    note: Note = None,
    wait: Wait = PATIENCE,
) -> None:
    """Use frames nowhere, whatever screening holds of them."""
    _rule(_either(context, season), names, False, note, wait)


def _either(context: typer.Context, season: Path) -> Path:
    """The season named after ``use`` or ``hold``, or before it."""
    return season if season != HERE else context.parent.params["season"]


def _rule(season: Path, names: list[str], use: bool, note: str | None, wait: float) -> None:
    from lapsekit.judging import rule
    from lapsekit.measuring import rejudge

    opened = Season(season)
    with _held(opened, "frames", wait):
        frames = rule(opened, names, use, note)
        rejudge(opened)
    _say(telling.ruled(frames, use))


@app.command()
def lens(
    files: Annotated[
        list[Path], typer.Argument(help="Photographs, or a video, of a chessboard.", exists=True)
    ],
    camera: Annotated[str, typer.Option(help="Camera of season.toml to print it for.")] = "bench",
    corners: Annotated[
        tuple[int, int], typer.Option(help="Inner corners of the board: columns, rows.")
    ] = (9, 6),
    as_json: AsJson = False,
) -> None:
    """Find a lens's distortion from chessboards, for season.toml."""
    from lapsekit.calibrating import find_lens

    found = find_lens(files, corners, _track(as_json))
    facts = {**vars(found.lens), "boards": found.boards, "pictures": found.pictures}
    _report(as_json, telling.lens_found(found, camera), facts)


@app.command()
def growth(
    season: SeasonFolder = HERE,
    cover: Annotated[
        list[float] | None,
        typer.Option(
            help="Tell when this share of each region is covered; may be given again.",
            show_default="1, the closed canopy",
        ),
    ] = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Write the growth tables and plots, and tell rates, pauses, losses and what lies ahead."""
    from lapsekit.measuring import frames_waiting
    from lapsekit.reporting import report_growth

    opened = Season(season)
    with _held(opened, "growth", wait):
        _hint(telling.waiting(frames_waiting(opened)))
        report = report_growth(opened, cover or (1.0,), _track(as_json))
    facts = {"written": report.written, "rows": [vars(row) for row in report.rows]}
    facts["alerts"] = telling_growth.alert_facts(report.alerts)
    facts |= telling_growth.noticed_facts(report.noticed)
    facts |= telling_growth.foretold_facts(report.foretold)
    _report(as_json, telling_growth.grown(report, opened), facts)


@app.command()
def beside(
    earlier: Annotated[Path, typer.Argument(help="Folder of an earlier season.")],
    by: Annotated[
        str, typer.Option(help="Clock to align them by: age, date or degree-days.")
    ] = "age",
    pair: Annotated[
        list[str] | None,
        typer.Option(
            help="OWN=EARLIER: regions to hold together; may be given again.",
            show_default="regions of the same name",
        ),
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Hold this season's plants against an earlier season's."""
    from lapsekit.besides import beside

    opened, then = Season(season), Season(earlier)
    with _held(opened, "growth", wait):
        report = beside(opened, then, by, [_pair(text) for text in pair or []])
    _report(as_json, telling_growth.beside_told(report), telling_growth.beside_facts(report))


def _pair(text: str) -> tuple[str, str]:
    own, equals, earlier = text.partition("=")
    if not (own and equals and earlier):
        raise SettingsError(f'--pair "{text}": write OWN=EARLIER, such as basil=basil-2030')
    return own, earlier


diary_app = typer.Typer(invoke_without_command=True, rich_markup_mode=None)
app.add_typer(diary_app, name="diary")
NearRegions = Annotated[
    list[str] | None,
    typer.Option("--region", help="Region it concerns; may be given again.", show_default="bench"),
]


@diary_app.callback()
def diary(
    context: typer.Context,
    season: SeasonFolder = HERE,
    region: Annotated[
        str | None, typer.Option(help="One region's only, with the bench's.", show_default="all")
    ] = None,
    first: Annotated[datetime | None, typer.Option("--from", formats=["%Y-%m-%d"])] = None,
    last: Annotated[datetime | None, typer.Option("--until", formats=["%Y-%m-%d"])] = None,
    as_json: AsJson = False,
) -> None:
    """List what was done and seen; add to it."""
    if context.invoked_subcommand:
        return
    from lapsekit.noting import list_events

    days = (first and first.date(), last and last.date())
    found = list_events(Season(season), region, *days)
    _hint(found.problems)
    _report(as_json, telling_growth.diary_told(found), telling_growth.diary_facts(found))


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
    wait: Wait = PATIENCE,
) -> None:
    """Add an event to diary.csv, which keeps all that stands in it."""
    from lapsekit.noting import Figures, add_events

    opened = Season(_either(context, season))
    with _held(opened, "diary", wait):
        figures = Figures(bbch, weight, height)
        events, hints = add_events(opened, date, event, region or [], note, figures)
    _hint(hints)
    facts = {"added": [telling_growth.event_facts(e) for e in events], "hints": hints}
    _report(as_json or context.parent.params["as_json"], telling_growth.noted(events), facts)


@app.command()
def weather(
    file: Annotated[
        Path | None, typer.Argument(help="A logger's CSV file.", show_default="list the days")
    ] = None,
    time: Annotated[str, typer.Option(help="Its column of times.")] = "time",
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
    fahrenheit: Annotated[bool, typer.Option("--fahrenheit", help="Read °F.")] = False,
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
    wait: Wait = PATIENCE,
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
        lines = telling_growth.weather_told(days, sums, flags, cautions)
        _report(as_json, lines, {"days": rows, "cautions": cautions})
        return
    from lapsekit.logger_file import Columns, bring_weather_in
    from lapsekit.weather import WEATHER_FILE

    columns = Columns(time, temp, humidity, light, time_form, fahrenheit)
    of_times = _zone(zone, "--zone") if zone else opened.zone
    with _held(opened, "weather", wait):
        target = opened.folder / WEATHER_FILE
        brought = bring_weather_in(file, columns, of_times, target, dry_run)
    refused = telling_growth.weather_refused(file, brought)
    facts = {**vars(brought.laid), "written": brought.written, "refused": refused}
    _report(as_json, telling_growth.weather_brought(brought, columns, of_times, dry_run), facts)
    _hint(telling_growth.few(refused))
    if refused:
        raise typer.Exit(65)


@app.command()
def contrast(
    groups: Annotated[
        list[str] | None,
        typer.Argument(help="Groups of regions.toml.", show_default="all of them"),
    ] = None,
    measure: Annotated[str, typer.Option(help="area, area-days, rgr or rgr-ratio.")] = "area",
    first: Annotated[
        float | None,
        typer.Option("--from", help="Plant age, days.", show_default="first all plants have"),
    ] = None,
    last: Annotated[
        float | None,
        typer.Option("--until", help="Plant age, days.", show_default="last all plants have"),
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Compare groups of plants at the same age, or say why no claim can be made."""
    from lapsekit.contrasting import compare_groups

    report = compare_groups(Season(season), groups or [], measure, (first, last))
    facts = {**vars(report), "contrasts": [vars(c) for c in report.contrasts]}
    _report(as_json, telling_growth.contrasted(report), facts)


@app.command()
def responses(
    days: Annotated[int, typer.Option(min=4, max=60, help="Days before and after.")] = 7,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Say what followed each event of the diary, against other plants on the same days."""
    from lapsekit.responding import responses_of

    opened = Season(season)
    found, problems = responses_of(opened, days)
    _hint(problems)
    facts = [
        {"event": telling_growth.event_facts(r.event), "refusal": r.refusal}
        | ({"response": asdict(r.response)} if r.response else {})
        for r in found
    ]
    _report(as_json, telling_growth.responses_told(found, opened), {"responses": facts})


@app.command()
def plan(
    ratio: Annotated[float, typer.Option(help="Of areas to be found: 1.2 for a fifth more.")] = 1.2,
    scatter: Annotated[
        float | None,
        typer.Option(
            help="Between plants treated alike, as a share: 0.15.",
            show_default="the season's own",
        ),
    ] = None,
    power: Annotated[float, typer.Option(help="Share of trials that shall find it.")] = 0.8,
    age: Annotated[
        float | None,
        typer.Option(help="Plant age of the season's scatter.", show_default="the last"),
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Tell how many plants a side a difference needs."""
    from lapsekit.contrasting import plan_plants

    opened = Season(season) if scatter is None else None
    report = plan_plants(opened, ratio, scatter, power, age)
    _report(as_json, telling_growth.planned(report), asdict(report))


@app.command()
def explain(
    region: Annotated[str, typer.Argument(help="Region of regions.toml.")],
    date: Annotated[
        datetime, typer.Argument(formats=["%Y-%m-%d"], metavar="DATE", help="Day like 2031-04-17.")
    ],
    season: SeasonFolder = HERE,
    out: Annotated[
        Path | None,
        typer.Option(help="The picture to write (PNG).", show_default="explained/REGION-DATE.png"),
    ] = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Draw how a region's value of a day came about: frames, outlines, interval."""
    from lapsekit.explaining import explain

    opened = Season(season)
    with _held(opened, "explain", wait):
        found = explain(opened, region, date.date(), out)
    facts = {"written": found.path, **vars(found.daily), "frames_left_out": found.left_out}
    _report(as_json, telling.explained(found), facts)


@app.command()
def film(
    season: SeasonFolder = HERE,
    camera: Annotated[
        str | None, typer.Option(help="Camera to film.", show_default="the first")
    ] = None,
    workers: Workers = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Make the season's film (H.264 MP4)."""
    from lapsekit.film.assembling import make_film

    opened = Season(season)
    with _held(opened, "film", wait):
        report = make_film(opened, camera, workers, _track(as_json))
    _report(as_json, telling.filmed(report), vars(report))


@app.command()
def site(season: SeasonFolder = HERE, as_json: AsJson = False, wait: Wait = PATIENCE) -> None:
    """Build the season site, or bring it up to date."""
    from lapsekit.measuring import frames_waiting
    from lapsekit.site.build import build_site

    opened = Season(season)
    with _held(opened, "site", wait):
        _hint(telling.waiting(frames_waiting(opened)))
        report = build_site(opened, _track(as_json))
    _report(as_json, telling.built(report), vars(report))


@app.command()
def publish(
    season: SeasonFolder = HERE,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be sent and removed, do nothing.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Go on where something else is published already.")
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Bring the site up to date and send it to where readers find it."""
    from lapsekit.publishing import publish
    from lapsekit.site.build import build_site

    opened = Season(season)
    with _held(opened, "publish", wait):
        build_site(opened, _track(as_json))  # nothing goes out whose frame was held back since
        report = publish(opened, dry_run=dry_run, replace=replace, track=_track(as_json))
    _report(as_json, telling.published(report, dry_run), vars(report))


@app.command()
def serve(season: SeasonFolder = HERE, port: Port = 8000) -> None:
    """Show the site on this machine (loopback only) until interrupted."""
    _serve(Season(season).site, port)


@app.command()
def capture(
    season: SeasonFolder = HERE,
    camera: Annotated[
        str | None, typer.Option(help="Camera to use.", show_default="all that capture")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Take one frame now."""
    from lapsekit.unattended.capturing import capture
    from lapsekit.unattended.process import capturing_cameras

    opened = Season(season)
    cameras = capturing_cameras(opened)
    if camera is not None and camera not in cameras:
        raise SettingsError(telling.unknown_camera(cameras, camera))
    filed, there, failed = [], [], []
    for name in [camera] if camera else cameras:
        try:
            frame, is_new = capture(opened, name, cameras[name])
            (filed if is_new else there).append(frame.path)
        except CameraError as error:
            failed.append(str(error))
    facts = {"filed": filed, "already_there": there, "failed": failed}
    _report(as_json, telling.captured(filed, there), facts)
    if failed:
        raise CameraError("\n".join(failed))


@app.command()
def morning(
    season: SeasonFolder = HERE,
    workers: Workers = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """The morning chain: measure, growth, site."""
    from lapsekit.unattended.morning import morning

    opened = Season(season)
    with _held(opened, "morning", wait):
        report = morning(opened, workers, _track(as_json))
    lines = telling.measured(report.measured) + telling.built(report.site)
    lines += telling_growth.alerted(report.growth.alerts, opened)
    lines += telling.published(report.published, False) if report.published else []
    facts = {"measured": vars(report.measured), "site": vars(report.site)}
    facts["published"] = report.published and vars(report.published)
    facts["alerts"] = telling_growth.alert_facts(report.growth.alerts)
    _report(as_json, lines, facts)


@app.command()
def run(season: SeasonFolder = HERE) -> None:
    """Capture on schedule and run the morning chain once a day, until stopped."""
    from lapsekit.unattended.process import run

    opened = Season(season)
    run(opened, lambda line: _say([f"{datetime.now(opened.zone):%Y-%m-%d %H:%M:%S} {line}"]))


@app.command()
def prove(
    frames: SampleFolder = None,
    folder: Annotated[
        Path | None,
        typer.Option(help="Season folder to work in and keep.", show_default="a passing one"),
    ] = None,
    above: Annotated[
        float, typer.Option(min=0, help="Count days whose true area is at least this, in cm².")
    ] = LEAST_TRUE_CM2,
    plot: Annotated[
        Path | None, typer.Option(help="Draw measured and true curves into this PNG or SVG.")
    ] = None,
    data: Annotated[
        Path | None,
        typer.Option(
            envvar="LAPSEKIT_PHOTOS",
            help="Folder that contains field-wheat: judge its photographs too.",
        ),
    ] = None,
    workers: Workers = None,
    as_json: AsJson = False,
) -> None:
    """Compare the sample season, and real photographs where they are, with their truth."""
    from lapsekit.photographs import held_out_models, judge_photographs, read_photographs
    from lapsekit.proving import check_plot, prove, write_plot
    from lapsekit.sample import sample_frames_folder

    if plot is not None:
        check_plot(plot)
    sample, judged = sample_frames_folder(frames), None
    if data is not None:
        photographs, models = read_photographs(data), held_out_models(sample / "held_out")
        judged = judge_photographs(photographs, models, _track(as_json))
    proof = prove(sample, above, folder, workers, _track(as_json))
    if plot is not None:
        write_plot(proof, plot)
    lines = telling.proved(proof, plot) + telling.photographs_judged(judged)
    _report(as_json, lines, telling.proof_facts(proof) | telling.photograph_facts(judged))


@app.command()
def demo(
    folder: Annotated[Path, typer.Option(help="Season folder to make.")] = Path("lapsekit-demo"),
    frames: SampleFolder = None,
    no_serve: Annotated[
        bool, typer.Option("--no-serve", help="End when everything is built.")
    ] = False,
    port: Port = 8000,
    workers: Workers = None,
) -> None:
    """The whole job on the sample season, then its site on this machine."""
    from lapsekit.demo import play_season
    from lapsekit.sample import copy_sample_season, sample_frames_folder

    sample = sample_frames_folder(frames)
    copy_sample_season(sample, folder)
    reports = play_season(folder, sample, lambda line: _say([line]), workers, _track(False))
    _say(telling.demonstrated(folder, *reports))
    if no_serve:
        _say(telling.how_to_see(folder))
    else:
        _serve(folder / "site", port)


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        _say([f"lapsekit {__version__}"])
        raise typer.Exit


class _Interrupted(BaseException):
    """Ctrl+C. Not a KeyboardInterrupt, which the command-line library would answer itself."""


def _interrupt(*_: object) -> NoReturn:
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # a second Ctrl+C ends at once
    raise _Interrupted


def main() -> NoReturn:
    """Run the command line; every foreseen error becomes a message and an exit code."""
    os.environ.setdefault("OPENCV_LOG_LEVEL", "ERROR")  # we tell in our own words
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="backslashreplace")  # file names need not be text
    signal.signal(signal.SIGINT, _interrupt)
    # Workers share the cores already; without this each would start as many threads again.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except LapsekitError as error:
        _fail(str(error), error.exit_code)
    except _Interrupted:
        _fail("interrupted; run the same command again to go on", 130)
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        _fail(f"{where}{error.strerror or error}; check the disk and its permissions", 74)
    except Exception as error:
        if os.environ.get("LAPSEKIT_TRACEBACK"):
            raise
        _fail(
            f"a fault of lapsekit's own ({type(error).__name__}: {error}); what was filed is safe. "
            "Run it again with LAPSEKIT_TRACEBACK=1 to see where, and report that",
            70,
        )
    sys.exit(0)


def _fail(message: str, code: int) -> NoReturn:
    for line in message.splitlines():
        print(f"lapsekit: {line}", file=sys.stderr)
    sys.exit(code)


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line, flush=True)


def _hint(lines: Iterable[str]) -> None:
    for line in lines:
        print(line, file=sys.stderr, flush=True)


def _report(as_json: bool, lines: Iterable[str], facts: dict[str, Any]) -> None:
    if as_json:
        print(json.dumps(facts, default=str, indent=2))
    else:
        _say(lines)


@contextmanager
def _held(season: Season, stage: str, wait: float) -> Iterator[None]:
    def told(holder: str) -> None:
        print(f"waiting for {holder}", file=sys.stderr, flush=True)

    with season.lock(stage, wait, told):
        yield


def _track(quiet: bool) -> Any:
    from lapsekit.progress import silent

    if quiet:
        return silent
    return _bar if sys.stderr.isatty() else _plain


def _bar(items: Iterable[Any], total: int, label: str) -> Iterator[Any]:
    from rich.console import Console
    from rich.progress import track

    if total:
        items = track(items, label, total, console=Console(stderr=True), transient=True)
    yield from items


def _plain(items: Iterable[Any], total: int, label: str) -> Iterator[Any]:
    """A line at each quarter of a long loop."""
    told = 0
    for number, item in enumerate(items, start=1):
        yield item
        if total >= 20 and number * 4 // total > told:
            told = number * 4 // total
            print(f"{label}: {number} of {total}", file=sys.stderr, flush=True)


def _serve(folder: Path, port: int) -> None:
    from lapsekit.serving import serve

    try:
        serve(folder, port, lambda address: _say(telling.served(address)))
    except _Interrupted:
        _say(["stopped"])


def _zone(key: str, option: str = "--time-zone") -> ZoneInfo:
    try:
        return ZoneInfo(key)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise SettingsError(
            f'{option} "{key}" is not in the IANA database; write one like UTC or Area/City'
        ) from error


def _machine_zone() -> str:
    from tzlocal import get_localzone_name

    return get_localzone_name() or str(UTC)
