"""A made-up season of any length to build a site of, put straight into archive and catalogue.

Its pictures are the sample season's frames in their order, spread over the days: what they come to
in bytes is real. Its numbers are made: plants that grow to a ceiling, with noise, gaps, a pause
and a loss.
"""

import io
import math
import random
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path

from PIL import Image

from lapsekit.catalogue import Daily, Frame, Placement, Screening
from lapsekit.corrections import CORRECTIONS_HEADER
from lapsekit.frames.archive import content_hash
from lapsekit.season import CORRECTIONS_FILE, Season

FIRST = date(2031, 4, 1)
FRAMES = Path(__file__).parents[2] / "sample_frames" / "frames" / "bench"
NAMES = ("basil", "chives", "cress", "dill", "kale", "lettuce", "rocket", "sorrel")
PAUSED, LOST = "cress", "kale"
PAUSE = range(30, 38)
LOSS = 50
LONG_GAP = range(40, 44)
ADDRESS = "https://herbs.example/bench/"
#: Words that a page must bear as words: tags, marks that turn the reading direction, 10 kB.
TAG = "<script>alert(1)</script>"
TURNED = "\u202eturned\u202c \u05e9\u05dc\u05d5\u05dd"
LONG_WORD = "Kresse" * 1700
EVENTS = ("watered", "fed", "moved", "cold", "potted on", "pest", "cut")


@dataclass(frozen=True)
class Kind:
    """What kind of season is made.

    Parameters
    ----------
    regions : int
        How many plants there are, up to eight.
    frames_a_day : int
        Rows in the catalogue; only the daily picture has a file.
    width : int
        Width of the pictures in px.
    hostile : bool
        Whether title, labels and diary try to break the pages.
    trough : bool
        Whether a second camera without a scale sees the last plant.
    """

    regions: int = 8
    frames_a_day: int = 1
    width: int = 960
    hostile: bool = False
    trough: bool = False


def made(folder: Path, days: int, kind: Kind = Kind()) -> Season:
    """A season of `days` days, open."""
    season = empty(folder, days, kind)
    for number in range(days):
        add_day(season, number, days, kind)
    return season


def empty(folder: Path, days: int, kind: Kind = Kind()) -> Season:
    """A season of which nothing is there yet but settings and diary, open."""
    folder.mkdir(parents=True)
    (folder / "season.toml").write_text(_settings(kind), encoding="utf-8")
    (folder / "regions.toml").write_text(_regions(kind), encoding="utf-8")
    (folder / "diary.csv").write_text(_diary(days, kind), encoding="utf-8")
    if kind.hostile:
        (folder / CORRECTIONS_FILE).write_text(_corrections(), encoding="utf-8")
    return Season(folder)


def add_day(season: Season, number: int, days: int, kind: Kind = Kind()) -> None:
    """Add the frames and values of the day `number` (0 is the first) of `days`."""
    day = FIRST + timedelta(days=number)
    if number in LONG_GAP:
        return
    reasons = ("dark",) if number % 23 == 16 else ()
    cameras = ["bench", "trough"] if kind.trough and number % 7 != 5 else ["bench"]
    for camera in cameras:
        _add_frames(season, camera, day, (number, days), reasons, kind)
    add_values(season, number, kind)


def add_values(season: Season, number: int, kind: Kind = Kind()) -> None:
    """Add the values of the day `number` alone, without frames."""
    reasons = ("dark",) if number % 23 == 16 else ()
    names = NAMES[: kind.regions] if number not in LONG_GAP else ()
    season.catalogue.store_daily([_daily(name, number, reasons, kind) for name in names])


def _add_frames(season, camera, day, place, reasons, kind) -> None:
    number, days = place
    noon = datetime(day.year, day.month, day.day, 11, 2, tzinfo=UTC)
    data = _picture(number, days, kind.width)
    file = season.archive.store(camera, noon, data, ".jpg")
    with Image.open(io.BytesIO(data)) as image:
        size = image.size
    frames = [Frame(camera, noon, day, file.path, content_hash(data), len(data), *size, "import")]
    for extra in range(1, kind.frames_a_day):
        at = noon + timedelta(minutes=15 * extra)
        path = f"frames/{camera}/{day}/{at:%Y%m%dT%H%M%SZ}.jpg"
        frames.append(Frame(camera, at, day, path, f"{day}-{extra}", 1, *size, "capture"))
    season.catalogue.add_frames(frames)
    turn = (1.0, 0.002, 1.5 * (number % 3), -0.002, 1.0, -1.0, 0.0, 0.0, 1.0)
    for frame in frames:
        seen = Screening(frame.path, "m", reasons, 0.4, 0.0, 0.2)
        placed = None if reasons else Placement(frame.path, turn, 0.3, 0.2, "static")
        season.catalogue.record(seen, placed, [])


