"""Commands that found a season, fill it with frames, and keep it going."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from lapsekit import telling, telling_minding
from lapsekit.catalogue import Catalogue
from lapsekit.cli.application import app, hint, say
from lapsekit.cli.shared import (
    DAY,
    HERE,
    PATIENCE,
    AsJson,
    FirstDay,
    LastDay,
    Port,
    SampleFolder,
    SeasonFolder,
    Wait,
    Workers,
    day_written,
    days_asked,
    held,
    report_facts,
    serve_folder,
    tracking,
    zone_named,
)
from lapsekit.errors import CameraError, SettingsError
from lapsekit.season import Season


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="The folder to make.")],
    title: Annotated[str, typer.Option(help="What the season is called.")] = "My bench",
    time_zone: Annotated[
        str | None, typer.Option(help="Like UTC or Area/City.", show_default="this machine's")
    ] = None,
    sown: Annotated[
        date | None,
        typer.Option(parser=day_written, metavar=DAY, help="Sowing day.", show_default="today"),
    ] = None,
) -> None:
    """Make a season folder with commented settings that work as they are."""
    from lapsekit.founding import found_season, machine_zone
    from lapsekit.trust import trust

    zone = str(zone_named(time_zone)) if time_zone else machine_zone()
    day, today = sown or date.today(), date.today()
    found_season(folder, title, zone, day)
    say(telling.founded(folder, zone))
    hint([telling.sown_ahead(day, today)] if day > today else [])
    try:
        trust(folder)
    except SettingsError as error:  # the season is there all the same
        hint(telling_minding.not_recorded(folder, error))


@app.command("import")
def import_(
    folder: Annotated[Path, typer.Argument(help="Folder of photographs, or one of them.")],
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
    first: FirstDay = None,
    last: LastDay = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be filed, file nothing.")
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Bring photographs in, by EXIF time unless told otherwise."""
    from lapsekit.frames.bringing_in import Stretch, TimeSource, bring_in

    stretch, opened = Stretch(*days_asked(first, last)), Season(season)
    if camera not in opened.settings.cameras:
        raise SettingsError(telling.unknown_camera(opened.settings.cameras, camera))
    if pattern is not None and file_time:
        raise SettingsError("--pattern and --file-time are two sources of time; give one")
    zone = zone_named(time_zone) if time_zone else opened.zone
    times = TimeSource(zone, pattern, file_time)
    with _importing(opened, dry_run, wait) as catalogue:
        report = bring_in(
            folder,
            camera,
            times,
            opened.archive,
            catalogue,
            opened.clock,
            opened.day_of,
            dry_run,
            tracking(as_json),
            stretch,
        )
    report_facts(as_json, telling.imported(report, zone, dry_run), vars(report))
    if report.refused or (report.passed_over and not (report.stored or report.duplicates)):
        raise typer.Exit(65)


@contextmanager
def _importing(season: Season, dry_run: bool, wait: float) -> Iterator[Catalogue]:
    """The catalogue that an import looks into, held and up to date unless nothing is written."""
    if dry_run:
        with season.catalogue_to_read():
            yield season.catalogue
        return
    with held(season, "import", wait):
        season.index()
        yield season.catalogue


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
    with held(opened, "index", wait):
        aside = opened.mend_catalogue() if rebuild else None
        hint([telling.put_aside(aside)] if aside else [])
        report = opened.index(rebuild, tracking(as_json))
    report_facts(as_json, telling.indexed(report), vars(report))
    if report.unreadable:
        raise typer.Exit(65)


@app.command()
def capture(
    season: SeasonFolder = HERE,
    camera: Annotated[
        str | None, typer.Option(help="Camera to use.", show_default="all that capture")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Take one frame now."""
    from lapsekit.unattended.capturing import capture, capturing_cameras

    opened = Season(season)
    cameras = capturing_cameras(opened)
    if camera is not None and camera not in cameras:
        raise SettingsError(telling.unknown_camera(cameras, camera))
    filed, there, failed = [], [], []
    for name in [camera] if camera else cameras:
        try:
            took = capture(opened, name, cameras[name])
            (filed if took.is_new else there).append(took.frame.path)
            hint(f"{name}: {note}" for note in took.notes)
        except CameraError as error:
            failed.append(str(error))
    facts = {"filed": filed, "already_there": there, "failed": failed}
    report_facts(as_json, telling.captured(filed, there), facts)
    if failed:
        raise CameraError("\n".join(failed))


@app.command()
def run(season: SeasonFolder = HERE) -> None:
    """Capture on schedule and run the morning chain once a day, until stopped."""
    from lapsekit.unattended.process import run
    from lapsekit.unattended.speaking import speaker

    opened = Season(season)
    run(opened, speaker(lambda: datetime.now(opened.zone), lambda line: say([line])))


@app.command()
def morning(
    season: SeasonFolder = HERE,
    workers: Workers = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """The morning chain: measure, growth, followers' pictures tidied, site."""
    from lapsekit import telling_growth
    from lapsekit.unattended.morning import morning
    from lapsekit.unattended.news import look_sentences

    opened = Season(season)
    with held(opened, "morning", wait):
        report = morning(opened, workers, tracking(as_json))
    lines = telling.measured(report.measured) + telling.built(report.site)
    lines += look_sentences(opened, report.growth.alerts)
    lines += telling.published(report.published, False) if report.published else []
    facts = {"measured": vars(report.measured), "site": vars(report.site)}
    facts["published"] = report.published and vars(report.published)
    facts["alerts"] = telling_growth.alert_facts(report.growth.alerts)
    report_facts(as_json, lines, facts)


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
    reports = play_season(folder, sample, lambda line: say([line]), workers, tracking(False))
    say(telling.demonstrated(folder, *reports))
    if no_serve:
        say(telling.how_to_see(folder))
    else:
        serve_folder(folder / "site", port)
