"""The steps in which a season is set up, and which of them are done."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from lapsekit.desk.asking import Asked
from lapsekit.desk.lookout import Lookout
from lapsekit.season import Season
from lapsekit.settings import CaptureTable

if TYPE_CHECKING:
    from lapsekit.edits.book import Change


@dataclass(frozen=True)
class Step:
    """One step: where it is done, and its name."""

    key: str
    name: str
    address: str


STEPS = (
    Step("season", "Season", "/setup/season/"),
    Step("camera", "Camera", "/setup/camera/"),
    Step("aim", "Aim", "/setup/aim/"),
    Step("times", "Times", "/setup/times/"),
    Step("scale", "Scale", "/setup/scale/"),
    Step("regions", "Regions", "/regions/"),
    Step("first", "First pictures", "/setup/first/"),
)


def step_page(asked: Asked, key: str, template: str, **told: Any) -> Response:
    """A page of one step, with the line of steps at its head and the way to the next."""
    number = next(k for k, step in enumerate(STEPS) if step.key == key)
    done = steps_done(asked)
    told = {
        "steps": [(step, step.key in done) for step in STEPS],
        "step": STEPS[number],
        "after": STEPS[number + 1] if number + 1 < len(STEPS) else None,
        "season_is_there": asked.desk.has_season,
        "is_set_up": "first" in done,
        **told,
    }
    return asked.page(template, **told)


def saved(asked: Asked, key: str, change: "Change", stay: str, more: str = "") -> Response:
    """To the next step after one was saved, if that was asked for, or to `stay`.

    Who only goes on hears nothing where all was so already. `more` is as in `Asked.changed`.
    """
    if asked.text("then") != "next":
        return asked.changed(change, stay, more)
    number = next(k for k, step in enumerate(STEPS) if step.key == key)
    to = STEPS[number + 1].address
    return asked.changed(change, to, more) if change.id else RedirectResponse(to, status_code=303)


def steps_done(asked: Asked) -> set[str]:
    """Keys of the steps that are done, by what the season's files say."""
    if not asked.desk.has_season:
        return set()
    with asked.season() as season:
        return {"season", *_done(season, asked.desk.lookout)}


def _done(season: Season, lookout: Lookout) -> set[str]:
    settings = season.settings
    cameras = settings.cameras.values()
    seen = set(season.catalogue.cameras())
    tried = {name for name in settings.cameras if lookout.sight(name)}
    failed = {name for name in settings.cameras if lookout.fault(name)}
    return {
        key
        for key, is_done in {
            "camera": bool(seen | tried) and not failed,
            "aim": bool(seen),
            "times": _times_are_told(settings.capture) or (takes_none(season) and bool(seen)),
            "scale": any(camera.scale.is_known for camera in cameras),
            "regions": any(region.is_outlined for region in season.regions.region),
            "first": first_day(season) is not None,
        }.items()
        if is_done
    }


def _times_are_told(capture: CaptureTable) -> bool:
    return bool(capture.model_fields_set & {"first", "last", "every_minutes"})


def takes_none(season: Season) -> bool:
    """Whether all pictures are brought in, so that none is ever due."""
    return all(camera.kind == "files" for camera in season.settings.cameras.values())


def first_day(season: Season) -> date | None:
    """The first day with a measured value; None while there is none."""
    return season.catalogue.first_daily_day()


def camera_of(asked: Asked, season: Season) -> str:
    """The camera that the address names, which must be one of season.toml."""
    name = asked.named["camera"]
    if name not in season.settings.cameras:
        raise HTTPException(404)
    return name


def to_first_camera(asked: Asked, step: str) -> Response:
    """To a step's page of the first camera of season.toml."""
    with asked.season() as season:
        first = next(iter(season.settings.cameras))
    return RedirectResponse(f"/setup/{step}/{first}/", status_code=303)
