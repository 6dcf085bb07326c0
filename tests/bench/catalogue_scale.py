"""What a catalogue of a million frames costs: opening it, and what every morning asks of it.

    nice python -m tests.bench.catalogue_scale [--years 1 10] [--cameras 20] [--a-day 14] [--json]

A season with its settings and a catalogue with rows of every table is made for each length, in a
temporary folder; no picture is. Each question is asked `--times` times, and the processor time of
the fastest is told, with how much it grew from the shortest history to the longest. The figures
that verdicts are made from, 27 kB a frame, are made as large as they are for the last month alone:
nothing that is asked here reads older ones. What they would take up is told.
"""

import argparse
import hashlib
import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from itertools import islice, product
from pathlib import Path

from lapsekit import judging as stage
from lapsekit.catalogue import Catalogue, Daily, Frame, Judging
from lapsekit.checking import standing
from lapsekit.judging import judge_season, verdicts_waiting
from lapsekit.listing import list_frames
from lapsekit.ruler import Ruler
from lapsekit.season import Season
from lapsekit.site.almanac import gather
from lapsekit.trust import trust
from lapsekit.undone import frames_not_done
from lapsekit.when import utc_text
from tests.bench.rows import Row, tenfold

FIRST_DAY = date(2021, 1, 1)
YEAR = 365
MOST_MS = 30.0
"""Processor time in which a catalogue is opened and a day listed."""

FIGURES_BYTES = 27_000
_FIGURES_DAYS, _PART = 30, 20_000
_TOLD = ("open it, list a day", "frames that wait", "the hourly look", "all a site is made of")
_REASONS = ("dark", "hazed", "obstructed", "blurred")


def season_of(folder: Path, cameras: int, regions: int = 2) -> Season:
    """A season folder with so many cameras, and so many regions before each; no frame yet."""
    folder.mkdir(parents=True)
    parts = ['[season]\ntitle = "Benches"\ntime_zone = "UTC"\nsown = 2021-01-01\n']
    parts += ["[registration]\nuse = false\n"]
    outlines = []
    for number in range(cameras):
        name = f"bench{number:02}"
        parts.append(
            f'[cameras.{name}]\nkind = "command"\ncommand = ["true"]\n'
            f'reference = "{path_of(name, FIRST_DAY, 0)}"\n'
        )
        outlines += [
            f'[[region]]\nname = "{name}-{k}"\ncamera = "{name}"\n[[region.outline]]\n'
            f"from = {FIRST_DAY}\npoints = [[{90 * k}, 0], [{90 * k + 80}, 0], [{90 * k}, 200]]\n"
            for k in range(regions)
        ]
    (folder / "season.toml").write_text("\n".join(parts))
    (folder / "regions.toml").write_text("\n".join(outlines))
    trust(folder)
    return Season(folder, lambda: datetime(2031, 1, 1, 12, tzinfo=UTC))


def path_of(camera: str, day: date, number: int) -> str:
    """Path of a day's frame, at half past some hour."""
    return f"frames/{camera}/{day}/{day:%Y%m%d}T{6 + number:02}3000Z.jpg"


def fill(season: Season, days: int, a_day: int, last: date | None = None) -> None:
    """Give a season rows of every table, for so many days up to `last`, as if it were measured."""
    last = last or FIRST_DAY + timedelta(10 * YEAR - 1)
    dates = [last - timedelta(days=days - 1 - number) for number in range(days)]
    _insert(season, (_noted_as(*each) for each in _frames(season, [FIRST_DAY, *dates], a_day)))
    ruler = Ruler(season)
    _insert(
        season,
        (
            _known_of(ruler, number, frame, (last - frame.day).days < _FIGURES_DAYS)
            for number, frame in _frames(season, [FIRST_DAY, *dates], a_day)
        ),
    )
    for region in season.regions.region:
        season.catalogue.store_daily([_daily(region.name, day) for day in dates])
    season.catalogue.keep_regions({r.name: r.camera for r in season.regions.region})
    for camera in season.settings.cameras:
        _settle(season, camera)
    frames_not_done(ruler, note=True)


