"""Painting what is plant and what is not: the mask as measuring would have it, at once."""

import json
import threading
from collections import OrderedDict
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote, urlencode

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.catalogue import Frame
from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.errors import SettingsError
from lapsekit.frames.names import stamp
from lapsekit.season import Season
from lapsekit.vision.strokes import KINDS, Stroke

FILE = "colours.csv"
_SIDE_PX = 1600
_MOST_STROKES, _MOST_POINTS = 500, 5000
_MOST_TRIALS = 2


@dataclass(frozen=True)
class Kept:
    """A stroke of colours.csv as the page lists it; `number` is its place in the file."""

    number: int
    frame: str
    day: date | None
    is_plant: bool
    points: int
    is_here: bool


class Trials:
    """Frames that were made ready for painting, the last few; and one at a time is worked on."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple, object] = OrderedDict()
        self._lock = threading.Lock()

    def shown(self, season: Season, frame: Frame, marks: tuple, strokes: list[Stroke]):
        """The mask of a frame with these strokes of the whole season.

        Parameters
        ----------
        season : Season
        frame : Frame
        marks : tuple of str
            Versions of the texts that the trial rests on.
        strokes : list of Stroke
        """
        from lapsekit.trying_colours import Trial

        key = (frame.path, frame.sha256, *marks)
        with self._lock:
            trial = self._kept.pop(key, None) or Trial(season, frame)
            self._kept[key] = trial
            while len(self._kept) > _MOST_TRIALS:
                self._kept.popitem(last=False)
            return trial.with_strokes(strokes)


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        cameras = [name for name in season.settings.cameras if season.catalogue.cameras()]
        camera = asked.query.get("camera", cameras[0] if cameras else "")
        days = season.catalogue.days_of_camera(camera) if camera in cameras else []
        frame = _frame_of(season, camera, asked.query.get("day", ""), days)
        text = asked.desk.book.text(FILE)
        width, height = pictures.shown_size(frame, _SIDE_PX) if frame else (0, 0)
        return asked.page(
            "colours.html",
            cameras=cameras,
            camera=camera,
            day=frame.day if frame else days[-1] if days else None,
            first=days[0] if days else None,
            last=days[-1] if days else None,
            frame=frame,
            moment=frame and stamp(frame.taken_at),
            picture=frame and pictures.address(frame, _SIDE_PX),
            width=width,
            height=height,
            brush_px=round(max(frame.width, frame.height) / 130) if frame else 0,
            why_not=_why_not(season),
            version=text.version,
            kept=_kept(season, text.content, frame),
        )


def _why_not(season: Season) -> str | None:
    method = season.settings.canopy.method
    if method == "model":
        return None
    return (
        f'Plants are told by "{method}", which no stroke can teach; set method under [canopy] in '
        'season.toml to "model" first.'
    )


def _frame_of(season: Season, camera: str, told: str, days: list[date]) -> Frame | None:
    """The daily picture of the day that is meant; of the last day where none is told."""
    if not days:
        return None
    try:
        day = date.fromisoformat(told) if told else None
    except ValueError:
        day = None
    shown = season.daily_picture(camera, day) if day else season.last_daily_picture(camera)
    if shown is not None:
        return shown
    frames = season.catalogue.frames(camera, day or days[-1])
    return frames[len(frames) // 2] if frames else None


def _kept(season: Season, text: str, here: Frame | None) -> list[Kept]:
    from lapsekit.vision.strokes import read_strokes

    found = []
    for number, stroke in enumerate(read_strokes(text) if text else ()):
        frame = season.catalogue.frame(stroke.frame)
        is_here = here is not None and stroke.frame == here.path
        points = len(stroke.points)
        found.append(
            Kept(number, stroke.frame, frame and frame.day, stroke.is_plant, points, is_here)
        )
    return found


def _asked_frame(asked: Asked, season: Season) -> Frame:
    frame = pictures.find(season, asked.named["camera"], asked.named["moment"])
    if frame is None:
        raise HTTPException(404)
    return frame


def _strokes(told: str, frame: Frame) -> list[Stroke]:
    """Strokes told as ``plant 6 x y x y …``, one a line, on a frame.

    Raises
    ------
    SettingsError
        If a line is none, or lies outside of the frame.
    """
    lines = [line for line in told.splitlines() if line.strip()]
    if len(lines) > _MOST_STROKES:
        raise SettingsError(f"{len(lines)} strokes; at most {_MOST_STROKES} at once")
    return [_stroke(line, frame) for line in lines]


def _stroke(line: str, frame: Frame) -> Stroke:
    word, *rest = line.split()
    try:
        width, *numbers = (float(each) for each in rest)
        pairs = tuple(zip(numbers[::2], numbers[1::2], strict=True))
        inside = all(0 <= x <= frame.width and 0 <= y <= frame.height for x, y in pairs)
        if word not in KINDS or not (0 < len(pairs) <= _MOST_POINTS and inside and 0 < width < 1e4):
            raise ValueError
    except ValueError as error:
        raise SettingsError(
            f'stroke "{line[:60]}": write {" or ".join(KINDS)}, a width and points as x y x y … '
            f"within {frame.width} x {frame.height} px"
        ) from error
    return Stroke(frame.path, word == "plant", width, pairs)


def _try(asked: Asked) -> Response:
    from lapsekit.vision.strokes import read_strokes

    book = asked.desk.book
    with asked.season() as season:
        frame = _asked_frame(asked, season)
        new = _strokes(asked.text("strokes"), frame)
        texts = [book.text(name) for name in ("season.toml", "regions.toml", FILE)]
        kept = read_strokes(texts[2].content) if texts[2].content else ()
        marks = tuple(text.version for text in texts)
        trials: Trials = asked.desk.kept.setdefault("colours", Trials())
        mask = trials.shown(season, frame, marks, [*kept, *new])
        titles = {region.name: region.title for region in season.regions.region}
    covers = [
        {"title": titles[r.region], "before": r.cover_before, "after": r.cover_after}
        for r in mask.regions
    ]
    headers = {"x-covers": quote(json.dumps(covers))}
    return Response(mask.veil, media_type="image/png", headers=headers)


def _keep(asked: Asked) -> Response:
    from lapsekit.edits.strokes_text import with_strokes

    with asked.season() as season:
        frame = _asked_frame(asked, season)
        new = _strokes(asked.text("strokes"), frame)
    if not new:
        raise SettingsError("no stroke was painted yet")
    word = "1 stroke" if len(new) == 1 else f"{len(new)} strokes"
    change = asked.desk.book.change(
        f"{word} kept on the frame of {frame.day}", {FILE: lambda text: with_strokes(text, new)}
    )
    return asked.changed(change, _address(frame.day, frame.camera))


def _address(day: date, camera: str) -> str:
    return f"/colours/?{urlencode({'day': day.isoformat(), 'camera': camera})}"


def _remove(asked: Asked) -> Response:
    from lapsekit.edits.strokes_text import without_strokes
    from lapsekit.vision.strokes import read_strokes

    number, text = asked.text("number"), asked.desk.book.text(FILE)
    strokes = read_strokes(text.content) if text.content else ()
    if not number.isdecimal() or int(number) >= len(strokes):
        raise SettingsError(f"{FILE} has no such stroke any more; open the page again")
    gone = strokes[int(number)]
    change = asked.desk.book.change(
        f"A stroke on {_moment(asked, gone.frame)} taken out",
        {FILE: lambda now: without_strokes(now, [gone])},
        {FILE: asked.text("seen")},
    )
    back = asked.text("back")
    return asked.changed(change, back if back.startswith("/colours/") else "/colours/")


def _moment(asked: Asked, path: str) -> str:
    """Day and time of a frame as people read it; its name, where the season has it no more."""
    with asked.season() as season:
        frame = season.catalogue.frame(path)
        if frame is None:
            return path.rpartition("/")[2]
        return f"the picture of {frame.taken_at.astimezone(season.zone):%Y-%m-%d, %H:%M}"


def _measure(asked: Asked) -> Response:
    return asked.measure("/colours/")


ROUTES = (
    get("/colours/", _page),
    post("/colours/remove", _remove),
    post("/colours/measure", _measure),
    post("/colours/{camera}/{moment}/try", _try),
    post("/colours/{camera}/{moment}", _keep),
)
