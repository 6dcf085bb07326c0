"""Seasons whose frames say which day they are of: a block amid each is as light as its day tells.

They are put straight into archive and catalogue, as measured, so that a test of films costs little
more than the film.
"""

from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path

import av
import cv2
import numpy as np

from lapsekit.catalogue import Frame, Placement, Screening
from lapsekit.frames.archive import content_hash
from lapsekit.season import Season
from tests.scenes import encoded

FIRST = date(2031, 4, 1)
WIDTH, HEIGHT = 192, 128
FPS = 10
STEP, DARKEST = 8, 32

SETTINGS = """\
[season]
title = "Coded bench"
time_zone = "CET"
sown = 2031-03-25
[capture]
daily_at = "12:00"
"""
CAMERA = '[cameras.bench]\nkind = "files"\n'
#: Films in which every picture is one frame as it was taken, at its own size.
PLAIN = f"""\
short_side_px = {HEIGHT}
frames_per_second = {FPS}
day_seconds = 1
between = "hold"
steady = false
even_light = false
shows = []
"""


@cache
def ground(size=(WIDTH, HEIGHT)):
    noise = np.random.default_rng(5).integers(60, 190, (size[1], size[0], 3), np.uint8)
    return cv2.GaussianBlur(noise, (0, 0), 3)


def level_of(code):
    return DARKEST + STEP * code


def coded(code, size=(WIDTH, HEIGHT)):
    """A bench with a block amid it whose level tells `code` (0 to 26)."""
    picture = ground(size).copy()
    width, height = size
    picture[height // 4 : -height // 4, width // 4 : -width // 4] = level_of(code)
    return picture


def code_of(picture, box=None):
    """The code amid a picture, or amid a box (left, top, right, bottom) of it."""
    left, top, right, bottom = box or (0, 0, picture.shape[1], picture.shape[0])
    x, y = (left + right) // 2, (top + bottom) // 2
    level = float(picture[y - 4 : y + 4, x - 4 : x + 4].mean())
    return round((level - DARKEST) / STEP)


def noon(number):
    """Local noon of the day `number` (0 is the first), in summer time."""
    return datetime(FIRST.year, FIRST.month, FIRST.day, 10, tzinfo=UTC) + timedelta(number)


def coded_season(folder: Path, film=PLAIN, regions="", cameras=CAMERA, more="") -> Season:
    """A season without frames; `film` is its [film], `more` stands behind it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "season.toml").write_text(f"{SETTINGS}{cameras}[film]\n{film}{more}")
    (folder / "regions.toml").write_text(regions)
    return Season(folder)


def file_frame(season, moment, picture, placed=None, camera="bench"):
    """File a picture as a usable frame; `placed` is the matrix of its registration."""
    data = encoded(picture)
    path = season.archive.store(camera, moment, data, ".png").path
    height, width = picture.shape[:2]
    size = len(data), width, height
    day = season.day_of(moment)
    season.catalogue.add_frames(
        [Frame(camera, moment, day, path, content_hash(data), *size, "import")]
    )
    matrix = None if placed is None else tuple(map(float, np.ravel(placed)))
    row = None if matrix is None else Placement(path, matrix, 0.3, 0.05, "static")
    season.catalogue.record(Screening(path, "m", (), 0.4, 0.0, 0.2), row, [])
    return path


def file_days(season, days, size=(WIDTH, HEIGHT)):
    """One frame at noon of each of some days; their paths."""
    return [file_frame(season, noon(day), coded(day, size)) for day in days]


def pictures_of(path):
    """A film's pictures, RGB."""
    with av.open(str(path)) as film:
        return [frame.to_ndarray(format="rgb24") for frame in film.decode(video=0)]


def reopened(season):
    """The season opened anew, as a later run finds it."""
    season.catalogue.close()
    return Season(season.folder)
