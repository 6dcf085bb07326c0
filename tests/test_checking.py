"""What a visit would find wrong is found without one, and a season in order is called fine."""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit import checking
from lapsekit.catalogue import Frame, Screening
from lapsekit.checking import room
from lapsekit.checking.finding import Look
from lapsekit.film.records import Films
from lapsekit.measuring import measure
from lapsekit.publishing import publish
from lapsekit.season import Season
from lapsekit.trust import take_back
from tests.publishing.sites import write_site
from tests.scenes import SETTINGS, bench_picture, encoded, fill, make_season

EVENING = datetime(2031, 4, 5, 19, 10, tzinfo=UTC)
SCRIPTS = {
    "timedatectl": "yes\n",
    "vcgencmd": "throttled=0x0\n",
    "cat": "51234\n",
}
RHYTHM = """daily_at = "11:00"
every_minutes = 240
from = "11:00"
until = "19:00"
"""


def season_at(folder, now=EVENING, camera='kind = "files"', more=""):
    """Five days of frames up to 19:00 of the last; asked at `now`."""
    text = SETTINGS.replace('kind = "files"', camera, 1).replace('daily_at = "12:00"\n', RHYTHM)
    made = make_season(folder, text + more)
    fill(made)
    measure(made, workers=1)
    made.catalogue.close()
    return Season(folder, lambda: now)


def found(season, **said):
    answers = SCRIPTS | said
    rows = checking.check(season, lambda command: answers.get(command[0]))
    season.catalogue.close()
    return {row.what: row for row in rows}


def picture_command(folder, picture=None):
    file = folder / "now.jpg"
    file.write_bytes(encoded(bench_picture([]) if picture is None else picture))
    return f'kind = "command"\ncommand = ["cat", "{file}"]'


def test_a_season_in_order_is_fine(tmp_path):
    (tmp_path / "s").mkdir()
    (tmp_path / "s/to").write_text("json://127.0.0.1:9\n")
    (tmp_path / "s/to").chmod(0o600)
    more = '\n[alerts]\nto_file = "to"\n'
    rows = found(season_at(tmp_path / "s", EVENING, picture_command(tmp_path), more))
    assert [row for row in rows.values() if row.how != checking.FINE] == []
    wanted = {"camera bench", "frames of bench", "disk", "clock", "power", "temperature"}
    wanted |= {"return of bench", "sharpness of bench", "alerts", "network", "clock chip"}
    assert wanted <= set(rows)


@pytest.mark.parametrize(
    ("camera", "way"), [('kind = "files"', "import"), ('kind = "usb"', "capture")]
)
def test_a_camera_without_frames_says_how_the_first_comes(tmp_path, camera, way):
    text = SETTINGS.replace('kind = "files"', camera)
    make_season(tmp_path / "s", text).catalogue.close()
    season = Season(tmp_path / "s", lambda: EVENING)
    rows = {row.what: row for row in checking.check(season, lambda command: None, asks=False)}
    season.catalogue.close()
    assert f"none yet; lapsekit {way} " in rows["frames of bench"].told


def test_lines_of_the_diary_are_counted_by_what_is_wrong_with_them(tmp_path):
    season = make_season(tmp_path / "s")
    season.clock = lambda: EVENING
    text = "date,region,event,note\n2031-04-02,nobody,fed,x\nnonsense,,,\n2131-04-26,basil,fed,\n"
    (season.folder / "diary.csv").write_text(text)
    rows = {row.what: row for row in checking.check(season, lambda command: None, asks=False)}
    season.catalogue.close()
    assert rows["diary"].told.startswith("1 line passed over: ")
    assert "; 1 line of no region: " in rows["diary"].told
    assert "; 1 line of days to come: " in rows["diary"].told


