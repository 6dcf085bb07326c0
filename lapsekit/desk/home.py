"""The first page: the latest picture, what waits for the grower, and the diary within reach."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from starlette.responses import RedirectResponse, Response

from lapsekit.alerting import alerts
from lapsekit.checking import FINE, WRONG, check
from lapsekit.counted import counted
from lapsekit.desk import diary, pictures
from lapsekit.desk.asking import Asked, get
from lapsekit.desk.frames import days_waiting
from lapsekit.diary import VOCABULARY
from lapsekit.errors import LapsekitError
from lapsekit.followers import records
from lapsekit.growing import grow
from lapsekit.season import Season
from lapsekit.unattended.news import look_sentences


@dataclass(frozen=True)
class Waits:
    """Something that waits for the grower: what, and where to go."""

    told: str
    address: str
    is_urgent: bool = False


def _page(asked: Asked) -> Response:
    if not asked.desk.has_season:
        return RedirectResponse("/setup/", status_code=303)
    with asked.season() as season:
        today = season.day_of(season.clock())
        shown = [_latest(season, camera, today) for camera in season.settings.cameras]
        waits = list(_waiting(season))
        chips = diary.chips(season)
    return asked.page(
        "home.html",
        cameras=shown,
        waits=waits,
        jobs=asked.desk.jobs.running,
        today=today,
        chips=chips,
        words=[(word, diary.MARKS[word], told) for word, told in VOCABULARY.items()],
    )


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


def _waiting(season: Season) -> Iterator[Waits]:
    """What waits, the urgent first; a part that cannot be read says so and hides no other."""
    for part in (_health, _falls, _followers, _left_out, _words):
        try:
            yield from part(season)
        except (LapsekitError, OSError) as error:
            yield Waits(f"{error}", "/health/", True)


def _health(season: Season) -> Iterator[Waits]:
    found = [each for each in check(season, asks=False) if each.how != FINE]
    for each in found:
        if each.how == WRONG:
            yield Waits(f"{each.what}: {each.told}", "/health/", True)
    watched = len([each for each in found if each.how != WRONG])
    if watched:
        yield Waits(f"{counted(watched, 'thing')} to be watched", "/health/")


def _falls(season: Season) -> Iterator[Waits]:
    for told in look_sentences(season, alerts(season, grow(season))):
        yield Waits(told, "/growth/", True)


def _followers(season: Season) -> Iterator[Waits]:
    waiting = len(records.records(season, "waiting"))
    if waiting:
        yield Waits(f"{counted(waiting, 'picture')} of followers to look at", "/followers/")


def _left_out(season: Season) -> Iterator[Waits]:
    """Frames left out on the last day of each camera."""
    for camera in season.catalogue.cameras():
        day = season.catalogue.last_day(camera)
        by_reason = season.catalogue.counts(camera, day, day)
        left_out = sum(number for _, _, reasons, number in by_reason if reasons)
        if left_out:
            told = f"{counted(left_out, 'frame')} of {day.isoformat()} left out"
            yield Waits(told, f"/frames/?camera={camera}&day={day.isoformat()}")


def _words(season: Season) -> Iterator[Waits]:
    days = days_waiting(season)
    if days:
        told = f"{counted(len(days), 'day')} to be worked out again after what you said of frames"
        yield Waits(told, f"/frames/?day={days[-1].isoformat()}#waiting")


ROUTES = (get("/", _page),)