@cache
def _picture(number: int, days: int, width: int) -> bytes:
    """The sample season's picture `number`: one a day where they suffice, else each of a day."""
    folders = sorted(FRAMES.iterdir())
    if days <= len(folders):
        of_days = [sorted(folder.glob("*.jpg")) for folder in folders]
        every = [files[len(files) // 2] for files in of_days]
    else:
        every = sorted(FRAMES.glob("*/*.jpg"))
        number = number * len(every) // days
    data = every[number % len(every)].read_bytes()
    with Image.open(io.BytesIO(data)) as image:
        if image.width == width:
            return data
        small = image.resize((width, round(width * image.height / image.width)))
    target = io.BytesIO()
    small.save(target, "JPEG", quality=88)
    return target.getvalue()


def area_cm2(name: str, number: int) -> float:
    """Area that a plant has, noise apart."""
    place = NAMES.index(name)
    grown = number - len([d for d in PAUSE if d < number]) if name == PAUSED else number
    ceiling, rate = 420.0 + 60 * place, 0.075 + 0.006 * place
    area = ceiling / (1 + (ceiling / (3.0 + place) - 1) * math.exp(-rate * grown))
    return area * (0.6 if name == LOST and number >= LOSS else 1.0)


def _daily(name, number, reasons, kind) -> Daily:
    day = FIRST + timedelta(days=number)
    if reasons:
        nothing = (None,) * 6
        return Daily(name, day, *nothing, 0, dict.fromkeys(reasons, kind.frames_a_day))
    noise = random.Random(f"{name}{number}").gauss(0, 0.02)
    area = area_cm2(name, number) * math.exp(noise)
    scaled = not (kind.trough and name == NAMES[kind.regions - 1])
    cover = [area * share / 2000 for share in (1, 0.95, 1.05)]
    areas = [area, 0.95 * area, 1.05 * area] if scaled else [None] * 3
    return Daily(name, day, *cover, *areas, kind.frames_a_day, {}, crowded=area > 500)


def _settings(kind: Kind) -> str:
    title, about = "Made-up herbs", "Eight containers.\\n\\nOn a roof."
    if kind.hostile:
        title = f'{TAG} & \\"herbs\\" {TURNED} {"Titel" * 20}'
        about = f"{TAG}\\n\\n{TURNED}\\n\\n{LONG_WORD}"
    text = f"""\
[season]
title = "{title}"
time_zone = "CET"
sown = 2031-03-25
about = "{about}"
[place]
latitude = 48.1234
longitude = 11.5678
[site]
address = "{ADDRESS}"
[cameras.bench]
kind = "files"
px_per_cm = 10
"""
    return text + ('[cameras.trough]\nkind = "files"\n' if kind.trough else "")


def _regions(kind: Kind) -> str:
    made, across, down = [], kind.width // 4, kind.width * 3 // 8
    for place, name in enumerate(NAMES[: kind.regions]):
        left, top = place % 4 * across, place // 4 * down
        points = [
            [left, top],
            [left + across - 2, top],
            [left + across - 2, top + down - 2],
            [left, top + down - 2],
        ]
        camera = "trough" if kind.trough and place == kind.regions - 1 else "bench"
        made.append(
            f'[[region]]\nname = "{name}"\nlabel = "{_label(place, name, kind)}"\n'
            f'camera = "{camera}"\n'
            + ('group = "cut leaves"\n' if place in (4, 5) else "")
            + f"[[region.outline]]\nfrom = {FIRST}\npoints = {points}\n"
        )
    return "".join(made)


def _label(place: int, name: str, kind: Kind) -> str:
    if not kind.hostile:
        return name.capitalize()
    return [f"Basil {TAG}", f"Chives {TURNED}", f"Cress {'lang' * 18}"][place % 3] + str(place)


def _corrections() -> str:
    """Three that a page must bear; one of the whole bench."""
    lines = (
        f"{FIRST + timedelta(days=9)},basil,{FIRST},{FIRST + timedelta(days=3)},{TAG},{LONG_WORD}",
        f"{FIRST + timedelta(days=8)},cress,,{FIRST},{TURNED},",
        f"{FIRST + timedelta(days=7)},,{FIRST},,The scale was off by a tenth.,Areas are larger.",
    )
    return "\n".join((CORRECTIONS_HEADER, *lines)) + "\n"


def _diary(days: int, kind: Kind) -> str:
    lines = ["date,region,event,note"]
    for number in range(4, days, 6):
        day = FIRST + timedelta(days=number)
        region = NAMES[number % kind.regions] if number % 4 else ""
        lines.append(f"{day},{region},{EVENTS[number % len(EVENTS)]},in the morning")
    if kind.hostile:
        lines += [
            f"{FIRST + timedelta(days=2)},basil,{TAG},{LONG_WORD}",
            f"{FIRST + timedelta(days=3)},,{LONG_WORD},{TURNED}",
            f'{FIRST + timedelta(days=days - 1)},cress,"<b onclick=x>""&",{TAG}',
        ]
    return "\n".join(lines) + "\n"
