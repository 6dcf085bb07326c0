"""Commands for the hand that mounts the camera."""

import json
from pathlib import Path
from typing import Annotated

import typer

from lapsekit import telling, telling_aiming
from lapsekit.cli.application import Interrupted, app, hint, say
from lapsekit.cli.shared import HERE, SeasonFolder
from lapsekit.errors import SettingsError
from lapsekit.season import Season


@app.command()
def aim(
    season: SeasonFolder = HERE,
    camera: Annotated[
        str | None, typer.Option(help="Camera to aim.", show_default="the one that captures")
    ] = None,
    every: Annotated[
        float, typer.Option(min=0, max=600, help="Seconds from picture to picture, at least.")
    ] = 2.0,
    count: Annotated[
        int | None, typer.Option(min=1, help="End after so many.", show_default="Ctrl+C")
    ] = None,
    once: Annotated[bool, typer.Option("--once", help="Take one picture only.")] = False,
    out: Annotated[
        Path | None,
        typer.Option(help="Picture with the reference view laid over it (JPEG), anew each time."),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object a picture, each on its line.")
    ] = False,
) -> None:
    """Mount and focus a camera: live sharpness, light, and how far the view is off."""
    from lapsekit.aiming import Aim, looks
    from lapsekit.aiming_picture import write_overlay

    opened = Season(season)
    name, taking = _camera(opened, camera)
    hint(telling_aiming.cautions())
    aiming = Aim(opened, name)
    write = write_overlay(aiming, out) if out is not None else None
    try:
        for look, picture in looks(aiming, taking, 1 if once else count, every, _tell):
            lines = telling_aiming.look_told(look, opened.zone)
            if as_json:
                say([json.dumps(telling_aiming.look_facts(look), default=str)])
            else:
                say(lines)
            if write is not None:
                write(picture, look, telling_aiming.picture_told(look))
    except Interrupted:
        say([] if as_json else telling_aiming.ended(aiming.best))


def _tell(line: str) -> None:
    hint([line])


def _camera(season: Season, name: str | None):
    """The camera to look through, and its name."""
    from lapsekit.unattended.capturing import capturing_cameras

    cameras = capturing_cameras(season)
    if name is None and len(cameras) > 1:
        raise SettingsError(f"--camera: which one? season.toml has {', '.join(cameras)}")
    name = name or next(iter(cameras))
    if name not in cameras:
        raise SettingsError(telling.unknown_camera(cameras, name))
    return name, cameras[name]
