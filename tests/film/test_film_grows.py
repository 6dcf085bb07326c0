"""A film that grows day by day, is cut off and goes on, equals one that was made at once."""

import os
import random
import subprocess
import sys
import time
from datetime import timedelta

import numpy as np
import pytest

from lapsekit.catalogue import Daily
from lapsekit.film.making import make_film
from lapsekit.film.records import Films
from lapsekit.measuring import measure
from tests.conftest import CHECKOUT
from tests.film.coded_season import (
    FIRST,
    FPS,
    HEIGHT,
    PLAIN,
    code_of,
    coded,
    coded_season,
    file_days,
    file_frame,
    noon,
    pictures_of,
)
from tests.film.killing import pictures_hash
from tests.scenes import SETTINGS, fill, make_season

LOOK = """\
[film]
short_side_px = 120
frames_per_second = 12
shows = ["date", "curve", "diary", "names"]
"""


@pytest.fixture
def season(tmp_path):
    found = coded_season(tmp_path / "bench", PLAIN.replace('"hold"', '"fade"'))
    yield found
    found.catalogue.close()


def parts_of(season):
    return {path: path.stat().st_mtime_ns for path in (season.films / ".parts/bench").iterdir()}


def test_a_day_more_encodes_the_last_two_days_alone_and_the_film_equals_one_made_at_once(
    season, tmp_path
):
    file_days(season, range(9))
    first = make_film(season)
    before = parts_of(season)
    file_days(season, [9])
    grown = make_film(season)
    assert (first.encoded, grown.pictures) == (90, 100)
    assert grown.encoded == 20  # the new day, and the one that fades into it
    kept = {path: told for path, told in parts_of(season).items() if path in before}
    assert len(kept) == 16 and kept.items() <= before.items()  # with what is kept for flashes
    fresh = coded_season(tmp_path / "fresh", PLAIN.replace('"hold"', '"fade"'))
    file_days(fresh, range(10))
    assert pictures_hash(make_film(fresh).path) == pictures_hash(grown.path)
    fresh.catalogue.close()


def test_a_measured_season_filmed_morning_by_morning_gives_the_film_that_is_made_at_once(tmp_path):
    growing, whole = (make_season(tmp_path / name, SETTINGS + LOOK) for name in ("daily", "once"))
    fill(whole, days=5)
    measure(whole)
    for frame in whole.catalogue.frames():
        if frame.taken_at.hour == 9:
            of_day = whole.catalogue.frames(day=frame.day)
            for each in of_day:
                growing.archive.store("bench", each.taken_at, whole.archive.read(each.path), ".png")
            measure(growing)
            grown = make_film(growing)
    assert grown.frames == 5
    assert pictures_hash(grown.path) == pictures_hash(make_film(whole).path)
    for season in (growing, whole):
        season.catalogue.close()


def test_nothing_is_made_twice(season):
    file_days(season, range(4))
    path = make_film(season).path
    before = {p: p.stat().st_mtime_ns for p in season.films.rglob("*") if p.is_file()}
    again = make_film(season)
    assert (again.made, again.encoded, again.files) == (False, 0, [])
    assert {p: p.stat().st_mtime_ns for p in season.films.rglob("*") if p.is_file()} == before
    path.with_name("bench-poster.jpg").unlink()
    again = make_film(season)
    assert (again.made, again.encoded) == (True, 0)
    assert path.with_name("bench-poster.jpg").exists()


def test_a_line_of_the_diary_makes_only_the_pictures_anew_on_which_it_stands(season):
    settings = season.folder / "season.toml"
    settings.write_text(settings.read_text().replace("shows = []", 'shows = ["diary"]'))
    season.catalogue.close()
    season = coded_season(season.folder, settings.read_text().split("[film]\n")[1])
    file_days(season, range(20))
    make_film(season)
    (season.folder / "diary.csv").write_text(
        f"date,region,event,note\n{FIRST + timedelta(4)},,potted on,\n"
    )
    told = make_film(season)
    assert 0 < told.encoded <= 80
    assert told.pictures == 200
    season.catalogue.close()


def test_windows_hold_still_while_the_season_grows(tmp_path):
    film = PLAIN.replace("steady = false", "steady = true")
    season = coded_season(tmp_path / "bench", film)
    boxes = []
    shifts = np.random.default_rng(3).normal(0, 0.4, (12, 2))
    for number, (x, y) in enumerate(shifts):
        placed = np.array([[1, 0, x], [0, 1, y], [0, 0, 1]])
        file_frame(season, noon(number), coded(number), placed=placed)
        if number >= 6:
            make_film(season)
            boxes.append(Films(season).record("bench").boxes)
    assert len(boxes) == 6
    assert all(box == boxes[0] for box in boxes)
    season.catalogue.close()


