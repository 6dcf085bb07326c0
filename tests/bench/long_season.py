"""A season of any length whose frames can really be measured: the sample season, drawn out.

Its plants grow up in a month, twice as fast as in the sample season; then each day shows one of
eleven days of the sample season's last weeks, forth and back. So a morning has as much to look at
on day 30 as on day 365, and what makes it dearer is the season behind it. Every frame gets a grain
of its own, so that no two files are alike, and is enlarged where the camera shall be a larger one.
"""

import ast
import csv
import re
import shutil
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path

import cv2
import numpy as np

SAMPLE = Path(__file__).parents[2] / "sample_frames"
FIRST = date(2026, 3, 12)
"""The first day, here and in the sample season."""

GROWN, LEAST, MOST = 30, 50, 60
"""Days until plants are large; first and last of the sample season's days shown from then on."""

GRAIN, QUALITY = 2.0, 92
_LATER = timedelta(minutes=7)


@dataclass(frozen=True)
class Bench:
    """What kind of camera looks down: width of its pictures in px (4:3), frames a day."""

    width: int = 960
    frames_a_day: int = 6


def sample_day(number: int) -> int:
    """Which day of the sample season (0 is its first) the day `number` shows."""
    if number < GROWN:
        return number * MOST // GROWN
    turn = MOST - LEAST
    return LEAST + abs((number - GROWN + turn) % (2 * turn) - turn)


def begun(folder: Path, bench: Bench) -> None:
    """A season folder of which no day is there yet."""
    factor = bench.width / 960
    folder.mkdir(parents=True)
    settings = _scaled((SAMPLE / "season.toml").read_text("utf-8"), factor)
    (folder / "season.toml").write_text(settings, "utf-8")
    outlines = _scaled((SAMPLE / "regions.toml").read_text("utf-8"), factor)
    (folder / "regions.toml").write_text(re.sub(r"(?<=from = )\S+", _when, outlines), "utf-8")
    shutil.copy(SAMPLE / "weather.csv", folder)


def add_days(folder: Path, first: int, last: int, bench: Bench) -> None:
    """File the frames of days `first` to `last`, which is not among them."""
    for number in range(first, last):
        _add_day(folder, number, bench)


def _add_day(folder: Path, number: int, bench: Bench) -> None:
    shown = _usable()[FIRST + timedelta(days=sample_day(number))]
    later = timedelta(days=number - sample_day(number))
    for place in range(bench.frames_a_day):
        path = shown[place % len(shown)]
        taken = datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ") + later
        taken += _LATER * (place // len(shown))
        target = folder / "frames" / "bench" / f"{taken:%Y-%m-%d}" / f"{taken:%Y%m%dT%H%M%SZ}.jpg"
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(_pictured(path, bench.width, 100 * number + place))


def _pictured(path: Path, width: int, seed: int) -> bytes:
    picture = _enlarged(path, width)
    side = 256
    random = np.random.default_rng(seed)
    tile = random.normal(0, GRAIN, (side, side, 1)).astype(np.float32)
    rows, columns = (-(-length // side) for length in picture.shape[:2])
    grain = np.tile(tile, (rows, columns, 1))[: picture.shape[0], : picture.shape[1]]
    noisy = np.clip(picture + grain, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", noisy, (cv2.IMWRITE_JPEG_QUALITY, QUALITY))[1].tobytes()


@cache
def _usable() -> dict[date, list[Path]]:
    """The sample season's usable frames by day; where a day has none, those of the day before."""
    found: dict[date, list[Path]] = defaultdict(list)
    with (SAMPLE / "truth" / "frames.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            if row["state"] == "usable":
                path = SAMPLE / row["path"]
                found[date.fromisoformat(path.parent.name)].append(path)
    for number in range(1, MOST + 1):
        day = FIRST + timedelta(days=number)
        found[day] = sorted(found[day]) or found[day - timedelta(days=1)]
    return found


def _enlarged(path: Path, width: int) -> np.ndarray:
    picture = cv2.imread(str(path))
    size = width, width * picture.shape[0] // picture.shape[1]
    if picture.shape[1] != width:
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC)
    return picture


def _when(match: re.Match) -> str:
    """The day on which a pot is moved here."""
    wanted = (date.fromisoformat(match[0]) - FIRST).days
    number = next((n for n in range(GROWN) if sample_day(n) >= wanted), GROWN)
    return str(FIRST + timedelta(days=number) if wanted > 0 else date.fromisoformat(match[0]))


def _scaled(text: str, factor: float) -> str:
    """Settings with every point moved from one size of picture to another."""
    lines = []
    for line in text.splitlines():
        if line.startswith(("points", "scale_rectangle")):
            name, points = line.split("=", 1)
            moved = (np.array(ast.literal_eval(points.strip())) + 0.5) * factor - 0.5
            line = f"{name}= {moved.round(2).tolist()}"
        lines.append(line)
    return "\n".join(lines) + "\n"
