"""The last step: first pictures are taken and measured, and what comes after that."""

from starlette.responses import RedirectResponse, Response

from lapsekit.catalogue import Daily
from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.setting_up.steps import first_day, step_page
from lapsekit.season import Season


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        told = {
            "frames": len(season.catalogue.frames()),
            "captures": any(c.kind != "files" for c in season.settings.cameras.values()),
            "day": first_day(season),
            "measured": measured(season),
            "picture": _picture(season),
        }
    name = asked.desk.folder.resolve().name
    return step_page(asked, "first", "setup_first.html", folder=name, **told)


def measured(season: Season) -> list[dict]:
    """Each region on the first measured day: area with its interval, or cover."""
    day = first_day(season)
    titles = {region.name: region.title for region in season.regions.region}
    return [
        {
            "title": titles.get(row.region, row.region),
            "area": _area(row),
            "cover": f"{100 * row.cover:.1f} %" if row.cover is not None else "not known",
            "frames": row.frames_used,
        }
        for row in season.catalogue.daily()
        if row.day == day
    ]


def _area(row: Daily) -> str:
    """An area with its interval at 95 %, in words."""
    if row.area_cm2 is None:
        return "no scale" if row.cover is not None else "not known"
    return f"{_cm2(row.area_cm2)} cm² ({_cm2(row.area_low_cm2)} to {_cm2(row.area_high_cm2)})"


def _cm2(area: float) -> str:
    return f"{area:.1f}" if area < 100 else f"{area:.0f}"


def _picture(season: Season) -> dict | None:
    """The daily picture of the first measured day."""
    day = first_day(season)
    for of_camera in season.daily_pictures().values():
        frame = of_camera.get(day)
        if frame is not None:
            width, height = pictures.shown_size(frame, 960)
            return {"address": pictures.address(frame, 960), "width": width, "height": height}
    return None


def _take(asked: Asked) -> Response:
    asked.desk.lookout.stop()
    job = asked.desk.jobs.start("Take a picture", ["capture"], "/setup/first/")
    return RedirectResponse(f"/work/{job.number}", status_code=303)


def _measure(asked: Asked) -> Response:
    job = asked.desk.jobs.start("Measure", ["measure"], "/setup/first/")
    return RedirectResponse(f"/work/{job.number}", status_code=303)


ROUTES = (
    get("/setup/first/", _page),
    post("/setup/first/take", _take),
    post("/setup/first/measure", _measure),
)
