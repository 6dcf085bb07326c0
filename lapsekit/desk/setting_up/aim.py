"""The step that aims a camera: live pictures, privacy areas, and the reference view."""

import json

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.setting_up.seeing import told_of
from lapsekit.desk.setting_up.sowing import early
from lapsekit.desk.setting_up.steps import camera_of, saved, step_page, to_first_camera
from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import CameraError, SettingsError
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.unattended.capturing import capture

_LIVE_PX = 1280


def _start(asked: Asked) -> Response:
    return to_first_camera(asked, "aim")


def _page(asked: Asked) -> Response:
    from lapsekit.telling_aiming import CAUTIONS

    with asked.season() as season:
        name = camera_of(asked, season)
        model = season.settings.cameras[name]
        told = {
            "cameras": list(season.settings.cameras),
            "kind": model.kind,
            "reference": reference_of(season, name),
            "privacy": [list(map(list, outline)) for outline in model.privacy],
            "frames": season.catalogue.number_of_frames(name),
            "early": early(asked, season),
        }
    return step_page(
        asked,
        "aim",
        "setup_aim.html",
        camera=name,
        cautions=_folded(CAUTIONS),
        version=asked.desk.book.text(SETTINGS_FILE).version,
        **told,
    )


def _folded(lines: tuple[str, ...]) -> list[str]:
    """Cautions as a list of sentences; in a terminal some take two lines."""
    text = " ".join(line.strip() for line in lines[1:])
    return [f"{part.strip(' .')}." for part in text.split(". ") if part.strip()]


def reference_of(season: Season, camera: str) -> dict | None:
    """The frame of a camera's reference view as pages tell it; None while there is none."""
    from lapsekit.viewing import View

    frame = View(season, camera).frame
    if frame is None:
        return None
    width, height = pictures.shown_size(frame, 1600)
    return {
        "picture": pictures.address(frame, 1600),
        "width": width,
        "height": height,
        "full_width": frame.width,
        "full_height": frame.height,
        "taken": frame.taken_at.astimezone(season.zone),
        "day": frame.day,
    }


def _look(asked: Asked) -> Response:
    """The latest look, for the script that asks every second; asking keeps the camera open."""
    with asked.season() as season:
        name, zone = camera_of(asked, season), season.zone
    said = asked.desk.lookout.ask(name)
    sight = asked.desk.lookout.sight(name)
    if sight is None:
        return asked.data(number=0, said=said)
    return asked.data(number=sight.number, said=said, **told_of(sight.look, zone))


def _stop(asked: Asked) -> Response:
    asked.desk.lookout.leave()
    return asked.data(stopped=True)


def _picture(asked: Asked) -> Response:
    """The latest picture, with the edges of the reference view over it where that is asked for."""
    with asked.season() as season:
        name = camera_of(asked, season)
    sight = asked.desk.lookout.sight(name)
    if sight is None:
        raise HTTPException(404)
    luma, look = sight.aim.reference_luma, sight.look
    if (
        asked.query.get("edges")
        and luma is not None
        and sight.aim.size
        == (
            look.width,
            look.height,
        )
    ):
        from lapsekit.aiming_picture import edges_of, overlay

        data = overlay(sight.picture, [], edges_of(luma), sight.aim.outlines)
    else:
        data = pictures.as_jpeg(sight.picture, _LIVE_PX)
    return Response(data, media_type="image/jpeg")


def _keep(asked: Asked) -> Response:
    """Take a frame, file it, and make it the reference view."""
    from lapsekit.cameras import open_camera

    with asked.season() as season:
        name = camera_of(asked, season)

    def take() -> str:
        with asked.season() as season:
            model = season.settings.cameras[name]
            camera = open_camera(name, model, season.folder, season.zone)
            return capture(season, name, camera).frame.path

    path = asked.desk.lookout.alone(name, take)
    return asked.changed(_named(asked, name, path), f"/setup/aim/{name}/")


def _named(asked: Asked, camera: str, path: str):
    def edit(text: str) -> str:
        return with_value(text, ("cameras", camera, "reference"), path)

    return asked.desk.book.change(f"Camera “{camera}”: a new reference view", {SETTINGS_FILE: edit})


def _privacy(asked: Asked) -> Response:
    """Areas that are blacked out before the first write."""
    with asked.season() as season:
        name = camera_of(asked, season)
    areas, size = _areas(asked), None
    if areas:
        sight = asked.desk.lookout.sight(name)
        if sight is None:
            raise CameraError("take a picture first, so that the areas have a size to be drawn in")
        size = [sight.look.width, sight.look.height]

    def edit(text: str) -> str:
        for key, value in (("privacy", areas), ("privacy_size_px", size)):
            path = ("cameras", name, key)
            text = with_value(text, path, value) if value else without(text, path)
        return text

    seen = {SETTINGS_FILE: asked.text("version")}
    asked.desk.lookout.stop()
    what = f"Camera “{name}”: {len(areas)} privacy area{'' if len(areas) == 1 else 's'}"
    change = asked.desk.book.change(what, {SETTINGS_FILE: edit}, seen)
    asked.desk.lookout.forget(name)
    return saved(asked, "aim", change, f"/setup/aim/{name}/")


def _areas(asked: Asked) -> list[list[list[float]]]:
    try:
        told = json.loads(asked.text("areas") or "[]")
        areas = [[[round(float(x), 1), round(float(y), 1)] for x, y in area] for area in told]
    except (ValueError, TypeError) as error:
        raise SettingsError("areas: these are no outlines; draw them again") from error
    return [area for area in areas if len(area) >= 3]


ROUTES = (
    get("/setup/aim/", _start),
    get("/setup/aim/{camera}/", _page),
    get("/setup/aim/{camera}/look", _look),
    get("/setup/aim/{camera}/picture", _picture),
    post("/setup/aim/{camera}/stop", _stop),
    post("/setup/aim/{camera}/keep", _keep),
    post("/setup/aim/{camera}/privacy", _privacy),
)
