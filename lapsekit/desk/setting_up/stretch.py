"""A camera that plays frames again: a whole stretch of its folder filed at once, in the background.

One frame at a time is what such a camera gives when it is asked; whoever sets a season up with the
frames of another wants its days. What would be filed is told first.
"""

from dataclasses import dataclass
from datetime import date

from starlette.responses import Response

from lapsekit.desk.asking import Asked, post
from lapsekit.desk.setting_up.steps import camera_of
from lapsekit.errors import SettingsError
from lapsekit.frames.bringing_in import EVER, Stretch, TimeSource
from lapsekit.season import Season

PATTERN = "%Y%m%dT%H%M%S%z"
"""Names of frames as lapsekit files them, for ``lapsekit import``."""


@dataclass(frozen=True)
class ToFile:
    """What of a folder would be filed.

    Attributes
    ----------
    camera, folder : str
    first, last : date
        Of all dated frames of the folder, up to today.
    since, until : date
        The stretch that is asked for.
    frames, days, known : int
        Frames in that stretch that are not filed yet, on how many days; and those that are.
    mb : float
        Their size.
    later : int
        Frames of the folder that are dated later than today, and are not taken.
    """

    camera: str
    folder: str
    first: date
    last: date
    since: date
    until: date
    frames: int
    days: int
    known: int
    mb: float
    later: int


def to_file(season: Season, camera: str, asked: Stretch = EVER) -> ToFile | None:
    """What a stretch of a replay camera's folder holds; None where there is nothing to play."""
    from lapsekit.cameras.replay import Replay

    model = season.settings.cameras[camera]
    if model.kind != "replay":
        return None
    now = season.clock()
    times = TimeSource(season.zone, PATTERN)
    dated = [m for m in Replay(season.folder / model.folder).moments if not times.passes_over(m[1])]
    past = [(season.day_of(moment), moment, path) for moment, path in dated if moment <= now]
    if not past:
        return None
    first, last = past[0][0], past[-1][0]
    since, until = max(first, asked.since or first), min(last, asked.until or last)
    there = {frame.taken_at for frame in season.catalogue.frames(camera)}
    wanted = [each for each in past if since <= each[0] <= until]
    new = [each for each in wanted if each[1] not in there]
    return ToFile(
        camera,
        model.folder,
        first,
        last,
        since,
        until,
        frames=len(new),
        days=len({day for day, _, _ in new}),
        known=len(wanted) - len(new),
        mb=sum(path.stat().st_size for _, _, path in new) / 1e6,
        later=len(dated) - len(past),
    )


def day_told(told: str) -> date | None:
    """A day out of an address; None for none."""
    try:
        return date.fromisoformat(told)
    except ValueError:
        return None


def _file(asked: Asked) -> Response:
    """File the frames of a stretch, by lapsekit's own command."""
    stretch = Stretch(asked.day("since"), asked.day("until"))
    with asked.season() as season:
        found = to_file(season, camera_of(asked, season), stretch)
        if found is None or not found.frames:
            raise SettingsError("there is no frame in these days that is not filed yet")
        folder = season.folder / found.folder
    asked.desk.lookout.stop()
    days = ["--from", f"{found.since}", "--until", f"{found.until}"]
    words = ["import", f"{folder}", "--camera", found.camera, "--pattern", PATTERN, *days]
    what = f"File {found.frames} frame{'' if found.frames == 1 else 's'}"
    return asked.work(what, words, "/setup/first/")


ROUTES = (post("/setup/first/{camera}/stretch", _file),)
