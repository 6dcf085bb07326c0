"""Commands that keep a season safe elsewhere, and bring it back."""

from pathlib import Path
from typing import Annotated, Literal

import typer
from pydantic import ValidationError

from lapsekit import telling_care, telling_copies
from lapsekit.cli.application import app, hint
from lapsekit.cli.shared import (
    HERE,
    PATIENCE,
    AsJson,
    SeasonFolder,
    Wait,
    held,
    report_facts,
    settled,
    tracking,
)
from lapsekit.errors import SettingsError
from lapsekit.locks import COPY_LOCK_FILE
from lapsekit.refusals import refusals
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.settings import CopiesTable, load_settings

NOT_WHOLE = 65


@app.command()
def copy(
    season: SeasonFolder = HERE,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be sent, do nothing.")
    ] = False,
    verify: Annotated[
        bool,
        typer.Option("--verify", help="Compare all copies again; send what is damaged once more."),
    ] = False,
    drill: Annotated[
        bool,
        typer.Option("--drill", help="Copy nothing; restore into a temporary folder and compare."),
    ] = False,
    everything: Annotated[
        bool, typer.Option("--all", help="In a drill, every frame and not a part of them.")
    ] = False,
    new_place: Annotated[
        bool,
        typer.Option("--new-place", help="Begin where no copies are, though some are elsewhere."),
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Copy frames and the season's own texts to where [copies] says; ends with 65 if not whole."""
    if drill and (dry_run or verify or new_place):
        raise SettingsError("--drill copies nothing; give it alone, or with --all")
    if everything and not drill:
        raise SettingsError("--all belongs to --drill; without it every frame is copied anyway")
    opened = Season(season)
    hold = settled if dry_run else held
    with hold(opened, "copy", wait, COPY_LOCK_FILE):
        if drill:
            is_whole = _drilled(opened, everything, as_json)
        else:
            is_whole = _copied(opened, dry_run, verify, new_place, as_json)
    if not is_whole:
        raise typer.Exit(NOT_WHOLE)


def _copied(season: Season, dry_run: bool, verify: bool, new_place: bool, as_json: bool) -> bool:
    from lapsekit.copying import copy

    report = copy(
        season,
        dry_run=dry_run,
        verify=verify,
        new_place=new_place,
        track=tracking(as_json),
        tell=lambda line: hint([line]),
    )
    report_facts(as_json, telling_copies.copied(report, dry_run), vars(report))
    return report.is_sound


def _drilled(season: Season, everything: bool, as_json: bool) -> bool:
    from lapsekit.copying.drilling import drill

    report = drill(
        season, everything=everything, track=tracking(as_json), tell=lambda line: hint([line])
    )
    report_facts(as_json, telling_copies.drilled(report), telling_copies.drill_facts(report))
    return report.is_whole


@app.command()
def restore(
    folder: Annotated[Path, typer.Argument(help="The folder to make.")],
    source: Annotated[
        Path | None,
        typer.Option("--from", help="A season folder whose [copies] says where they are."),
    ] = None,
    by: Annotated[
        Literal["folder", "rsync", "webdav", "rclone"] | None,
        typer.Option(help="How they are reached."),
    ] = None,
    target: Annotated[
        str | None, typer.Option(help="Where they are, as copies.target says it.")
    ] = None,
    encrypt_with: Annotated[
        str | None, typer.Option(help="File of the password that they were encrypted with.")
    ] = None,
    ssh_port: Annotated[int | None, typer.Option(min=1, max=65535)] = None,
    ssh_key: Annotated[str | None, typer.Option(help="Key file for SSH.")] = None,
    rclone_config: Annotated[str | None, typer.Option(help="rclone's own file.")] = None,
    user: Annotated[str | None, typer.Option(help="Who logs in by webdav.")] = None,
    password_file: Annotated[
        str | None, typer.Option(help="File of the password for --user.")
    ] = None,
    earlier: Annotated[
        bool, typer.Option("--earlier", help="Earlier versions of texts too, into before/.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Bring a season back from its copies into an empty folder; ends with 65 if not whole."""
    from lapsekit.copying.restoring import restore

    options = {
        "to": by,
        "target": target,
        "encrypt_with": encrypt_with,
        "ssh_port": ssh_port,
        "ssh_key": ssh_key,
        "rclone_config": rclone_config,
        "user": user,
        "password_file": password_file,
    }
    report = restore(
        _table(source, {key: value for key, value in options.items() if value is not None}),
        folder,
        source=source,
        earlier=earlier,
        track=tracking(as_json),
        tell=lambda line: hint([line]),
    )
    report_facts(as_json, telling_copies.restored(report), telling_copies.restore_facts(report))
    if not report.is_whole:
        raise typer.Exit(NOT_WHOLE)


def _table(source: Path | None, options: dict[str, object]) -> CopiesTable:
    """``[copies]`` of a season, or one made of options."""
    if source is not None:
        if options:
            raise SettingsError("--from says it all; give it alone, or --by and --target")
        return load_settings(source / SETTINGS_FILE).copies
    if not {"to", "target"} <= options.keys():
        raise SettingsError(
            "say where the copies are: --by folder, rsync, webdav or rclone, and --target; or "
            "--from with a season folder whose [copies] does"
        )
    try:
        return CopiesTable.model_validate(options)
    except ValidationError as error:
        told = "\n".join(f"options: {line}" for line in refusals(error, CopiesTable))
        raise SettingsError(told) from error


@app.command()
def thin(
    season: SeasonFolder = HERE,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would go, delete nothing.")
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Thin out old frames as [thinning] says; what they gave is written down first."""
    from lapsekit.thinning import thin

    opened = Season(season)
    hold = settled if dry_run else held
    # The lock for copies first: a long copy must not keep other stages waiting
    with hold(opened, "thin", wait, COPY_LOCK_FILE), hold(opened, "thin", wait):
        report = thin(opened, dry_run, tracking(as_json))
    report_facts(as_json, telling_care.thinned(report, dry_run), vars(report))
