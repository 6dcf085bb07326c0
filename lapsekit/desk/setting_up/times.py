"""The step that says when pictures are taken: by the clock, by the sun, or under a grow lamp."""

from datetime import datetime, time, timedelta

from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.setting_up.steps import saved, step_page, takes_none
from lapsekit.edits.settings_text import with_value
from lapsekit.errors import SettingsError
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.settings import CaptureTable, SunTime

_WARM_UP_MIN = 15
"""Lamps change colour and brightness in their first minutes."""


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        table, place = season.settings.capture, season.settings.place
        told = {"due": _due(season), "zone": season.settings.season.time_zone}
        told["takes_none"] = takes_none(season)
    return step_page(
        asked,
        "times",
        "setup_times.html",
        way="sun" if table.needs_place else "clock",
        place=place,
        every=table.every_minutes,
        times=_shown(table),
        warm_up_minutes=_WARM_UP_MIN,
        version=asked.desk.book.text(SETTINGS_FILE).version,
        **told,
    )


def _due(season: Season) -> list[str]:
    """Today's due times by the season's clock; none where pictures are brought in."""
    if takes_none(season):
        return []
    today = season.day_of(season.clock())
    return [f"{at.astimezone(season.zone):%H:%M}" for at in season.due_times(today)]


def _shown(table: CaptureTable) -> dict[str, str | int]:
    """What the form's fields hold, each way at what it is now or at what is usual."""
    found: dict[str, str | int] = {"from": "08:00", "until": "18:00", "daily": "12:00"}
    found |= {"after_sunrise": 30, "before_sunset": 30, "lamp_on": "06:00", "lamp_off": "22:00"}
    for key, at in (("from", table.first), ("until", table.last), ("daily", table.daily_at)):
        if isinstance(at, time):
            found[key] = f"{at:%H:%M}"
    if isinstance(table.first, SunTime) and table.first.event == "sunrise":
        found["after_sunrise"] = table.first.minutes
    if isinstance(table.last, SunTime) and table.last.event == "sunset":
        found["before_sunset"] = -table.last.minutes
    return found


def _save(asked: Asked) -> Response:
    way = asked.text("way")
    if way not in _WAYS:
        raise SettingsError("way: choose by what the times go")
    values, what = _WAYS[way](asked)
    every = _whole(asked, "every", 1, 1440)
    values[("capture", "every_minutes")] = every

    def edit(text: str) -> str:
        for path, value in values.items():
            text = with_value(text, path, value)
        return text

    seen = {SETTINGS_FILE: asked.text("version")}
    change = asked.desk.book.change(f"{what}, every {every} min", {SETTINGS_FILE: edit}, seen)
    return saved(asked, "times", change, "/setup/times/")


def _capture(first: str, last: str, daily: str) -> dict[tuple[str, ...], object]:
    table = {"from": first, "until": last, "daily_at": daily}
    return {("capture", key): value for key, value in table.items()}


def _by_clock(asked: Asked):
    first, last, daily = (_clock(asked, key) for key in ("from", "until", "daily"))
    return _capture(first, last, daily), f"Pictures from {first} until {last}"


def _by_sun(asked: Asked):
    after, before = (_whole(asked, key, -240, 240) for key in ("after_sunrise", "before_sunset"))
    first, last = _sun_time("sunrise", after), _sun_time("sunset", -before)
    values = _capture(first, last, "noon")
    for key, most in (("latitude", 90), ("longitude", 180)):
        value = asked.number(key)
        if abs(value) > most:
            raise SettingsError(f"{key} = {value:g}: write degrees from -{most} to {most}")
        values[("place", key)] = round(value, 4)
    return values, f"Pictures from {first} until {last}"


def _under_lamp(asked: Asked):
    on, off = (_clock(asked, key) for key in ("lamp_on", "lamp_off"))
    first, last = _lit(on, off)
    warm, early = first + timedelta(minutes=_WARM_UP_MIN), last - timedelta(minutes=5)
    if early <= warm:
        raise SettingsError(f"lamp from {on} until {off}: that is too short to take pictures in")
    middle = warm + (early - warm) / 2
    values = _capture(*(f"{at:%H:%M}" for at in (warm, early, middle)))
    return values, f"Pictures under the lamp, from {warm:%H:%M} until {early:%H:%M}"


def _lit(on: str, off: str) -> tuple[datetime, datetime]:
    """When the lamp is on within a day; of a night's two parts the longer."""
    day = datetime(2000, 1, 1)
    begin, end = (datetime.combine(day, time.fromisoformat(at)) for at in (on, off))
    if begin < end:
        return begin, end
    midnight = day + timedelta(days=1)
    before, after = (begin, midnight), (day, end)
    return before if midnight - begin >= end - day else after


_WAYS = {"clock": _by_clock, "sun": _by_sun, "lamp": _under_lamp}


def _clock(asked: Asked, key: str) -> str:
    told = asked.text(key)
    try:
        return f"{time.fromisoformat(told):%H:%M}"
    except ValueError as error:
        raise SettingsError(f'{key} = "{told}": write a time like 08:30') from error


def _whole(asked: Asked, key: str, least: int, most: int) -> int:
    value = asked.number(key)
    if value != int(value) or not least <= value <= most:
        raise SettingsError(f"{key} = {value:g}: write a whole number from {least} to {most}")
    return int(value)


def _sun_time(event: str, minutes: int) -> str:
    """As season.toml writes it: ``sunset - 0:30``."""
    if minutes == 0:
        return event
    hours, rest = divmod(abs(minutes), 60)
    return f"{event} {'+' if minutes > 0 else '-'} {hours}:{rest:02d}"


ROUTES = (get("/setup/times/", _page), post("/setup/times/save", _save))