def _frames(season: Season, dates: list[date], a_day: int) -> Iterator[tuple[int, Frame]]:
    places = product(dict.fromkeys(dates), season.settings.cameras, range(a_day))
    for frame_id, (day, camera, number) in enumerate(places, start=1):
        at = datetime(day.year, day.month, day.day, 6 + number, 30, tzinfo=UTC)
        path = path_of(camera, day, number)
        sha256 = hashlib.sha256(path.encode()).hexdigest()
        yield frame_id, Frame(camera, at, day, path, sha256, 900_000, 1640, 1232, "capture")


_INSERT = {
    "frame": "INSERT INTO frame (id, camera, taken_at, day, path, sha256, size, width, height,"
    " arrived_by) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    "screening": "INSERT INTO screening VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
    "figures": "INSERT INTO figures VALUES (?, ?)",
    "placement": "INSERT INTO placement VALUES (?, ?, ?, ?, ?)",
    "measurement": "INSERT INTO measurement VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)",
}
_MATRIX = json.dumps([1.00002, -1.4e-05, -0.11, 1.4e-05, 1.00002, -0.03, 0.0, 0.0, 1.0])


Rows = dict[str, list[tuple]]


def _insert(season: Season, made: Iterator[Rows]) -> None:
    """Put rows of several tables in, some thousand frames at a time."""
    db = season.catalogue._db
    db.execute("BEGIN")
    while part := list(islice(made, _PART)):
        for name, query in _INSERT.items():
            db.executemany(query, [row for rows in part for row in rows.get(name, ())])
    db.execute("COMMIT")


def _noted_as(number: int, frame: Frame) -> Rows:
    row = vars(frame) | {"taken_at": utc_text(frame.taken_at), "day": frame.day.isoformat()}
    return {"frame": [(number, *row.values())]}


def _known_of(ruler: Ruler, number: int, frame: Frame, is_late: bool) -> Rows:
    why = "" if number % 19 else _REASONS[number % len(_REASONS)]
    reasons, told = json.dumps([why] if why else []), f"{why}: 0.61 against 0.33" if why else ""
    screened = (number, ruler.screening_mark(frame), reasons, 0.41, 0.002, 0.31, told, 1)
    return {
        "screening": [screened],
        "figures": [(number, "x" * FIGURES_BYTES if is_late else "{}")],
        "placement": [(number, _MATRIX, 0.26, 0.064, "near")],
        "measurement": [
            (number, name, mark, 20687, 9000, 0.435, 93.3, 0.49, 0.0, 0.0, 0.0)
            for name, mark in ruler.marks(frame).items()
        ],
    }


def _daily(region: str, day: date) -> Daily:
    values = (0.13, 0.125, 0.134, 93.3, 90.1, 96.6)
    parts = {"frames": 0.97, "canopy": 3.12, "scale": 0.31}
    within = (0.0098, 0.0083, 0.493, 0.0, 0.0)
    return Daily(region, day, *values, 13, {"hazed": 1}, parts, (), False, *within)


def _settle(season: Season, camera: str) -> None:
    """Say that a camera's frames are judged by today's settings."""
    last = season.catalogue.latest(camera, 1)[0]
    told = Judging(stage._basis(season), stage._ruled({}), 1, last.taken_at, last.path, "")
    season.catalogue.record_verdicts(camera, [], told)


def questions(season: Season) -> dict[str, Callable[[], object]]:
    """What is asked every morning, every hour and at the desk, by what it is."""
    catalogue, camera = season.catalogue, next(iter(season.settings.cameras))
    last = catalogue.last_day(camera)
    ruler, regions = Ruler(season), [r.name for r in season.regions.region]
    every = list(season.settings.cameras)
    at = datetime(2031, 1, 1, 6, tzinfo=UTC)
    fresh = Frame(camera, at, at.date(), "", "", 9, 9, 9, "")
    return {
        "open it, list a day": lambda: _opened(season, camera, last),
        "frames that wait": lambda: frames_not_done(ruler),
        "verdicts that wait": lambda: verdicts_waiting(season),
        "judging, nothing new": lambda: judge_season(season),
        "sizes of pictures": lambda: [catalogue.picture_sizes(name) for name in every],
        "a camera's days": lambda: catalogue.days_of_camera(camera),
        "a day's verdicts": lambda: catalogue.screenings(camera, last),
        "a fortnight's rows": lambda: catalogue.measurements(
            camera=camera, since=last - timedelta(14)
        ),
        "90 days' places": lambda: catalogue.placements(camera, last - timedelta(90)),
        "witnesses of a view": lambda: catalogue.first_of_days_after(camera, FIRST_DAY, 3),
        "the hourly look": lambda: standing(season, lambda _: None),
        "a region's days": lambda: catalogue.daily(regions[0]),
        "a month at the desk": lambda: catalogue.counts(camera, last.replace(day=1), last),
        "a page of those left out": lambda: catalogue.page_of_left_out(camera, [], 24, 0),
        "lapsekit frames": lambda: list_frames(season, most=200),
        "a camera's daily pictures": lambda: season.pictures_of(camera),
        "all a site is made of": lambda: gather(season),
        "one frame noted": lambda: _noted(catalogue, fresh),
    }


