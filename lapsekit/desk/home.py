"""The first page: the latest picture, what waits for the grower, and where to go from here."""

from datetime import date

from starlette.responses import RedirectResponse, Response

from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get
from lapsekit.season import Season


def _page(asked: Asked) -> Response:
    if not asked.desk.has_season:
        return RedirectResponse("/setup/", status_code=303)
    with asked.season() as season:
        today = season.day_of(season.clock())
        shown = [_latest(season, camera, today) for camera in season.settings.cameras]
    return asked.page("home.html", cameras=shown, jobs=asked.desk.jobs.running, today=today)


def _latest(season: Season, camera: str, today: date) -> dict:
    """A camera's last frame, as the page tells it."""
    days = season.catalogue.days_of_camera(camera)
    if not days:
        return {"name": camera, "picture": None}
    last = season.catalogue.frames(camera, days[-1])[-1]
    width, height = pictures.shown_size(last, 960)
    return {
        "name": camera,
        "picture": pictures.address(last, 960),
        "width": width,
        "height": height,
        "taken": last.taken_at.astimezone(season.zone),
        "days_ago": (today - last.day).days,
        "days": len(days),
    }


ROUTES = (get("/", _page),)
