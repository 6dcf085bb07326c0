"""The first step: what is grown, since when, and whose midnight ends a day."""

import difflib
from datetime import date
from zoneinfo import available_timezones

from starlette.responses import RedirectResponse, Response

from lapsekit.desk.asking import Asked, Note, get, post
from lapsekit.desk.setting_up.steps import STEPS, saved, step_page, steps_done
from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import ChangedMeanwhile, LapsekitError, SettingsError
from lapsekit.founding import found_season, machine_zone
from lapsekit.season import SETTINGS_FILE
from lapsekit.trust import trust


def _start(asked: Asked) -> Response:
    """To the first step that is not done."""
    done = steps_done(asked)
    to = next((step for step in STEPS if step.key not in done), STEPS[0])
    return RedirectResponse(to.address, status_code=303)


def _page(asked: Asked, refusal: str = "") -> Response:
    """The form; a refused one is shown again with what was typed."""
    keys = ("title", "sown", "time_zone", "about")
    typed = {key: asked.text(key) for key in keys} if refusal else {}
    zones = sorted(zone for zone in available_timezones() if "/" in zone or zone == "UTC")
    told = {"zones": zones, "version": "", "refusal": refusal, "typed": typed}
    told["offer"] = _nearest_zone(typed["time_zone"]) if refusal else ""
    if not asked.desk.has_season:
        return step_page(asked, "season", "setup_season.html", table=None, **_new(), **told)
    told["version"] = (
        asked.text("version") if refusal else asked.desk.book.text(SETTINGS_FILE).version
    )
    with asked.season() as season:
        table = season.settings.season
    zone = table.time_zone
    return step_page(asked, "season", "setup_season.html", table=table, zone=zone, **told)


def _new() -> dict[str, str]:
    return {"zone": machine_zone()}


def _save(asked: Asked) -> Response:
    try:
        return _saved(asked)
    except ChangedMeanwhile:
        raise
    except LapsekitError as error:
        if asked.wants_data:
            raise
        return _page(asked, f"{error}")


def _saved(asked: Asked) -> Response:
    title, zone, sown = asked.text("title"), asked.text("time_zone"), asked.day("sown")
    if not title:
        raise SettingsError("title: give the season a name")
    _require_zone(zone)
    if not asked.desk.has_season:
        return _found(asked, title, zone, sown)

    def edit(text: str) -> str:
        for key, value in (("title", title), ("time_zone", zone), ("sown", sown)):
            text = with_value(text, ("season", key), value)
        about = asked.text("about")
        path = ("season", "about")
        return with_value(text, path, about) if about else without(text, path)

    seen = {SETTINGS_FILE: asked.text("version")}
    change = asked.desk.book.change(f"Season: {title}", {SETTINGS_FILE: edit}, seen)
    return saved(asked, "season", change, "/setup/season/")


def _require_zone(zone: str) -> None:
    """Refuse what is no time zone, with the name that is nearest to it."""
    if zone in available_timezones():
        return
    near = _nearest_zone(zone)
    offer = f' Do you mean "{near}"?' if near else ""
    raise SettingsError(f'time zone "{zone}": there is none of that name.{offer}')


def _nearest_zone(zone: str) -> str:
    """The time zone whose name is nearest to one that there is not; "" for none."""
    known = available_timezones()
    if zone in known:
        return ""
    folded = {each.casefold(): each for each in sorted(known)}
    cities = {each.rpartition("/")[2]: each for each in folded}
    typed = zone.casefold().replace(" ", "_")
    near = difflib.get_close_matches(typed, folded, n=1) or [
        cities[each] for each in difflib.get_close_matches(typed.rpartition("/")[2], cities, n=1)
    ]
    return folded[near[0]] if near else ""


def _found(asked: Asked, title: str, zone: str, sown: date) -> Response:
    folder = asked.desk.folder
    found_season(folder, title, zone, sown)
    told = f"The season folder {folder.resolve().name} is made, with commented settings."
    asked.session.notes.append(Note(told))
    try:
        trust(folder)
    except SettingsError as error:  # the season is there all the same
        told = f"That this folder may run cameras and publish could not be recorded: {error}"
        asked.session.notes.append(Note(told, is_refusal=True))
    return RedirectResponse("/setup/camera/", status_code=303)


ROUTES = (get("/setup/", _start), get("/setup/season/", _page), post("/setup/season/save", _save))