def daily(region, number, area):
    day = FIRST + timedelta(number)
    return Daily(region, day, 0.1, 0.09, 0.11, area, area - 1, area + 1, 1, {})


REGION = """\
[[region]]
name = "basil"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[60, 40], [130, 40], [130, 90], [60, 90]]
"""


def test_at_the_pace_of_growth_every_second_of_the_film_gains_alike(tmp_path):
    film = PLAIN.replace("day_seconds = 1", "length_seconds = 40") + 'pace = "growth"\n'
    season = coded_season(tmp_path / "bench", film, REGION)
    file_days(season, range(26))
    areas = np.cumsum([1.0] * 13 + [7.0] * 13)
    season.catalogue.store_daily([daily("basil", n, a) for n, a in enumerate(areas)])
    make_film(season)
    days = Films(season).record("bench").days
    lasts = np.array([end - start for _, start, end in days])
    assert lasts.sum() == pytest.approx(40, abs=0.3)
    slow, fast = lasts[4:9].mean(), lasts[17:23].mean()
    standing = 0.15 * 40 / 26  # what a day without growth keeps
    assert (fast - standing) / (slow - standing) == pytest.approx(7, rel=0.15)
    season.catalogue.close()


def test_time_runs_slowly_where_the_diary_tells_of_an_act(tmp_path):
    season = coded_season(tmp_path / "bench", PLAIN + 'pace = "events"\n')
    file_days(season, range(12))
    (season.folder / "diary.csv").write_text(
        f"date,region,event,note\n{FIRST + timedelta(6)},,potted on,\n"
    )
    film = pictures_of(make_film(season).path)
    shown = [code_of(picture) for picture in film]
    assert shown.count(6) == 40 and shown.count(2) == 10
    assert shown == sorted(shown)
    season.catalogue.close()


def filming(folder):
    return subprocess.Popen(
        [sys.executable, "-m", "lapsekit", "film", "--season", str(folder)],
        cwd=CHECKOUT,
        env=os.environ | {"PYTHONPATH": str(CHECKOUT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def ends(process):
    """Wait for a film that must be made."""
    _, said = process.communicate()
    assert process.returncode == 0, said


def test_killed_at_random_moments_it_goes_on_and_ends_as_if_nothing_had_been(tmp_path):
    look = PLAIN.replace('"hold"', '"fade"').replace("128", "320") + 'files = ["small"]\n'
    calm, harried = (coded_season(tmp_path / name, look) for name in ("calm", "harried"))
    for season in (calm, harried):
        file_days(season, range(22))
        season.catalogue.close()
    ends(filming(calm.folder))
    truth, chance = pictures_hash(Films(calm).file("bench")), random.Random(4)
    parts = harried.films / ".parts" / "bench"
    kills, found = 0, []
    for wanted in (0, 4, 12, 20):
        process = filming(harried.folder)
        while process.poll() is None and len(list(parts.glob("[!.]*.mp4"))) < wanted:
            time.sleep(0.01)
        time.sleep(chance.uniform(0, 0.3))
        kills += process.poll() is None
        process.kill()
        process.communicate()
        for film in harried.films.glob("[!.]*.mp4"):
            assert pictures_hash(film)[1] == truth[1]
        found.append([pictures_hash(part)[1] for part in parts.glob("[!.]*.mp4")])
        assert all(found[-1])
    assert kills >= 2 and len(found[-1]) > len(found[0])
    ends(filming(harried.folder))
    assert pictures_hash(Films(harried).file("bench")) == truth
    names = [
        sorted(f"{p.relative_to(season.folder)}" for p in season.films.rglob("*") if p.is_file())
        for season in (calm, harried)
    ]
    assert names[0] == names[1]
    assert Films(harried).record("bench") == Films(calm).record("bench")


def test_on_a_full_disk_it_says_so_leaves_nothing_broken_and_goes_on_with_room(
    small_disk, tmp_path
):
    folder = small_disk("3m") / "bench"
    look = PLAIN.replace('"hold"', '"fade"').replace(f"= {HEIGHT}", "= 540")
    season = coded_season(folder, look + 'files = ["stills"]\n')
    file_days(season, range(10))
    season.catalogue.close()
    process = filming(folder)
    _, said = process.communicate()
    assert process.returncode not in (0, 70), said
    assert b"Traceback" not in said and b"No space left" in said
    assert all(len(pictures_of(film)) == 10 * FPS for film in season.films.glob("[!.]*.mp4"))
    small_disk("200m")
    ends(filming(folder))
    assert len(pictures_of(Films(season).file("bench"))) == 10 * FPS