@pytest.mark.parametrize(
    ("scale", "says", "is_odd"),
    [
        ("px_per_cm = 10", "spans 32 x 24 cm of the bench", False),
        ("px_per_cm = 100", "spans 3.2 x 2.4 cm of the bench", True),
        ("px_per_cm = 0.1", "spans 3200 x 2400 cm of the bench", True),
        ("px_per_cm = 1", "spans 320 x 240 cm of the bench", False),
        ("px_per_cm = 1\nheight_cm = 150", "spans 320 x 240 cm of the bench", False),
        ("px_per_cm = 1\nheight_cm = 60", "of the bench, seen from 60 cm above,", True),
        ("scale_points = [[0, 0], [300, 0]]\nscale_length_cm = 3000", "3200 x 2400 cm", True),
    ],
)
def test_a_scale_is_told_by_the_bench_it_makes_and_doubted_beyond_reason(
    tmp_path, scale, says, is_odd
):
    """By a check always, by measuring where it can hardly be."""
    season = make_season(tmp_path / "s", SETTINGS.replace("px_per_cm = 10", scale))
    season.clock = lambda: EVENING
    fill(season, days=1)
    told = [note for note in measure(season, workers=1).notes if "of the bench" in note]
    rows = {row.what: row for row in checking.check(season, lambda command: None, asks=False)}
    row = rows["scale of bench"]
    season.catalogue.close()
    assert says in row.told
    assert row.how == (checking.WATCH if is_odd else checking.FINE)
    assert len(told) == is_odd and ("decimal point amiss" in row.told) == is_odd
    assert all("cameras.bench" in note for note in told)


def test_a_camera_without_a_scale_is_not_asked_for_it(tmp_path):
    season = make_season(tmp_path / "s", SETTINGS.replace("px_per_cm = 10\n", ""))
    fill(season, days=1)
    measure(season, workers=1)
    rows = {row.what for row in checking.check(season, lambda command: None, asks=False)}
    season.catalogue.close()
    assert "scale of bench" not in rows


def test_a_silent_camera_and_a_broken_one_are_wrong(tmp_path):
    season = season_at(
        tmp_path / "s", EVENING + timedelta(days=3), 'kind = "command"\ncommand = ["false"]'
    )
    rows = found(season)
    assert rows["camera bench"].how == checking.WRONG
    assert rows["frames of bench"].how == checking.WRONG
    assert "is lapsekit run running?" in rows["frames of bench"].told


def test_a_picture_of_another_size_is_told(tmp_path):
    other = picture_command(tmp_path, bench_picture([], size=(640, 480)))
    row = found(season_at(tmp_path / "s", EVENING, other))["camera bench"]
    assert row.how == checking.WATCH
    assert "640 × 480 px, its first frames were 320 × 240 px" in row.told


@pytest.mark.parametrize(
    ("said", "what", "how"),
    [
        ({"vcgencmd": "throttled=0x50005\n"}, "power", checking.WRONG),
        ({"vcgencmd": "throttled=0x50000\n"}, "power", checking.WATCH),
        ({"cat": "84000\n"}, "temperature", checking.WRONG),
        ({"cat": "77000\n"}, "temperature", checking.WATCH),
        ({"timedatectl": "no\n"}, "clock", checking.WATCH),
    ],
)
def test_the_machines_own_flags_are_read(tmp_path, said, what, how):
    assert found(season_at(tmp_path / "s"), **said)[what].how == how


def test_a_machine_that_tells_nothing_is_not_asked(tmp_path):
    rows = found(season_at(tmp_path / "s"), vcgencmd=None, cat=None, timedatectl=None)
    assert not {"power", "temperature", "clock"} & set(rows)


def test_a_clock_before_the_last_frame_is_wrong(tmp_path):
    row = found(season_at(tmp_path / "s", datetime(2031, 1, 1, tzinfo=UTC)))["clock"]
    assert row.how == checking.WRONG and "before the last frame" in row.told


def test_a_full_disk_and_a_nearly_full_one_are_told_in_days(tmp_path, monkeypatch):
    season = season_at(tmp_path / "s")
    daily = sum(f.size for f in season.catalogue.frames()) / room.RECENT_DAYS
    season.catalogue.close()

    def free(days):
        monkeypatch.setattr(room.shutil, "disk_usage", lambda _: Usage(days * daily + 300e6))
        return found(Season(season.folder, lambda: EVENING))["disk"]

    class Usage:
        def __init__(self, free):
            self.free = free

    monkeypatch.setattr(room, "WRONG_DAYS", 300e6 / daily + 7)
    monkeypatch.setattr(room, "WATCH_DAYS", 300e6 / daily + 60)
    assert [free(days).how for days in (3, 30, 90)] == ["wrong", "watch", "fine"]
    assert "make room" in free(3).told


