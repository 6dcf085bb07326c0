"""Frames are taken when they are due, and daily pictures tried again."""

import os
from datetime import timedelta

from lapsekit.cameras import open_camera
from lapsekit.unattended.missed import read_missed
from tests.scenes import SETTINGS, make_season
from tests.unattended.simulated import (
    HOUR,
    MINUTE,
    START,
    SimulatedMachine,
    SimulatedProcess,
    hours,
    started,
    timed_picture,
)


def test_a_day_files_what_is_due(bench):
    process, _, _ = started(bench)
    process.run_until(START + 14 * HOUR)
    assert hours(bench) == list(range(8, 17))
    assert read_missed(bench.folder) == []


def test_a_camera_that_fails_is_accounted_for_and_the_daily_picture_is_tried_again(bench):
    process, _machine, camera = started(bench)
    process.run_until(START + 4.5 * HOUR)
    camera.fails = True
    process.run_until(START + 6 * HOUR + 20 * MINUTE)
    camera.fails = False
    process.run_until(START + 14 * HOUR)
    daily = [at for at in camera.asked if at.hour == 10 and at.minute != 0]
    assert [at.minute for at in daily] == [1, 3, 7, 15, 30]
    assert {f.taken_at.minute for f in bench.catalogue.frames() if f.taken_at.hour == 10} == {30}
    (missed,) = read_missed(bench.folder)
    assert (missed.first_due_at.hour, missed.frames) == (9, 1)
    assert "check the cable" in missed.why


def test_a_daily_picture_that_never_came_is_noted_after_its_search_window(bench):
    process, _machine, camera = started(bench)
    camera.fails = True
    process.run_until(START + 14 * HOUR)
    missed = read_missed(bench.folder)
    assert sum(m.frames for m in missed) == 9
    daily = [at for at in camera.asked if timedelta(0) <= at - (START + 6 * HOUR) <= 90 * MINUTE]
    assert len([at for at in daily if at.minute in (0, 1, 3, 7, 15, 30)]) >= 7


def test_a_daily_picture_that_a_start_came_too_late_for_is_made_up_for_in_its_window(bench):
    machine = SimulatedMachine(START)
    process, _, camera = started(bench, machine)
    process.run_until(START + 5.5 * HOUR)
    machine.now = START + 6 * HOUR + 5 * MINUTE
    machine.start()
    process, _, _ = started(bench, machine, camera)
    process.run_until(START + 6.5 * HOUR)
    assert [f"{at:%H:%M}" for at in camera.asked][-1] == "10:05"
    assert [m.first_due_at.hour for m in read_missed(bench.folder)] == [10]


def test_a_frame_that_comes_while_a_daily_picture_is_tried_again_stands_for_it(bench):
    process, _, camera = started(bench)
    process.run_until(START + 5.5 * HOUR)
    camera.fails = True
    process.run_until(START + 6 * HOUR + 55 * MINUTE)
    camera.fails = False
    process.run_until(START + 7.9 * HOUR)
    after = [f"{at:%H:%M}" for at in camera.asked if at > START + 6 * HOUR + 55 * MINUTE]
    assert after == ["11:00"]  # due by itself, or tried again for the daily one: once


def test_a_watched_folder_that_is_gone_is_told_once_a_look_and_comes_back(tmp_path):
    text = SETTINGS.split("[capture]")[0].replace(
        'kind = "files"', 'kind = "watched"\nfolder = "card"\nfile_time = true\nsettled_s = 1'
    )
    season = make_season(tmp_path / "bench", text)
    camera = open_camera("bench", season.settings.cameras["bench"], season.folder, season.zone)
    told = []

    def tell(text, level=None, **_):
        told.append(text)

    machine = SimulatedMachine(START)
    keeping = SimulatedProcess(season, {"bench": camera}, machine, tell).keeping
    told.clear()
    for _ in range(2):
        keeping.taking.watch()
    assert len(told) == 2 and all("check that the card is in" in text for text in told)
    (season.folder / "card").mkdir()
    file = season.folder / "card" / "a.png"
    file.write_bytes(timed_picture(START))
    os.utime(file, (START.timestamp() - 60,) * 2)
    camera.camera._model = camera.camera._model.model_copy(update={"settled_s": 0.0})
    keeping.taking.watch()
    assert len(season.catalogue.frames()) == 1
    season.catalogue.close()
