"""What a cut takes from the light of frames: which it shows of a day, and how they are evened.

What brings a frame to its slow light rests on the frames of some days around it: it is worked out
once, and again when one of those is another (`lapsekit.film.kept_light`).
"""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.film.kept_light import KeptCorrections
from lapsekit.film.lighting import light_of
from lapsekit.film.scenes import Scene
from lapsekit.film.sources import Choice, hour_of
from lapsekit.frames.choosing import daily_picture
from lapsekit.progress import Track
from lapsekit.season import Season
from lapsekit.settings import Cut
from lapsekit.vision.alike import alike
from lapsekit.vision.even_light import corrections
from lapsekit.vision.light_cells import LightCells
from lapsekit.vision.slow_light import within_reach

_FORM = 1  # raised by hand when the same levels give other corrections

SLOW_DAY_SECONDS = 1.0
"""In a film of all frames whose days last so long the light's course over the day is seen; in
faster ones it would pulse."""


def choice(
    cut: Cut, unreadable: Mapping[tuple[Path, str], str], workers: int | None, track: Track
) -> Choice:
    """Which of each day's frames a cut wants, of those that can be read."""

    def choose(season: Season, days: Mapping[date, Sequence[Frame]]):
        read = {}
        for day, frames in days.items():
            kept = [f for f in frames if (season.folder, f.path) not in unreadable]
            if kept:
                read[day] = kept
        if cut.frames == "all" or not read:
            return read
        if cut.frames == "daily":
            return {day: [daily_picture(each, season.daily_at(day))] for day, each in read.items()}
        return _alike(season, read, workers, track)

    return choose


def _alike(season: Season, days, workers, track):
    """Of each day the frame whose light is most like that of its neighbours."""
    frames = [frame for day in sorted(days) for frame in days[day]]
    _, levels = light_of(season, frames[0].camera, frames, workers, track)
    hours = [hour_of(season, frame.taken_at) for frame in frames]
    wished = hour_of(season, season.daily_at(frames[0].day))
    chosen = alike(levels, [frame.day.toordinal() for frame in frames], hours, wished)
    return {frames[number].day: [frames[number]] for number in chosen}


def lights_of(
    cut: Cut, scene: Scene, day_seconds: float, workers: int | None, track: Track
) -> dict:
    """What brings each frame of a scene to the slow light, by path; empty where it shall not."""
    if not cut.even_light:
        return {}
    season, camera = scene.panel.season, scene.panel.camera
    order = [source for each in scene.panel.sources.values() for source in each]
    cells, levels = light_of(season, camera, [s.frame for s in order], workers, track)
    days, hours = (np.array([getattr(s, name) for s in order]) for name in ("at_days", "hour"))
    day_course = cut.frames == "all" and day_seconds >= SLOW_DAY_SECONDS
    names = [s.frame.path for s in order]
    marks = _marks(cells, levels, days, hours, day_course)
    kept = KeptCorrections(season.folder, camera)
    found = [kept.get(*each) for each in zip(names, marks, strict=True)]
    missing = [place for place, one in enumerate(found) if one is None]
    for place, one in zip(
        missing, corrections(cells, levels, days, hours, day_course, missing), strict=True
    ):
        found[place] = one
    kept.keep(zip(names, marks, found, strict=True))
    return dict(zip(names, found, strict=True))


def _marks(
    cells: LightCells, levels: np.ndarray, days: np.ndarray, hours: np.ndarray, day_course: bool
) -> list[str]:
    """For each frame a mark of all that its correction rests on."""
    each = [
        hashlib.sha256(np.array([*moment], float).tobytes() + level.tobytes()).digest()
        for *moment, level in zip(days, hours, levels, strict=True)
    ]
    rests_on = repr((_FORM, cells, day_course)).encode()
    return [
        hashlib.sha256(
            b"".join([rests_on, each[place], *(each[near] for near in within_reach(days, place))])
        ).hexdigest()[:32]
        for place in range(len(each))
    ]