def test_a_place_that_does_not_answer_is_wrong_and_an_empty_one_is_told(tmp_path):
    place = f'\n[publish]\nto = "folder"\ntarget = "{tmp_path / "there"}"\n'
    row = found(season_at(tmp_path / "s", more=place))["publishing"]
    assert row.how == checking.WATCH and "nothing was published there yet" in row.told
    lost = '\n[publish]\nto = "rsync"\ntarget = "127.0.0.1:/nowhere"\nssh_port = 9\n'
    row = found(season_at(tmp_path / "t", more=lost))["publishing"]
    assert row.how == checking.WRONG


def test_a_published_site_that_lost_files_is_wrong_and_one_that_holds_them_fine(tmp_path):
    there = tmp_path / "there"
    season = season_at(tmp_path / "s", more=f'\n[publish]\nto = "folder"\ntarget = "{there}"\n')
    write_site(season.site, 1, days=2)
    publish(season)
    row = found(season)["publishing"]
    assert row.how == checking.FINE and "holds every file that was put there, by name" in row.told
    (there / "index.html").unlink()
    row = found(season)["publishing"]
    assert row.how == checking.WRONG
    assert f"{there}: index.html is gone there; lapsekit publish sends" in row.told
    shutil.rmtree(there / "pictures")
    row = found(season)["publishing"]
    assert "index.html and 2 more files are gone there" in row.told


def test_frames_that_are_missing_show_in_the_return_by_day(tmp_path):
    season = season_at(tmp_path / "s", camera='kind = "command"\ncommand = ["false"]')
    gone = [f.path for f in season.catalogue.frames() if str(f.day) == "2031-04-03"][:2]
    season.catalogue.remove_frames(gone)
    row = found(season)["return of bench"]
    assert row.how == checking.WATCH
    assert row.told.startswith("13 of 15 frames due") and "2031-04-03 1 of 3" in row.told


@pytest.mark.parametrize(
    ("kind", "arrived_by", "how"),
    [
        ('kind = "command"\ncommand = ["false"]', "import", checking.WATCH),
        ('kind = "command"\ncommand = ["false"]', "capture", checking.WRONG),
        ('kind = "replay"\nfolder = "x"', "capture", checking.WATCH),
    ],
)
def test_frames_are_due_only_since_a_camera_could_take_them(tmp_path, kind, arrived_by, how):
    """A season is founded over a month's frames that were there already."""
    now = EVENING + timedelta(days=30)
    season = season_at(tmp_path / "s", now, kind, "\n[alerts]\nno_frame_hours = 3\n")
    founded = (now - timedelta(minutes=10)).timestamp()
    os.utime(season.folder / "season.toml", (founded, founded))
    frames = season.catalogue.frames()
    season.catalogue.remove_frames([frame.path for frame in frames])
    season.catalogue.add_frames([replace(frame, arrived_by=arrived_by) for frame in frames])
    (row,) = checking.frames.last_frames(Look(season))
    called = list(checking.frames.silent(Look(season)))
    season.catalogue.close()
    assert row.how == how and [each.how for each in called] == [how] * (how == checking.WRONG)


def test_a_lens_that_grows_dim_from_week_to_week_is_told(tmp_path):
    """No day differs much from the one before; screening, which compares those, sees nothing."""
    made = make_season(tmp_path / "s")
    for number in range(180):
        moment = EVENING + timedelta(hours=8 * number)
        frame = Frame("bench", moment, made.day_of(moment), f"{number}.jpg", "x", 1, 9, 9, "import")
        made.catalogue.add_frames([frame])
        blur = 0.2 + 0.001 * number
        made.catalogue.record(Screening(frame.path, "mark", (), 0.5, 0.0, blur), None, [])
        if number == 60:
            assert found(Season(made.folder))["sharpness of bench"].how == checking.FINE
    row = found(made)["sharpness of bench"]
    assert row.how == checking.WATCH and "wipe the lens" in row.told