def _opened(season: Season, camera: str, day: date) -> list[Frame]:
    with closing(Catalogue(season.folder / "catalogue.sqlite")) as catalogue:
        return catalogue.frames(camera, day)


def _noted(catalogue: Catalogue, frame: Frame) -> None:
    path = f"frames/{frame.camera}/2031-01-01/{time.monotonic_ns()}.jpg"
    catalogue.add_frames([Frame(**vars(frame) | {"path": path})])
    catalogue.remove_frames([path])


def costs(folder: Path, cameras: int, years: float, a_day: int, times: int) -> dict:
    """Milliseconds of processor time of each question, and the size of the file."""
    season = season_of(folder, cameras)
    with closing(season.catalogue) as catalogue:
        fill(season, round(YEAR * years), a_day)
        frames = sum(map(catalogue.number_of_frames, catalogue.cameras()))
        found = {what: _least_ms(ask, times) for what, ask in questions(season).items()}
    size = (folder / "catalogue.sqlite").stat().st_size
    late = cameras * a_day * min(_FIGURES_DAYS, round(YEAR * years))
    return {
        "frames": frames,
        "bytes": size,
        "bytes_with_all_figures": size + (frames - late) * FIGURES_BYTES,
        "ms": found,
    }


def _least_ms(ask: Callable[[], object], times: int) -> float:
    found = []
    for _ in range(times):
        began = time.process_time()
        ask()
        found.append(1e3 * (time.process_time() - began))
    return min(found)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    years, cameras, a_day = ((0.1, 0.2), 2, 3) if quick else ((1, 10), 20, 14)
    found = []
    for each in years:
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as folder:
            found.append(costs(Path(folder, "season"), cameras, each, a_day, 5))
    short, long = found
    for what in _TOLD:
        one, other = short["ms"][what], long["ms"][what]
        late = what == _TOLD[0] and other > MOST_MS
        yield Row(
            f"catalogue: {what}, {long['frames']:,} frames",
            f"{short['frames']:,} frames",
            other / one,
            tenfold=tenfold(one, other, years[1] / years[0]),
            told=f"{other:.1f} ms of processor" + (f", at most {MOST_MS:g} wanted" if late else ""),
            failed=late,
        )


def told(found: list[dict]) -> str:
    """The table."""
    short, long = found[0], found[-1]
    lines = [f"{'':26}" + "".join(f"{each['frames']:>14,}" for each in found) + "  times"]
    for what in short["ms"]:
        each = "".join(f"{one['ms'][what]:11.2f} ms" for one in found)
        lines.append(f"{what:26}{each}{long['ms'][what] / max(short['ms'][what], 0.01):7.1f}")
    sizes = "".join(f"{one['bytes'] / 1e6:11.0f} MB" for one in found)
    whole = "".join(f"{one['bytes_with_all_figures'] / 1e9:11.1f} GB" for one in found)
    lines += [f"{'the file':26}{sizes}", f"{'with all figures':26}{whole}"]
    lines.append(f"at most {MOST_MS:g} ms wanted for opening the longest and listing a day")
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bar is kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--years", type=float, nargs="+", default=[1, 10])
    parser.add_argument("--cameras", type=int, default=20)
    parser.add_argument("--a-day", type=int, default=14)
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    found = []
    for years in sorted(asked.years):
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as folder:
            whole = (asked.cameras, years, asked.a_day, asked.times)
            found.append(costs(Path(folder, "season"), *whole))
    print(json.dumps(found, indent=1) if asked.json else told(found))
    return int(found[-1]["ms"]["open it, list a day"] > MOST_MS)


if __name__ == "__main__":
    sys.exit(main())
