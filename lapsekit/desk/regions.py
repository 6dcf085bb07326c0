"""Regions: their outlines drawn over a picture, each from a day on; names, groups, sowing days."""

from datetime import date

from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.outlines import (
    first_day_of,
    lines_of_time,
    name_for,
    points_of,
    season_span,
    text_of,
)
from lapsekit.desk.setting_up.aim import reference_of
from lapsekit.desk.setting_up.steps import camera_of, saved, step_page
from lapsekit.edits.regions_text import (
    add_region,
    end_region,
    remove_outline,
    remove_region,
    set_key,
    set_outline,
)
from lapsekit.errors import SettingsError
from lapsekit.happened import not_come
from lapsekit.season import REGIONS_FILE, Season
from lapsekit.settings import Region

_SHOWN_PX = 1600


def _start(asked: Asked) -> Response:
    with asked.season() as season:
        first = next(iter(season.settings.cameras))
    return RedirectResponse(f"/regions/{first}/", status_code=303)


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        name = camera_of(asked, season)
        day = _day(asked, season, name)
        regions = [r for r in season.regions.region if r.camera == name]
        chosen = next((r for r in regions if r.name == asked.query.get("region")), None)
        told = {
            "cameras": list(season.settings.cameras),
            "reference": reference_of(season, name),
            "regions": regions,
            "chosen": chosen,
            "current": _current(chosen, day),
            "points_text": text_of(_current(chosen, day)["points"]),
            "held": chosen and chosen.outline_on(day),
            "others": _others(regions, chosen, day),
            "times": lines_of_time(regions, *season_span(season, name)),
            "groups": sorted({r.group for r in season.regions.region if r.group}),
            "sown": season.settings.season.sown,
            "begins": first_day_of(season, name),
        }
    version = asked.desk.book.text(REGIONS_FILE).version
    return step_page(
        asked, "regions", "regions.html", camera=name, day=day, version=version, **told
    )


def _day(asked: Asked, season: Season, camera: str) -> date:
    """The day whose outlines are shown: the one asked for, or that of the latest frame."""
    told = asked.query.get("day", "")
    try:
        return date.fromisoformat(told)
    except ValueError:
        days = season.catalogue.days_of_camera(camera)
        return days[-1] if days else season.day_of(season.clock())


def _current(chosen: Region | None, day: date) -> dict:
    """The outline in hand: that of the day, or the first one before there is any."""
    if chosen is None:
        return {"label": "", "points": []}
    outline = chosen.outline_on(day) or chosen.outline[0]
    return {"label": chosen.title, "points": [list(point) for point in outline.points or ()]}


def _others(regions: list[Region], chosen: Region | None, day: date) -> list[dict]:
    found = []
    for region in regions:
        outline = region.outline_on(day)
        if region is not chosen and outline is not None and outline.points:
            found.append(
                {
                    "name": region.name,
                    "label": region.title,
                    "points": [list(p) for p in outline.points],
                }
            )
    return found


def _view(asked: Asked) -> Response:
    """The daily picture of a day, or of the last one before, as the reference view shows it."""
    with asked.season() as season:
        name = camera_of(asked, season)
        data = _picture(season, name, _day(asked, season, name))
    return Response(data, media_type="image/jpeg")


def _picture(season: Season, camera: str, day: date) -> bytes:
    from lapsekit.viewing import View, in_reference_view

    view = View(season, camera)
    if view.frame is None:
        raise HTTPException(404)
    frame = season.last_daily_picture(camera, day)
    if frame is None or not view.fits(frame):
        frame = view.frame
    placed = season.catalogue.placed([frame.path]).get(frame.path)
    picture = in_reference_view(view.picture(frame), view.matrix_of(placed))
    return pictures.as_jpeg(picture, _SHOWN_PX)


