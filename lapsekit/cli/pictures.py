"""Commands about frames and what is measured in them."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from lapsekit import telling, telling_proof, telling_regions
from lapsekit.cli.application import app, hint, say
from lapsekit.cli.machines import On, TlsAuthority, TlsCertificate, TlsKey, machines
from lapsekit.cli.shared import (
    DAY,
    HERE,
    LEAST_TRUE_CM2,
    PATIENCE,
    AsJson,
    FirstDay,
    LastDay,
    SampleFolder,
    SeasonFolder,
    Wait,
    Workers,
    day_written,
    days_asked,
    either_season,
    held,
    hint_of_waiting,
    report_facts,
    settled,
    to_read,
    tracking,
)
from lapsekit.errors import SettingsError
from lapsekit.season import Season


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

    found = mask_file(frame, out, method, model)
    if found.is_grey:
        hint(telling.grey_masked(frame))
    report_facts(as_json, telling.masked(out, found.cover), {"mask": out, **vars(found)})


@app.command()
def measure(
    season: SeasonFolder = HERE,
    workers: Workers = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
    on: On = None,
    frames_at: Annotated[
        str | None,
        typer.Option(
            metavar="URL",
            help="Where workers find the frames: s3://, sftp:// or file:///.",
            show_default="where the season has them",
        ),
    ] = None,
    tls_ca: TlsAuthority = None,
    tls_certificate: TlsCertificate = None,
    tls_key: TlsKey = None,
) -> None:
    """Measure the frames that are not measured yet."""
    from lapsekit.measuring import measure

    opened = Season(season)
    with (
        held(opened, "measure", wait),
        machines(on, workers, tls_ca, tls_certificate, tls_key, frames_at) as m,
    ):
        if m is None:
            report = measure(opened, workers, tracking(as_json))
            report_facts(as_json, telling.measured(report), vars(report))
            return
        from lapsekit.clusters.measuring_there import MeasuringThere

        there = MeasuringThere(m, frames_at)
        report = measure(opened, track=tracking(as_json), elsewhere=there)
        facts = telling.cluster_facts(there)
    lines = [*telling.measured(report), *telling.measured_there(facts)]
    report_facts(as_json, lines, {**vars(report), "cluster": facts})


frames_app = typer.Typer(invoke_without_command=True, rich_markup_mode=None)


app.add_typer(frames_app, name="frames")


Frames = Annotated[list[str], typer.Argument(help="Frames: their paths or file names.")]


MOST_LISTED = 200


Note = Annotated[str | None, typer.Option(help="Why, for verdicts.csv.", show_default="none")]


@frames_app.callback()
def frames(
    context: typer.Context,
    season: SeasonFolder = HERE,
    left_out: Annotated[
        bool, typer.Option("--left-out", help="Only those that are not used.")
    ] = False,
    first: FirstDay = None,
    last: LastDay = None,
    camera: Annotated[
        str | None, typer.Option(help="One camera's only.", show_default="all")
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(help="Write a contact sheet of what was left out (PNG), people blurred."),
    ] = None,
    most: Annotated[int, typer.Option(min=1, help="List the latest so many.")] = MOST_LISTED,
    every: Annotated[bool, typer.Option("--all", help="List them all.")] = False,
    as_json: AsJson = False,
) -> None:
    """List frames with the reasons why some are left out; say yes or no to one."""
    if context.invoked_subcommand:
        return
    from lapsekit.listing import list_frames

    days = days_asked(first, last)
    opened = to_read(context, season)
    if camera is not None and camera not in opened.settings.cameras:
        raise SettingsError(telling.unknown_camera(opened.settings.cameras, camera))
    hint_of_waiting(opened)
    report = list_frames(opened, left_out, *days, camera, None if every else most)
    if sheet is not None:
        from lapsekit.sheet import write_sheet

        report.sheet = str(write_sheet(sheet, report, opened.archive.read))
    facts = {**vars(report), "rows": [vars(row) for row in report.rows]}
    report_facts(as_json, telling.listed(report), facts)


@frames_app.command("use")
def frames_use(
    context: typer.Context,
    names: Frames,
    season: SeasonFolder = HERE,
    note: Note = None,
    wait: Wait = PATIENCE,
) -> None:
    """Use frames, whatever screening holds of them: on pages and in films too."""
    _rule(either_season(context, season), names, True, note, wait)


@frames_app.command("hold")
def frames_hold(
    context: typer.Context,
    names: Frames,
    season: SeasonFolder = HERE,
    note: Note = None,
    wait: Wait = PATIENCE,
) -> None:
    """Use frames nowhere, whatever screening holds of them."""
    _rule(either_season(context, season), names, False, note, wait)


def _rule(season: Path, names: list[str], use: bool, note: str | None, wait: float) -> None:
    from lapsekit.judging import rule
    from lapsekit.measuring import rejudge

    opened = Season(season)
    say(telling.ruled(rule(opened, names, use, note), use))
    with held(opened, "frames", wait):
        rejudge(opened, tracking(False))


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

    found = find_lens(files, corners, tracking(as_json))
    facts = {**vars(found.lens), "boards": found.boards, "pictures": found.pictures}
    report_facts(as_json, telling.lens_found(found, camera), facts)


@app.command()
def propose(
    season: SeasonFolder = HERE,
    camera: Annotated[
        str | None, typer.Option(help="Camera of season.toml.", show_default="its only one")
    ] = None,
    until: Annotated[
        date | None,
        typer.Option(
            parser=day_written, metavar=DAY, help="Last day to look at.", show_default="all"
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Draw the outlines over the bench (JPEG).")
    ] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Add them to regions.toml, if none is drawn there yet.")
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Propose outlines of regions from containers that are seen and from what grows."""
    from lapsekit.aiming_picture import require_overlay_place
    from lapsekit.proposing import (
        propose_regions,
        require_none_outlined,
        write_overlay,
        write_regions,
    )

    opened, written = Season(season), None
    if out is not None:
        require_overlay_place(out)
    hold = held if write else settled
    with hold(opened, "propose", wait):
        if write:
            require_none_outlined(opened, camera)
        opened.index()
        found = propose_regions(opened, camera, until, tracking(as_json))
        if out is not None:
            write_overlay(found, out, telling_regions.meeting(found))
        if write:
            written = write_regions(opened, found)
    facts = telling_regions.proposed_facts(found, written)
    report_facts(as_json, telling_regions.proposed(found, written, out), facts)
    hint(telling_regions.whole_picture(opened, found) if written else [])


@app.command()
def explain(
    region: Annotated[str, typer.Argument(help="Region of regions.toml.")],
    day: Annotated[
        date, typer.Argument(parser=day_written, metavar="DATE", help="Day like 2031-04-17.")
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
    with settled(opened, "explain", wait):
        hint_of_waiting(opened)
        found = explain(opened, region, day, out)
    facts = {"written": found.path, **vars(found.daily), "frames_left_out": found.left_out}
    report_facts(as_json, telling.explained(found), facts)


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
        photographs = read_photographs(data)
        models = held_out_models(sample_frames_folder(None) / "held_out")  # whatever the season
        judged = judge_photographs(photographs, models, tracking(as_json))
    proof = prove(sample, above, folder, workers, tracking(as_json))
    if plot is not None:
        write_plot(proof, plot)
    lines = telling_proof.proved(proof, plot) + telling_proof.photographs_judged(judged)
    report_facts(
        as_json, lines, telling_proof.proof_facts(proof) | telling_proof.photograph_facts(judged)
    )
