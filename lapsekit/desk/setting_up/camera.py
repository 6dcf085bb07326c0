"""The step that chooses a camera, and tries it: one picture is taken and not filed."""

import re
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.setting_up.kinds import BY_KEY, KINDS, shown_values, values_of
from lapsekit.desk.setting_up.seeing import told_of
from lapsekit.desk.setting_up.sowing import early
from lapsekit.desk.setting_up.steps import camera_of, saved, step_page, to_first_camera
from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import LapsekitError, SettingsError
from lapsekit.safely import write_safely
from lapsekit.season import SETTINGS_FILE

_OWN_PASSWORD = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,60}-password")
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
_DEVICES = Path("/sys/class/video4linux")
_PORTS = {"http": 80, "https": 443, "rtsp": 554, "rtsps": 322}


def _start(asked: Asked) -> Response:
    if not asked.desk.has_season:
        return RedirectResponse("/setup/season/", status_code=303)
    return to_first_camera(asked, "camera")


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        name = camera_of(asked, season)
        cameras, camera = list(season.settings.cameras), season.settings.cameras[name]
        sight = asked.desk.lookout.sight(name)
        seen = sight and told_of(sight.look, season.zone)
        before = early(asked, season)
    return step_page(
        asked,
        "camera",
        "setup_camera.html",
        cameras=cameras,
        camera=name,
        kind=camera.kind,
        kinds=KINDS,
        values=shown_values(camera),
        devices=devices(),
        version=asked.desk.book.text(SETTINGS_FILE).version,
        seen=seen,
        fault=asked.desk.lookout.fault(name),
        early=before,
        number=sight.number if sight else 0,
    )


def _save(asked: Asked) -> Response:
    name, kind = _camera(asked), BY_KEY.get(asked.text("kind"))
    if kind is None:
        raise SettingsError("kind: choose what kind of camera it is")
    values = values_of(kind, {key: asked.text(key) for key in asked.form})
    password = asked.text("password")
    if password and kind.key in ("http", "rtsp"):
        values["password_file"] = values["password_file"] or f"{name}-password"
    _require_password(asked, name, values, is_new=bool(password))

    def edit(text: str) -> str:
        text = with_value(text, ("cameras", name, "kind"), kind.key)
        for key, value in values.items():
            path = ("cameras", name, key)
            text = without(text, path) if value is None else with_value(text, path, value)
        return text

    seen = {SETTINGS_FILE: asked.text("version")}
    asked.desk.lookout.stop()
    change = asked.desk.book.change(f"Camera “{name}”: {kind.name}", {SETTINGS_FILE: edit}, seen)
    if password and values["password_file"]:
        _keep_password(asked.desk.folder, values["password_file"], password)
    asked.desk.lookout.forget(name)
    back = f"/setup/camera/{name}/"
    if asked.text("then") == "try" and kind.key != "files":
        return asked.changed(change, f"{back}#{'seen' if _tried(asked, name) else 'tried'}")
    return saved(asked, "camera", change, back)


def _tried(asked: Asked, name: str) -> bool:
    """Take a picture; why there is none is told beside the button."""
    with suppress(LapsekitError):
        asked.desk.lookout.once(name)
        return True
    return False


def _keep_password(folder: Path, name: str, password: str) -> None:
    """Write a camera's password into a file in the season folder that only its owner reads."""
    _require_own(name)
    write_safely(folder / name, f"{password.splitlines()[0]}\n".encode(), mode=0o600)


def _require_password(asked: Asked, name: str, values: Mapping[str, Any], is_new: bool) -> None:
    """Refuse a password that was not typed for the address it would be sent to.

    One that was kept is sent on to where it was sent before, and nowhere else.
    """
    file = values["password_file"]
    if file is None:
        return
    with asked.season() as season:
        before = season.settings.cameras[name]
    is_same = getattr(before, "password_file", None) == file
    if is_new or not is_same:
        _require_own(file)
    if not is_new and not (is_same and origin(before.url) == origin(values["url"])):
        raise SettingsError(
            f"password: enter it again; the one in {file} was not given for {values['url']}, so it "
            "is not sent there"
        )


def origin(url: str) -> tuple[str, str, int | None]:
    """Scheme, host and port of an address: whoever answers there."""
    try:
        parts = urlsplit(url)
        port = parts.port or _PORTS.get(parts.scheme)
    except ValueError as error:
        raise SettingsError(f"{url}: no address that can be asked ({error})") from error
    return parts.scheme, parts.hostname or "", port


def _require_own(name: str) -> None:
    """Refuse a file of the machine: what it holds would be sent, or written over."""
    if not _OWN_PASSWORD.fullmatch(name):
        raise SettingsError(
            f'password_file = "{name}": at the desk it is a file of the season folder, in letters, '
            "digits and hyphens, that ends in -password; write another one into season.toml by hand"
        )


def _add(asked: Asked) -> Response:
    name = asked.text("name").lower()
    if not _NAME.fullmatch(name):
        raise SettingsError(
            f'name = "{name}": write small letters, digits and hyphens, like bench-2; frames are '
            "filed under it"
        )
    with asked.season() as season:
        if name in season.settings.cameras:
            raise SettingsError(f'there is a camera "{name}" already')
    change = asked.desk.book.change(
        f"Camera “{name}” added",
        {SETTINGS_FILE: lambda text: with_value(text, ("cameras", name), {"kind": "files"})},
    )
    return asked.changed(change, f"/setup/camera/{name}/")


def _remove(asked: Asked) -> Response:
    name = _camera(asked)
    with asked.season() as season:
        if any(region.camera == name for region in season.regions.region):
            raise SettingsError(f'regions are seen by camera "{name}"; take those out first')
        if len(season.settings.cameras) == 1:
            raise SettingsError("a season needs a camera; change the kind of this one")
    asked.desk.lookout.stop()
    change = asked.desk.book.change(
        f"Camera “{name}” taken out",
        {SETTINGS_FILE: lambda text: without(text, ("cameras", name))},
    )
    return asked.changed(change, "/setup/camera/")


def _picture(asked: Asked) -> Response:
    """The last picture that was looked at."""
    sight = asked.desk.lookout.sight(_camera(asked))
    if sight is None:
        raise HTTPException(404)
    return Response(pictures.as_jpeg(sight.picture, 960), media_type="image/jpeg")


def _camera(asked: Asked) -> str:
    with asked.season() as season:
        return camera_of(asked, season)


def devices(listing: Path = _DEVICES) -> list[tuple[int, str]]:
    """Numbers and names of the video devices that the system lists.

    A camera shows itself as several devices; its first is the one that gives pictures.
    """
    found = []
    for device in sorted(listing.glob("video*"), key=lambda path: (len(path.name), path.name)):
        with suppress(OSError, ValueError):
            if int((device / "index").read_text()) == 0:
                name = (device / "name").read_text(errors="replace").strip()
                found.append((int(device.name.removeprefix("video")), name))
    return found


ROUTES = (
    get("/setup/camera/", _start),
    post("/setup/camera/add", _add),
    get("/setup/camera/{camera}/", _page),
    post("/setup/camera/{camera}/save", _save),
    post("/setup/camera/{camera}/remove", _remove),
    get("/setup/camera/{camera}/picture", _picture),
)