def test_a_name_that_the_network_does_not_know_is_told_by_what_needs_it(tmp_path):
    more = '\n[publish]\nto = "rsync"\ntarget = "me@no-such-name.invalid:x"\nssh_port = 9\n'
    more += '\n[copies]\nto = "rsync"\ntarget = "localhost:x"\n'
    row = found(season_at(tmp_path / "s", more=more))["network"]
    assert row.how == checking.WRONG
    assert "publish (no-such-name.invalid)" in row.told and "localhost" not in row.told


def test_the_far_place_of_a_folder_that_is_not_trusted_is_not_asked(tmp_path):
    place = f'\n[publish]\nto = "folder"\ntarget = "{tmp_path / "there"}"\n'
    season = season_at(tmp_path / "s", more=place)
    take_back(season.folder)
    row = found(season)["publishing"]
    assert row.how == checking.WRONG and "lapsekit trust" in row.told


def test_pictures_that_a_watched_folder_holds_and_cannot_be_used_are_told_each_time(tmp_path):
    (tmp_path / "inbox").mkdir()
    (tmp_path / "inbox" / "empty.jpg").touch()
    camera = f'kind = "watched"\nfolder = "{tmp_path / "inbox"}"\nsettled_s = 1'
    season = season_at(tmp_path / "s", now=datetime.now(UTC) + timedelta(minutes=5), camera=camera)
    assert "leaves a file out" in found(season)["camera bench"].told
    row = found(season)["camera bench"]
    assert row.how == checking.WATCH and "empty.jpg: the file is empty" in row.told


def test_alerts_that_are_off_are_told_where_a_camera_is_left_alone(tmp_path):
    row = found(season_at(tmp_path / "s", camera='kind = "usb"'))["alerts"]
    assert row.how == checking.WATCH and "off" in row.told


def test_the_last_morning_and_an_old_film_are_told(tmp_path):
    season = season_at(tmp_path / "s")
    record = {"ended_at": "2031-04-05T05:00:00Z", "code": 0, "told": ""}
    (season.folder / ".last-morning.json").write_text(json.dumps(record))
    later = EVENING + timedelta(days=30)
    size = Frame("bench", later, later.date(), "frames/x.jpg", "x", 1, 320, 240, "import")
    season.catalogue.add_frames([size])
    season.films.mkdir()
    Films(season).file("bench").write_bytes(b"film")
    os.utime(Films(season).file("bench"), (EVENING.timestamp(), EVENING.timestamp()))
    rows = found(Season(season.folder, lambda: later))
    assert rows["morning"].how == checking.WRONG and "2031-04-05 07:00" in rows["morning"].told
    assert rows["film of bench"].how == checking.WATCH


def test_one_part_that_fails_does_not_hide_the_others(tmp_path):
    season = season_at(tmp_path / "s")
    season.catalogue.close()
    for file in season.folder.glob("catalogue.sqlite*"):
        file.write_bytes(b"no database" * 1000)
    rows = checking.check(Season(season.folder, lambda: EVENING), lambda c: SCRIPTS.get(c[0]))
    assert [row.what for row in rows].count("catalogue") == 1
    assert "power" in {row.what for row in rows}


def test_the_command_ends_with_69_where_something_is_wrong(tmp_path):
    season_at(tmp_path / "s", camera='kind = "command"\ncommand = ["false"]').catalogue.close()
    command = [sys.executable, "-m", "lapsekit", "check", "--season", tmp_path / "s", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 69
    assert {"what", "how", "told"} == set(json.loads(done.stdout)["findings"][0])


def test_a_place_of_copies_that_cannot_be_reached_or_is_empty_is_told(tmp_path):
    there = tmp_path / "stick"
    more = f'\n[copies]\nto = "folder"\ntarget = "{there}"\n'
    row = found(season_at(tmp_path / "s", more=more))["place of copies"]
    assert row.how == checking.WATCH and "is it mounted?" in row.told
    there.mkdir()
    (there / "copies-of.txt").write_text("x")
    row = found(Season(tmp_path / "s", lambda: EVENING))["place of copies"]
    assert row.how == checking.FINE
    (tmp_path / "s" / ".trusted").unlink()
    row = found(Season(tmp_path / "s", lambda: EVENING))["place of copies"]
    assert row.how == checking.WRONG and "not trusted" in row.told
