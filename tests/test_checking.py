"""What a visit would find wrong is found without one, and a season in order is called fine."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit import checking
from lapsekit.checking import room
from lapsekit.measuring import measure
from lapsekit.season import Season
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
    assert "640 × 480 px, its frames were 320 × 240 px" in row.told


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
    gone = '\n[publish]\nto = "rsync"\ntarget = "127.0.0.1:/nowhere"\nssh_port = 9\n'
    row = found(season_at(tmp_path / "t", more=gone))["publishing"]
    assert row.how == checking.WRONG


def test_the_command_ends_with_69_where_something_is_wrong(tmp_path):
    season_at(tmp_path / "s", camera='kind = "command"\ncommand = ["false"]').catalogue.close()
    command = [sys.executable, "-m", "lapsekit", "check", "--season", tmp_path / "s", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 69
    assert {"what", "how", "told"} == set(json.loads(done.stdout)["findings"][0])
