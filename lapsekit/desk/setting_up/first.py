"""The last step: first pictures are taken and measured, and what comes after that."""

import shlex
import shutil
import sys
from collections import Counter
from datetime import date
from pathlib import Path

from starlette.responses import Response

from lapsekit.catalogue import NOT_WATCHED, Daily, Frame, reaches_beyond
from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.setting_up.sowing import early
from lapsekit.desk.setting_up.steps import first_day, step_page
from lapsekit.desk.setting_up.stretch import ToFile, day_told, to_file
from lapsekit.errors import SettingsError
from lapsekit.frames.bringing_in import Stretch
from lapsekit.resources import shared_folder
from lapsekit.season import VERDICTS_FILE, Season
from lapsekit.settings import Region
from lapsekit.verdicts import with_verdicts

_MOST_UNSEEN = 12


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        told = {
            "frames": _frames(season),
            "captures": any(c.kind != "files" for c in season.settings.cameras.values()),
            "day": first_day(season),
            "left_out": left_out(season),
            "unseen": _unseen(season),
            "released": len(_waiting(season)) < _frames(season),
            "measured": measured(season),
            "beyond": beyond(season),
            "picture": _picture(season),
            "early": early(asked, season),
            "replayed": _replayed(asked, season),
        }
    command = shlex.join([_program(), "run", "--season", str(asked.desk.folder.resolve())])
    unit = shared_folder("config") / "lapsekit.service"
    return step_page(asked, "first", "setup_first.html", command=command, unit=unit, **told)


def _program() -> str:
    """The command by which this very lapsekit starts, from wherever it is typed."""
    beside = Path(sys.executable).parent / "lapsekit"
    found = beside if beside.is_file() else shutil.which("lapsekit")
    return str(found or "lapsekit")


def _replayed(asked: Asked, season: Season) -> list[ToFile]:
    """What folders that are played again hold, in the days that are asked for."""
    wanted = Stretch(*(day_told(asked.query.get(name, "")) for name in ("since", "until")))
    found = (to_file(season, camera, wanted) for camera in season.settings.cameras)
    return [each for each in found if each is not None]


def left_out(season: Season) -> str:
    """Why frames that were looked at are not used, with their numbers; "" where all are."""
    found = Counter()
    for _, _, reasons, number in season.catalogue.counts():
        found.update(dict.fromkeys(reasons or (), number))
    return ", ".join(f"{number} {reason}" for reason, number in found.most_common())


def _frames(season: Season) -> int:
    return sum(map(season.catalogue.number_of_frames, season.catalogue.cameras()))


def _waiting(season: Season) -> list[Frame]:
    """Frames that wait for somebody to say that nobody stands in them.

    Before the first day is measured these are all that were captured: too few lie around each to
    see it from them.
    """
    if any(season.catalogue.last_screened_days(name, 1) for name in season.catalogue.cameras()):
        return [frame for frame, _ in season.catalogue.left_out_for(NOT_WATCHED)]
    said = season.rulings()[0]
    captured = [f for f in season.catalogue.frames() if f.arrived_by == "capture"]
    return [frame for frame in captured if frame.path not in said]


def _unseen(season: Season) -> list[dict]:
    """The first of those that wait, as the page shows them."""
    return [
        {"path": frame.path, "address": pictures.address(frame, 480), **_size(frame)}
        for frame in _waiting(season)[:_MOST_UNSEEN]
    ]


def _size(frame: Frame) -> dict[str, int]:
    width, height = pictures.shown_size(frame, 480)
    return {"width": width, "height": height}


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
        for row in (season.catalogue.daily(day=day) if day else ())
    ]


def beyond(season: Season) -> list[tuple[Region, date]]:
    """Regions whose plants reached beyond their outlines on the first measured day, with that."""
    day, known = first_day(season), season.regions.by_name
    rows = season.catalogue.daily(day=day) if day else ()
    return [(known[r.region], r.day) for r in rows if r.region in known and reaches_beyond(r)]


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
    for camera in season.catalogue.cameras() if day else ():
        frame = season.daily_picture(camera, day)
        if frame is not None:
            width, height = pictures.shown_size(frame, 960)
            return {"address": pictures.address(frame, 960), "width": width, "height": height}
    return None


def _take(asked: Asked) -> Response:
    asked.desk.lookout.stop()
    return asked.work("Take a picture", ["capture"], "/setup/first/")


def _nobody(asked: Asked) -> Response:
    """The grower's yes to frames that too few others lie around yet."""
    with asked.season() as season:
        waiting = {each["path"] for each in _unseen(season)}
    frames = [path for path in asked.texts("frame") if path in waiting]
    if not frames:
        raise SettingsError("none of these pictures waits any more; open the page again")
    change = asked.desk.book.change(
        f"{len(frames)} first picture{'' if len(frames) == 1 else 's'}: nobody stands in it",
        {VERDICTS_FILE: lambda text: with_verdicts(text, frames, True, "looked at, nobody in it")},
    )
    asked.tell(change, "/setup/first/")
    return _measure(asked)


def _measure(asked: Asked) -> Response:
    return asked.measure("/setup/first/")


ROUTES = (
    get("/setup/first/", _page),
    post("/setup/first/take", _take),
    post("/setup/first/measure", _measure),
    post("/setup/first/nobody", _nobody),
)