def _save(asked: Asked) -> Response:
    """Draw a region's outline, or a new region's first one, and name it."""
    points = points_of(asked.text("points"))
    with asked.season() as season:
        camera = camera_of(asked, season)
        known = season.regions.by_name.get(asked.text("region"))
        if asked.text("region") and known is None:
            raise SettingsError(f'there is no region "{asked.text("region")}" any more')
        begins = first_day_of(season, camera)
        names = set(season.regions.by_name)
    day = asked.day("day", begins)
    label, group = asked.text("label"), asked.text("group") or None
    sown = asked.day("sown") if asked.text("sown") else None
    seen = {REGIONS_FILE: asked.text("version")}
    if known is None:
        if not label:
            raise SettingsError("name: say what grows there, for instance “Basil”")
        if points is None:
            raise SettingsError("draw the outline first: three corners at least")
        since = begins if asked.text("since") == "begin" else day
        name = name_for(label, names)

        def edit(text: str) -> str:
            return add_region(
                text, name, camera, since, points, label=label, sown=sown, group=group
            )

        change = asked.desk.book.change(
            f"{label}: outline from {since}", {REGIONS_FILE: edit}, seen
        )
    else:
        held = known.outline_on(day) or known.outline[0]
        since = held.valid_from if asked.text("since") == "held" else day
        keys = {"label": label or None, "group": group, "sown": sown}
        change = asked.desk.book.change(
            f"{label or known.title}: outline from {since}",
            {REGIONS_FILE: lambda text: _redrawn(text, known, since, points, keys)},
            seen,
        )
    stay = f"/regions/{camera}/?day={max(day, since)}"
    return saved(
        asked, "regions", change, stay, _ahead(asked, since, "the outline counts from then")
    )


def _redrawn(text: str, known: Region, since: date, points, keys: dict) -> str:
    """A region with an outline drawn anew, and with what is said of it where that differs."""
    outline = known.outline_on(since)
    is_same = outline is not None and outline.valid_from == since and outline.points == points
    if not is_same:
        text = set_outline(text, known.name, since, points)
    for key, value in keys.items():
        if value != getattr(known, key) and not (key == "label" and value == known.title):
            text = set_key(text, known.name, key, value)
    return text


def _title(asked: Asked, name: str) -> str:
    """What people call a region; its name where there is none (any more)."""
    with asked.season() as season:
        region = season.regions.by_name.get(name)
    return region.title if region else name


def _remove_outline(asked: Asked) -> Response:
    camera, region, since = _named(asked), asked.text("region"), asked.day("from")
    change = asked.desk.book.change(
        f"{_title(asked, region)}: outline from {since} taken out",
        {REGIONS_FILE: lambda text: remove_outline(text, region, since)},
        {REGIONS_FILE: asked.text("version")},
    )
    return asked.changed(change, f"/regions/{camera}/")


def _remove(asked: Asked) -> Response:
    camera, region = _named(asked), asked.text("region")
    change = asked.desk.book.change(
        f"{_title(asked, region)} taken out",
        {REGIONS_FILE: lambda text: remove_region(text, region)},
        {REGIONS_FILE: asked.text("version")},
    )
    return asked.changed(change, f"/regions/{camera}/")


def _end(asked: Asked) -> Response:
    """Say on which day a region is measured for the last time; without a day it lives."""
    camera, region = _named(asked), asked.text("region")
    until = asked.day("until") if asked.text("until") else None
    ended = asked.text("ended") or None
    title = _title(asked, region)
    change = asked.desk.book.change(
        f"{title}: {ended or 'ended'}, until {until}" if until else f"{title} lives",
        {REGIONS_FILE: lambda text: end_region(text, region, until, ended)},
        {REGIONS_FILE: asked.text("version")},
    )
    more = _ahead(asked, until, "it is measured up to then") if until else ""
    return asked.changed(change, f"/regions/{camera}/?region={region}", more)


def _ahead(asked: Asked, day: date, means: str) -> str:
    """What it means that a day has not come: a plan, or a slip of the pen."""
    late = asked.hint(lambda season: not_come(season, day))
    return f"{day} {late}: {means}; is it right?" if late else ""


def _named(asked: Asked) -> str:
    with asked.season() as season:
        return camera_of(asked, season)


ROUTES = (
    get("/regions/", _start),
    get("/regions/{camera}/", _page),
    get("/regions/{camera}/view", _view),
    post("/regions/{camera}/save", _save),
    post("/regions/{camera}/remove-outline", _remove_outline),
    post("/regions/{camera}/remove", _remove),
    post("/regions/{camera}/end", _end),
)
