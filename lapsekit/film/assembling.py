"""Stage: the season's usable frames or daily pictures -> its film."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.compute import spread
from lapsekit.errors import ArchiveError, FilmError, PictureError
from lapsekit.film.captions import caption_text, with_caption
from lapsekit.film.encoding import RECIPES, encode
from lapsekit.progress import Track, silent
from lapsekit.safely import remove_leftovers
from lapsekit.season import FilmRecord, Season
from lapsekit.vision.pictures import decode
from lapsekit.when import plant_age

_LEAST_PX = 16
_GROUND = (250, 246, 236)
_FILM_FORM = 2  # raised by hand when the same frames give another film


@dataclass(frozen=True)
class FilmReport:
    """The film, how many frames it shows, whether it was made now, what could not be read."""

    path: Path
    frames: int
    made: bool
    left_out: list[str] = field(default_factory=list)


def make_film(
    season: Season,
    camera: str | None = None,
    workers: int | None = None,
    track: Track = silent,
) -> FilmReport:
    """Make the film of one camera's season, unless the same film is there already.

    Parameters
    ----------
    season : Season
        An open season with screened frames; the caller holds its stage lock.
    camera : str, optional
        Which camera; the season's first by default.
    workers : int, optional
        Frames decoded at once; all cores by default.
    track : Track
        Told about progress.

    Returns
    -------
    FilmReport

    Raises
    ------
    FilmError
        If the camera is unknown or has no usable frame; a film made before stays as it was.
    """
    cameras = season.settings.cameras
    camera = camera or next(iter(cameras))
    if camera not in cameras:
        raise FilmError(f'no camera "{camera}" in season.toml; it has {", ".join(cameras)}')
    frames = _chosen(season, camera)
    if not frames:
        raise FilmError(
            f'camera "{camera}" has no usable frame; bring pictures in (lapsekit import or '
            "capture), run lapsekit measure, then film again"
        )
    target, mark = season.film_file(camera), _mark(season, frames)
    shown, before = [frame.path for frame in frames], season.film_record(camera)
    if target.exists() and before and before.mark == mark:
        return FilmReport(target, len(frames), made=False)
    season.films.mkdir(exist_ok=True)
    remove_leftovers(season.films)
    painter = _Painter(season, frames)
    painted = track(spread(painter, frames, workers), len(frames), "filming")
    pictures = (picture for picture in painted if picture is not None)
    # Whichever film lies there if this is killed, it shows no frame that is not on record.
    season.record_film(camera, FilmRecord("", sorted({*shown, *(before.shows if before else ())})))
    speed = season.settings.film.frames_per_second
    count = encode(target, pictures, RECIPES["web"], speed)
    season.record_film(camera, FilmRecord("" if painter.left_out else mark, shown, speed))
    return FilmReport(target, count, made=True, left_out=sorted(painter.left_out))


def _chosen(season: Season, camera: str) -> list[Frame]:
    if season.settings.film.frames == "daily":
        return list(season.daily_pictures().get(camera, {}).values())
    return [f for day in season.usable_frames().get(camera, {}).values() for f in day]


class _Painter:
    """Turns a frame into a picture of the film: one size for all, with its caption."""

    def __init__(self, season: Season, frames: list[Frame]):
        self._season = season
        settings = season.settings.film
        self._captioned = settings.caption
        self._with_clock = settings.frames == "all"
        height = min(settings.height_px, frames[0].height)
        width = round(frames[0].width * height / frames[0].height)
        self._size = (width - width % 2, height - height % 2)
        if min(self._size) < _LEAST_PX:
            raise FilmError(f"{frames[0].path}: {width} x {height} px are too few for a film")
        self.left_out: list[str] = []

    def __call__(self, frame: Frame) -> np.ndarray | None:
        try:
            picture = fit(decode(self._season.archive.read(frame.path)), self._size)
        except (ArchiveError, PictureError) as error:
            self.left_out.append(f"{frame.path}: {error}")
            return None
        if not self._captioned:
            return picture
        local = frame.taken_at.astimezone(self._season.zone)
        age = plant_age(frame.day, self._season.settings.season.sown)
        clock = f"{local:%H:%M}" if self._with_clock else ""
        return with_caption(picture, caption_text(frame.day, age, clock))


def fit(picture: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Picture scaled into a frame of `size`, on paper ground where shapes differ.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB.
    size : (width, height)
        In px.

    Returns
    -------
    ndarray of uint8, shape (size[1], size[0], 3)
    """
    width, height = size
    scale = min(width / picture.shape[1], height / picture.shape[0])
    inner = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    if (picture.shape[1], picture.shape[0]) != inner:
        method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        picture = cv2.resize(picture, inner, interpolation=method)
    if inner == size:
        return picture
    canvas = np.full((height, width, 3), _GROUND, np.uint8)
    left, top = (width - inner[0]) // 2, (height - inner[1]) // 2
    canvas[top : top + inner[1], left : left + inner[0]] = picture
    return canvas


def _mark(season: Season, frames: list[Frame]) -> str:
    settings = season.settings
    parts: Iterator[object] = (f.sha256 for f in frames)
    dates = settings.season.model_dump(mode="json", include={"time_zone", "sown"})
    form = [_FILM_FORM, settings.film.model_dump(), dates]
    return hashlib.sha256(json.dumps([form, *parts]).encode()).hexdigest()
